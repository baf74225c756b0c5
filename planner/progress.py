"""How deep: the checks that cap the next target's depth. Each is one small function over a Standing."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

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

    RV, both shallower than a few metres and everything clean: a second one, once the first is held.
    """
    track, day = standing.track, standing.day_state
    assert track is not None
    depth = track.size.deeper(_start_m(standing))
    if track.exercise is Exercise.RV and day.trouble_count == 0:
        held = track.held_m(day.last_day)
        second = track.size.deeper(depth)
        if (
            held is not None
            and held >= depth
            and second < standing.rules["step.rv_two_new_above_m"]
        ):
            return second
    return depth


def order_of_targets(standing: Standing, rules: Rules, at: datetime) -> Iterator[Cap]:
    """Opening dive, one at held (FRC), then the new depth; with nothing held, the first depth."""
    track, day = standing.track, standing.day_state
    if track is None:
        return
    if day.start_m is None:
        held = track.held_m(day.last_day)
        if held is None or held < track.first_m:
            yield Cap(
                because=Because.FIRST_DEPTH,
                figure=_first_figure(track.exercise),
                depth_m=track.first_m,
            )
            return
    elif not day.opened:
        yield Cap(
            because=Because.OPENING,
            figure="opening.rv_share" if track.exercise is Exercise.RV else "opening.frc_share",
            depth_m=track.opening_m(day.start_m),
        )
        return
    elif not day.at_held:
        yield Cap(because=Because.AT_HELD, figure="held.clean_dives", depth_m=day.start_m)
        return
    depth = new_depth_m(standing)
    repeated = day.tried_m is not None and day.tried_m >= depth
    yield Cap(
        because=Because.ONE_NEW_DEPTH if repeated else Because.STEP,
        figure=_step_figure(track.exercise, _start_m(standing), rules),
        depth_m=depth,
    )


def _first_figure(exercise: Exercise) -> str:
    return "first.rv_m" if exercise is Exercise.RV else "first.frc_high_m"


def _step_figure(exercise: Exercise, from_m: float, rules: Rules) -> str:
    if exercise is Exercise.FRC:
        return "step.frc_m"
    return "step.rv_shallow_m" if from_m < rules["step.rv_small_from_m"] else "step.rv_deep_m"


def nothing_new(standing: Standing, rules: Rules, at: datetime) -> Iterator[Cap]:
    """After a fault, a lay-off or an urge the day brings no new depth."""
    day = standing.day_state
    if day.bars_new is not None:
        yield Cap(because=day.bars_new, figure="step.frc_m", depth_m=_start_m(standing))
    if day.after_layoff:
        yield Cap(
            because=Because.AFTER_LAYOFF, figure="layoff.short_share", depth_m=_start_m(standing)
        )
    if standing.urge_before or standing.bars_new_by_harm(at):
        yield Cap(because=Because.AFTER_URGE, figure="trouble.most", depth_m=_start_m(standing))


def at_most_held(standing: Standing, rules: Rules, at: datetime) -> Iterator[Cap]:
    """A fault took from held: no target is deeper than what is left."""
    track, day = standing.track, standing.day_state
    if track is None or day.start_m is None:
        return
    held = track.held_m(day.last_day)
    if held is not None and held < day.start_m:
        yield Cap(because=Because.AT_HELD, figure="held.owed_dives", depth_m=held)


def after_faults(standing: Standing, rules: Rules, at: datetime) -> Iterator[Cap]:
    """What this session's hard dives and stops allow for the rest of it."""
    for because, depth_m in standing.day_state.caps:
        yield Cap(because=because, figure=_FAULT_FIGURES[because], depth_m=depth_m)


_FAULT_FIGURES = {
    Because.AFTER_HARD: "off.frc_m",
    Because.AFTER_TECHNIQUE: "off.frc_m",
    Because.AFTER_PRESSURE: "held.pressure_share",
    Because.AFTER_OTHER: "held.clean_dives",
}


def retry(standing: Standing, rules: Rules, at: datetime) -> Iterator[Cap]:
    """After a technique stop at or above the fill: one retry at the opening depth."""
    track, day = standing.track, standing.day_state
    if track is not None and day.retry:
        yield Cap(
            because=Because.RETRY_AT_OPENING,
            figure="opening.frc_share",
            depth_m=track.opening_m(day.start_m),
        )


def ceiling(standing: Standing, rules: Rules, at: datetime) -> Iterator[Cap]:
    """No exhale dive is deeper than the base asks."""
    base = standing.base_m
    if base is not None:
        frc = standing.exercise is Exercise.FRC
        yield Cap(
            because=Because.CEILING,
            figure="exercise.frc_base_share" if frc else "exercise.rv_base_share",
            depth_m=base,
        )


def coach_watches(standing: Standing, rules: Rules, at: datetime) -> Iterator[Cap]:
    """A new RV depth past a limit waits for the diver's accepted coach as today's watcher."""
    if standing.exercise is Exercise.RV:
        yield Cap(
            because=Because.NO_COACH,
            figure="step.rv_coach_past_m",
            depth_m=max(rules["step.rv_coach_past_m"], standing.day_state.start_m or 0.0),
        )


def restart(standing: Standing, rules: Rules, at: datetime) -> Iterator[Cap]:
    """After grave harm, exhale dives begin again at a share of held."""
    share = standing.restart_share_at(at)
    if share < 1.0:
        yield Cap(
            because=Because.RECENT_HARM,
            figure="held.least_m",
            depth_m=max(rules["held.least_m"], share * _start_m(standing)),
        )
