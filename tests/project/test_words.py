"""The words that people read: every reason has them, and none of them is out of place."""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from bot.texts.render import keys
from planner.plan import ASKED_IN_GROUP, NAMED_IN_GROUP
from planner.reasons import Because

TEXTS = Path(__file__).resolve().parents[2] / "bot" / "texts"


@pytest.mark.parametrize("because", Because)
def test_every_reason_has_a_text(because: Because):
    """Each reason for a cap or a bar has words: named ones for the group, others by their own name."""
    names = {key.partition(".")[2] for key in keys()}
    if because in NAMED_IN_GROUP:
        assert f"named.{because}" in keys()
    elif because in ASKED_IN_GROUP:
        assert f"ask.{because.removeprefix('no-')}" in keys()
    else:
        assert because.value in names


def strings(table: object, place: str) -> Iterator[tuple[str, str]]:
    """Every string in a table of texts, however deep, with its place."""
    if isinstance(table, dict):
        for name, inner in table.items():
            yield from strings(inner, f"{place}.{name}")
    elif isinstance(table, str):
        yield place, table


def raw() -> dict[str, str]:
    """Every text as it stands in its file, with the places for values left in."""
    found = {
        place: text
        for file in sorted(TEXTS.glob("*.toml"))
        for place, text in strings(tomllib.loads(file.read_text(encoding="utf-8")), file.name)
    }
    assert len(found) > 50
    return found


@pytest.mark.parametrize(
    ("what", "pattern"),
    [
        ("praise", r"\b(?:well done|great|awesome|congrat\w*|amazing|perfect|bravo|nice one)\b"),
        ("a promise", r"\byou(?:'re| are) (?:safe|cleared|ready|fine)\b|\b(?:is|it's) safe\b"),
        ("advice never to give", r"\baspirin\b|\bdrink more\b|\bhyperventilat\w+|\bpacking\b"),
        ("a game", r"\b(?:badge|streak|score|level up|trophy|leader ?board)\b"),
    ],
)
def test_no_text_holds_what_is_never_said(what: str, pattern: str):
    """No text praises, promises safety, plays, or gives the advice that is never to be given."""
    assert [key for key, text in raw().items() if re.search(pattern, text, re.IGNORECASE)] == []
