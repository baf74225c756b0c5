"""A copy of the database while the bot runs, old copies that expire, and putting one back."""

from __future__ import annotations

import os
import sqlite3
from datetime import datetime, timedelta
from pathlib import Path

from sqlite_utils import Database

from storage import erase
from storage.schema import StorageError, immediate, migrations, open_database, text_of


def backup(database: Path, target: Path) -> None:
    """Copy the database through SQLite's own backup, whatever is being written meanwhile.

    The copy appears whole or not at all, in one file, and has been checked.
    """
    if not database.exists():
        raise StorageError("there is no database to back up")
    part = target.with_name(target.name + ".part")
    target.parent.mkdir(parents=True, exist_ok=True)
    part.unlink(missing_ok=True)
    source, copy = sqlite3.connect(database), sqlite3.connect(part)
    try:
        os.chmod(part, 0o600)
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE").fetchall()
        _check(copy)
    finally:
        copy.close()
        source.close()
    os.replace(part, target)


def expire(fresh: Path, *, kept: timedelta, at: datetime) -> tuple[Path, ...]:
    """Delete the backups beside a fresh one that were written longer ago than `kept`; which.

    What was forgotten since still stands in them. Only files of the same ending that are backups
    of this bot are touched, and the fresh one never.
    """
    gone = []
    for other in sorted(fresh.parent.glob(f"*{fresh.suffix}")):
        is_old = other.stat().st_mtime < (at - kept).timestamp()
        if is_old and not other.samefile(fresh) and _is_backup(other):
            other.unlink()
            gone.append(other)
    return tuple(gone)


def _is_backup(file: Path) -> bool:
    if not file.is_file() or file.is_symlink():
        return False
    connection = sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro&immutable=1", uri=True)
    try:
        return bool(migrations.applied(Database(connection, execute_plugins=False)))
    except sqlite3.DatabaseError:
        return False
    finally:
        connection.close()


def restore(source: Path, database: Path, *, at: datetime) -> None:
    """Put a backup in the place of the database: a bot that runs on it has to be stopped first.

    Whatever was forgotten, and whichever lock began, since the backup was taken is applied again;
    letters of that past which had not left then are not sent any more.
    """
    if not source.exists():
        raise StorageError("there is no such backup")
    old = sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)
    try:
        _check(old)
        if not migrations.applied(Database(old, execute_plugins=False)):
            raise StorageError("that file is no backup of this bot")
        _keep_journal(database)
        database.parent.mkdir(parents=True, exist_ok=True)
        new = sqlite3.connect(database)
        try:
            old.backup(new)
        finally:
            new.close()
    finally:
        old.close()
    db = open_database(database)
    try:
        erase.absorb(db, erase.read_journal(database))
        with immediate(db):
            db.execute(
                "UPDATE outbox SET state = 'dropped', error = 'restored', body = '', ended_at = ?"
                " WHERE state IN ('queued', 'sending')",
                [text_of(at)],
            )
        erase.write_journal(database, erase.journal_of(db))
    finally:
        db.close()


def _keep_journal(database: Path) -> None:
    """Bring the journal up to date before the database's content goes; move a broken one away."""
    if not database.exists():
        return
    try:
        db = open_database(database)
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError):
            raise StorageError("the database is in use: stop the bot first") from error
        for ending in ("", "-wal", "-shm"):
            broken = database.with_name(database.name + ending)
            if broken.exists():
                os.replace(broken, database.with_name(f"{database.name}.broken{ending}"))
        return
    try:
        # Leaving the write-ahead log needs the file for oneself: it fails while a bot has it open.
        db.execute("PRAGMA busy_timeout = 200").fetchall()
        if db.execute("PRAGMA journal_mode = DELETE").fetchone()[0] != "delete":
            raise StorageError("the database is in use: stop the bot first")
        erase.absorb(db, erase.read_journal(database))
        erase.write_journal(database, erase.journal_of(db))
    except sqlite3.OperationalError as error:
        raise StorageError("the database is in use: stop the bot first") from error
    finally:
        db.close()


def _check(connection: sqlite3.Connection) -> None:
    try:
        found = connection.execute("PRAGMA quick_check").fetchone()[0]
    except sqlite3.DatabaseError as error:
        raise StorageError("that file is no database") from error
    if found != "ok":
        raise StorageError("that database is damaged")
