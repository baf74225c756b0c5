"""The store: what came in, what stands, what is to be said.

`Store` receives, reads and keeps the states of sending; every domain write is made on a `Turn`,
which a transaction hands out.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from sqlite_utils import Database

from planner.agenda import Due, DueKind
from storage import erase, outbox, schema
from storage.outbox import OutboxRow, StoredKey
from storage.roster import Address, Noted
from storage.schema import StorageError, immediate, instant_of, text_of
from storage.turn import Facts, InboxRow, Reading, Turn

R = TypeVar("R")

__all__ = [
    "Address",
    "InboxRow",
    "Incoming",
    "Noted",
    "OutboxRow",
    "StorageError",
    "Store",
    "StoredKey",
    "Turn",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Incoming:
    """Something that came in, as it came.

    `update_key` is what the messenger numbers it by (the update's id, the callback's id),
    `place_key` chat and message of a first version; one that is known already is a redelivery.
    """

    body: str
    received_at: datetime
    update_key: str | None = None
    place_key: str | None = None


class Store(Reading):
    """The database of one bot. One connection, called from one thread, nothing to wait for."""

    def __init__(self, db: Database, path: Path) -> None:
        super().__init__(db, Facts(db))
        self.path = path
        erase.absorb(db, erase.read_journal(path))
        self._write_journal()

    @classmethod
    def open(cls, path: Path | str, *, connect: schema.Connect = sqlite3.connect) -> Store:
        """Open the file and bring it up to date."""
        path = Path(path)
        return cls(schema.open_database(path, connect=connect), path)

    def close(self) -> None:
        """Close the connection."""
        self._db.close()

    @contextmanager
    def turn(self, *, at: datetime) -> Iterator[Turn]:
        """One transaction that writes: commits at the end, rolls back on any exception."""
        self._facts.begin()
        turn = Turn(self._db, self._facts, at=at)
        try:
            with immediate(self._db):
                yield turn
        except BaseException:
            self._facts.rolled_back()
            if turn.has_erased:
                self._facts.forget_all()
            raise
        if turn.has_erased:
            self.empty_log()
        if turn.has_erased or turn.has_locked:
            self._write_journal()

    def _write_journal(self) -> None:
        erase.write_journal(self.path, erase.journal_of(self._db))

    # the inbox

    def receive(self, batch: Sequence[Incoming]) -> int:
        """Keep a whole batch in one commit; what is known already is ignored. How many were new."""
        new = 0
        with immediate(self._db):
            for one in batch:
                cursor = self._db.execute(
                    "INSERT INTO inbox (update_key, place_key, body, received_at)"
                    " VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
                    [one.update_key, one.place_key, one.body, text_of(one.received_at)],
                )
                new += cursor.rowcount
        return new

    def next_inbox(self) -> InboxRow | None:
        """The oldest row that is not worked off."""
        row = self._db.execute(
            "SELECT id, body, received_at FROM inbox WHERE state = 'waiting' ORDER BY id LIMIT 1"
        ).fetchone()
        if row is None:
            return None
        return InboxRow(id=row[0], body=row[1], received_at=instant_of(row[2]))

    # what falls due

    def next_due(self, *, at: datetime) -> Due | None:
        """What is due by that moment, the nearest first."""
        return self._due("due_at <= ?", [text_of(at)])

    def nearest_due_at(self) -> datetime | None:
        """When the next thing falls due, if any does."""
        due = self._due("1", [])
        return due.at if due else None

    def _due(self, where: str, values: list[str]) -> Due | None:
        row = self._db.execute(
            "SELECT kind, diver, about, due_at, stale_at FROM due WHERE state = 'waiting' AND"
            f" {where} ORDER BY due_at, kind, diver, about LIMIT 1",
            values,
        ).fetchone()
        if row is None:
            return None
        return Due(
            kind=DueKind(row[0]),
            diver=row[1],
            about=row[2],
            at=instant_of(row[3]),
            stale_at=instant_of(row[4]),
        )

    # the outbox

    def ready_letters(self, *, at: datetime) -> tuple[OutboxRow, ...]:
        """What may leave now: per chat and lane the first letters in order, help before all."""
        return outbox.ready(self._db, at=at)

    def next_letter_at(self) -> datetime | None:
        """When the nearest letter that waits for its next try may leave."""
        row = self._db.execute("SELECT min(next_at) FROM outbox WHERE state = 'queued'").fetchone()
        return instant_of(row[0]) if row[0] else None

    def mark_sending(self, *numbers: int) -> None:
        """These are about to leave; committed before they do."""
        self._sending(lambda: outbox.sending(self._db, numbers))

    def mark_sent(self, number: int, external: str | None = None, *, at: datetime) -> None:
        """It arrived, as the messenger's message `external`; its body is emptied."""
        self._sending(lambda: outbox.sent(self._db, number, external, at=at))

    def mark_unknown(self, number: int, *, at: datetime) -> bool:
        """It may have arrived. True when it goes again, by its delivery class."""
        return self._sending(lambda: outbox.unknown(self._db, number, at=at))

    def mark_failed(
        self, number: int, *, at: datetime, retry_at: datetime | None = None, error: str = ""
    ) -> bool:
        """It surely did not arrive; tried again at `retry_at`, or after a growing while."""
        return self._sending(
            lambda: outbox.failed(self._db, number, at=at, retry_at=retry_at, error=error)
        )

    def drop(self, number: int, *, at: datetime, error: str = "") -> None:
        """It can never arrive."""
        self._sending(lambda: outbox.drop(self._db, number, at=at, error=error))

    def _sending(self, step: Callable[[], R]) -> R:
        with immediate(self._db):
            return step()

    # keeping house

    def recover(self, *, at: datetime) -> int:
        """At start: letters under way become unknown; what failed to fall due gets another go."""
        with immediate(self._db):
            self._db.execute("UPDATE due SET state = 'waiting' WHERE state = 'failed'")
            return outbox.recover(self._db, at=at)

    def empty_log(self) -> bool:
        """Empty the write-ahead log: what was overwritten in the file still stands there until then.

        False, at once, where another process reads; to be tried again.
        """
        self._db.execute("PRAGMA busy_timeout = 0")
        try:
            busy, _, _ = self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        finally:
            self._db.execute(f"PRAGMA busy_timeout = {schema.BUSY_TIMEOUT_MS}")
        return not busy

    def retire(self, *, at: datetime) -> None:
        """Drop what has been kept for long enough, and empty the write-ahead log; now and then."""
        with immediate(self._db):
            outbox.drop_stale(self._db, at=at)
            outbox.end_passing(self._db, at=at)
            erase.retire(self._db, at=at)
        self._facts.forget_all()
        self.empty_log()
        self._write_journal()
