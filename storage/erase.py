"""Forgetting, and what is dropped with time; and the journal that makes a restore forget again.

The journal is a small file beside the database: what was forgotten (a digest of whom, no name) and
the bare locks. A database that is opened absorbs what it has not lived through: that is how a
restored backup forgets again, and keeps every lock that has begun since it was taken.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter
from sqlite_utils import Database

from planner.bases import void_bases
from planner.harm import lock_of, unwell_open
from planner.record import (
    HEALTH_FACTS,
    DiverRecord,
    Harm,
    ReportedBase,
    Unwell,
    Well,
    record_of,
)
from storage import rows
from storage.bare import bare, is_bare, left_of
from storage.schema import StorageError, immediate, text_of

KEPT_LOCKS = (Harm, Unwell)
"""The facts whose bare bar goes into the journal: a lock, and a call for help that waits."""

GONE = "forgotten"
"""What stands in other divers' facts in place of somebody who asked to be forgotten."""

# How long things are kept (house rules). The messenger forgets an update that was not fetched in 24
# hours (Telegram Bot API, Getting updates), so twice that is enough to know one again.
UPDATES_KEPT = timedelta(hours=48)
ASIDE_KEPT = timedelta(days=7)
DIGESTS_KEPT = timedelta(days=7)
SAID_KEPT = timedelta(days=120)
LETTERS_KEPT = timedelta(days=30)
DUES_KEPT = timedelta(days=7)
HEALTH_KEPT = timedelta(days=90)

