"""The full-lung step: its brief, what a full-lung dive leaves for the next one, and its refusals."""

from __future__ import annotations

from collections.abc import Iterator

from bot.shorthand.reading import Command
from bot.talk.keys import next_keys
from bot.talk.planned import planned_full
from bot.talk.tell import (
    Next,
    brief_of,
    fill_words,
    is_confidential,
    moment_words,
    refused,
    standing_brief,
)
from bot.talk.turn import Handler, Scene
from bot.texts.render import down, joined, say
from planner.figure import Figure
from planner.full import FullPlan, lost_share, supported_of
from planner.held import down_half
from planner.learning import TASKS
from planner.plan import standing
from planner.reasons import Because, Refusal
from planner.record import Brief, Dive, DiverRecord, Ending, Exercise, Reason
from storage.outcome import Letter, Outcome


def next_full(command: Command, scene: Scene, diver: str) -> Outcome:
    """`next full`: the full-lung brief, or why there is none."""
    now = planned_full(scene, diver)
    if isinstance(now, Refusal):
        told = refused(scene, now)
        letter = scene.answer("\n".join(told.lines), keys=told.keys, about=diver)
        return Outcome(letters=(letter, *told.letters))
    if scene.silent:
        return Outcome()
    lines, own = (*_group_lines(scene, now),), (*_own_lines(scene, now),)
    letters: tuple[Letter, ...] = ()
    if is_confidential(scene, diver):
        lines = (*lines, *own)
    elif not _told_before(scene, now):
        letters = scene.tell(diver, "\n".join(own))
    letter = scene.answer("\n".join(lines), keys=(next_keys(scene, now),), about=diver)
    return Outcome(facts=(brief_of(scene, now, line=command.line),), letters=(letter, *letters))


def _told_before(scene: Scene, now: FullPlan) -> bool:
    """Whether this very line was told already in these hours."""
    brief = scene.record(now.diver).latest(Brief)
    gap = scene.rules.session_gap
    return (
        brief is not None
        and brief.exercise is Exercise.FULL
        and brief.depth_m == now.line_m
        and scene.at - brief.happened_at <= gap
    )


def _group_lines(scene: Scene, now: FullPlan) -> Iterator[str]:
    """The brief in four lines: line and fill, once and what turns, the watcher, the days."""
    yield say(
        "full.brief",
        name=scene.name_of(now.diver),
        depth=down(now.line_m),
        fill=fill_words(now.fill),
        moment=moment_words(scene, now.not_before_at),
    )
    yield say("full.once")
    buddy = standing(scene.record(now.diver), rules=scene.rules, at=scene.at).buddy
    if buddy is not None:
        yield say("brief.watcher", buddy=scene.name_of(buddy))
    needed = now.days_needed
    if now.is_step:
        yield say("full.days-step", needed=_in_words(needed))
    else:
        yield say("full.days-again", done=now.clean_days, needed=needed)


def _in_words(count: int) -> str:
    return say(f"number.{count}")


def _own_lines(scene: Scene, now: FullPlan) -> Iterator[str]:
    """Beside the brief, for the diver: what speaks for it, why this fill, and what was lost."""
    speaks = now.supported
    yield say(
        "full.speaks",
        what=say(f"exercise.{speaks.exercise}"),
        held=speaks.held_m,
        fill=fill_at(speaks.fill_m),
        depth=down(speaks.depth_m),
        kind=say(f"debrief.kind-{speaks.binding.kind}"),
    )
    yield say("full.why-fill", low=now.fill.low_m, high=now.fill.high_m)
    if now.lost is not None:
        yield _lost_words(now.lost)


def fill_at(fill_m: float) -> str:
    """`fill 7 m`, or at the surface."""
    return say("next.fill-at", depth=fill_m) if fill_m else say("next.fill-surface")


_SAYS_NOTHING = 0.5
"""A band of a share wider than this is no estimate: what would narrow it is said instead."""


def _lost_words(lost: Figure) -> str:
    """How much of its charge a dive that ran out had lost, and by what; with a wide band only that."""
    about, low, high = (
        round(100 * share) for share in (lost.value, lost.low_or_value, lost.high_or_value)
    )
    by = "volumes" if lost.source else "own"
    if lost.high_or_value - lost.low_or_value > _SAYS_NOTHING:
        return say(f"full.lost-wide-{by}", low=low, high=high)
    return say(f"full.lost-{by}", about=about, low=low, high=high)


_OF_THE_DAY = frozenset({Because.EXHALE_DIVE, Because.REST, Because.NO_BUDDY, Because.NO_FIT})
"""Bars that another day, or an answer, takes away."""


