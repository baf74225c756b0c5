"""What an exhale dive does to where a diver stands: what it counts as, and what faults take."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.day import ExhaleDay
from planner.held import Track, down_half
from planner.reasons import Because
from planner.record import Dive, Ending, Exercise, Reason

if TYPE_CHECKING:
    from planner.standing import Standing


def exhale_dive(standing: Standing, dive: Dive, day: int, briefed_m: float | None) -> None:
    """Fold an exhale dive in: count it, end the day where it must, then by how it ended."""
    state, r = standing.day_state, standing.rules
    place = dive.origin.place
    exercise = dive.exercise
    if exercise is not standing.exercise:
        briefed_m = None
        if not state.dives:
            standing.tracks[exercise].come_back(day)
    standing.briefed[place] = briefed_m
    standing.learning.exhale(dive, session=state.number, day=day)
    track = standing.tracks[exercise]
    held = track.held_m(day)
    turn = dive.depth_m
    is_first = not state.dives and not (
        standing.exhale_days and standing.exhale_days[-1].day == day
    )

    if _is_shallow_turn(standing, dive):
        counts = False
    else:
        counts = True
        state.exhale_count += 1
        state.deepest_m = max(state.deepest_m, turn or 0.0)
    if standing.exhale_days and standing.exhale_days[-1].day in (state.began_day, day):
        standing.exhale_days[-1].day = day
    else:
        standing.exhale_days.append(ExhaleDay(day, long_rest=False))
    if state.retry:
        # turned short of the retry's depth, all well: the same target comes again
        eased = dive.ending in (Ending.CLEAN, Ending.EARLY) and turn is not None
        state.retry = eased and down_half(turn or 0.0) < track.opening_m(state.start_m)
    if dive.is_troubled:
        state.trouble_count += 1
        if state.trouble_count >= r["trouble.most"]:
            state.over.append(Because.TWO_TROUBLES)
    new_from = state.start_m if state.start_m is not None else standing.first_m
    tried_m = max(briefed_m or 0.0, turn or 0.0)
    if exercise is standing.exercise and tried_m > new_from:
        standing.exhale_days[-1].long_rest = True
    if briefed_m is not None and turn is not None and turn > briefed_m + r["trouble.too_deep_m"]:
        state.over.append(Because.TOO_DEEP)

    if dive.ending in (Ending.CLEAN, Ending.EARLY):
        if briefed_m is not None and turn is not None and counts and not dive.waits:
            _clean(standing, dive, day, turn, briefed_m, is_first)
    elif dive.ending is Ending.HARD:
        _hard(standing, track, day, _counts_as(turn, briefed_m, standing), held)
    else:
        counted = _counts_as(turn, briefed_m, standing)
        _stop(standing, dive, track, day, counted, held, briefed_m)
    track.dived(day, is_briefed=briefed_m is not None)


def _counts_as(turn_m: float | None, briefed_m: float | None, standing: Standing) -> float | None:
    """A dive deeper than briefed counts as the briefed depth, for what its trouble takes as well."""
    if turn_m is None or briefed_m is None:
        return turn_m
    too_deep = turn_m > briefed_m + standing.rules["trouble.too_deep_m"]
    return briefed_m if too_deep else turn_m


def _is_shallow_turn(standing: Standing, dive: Dive) -> bool:
    """Turned above the depth that counts, without pressure, short of the target."""
    depth = dive.depth_m
    return (
        depth is not None
        and depth < standing.rules["held.shallow_turn_m"]
        and (
            dive.ending is Ending.EARLY
            or (dive.ending is Ending.STOP and not dive.is_pressure_stop)
        )
    )


def _clean(
    standing: Standing, dive: Dive, day: int, turn: float, briefed_m: float, is_first: bool
) -> None:
    state, r = standing.day_state, standing.rules
    track = standing.tracks[dive.exercise]
    too_deep = turn > briefed_m + r["trouble.too_deep_m"]
    credited = down_half(briefed_m if too_deep else turn)
    track.clean(day, state.number, credited)
    start = state.start_m
    if dive.ending is Ending.CLEAN:
        # FRC: the opening dive and the one at held are two dives, even at the same depth
        if credited >= (track.first_m if start is None else start):
            state.at_held = state.opened or dive.exercise is Exercise.RV
        if credited >= track.opening_m(start):
            state.opened = True
        if credited >= track.size.deeper(track.first_m if start is None else start):
            state.new_clean += 1
        fill_ok = _fill_in_place(standing, dive)
        standing.base_dives.append((day, credited, dive.exercise, is_first, fill_ok))


def _fill_in_place(standing: Standing, dive: Dive) -> bool:
    if dive.fill_m is None:
        return True
    r = standing.rules
    if dive.exercise is Exercise.RV:
        return dive.fill_m == 0
    latest = (dive.depth_m or 0.0) - r["fill.above_target_m"]
    return min(r["fill.frc_low_m"], latest) <= dive.fill_m <= min(r["fill.frc_high_m"], latest)


def _hard(
    standing: Standing, track: Track, day: int, turn: float | None, held: float | None
) -> None:
    state = standing.day_state
    state.opened = True
    _bar_new(standing, Because.AFTER_HARD)
    if turn is None:
        return
    _take_step_off(standing, track, day, turn, held)
    state.caps.append((Because.AFTER_HARD, track.size.shallower(turn)))


def _take_step_off(
    standing: Standing, track: Track, day: int, turn: float, held: float | None
) -> None:
    state = standing.day_state
    if held is None or not track.opening_m(state.start_m) <= turn <= held:
        return
    if track.step_off(day, may_take=not state.off_taken):
        state.off_taken = True


def _bar_new(standing: Standing, because: Because) -> None:
    if standing.day_state.bars_new is None:
        standing.day_state.bars_new = because


def _stop(
    standing: Standing,
    dive: Dive,
    track: Track,
    day: int,
    turn: float | None,
    held: float | None,
    briefed_m: float | None,
) -> None:
    state, r = standing.day_state, standing.rules
    reason = dive.reason or Reason.UNSTATED
    if turn is None and reason is not Reason.COLD and reason is not Reason.URGE:
        standing.unknown_depths.append(dive)
    if reason.is_pressure:
        state.had_pressure = True
        _bar_new(standing, Because.AFTER_PRESSURE)
        standing.exhale_days[-1].long_rest = True
        if turn is None:
            return
        track.pressure(day, state.number, turn)
        state.caps.append((Because.AFTER_PRESSURE, r["held.pressure_share"] * turn))
        if dive.exercise is Exercise.RV and (dive.depth_m or turn) >= r["trouble.rv_over_from_m"]:
            state.over.append(Because.PRESSURE_DEEP)
    elif reason.is_technique:
        if turn is None:
            _bar_new(standing, Because.AFTER_TECHNIQUE)
            return
        if turn <= _fill_depth(standing, dive, briefed_m):
            state.retry = True
            return
        _bar_new(standing, Because.AFTER_TECHNIQUE)
        if not _is_shallow_turn(standing, dive):
            _take_step_off(standing, track, day, turn, held)
        left = track.held_m(day)
        cap = track.size.shallower(turn)
        state.caps.append((Because.AFTER_TECHNIQUE, cap if left is None else min(cap, left)))
    elif reason is Reason.URGE:
        state.over.append(Because.URGE)
    elif reason is Reason.COLD:
        state.over.append(Because.COLD)
    else:
        _bar_new(standing, Because.AFTER_OTHER)
        if briefed_m is not None:
            state.caps.append(
                (Because.AFTER_OTHER, briefed_m if held is None else min(briefed_m, held))
            )


def _fill_depth(standing: Standing, dive: Dive, briefed_m: float | None) -> float:
    """Where the fill was: as stated, or the shallow end of what is briefed; RV at the surface."""
    if dive.exercise is Exercise.RV:
        return 0.0
    if dive.fill_m is not None:
        return dive.fill_m
    low = standing.rules["fill.frc_low_m"]
    if briefed_m is None:
        return low
    return min(low, max(0.0, briefed_m - standing.rules["fill.above_target_m"]))