_HEALTH_KINDS = tuple(kind.__name__ for kind in HEALTH_FACTS)
_MARKS = ", ".join("?" * len(_HEALTH_KINDS))
_RETIRED = tuple(kind for kind in HEALTH_FACTS if kind is not Well)
"""Health rows that go with time. That all was normal stays: without the answer to the check no target
stood for the dives after it, and nothing that was held would be left of them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Erasure:
    """Somebody (a digest) was forgotten, in that scope, at that instant."""

    who: str
    scope: str
    at: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Journal:
    """What outlives a restore: what was forgotten, the bare locks, and the calls for help."""

    erasures: tuple[Erasure, ...] = ()
    locks: tuple[Harm, ...] = ()
    calls: tuple[Unwell, ...] = ()


_JOURNALS: TypeAdapter[Journal] = TypeAdapter(Journal)


def digest_of(diver: str) -> str:
    """Whom an erasure is about, without saying it."""
    return sha256(f"buoyside {diver}".encode()).hexdigest()[:32]


def forget(db: Database, diver: str, scope: str, *, timezone: str, at: datetime) -> None:
    """Erase, in a transaction: `health` leaves the bare date of a running lock, `all` nothing.

    The bodies of rows that were set aside go with either.
    """
    if scope not in ("health", "all"):
        raise StorageError("no such scope of forgetting")
    # whose words those are that nobody could read is not known
    db.execute("UPDATE inbox SET body = '' WHERE state = 'aside'")
    if scope == "health":
        record = record_of(diver, rows.read_facts(db, diver), timezone=ZoneInfo(timezone))
        left = bare(record, at=at)
        _erase_health(db, record, until=at)
        rows.write_facts(db, left)
    else:
        _erase_all(db, diver, until=at)
    db.execute(
        "INSERT INTO erasure (who, scope, erased_at) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
        [digest_of(diver), scope, text_of(at)],
    )


def _erase_health(db: Database, record: DiverRecord, *, until: datetime) -> None:
    diver = record.diver
    _erase_bases(db, void_bases(record), until=until)
    # the buttons under private questions that have left say which answers were given so far
    db.execute(
        "DELETE FROM key WHERE diver = ? AND letter IN"
        " (SELECT id FROM outbox WHERE chat LIKE 'p:%' AND ended_at <= ?)",
        [diver, text_of(until)],
    )
    db.execute(
        f"DELETE FROM fact WHERE diver = ? AND said_at <= ? AND kind IN ({_MARKS})",
        [diver, text_of(until), *_HEALTH_KINDS],
    )


def _erase_bases(db: Database, void: Iterable[ReportedBase], *, until: datetime) -> None:
    """The bases that count for nothing go with the rows of health that say so, or they would count."""
    for base in void:
        o = base.origin
        db.execute(
            "DELETE FROM fact WHERE diver = ? AND kind = ? AND said_at <= ?"
            " AND chat = ? AND message = ? AND line = ? AND edit = ?",
            [base.diver, "ReportedBase", text_of(until), o.chat, o.message, o.line, o.edit],
        )


def _erase_all(db: Database, diver: str, *, until: datetime) -> None:
    db.execute("DELETE FROM fact WHERE diver = ? AND said_at <= ?", [diver, text_of(until)])
    _unname(db, diver, until=until)
    if db.execute("SELECT 1 FROM fact WHERE diver = ? LIMIT 1", [diver]).fetchone():
        return  # they came back after it; this is a restored past
    own = f"p:{diver}"
    db.execute("DELETE FROM due WHERE diver = ?", [diver])
    db.execute("DELETE FROM key WHERE diver = ?", [diver])
    db.execute("DELETE FROM outbox WHERE chat = ?", [own])
    db.execute(
        "UPDATE outbox SET body = '', state = 'dropped', error = 'forgotten', ended_at = ?"
        " WHERE about = ? AND state IN ('queued', 'sending')",
        [text_of(until), diver],
    )
    db.execute("UPDATE outbox SET about = NULL WHERE about = ?", [diver])
    db.execute("DELETE FROM slot WHERE chat = ?", [own])
    db.execute("DELETE FROM said WHERE sender = ? OR chat = ?", [diver, own])
    db.execute("DELETE FROM chat_number WHERE chat = ?", [own])
    db.execute("DELETE FROM member WHERE key = ?", [diver])
    db.execute("DELETE FROM room WHERE chat = ?", [own])


def _unname(db: Database, diver: str, *, until: datetime) -> None:
    """Take a diver out of what others said: who watched, who may log, whose private chat it was in.

    Places stay apart from one another, so that a strike still finds what it struck.
    """
    own, nobodys = f"p:{diver}", f"p:{digest_of(diver)}"
    instead = {diver: GONE, own: nobodys}
    others = "diver <> ? AND said_at <= ?"
    by_then = [diver, text_of(until)]
    db.execute(
        f"UPDATE fact SET said_by = ? WHERE said_by = ? AND {others}", [GONE, diver, *by_then]
    )
    db.execute(f"UPDATE fact SET chat = ? WHERE chat = ? AND {others}", [nobodys, own, *by_then])
    facts = db.execute(
        f"SELECT id, body FROM fact WHERE instr(body, ?) AND {others}", [diver, *by_then]
    )
    keys = db.execute("SELECT rowid, body FROM key WHERE instr(body, ?)", [diver])
    for table, named in (("fact", facts.fetchall()), ("key", keys.fetchall())):
        for number, body in named:
            unnamed = json.dumps(_replaced(json.loads(body), instead))
            db.execute(f"UPDATE {table} SET body = ? WHERE rowid = ?", [unnamed, number])


def _replaced(value: object, instead: dict[str, str]) -> object:
    """JSON with some of its strings, where they stand alone, replaced by others."""
    if isinstance(value, str):
        return instead.get(value, value)
    if isinstance(value, list):
        return [_replaced(item, instead) for item in value]
    if isinstance(value, dict):
        return {name: _replaced(item, instead) for name, item in value.items()}
    return value


def retire(db: Database, *, at: datetime) -> None:
    """Drop, inside a transaction, what has been kept for long enough."""

    def before(kept: timedelta) -> str:
        return text_of(at - kept)

    db.execute("DELETE FROM inbox WHERE state = 'done' AND received_at < ?", [before(UPDATES_KEPT)])
    db.execute("DELETE FROM inbox WHERE state = 'aside' AND worked_at < ?", [before(ASIDE_KEPT)])
    db.execute(
        "UPDATE said SET digest = '' WHERE digest <> '' AND said_at < ?", [before(DIGESTS_KEPT)]
    )
    db.execute("DELETE FROM said WHERE said_at < ?", [before(SAID_KEPT)])
    db.execute("DELETE FROM outbox WHERE ended_at < ?", [before(LETTERS_KEPT)])
    db.execute("DELETE FROM due WHERE state <> 'waiting' AND stale_at < ?", [before(DUES_KEPT)])
    kinds = [kind.__name__ for kind in _RETIRED]
    divers = db.execute(
        f"SELECT DISTINCT diver FROM fact WHERE kind IN ({', '.join('?' * len(kinds))})", kinds
    ).fetchall()
    zones = _zones(db)
    for (diver,) in divers:
        _retire_health(db, _record(db, diver, zones), at=at)


def _zones(db: Database) -> dict[str, str]:
    return dict(
        db.execute(
            "SELECT member.key, room.timezone FROM member JOIN room ON room.chat = member.home"
        ).fetchall()
    )


def _record(db: Database, diver: str, zones: dict[str, str]) -> DiverRecord:
    zone = ZoneInfo(zones.get(diver, "UTC"))
    return record_of(diver, rows.read_facts(db, diver), timezone=zone)


def _retire_health(db: Database, record: DiverRecord, *, at: datetime) -> None:
    """Drop the health rows of 90 days ago, once no lock of theirs stands and no answer is open.

    What is left of them is a date, as long as a target hangs on it.
    """
    until = at - HEALTH_KEPT
    if not _health_is_over(record, at=at):
        return
    of_then = [f for f in record.facts if not isinstance(f, HEALTH_FACTS) or f.happened_at <= until]
    old = replace(record, facts=tuple(of_then), _cache={})
    gone = {f for f in of_then if isinstance(f, _RETIRED)}
    void = void_bases(old)
    rest = tuple(f for f in record.facts if f not in gone and f not in void)
    left = left_of(record, old, rest, at=at) if gone else ()
    if {replace(f, said_at=at) for f in gone} == set(left):
        return
    _erase_bases(db, void, until=at)
    kinds = [kind.__name__ for kind in _RETIRED]
    db.execute(
        f"DELETE FROM fact WHERE diver = ? AND happened_at <= ?"
        f" AND kind IN ({', '.join('?' * len(kinds))})",
        [record.diver, text_of(until), *kinds],
    )
    rows.write_facts(db, left)


def _health_is_over(record: DiverRecord, *, at: datetime) -> bool:
    """Whether nothing that began by 90 days ago locks or is asked any more, then or now."""
    return all(
        lock_of(record, at=when) is None and not unwell_open(record, at=when)
        for when in (at - HEALTH_KEPT, at)
    )


# The journal.


def journal_path(database: Path) -> Path:
    """Where the journal of a database is kept."""
    return database.with_name(database.name + ".journal.json")


def journal_of(db: Database) -> Journal:
    """The journal as this database would write it."""
    erasures = db.execute("SELECT who, scope, erased_at FROM erasure ORDER BY erased_at, who")
    found = db.execute(
        "SELECT DISTINCT diver FROM fact WHERE kind IN ('Harm', 'Unwell') ORDER BY diver"
    )
    kept = [f for (diver,) in found.fetchall() for f in rows.read_facts(db, diver)]
    return Journal(
        erasures=tuple(Erasure(who=w, scope=s, at=t) for w, s, t in erasures),
        locks=tuple(replace(fact, row=None) for fact in kept if isinstance(fact, Harm)),
        # who called is nobody's to keep
        calls=tuple(
            replace(fact, by=GONE) for fact in kept if isinstance(fact, Unwell) and fact.grave
        ),
    )


def read_journal(database: Path) -> Journal:
    """The journal that stands beside a database; empty where there is none."""
    path = journal_path(database)
    if not path.exists():
        return Journal()
    try:
        return _JOURNALS.validate_json(path.read_bytes())
    except ValueError as error:
        raise StorageError(f"{path.name} can't be read") from error


def write_journal(database: Path, journal: Journal) -> None:
    """Write the journal, whole or not at all."""
    path = journal_path(database)
    text = json.dumps(_JOURNALS.dump_python(journal, mode="json"), indent=1)
    if path.exists() and path.read_text() == text:
        return
    part = path.with_name(path.name + ".part")
    with open(part, "w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    os.replace(part, path)


def absorb(db: Database, journal: Journal) -> None:
    """Forget, and lock, what the journal knows and this database has not lived through."""
    mine = journal_of(db)
    new = [e for e in journal.erasures if e not in mine.erasures]
    with immediate(db):
        for erasure in new:
            until = datetime.fromisoformat(erasure.at)
            for diver in _everybody(db):
                if digest_of(diver) != erasure.who:
                    continue
                if erasure.scope == "all":
                    _erase_all(db, diver, until=until)
                else:
                    _erase_health(db, _record(db, diver, _zones(db)), until=until)
            db.execute(
                "INSERT INTO erasure (who, scope, erased_at) VALUES (?, ?, ?)",
                [erasure.who, erasure.scope, erasure.at],
            )
        now = journal_of(db)
        kept: tuple[Harm | Unwell, ...] = (*journal.locks, *journal.calls)
        known = {(f.diver, f.origin, f.happened_at) for f in (*now.locks, *now.calls)}
        erasures = (*mine.erasures, *new)
        rows.write_facts(
            db,
            (
                fact
                for fact in kept
                if (fact.diver, fact.origin, fact.happened_at) not in known
                and not _is_forgotten(fact, erasures)
            ),
        )


def _is_forgotten(kept: Harm | Unwell, erasures: Iterable[Erasure]) -> bool:
    """Whether it was erased after it was written; what `health` leaves of it was not."""
    said, who = text_of(kept.said_at), digest_of(kept.diver)
    mine = [e for e in erasures if e.who == who]
    if isinstance(kept, Unwell):
        return any(e.scope == "all" and said <= e.at for e in mine)
    return any(
        said < e.at or (said == e.at and not (is_bare(kept) and e.scope == "health")) for e in mine
    )


def _everybody(db: Database) -> tuple[str, ...]:
    members = db.execute("SELECT key FROM member UNION SELECT diver FROM fact").fetchall()
    return tuple(key for (key,) in members)
