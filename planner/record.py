"""A diver's record, made of the facts.

A record is the sorted facts about one diver less those that were struck, so the same facts in
any order of arrival give the same record. The facts themselves (`planner.facts`) are named here
as well: whoever reads a record needs both.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from operator import attrgetter
from typing import TypeVar
from zoneinfo import ZoneInfo

from planner.facts import (
    HEALTH_FACTS,
    NOBODY,
    PB,
    Accepted,
    AnyFact,
    Asked,
    Body,
    Brief,
    Buddy,
    Cleared,
    Consent,
    Debriefed,
    Dive,
    Done,
    Ending,
    Exercise,
    Fact,
    Fit,
    Goal,
    Grant,
    Harm,
    Kept,
    Limit,
    LimitKind,
    Named,
    Ordered,
    Origin,
    Ping,
    Reason,
    ReportedBase,
    Seen,
    Sex,
    Strike,
    TaskSet,
    UnderAge,
    Unwell,
    Volume,
    VolumeKind,
    Watching,
    Well,
)
from planner.figure import PlannerError
from planner.pressure import GAUGE_AT_SEA, Site

__all__ = [
    "HEALTH_FACTS",
    "NOBODY",
    "PB",
    "Accepted",
    "AnyFact",
    "Asked",
    "Body",
    "Brief",
    "Buddy",
    "Cleared",
    "Consent",
    "Debriefed",
    "Dive",
    "DiverRecord",
    "Done",
    "Ending",
    "Exercise",
    "Fact",
    "Fit",
    "Goal",
    "Grant",
    "Harm",
    "Kept",
    "Limit",
    "LimitKind",
    "Named",
    "Ordered",
    "Origin",
    "Ping",
    "Reason",
    "RecordError",
    "ReportedBase",
    "Seen",
    "Session",
    "Sex",
    "Strike",
    "TaskSet",
    "UnderAge",
    "Unwell",
    "Volume",
    "VolumeKind",
    "Watching",
    "Well",
    "day_begins_at",
    "latest_session",
    "record_of",
    "sessions",
]

F = TypeVar("F", bound=Fact)


class RecordError(PlannerError):
    """Facts that can't be made a record: a naive time, or another diver's fact."""


def _order(fact: Fact) -> tuple[datetime, int, str, int, int]:
    """By when it happened; of one instant, by the number of the message, which was given as it was heard."""
    o = fact.origin
    return (fact.happened_at, o.message, o.chat, o.line, o.edit)


def day_begins_at(on: date, *, timezone: ZoneInfo) -> datetime:
    """The instant at which a local day begins; a reported base happened then."""
    return datetime.combine(on, time(), tzinfo=timezone).astimezone(UTC)


@dataclass(frozen=True, kw_only=True)
class Session:
    """A run of dives with gaps of at most four hours; it belongs to the local day of its last dive."""

    dives: tuple[Dive, ...]
    on: date

    @property
    def exhale_dives(self) -> tuple[Dive, ...]:
        """The dives that count toward the cap."""
        return tuple(d for d in self.dives if d.exercise.is_exhale)

    @property
    def began_at(self) -> datetime:
        """When its first dive happened."""
        return self.dives[0].happened_at

    @property
    def ended_at(self) -> datetime:
        """When its last dive happened."""
        return self.dives[-1].happened_at


@dataclass(frozen=True, kw_only=True)
class DiverRecord:
    """One diver's facts that stand, in the order in which they happened."""

    diver: str
    timezone: ZoneInfo
    facts: tuple[Fact, ...]
    site: Site = GAUGE_AT_SEA
    _cache: dict[object, object] = field(default_factory=dict, repr=False, compare=False)

    def local_day(self, at: datetime) -> date:
        """The local calendar day of an instant."""
        return at.astimezone(self.timezone).date()

    def of(self, kind: type[F]) -> Iterator[F]:
        """The facts of one kind, in order."""
        return (f for f in self.facts if isinstance(f, kind))

    def latest(self, kind: type[F]) -> F | None:
        """The last fact of a kind, or None."""
        return next((f for f in reversed(self.facts) if isinstance(f, kind)), None)

    @cached_property
    def dives(self) -> tuple[Dive, ...]:
        """Every dive and dry exercise that stands."""
        return tuple(f for f in self.facts if type(f) is Dive)

    def until(self, at: datetime) -> DiverRecord:
        """The record of what had happened by an instant (with it)."""
        if not self.facts or self.facts[-1].happened_at <= at:
            return self
        return DiverRecord(
            diver=self.diver,
            timezone=self.timezone,
            facts=tuple(f for f in self.facts if f.happened_at <= at),
            site=self.site,
        )


def record_of(
    diver: str,
    facts: Iterable[Fact],
    *,
    timezone: ZoneInfo,
    site: Site = GAUGE_AT_SEA,
    known_at: datetime | None = None,
) -> DiverRecord:
    """Sort the facts of one diver and drop what was struck.

    `timezone` and `site` are the group's: where days begin, and what a metre of depth means.

    `known_at` leaves out what was said later, so that the record is what the bot knew then.
    """
    mine = [f for f in facts if f.diver == diver and (known_at is None or f.said_at <= known_at)]
    struck: dict[tuple[str, int, int], int] = {}
    for f in mine:
        if f.happened_at.tzinfo is None or f.said_at.tzinfo is None:
            raise RecordError(f"a time without a zone in {type(f).__name__}")
        if type(f) is Strike:
            place = f.struck.place
            struck[place] = max(struck.get(place, -1), f.struck.edit)
    if struck:
        kept = [
            f
            for f in mine
            if type(f) is not Strike
            and (isinstance(f, HEALTH_FACTS) or f.origin.edit > struck.get(f.origin.place, -1))
        ]
    else:
        kept = mine
    return DiverRecord(diver=diver, timezone=timezone, facts=tuple(_in_order(kept)), site=site)


def _in_order(facts: list[Fact]) -> list[Fact]:
    """Sorted by `_order`; the whole key is only made where two facts share an instant."""
    facts.sort(key=attrgetter("happened_at"))
    count = len(facts)
    start = 0
    while start < count - 1:
        at = facts[start].happened_at
        end = start + 1
        while end < count and facts[end].happened_at == at:
            end += 1
        if end - start > 1:
            facts[start:end] = sorted(facts[start:end], key=_order)
        start = end
    return facts


def sessions(record: DiverRecord, *, gap_h: float) -> tuple[Session, ...]:
    """The record's dives in runs with gaps of at most `gap_h` hours; dry exercises are no part."""
    gap = timedelta(hours=gap_h)
    runs: list[list[Dive]] = []
    for dive in record.dives:
        if dive.exercise is Exercise.DRY:
            continue
        if runs and dive.happened_at - runs[-1][-1].happened_at <= gap:
            runs[-1].append(dive)
        else:
            runs.append([dive])
    return tuple(
        Session(dives=tuple(run), on=record.local_day(run[-1].happened_at)) for run in runs
    )


def latest_session(record: DiverRecord, *, gap_h: float) -> Session | None:
    """The last of the record's sessions, found from its end; None where there was none."""
    gap = timedelta(hours=gap_h)
    run: list[Dive] = []
    for fact in reversed(record.facts):
        if type(fact) is not Dive or fact.exercise is Exercise.DRY:
            continue
        if run and run[-1].happened_at - fact.happened_at > gap:
            break
        run.append(fact)
    if not run:
        return None
    return Session(dives=tuple(reversed(run)), on=record.local_day(run[0].happened_at))
