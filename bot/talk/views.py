"""What a diver looks at, in private: the last dives, the week, how far the base is, and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import groupby

from bot.shorthand.reading import Command
from bot.talk.aside import privately, whose
from bot.talk.profile import litres
from bot.talk.tell import outcome_words, reason_words
from bot.talk.turn import Handler, Scene
from bot.texts.render import clock, day, down, has, joined, metres, say, up
from planner.gas import fill_window_m
from planner.held import up_half
from planner.lungs import Lungs
from planner.plan import plan, standing
from planner.ready import Readiness, ready
from planner.reasons import ASKED_IN_GROUP, Bar, Because, Cap, Plan, Refusal
from planner.record import Brief, Dive, DiverRecord, Exercise, sessions
from planner.rules import Rules
from planner.sources import cited, source
from planner.spaces import spaces_of
from planner.standing import Standing
from planner.support import Bound, deepest_full_fill_m, required_fill_m, supports
from storage.outcome import Outcome

LOG_DIVES = 12
"""How many dives `log` shows; all of them are in `export`."""

WEEKS_BEFORE = 4
"""The weeks whose mean stands beside this one."""

_OF_HEALTH = frozenset({Because.LOCK, Because.UNWELL, Because.RECENT_HARM})


def _answered(scene: Scene, diver: str, lines: Sequence[str]) -> Outcome:
    text = whose(scene, diver) + "\n".join(line for line in lines if line)
    return Outcome(letters=privately(scene, text, about=diver))


def paused(scene: Scene, diver: str) -> tuple[str, ...]:
    """What bars every target for the sake of health, in words for the diver alone."""
    now = plan(scene.record(diver), rules=scene.rules, at=scene.at)
    if isinstance(now, Plan):
        return ()
    bars = tuple(b for b in now.bars if b.because in _OF_HEALTH)
    return tuple(reason_words(scene, _only(now, bars))) if bars else ()


def _only(refusal: Refusal, bars: tuple[Bar, ...]) -> Refusal:
    return Refusal(
        diver=refusal.diver,
        exercise=refusal.exercise,
        bars=bars,
        dives_done=refusal.dives_done,
        dives_allowed=refusal.dives_allowed,
        held_m=refusal.held_m,
        base_m=refusal.base_m,
        free_on=refusal.free_on,
    )


# log and week


def log(command: Command, scene: Scene, diver: str) -> Outcome:
    """`log`: the last dives, by day."""
    record = scene.record(diver)
    shown = record.dives[-LOG_DIVES:]
    if not shown:
        return _answered(scene, diver, [say("view.no-dives")])
    lines: list[str] = []
    for on, dives in groupby(shown, key=lambda d: record.local_day(d.happened_at)):
        lines.append(day(on))
        lines += [_log_line(scene, d) for d in dives]
    if len(record.dives) > len(shown):
        lines.append(say("view.log-more", shown=len(shown), total=len(record.dives)))
    return _answered(scene, diver, lines)


def _log_line(scene: Scene, dive: Dive) -> str:
    return joined(
        (
            clock(dive.happened_at, scene.zone),
            dive_words(dive),
            say("view.waits") if dive.waits else "",
            f"# {dive.note}" if dive.note else "",
        ),
        " · ",
    )


def dive_words(dive: Dive) -> str:
    """Exercise, depth, outcome, fill and time of a dive, without whose it was."""
    what = say(f"exercise.{dive.exercise}")
    if dive.exercise is Exercise.DRY:
        return joined((what, "" if dive.amount is None else str(dive.amount), dive.task or ""), " ")
    if dive.depth_m is None:
        depth = say("echo.no-depth", what=what)
    elif dive.target_m is not None and dive.target_m != dive.depth_m:
        depth = say("echo.of-target", what=what, depth=dive.depth_m, target=dive.target_m)
    else:
        depth = say("echo.depth", what=what, depth=dive.depth_m)
    fill = ""
    if dive.fill_m is not None:
        fill = say("next.fill-at", depth=dive.fill_m) if dive.fill_m else say("next.fill-surface")
    taken = ""
    if dive.dive_time_s is not None:
        minutes, seconds = divmod(dive.dive_time_s, 60)
        taken = say("view.dive-time", minutes=minutes, seconds=f"{seconds:02d}")
    return joined((depth, outcome_words(dive), fill, taken), " · ")


def week(command: Command, scene: Scene, diver: str) -> Outcome:
    """`week`: exhale dives and metres beside the mean of four weeks, as information only."""
    record = scene.record(diver)
    today = record.local_day(scene.at)
    monday = today - timedelta(days=today.weekday())
    dives, depth_m = load(record, monday, monday + timedelta(days=7))
    four_before = monday - timedelta(weeks=WEEKS_BEFORE)
    before, before_m = load(record, four_before, monday)
    runs = [s for s in sessions(record, gap_h=scene.rules["session.gap_h"]) if s.on >= monday]
    lines = [
        say(
            "view.week",
            monday=monday,
            sessions=_counted(len(runs), "session"),
            dives=_counted(dives, "exhale-dive"),
            metres=depth_m,
        ),
        say(
            "view.week-mean",
            dives=metres(before / WEEKS_BEFORE),
            metres=metres(before_m / WEEKS_BEFORE),
        ),
        *(paused(scene, diver) or _next_day(scene, record)),
    ]
    return _answered(scene, diver, lines)


def load(record: DiverRecord, first: date, before: date) -> tuple[int, float]:
    """Exhale dives and their metres on the local days from one to before another."""
    depths = [
        d.depth_m or 0.0
        for d in record.dives
        if d.exercise.is_exhale and first <= record.local_day(d.happened_at) < before
    ]
    return len(depths), sum(depths)


def _counted(count: int, what: str) -> str:
    return say(f"view.{what}-one" if count == 1 else f"view.{what}-many", count=count)


def _next_day(scene: Scene, record: DiverRecord) -> tuple[str, ...]:
    state = standing(record, rules=scene.rules, at=scene.at)
    if state.exercise is None:
        return ()
    today = record.local_day(scene.at)
    if state.free_on <= today:
        return (say("view.rested"),)
    return (say("view.next-day", on=state.free_on),)


# readiness


def how_ready(command: Command, scene: Scene, diver: str) -> Outcome:
    """`ready`: the base so far, and the full-lung depth that what is held speaks for."""
    pause = paused(scene, diver)
    if pause:
        return _answered(scene, diver, pause)
    record = scene.record(diver)
    found = ready(record, rules=scene.rules, at=scene.at)
    if found is None:
        return _answered(scene, diver, [say("view.ready-unknown")])
    state = standing(record, rules=scene.rules, at=scene.at)
    return _answered(scene, diver, list(_ready_lines(state, found)))


def _ready_lines(state: Standing, found: Readiness) -> Iterator[str]:
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
        clean=found.days_at_base if rv else found.clean_at_base,
        needed=found.clean_needed,
        base=found.base_m,
        days=found.days_at_base,
        days_needed=found.days_needed,
    )
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
    if found.chance_clean is not None:
        yield say(
            "view.chance",
            clean=found.clean,
            dives=found.dives,
            chance=f"{found.chance_clean * 100:.0f}",
        )


def _bounds_at(state: Standing, exercise: Exercise, depth_m: float) -> tuple[Bound, ...]:
    """What a clean dive to a depth would speak for; the fill at its deep end, the careful one."""
    return supports(
        exercise=exercise,
        clean_m=depth_m,
        fill_m=_fill_m(state, exercise, depth_m),
        lungs=state.lungs,
        own=spaces_of(state.record),
        rules=state.rules,
    )


def _fill_m(state: Standing, exercise: Exercise, depth_m: float) -> float:
    if exercise is Exercise.RV:
        return 0.0
    return fill_window_m(state.lungs, target_m=depth_m).high_m


def _asked_fill_m(state: Standing, found: Readiness) -> float:
    """The full-lung fill that the practice asks for: no larger ratio than at the base."""
    fill_m = _fill_m(state, found.exercise, found.base_m)
    return required_fill_m(goal_m=found.stage_m, clean_m=found.base_m, fill_m=fill_m)


def _fill_line(state: Standing, found: Readiness, lungs: Lungs) -> str:
    """The full-lung fill that the practice asks for beside the latest that the lungs allow."""
    asked_m = _asked_fill_m(state, found)
    latest_m = deepest_full_fill_m(lungs, own=spaces_of(state.record)).value
    return say(
        "view.fills" if up_half(asked_m) <= latest_m else "view.fills-none",
        stage=found.stage_m,
        asked=up(asked_m),
        latest=down(latest_m),
    )


def bound_lines(bounds: Sequence[Bound]) -> Iterator[str]:
    """The bounds with their figures, and which of them binds, and why."""
    for bound in bounds:
        band = ""
        if down(bound.low_m) != down(bound.high_m):
            band = say("view.band", low=down(bound.low_m), high=down(bound.high_m))
        yield say(
            f"view.bound-{bound.kind}",
            depth=down(bound.depth_m),
            band=band,
            fill="" if bound.if_fill_m is None else up(bound.if_fill_m),
        )
    if bounds:
        least = min(bounds, key=lambda b: b.depth_m)
        yield say(f"view.binds-{least.kind}", depth=down(least.depth_m))


# why


def why(command: Command, scene: Scene, diver: str) -> Outcome:
    """`why`: each cap on the last target with figure, mark and source; lungs; what is left out."""
    record, rules = scene.record(diver), scene.rules
    state = standing(record, rules=rules, at=scene.at)
    lines = [*_why_target(scene, record)]
    lines.append(say("why.rules"))
    rv = state.exercise is Exercise.RV
    for name in _PRACTICE_RV if rv else _PRACTICE_FRC:
        lines.append(say("why.rule", rule=ruled(rules, name)))
    if rv:
        lines.append(say("why.straight-in", source=source("yu-2024").short))
    lines += _why_lungs(state.lungs)
    lines.append(say("why.left-out"))
    return _answered(scene, diver, lines)


_PRACTICE_FRC = (
    "exercise.rv_from_pb_m",
    "exercise.frc_base_share",
    "cap.most",
    "rest.nights",
    "rest.nights_after_new",
    "base.frc_clean",
)
_PRACTICE_RV = (
    "exercise.rv_from_pb_m",
    "exercise.rv_base_share",
    "cap.most",
    "rest.nights",
    "rest.nights_after_new",
    "base.rv_days",
)


def _why_target(scene: Scene, record: DiverRecord) -> Iterator[str]:
    """The last target that was told, as its caps stood then; and what bars one now."""
    now = plan(record, rules=scene.rules, at=scene.at)
    brief = record.latest(Brief)
    if brief is not None and not paused(scene, record.diver):
        then = plan(record, rules=scene.rules, at=brief.happened_at)
        if isinstance(then, Plan):
            yield say(
                "why.target",
                depth=down(then.depth_m),
                what=say(f"exercise.{then.exercise}"),
                on=record.local_day(brief.happened_at),
                time=clock(brief.happened_at, record.timezone),
            )
            yield from (_cap_line(cap, scene) for cap in then.caps)
    if isinstance(now, Refusal):
        yield say("why.no-target")
        for bar in now.bars:
            yield _bar_line(_bar_words(scene, now, bar), bar, scene.rules)
    elif brief is None:
        yield say("why.none-told")


def _cap_line(cap: Cap, scene: Scene) -> str:
    if cap.depth_m is not None:
        what = say("why.at-most", depth=down(cap.depth_m))
    else:
        assert cap.not_before_at is not None
        what = say("why.from", time=clock(cap.not_before_at, scene.zone))
    key = f"why.{cap.because}"
    return say(
        "why.cap",
        what=what,
        because=say(key) if has(key) else cap.because.value,
        rule=ruled(scene.rules, cap.figure),
    )


def _bar_words(scene: Scene, refusal: Refusal, bar: Bar) -> str:
    if bar.because in ASKED_IN_GROUP:
        return say(f"why.{bar.because}")
    return " ".join(reason_words(scene, _only(refusal, (bar,))))


def _bar_line(words: str, bar: Bar, rules: Rules) -> str:
    # a bar of health has its figures in the table of harm, and says no category
    if bar.because in _OF_HEALTH:
        return say("why.rule", rule=words)
    return say("why.bar", words=words, rule=ruled(rules, bar.figure))


def ruled(rules: Rules, name: str) -> str:
    """A figure of policy with what it says, its value, its mark in words and its source.

    >>> from planner.rules import RULES
    >>> ruled(RULES, "step.frc_m")
    'FRC, deeper: 1 m [house rule]'
    """
    rule = rules.rule(name)
    part = f"why.in-{name.partition('.')[0]}"
    figure = rule.figure
    value = f"{figure.value:g}" + (f" {figure.unit}" if figure.unit else "")
    return f"{say(part) if has(part) else ''}{rule.says}: {value} [{cited(figure)}]"


def _why_lungs(lungs: Lungs | None) -> Iterator[str]:
    if lungs is None:
        yield say("why.no-lungs")
        return
    for what, figure in (("TLC", lungs.tlc_l), ("FRC", lungs.frc_l), ("RV", lungs.rv_l)):
        yield say("why.lungs", what=what, litres=litres(figure), cited=cited(figure))
    afloat = lungs.frc_afloat_l
    yield say(
        "why.lungs-afloat",
        low=f"{afloat.value:.2f}",
        cited=cited(afloat),
    )


HANDLERS: dict[str, Handler] = {"log": log, "week": week, "ready": how_ready, "why": why}
"""What this room answers, by the command's name."""
