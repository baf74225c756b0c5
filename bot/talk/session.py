"""A session from its brief to `done`: buddy, fitness, the next target, undo and fix."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from math import ceil, floor

from bot.shorthand.reading import Command, Report
from bot.talk.asked import (
    LINES,
    beside,
    next_version,
    open_questions,
    report_of,
    strike,
    strikes_of,
)
from bot.talk.asking import Line, Part
from bot.talk.dives import take
from bot.talk.following import what_next
from bot.talk.full_lung import offered
from bot.talk.keys import check_keys, next_keys
from bot.talk.lines import merged
from bot.talk.planned import planned
from bot.talk.reply import one_letter, reply
from bot.talk.tasks import tasks_open
from bot.talk.tell import (
    Next,
    brief_of,
    described,
    fill_words,
    is_confidential,
    neutral,
    refused,
    standing_session,
    target_line,
)
from bot.talk.turn import Handler, Scene, said
from bot.texts.render import clock, down, joined, say
from planner.gas import equivalent_full_m, heavier_kg
from planner.lungs import Lungs, lungs_of
from planner.plan import standing
from planner.reasons import Because, Plan, Refusal
from planner.record import (
    NOBODY,
    Asked,
    Brief,
    Buddy,
    Dive,
    Done,
    Exercise,
    Fact,
    Fit,
    Strike,
    Watching,
)
from storage.outcome import Letter, Outcome

WHY_EVERY = timedelta(days=7)
"""How often a brief says why this exercise (house rule: once a week)."""


# buddy, fitness, the brief


def fit(command: Command, scene: Scene, diver: str) -> Outcome:
    """`fit`, `fit buddy ana`: yes to the one question, and who watches."""
    facts: list[Fact] = [Fit(**scene.carried(diver, command.line), ok=True)]
    name = _buddy_name(command)
    if name:
        found = _buddy(scene, command, diver, name)
        if found is None:
            return said(scene.answer(say("session.own-buddy", name=scene.name_of(diver))))
        facts.append(found)
    return _brief(scene, diver, facts, line=command.line)


def buddy(command: Command, scene: Scene, diver: str) -> Outcome:
    """`buddy ana`: who watches today."""
    found = _buddy(scene, command, diver, _buddy_name(command))
    if found is None:
        return said(scene.answer(say("session.own-buddy", name=scene.name_of(diver))))
    return _brief(scene, diver, [found], line=command.line)


def no_buddy(command: Command, scene: Scene, diver: str) -> Outcome:
    """`no buddy`: whoever was named watches no more, and is asked for as before."""
    nobody = Buddy(**scene.carried(diver, command.line), buddy=NOBODY)
    return _brief(scene, diver, [nobody], line=command.line)


def _buddy_name(command: Command) -> str:
    for key in ("buddy", "name"):
        if command.args.get(key):
            return str(command.args[key]).lstrip("@")
    return ""


def _buddy(scene: Scene, command: Command, diver: str, name: str) -> Buddy | None:
    member = scene.room.named(name)
    key = name if member is None else member.key
    if not name or key == diver:
        return None
    return Buddy(**scene.carried(diver, command.line), buddy=key)


def not_fit(command: Command, scene: Scene, diver: str) -> Outcome:
    """`not fit`: no reason is asked or kept, and the group reads the one neutral line."""
    return _stays_dry(scene, diver, Fit(**scene.carried(diver, command.line), ok=False))


def watching(command: Command, scene: Scene, diver: str) -> Outcome:
    """`watching today`: no diving; the group reads the same as after `not fit`."""
    return _stays_dry(scene, diver, Watching(**scene.carried(diver, command.line)))


def _stays_dry(scene: Scene, diver: str, fact: Fact) -> Outcome:
    line = scene.answer(neutral(scene, diver), about=diver)
    return Outcome(facts=(fact,), letters=(line,))


def upcoming(command: Command, scene: Scene, diver: str) -> Outcome:
    """`next`, or `plan` before the first dive: the brief, or why there is none."""
    return _brief(scene, diver, [], line=command.line)


def _brief(scene: Scene, diver: str, facts: list[Fact], *, line: int) -> Outcome:
    if scene.is_late:
        # hours old: kept as said then; what holds now is told when it is asked for now
        text = say("session.late", name=scene.name_of(diver))
        return Outcome(facts=tuple(facts), letters=(scene.answer(text, about=diver),))
    after = scene.after(facts)
    now = planned(after, diver)
    if isinstance(now, Refusal):
        told = refused(after, now)
        own = tuple(offered(after, diver)) if is_confidential(scene, diver) else ()
        letter = scene.answer("\n".join((*told.lines, *own)), keys=told.keys, about=diver)
        asked = _check_here(after, now) if any(isinstance(f, Fit) for f in facts) else ()
        reasons = (_with_offer(after, diver, x) for x in told.letters)
        return Outcome(facts=tuple(facts), letters=(letter, *reasons, *asked))
    if scene.silent:
        return Outcome(facts=tuple(facts))
    own = tuple(_own_lines(after, now))
    lines = _group_lines(after, now)
    letters: tuple[Letter, ...] = ()
    if is_confidential(scene, diver):
        lines = (*lines, *own)
    elif own and _is_first(after, now):
        letters = scene.tell(diver, "\n".join(own))
    letter = scene.answer("\n".join(lines), keys=(next_keys(after, now),), about=diver)
    return Outcome(facts=(*facts, brief_of(after, now, line=line)), letters=(letter, *letters))


def _with_offer(scene: Scene, diver: str, reasons: Letter) -> Letter:
    """Why there is no exhale target, and that a full-lung step is supported where one is."""
    return replace(reasons, text="\n".join((reasons.text, *offered(scene, diver))))


def _check_here(scene: Scene, refusal: Refusal) -> tuple[Letter, ...]:
    """The question after the last session, at the diver's next `fit`, where no private chat is open."""
    keys = check_keys(scene, refusal)
    if not keys or scene.confidant(refusal.diver) is not None:
        return ()
    text = say("ask.check", name=scene.name_of(refusal.diver))
    return (scene.answer(text, keys=keys, about=refusal.diver),)


