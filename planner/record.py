"""The facts, and a diver's record made of them.

A fact is an immutable row: what happened, when it happened, when it was said, by whom, and
the line of the message it came from. Nothing else is ever stored. A record is the sorted
facts about one diver less those that were struck, so the same facts in any order of arrival
give the same record.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from functools import cached_property
from operator import attrgetter
from typing import TypeVar
from zoneinfo import ZoneInfo

from planner.figure import PlannerError


class Exercise(StrEnum):
    """What was done. FRC and RV dives are *exhale dives*."""

    FRC = "frc"
    RV = "rv"
    FULL = "full"
    SHALLOW = "shallow"
    DIP = "dip"
    DRY = "dry"

    @property
    def is_exhale(self) -> bool:
        """Whether the dive begins on less than full lungs."""
        return self is Exercise.FRC or self is Exercise.RV


class Ending(StrEnum):
    """How a dive ended. `EARLY` was turned by choice, all well."""

    CLEAN = "clean"
    HARD = "hard"
    EARLY = "early"
    STOP = "stop"


class Reason(StrEnum):
    """Why a dive was stopped."""

    STERNUM = "sternum"
    CHEST = "chest"
    THROAT = "throat"
    EARS = "ears"
    EMPTY = "empty"
    LEAK = "leak"
    SWALLOW = "swallow"
    STUCK = "stuck"
    URGE = "urge"
    COLD = "cold"
    OTHER = "other"
    UNSTATED = "unstated"

    @property
    def is_pressure(self) -> bool:
        """Pressure on breastbone or windpipe; an unstated reason counts as one until it is told."""
        return self in _PRESSURE

    @property
    def is_technique(self) -> bool:
        """The mouthfill failed, not the chest."""
        return self in _TECHNIQUE


_PRESSURE = frozenset({Reason.STERNUM, Reason.CHEST, Reason.THROAT, Reason.UNSTATED})
_TECHNIQUE = frozenset({Reason.EARS, Reason.EMPTY, Reason.LEAK, Reason.SWALLOW, Reason.STUCK})


class Sex(StrEnum):
    """The sex that the prediction equations of lung volumes ask for."""

    FEMALE = "f"
    MALE = "m"


class VolumeKind(StrEnum):
    """A measured volume. Lungs in litres; mouth and mask in millilitres."""

    TLC = "tlc"
    FRC = "frc"
    RV = "rv"
    VC = "vc"
    MOUTH = "mouth"
    MASK = "mask"


@dataclass(frozen=True, kw_only=True, slots=True, order=True)
class Origin:
    """The line of a message that a fact came from; `edit` counts the message's versions from 0."""

    chat: str
    message: int
    line: int = 0
    edit: int = 0

    @property
    def place(self) -> tuple[str, int, int]:
        """Chat, message and line: what every version of a line has in common."""
        return (self.chat, self.message, self.line)


@dataclass(frozen=True, kw_only=True, slots=True)
class Fact:
    """What all facts carry. `diver` is whose record it belongs to, `by` who said it (member keys)."""

    diver: str
    happened_at: datetime
    said_at: datetime
    by: str
    origin: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class Dive(Fact):
    """A dive or an exercise. Depths in metres, None where not known.

    `target_m` is what the diver said the target was; the planner computes its own. `waits` is
    a report by somebody without a grant: it counts on the careful side only until it is allowed.
    """

    exercise: Exercise
    depth_m: float | None
    ending: Ending
    reason: Reason | None = None
    target_m: float | None = None
    fill_m: float | None = None
    dive_time_s: int | None = None
    task: str | None = None
    amount: int | None = None
    note: str = ""
    waits: bool = False

    @property
    def is_troubled(self) -> bool:
        """Hard, or stopped for anything but cold."""
        return self.ending is Ending.HARD or (
            self.ending is Ending.STOP and self.reason is not Reason.COLD
        )

    @property
    def is_pressure_stop(self) -> bool:
        """Stopped at pressure, or without a reason."""
        return self.ending is Ending.STOP and (self.reason is None or self.reason.is_pressure)


