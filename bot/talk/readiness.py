"""How far the base is, what is held speaks for on full lungs, and when the base may be met."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

from bot.shorthand.reading import Command
from bot.talk.ahead import forecast_lines
from bot.talk.full_lung import offered
from bot.talk.turn import Handler, Scene
from bot.talk.views import paused, private_answer
from bot.texts.render import COLUMNS, down, joined, say, up
from planner.full import bounds_at
from planner.gas import fill_window_m
from planner.held import up_half
from planner.lungs import Lungs
from planner.plan import standing
from planner.ready import Readiness, ready
from planner.record import Exercise
from planner.spaces import spaces_of
from planner.standing import Standing
from planner.support import Bound, BoundKind, deepest_full_fill_m, required_fill_m
from storage.outcome import Outcome, Picture


def how_ready(command: Command, scene: Scene, diver: str) -> Outcome:
    """`ready`: the base so far, and the full-lung depth that what is held speaks for."""
    pause = paused(scene, diver)
    if pause:
        return private_answer(scene, diver, pause)
    record = scene.record(diver)
    found = ready(record, rules=scene.rules, at=scene.at)
    if found is None:
        return private_answer(scene, diver, [say("view.ready-unknown")])
    state = standing(record, rules=scene.rules, at=scene.at)
    lines = [*_ready_lines(state, found), *offered(scene, diver)]
    return private_answer(scene, diver, lines, picture=_picture(scene, state, found))


def forecast(command: Command, scene: Scene, diver: str) -> Outcome:
    """`forecast`: the weeks in which the base may be met; nothing while health bars targets."""
    return private_answer(scene, diver, paused(scene, diver) or list(forecast_lines(scene, diver)))


def _picture(scene: Scene, state: Standing, found: Readiness) -> Picture | None:
    """The three bounds with their bands beside stage and goal."""
    depth_m = found.base_m if found.held_m is None else found.held_m
    bounds = found.bounds or _bounds_at(state, found.exercise, depth_m)
    if len(bounds) < 2 or found.goal_reached:
        return None
    data = {
        "bounds": [
            {
                "kind": str(b.kind),
                "depth_m": round(b.depth_m, 2),
                "low_m": round(b.low_m, 2),
                "high_m": round(b.high_m, 2),
            }
            for b in bounds
        ],
        "binding": str(min(bounds, key=lambda b: b.depth_m).kind),
        "from_m": depth_m,
        "is_held": found.held_m is not None,
        "pb_m": state.pb_m,
        "stage_m": found.stage_m,
        "goal_m": state.goal_m,
        "exercise": say(f"exercise.{found.exercise}"),
        "diver": scene.name_of(state.record.diver),
        "on": state.record.local_day(scene.at).isoformat(),
    }
    return Picture(kind="ready", data=json.dumps(data))


def _ready_lines(state: Standing, found: Readiness) -> Iterator[str]:
    if found.goal_reached:
        assert state.pb_m is not None
        far_m = state.pb_m + state.rules["goal.further_m"]
        yield say("view.goal-reached", pb=state.pb_m, far=down(far_m))
        return
    what = say(f"exercise.{found.exercise}")
    rv = found.exercise is Exercise.RV
    yield say("view.ready", what=what, base=found.base_m, stage=found.stage_m)
    yield (
        say("view.nothing-held", base=found.base_m)
        if found.held_m is None
        else say("view.held", held=found.held_m, base=found.base_m)
    )
    yield say(
        "view.at-base-rv" if rv else "view.at-base-frc",
        clean=min(found.days_at_base if rv else found.clean_at_base, found.clean_needed),
        needed=found.clean_needed,
        base=found.base_m,
        days=min(found.days_at_base, found.days_needed),
        days_needed=found.days_needed,
    )
    if found.new_days_owed:
        yield say("view.new-days", days=say(f"number.{found.new_days_owed}"))
    if found.met:
        yield say("view.met")
    if found.held_m is not None and found.bounds:
        yield say("view.supports", held=found.held_m)
        yield from bound_lines(found.bounds)
    elif found.held_m is None:
        bounds = _bounds_at(state, found.exercise, found.base_m)
        yield say("view.would-support", base=found.base_m)
        yield from bound_lines(bounds)
    if state.lungs is None:
        yield say("view.no-lungs")
    else:
        yield _fill_line(state, found, state.lungs)
    yield from _credit(found)
    if found.chance_equalised is not None and found.asked_m is not None:
        yield say(
            "view.chance-reach",
            depth=down(found.asked_m),
            chance=_percent(found.chance_equalised),
        )
    if found.chance_clean is not None:
        yield say(
            "view.chance",
            clean=found.clean,
            dives=found.dives,
            chance=f"{found.chance_clean * 100:.0f}",
        )


def _percent(chance: float) -> str:
    """A chance in whole per cent; nothing is certain, so it ends at 99."""
    return f"{min(99, max(1, round(chance * 100)))}"


def _credit(found: Readiness) -> Iterator[str]:
    """Where the other exercise speaks for more: FRC credit stays while RV builds."""
    speaks = found.supported
    if speaks is not None and speaks.exercise is not found.exercise:
        yield say(
            "view.credit",
            what=say(f"exercise.{speaks.exercise}"),
            held=speaks.held_m,
            depth=down(speaks.depth_m),
            now=say(f"exercise.{found.exercise}"),
        )


def _bounds_at(state: Standing, exercise: Exercise, depth_m: float) -> tuple[Bound, ...]:
    """What a clean dive to a depth would speak for; the fill at its deep end, the careful one."""
    fill_m = _fill_m(state, exercise, depth_m)
    return bounds_at(state, exercise, clean_m=depth_m, fill_m=fill_m)


def _fill_m(state: Standing, exercise: Exercise, depth_m: float) -> float:
    if exercise is Exercise.RV:
        return 0.0
    site = state.record.site
    return fill_window_m(state.lungs, target_m=depth_m, site=site, rules=state.rules).high_m


def _asked_fill_m(state: Standing, found: Readiness) -> float:
    """The full-lung fill that the practice asks for: no larger ratio than at the base."""
    fill_m = _fill_m(state, found.exercise, found.base_m)
    return required_fill_m(
        goal_m=found.stage_m, clean_m=found.base_m, fill_m=fill_m, site=state.record.site
    )


def _fill_line(state: Standing, found: Readiness, lungs: Lungs) -> str:
    """The full-lung fill that the practice asks for beside the latest that the lungs allow."""
    asked_m = _asked_fill_m(state, found)
    latest_m = deepest_full_fill_m(
        lungs, own=spaces_of(state.record), site=state.record.site, rules=state.rules
    ).value
    none = "view.fills-none-rv" if found.exercise is Exercise.RV else "view.fills-none"
    return say(
        "view.fills" if up_half(asked_m) <= latest_m else none,
        stage=found.stage_m,
        asked=up(asked_m),
        latest=down(latest_m),
    )


def bound_lines(bounds: Sequence[Bound]) -> Iterator[str]:
    """The bounds as a narrow table with their bands, which of them binds and why, what each means."""
    if not bounds:
        return
    least = min(bounds, key=lambda b: b.depth_m)
    names = [say(f"view.by-{b.kind}") for b in bounds]
    depths = [say("view.bound-depth", depth=down(b.depth_m)) for b in bounds]
    bands = [_band(b) for b in bounds]
    for bound, name, depth, band in zip(bounds, names, depths, bands, strict=True):
        beside = joined((band, say("view.binds") if bound is least else ""), " ")
        cells = (name.ljust(max(map(len, names))), depth.rjust(max(map(len, depths))), beside)
        yield COLUMNS.join(cells).rstrip()
    is_rule = least.kind is BoundKind.RULE and len(bounds) < len(BoundKind)
    yield say(f"view.binds-{least.kind}-two" if is_rule else f"view.binds-{least.kind}")
    notes = [say(f"view.note-{b.kind}", fill=up(b.if_fill_m or 0.0)) for b in bounds]
    yield joined((*notes, say("view.note-band") if any(bands) else ""), " ")


def _band(bound: Bound) -> str:
    low, high = down(bound.low_m), down(bound.high_m)
    return "" if low == high else say("view.band", low=low, high=high)


HANDLERS: dict[str, Handler] = {"ready": how_ready, "forecast": forecast}
"""What this room answers, by the command's name."""
