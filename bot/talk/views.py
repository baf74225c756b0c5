"""What a diver looks at, in private: the last dives, and the week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import groupby

from bot.shorthand.reading import Command
from bot.talk.aside import privately, whose
from bot.talk.tell import outcome_words, reason_words
from bot.talk.turn import Handler, Scene
from bot.texts.render import clock, day, joined, metres, say
from planner.plan import plan, standing
from planner.reasons import Bar, Because, Plan, Refusal
from planner.record import Dive, DiverRecord, Exercise, Seen, sessions
from storage.outcome import Outcome, Picture

LOG_DIVES = 12
"""How many dives `log` shows; all of them are in `export`."""

WEEKS_BEFORE = 4
"""The weeks whose mean stands beside this one."""

OF_HEALTH = frozenset({Because.LOCK, Because.UNWELL, Because.RECENT_HARM, Because.UNDER_AGE})
"""Bars for the sake of health or age: while one stands, no figure of progress is shown."""


def private_answer(
    scene: Scene, diver: str, lines: Sequence[str], *, picture: Picture | None = None
) -> Outcome:
    """Lines that only the diver reads, or who keeps their log, with a picture beside them."""
    text = whose(scene, diver) + "\n".join(line for line in lines if line)
    letters = privately(scene, text, about=diver)
    if picture is not None and letters[0].to == scene.private(scene.sender):
        letters = (replace(letters[0], picture=picture), *letters[1:])
    return Outcome(letters=letters)


def paused(scene: Scene, diver: str) -> tuple[str, ...]:
    """What bars every target for the sake of health, in words for the diver alone."""
    now = plan(scene.record(diver), rules=scene.rules, at=scene.at)
    if isinstance(now, Plan):
        return ()
    bars = tuple(b for b in now.bars if b.because in OF_HEALTH)
    return tuple(reason_words(scene, only(now, bars))) if bars else ()


def only(refusal: Refusal, bars: tuple[Bar, ...]) -> Refusal:
    """A refusal with some of its bars."""
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
        return private_answer(scene, diver, [say("view.no-dives")])
    lines: list[str] = []
    for on, dives in groupby(shown, key=lambda d: record.local_day(d.happened_at)):
        lines.append(day(on))
        lines += [_log_line(scene, d) for d in dives]
    if len(record.dives) > len(shown):
        lines.append(say("view.log-more", shown=len(shown), total=len(record.dives)))
    return private_answer(scene, diver, lines)


def _log_line(scene: Scene, dive: Dive) -> str:
    return joined(
        (
            clock(dive.happened_at, scene.zone),
            dive_words(dive),
            say("view.waits") if dive.waits else "",
            _seen_by(scene, dive),
            f"# {dive.note}" if dive.note else "",
        ),
        " · ",
    )


def _seen_by(scene: Scene, dive: Dive) -> str:
    """`seen by ilse`, where the coach watched it."""
    seen = (s for s in scene.record(dive.diver).of(Seen) if s.dived_at == dive.happened_at)
    by = next(seen, None)
    return "" if by is None else say("view.seen", name=scene.name_of(by.by))


def dive_words(dive: Dive) -> str:
    """Exercise, depth, outcome, fill and time of a dive, without whose it was."""
    what = say(f"exercise.{dive.exercise}")
    if dive.exercise is Exercise.DRY:
        return joined((what, dive.task or "", "" if dive.amount is None else str(dive.amount)), " ")
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
    return private_answer(scene, diver, lines)


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


HANDLERS: dict[str, Handler] = {"log": log, "week": week}
"""What this room answers, by the command's name."""