@dataclass(frozen=True, kw_only=True, slots=True)
class Brief(Fact):
    """A target that was told. It resolves a bare `12 ok`; it never decides what a dive counts as."""

    exercise: Exercise
    depth_m: float
    fill_low_m: float | None = None
    fill_high_m: float | None = None
    not_before_at: datetime | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Fit(Fact):
    """The answer to the one fitness question; `ok` False is `not fit`. No reason is stored."""

    ok: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Buddy(Fact):
    """Who watches; `buddy` is a member key, or the name as typed for somebody not on the roster."""

    buddy: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Watching(Fact):
    """`watching today`: no diving today, no reason."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Done(Fact):
    """The diver said that the session is over."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Body(Fact):
    """Sex, age and height: what the prediction of lung volumes asks for."""

    sex: Sex
    age_y: int
    height_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Volume(Fact):
    """A measured volume: litres, or millilitres for mouth and mask (mask 0: a nose clip)."""

    volume: VolumeKind
    value: float


@dataclass(frozen=True, kw_only=True, slots=True)
class PB(Fact):
    """The stated personal best on full lungs with a mouthfill, metres."""

    depth_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Goal(Fact):
    """The full-lung depth the diver trains for, metres; `by` is the wished date."""

    depth_m: float
    by_on: date | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ReportedBase(Fact):
    """An exhale depth that the diver says was clean on a day before the log began."""

    exercise: Exercise
    depth_m: float
    on: date


@dataclass(frozen=True, kw_only=True, slots=True)
class Harm(Fact):
    """A report of harm. `row` is a key of harm.toml, or None where the diver keeps no health check-ins.

    `level` is what the person must do (call-now, doctor-today, day-over, practice-over); `days`
    and `doctor` are the lock it brings, kept with it so that a later harm.toml never shortens it.
    Never struck.
    """

    row: str | None
    level: str
    days: float
    doctor: bool
    since_well: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Well(Fact):
    """`feel ok`, or yes to the check after a session: the days of an open lock count from here."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Unwell(Fact):
    """No or not sure to the check, words nobody can read, or a question raised by somebody else.

    Bars targets until a later Harm or Well of the diver; none by the evening reads as row 23.
    """

    raised_by_other: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Cleared(Fact):
    """The diver's own word that a clinician cleared them, a date only."""

    on: date


@dataclass(frozen=True, kw_only=True, slots=True)
class Consent(Fact):
    """Whether health check-ins are kept."""

    given: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Grant(Fact):
    """`allow` and `disallow`: `to` may log for this diver."""

    to: str
    given: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Kept(Fact):
    """`add noor`: a diver without a phone, and who keeps their log."""

    keeper: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Ping(Fact):
    """Whether interval reminders are wanted."""

    on: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Debriefed(Fact):
    """A debrief was written for the session whose last dive happened at `session_at`; asks the check."""

    session_at: datetime


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked(Fact):
    """A question put to somebody about a line that could not be recorded as it stands.

    `readings` are whole shorthand lines it may mean; an answer is a fact of the same place.
    `may_answer` are member keys. `bars` says that no target is given while it is open.
    """

    question: str
    readings: tuple[str, ...]
    may_answer: tuple[str, ...]
    bars: bool = True


@dataclass(frozen=True, kw_only=True, slots=True)
class Strike(Fact):
    """Takes back what a line said, up to and with version `edit` of it; harm stands all the same."""

    struck: Origin


AnyFact = (
    Dive | Brief | Fit | Buddy | Watching | Done | Body | Volume | PB | Goal | ReportedBase
    | Harm | Well | Unwell | Cleared | Consent | Grant | Kept | Ping | Debriefed | Asked | Strike
)  # fmt: skip

HEALTH_FACTS: tuple[type[Fact], ...] = (Harm, Well, Unwell, Cleared)
"""The facts that are health data; never struck, and dropped by `forget health`."""


F = TypeVar("F", bound=Fact)


class RecordError(PlannerError):
    """Facts that can't be made a record: a naive time, or another diver's fact."""


def _order(fact: Fact) -> tuple[datetime, bool, str, int, int, int]:
    """By when it happened; of one instant, what was said in private (profile, health) comes first."""
    o = fact.origin
    return (fact.happened_at, not o.chat.startswith("p:"), o.chat, o.message, o.line, o.edit)


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
        )


def record_of(
    diver: str,
    facts: Iterable[Fact],
    *,
    timezone: ZoneInfo,
    known_at: datetime | None = None,
) -> DiverRecord:
    """Sort the facts of one diver and drop what was struck.

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
    return DiverRecord(diver=diver, timezone=timezone, facts=tuple(_in_order(kept)))


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
