"""What a session came to: dives against their targets, what held, limits, pattern, what is next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from planner.plan import Because
from planner.ready import Readiness
from planner.record import Dive, Exercise, Reason


@dataclass(frozen=True, kw_only=True, slots=True)
class DiveLine:
    """One dive of the session with the target that stood for it (None where none did)."""

    dive: Dive
    briefed_m: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Debrief:
    """A session, summed up. `history` is (day, deepest clean exhale depth) over the window.

    `passed` are limits that the session went beyond (each Because once). `pattern` is a technique
    fault that was met twice, with the `task` set against it. `opens_m` and `far_m` are where the
    next session opens and the deepest it may go; None while something bars it.
    """

    diver: str
    on: date
    exercise: Exercise | None
    lines: tuple[DiveLine, ...]
    held_before_m: float | None
    held_after_m: float | None
    passed: tuple[Because, ...]
    pattern: Reason | None
    task: str | None
    free_on: date | None
    opens_m: float | None
    far_m: float | None
    no_flying_until_at: datetime
    readiness: Readiness | None
    replaces: bool
    history: tuple[tuple[date, float], ...]
