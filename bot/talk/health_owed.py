"""Help that could not arrive: told as soon as the diver opens the private chat, before all else.

Whenever words of health are heard of somebody whose private chat is closed, or that chat is closed
by them, a mark is kept: it says that they were to write in private and nothing of why. What is owed
is what still stands of their health when that chat is opened; saying so is a mark too.
"""

from __future__ import annotations

from collections.abc import Iterable

from bot.heard import Heard, Kind
from bot.talk import health_letters as letters_of
from bot.talk.asked import LINES
from bot.talk.health_scene import HealthScene, Said
from planner.harm import LEVELS, harm_table, lock_of, unanswered, unwell_open
from planner.record import Asked, DiverRecord, Fact, Harm, Origin
from storage.outcome import Letter

CLOSED = "write-in-private"
"""Marks that somebody was to open their private chat; nobody answers it."""

OPENED = "opened"
"""Marks that the chat was opened and what was owed there is said; nobody answers it."""

# beside every line of a message and of none, so that no edit and no undo strikes a mark
_PLACE = 10 * LINES - 1


def marks(scene: HealthScene, facts: Iterable[Fact]) -> list[Fact]:
    """The mark of each diver of these facts who can't be told of them in private."""
    divers = dict.fromkeys(f.diver for f in facts)
    return [
        _mark(scene.heard, diver, CLOSED)
        for diver in divers
        if not letters_of.reachable(scene.heard, scene.addressee(diver))
    ]


def closed(scene: HealthScene) -> list[Fact]:
    """The marks of somebody who shut the private chat: what was under way there may be lost."""
    return [_mark(scene.heard, diver, CLOSED) for diver in scene.spoken_for()]


def owed(scene: HealthScene) -> Said:
    """What the sender, or a diver they keep, could not be told, and the mark that it is told now."""
    said: Said = ([], [])
    if not scene.heard.private or scene.heard.kind is not Kind.MESSAGE:
        return said
    for diver in scene.spoken_for():
        record = scene.record(diver)
        if not _is_owed(record):
            continue
        said[0].append(_mark(scene.heard, diver, OPENED))
        said[1].extend(_letters(scene, record))
    return said


def _is_owed(record: DiverRecord) -> bool:
    said_at = {
        kind: max((a.said_at for a in record.of(Asked) if a.question == kind), default=None)
        for kind in (CLOSED, OPENED)
    }
    shut, opened = said_at[CLOSED], said_at[OPENED]
    return shut is not None and (opened is None or opened < shut)


def _letters(scene: HealthScene, record: DiverRecord) -> list[Letter]:
    """What stands of a diver's health: the help of the worst, the bar and what is asked."""
    whom = scene.addressee(record.diver)
    if lock_of(record, at=scene.at) is None:
        return _question(scene, record, whom)
    harms = list(record.of(Harm))
    if not harms:
        # a check that nobody answered by its evening: the questions are what helps
        bar = letters_of.bar_text(record, whom, at=scene.at)
        return [letters_of.private_letter(whom, bar), *_question(scene, record, whom)]
    standing = [h for h in harms if _locks_alone(record, h, scene)] or harms
    table = harm_table().rows
    worst = min(standing, key=lambda h: LEVELS.index(h.level))
    known = (table.get(h.row or "") for h in standing)
    rows = sorted((r for r in known if r is not None), key=lambda r: r.gravity)
    # where no row is kept, the text of the level says it all
    is_known = bool(rows) and rows[0].level == worst.level
    key = rows[0].text if is_known else worst.level
    bar = letters_of.bar_text(record, whom, at=scene.at, rows=rows)
    return [
        letters_of.own_help(whom, key, scene.room),
        letters_of.private_letter(whom, bar),
        *(letters_of.questions_of(whom, rows, record=record, at=scene.at) if is_known else ()),
        *letters_of.still_called(record, whom, at=scene.at),
    ]


def _locks_alone(record: DiverRecord, harm: Harm, scene: HealthScene) -> bool:
    """Whether one of several reports still locks by itself; one that is over needs no text."""
    others = tuple(f for f in record.facts if f is harm or not isinstance(f, Harm))
    return lock_of(scene.record_of(record, others), at=scene.at) is not None


def _question(scene: HealthScene, record: DiverRecord, whom: letters_of.Addressee) -> list[Letter]:
    """The question that is open and was never put: somebody's worry, or the four."""
    if not unwell_open(record, at=scene.at):
        return []
    waits = unanswered(record, at=scene.at)
    if waits is not None and waits.by_other:
        return [letters_of.worried(whom, by=waits.by, grave=waits.grave)]
    return [letters_of.first_question(whom, unread=waits is not None and waits.unread)]


def _mark(heard: Heard, diver: str, question: str) -> Asked:
    return Asked(
        diver=diver,
        happened_at=heard.sent_at,
        said_at=heard.now,
        by=heard.sender,
        origin=Origin(chat=heard.chat, message=heard.message, line=_PLACE, edit=heard.edit),
        question=question,
        readings=(),
        may_answer=(),
        bars=False,
    )
