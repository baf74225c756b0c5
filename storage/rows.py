"""Row to fact and back. pydantic stands here, at the border, and nowhere further in."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import UTC
from typing import Any, get_args

from pydantic import TypeAdapter
from sqlite_utils import Database

from planner.record import AnyFact, Fact, Origin
from storage.outcome import Key, Letter, Site
from storage.schema import StorageError, instant_of, text_of

KINDS: dict[str, type[Fact]] = {kind.__name__: kind for kind in get_args(AnyFact)}
"""Every kind of fact, by the word in its column."""

_ENVELOPE = frozenset({"diver", "happened_at", "said_at", "by", "origin"})
_COLUMNS = (
    "kind, diver, happened_at, said_at, said_by, chat, message, line, edit, body"  # as fact_row
)
_INSERT = f"INSERT INTO fact ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"

LETTERS: TypeAdapter[Letter] = TypeAdapter(Letter)
KEYS: TypeAdapter[Key] = TypeAdapter(Key)
SITES: TypeAdapter[Site] = TypeAdapter(Site)


_adapters: dict[str, TypeAdapter[Any]] = {}


def _adapter(kind: str) -> TypeAdapter[Any]:
    # made when first needed: all of them together would take a tenth of a second at start
    if kind not in _adapters:
        if kind not in KINDS:
            raise StorageError(f"no such kind of fact: {kind}")
        _adapters[kind] = TypeAdapter(KINDS[kind])
    return _adapters[kind]


def fact_row(fact: Fact) -> tuple[str | int, ...]:
    """A fact as the values of its row."""
    kind = type(fact).__name__
    rest = _adapter(kind).dump_python(fact, mode="json", exclude=set(_ENVELOPE))
    o = fact.origin
    return (
        kind,
        fact.diver,
        text_of(fact.happened_at),
        text_of(fact.said_at),
        fact.by,
        o.chat,
        o.message,
        o.line,
        o.edit,
        json.dumps(rest, allow_nan=False),
    )


def fact_of(row: tuple[Any, ...]) -> Fact:
    """The fact that a row holds. Instants come back as UTC, all with the one zone object."""
    kind, diver, happened_at, said_at, by, chat, message, line, edit, body = row
    fields = json.loads(body)
    fields.update(
        diver=diver,
        happened_at=instant_of(happened_at),
        said_at=instant_of(said_at),
        by=by,
        origin=Origin(chat=chat, message=message, line=line, edit=edit),
    )
    fact: Fact = _adapter(kind).validate_python(fields)
    assert fact.happened_at.tzinfo is UTC
    return fact


def write_facts(db: Database, facts: Iterable[Fact]) -> None:
    """Add facts; inside a transaction."""
    for fact in facts:
        db.execute(_INSERT, fact_row(fact))


def read_facts(db: Database, diver: str) -> tuple[Fact, ...]:
    """All facts of a diver, in the order in which they were written."""
    rows = db.execute(f"SELECT {_COLUMNS} FROM fact WHERE diver = ? ORDER BY id", [diver])
    return tuple(fact_of(row) for row in rows)
