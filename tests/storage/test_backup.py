"""Backup while the bot writes, and a restore that is really done."""

from __future__ import annotations

import os
import sqlite3
import stat
import threading
from datetime import timedelta
from pathlib import Path

import pytest

from storage.backup import backup, expire, restore
from storage.outcome import Letter
from storage.schema import StorageError
from storage.store import Incoming, Store
from tests.storage.scene import START, at, dive, open_store, write


def test_a_backup_while_running_is_whole_and_can_be_restored(tmp_path: Path) -> None:
    """Copies taken while turns are being written hold whole turns, and restoring one gives them back."""
    store = open_store(tmp_path)
    copies = [tmp_path / f"copy{n}.sqlite" for n in range(5)]
    begun, done = threading.Event(), threading.Event()

    def take() -> None:
        begun.wait(10)
        for copy in copies:
            backup(store.path, copy)
        done.set()

    thread = threading.Thread(target=take)
    thread.start()
    written = 0
    while not done.is_set() and written < 5000:
        write(store, dive(9.0, message=written), dive(10.0, message=written))
        written += 1
        begun.set()
    thread.join()
    store.close()
    assert written > 5
    restore(copies[-1], tmp_path / "new" / "bot.sqlite", at=at(1))
    store = Store.open(tmp_path / "new" / "bot.sqlite")
    facts = store.facts_of("mara")
    store.close()
    assert 0 < len(facts) <= 2 * written
    assert len(facts) % 2 == 0  # a turn wrote two
    assert [f.origin.message for f in facts[::2]] == list(range(len(facts) // 2))


def test_a_backup_is_one_file_that_only_its_owner_reads(tmp_path: Path) -> None:
    """The copy needs no write-ahead log beside it, leaves nothing half done, and is private."""
    store = open_store(tmp_path)
    backup(store.path, tmp_path / "copy.sqlite")
    assert [p.name for p in sorted(tmp_path.glob("copy*"))] == ["copy.sqlite"]
    assert stat.S_IMODE((tmp_path / "copy.sqlite").stat().st_mode) == 0o600
    store.close()


def test_a_restore_is_refused_while_a_bot_runs_on_the_database(tmp_path: Path) -> None:
    """With the database open elsewhere nothing is replaced; afterwards it goes through."""
    store = open_store(tmp_path)
    backup(store.path, tmp_path / "copy.sqlite")
    write(store, dive(9.0))
    with pytest.raises(StorageError, match="stop the bot"):
        restore(tmp_path / "copy.sqlite", store.path, at=at(1))
    assert store.facts_of("mara") == (dive(9.0),)
    store.close()
    restore(tmp_path / "copy.sqlite", tmp_path / "bot.sqlite", at=at(1))
    store = Store.open(tmp_path / "bot.sqlite")
    assert store.facts_of("mara") == ()
    store.close()


@pytest.mark.parametrize("content", [b"", b"no database", b"SQLite format 3\x00" + b"x" * 5000])
def test_a_file_that_is_no_backup_replaces_nothing(tmp_path: Path, content: bytes) -> None:
    """An empty, a foreign and a damaged file are refused, and the database stays as it was."""
    store = open_store(tmp_path)
    write(store, dive(9.0))
    store.close()
    (tmp_path / "copy.sqlite").write_bytes(content)
    with pytest.raises(StorageError):
        restore(tmp_path / "copy.sqlite", tmp_path / "bot.sqlite", at=at(1))
    with pytest.raises(StorageError):
        restore(tmp_path / "nothing.sqlite", tmp_path / "bot.sqlite", at=at(1))
    store = Store.open(tmp_path / "bot.sqlite")
    assert store.facts_of("mara") == (dive(9.0),)
    store.close()


def test_nothing_to_back_up_is_an_error_and_makes_no_file(tmp_path: Path) -> None:
    """A backup of a database that does not exist creates neither of the two."""
    with pytest.raises(StorageError):
        backup(tmp_path / "bot.sqlite", tmp_path / "copy.sqlite")
    assert list(tmp_path.iterdir()) == []


def test_a_restored_past_says_no_old_letters_but_works_off_its_inbox(tmp_path: Path) -> None:
    """Letters that had not left when the backup was taken are dropped; what was received is kept."""
    store = open_store(tmp_path)
    write(store, letters=(Letter(to="g:100", text="old news"),))
    store.receive([Incoming(body="{}", received_at=START, update_key="1")])
    backup(store.path, tmp_path / "copy.sqlite")
    store.close()
    restore(tmp_path / "copy.sqlite", tmp_path / "bot.sqlite", at=at(60))
    store = Store.open(tmp_path / "bot.sqlite")
    assert store.ready_letters(at=at(61)) == ()
    assert store.next_inbox() is not None
    store.close()
    connection = sqlite3.connect(tmp_path / "bot.sqlite")
    assert connection.execute("SELECT state, body FROM outbox").fetchall() == [("dropped", "")]
    connection.close()


def test_old_backups_expire_and_nothing_else_does(tmp_path: Path) -> None:
    """Beside a fresh backup those of this bot older than 30 days go; younger ones and other files stay."""
    store = open_store(tmp_path)
    write(store, dive(9.0))
    names = ("fresh", "young", "old", "older")
    for name in names:
        backup(store.path, tmp_path / f"{name}.db")
    store.close()
    (tmp_path / "notes.db").write_text("no backup at all")
    (tmp_path / "old.txt").write_text("of another ending")
    now = at(days=60)
    for name, days in (("young.db", 29), ("old.db", 31), ("older.db", 300), ("notes.db", 300),
                       ("old.txt", 300), ("fresh.db", 40)):  # fmt: skip
        taken = (now - timedelta(days=days)).timestamp()
        os.utime(tmp_path / name, (taken, taken))
    gone = expire(tmp_path / "fresh.db", kept=timedelta(days=30), at=now)
    assert [path.name for path in gone] == ["old.db", "older.db"]
    left = {p.name for p in tmp_path.iterdir() if not p.name.startswith("bot.sqlite")}
    assert left == {"fresh.db", "young.db", "notes.db", "old.txt"}
    restore(tmp_path / "young.db", tmp_path / "new" / "bot.sqlite", at=now)
