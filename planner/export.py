"""A diver's exported JSON, read back into a record: the planner as a library, without the bot.

The export names what stands and when it was said, not the message it came from. So every fact is
a line of its own here, and questions, which are answered by the line they came from, are left out.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Iterator, Mapping
from dataclasses import fields, replace
from datetime import UTC, date, datetime
from enum import Enum
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from planner.figure import PlannerError
from planner.pressure import Site
from planner.record import (
    AnyFact,
    Asked,
    Dive,
    DiverRecord,
    Fact,
    Origin,
    Strike,
    Unwell,
    record_of,
)

FORM = "buoyside-export-1"
"""The form of the file that can be read."""

_ENVELOPE = frozenset(f.name for f in fields(Fact))
_NOWHERE = Origin(chat="export", message=0)
_CALL, _ANSWER = "call", "answer"
"""Origins while a file is read: the calls for help by their order in it, and what answers which."""
_KINDS: dict[str, type[Fact]] = {kind.__name__: kind for kind in typing.get_args(AnyFact)}


EXAMPLE = """
{"form": "buoyside-export-1", "diver": "mara", "timezone": "Europe/Lisbon",
 "exported_at": "2026-05-07T12:00:00+01:00",
 "facts": [
  {"kind": "PB", "happened_at": "2026-05-01T09:00:00+01:00",
   "said_at": "2026-05-01T09:00:00+01:00", "by": "mara", "values": {"depth_m": 32}},
  {"kind": "Goal", "happened_at": "2026-05-01T09:00:00+01:00",
   "said_at": "2026-05-01T09:00:00+01:00", "by": "mara", "values": {"depth_m": 40}},
  {"kind": "Buddy", "happened_at": "2026-05-07T08:30:00+01:00",
   "said_at": "2026-05-07T08:30:00+01:00", "by": "mara", "values": {"buddy": "ana"}},
  {"kind": "Fit", "happened_at": "2026-05-07T08:30:00+01:00",
   "said_at": "2026-05-07T08:30:00+01:00", "by": "mara", "values": {"ok": true}}],
 "dives": [
  {"exercise": "frc", "depth_m": 5, "ending": "clean",
   "happened_at": "2026-05-07T09:00:00+01:00",
   "said_at": "2026-05-07T09:01:00+01:00", "by": "mara"},
  {"exercise": "frc", "depth_m": 5, "ending": "hard",
   "happened_at": "2026-05-07T09:12:00+01:00",
   "said_at": "2026-05-07T09:30:00+01:00", "by": "mara"}]}
"""
"""A small export, for examples: an invented diver's first two dives."""


class ExportError(PlannerError, ValueError):
    """A file that is no export of the form that can be read."""


def read_export(text: str, *, known_at: datetime | None = None) -> DiverRecord:
    """The record in the text of an exported JSON file; `known_at` leaves out what was said later.

    Raises `ExportError` where the text is no such export. Facts of the same instant stand in the
    order of the file, what was answered before what was dived.

    >>> record = read_export(EXAMPLE)
    >>> record.diver, [(d.exercise.value, d.depth_m, d.ending.value) for d in record.dives]
    ('mara', [('frc', 5.0, 'clean'), ('frc', 5.0, 'hard')])
    """
    try:
        export = json.loads(text)
    except ValueError as wrong:
        raise ExportError(f"no JSON: {wrong}") from wrong
    if not isinstance(export, dict) or export.get("form") != FORM:
        raise ExportError(f"the form is not {FORM}")
    try:
        zone = ZoneInfo(export["timezone"])
        diver = str(export["diver"])
        told = [*_facts(export["facts"], diver), *_dives(export["dives"], diver)]
        site = _site(export.get("site", {}))
    except (KeyError, TypeError, ValueError, ZoneInfoNotFoundError) as wrong:
        raise ExportError(f"not as the schema says: {wrong!r}") from wrong
    told.sort(key=lambda fact: fact.happened_at)
    return record_of(diver, _numbered(told), timezone=zone, site=site, known_at=known_at)


