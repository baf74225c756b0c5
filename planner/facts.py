"""The facts: immutable rows of what happened, when, said when and by whom, and from which line.

Nothing else is ever stored; everything else is a function over them (`planner.record`).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum


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


NOBODY = ""
"""In the place of a buddy: there is none any more."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Buddy(Fact):
    """Who watches; `buddy` is a member key, or the name as typed for somebody not on the roster.

    NOBODY: whoever watched does so no more.
    """

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
class UnderAge(Fact):
    """The diver told an age that is not served: no target until a `Body` says otherwise. No figure."""


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
    `exhale`: exhale dives wait after its lock, whatever row it is of; set where the row is forgotten.
    Never struck.
    """

    row: str | None
    level: str
    days: float
    doctor: bool
    since_well: bool = False
    exhale: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Well(Fact):
    """`feel ok`, or yes to the check after a session: the days of an open lock count from here."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Unwell(Fact):
    """No or not sure to the check, words nobody can read, or a question that a worry raised.

    Bars targets until its own four questions are answered; none by the evening reads as row 23.
    `unread`: what nobody could read, or numb fingers, which may be nothing. `raised_by_other`:
    somebody else was worried, or a message of the diver's own read like harm; feeling well answers
    that. `grave`: it was a call for help about the diver, or read like one. That is answered at its
    own question alone, and bars for the rest of the local day whatever the answer.
    """

    raised_by_other: bool = False
    grave: bool = False
    unread: bool = False


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


class LimitKind(StrEnum):
    """What a coach may tighten for a day."""

    DEPTH = "depth"
    REST = "rest"
    DIVES = "dives"
    GAP = "gap"
    LINES = "lines"


@dataclass(frozen=True, kw_only=True, slots=True)
class Named(Fact):
    """`coach ilse`, by a group's admin: `diver` is that group's coach from now on, or no longer."""

    given: bool
    group: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Accepted(Fact):
    """`coach yes` and `coach no`: whether this diver takes `coach` as theirs."""

    coach: str
    given: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Limit(Fact):
    """A coach's limit on one diver until an instant: metres, dives, minutes or lines; a rest has 0.

    `group` is the one that it was said for.
    """

    what: LimitKind
    value: float
    until_at: datetime
    group: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ordered(Fact):
    """`order`: somebody asked for the round in a group; it is kept up to date while the session lasts."""

    group: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Seen(Fact):
    """`seen mara`: the coach watched the dive that happened at `dived_at`."""

    dived_at: datetime


@dataclass(frozen=True, kw_only=True, slots=True)
class TaskSet(Fact):
    """`task noor lock`: the coach set a task, so that no new depth comes before it is done."""

    task: str


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
    Dive | Brief | Fit | Buddy | Watching | Done | Body | UnderAge | Volume | PB | Goal
    | ReportedBase | Harm | Well | Unwell | Cleared | Consent | Grant | Kept | Named | Accepted
    | Limit | Ordered | Seen | TaskSet | Ping | Debriefed | Asked | Strike
)  # fmt: skip

HEALTH_FACTS: tuple[type[Fact], ...] = (Harm, Well, Unwell, Cleared)
"""The facts that are health data; never struck, and dropped by `forget health`."""