def _group_lines(scene: Scene, now: Plan) -> tuple[str, ...]:
    """The brief in at most four lines: target, turn, watcher, and what the dive is like."""
    name = scene.name_of(now.diver)
    if now.on_condition:
        first = f"{name} · {target_line(scene, now)}"
    else:
        moment = now.not_before_at
        first = say(
            "brief.target",
            name=name,
            what=say(f"exercise.{now.exercise}"),
            depth=down(now.depth_m),
            fill=fill_words(now.fill),
            number=now.dive_number,
            most=now.dives_allowed,
            moment="" if moment is None else say("next.not-before", time=clock(moment, scene.zone)),
        )
    watcher = standing(scene.record(now.diver), rules=scene.rules, at=scene.at).buddy
    lines = [first, say("brief.turn")]
    if watcher is not None:
        lines.append(say("brief.watcher", buddy=scene.name_of(watcher)))
    lines += _last_line(scene, now)
    return tuple(lines)


def _last_line(scene: Scene, now: Plan) -> Iterator[str]:
    lungs = lungs_of(scene.record(now.diver), scene.at)
    chest = "" if lungs is None else _chest_words(scene, lungs, now)
    if now.exercise is Exercise.RV:
        kg = _heavier_words(scene, lungs, now.exercise)
        yield joined((say("brief.heavier", kg=kg), chest), " ")
    elif lungs is not None:
        kg = _heavier_words(scene, lungs, now.exercise)
        yield joined((chest, say("brief.heavier-frc", kg=kg)), " ")


def _heavier_words(scene: Scene, lungs: Lungs | None, exercise: Exercise) -> str:
    """How much heavier than on full lungs, in whole kilograms from low to high."""
    if lungs is None:
        return say("brief.kg-unknown")
    figure = heavier_kg(lungs, exercise=exercise, site=scene.room.site.water)
    low, high = floor(figure.low_or_value), ceil(figure.high_or_value)
    return say("brief.kg", low=low, high=high)


def _chest_words(scene: Scene, lungs: Lungs, now: Plan) -> str:
    """How hard on the chest, as a full-lung depth in this group's water."""
    figure = equivalent_full_m(
        lungs, exercise=now.exercise, depth_m=now.depth_m, site=scene.room.site.water
    )
    low, high = floor(figure.low_or_value), ceil(figure.high_or_value)
    return say("brief.chest", low=low, high=high)


def _own_lines(scene: Scene, now: Plan) -> Iterator[str]:
    """What the diver reads in private beside the brief: why this exercise, the chest, the order."""
    record = scene.record(now.diver)
    if not any(scene.at - b.happened_at < WHY_EVERY for b in record.of(Brief)):
        yield say(f"brief.why-{now.exercise}", base=now.base_m)
    if now.is_new_depth:
        yield say("brief.new-depth")
    if any(cap.because is Because.LEARNING for cap in now.caps):
        yield say("bar.learning")
        yield from tasks_open(scene, now.diver)


def _is_first(scene: Scene, now: Plan) -> bool:
    return now.dive_number == 1 or now.is_new_depth


# the end of a session


