"""Readiness: how far the base is, what an exhale dive supports, and which bound binds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from planner.full import Supported, bounds_at, held_fill_m, supported_of
from planner.gas import fill_window_m
from planner.plan import settled_m, standing
from planner.record import DiverRecord, Ending, Exercise
from planner.rules import Rules
from planner.standing import Standing
from planner.support import Bound, BoundKind, binding

__all__ = ["Bound", "BoundKind", "Readiness", "readiness_of", "ready"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Readiness:
    """How far the base is.

    `clean_at_base` and `days_at_base` count clean dives at or below the base with the fill in
    place and the days they were on (RV: first dives of the day only). `bounds` is empty while
    nothing is held; `binding` names the least of them. After a full-lung pressure stop
    `new_days_owed` days at the base are still to come. `supported` is the better of both exercises.
    `chance_clean` is the share of told dives that were clean (Jeffreys); `chance_equalised` that
    the next dive, to `asked_m`, stays equalised, by the reach learned from the diver's own dives.
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
    new_days_owed: int = 0
    supported: Supported | None = None
    asked_m: float | None = None
    chance_equalised: float | None = None
    goal_reached: bool = False


def ready(record: DiverRecord, *, rules: Rules, at: datetime) -> Readiness | None:
    """How far the base is at an instant; None while PB or goal is not known."""
    return readiness_of(standing(record, rules=rules, at=at), rules=rules, at=at)


def readiness_of(
    state: Standing, *, rules: Rules, at: datetime | None = None, with_bounds: bool = True
) -> Readiness | None:
    """How far the base is where the diver stands; None while PB or goal is not known.

    With `at`, the instant of that standing, the chance of the next dive comes with it.
    """
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
    owed = 0
    since = state.ladder.pressure_day
    if since is not None and since >= oldest:
        new_days = len({day for day in at_base if day > since})
        owed = max(0, int(rules["full.base_days"]) - new_days)
    bounds = () if held is None or not with_bounds else _bounds(state, exercise, held)
    least = binding(bounds)
    asked_m, chance = _chance(state, exercise, at)
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
        and days >= days_needed
        and not owed,
        bounds=bounds,
        binding=None if least is None else least.kind,
        clean=clean,
        dives=len(told),
        # the mean of the Jeffreys posterior (Brown, Cai, DasGupta, Stat Sci 2001;16:101-133)
        chance_clean=(clean + 0.5) / (len(told) + 1) if told else None,
        new_days_owed=owed,
        supported=supported_of(state) if with_bounds else None,
        asked_m=asked_m,
        chance_equalised=chance,
        goal_reached=state.is_goal_reached,
    )


def _chance(
    state: Standing, exercise: Exercise, at: datetime | None
) -> tuple[float | None, float | None]:
    """The depth of the next dive, and the chance that it stays equalised; without dives neither.

    The fill is the one that was last stated, within the brief's window, else its shallow end,
    which asks the most of the mouth.
    """
    if at is None:
        return None, None
    from planner.reach import reach_of  # numpy is loaded with the first reach

    learned = reach_of(state.record, exercise, at=at, rules=state.rules)
    depth_m = settled_m(state, at) or state.opening_m
    if not learned.trials or depth_m is None:
        return None, None
    fill_m = 0.0
    if exercise is Exercise.FRC:
        low, high = fill_window_m(
            state.lungs, target_m=depth_m, site=state.record.site, rules=state.rules
        )[:2]
        stated = (
            d.fill_m
            for d in reversed(state.record.dives)
            if d.exercise is exercise and d.fill_m is not None
        )
        fill_m = max(low, min(high, next(stated, low)))
    return depth_m, learned.chance(depth_m=depth_m, fill_m=fill_m)


def _bounds(state: Standing, exercise: Exercise, held_m: float) -> tuple[Bound, ...]:
    """What the held depth supports, by rule, chest and mouth."""
    fill_m = held_fill_m(state, exercise, held_m)
    return bounds_at(state, exercise, clean_m=held_m, fill_m=fill_m)