def _site(raw: object) -> Site:
    """The site of an export; a gauge at sea where an older file has none."""
    if not isinstance(raw, Mapping):
        raise ValueError(f"no site: {raw!r}")
    hints = typing.get_type_hints(Site)
    given: dict[str, typing.Any] = {k: _value(hints[k], value) for k, value in raw.items()}
    return Site(**given)


def _numbered(told: list[Fact]) -> Iterator[Fact]:
    """The facts, each as a message of its own, so that their order is that of the file.

    What was said at the question of a call for help has the place of that question.
    """
    calls = {f.origin.message: n for n, f in enumerate(told, 1) if f.origin.chat == _CALL}
    for number, fact in enumerate(told, 1):
        asked = calls.get(fact.origin.message) if fact.origin.chat == _ANSWER else None
        yield replace(fact, origin=Origin(chat="export", message=asked or number))


def _facts(rows: list[Mapping[str, object]], diver: str) -> Iterator[Fact]:
    calls = 0
    for row in rows:
        kind = _KINDS[str(row["kind"])]
        values = row["values"]
        if kind is Asked or kind is Strike:
            continue
        if kind is Dive or not isinstance(values, Mapping):
            raise ValueError(f"no such fact: {row['kind']}")
        plain = {name: value for name, value in values.items() if name != "answers"}
        made = _made(kind, diver, row, plain)
        if isinstance(made, Unwell) and made.grave:
            calls += 1
            made = replace(made, origin=Origin(chat=_CALL, message=calls))
        elif "answers" in values:
            made = replace(made, origin=Origin(chat=_ANSWER, message=int(str(values["answers"]))))
        yield made


def _dives(rows: list[Mapping[str, object]], diver: str) -> Iterator[Fact]:
    for row in rows:
        yield _made(Dive, diver, row, {k: v for k, v in row.items() if k not in _ENVELOPE})


def _made(
    kind: type[Fact], diver: str, row: Mapping[str, object], values: Mapping[str, object]
) -> Fact:
    hints = _hints(kind)
    given: dict[str, typing.Any] = {name: _value(hints[name], v) for name, v in values.items()}
    return kind(
        diver=diver,
        by=str(row["by"]),
        origin=_NOWHERE,
        happened_at=_instant(row["happened_at"]),
        said_at=_instant(row["said_at"]),
        **given,
    )


def _hints(kind: type[Fact]) -> dict[str, object]:
    found = _HINTS.get(kind)
    if found is None:
        found = _HINTS[kind] = typing.get_type_hints(kind)
    return found


_HINTS: dict[type[Fact], dict[str, object]] = {}


def _instant(raw: object) -> datetime:
    at = datetime.fromisoformat(str(raw))
    if at.tzinfo is None:
        raise ValueError(f"a time without its offset: {raw!r}")
    return at.astimezone(UTC)


def _value(hint: object, raw: object) -> object:
    """A value of a fact's field, from what JSON has for it."""
    if isinstance(hint, types.UnionType):
        if raw is None:
            return None
        (hint,) = (h for h in typing.get_args(hint) if h is not type(None))
    if typing.get_origin(hint) is tuple:
        if not isinstance(raw, list):
            raise ValueError(f"no list: {raw!r}")
        return tuple(_value(typing.get_args(hint)[0], one) for one in raw)
    if hint is datetime:
        return _instant(raw)
    if hint is date:
        return date.fromisoformat(str(raw))
    if isinstance(hint, type) and issubclass(hint, Enum):
        return hint(raw)
    if hint is float and isinstance(raw, (int, float)) and not isinstance(raw, bool):
        return float(raw)
    if isinstance(hint, type) and isinstance(raw, hint) and isinstance(raw, bool) == (hint is bool):
        return raw
    raise ValueError(f"{raw!r} for {hint}")
