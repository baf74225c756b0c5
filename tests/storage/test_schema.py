"""The file: its pragmas, its migrations, and the transaction."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from sqlite_utils import Database

from storage import schema
from storage.schema import StorageError, immediate, migrations, open_database, schema_of
from tests.faults.dying import Connector, Killed

STORED = Path(__file__).with_name("schema.sql")
NAMES = [m.name for m in migrations.pending(Database(memory=True))]


def test_all_migrations_give_the_stored_schema(tmp_path: Path) -> None:
    """Replaying every migration gives, to the letter, the schema that is stored beside this test."""
    db = open_database(tmp_path / "bot.sqlite")
    assert schema_of(db) == STORED.read_text()
    db.close()


@pytest.mark.parametrize("name", NAMES)
def test_every_old_schema_is_brought_up_to_date(tmp_path: Path, name: str) -> None:
    """A file that ends before any one migration has the stored schema after it was opened."""
    path = tmp_path / "bot.sqlite"
    old = Database(path, strict=True)
    migrations.apply(old, stop_before=name)
    old.close()
    db = open_database(path)
    assert schema_of(db) == STORED.read_text()
    assert [m.name for m in migrations.applied(db)] == NAMES
    db.close()


def test_a_crash_while_migrating_is_repaired_by_opening_again(tmp_path: Path) -> None:
    """Killed at any statement of the first opening, the next one ends with the stored schema."""
    connector = Connector()
    open_database(tmp_path / "whole.sqlite", connect=connector).close()
    statements = connector.made.counted
    assert statements > 30
    for number in range(2, statements + 1, 5):
        path = tmp_path / f"{number}.sqlite"

        def dies(file: str, number: int = number) -> sqlite3.Connection:
            connection = connector(file)
            connector.made.fuse(number)
            return connection

        with pytest.raises(Killed):
            open_database(path, connect=dies)
        connector.made.close()
        db = open_database(path)
        assert schema_of(db) == STORED.read_text()
        db.close()


def test_a_file_of_a_newer_version_is_refused(tmp_path: Path) -> None:
    """A migration that nobody here knows is an error, not something to write over."""
    db = open_database(tmp_path / "bot.sqlite")
    db.execute(
        "INSERT INTO _sqlite_migrations (migration_set, name, applied_at)"
        " VALUES ('buoyside', 'm999_later', '')"
    )
    db.close()
    with pytest.raises(StorageError, match="newer"):
        open_database(tmp_path / "bot.sqlite")


def test_the_file_is_kept_as_the_house_asks(tmp_path: Path) -> None:
    """Write-ahead log, full sync, foreign keys, secure delete, a busy timeout, and STRICT tables."""
    db = open_database(tmp_path / "bot.sqlite")
    found = {
        name: db.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("journal_mode", "synchronous", "foreign_keys", "secure_delete", "busy_timeout")
    }
    assert found == {
        "journal_mode": "wal",
        "synchronous": 2,
        "foreign_keys": 1,
        "secure_delete": 1,
        "busy_timeout": schema.BUSY_TIMEOUT_MS,
    }
    strict = {
        name: bool(is_strict)
        for _, name, kind, _, _, is_strict in db.execute("PRAGMA table_list")
        if kind == "table" and not name.startswith("sqlite_")
    }
    assert len(strict) > 10
    assert all(strict.values())
    db.close()


def test_a_transaction_takes_the_write_lock_at_once(tmp_path: Path) -> None:
    """A second writer is kept out from the first moment of a transaction, not from its first write."""
    db = open_database(tmp_path / "bot.sqlite")
    other = open_database(tmp_path / "bot.sqlite")
    other.execute("PRAGMA busy_timeout = 0").fetchall()
    with immediate(db), pytest.raises(sqlite3.OperationalError, match="locked"), immediate(other):
        pass
    with immediate(other):
        other.execute("INSERT INTO chat_number (chat, last) VALUES ('g:1', 1)")
    assert db.execute("SELECT count(*) FROM chat_number").fetchone()[0] == 1
    db.close()
    other.close()


def test_an_exception_rolls_everything_back(tmp_path: Path) -> None:
    """After an exception nothing of the transaction is there, and a new one can begin."""
    db = open_database(tmp_path / "bot.sqlite")

    def fails() -> None:
        with immediate(db):
            db.execute("INSERT INTO chat_number (chat, last) VALUES ('g:1', 1)")
            raise ValueError

    with pytest.raises(ValueError):  # noqa: PT011
        fails()
    with immediate(db), pytest.raises(StorageError), immediate(db):
        pass
    assert db.execute("SELECT count(*) FROM chat_number").fetchone()[0] == 0
    db.close()
