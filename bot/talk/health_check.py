"""The check: yes, no and not sure, by button or typed in private, and the four questions."""

from __future__ import annotations

import re
from datetime import datetime

from bot.talk import health_letters as letters_of
from bot.talk.health_reports import harm_facts, reported, rows_of
from bot.talk.health_scene import HealthScene, Said
from bot.texts.help import help_line
from planner.harm import (
    called_for_help,
    harm_table,
    lock_of,
    locks_of,
    unanswered,
)
from planner.record import (
    DiverRecord,
    Fact,
    Unwell,
    Well,
)
from storage.outcome import Letter

CHECK = re.compile(
    r"check (?P<name>.+?) (?:(?P<word>yes|no|not-sure)|four (?P<base>\S+) (?P<answers>[nlmu]{1,4})"
    r"|(?P<about>cold|samba|called|rest) (?P<told>yes|no|not-sure|out))",
    re.IGNORECASE,
)
RAISED_BY_ANSWERS = {
    "l": ("6", "9", "8", "13"),
    "m": ("5", "4", "7", "12"),
    "u": ("6", "9", "8", "13"),
}
"""The row that an answer to each of the four questions brings; not sure counts as the lesser yes."""


def is_well(scene: HealthScene, diver: str, *, answers: bool = False) -> Said:
    """All normal: noted, and what still bars. `answers`: said at the question of a call for help."""
    heard = scene.heard
    whom = scene.addressee(diver)
    fact = Well(
        diver=diver,
        happened_at=heard.sent_at,
        said_at=heard.now,
        by=heard.sender,
        origin=scene.origin(diver, answers=answers),
    )
    record = scene.with_facts(diver, [fact])
    letters = letters_of.quiet(heard, whom)
    if letters_of.reachable(heard, whom):
        lock = lock_of(record, at=scene.at)
        waits = unanswered(record, at=scene.at)
        if waits is not None and not (waits.grave or waits.by_other):
            letters.append(letters_of.first_question(whom, unread=waits.unread, after="well_asked"))
            return [fact], letters
        first = help_line("well_called" if answers else "well")
        if lock is not None and not answers:
            grave = called_for_help(record, at=scene.at) is not None
            key = "well_call_now" if grave else "well_doctor" if lock.doctor else "well_locked"
            first = help_line(key)
        bar = letters_of.bar_text(record, whom, at=scene.at)
        text = "\n".join(filter(None, (first, bar)))
        letters.append(letters_of.private_letter(whom, text))
        letters += letters_of.still_called(record, whom, at=scene.at)
    return [fact], letters


def is_unwell(scene: HealthScene, diver: str, *, unread: bool = False) -> Said:
    """No, not sure, or words nobody can read (`unread`): no target, and the four questions."""
    heard = scene.heard
    whom = scene.addressee(diver)
    fact = Unwell(
        diver=diver,
        happened_at=heard.sent_at,
        said_at=heard.now,
        by=heard.sender,
        origin=scene.origin(diver, answers=not unread),
        unread=unread,
    )
    letters = letters_of.quiet(heard, whom)
    if letters_of.reachable(heard, whom):
        letters += letters_of.still_to_call(scene.record(diver), whom, scene.room, at=scene.at)
        letters.append(letters_of.first_question(whom, unread=unread))
    return [fact], letters


def feels_numb(scene: HealthScene, diver: str) -> Said:
    """Numb fingers, which may be the cold: no target until that is answered."""
    facts, _ = is_unwell(scene, diver, unread=True)
    whom = scene.addressee(diver)
    letters = letters_of.quiet(scene.heard, whom)
    if letters_of.reachable(scene.heard, whom):
        letters.append(letters_of.cold_question(whom))
    return facts, letters


def _is_nothing(scene: HealthScene, diver: str) -> list[Fact]:
    """What was unread, or numb, is nothing: the answer to that question and to no other."""
    record = scene.record(diver)
    locks = locks_of(record)
    asked = [u for u in record.of(Unwell) if u.unread and locks.is_open(u, scene.at)]
    return [
        Well(
            diver=diver,
            happened_at=scene.heard.sent_at,
            said_at=scene.heard.now,
            by=scene.heard.sender,
            origin=u.origin,
        )
        for u in asked[-1:]
    ]