def done(command: Command, scene: Scene, diver: str) -> Outcome:
    """`done`: the session is over; the debrief is sent by what falls due."""
    name = scene.name_of(diver)
    dives = standing_session(scene, diver)
    if not dives:
        return said(scene.answer(say("session.nothing-to-end", name=name), about=diver))
    # a messenger's clock and ours differ: what was heard before `done` was done before it
    last_at = max(max(d.happened_at, d.said_at) for d in dives)
    happened_at = max(scene.heard.sent_at, min(last_at, scene.at))
    fact = Done(**scene.carried(diver, command.line, happened_at=happened_at))
    return Outcome(
        facts=(fact,), letters=(scene.answer(say("session.done", name=name), about=diver),)
    )


# taking back and mending


def undo(command: Command, scene: Scene, diver: str) -> Outcome:
    """`undo`: drops the sender's open questions, then strikes the last report by or about them."""
    strikes: list[Strike] = []
    first: list[str] = []
    dropped = [a for a in open_questions(scene) if a.by == scene.sender and a.origin.line < LINES]
    for asked in dropped:
        strikes.append(strike(scene, asked, line=command.line))
    if dropped:
        first.append(say("session.dropped", count=len(dropped)))
    dives = last_reports(scene, diver)
    if not dives:
        text = first[0] if first else say("session.nothing-to-undo")
        return Outcome(facts=tuple(strikes), letters=(scene.answer(text),))
    for dive in dives:
        strikes += strikes_of(scene, dive)
    struck = "; ".join(described(scene, dive) for dive in dives)
    first.append(say("session.struck", dive=struck))
    after = scene.after(strikes)
    divers = {dive.diver: dive for dive in dives}
    told = [_after_undo(scene, after, dive) for dive in divers.values()]
    shown = Next(
        lines=tuple(
            line if n.plan is None or len(told) == 1 else f"{scene.name_of(whose)} · {line}"
            for whose, n in zip(divers, told, strict=True)
            for line in n.lines
        ),
        keys=told[0].keys if len(told) == 1 else (),
    )
    about = dives[0].diver if len(told) == 1 else None
    letter = one_letter(scene, first, shown, about=about)
    return Outcome(
        facts=(*strikes, *(f for n in told for f in n.facts)),
        letters=(letter, *(x for n in told for x in n.letters)),
    )


def _after_undo(scene: Scene, after: Scene, dive: Dive) -> Next:
    if dive.waits or not scene.may_log(scene.sender, dive.diver):
        return Next()
    return what_next(after, dive.diver, before=scene.record(dive.diver))


def last_report(scene: Scene, diver: str) -> Dive | None:
    """The last report by the sender or about the diver, whoever's it was."""
    found = [
        d
        for key in scene.room.members
        for d in scene.record(key).dives
        if (key == diver if diver != scene.sender else (d.by == scene.sender or key == diver))
    ]
    return max(found, key=lambda d: (d.said_at, d.origin), default=None)


def last_reports(scene: Scene, diver: str) -> list[Dive]:
    """The dives of the last report's message that were recorded with it."""
    last = last_report(scene, diver)
    if last is None:
        return []
    return [
        d
        for key in scene.room.members
        for d in scene.record(key).dives
        if (d.origin.chat, d.origin.message) == (last.origin.chat, last.origin.message)
        and (d.said_at, d.by) == (last.said_at, last.by)
        and (key == diver or (diver == scene.sender and d.by == scene.sender))
    ]


def fix(command: Command, scene: Scene, diver: str) -> Outcome:
    """`fix 11.5`: any part of the last report, said anew."""
    dive = last_report(scene, diver)
    said_anew = _fixed(command)
    if dive is None or said_anew is None:
        return said(scene.answer(say("session.nothing-to-fix")))
    part = mend(scene, dive, merged(said_anew, report_of(dive)))
    return reply(scene, scene.after(part.facts), [part])


def mend(scene: Scene, dive: Dive, report: Report) -> Part:
    """Record a report in the place of a dive that stands, which is struck."""
    record = scene.record(dive.diver)
    return take(
        scene,
        report,
        dive.diver,
        Line(
            origin=next_version(record, dive.origin.place),
            happened_at=dive.happened_at,
            by=dive.by,
            instead_of=(dive, *_beside_it(record.of(Asked), dive)),
            is_confirmed=True,
        ),
    )


def _beside_it(asked: Iterator[Asked], dive: Dive) -> Iterator[Asked]:
    beside_places = {
        beside(dive.origin, q).place for q in ("recheck", "reason", "depth", "hard-why", "allow")
    }
    return (a for a in asked if a.origin.place in beside_places)


def _fixed(command: Command) -> Report | None:
    parts = command.args.get("parts")
    return parts if isinstance(parts, Report) else None


HANDLERS: dict[str, Handler] = {
    "fit": fit,
    "not-fit": not_fit,
    "watching": watching,
    "buddy": buddy,
    "no-buddy": no_buddy,
    "next": upcoming,
    "plan": upcoming,
    "done": done,
    "undo": undo,
    "fix": fix,
}
