"""The scripts of deploy/, started as a stranger would; nothing is installed here."""

import hashlib
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DEPLOY = ROOT / "deploy"
CHAT = "group  A, Europe/Lisbon\nclock  2026-05-05 08:30\nmara> hello all\n"


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """An environment that is up to date: the Python of these tests, with the stamp of the scripts."""
    venv = tmp_path / "venv"
    (venv / "bin").mkdir(parents=True)
    python = venv / "bin" / "python"
    python.write_text(f'#!/bin/sh\nexec "{sys.executable}" "$@"\n')
    python.chmod(0o755)
    wanted = hashlib.sha256(
        (ROOT / "pyproject.toml").read_bytes() + (DEPLOY / "constraints.txt").read_bytes()
    )
    (venv / "stamp").write_text(wanted.hexdigest() + "\n")
    return {**os.environ, "BUOYSIDE_VENV": str(venv), "BUOYSIDE_DATA": str(tmp_path / "data")}


def start(
    script: str, *words: str, env: dict[str, str], cwd: Path
) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [DEPLOY / script, *words],
        env=env,
        cwd=cwd,
        capture_output=True,
        timeout=60,
        stdin=subprocess.DEVNULL,
    )


def test_a_file_is_looked_for_where_the_caller_stands(environment: dict[str, str], tmp_path: Path):
    """`deploy/run play FILE` works from any folder, with the file named relative to it."""
    (tmp_path / "some.chat").write_text(CHAT)
    done = start("run", "play", "some.chat", env=environment, cwd=tmp_path)
    assert (done.returncode, done.stdout.decode(), done.stderr) == (0, CHAT, b"")


def test_the_callers_folder_holds_none_of_our_modules(environment: dict[str, str], tmp_path: Path):
    """Folders and files of the caller's with our names, or the library's, are not imported."""
    (tmp_path / "some.chat").write_text(CHAT)
    (tmp_path / "bot").mkdir()
    for name in ("bot/__init__.py", "bot/__main__.py", "json.py", "planner.py"):
        (tmp_path / name).write_text("raise SystemExit('the wrong module')\n")
    done = start("run", "play", "some.chat", env=environment, cwd=tmp_path)
    assert (done.returncode, done.stdout.decode()) == (0, CHAT)


def test_a_script_can_be_linked_to(environment: dict[str, str], tmp_path: Path):
    """A link in some folder of programs starts the project that it leads to."""
    (tmp_path / "some.chat").write_text(CHAT)
    (tmp_path / "buoyside").symlink_to(DEPLOY / "run")
    done = subprocess.run(
        [tmp_path / "buoyside", "play", "some.chat"],
        env=environment,
        cwd=tmp_path,
        capture_output=True,
        timeout=60,
    )
    assert (done.returncode, done.stdout.decode()) == (0, CHAT)


def test_a_bad_line_ends_with_two(environment: dict[str, str], tmp_path: Path):
    """The exit code of a file that can't be read is 2, and the line is named."""
    (tmp_path / "bad.chat").write_text(CHAT + "what\n")
    done = start("run", "play", "bad.chat", env=environment, cwd=tmp_path)
    assert done.returncode == 2
    assert b"bad.chat: line 4: " in done.stderr


def test_the_demo_plays_with_nobody_at_a_terminal(environment: dict[str, str], tmp_path: Path):
    """`deploy/run` alone plays the demo and ends where nobody can type."""
    done = start("run", env=environment, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"Saturday float" in done.stdout
    assert b"Ctrl-D" not in done.stdout


def test_unknown_words_say_how_it_is_used(environment: dict[str, str], tmp_path: Path):
    """Anything else prints the usage and ends with 2."""
    done = start("run", "fly", env=environment, cwd=tmp_path)
    assert done.returncode == 2
    assert b"usage" in done.stderr


def test_a_copy_is_made_and_put_back(environment: dict[str, str], tmp_path: Path):
    """`deploy/backup` copies a database that is open, `deploy/restore` puts it back."""
    from storage.store import Store

    database = tmp_path / "data" / "buoyside.sqlite"
    store = Store.open(database)
    with store.turn(at=datetime(2026, 5, 5, tzinfo=UTC)) as turn:
        turn.ensure_room(messenger="play", external_id="7", title="Tuesday line")
    assert start("backup", "copy.sqlite", env=environment, cwd=tmp_path).returncode == 0
    store.close()
    database.unlink()
    assert start("restore", "copy.sqlite", env=environment, cwd=tmp_path).returncode == 0
    again = Store.open(database)
    assert [room.title for room in again.rooms()] == ["Tuesday line"]
    again.close()


@pytest.mark.parametrize("script", ["backup", "restore"])
def test_a_copy_needs_a_name(script: str, environment: dict[str, str], tmp_path: Path):
    """Without a file the scripts say so and do nothing."""
    done = start(script, env=environment, cwd=tmp_path)
    assert done.returncode == 1
    assert f"deploy/{script} FILE".encode() in done.stderr


def pythons(folder: Path, body: str) -> dict[str, str]:
    """A system whose Pythons, all of them, are this shell script; and no environment yet."""
    folder.mkdir()
    for name in ("python3", "python3.11", "python3.12", "python3.13", "python3.14"):
        (folder / name).write_text(f"#!/bin/sh\n{body}\n")
        (folder / name).chmod(0o755)
    return {"PATH": f"{folder}:/usr/bin:/bin", "BUOYSIDE_VENV": str(folder / "venv")}


def test_a_system_with_an_old_python_is_told_what_to_install(tmp_path: Path):
    """Where every Python is too old, one line names the packages."""
    done = start("run", env=pythons(tmp_path / "old", "exit 1"), cwd=tmp_path)
    assert done.returncode == 1
    assert done.stderr.decode().splitlines() == [
        "run: Python 3.11 or newer is missing; on Debian 12 or later: apt install python3 python3-venv"
    ]


def test_a_system_without_venv_is_told_what_to_install(tmp_path: Path):
    """Where Python lacks the part that makes environments, one line names the package."""
    body = 'case "$*" in *ensurepip*) exit 1;; esac'
    done = start("test", env=pythons(tmp_path / "bare", body), cwd=tmp_path)
    assert done.returncode == 1
    assert done.stderr.decode().splitlines() == [
        "test: a part of Python is missing; on Debian: apt install python3-venv"
    ]