# answers by button


def pressed(scene: HealthScene, said: re.Match[str]) -> Said | None:
    """A button of the check, of the four questions or of a question about one thing."""
    member = scene.room.named(said["name"])
    if member is None or not scene.speaks_for(member.key):
        return None
    diver = member.key
    at = scene.heard.sent_at
    if said["word"]:
        is_yes = said["word"].lower() == "yes"
        facts, letters = (is_well if is_yes else is_unwell)(scene, diver)
    elif said["answers"]:
        if said["base"] not in {*harm_table().rows, letters_of.UNREAD}:
            return None
        facts, letters = _answered(scene, diver, said["base"], said["answers"].lower())
    elif said["about"].lower() == "called":
        facts, letters = _called(scene, diver, said["told"].lower())
    elif said["told"].lower() != "yes":
        row = harm_table().rows[_ROW_OF_NO[said["about"].lower()]]
        facts, letters = reported(scene, diver, [row], at=at)
    else:
        about = said["about"].lower()
        facts = [] if about == "samba" else _is_nothing(scene, diver)
        first = help_line("cold_ok" if about == "cold" else "answered")
        record, whom = scene.with_facts(diver, facts), scene.addressee(diver)
        letters = [_closing(record, whom, at=scene.at, first=first)]
    return facts, letters


_ROW_OF_NO = {"cold": "12", "samba": "3-now", "rest": harm_table().unanswered_row}
"""The row that anything but yes brings, by what is asked about."""


def _called(scene: HealthScene, diver: str, told: str) -> Said:
    """The answer to whether there was anything, after somebody called for help about the diver."""
    if told == "out":
        return reported(scene, diver, [harm_table().rows["2"]], at=scene.heard.sent_at)
    if told != "yes":
        return is_unwell(scene, diver)
    return is_well(scene, diver, answers=True)


def _answered(scene: HealthScene, diver: str, base: str, answers: str) -> Said:
    """One answer to the four questions: its row at once, then the next question."""
    table = harm_table().rows
    at = scene.heard.sent_at
    whom = scene.addressee(diver)
    last, n = answers[-1], len(answers) - 1
    facts: list[Fact] = []
    letters: list[Letter] = []
    if last != "n":
        given = [RAISED_BY_ANSWERS[a][k] for k, a in enumerate(answers) if a != "n"]
        rows = rows_of({given[-1]} | harm_table().together(given))
        facts, letters = reported(scene, diver, rows, at=at)
        if rows[0].level == "call-now":
            return facts, letters
    if n + 1 < len(letters_of.QUESTIONS):
        letters.append(letters_of.question(whom, n + 1, base=base, answers=answers))
    elif set(answers) == {"n"} and base == harm_table().unanswered_row:
        row = table[base]
        facts = harm_facts(scene, diver, [row], at=at, answers=True)
        record = scene.with_facts(diver, facts)
        letters = letters_of.still_to_call(record, whom, scene.room, at=scene.at)
        letters = letters or [letters_of.own_help(whom, row.text, scene.room)]
        bar = letters_of.bar_text(record, whom, at=scene.at)
        letters.append(letters_of.private_letter(whom, bar))
    elif set(answers) == {"n"} and base == letters_of.UNREAD:
        letters = [letters_of.rest_question(whom)]
    elif last == "n":
        # the last button is not answered with silence
        first = help_line("answered")
        letters.append(_closing(scene.record(diver), whom, at=scene.at, first=first))
    return facts, letters


def _closing(
    record: DiverRecord, whom: letters_of.Addressee, *, at: datetime, first: str
) -> Letter:
    """What the last answer comes to, and what still bars."""
    bar = letters_of.bar_text(record, whom, at=at)
    return letters_of.private_letter(whom, "\n".join(filter(None, (first, bar))))
