"""Edits: what the message had said is struck, and what it says now is recorded in its place."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from bot.shorthand.reading import Reading, Report, Unclear
from bot.talk import asked as questions
from bot.talk import session
from bot.talk.asked import LINES, base_line, dive_at, strike
from bot.talk.asking import Part
from bot.talk.following import what_next
from bot.talk.lines import merged
from bot.talk.reply import one_letter, reply
from bot.talk.spoken import ANSWERED, dive_or_volume, line_part
from bot.talk.tell import described
from bot.talk.turn import Scene, both, said
from bot.texts.render import say
from planner.record import HEALTH_FACTS, Asked, Brief, Dive, Fact, Strike, UnderAge
from storage.outcome import Outcome

EDITABLE = timedelta(hours=48)
"""How long a message's edit is still read (house rule; messengers allow no longer)."""


def edited(scene: Scene, said_: tuple[Reading, ...]) -> Outcome:
    """An edit: what the message had said is struck, what it says now is recorded in its place."""
    heard = scene.heard
    if scene.at - heard.sent_at > EDITABLE:
        return said(scene.answer(say("turn.old-edit"))) if _facts_of(scene) else Outcome()
    old = _facts_of(scene)
    if _was_command(scene, old):
        return Outcome()
    reads = map(dive_or_volume(scene), said_)
    reports = tuple(r for r in reads if isinstance(r, (Report, Unclear)))
    if not old and not reports:
        return Outcome()
    mended = [
        part
        for r in reports
        if isinstance(r, Report) and (part := _edited_answer(scene, r, old)) is not None
    ]
    if mended:
        parts = [p for p in mended if p.facts]
        after = scene.after(f for p in parts for f in p.facts)
        return reply(scene, after, parts) if parts else Outcome()
    strikes = tuple(strike(scene, fact) for fact in old)
    now = scene.after(strikes)
    parts = []
    for reading in reports:
        part = line_part(now, reading)
        if part is not None:
            parts.append(part)
            now = now.after(part.facts)
    if _same(old, tuple(f for p in parts for f in p.facts)):
        return Outcome()
    gone = [f for f in old if isinstance(f, Dive)]
    facts = Outcome(facts=strikes)
    if parts:
        dropped = [described(scene, dive) for dive in _dropped(gone, parts)]
        first = (say("turn.taken-back", dive="; ".join(dropped)),) if dropped else ()
        return both(facts, reply(scene, now, parts, first=first))
    if not gone:
        return facts
    lines = [say("turn.taken-back", dive=described(scene, dive)) for dive in gone]
    told = what_next(now, gone[-1].diver, before=scene.record(gone[-1].diver))
    letter = one_letter(scene, lines, told, about=gone[-1].diver)
    return both(facts, Outcome(facts=told.facts, letters=(letter, *told.letters)))


def _dropped(gone: list[Dive], parts: list[Part]) -> list[Dive]:
    """Of the dives that the message had said, those for which nothing stands in it now.

    What stands there unchanged is found first; of the rest, the first ones are taken as mended.
    """
    kept = [_told(p.dive) for p in parts if p.dive is not None]
    left = []
    for dive in gone:
        if _told(dive) in kept:
            kept.remove(_told(dive))
        else:
            left.append(dive)
    asked = sum(p.dive is None and bool(p.asks) for p in parts)
    return left[len(kept) + asked :]


def _told(dive: Dive) -> tuple[object, ...]:
    return (dive.diver, dive.exercise, dive.depth_m, dive.ending, dive.reason, dive.task)


def _facts_of(scene: Scene) -> tuple[Fact, ...]:
    """What this message has come to so far: dives, questions and the targets told with them."""
    heard = scene.heard
    return tuple(
        fact
        for diver in scene.room.members
        for fact in scene.record(diver).facts
        if fact.origin.chat == heard.chat
        and fact.origin.message == heard.message
        and isinstance(fact, (Dive, Asked, Brief))
    )


def _was_command(scene: Scene, old: tuple[Fact, ...]) -> bool:
    """Whether this message had said a command that left something, and no report: a yes, a figure."""
    if any(isinstance(fact, (Dive, Asked)) for fact in old):
        return False
    place = (scene.heard.chat, scene.heard.message)
    return any(
        not isinstance(fact, _LEFT_BY_OTHER_LINES)
        for diver in scene.room.members
        for fact in scene.record(diver).facts
        if (fact.origin.chat, fact.origin.message) == place
    )


_LEFT_BY_OTHER_LINES = (Dive, Asked, Brief, Strike, UnderAge, *HEALTH_FACTS)
"""What a report leaves, its mending, or a word of health or age; all else was a command."""


def _same(old: tuple[Fact, ...], new: tuple[Fact, ...]) -> bool:
    """Whether an edit left what was read as it was."""

    def read(facts: tuple[Fact, ...]) -> list[tuple[object, ...]]:
        found: list[tuple[object, ...]] = []
        for f in facts:
            if isinstance(f, Dive):
                found.append(
                    (f.diver, base_line(f.origin.line), f.happened_at, f.exercise, f.depth_m, f.ending,
                     f.reason, f.target_m, f.fill_m, f.dive_time_s, f.task, f.amount)
                )  # fmt: skip
            elif isinstance(f, Asked) and f.origin.line < LINES:
                found.append((f.diver, f.origin.line, f.question, f.readings))
        return sorted(found, key=repr)

    return read(old) == read(new)


def _edited_answer(scene: Scene, report: Report, old: tuple[Fact, ...]) -> Part | None:
    """An edit of what had answered a question: the dive it made is mended."""
    for fact in old:
        if not isinstance(fact, Asked) or fact.question != ANSWERED:
            continue
        if base_line(fact.origin.line) != report.line:
            continue
        chat, message, line = fact.readings
        dive = dive_at(scene.record(fact.diver), (chat, int(message), int(line)))
        if dive is None:
            return None
        was = questions.report_of(dive)
        new = merged(report, was)
        same = replace(new, text="", note=was.note, line=was.line) == was
        return Part(diver=fact.diver) if same else session.mend(scene, dive, new)
    return None