def offered(scene: Scene, diver: str) -> Iterator[str]:
    """That a full-lung step is supported, where nothing but the day stands against it."""
    record, rules = scene.record(diver), scene.rules
    now = planned_full(scene, diver)
    if isinstance(now, FullPlan):
        if now.is_step:
            yield say("full.offer", depth=down(now.line_m))
        return
    state = standing(record, rules=rules, at=scene.at)
    goal, speaks, ladder = state.goal_m, supported_of(state), state.ladder
    if goal is None or speaks is None or ladder.owed or state.is_goal_reached:
        return
    line = ladder.next_m(goal)
    if line is not None and {b.because for b in now.bars} <= _OF_THE_DAY:
        yield say("full.offer", depth=down(min(line, speaks.depth_m)))


# what follows a full-lung dive


def on_full_lungs(
    scene: Scene, diver: str, *, line: int = 0, before: DiverRecord | None = None
) -> Next | None:
    """The full-lung line again where one was told and is not dived yet; None where none was."""
    record = scene.record(diver)
    brief = record.latest(Brief)
    gap = scene.rules.session_gap
    if brief is None or brief.exercise is not Exercise.FULL or scene.at - brief.happened_at > gap:
        return None
    if any(
        d.happened_at >= brief.happened_at and d.exercise not in (Exercise.DRY, Exercise.DIP)
        for d in record.dives
    ):
        return None
    now = planned_full(scene, diver)
    if isinstance(now, Refusal):
        return refused(scene, now, was=None if before is None else standing_brief(before, record))
    if scene.silent:
        return Next()
    text = say(
        "full.next",
        depth=down(now.line_m),
        fill=fill_words(now.fill),
        moment=moment_words(scene, now.not_before_at),
    )
    return Next(
        lines=(text,),
        keys=(next_keys(scene, now),),
        facts=(brief_of(scene, now, line=line),),
        is_open=True,
    )


def left_by_full(scene: Scene, diver: str) -> Iterator[str]:
    """What the full-lung dive that the session ends with leaves for the next one: limits, no target.

    They say nothing that a lock would change, so that nobody can tell a lock from them; under age
    there are none.
    """
    state = standing(scene.record(diver), rules=scene.rules, at=scene.at)
    if state.is_under_age:
        return
    dives = [d for d in state.session if d.exercise is not Exercise.DIP]
    if not dives or dives[-1].exercise is not Exercise.FULL or dives[-1].waits or scene.silent:
        return
    dive, ladder = dives[-1], state.ladder
    day, needed = state.day_of(dive.happened_at), int(scene.rules["full.clean_days"])
    level, depth_m = ladder.level_m, dive.depth_m
    if dive.ending in (Ending.CLEAN, Ending.EARLY):
        if depth_m is not None and level == down_half(depth_m) and day in ladder.clean_days:
            done = min(len(ladder.clean_days), needed)
            words = say("full.clean-days", depth=level, done=done, needed=needed)
            yield joined((words, _beyond(scene, ladder.stated_m, dive, level)), " ")
        return
    if ladder.trouble_day != day or level is None:
        return  # not one with a mouthfill
    yield _after_fault(scene, dive, level, _in_words(needed))


def _beyond(scene: Scene, stated_m: float | None, dive: Dive, depth_m: float) -> str:
    """That a clean dive was deeper than its line, or that none had been told for it.

    What is held is no part of it: harm takes from held, and the group must not see that.
    """
    brief = _brief_for(scene, dive)
    if brief is None:
        return say("full.no-line") if depth_m > (stated_m or 0.0) else ""
    if depth_m > brief.depth_m + scene.rules["trouble.too_deep_m"]:
        return say("full.beyond-line", line=down(brief.depth_m))
    return ""


def _brief_for(scene: Scene, dive: Dive) -> Brief | None:
    """The full-lung line that had been told for a dive, in the hours before it."""
    gap = scene.rules.session_gap
    told = [
        b
        for b in scene.record(dive.diver).of(Brief)
        if b.exercise is Exercise.FULL and b.happened_at <= dive.happened_at <= b.happened_at + gap
    ]
    return told[-1] if told else None


def _after_fault(scene: Scene, dive: Dive, level: float, needed: str) -> str:
    reason = dive.reason or Reason.UNSTATED
    if dive.ending is Ending.STOP and reason.is_pressure:
        if dive.depth_m is None:
            return say("full.after-unknown")
        share = f"{scene.rules['full.opening_share'] * 100:.0f}"
        return say("full.after-pressure", depth=level, share=share, needed=needed)
    if dive.ending is Ending.STOP and reason.is_technique:
        back = say("full.after-technique", depth=level, needed=needed)
        lost = lost_share(scene.record(dive.diver), dive) if reason is Reason.EMPTY else None
        drill = say("full.drill", task=TASKS[reason])
        return joined((back, "" if lost is None else _lost_words(lost), drill), " ")
    return say("full.after-other")


HANDLERS: dict[str, Handler] = {"next-full": next_full}
"""What this room answers, by the command's name."""
