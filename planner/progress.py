"""How deep: the checks that cap the next target's depth. Each is one small function over a Standing."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from math import inf

from planner.reasons import Because, Cap
from planner.record import Exercise
from planner.rules import Rules
from planner.standing import Standing


def _start_m(standing: Standing) -> float:
    """What was held as the session began; before any, the first depth."""
    start = standing.day_state.start_m
    return standing.first_m if start is None else start


def new_depth_m(standing: Standing) -> float:
    """The new depth of this session: one step past what was held as it began.

    RV, both shallower than a few metres and everything clean: a second one, once the first was repeated.
    """
    track, day = standing.track, standing.day_state
    assert track is not None
    depth = track.size.deeper(_start_m(standing))
    if track.exercise is Exercise.RV and day.trouble_count == 0:
        held = track.held_m(day.last_day)
        second = track.size.deeper(depth)
        shown = day.new_clean >= track.size.needed and held is not None and held >= depth
        if shown and second < standing.rules["step.rv_two_new_above_m"]:
            return second
    return depth


def order_of_targets(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """Opening dive, one at held (FRC), then the new depth; with nothing held, the first depth."""
    track, day = standing.track, standing.day_state
    if track is None:
        return ()
    start = day.start_m
    is_rv = track.exercise is Exercise.RV
    if start is None:
        held = track.held_m(day.last_day)
        if held is None or held < track.first_m or not day.at_held:
            figure = "first.rv_m" if is_rv else "first.frc_high_m"
            return (Cap(because=Because.FIRST_DEPTH, figure=figure, depth_m=track.first_m),)
    elif not day.opened:
        figure = "opening.rv_share" if is_rv else "opening.frc_share"
        opening = track.opening_m(start)
        if standing.opens_lower and track.opens_most < track.size.opening_share:
            figure = "full.opening_share"
        return (Cap(because=Because.OPENING, figure=figure, depth_m=opening),)
    elif not day.at_held:
        return (Cap(because=Because.AT_HELD, figure="held.clean_dives", depth_m=start),)
    depth = new_depth_m(standing)
    figure = "step.frc_m"
    if is_rv:
        small = depth > rules["step.rv_small_from_m"]
        figure = "step.rv_deep_m" if small else "step.rv_shallow_m"
    because = Because.ONE_NEW_DEPTH if day.deepest_m >= depth else Because.STEP
    return (Cap(because=because, figure=figure, depth_m=depth),)


def nothing_new(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """After a fault, a lay-off or an urge, and while a task is open, the day brings no new depth."""
    day = standing.day_state
    urge = standing.urge_before or standing.bars_new_by_harm(at)
    tasks = standing.learning.open
    if day.bars_new is None and not day.after_layoff and not urge and not tasks:
        return ()
    most = _start_m(standing)
    caps = []
    if day.bars_new is not None:
        is_rv = standing.exercise is Exercise.RV
        figure = "step.rv_deep_m" if is_rv else "step.frc_m"
        caps.append(Cap(because=day.bars_new, figure=figure, depth_m=most))
    if day.after_layoff:
        figure = _layoff_figure(standing, rules)
        caps.append(Cap(because=Because.AFTER_LAYOFF, figure=figure, depth_m=most))
    if tasks:
        caps.append(Cap(because=Because.LEARNING, figure="learn.task_days", depth_m=most))
    if urge:
        caps.append(Cap(because=Because.AFTER_URGE, figure="trouble.most", depth_m=most))
    return caps


def _layoff_figure(standing: Standing, rules: Rules) -> str:
    """Which lay-off it was: short or long, or so long that it starts over."""
    track, day = standing.track, standing.day_state
    assert track is not None
    # the last exhale day before it, kept as the lay-off was applied; without any it is a start
    if track.frozen is None:
        return "layoff.over_d"
    away_d = day.began_day - track.frozen[0]
    if away_d >= rules["layoff.over_d"]:
        return "layoff.over_d"
    return "layoff.long_share" if away_d >= rules["layoff.long_d"] else "layoff.short_share"


def at_most_held(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """A fault took from held: no target is deeper than what is left."""
    track, day = standing.track, standing.day_state
    if track is None or day.start_m is None:
        return ()
    held = track.held_m(day.last_day)
    if held is not None and held < day.start_m:
        return (Cap(because=Because.AT_HELD, figure="held.owed_dives", depth_m=held),)
    return ()


def after_faults(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """What this session's hard dives and stops allow for the rest of it."""
    if not standing.day_state.caps:
        return ()
    is_rv = standing.exercise is Exercise.RV
    return [
        Cap(
            because=because,
            figure=_off_figure(depth_m, rules) if is_rv and because in _STEPS_OFF else figure,
            depth_m=depth_m,
        )
        for because, depth_m in standing.day_state.caps
        for figure in (_FAULT_FIGURES[because],)
    ]


def _off_figure(depth_m: float, rules: Rules) -> str:
    small = depth_m >= rules["off.rv_small_from_m"]
    return "off.rv_deep_m" if small else "off.rv_shallow_m"


_STEPS_OFF = frozenset({Because.AFTER_HARD, Because.AFTER_TECHNIQUE})
_FAULT_FIGURES = {
    Because.AFTER_HARD: "off.frc_m",
    Because.AFTER_TECHNIQUE: "off.frc_m",
    Because.AFTER_PRESSURE: "held.pressure_share",
    Because.AFTER_OTHER: "held.clean_dives",
}


def retry(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """After a technique stop at or above the fill: one retry at the opening depth."""
    track, day = standing.track, standing.day_state
    if track is None or not day.retry:
        return ()
    opening = track.opening_m(day.start_m)
    return (Cap(because=Because.RETRY_AT_OPENING, figure="opening.frc_share", depth_m=opening),)


def ceiling(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """No exhale dive is deeper than the base asks."""
    base = standing.base_m
    if base is None:
        return ()
    frc = standing.exercise is Exercise.FRC
    figure = "exercise.frc_base_share" if frc else "exercise.rv_base_share"
    return (Cap(because=Because.CEILING, figure=figure, depth_m=base),)


def coach_depth(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """No target is deeper than the diver's coach said for today."""
    depth = standing.limits.depth_m(at)
    if depth == inf:
        return ()
    return (Cap(because=Because.COACH_DEPTH, figure="people.coach_days", depth_m=depth),)


def coach_watches(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """A new RV depth past a limit waits for the diver's accepted coach as today's watcher."""
    if standing.exercise is not Exercise.RV:
        return ()
    coach = standing.limits.coach
    if coach is not None and coach == standing.buddy:
        return ()
    most = max(rules["step.rv_coach_past_m"], standing.day_state.start_m or 0.0)
    return (Cap(because=Because.NO_COACH, figure="step.rv_coach_past_m", depth_m=most),)
