"""All that stands in a diver's record, as a file: JSON with a published schema, and dives as CSV.

The schema is `export.schema.json` beside this file; `FORM` changes when it does.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import fields
from datetime import datetime
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from planner.record import Dive, DiverRecord, Fact, Harm, Unwell, Well

FORM: Literal["buoyside-export-1"] = "buoyside-export-1"
"""The form of the file; another number means another schema."""

_ENVELOPE = frozenset(f.name for f in fields(Fact))
_PEOPLE = frozenset({"buddy", "to", "keeper", "may_answer", "coach"})
_NOT_OURS = frozenset({"group"})
"""What names a chat of the messenger: nothing of the diver's."""

SOMEBODY = "somebody"
"""Who asked after a diver, and who is no member any more: no name of theirs is the diver's."""

Named = Callable[[str], str]
"""The name of a member, by key."""


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class ExportedDive(_Shape):
    """One dive or dry exercise, as it was reported."""

    happened_at: datetime = Field(description="local time, with its offset")
    exercise: str = Field(description="frc, rv, full, shallow, dip or dry")
    depth_m: float | None = Field(description="depth reached; null where it is not known")
    target_m: float | None = Field(description="the target as reported, where one was said")
    ending: str = Field(description="clean, hard, early or stop")
    reason: str | None = Field(description="why it was stopped")
    fill_m: float | None = Field(description="fill depth as reported; 0 is the surface")
    dive_time_s: int | None
    task: str | None
    amount: int | None
    note: str
    waits: bool = Field(description="reported by somebody without a grant, not yet allowed")
    said_at: datetime
    by: str = Field(description="who reported it")


class ExportedFact(_Shape):
    """Anything else that is kept, by its kind."""

    kind: str
    happened_at: datetime
    said_at: datetime
    by: str
    values: dict[str, Any]


class ExportedSite(_Shape):
    """What a metre of depth means where the diver dives."""

    salt: bool = Field(description="sea water; else fresh")
    gauge: bool = Field(description="depth by gauge; else by a marked rope")
    altitude_m: float


class Export(_Shape):
    """Everything that stands about one diver. Depths in metres, volumes in litres or ml."""

    form: Literal["buoyside-export-1"]
    diver: str
    timezone: str
    site: ExportedSite
    exported_at: datetime
    dives: tuple[ExportedDive, ...]
    facts: tuple[ExportedFact, ...]


def export_of(record: DiverRecord, *, name: Named, at: datetime) -> Export:
    """A record as it is handed to its diver; member keys become names."""

    def local(instant: datetime) -> datetime:
        return instant.astimezone(record.timezone)

    dives = tuple(
        ExportedDive(
            happened_at=local(d.happened_at),
            exercise=d.exercise.value,
            depth_m=d.depth_m,
            target_m=d.target_m,
            ending=d.ending.value,
            reason=None if d.reason is None else d.reason.value,
            fill_m=d.fill_m,
            dive_time_s=d.dive_time_s,
            task=d.task,
            amount=d.amount,
            note=d.note,
            waits=d.waits,
            said_at=local(d.said_at),
            by=name(d.by),
        )
        for d in record.dives
    )
    facts = tuple(
        ExportedFact(
            kind=type(f).__name__,
            happened_at=local(f.happened_at),
            said_at=local(f.said_at),
            by=SOMEBODY if _is_of_another(f) else name(f.by),
            values=_values(f, name) | _answers(f, record),
        )
        for f in record.facts
        if not isinstance(f, Dive)
    )
    return Export(
        form=FORM,
        diver=name(record.diver),
        timezone=record.timezone.key,
        site=ExportedSite(
            salt=record.site.salt, gauge=record.site.gauge, altitude_m=record.site.altitude_m
        ),
        exported_at=local(at),
        dives=dives,
        facts=facts,
    )


def _is_of_another(fact: Fact) -> bool:
    """Whether somebody else's worry raised a question: who that was is not the diver's to know."""
    return isinstance(fact, Unwell) and fact.raised_by_other and fact.by != fact.diver


def _values(fact: Fact, name: Named) -> dict[str, Any]:
    dumped = TypeAdapter(type(fact)).dump_python(fact, mode="json", exclude=set(_ENVELOPE))
    return {k: _unkeyed(k, value, name) for k, value in dumped.items() if k not in _NOT_OURS}


def _answers(fact: Fact, record: DiverRecord) -> dict[str, Any]:
    """At which question that somebody's call for help had raised a word of health was said: 1, 2, …"""
    if not isinstance(fact, Well | Harm):
        return {}
    places = [u.origin.place for u in record.of(Unwell) if u.grave]
    place = fact.origin.place
    return {"answers": places.index(place) + 1} if place in places else {}


def _unkeyed(key: str, value: Any, name: Named) -> Any:
    if key not in _PEOPLE:
        return value
    return [name(v) for v in value] if isinstance(value, list) else name(value)


def schema() -> dict[str, Any]:
    """The schema of the JSON file, as JSON Schema."""
    return Export.model_json_schema(mode="serialization")


def as_json(export: Export) -> str:
    """The export as the text of its file."""
    return export.model_dump_json(indent=1) + "\n"


def as_csv(export: Export) -> str:
    """The dives as a table; no cell of it is a formula to a spreadsheet."""
    columns = list(ExportedDive.model_fields)
    # a spreadsheet takes a file without the mark for one of its own code page, and garbles names
    written = io.StringIO()
    written.write("\ufeff")
    table = csv.writer(written)
    table.writerow(columns)
    for dive in export.dives:
        row = dive.model_dump(mode="json")
        table.writerow([_defused(row[column]) for column in columns])
    return written.getvalue()


# a spreadsheet also takes the full-width forms, and skips spaces before them
_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20|%")


def _defused(cell: object) -> object:
    """A cell that a spreadsheet shows and never runs.

    >>> _defused("=1+1"), _defused(" +49"), _defused("felt fine"), _defused(7.5)
    ("'=1+1", "' +49", 'felt fine', 7.5)
    """
    if isinstance(cell, str) and (cell.startswith(_FORMULA) or cell.lstrip().startswith(_FORMULA)):
        return f"'{cell}"
    return cell
