"""The database file: opening it, its pragmas, its migrations as SQL, and the transaction of ours.

A migration is never edited once it has been released: a later one is added below it. The test
of this module replays all of them and compares the result with a stored schema, since the
library does not notice an edited one.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from sqlite_utils import Database, Migrations

Connect = Callable[[str], sqlite3.Connection]
"""How a connection is made; the fault tests pass one that dies at a statement of their choice."""

BUSY_TIMEOUT_MS = 5000


class StorageError(Exception):
    """The root of the storage's errors: a file that can't be used, or a misuse of a transaction."""


migrations = Migrations("buoyside")


def _run(db: Database, script: str) -> None:
    """Run the statements one by one: `executescript` would commit the migration's transaction."""
    for statement in script.split(";\n"):
        if statement.strip():
            db.execute(statement)


@migrations()
def m001_facts(db: Database) -> None:
    """Facts: the envelope that all of them share as columns, the rest as JSON."""
    _run(
        db,
        """
        CREATE TABLE fact (
            id INTEGER PRIMARY KEY,
            kind TEXT NOT NULL,
            diver TEXT NOT NULL,
            happened_at TEXT NOT NULL,
            said_at TEXT NOT NULL,
            said_by TEXT NOT NULL,
            chat TEXT NOT NULL,
            message INTEGER NOT NULL,
            line INTEGER NOT NULL,
            edit INTEGER NOT NULL,
            body TEXT NOT NULL CHECK (json_valid(body))
        ) STRICT;
        CREATE INDEX fact_by_diver ON fact (diver);
        CREATE INDEX fact_by_speaker ON fact (said_by);
        """,
    )


@migrations()
def m002_roster(db: Database) -> None:
    """Groups and their members; a member without a group has a room of their own."""
    _run(
        db,
        """
        CREATE TABLE room (
            chat TEXT PRIMARY KEY,
            title TEXT NOT NULL,
            timezone TEXT NOT NULL,
            zone_stated INTEGER NOT NULL DEFAULT 0,
            site TEXT NOT NULL CHECK (json_valid(site)),
            messenger TEXT NOT NULL,
            external_id TEXT NOT NULL,
            thread TEXT
        ) STRICT;
        CREATE TABLE room_alias (
            messenger TEXT NOT NULL,
            external_id TEXT NOT NULL,
            chat TEXT NOT NULL REFERENCES room (chat) ON DELETE CASCADE,
            PRIMARY KEY (messenger, external_id)
        ) STRICT;
        CREATE TABLE member (
            key TEXT PRIMARY KEY,
            can_dm INTEGER NOT NULL DEFAULT 0,
            has_phone INTEGER NOT NULL DEFAULT 1,
            messenger TEXT NOT NULL,
            external_id TEXT NOT NULL,
            home TEXT REFERENCES room (chat) ON DELETE SET NULL
        ) STRICT;
        CREATE UNIQUE INDEX member_by_external ON member (messenger, external_id)
            WHERE external_id <> '';
        CREATE TABLE roster (
            chat TEXT NOT NULL REFERENCES room (chat) ON DELETE CASCADE,
            member TEXT NOT NULL REFERENCES member (key) ON DELETE CASCADE,
            name TEXT NOT NULL,
            folded TEXT NOT NULL,
            is_admin INTEGER NOT NULL DEFAULT 0,
            wants_line INTEGER NOT NULL DEFAULT 0,
            PRIMARY KEY (chat, member)
        ) STRICT;
        CREATE UNIQUE INDEX roster_by_name ON roster (chat, folded);
        CREATE TABLE chat_number (
            chat TEXT PRIMARY KEY,
            last INTEGER NOT NULL
        ) STRICT;
        CREATE TABLE said (
            chat TEXT NOT NULL,
            number INTEGER NOT NULL,
            external TEXT,
            sender TEXT NOT NULL,
            edits INTEGER NOT NULL DEFAULT 0,
            digest TEXT NOT NULL,
            thread TEXT,
            said_at TEXT NOT NULL,
            PRIMARY KEY (chat, number)
        ) STRICT;
        CREATE UNIQUE INDEX said_by_external ON said (chat, external) WHERE external IS NOT NULL;
        """,
    )


@migrations()
def m003_inbox(db: Database) -> None:
    """What came in; a body lives until the commit that works it off."""
    _run(
        db,
        """
        CREATE TABLE inbox (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            update_key TEXT UNIQUE,
            place_key TEXT UNIQUE,
            body TEXT NOT NULL,
            received_at TEXT NOT NULL,
            state TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'done', 'aside')),
            error TEXT NOT NULL DEFAULT '',
            worked_at TEXT
        ) STRICT;
        CREATE INDEX inbox_waiting ON inbox (id) WHERE state = 'waiting';
        """,
    )


