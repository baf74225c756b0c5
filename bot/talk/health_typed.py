"""Answers to the check that are typed instead of pressed, in private."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import datetime, timedelta

from bot.heard import Kind
from bot.shorthand import parse
from bot.shorthand import words as trade_words
from bot.shorthand.harm_lexicon import harm_words
from bot.shorthand.harm_reading import read_harm
from bot.shorthand.reading import Chatter
from bot.talk import health_letters as letters_of
from bot.talk.asked import open_questions
from bot.talk.health_check import is_unwell, is_well
from bot.talk.health_reports import ONE_EVENT, reported
from bot.talk.health_scene import HealthScene, Said
from bot.talk.turn import Scene
from bot.texts.help import help_line, typed_answer
from planner.agenda import is_checked
from planner.harm import LEVELS, harm_table, unanswered, unwell_open
from planner.record import Debriefed, Harm, Unwell, Well, day_begins_at, latest_session
from planner.rules import RULES
from storage.outcome import Letter

_NOT_WELL = ("no", "not_sure")
_FOR = re.compile(r"(?:for\s+)?@?(?P<name>\S+?)[:,]?\s+(?P<rest>.+)", re.IGNORECASE | re.DOTALL)


def typed(scene: HealthScene, names: Collection[str]) -> Said | None:
    """`no` or `all good`, in private, where the check is the newest thing that waits for an answer.

    A keeper may name whom it is about. A no counts for all who were asked at once, a yes for one.
    """
    heard = scene.heard
    if not heard.private or heard.kind not in (Kind.MESSAGE, Kind.EDIT):
        return None
    text, divers = _of_whom(scene)
    answer = typed_answer(text)
    if heard.kind is Kind.EDIT:
        return _taken_back(scene, divers) if answer in _NOT_WELL else None
    if answer == "still":
        return _still(scene, divers)
    asked = _newest(scene, divers, _checked_at)
    if asked and answer in ("yes", *_NOT_WELL):
        return _answered(scene, asked, answer)
    if asked and answer is None and _is_no_yes(text, names):
        return _for_each(scene, asked, is_unwell)
    waiting = _newest(scene, divers, _waits_at)
    if (
        len(waiting) == 1
        and answer in ("yes", *_NOT_WELL, "some")
        and not _is_of_dives(scene, waiting)
    ):
        return [], [_by_button(scene, *waiting)]
    return _taken_back(scene, divers) if answer in _NOT_WELL else None


def _of_whom(scene: HealthScene) -> tuple[str, tuple[str, ...]]:
    """What is answered, and for which of those for whom the sender speaks."""
    text, divers = scene.heard.text, scene.spoken_for()
    named = _FOR.fullmatch(text.strip())
    member = scene.room.named(named["name"]) if named is not None else None
    if named is None or member is None or member.key not in divers:
        return text, divers
    return named["rest"], (member.key,)


def _newest(
    scene: HealthScene,
    divers: Collection[str],
    asked_at: Callable[[HealthScene, str], datetime | None],
) -> dict[str, datetime]:
    """Who was asked last, and when."""
    asked = {d: at for d in divers if (at := asked_at(scene, d)) is not None}
    newest = max(asked.values(), default=None)
    return {d: at for d, at in asked.items() if at == newest}


def _is_of_dives(scene: HealthScene, asked: dict[str, datetime]) -> bool:
    """Whether a question about a dive is newer: then a bare word answers that one."""
    others = open_questions(
        Scene(heard=scene.heard, room=scene.room, records=scene.records, at=scene.at)
    )
    return any(q.said_at >= max(asked.values()) for q in others)


def _answered(scene: HealthScene, asked: dict[str, datetime], answer: str) -> Said | None:
    if _is_of_dives(scene, asked) or (len(asked) > 1 and answer == "yes"):
        return None
    return _for_each(scene, asked, is_well if answer == "yes" else is_unwell)


def _for_each(
    scene: HealthScene, divers: Collection[str], says: Callable[[HealthScene, str], Said]
) -> Said:
    told = [says(scene, diver) for diver in divers]
    return [f for facts, _ in told for f in facts], [x for _, letters in told for x in letters]


def _taken_back(scene: HealthScene, divers: Collection[str]) -> Said | None:
    """`no` behind a yes of these hours, or a yes that was edited into it: the worse word counts."""
    heard = scene.heard
    wells = {d: scene.record(d).latest(Well) for d in divers}
    told = {
        d: w.happened_at
        for d, w in wells.items()
        if w is not None
        and scene.at - w.happened_at <= ONE_EVENT
        and (heard.kind is not Kind.EDIT or w.origin.message == heard.message)
    }
    if not told or _is_of_dives(scene, told):
        return None
    return _for_each(scene, [d for d, at in told.items() if at == max(told.values())], is_unwell)


def _is_no_yes(text: str, names: Collection[str]) -> bool:
    """Whether an answer that nobody can read holds a no, a doubt or a part of the body.

    `no, throat`, `ears not`, `mostly`, `yes but a bit off`. Not what says that all is well and only
    denies, nor a report or a command, nor what is read as harm anyway.
    """
    if any(not isinstance(r, Chatter) for r in parse(text, trade_words(), names=names)):
        return False
    read = read_harm(text, harm_words(), names=names)
    if read.found or read.alike:
        return False
    pieces = [_WORDS.findall(p) for p in re.split(r"[,.;!?\n]", _plainly(text))]
    is_well = any(_says_well(piece) for piece in pieces)
    return "👎" in text or any(_says_no(piece, is_well=is_well) for piece in pieces)


_WORDS = re.compile(r"[^\W\d_]+")


def _plainly(text: str) -> str:
    return text.casefold().replace("'", "").replace("’", "")


def _says_well(piece: list[str]) -> bool:
    lists = harm_words().lists
    return not lists["well"].isdisjoint(piece) and not _denies(piece)


def _says_no(piece: list[str], *, is_well: bool) -> bool:
    """Whether what stands between two commas is a no; a bare denial is, where nothing is well."""
    lists = harm_words().lists
    if not lists["doubts"].isdisjoint(piece):
        return True
    if _denies(piece):
        return not is_well or not lists["well"].isdisjoint(piece)
    return lists["well"].isdisjoint(piece) and not lists["felt_parts"].isdisjoint(piece)


def _denies(piece: list[str]) -> bool:
    """Whether it denies anything but that something is wrong: `no worries` doesn't."""
    lists = harm_words().lists
    wrong = lists["nothing_wrong"] | lists["complaints"]
    return any(
        word in lists["negators"] and behind not in wrong
        for word, behind in zip(piece, [*piece[1:], ""], strict=False)
    )


