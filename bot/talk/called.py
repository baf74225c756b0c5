"""A call for help that a group was told of: how long its diving stops, and that it was none."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from datetime import datetime
from itertools import chain

from bot.shorthand.reading import Command
from bot.talk.turn import Handler, Scene, said
from bot.texts.render import say
from planner.harm import LEVELS, alarms_of
from planner.record import Harm, Unwell
from storage.outcome import CallOver, Outcome


def called_until(scene: Scene) -> datetime | None:
    """Until when this group's diving stops for a call for help that it was told of; None: it doesn't."""
    if scene.room.called_at is None:
        return None
    until = scene.room.called_at + scene.rules.session_gap
    return until if scene.at <= until else None


def was_called_for(scene: Scene, diver: str, *, told_by: Collection[str] = ()) -> bool:
    """Whether the group was told of a call for help about this diver, and its day lasts.

    What one of `told_by` told counts in private too.
    """
    record = scene.record(diver)
    alarms, today = alarms_of(record, at=scene.at), record.local_day(scene.at)
    return any(
        call in alarms or (isinstance(call, Harm) and record.local_day(call.happened_at) == today)
        for call in _calls(scene, diver, told_by)
    )


def _calls(scene: Scene, diver: str, told_by: Collection[str]) -> Iterator[Harm | Unwell]:
    """What calls for help at once for a diver: told to this group, by whomever, or by one of some."""
    record = scene.record(diver)
    graves: Iterator[Harm | Unwell] = (u for u in record.of(Unwell) if u.grave)
    harms = (h for h in record.of(Harm) if h.level == LEVELS[0])
    for call in chain(graves, harms):
        if call.origin.chat == scene.group or call.by in told_by:
            yield call


def _nobody_hurt(command: Command, scene: Scene, diver: str) -> Outcome:
    """`nobody hurt`: the group's diving goes on; of whom help was called for it stays off that day.

    Not where somebody here told it of themselves, and not by whom it was about.
    """
    if scene.heard.private:
        return said(scene.answer(say("called.in-group")))
    if called_until(scene) is None:
        return said(scene.answer(say("called.none")))
    told = any(_told_of_themselves(scene, m) for m in scene.room.members)
    if told or was_called_for(scene, scene.sender):
        return said(scene.answer(say("called.stands" if told else "called.not-you")))
    text = say("called.over", name=scene.name_of(scene.sender))
    return Outcome(letters=(scene.answer(text),), changes=(CallOver(chat=scene.group),))


def _told_of_themselves(scene: Scene, member: str) -> bool:
    own = (h for h in scene.record(member).of(Harm) if h.level == LEVELS[0])
    since = scene.at - scene.rules.session_gap
    return any(h.origin.chat == scene.group and h.happened_at >= since for h in own)


HANDLERS: dict[str, Handler] = {"nobody-hurt": _nobody_hurt}