@migrations()
def m004_outbox(db: Database) -> None:
    """Letters, the messages that slots stand for, and the buttons of letters."""
    _run(
        db,
        """
        CREATE TABLE outbox (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            chat TEXT NOT NULL,
            delivery TEXT NOT NULL CHECK (delivery IN ('help', 'answer', 'debrief', 'reminder')),
            slot TEXT,
            about TEXT,
            body TEXT NOT NULL,
            last_messenger TEXT,
            last_address TEXT,
            thread TEXT,
            state TEXT NOT NULL DEFAULT 'queued'
                CHECK (state IN ('queued', 'sending', 'sent', 'unknown', 'dropped')),
            queued_at TEXT NOT NULL,
            next_at TEXT NOT NULL,
            stale_at TEXT,
            tries INTEGER NOT NULL DEFAULT 0,
            unsure INTEGER NOT NULL DEFAULT 0,
            external TEXT,
            ended_at TEXT,
            error TEXT NOT NULL DEFAULT ''
        ) STRICT;
        CREATE INDEX outbox_open ON outbox (id) WHERE state IN ('queued', 'sending');
        CREATE TABLE slot (
            chat TEXT NOT NULL,
            slot TEXT NOT NULL,
            external TEXT NOT NULL,
            PRIMARY KEY (chat, slot)
        ) STRICT;
        CREATE TABLE key (
            token TEXT PRIMARY KEY,
            letter INTEGER NOT NULL REFERENCES outbox (id) ON DELETE CASCADE,
            across INTEGER NOT NULL,
            down INTEGER NOT NULL,
            body TEXT NOT NULL CHECK (json_valid(body)),
            diver TEXT NOT NULL,
            used_at TEXT
        ) STRICT;
        CREATE INDEX key_by_letter ON key (letter);
        """,
    )


@migrations()
def m005_due(db: Database) -> None:
    """What falls due; a row that was said stays until it is stale, so that it is said once."""
    _run(
        db,
        """
        CREATE TABLE due (
            kind TEXT NOT NULL,
            diver TEXT NOT NULL,
            about TEXT NOT NULL,
            due_at TEXT NOT NULL,
            stale_at TEXT NOT NULL,
            state TEXT NOT NULL DEFAULT 'waiting'
                CHECK (state IN ('waiting', 'done', 'stale', 'failed')),
            PRIMARY KEY (kind, diver, about)
        ) STRICT;
        CREATE INDEX due_waiting ON due (due_at) WHERE state = 'waiting';
        """,
    )


@migrations()
def m006_erasures(db: Database) -> None:
    """What was forgotten and when, so that a restore forgets it again; a digest, not a name."""
    _run(
        db,
        """
        CREATE TABLE erasure (
            who TEXT NOT NULL,
            scope TEXT NOT NULL CHECK (scope IN ('health', 'all')),
            erased_at TEXT NOT NULL,
            PRIMARY KEY (who, scope, erased_at)
        ) STRICT;
        """,
    )


@migrations()
def m007_called(db: Database) -> None:
    """When a group was last sent a text of help: what ends its diving for some hours, of nobody."""
    _run(db, "ALTER TABLE room ADD COLUMN called_at TEXT;\n")


@migrations()
def m008_used_up(db: Database) -> None:
    """What a used-up button said goes with its use; so does that of those used before."""
    _run(db, "UPDATE key SET body = json_set(body, '$.says', '') WHERE used_at IS NOT NULL;\n")


@migrations()
def m009_met(db: Database) -> None:
    """Who has been told for whom this is; all who are here already have been."""
    _run(
        db,
        "ALTER TABLE member ADD COLUMN is_met INTEGER NOT NULL DEFAULT 0;\n"
        "UPDATE member SET is_met = 1;\n",
    )


def text_of(at: datetime) -> str:
    """An instant as the database keeps it: UTC and always as long, so that text sorts by time."""
    if at.tzinfo is None:
        raise StorageError("a time without a zone")
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def instant_of(text: str) -> datetime:
    """The instant that a column holds."""
    return datetime.fromisoformat(text).astimezone(UTC)


def _connect(path: str) -> sqlite3.Connection:
    return sqlite3.connect(path)


def open_database(path: Path, *, connect: Connect = _connect) -> Database:
    """Open the file, set the pragmas and bring its tables up to date.

    The driver's own transactions are switched off: there is `immediate`, and nothing else.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    connection = connect(str(path))
    connection.isolation_level = None
    db = Database(connection, strict=True, execute_plugins=False)
    for pragma in (
        f"busy_timeout = {BUSY_TIMEOUT_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "secure_delete = ON",
    ):
        db.execute(f"PRAGMA {pragma}").fetchall()
    migrate(db)
    return db


def migrate(db: Database) -> None:
    """Apply what is pending, with foreign keys off meanwhile and checked before they are on."""
    ours = {m.name for m in migrations.pending(Database(memory=True))}
    if not {m.name for m in migrations.applied(db)} <= ours:
        raise StorageError("the database was written by a newer version")
    if migrations.pending(db):
        db.execute("PRAGMA foreign_keys = OFF")
        migrations.apply(db)
        if db.execute("PRAGMA foreign_key_check").fetchall():
            raise StorageError("a row points to one that does not exist")
    db.execute("PRAGMA foreign_keys = ON")


@contextmanager
def immediate(db: Database) -> Iterator[None]:
    """A transaction that takes the write lock at once; commits, or rolls back on any exception.

    The library's own `atomic()` begins deferred and fails at once beside a second writer.
    """
    if db.conn.in_transaction:
        raise StorageError("a transaction inside a transaction")
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.conn.in_transaction:
            db.execute("ROLLBACK")
        raise


def schema_of(db: Database) -> str:
    """Every table and index as SQL, in the order of their names."""
    rows = db.execute(
        "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'"
        " ORDER BY type DESC, name"
    ).fetchall()
    return "".join(f"{sql};\n" for (sql,) in rows)