def _by_button(scene: HealthScene, diver: str) -> Letter:
    """The four questions wait for their buttons: a bare word may be about any of them."""
    whom = scene.addressee(diver)
    waits = unanswered(scene.record(diver), at=scene.at)
    if waits is not None and waits.grave:
        again = letters_of.worried(whom, by=waits.by, grave=True)
        first = help_line("by_button")
    else:
        again = letters_of.first_question(whom, unread=waits is not None and waits.unread)
        first = help_line("by_buttons")
    return replace(again, text=f"{first}\n{again.text}")


def _still(scene: HealthScene, divers: Collection[str]) -> Said | None:
    """`still there`, some days after a report: its longer form, or the four questions."""
    table = harm_table()
    within = timedelta(days=table.still_days)
    told = {
        diver: last
        for diver in divers
        if (last := scene.record(diver).latest(Harm)) is not None
        and scene.at - last.happened_at <= within
    }
    if not told:
        return None
    diver = max(told, key=lambda d: told[d].happened_at)
    since = scene.at - told[diver].happened_at
    row = table.rows.get(told[diver].row or "")
    if row is None or row.longer is None or since < timedelta(hours=row.longer_after_h):
        return is_unwell(scene, diver)
    return reported(scene, diver, [table.rows[row.longer]], at=scene.heard.sent_at)


def _waits_at(scene: HealthScene, diver: str) -> datetime | None:
    """When a diver was asked the four questions, or about a call for help; None where none may wait."""
    record = scene.record(diver)
    last = record.latest(Unwell)
    if last is not None and unwell_open(record, at=scene.at):
        return last.happened_at
    told = record.latest(Harm)
    if told is None or told.level == LEVELS[0] or scene.at - told.happened_at > ONE_EVENT:
        return None
    return told.happened_at if told.row in (None, *_ASKS_FOUR) else None


_ASKS_FOUR = frozenset(row.key for row in harm_table().rows.values() if row.four_questions)


def _checked_at(scene: HealthScene, diver: str) -> datetime | None:
    """When a diver was asked how they are; None where that is answered or never was asked."""
    record = scene.record(diver)
    asked: list[datetime] = []
    told = [f for f in record.facts if isinstance(f, Well | Harm | Unwell)]
    written = record.latest(Debriefed)
    if written is not None and not any(f.happened_at >= written.session_at for f in told):
        asked.append(written.happened_at)
    last = latest_session(record, gap_h=RULES["session.gap_h"])
    if last is not None and not is_checked(record, last):
        # the morning's question stands for itself, whatever was said on the evening before
        morning_at = day_begins_at(last.on + timedelta(days=1), timezone=record.timezone)
        if morning_at <= scene.at <= morning_at + timedelta(days=RULES["due.for_days_d"]):
            asked.append(morning_at)
    if told and isinstance(told[-1], Unwell) and told[-1].raised_by_other and not told[-1].grave:
        asked.append(told[-1].happened_at)
    return max(asked, default=None)
