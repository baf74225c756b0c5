"""What to write and say about what was heard. Pure: facts in, facts and letters out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from bot.heard import Heard, Kind
from bot.shorthand import parse, words
from bot.shorthand.reading import Command, Reading, Report, Unclear
from bot.talk import debrief_talk, health, people
from bot.talk.age import is_told_under_age
from bot.talk.aside import addressed
from bot.talk.edits import edited
from bot.talk.health_dives import stopped
from bot.talk.round_talk import with_round
from bot.talk.spoken import pressed, refused_press, spoken
from bot.talk.turn import Scene, both, said
from bot.texts.render import say
from planner.agenda import Due
from planner.record import DiverRecord
from planner.rules import RULES
from storage.outcome import Outcome, Room

__all__ = ["answer", "fall_due"]


def answer(
    heard: Heard,
    said: tuple[Reading, ...],
    *,
    room: Room,
    records: Mapping[str, DiverRecord],
) -> Outcome:
    """What one message, press or edit comes to, written and said in one commit.

    Words of health come first; only what they leave is read as reports and commands.
    """
    scene = Scene(
        heard=heard,
        room=room,
        records=records,
        rules=RULES,
        at=max(heard.now, heard.sent_at),
    )
    outcome = people.greeted(scene, with_round(scene, _answer(scene, said)))
    return replace(outcome, letters=tuple(addressed(scene, x) for x in outcome.letters))


def _answer(scene: Scene, said: tuple[Reading, ...]) -> Outcome:
    match scene.heard.kind:
        case Kind.JOINED:
            return people.arrived(scene)
        case Kind.BLOCKED:
            facts = health.blocked(scene.heard, room=scene.room, records=scene.records)
            return Outcome(facts=facts)
        case Kind.IGNORED:
            return _ignored(scene)
        case Kind.MESSAGE | Kind.EDIT | Kind.PRESS:
            return _heard(scene, said)


def _heard(scene: Scene, readings: tuple[Reading, ...]) -> Outcome:
    heard = scene.heard
    if heard.button is not None:
        no = refused_press(scene, heard.button)
        if no is not None:
            return no
    names = [m.name for m in scene.room.members.values()]
    turn = health.hear(heard, room=scene.room, records=scene.records, names=names)
    if turn is None:
        return _read(scene, readings)
    first = Outcome(facts=turn.facts, letters=turn.letters)
    if not turn.rest.strip():
        return first
    rest = stopped(parse(turn.rest, words(), names=names), turn.harmed, names)
    today = scene.record(scene.sender).local_day(scene.at)
    rest = tuple(
        r
        for r in rest
        if isinstance(r, (Report, Command, Unclear))
        or is_told_under_age(r.text, rules=scene.rules, today=today)
    )
    if not rest:
        return first
    after = replace(scene, heard=replace(heard, text=turn.rest), silent=turn.silences_rest).after(
        turn.facts
    )
    return both(first, _read(after, rest))


def _read(scene: Scene, readings: tuple[Reading, ...]) -> Outcome:
    heard = scene.heard
    if heard.kind is Kind.EDIT:
        return edited(scene, readings)
    if heard.button is not None:
        return pressed(scene, heard.button, readings)
    return spoken(scene, readings)


def _ignored(scene: Scene) -> Outcome:
    """Forwards, channels and the like: said where somebody meant us, left alone where not."""
    heard = scene.heard
    if heard.is_command_for_us or (heard.private and heard.sender):
        return said(scene.answer(say("turn.not-a-diver")))
    return Outcome()


def fall_due(due: Due, *, room: Room, records: Mapping[str, DiverRecord], at: datetime) -> Outcome:
    """What is said now that it is due."""
    heard = Heard(
        kind=Kind.IGNORED,
        chat=room.chat,
        private=False,
        sender=due.diver,
        message=0,
        sent_at=at,
        now=at,
    )
    scene = Scene(heard=heard, room=room, records=records, rules=RULES, at=at)
    outcome = debrief_talk.say_due(due, scene)
    return replace(outcome, letters=tuple(addressed(scene, x) for x in outcome.letters))
