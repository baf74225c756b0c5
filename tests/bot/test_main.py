"""The ten lines that start everything: which words do what, and their exit codes."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from bot.__main__ import main
from bot.settings import Settings
from storage.store import Store
from tests.storage.scene import dive, write


@pytest.fixture
def data(tmp_path: Path) -> Iterator[Path]:
    """A data folder, named in the environment as long as the test runs."""
    before = dict(os.environ)
    os.environ["BUOYSIDE_DATA"] = str(tmp_path / "data")
    yield tmp_path / "data"
    os.environ.clear()
    os.environ.update(before)


@pytest.mark.parametrize("words", [["dance"], ["play"], ["backup"], ["telegram", "now"]])
def test_words_that_mean_nothing_are_answered_with_the_usage(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """An unknown word or a missing file: exit code 2 and one line on how to say it."""
    assert main(words) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith("usage: ")
    assert len(told.err.splitlines()) == 1


def test_a_backup_that_is_restored_brings_the_facts_back(data: Path, tmp_path: Path) -> None:
    """`backup FILE` while the bot runs, `restore FILE` into a new folder: the dive is there."""
    data.mkdir()
    store = Store.open(Settings().database)
    write(store, dive(9.0))
    copy = tmp_path / "copies" / "buoyside.backup"
    assert main(["backup", str(copy)]) == 0
    store.close()
    os.environ["BUOYSIDE_DATA"] = str(tmp_path / "elsewhere")
    assert main(["restore", str(copy)]) == 0
    store = Store.open(Settings().database)
    assert store.facts_of("mara") == (dive(9.0),)
    store.close()


def test_what_cant_be_copied_is_said_in_one_line(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No database to back up, no file to restore: exit code 1, a line, and nothing is made."""
    assert main(["backup", str(tmp_path / "copy")]) == 1
    assert main(["restore", str(tmp_path / "copy")]) == 1
    assert len(capsys.readouterr().err.splitlines()) == 2
    assert not (tmp_path / "copy").exists()
    assert not data.exists()
