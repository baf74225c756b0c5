"""What the planner says: Plan or Refusal, and the caps and bars that stand behind it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import NamedTuple

from planner.record import Exercise


class Because(StrEnum):
    """Why a cap or a bar stands. The wording lives in texts, by this key."""

    # caps on depth
    OPENING = "opening"
    AT_HELD = "at-held"
    FIRST_DEPTH = "first-depth"
    STEP = "step"
    CEILING = "ceiling"
    ONE_NEW_DEPTH = "one-new-depth"
    AFTER_HARD = "after-hard"
    AFTER_TECHNIQUE = "after-technique"
    RETRY_AT_OPENING = "retry-at-opening"
    AFTER_PRESSURE = "after-pressure"
    AFTER_OTHER = "after-other"
    AFTER_LAYOFF = "after-layoff"
    AFTER_URGE = "after-urge"
    LEARNING = "learning"
    NO_COACH = "no-coach"
    COACH_DEPTH = "coach-depth"
    # caps on a full-lung line
    FULL_STEP = "full-step"
    FULL_REPEAT = "full-repeat"
    SUPPORTED = "supported"
    # caps on a moment, and on dives
    INTERVAL = "interval"
    COACH_GAP = "coach-gap"
    DIVES = "dives"
    # bars that the group saw itself: they are named
    HELP_CALLED = "help-called"
    CAP = "cap"
    TWO_TROUBLES = "two-troubles"
    TOO_DEEP = "too-deep"
    FULL_DIVE = "full-dive"
    PRESSURE_DEEP = "pressure-deep"
    UNDER_TWO = "under-two"
    URGE = "urge"
    COLD = "cold"
    DEPTH_UNKNOWN = "depth-unknown"
    EXHALE_DIVE = "exhale-dive"
    FULL_TROUBLE = "full-trouble"
    ONE_FULL_STEP = "one-full-step"
    # bars that are asked for in the group
    NO_BUDDY = "no-buddy"
    NO_FIT = "no-fit"
    # bars that only the diver hears of
    NO_PB = "no-pb"
    NO_GOAL = "no-goal"
    UNDER_AGE = "under-age"
    GOAL_REACHED = "goal-reached"
    REST = "rest"
    LOCK = "lock"
    UNWELL = "unwell"
    CHECK_OPEN = "check-open"
    QUESTION_OPEN = "question-open"
    NOT_FIT = "not-fit"
    WATCHING = "watching"
    COACH_REST = "coach-rest"
    BUDDY_CALLED = "buddy-called"  # for whom the diver called for help in private
    LAYOFF_LONG = "layoff-long"
    RECENT_HARM = "recent-harm"
    # why no full-lung step is offered
    NOT_SUPPORTED = "not-supported"
    NO_VOLUMES = "no-volumes"
    EMPTY_WINDOW = "empty-window"


NAMED_IN_GROUP = frozenset(
    {
        Because.HELP_CALLED,
        Because.CAP,
        Because.TWO_TROUBLES,
        Because.TOO_DEEP,
        Because.FULL_DIVE,
        Because.PRESSURE_DEEP,
        Because.UNDER_TWO,
        Because.COLD,
        Because.URGE,
        Because.DEPTH_UNKNOWN,
        Because.EXHALE_DIVE,
        Because.FULL_TROUBLE,
        Because.ONE_FULL_STEP,
    }
)
"""Bars that the group saw happen; naming them says nothing it does not know."""

LIKE_A_LOCK = frozenset(
    {
        Because.LOCK,
        Because.RECENT_HARM,
        Because.UNWELL,
        Because.CHECK_OPEN,
        Because.REST,
        Because.NOT_FIT,
        Because.WATCHING,
        Because.LAYOFF_LONG,
        Because.UNDER_AGE,
        Because.COACH_REST,
        Because.BUDDY_CALLED,
    }
)
"""Bars that nobody in the group may tell from each other, whatever else stands beside them."""

ASKED_IN_GROUP = frozenset({Because.NO_BUDDY, Because.NO_FIT})
"""Bars that the group is asked about."""


class Cap(NamedTuple):
    """An upper limit on the next target (`depth_m`), or the earliest moment of it (`not_before_at`)."""

    because: Because
    figure: str
    depth_m: float | None = None
    not_before_at: datetime | None = None


class Bar(NamedTuple):
    """No target, and why. `figure` names the figure of rules.toml, `until_on` the first free day, if known."""

    because: Because
    figure: str
    until_on: date | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class FillWindow:
    """Where to take the fill: metres, or the surface (both None)."""

    low_m: float | None
    high_m: float | None

    @property
    def at_surface(self) -> bool:
        """Whether the fill is taken at the surface."""
        return self.high_m is None


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """The next target of one diver, with every cap that spoke; the first cap is the one that binds."""

    diver: str
    exercise: Exercise
    depth_m: float
    fill: FillWindow
    not_before_at: datetime | None
    dive_number: int
    dives_allowed: int
    on_condition: bool
    is_new_depth: bool
    is_opening: bool
    held_m: float | None
    base_m: float
    caps: tuple[Cap, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Refusal:
    """No target, with every bar that stands. `dives_done` counts this session's exhale dives."""

    diver: str
    exercise: Exercise | None
    bars: tuple[Bar, ...]
    dives_done: int
    dives_allowed: int
    held_m: float | None
    base_m: float | None
    free_on: date | None
