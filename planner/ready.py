"""Readiness: how far the base is, what an exhale dive supports, and which bound binds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from planner.gas import fill_window_m
from planner.plan import standing
from planner.record import DiverRecord, Ending, Exercise
from planner.rules import Rules
from planner.standing import Standing
from planner.support import Bound, BoundKind, binding, supports

__all__ = ["Bound", "BoundKind", "Readiness", "readiness_of", "ready"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Readiness:
    """How far the base is.

    `clean_at_base` and `days_at_base` count clean dives at or below the base with the fill in
    place and the days they were on (RV: first dives of the day only). `bounds` is empty while
    nothing is held; `binding` names the least of them.
    """

    exercise: Exercise
    stage_m: float
    base_m: float
    held_m: float | None
    clean_at_base: int
    days_at_base: int
    clean_needed: int
    days_needed: int
    met: bool
    bounds: tuple[Bound, ...]
    binding: BoundKind | None
    clean: int
    dives: int
    chance_clean: float | None


def ready(record: DiverRecord, *, rules: Rules, at: datetime) -> Readiness | None:
    """How far the base is at an instant; None while PB or goal is not known."""
    return readiness_of(standing(record, rules=rules, at=at), rules=rules)


def readiness_of(state: Standing, *, rules: Rules, with_bounds: bool = True) -> Readiness | None:
    """How far the base is where the diver stands; None while PB or goal is not known."""
    exercise, stage, base = state.exercise, state.stage_m, state.base_m
    if exercise is None or stage is None or base is None:
        return None
    held = state.held_m
    oldest = state.day_state.last_day - rules["held.window_d"]
    is_rv = exercise is Exercise.RV
    at_base = [
        day
        for day, depth_m, what, is_first, fill_ok in state.base_dives
        if day >= oldest
        and what is exercise
        and depth_m >= base
        and fill_ok
        and (is_first or not is_rv)
    ]
    clean_needed = int(rules["base.rv_days" if is_rv else "base.frc_clean"])
    days_needed = int(rules["base.rv_days" if is_rv else "base.frc_days"])
    days = len(set(at_base))
    bounds = () if held is None or not with_bounds else _bounds(state, exercise, held)
    least = binding(bounds)
    recent = [
        (d, state.briefed.get(d.origin.place))
        for d in state.record.dives
        if d.exercise is exercise and state.day_of(d.happened_at) >= oldest
    ]
    told = [d for d, briefed in recent if briefed is not None]
    clean = sum(d.ending in (Ending.CLEAN, Ending.EARLY) for d in told)
    return Readiness(
        exercise=exercise,
        stage_m=stage,
        base_m=base,
        held_m=held,
        clean_at_base=len(at_base),
        days_at_base=days,
        clean_needed=clean_needed,
        days_needed=days_needed,
        met=held is not None
        and held >= base
        and len(at_base) >= clean_needed
        and days >= days_needed,
        bounds=bounds,
        binding=None if least is None else least.kind,
        clean=clean,
        dives=len(told),
        # the mean of the Jeffreys posterior (Brown, Cai, DasGupta, Stat Sci 2001;16:101-133)
        chance_clean=(clean + 0.5) / (len(told) + 1) if told else None,
    )


def _bounds(state: Standing, exercise: Exercise, held_m: float) -> tuple[Bound, ...]:
    """What the held depth supports, by rule, chest and mouth."""
    return supports(
        exercise=exercise,
        clean_m=held_m,
        fill_m=_held_fill_m(state, exercise, held_m),
        lungs=state.lungs,
        rules=state.rules,
    )


def _held_fill_m(state: Standing, exercise: Exercise, held_m: float) -> float:
    """The fill that the held dives were made with: the deepest stated, else the window's deep end.

    A deeper fill asks less of the mouth, so the deeper one speaks for less.
    """
    if exercise is Exercise.RV:
        return 0.0
    stated = [
        d.fill_m
        for d in state.record.dives
        if d.exercise is exercise
        and d.fill_m is not None
        and d.depth_m is not None
        and d.depth_m >= held_m
        and d.ending is Ending.CLEAN
    ]
    deepest = max(stated, default=fill_window_m(state.lungs, target_m=held_m)[1])
    return min(deepest, held_m)
