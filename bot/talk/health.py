"""Words of health in a message, whatever else it is: facts, help first, and silence in the group.

`hear` is asked before anything else is read. What it gives is written as it is; only `rest`, the
message without its words of harm, goes on to the reports, and nothing of it gets a target where
`silences_rest` is set.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from bot.heard import Heard, Kind
from bot.shorthand import parse, says_not_fit
from bot.shorthand import words as trade_words
from bot.shorthand.harm_found import Alike, Found, HarmReading
from bot.shorthand.harm_left import lines_left, without_harm
from bot.shorthand.harm_lexicon import harm_words
from bot.shorthand.harm_reading import read_harm
from bot.shorthand.harm_text import QUOTES
from bot.shorthand.names import fold, with_names
from bot.shorthand.reading import Command, Report
from bot.talk import health_letters as letters_of
from bot.talk.health_check import CHECK, feels_numb, is_unwell, is_well, pressed
from bot.talk.health_cleared import CLEARED, cleared
from bot.talk.health_dives import HarmedLine, harmed_line
from bot.talk.health_owed import closed, marks, owed
from bot.talk.health_reports import (
    about_other,
    about_stranger,
    call_text,
    reported,
    rows_of,
    seems,
)
from bot.talk.health_scene import HealthScene, Said
from bot.talk.health_typed import typed
from bot.talk.health_whom import whom
from bot.texts.help import (
    harmless_beside_emergency,
    help_line,
    typed_answer,
)
from planner.harm import LEVELS, harm_table, unanswered
from planner.record import Brief, Dive, DiverRecord, Fact
from planner.rules import RULES
from storage.outcome import Key, Letter, Room


@dataclass(frozen=True, kw_only=True)
class HealthTurn:
    """What a message's words of health come to.

    `rest` is what of the message is left to be read as reports and commands; empty: nothing.
    `harmed` are the lines of it that spoke of harm: a dive in them is a stop.
    `silences_rest`: no target in answer to any of it, not even where the group is told of one.
    """

    facts: tuple[Fact, ...] = ()
    letters: tuple[Letter, ...] = ()
    silences_rest: bool = True
    rest: str = ""
    harmed: tuple[HarmedLine, ...] = ()


_EMERGENCY = re.compile(
    r"(?:(?:this|it|its|it's|we|have|got|is|a|an|real|med|medical)\s+)*"
    r"/?emergency(?:@\w+)?\b[\s:,!.?-]*(?P<rest>.*)",
    re.IGNORECASE | re.DOTALL,
)

_FEEL = re.compile(
    r"\s*(?:for\s+)?(?:@?(?P<name>\S+?)[:,]?\s+)?(?:feel|feeling|feels)\b", re.IGNORECASE
)


def hear(
    heard: Heard,
    *,
    room: Room,
    records: Mapping[str, DiverRecord],
    names: Collection[str],
) -> HealthTurn | None:
    """What a message says of anybody's health, or None where it says nothing.

    `names` are the names that may stand for a member. Presses are to be checked before (fresh, and
    by somebody who may press).
    """
    if heard.kind not in (Kind.MESSAGE, Kind.EDIT, Kind.PRESS):
        return None
    scene = HealthScene(heard=heard, room=room, records=records)
    text = heard.text
    if _is_a_cry(text):
        letter = letters_of.help_letter(heard.chat, "emergency", room, about=None)
        return HealthTurn(letters=(letter,))
    facts, letters = owed(scene)
    turn = _answer(scene, tuple(names))
    if turn is None and heard.button is None:
        turn = _plain(scene, tuple(names))
    if turn is not None:
        turn = replace(turn, facts=(*turn.facts, *marks(scene, turn.facts)))
    if not facts:
        return turn
    if turn is None:
        turn = HealthTurn(rest=text)
    return replace(turn, facts=(*facts, *turn.facts), letters=(*letters, *turn.letters))


def _is_a_cry(text: str) -> bool:
    """Whether a message cries for help: `emergency`, with anything behind but a thing; `help us`."""
    found = _EMERGENCY.fullmatch(text.strip())
    if found is None:
        return typed_answer(text) == "alarm"
    return harmless_beside_emergency().isdisjoint(re.findall(r"[\w']+", found["rest"].casefold()))


def blocked(heard: Heard, *, room: Room, records: Mapping[str, DiverRecord]) -> tuple[Fact, ...]:
    """What is kept when somebody shuts their private chat: that help may not have arrived there."""
    return tuple(closed(HealthScene(heard=heard, room=room, records=records)))


def _answer(scene: HealthScene, names: tuple[str, ...]) -> HealthTurn | None:
    """What is an answer as a whole: a button, a clinician's word, or one to the check."""
    text = scene.heard.text
    if scene.heard.button is not None:
        found = CHECK.fullmatch(text.strip())
        said = pressed(scene, found) if found is not None else None
    else:
        found = CLEARED.fullmatch(text)
        said = (cleared(scene, found) if found is not None else None) or typed(scene, names)
    if said is None:
        return None
    return HealthTurn(facts=tuple(said[0]), letters=tuple(said[1]))


def check_keys(
    diver: str, *, room: Room, records: Mapping[str, DiverRecord], heard: Heard
) -> tuple[tuple[Key, ...], ...]:
    """The buttons [yes] [no] [not sure] for the check of a diver, wherever it is asked."""
    scene = HealthScene(heard=heard, room=room, records=records)
    return letters_of.check_keys(scene.addressee(diver))


def called_keys(
    diver: str, *, room: Room, records: Mapping[str, DiverRecord], heard: Heard
) -> tuple[tuple[Key, ...], ...]:
    """The buttons of the question that a call for help raised, where it is open; else none."""
    scene = HealthScene(heard=heard, room=room, records=records)
    waits = unanswered(scene.record(diver), at=scene.at)
    if waits is None or not waits.grave:
        return ()
    return letters_of.worried(scene.addressee(diver), by=waits.by, grave=True).keys


def unanswered_letters(
    diver: str, *, room: Room, records: Mapping[str, DiverRecord], heard: Heard
) -> tuple[Letter, ...]:
    """On the evening of a question about a diver's state that nothing has answered.

    Not all normal, and none of the four answers: unable to say, which is a doctor's question today;
    and the question once more. What somebody else's report raised is asked once more.
    """
    scene = HealthScene(heard=heard, room=room, records=records)
    whom = scene.addressee(diver)
    waits = unanswered(scene.record(diver), at=scene.at)
    if waits is None or not whom.can_dm:
        return ()
    if waits.by_other:
        return (letters_of.worried(whom, by=waits.by, grave=waits.grave),)
    table = harm_table()
    base = table.unanswered_row
    return (
        letters_of.own_help(whom, table.rows[base].text, room),
        letters_of.private_letter(whom, help_line("unanswered")),
        letters_of.private_letter(
            whom, letters_of.bar_text(scene.record(diver), whom, at=scene.at)
        ),
        letters_of.question(whom, 0, base=base, answers=""),
    )


# plain words


_ByDiver = dict[str | None, list[Found]]
"""What rules found, by whom it is about; None for somebody who is no member."""
_Calls = dict[str | None, bool]
"""Who is spoken of in words that are like harm, and whether they are like a call for help."""


def _plain(scene: HealthScene, names: tuple[str, ...]) -> HealthTurn | None:
    heard = scene.heard
    today = scene.record(heard.sender).local_day(heard.sent_at)
    reading = read_harm(heard.text, harm_words(), names=names, today=today)
    reading = replace(reading, alike=_not_shorthand(heard.text, reading, names))
    felt, feel_lines = _felt_lines(scene, reading, names, today)
    if reading.fear and not reading.alike and not _is_at_a_dive(scene):
        reading = replace(reading, found=(), fear=False)
    if not (reading.found or reading.alike or reading.asks_cold or felt):
        return None
    found, sure = _found_by_diver(scene, reading)
    calls = _calls_by_diver(scene, reading)
    told = [
        ([], _help_first(scene, found, calls)),
        *_told(scene, found, calls, sure=sure),
        *_likened(scene, found, calls),
        *(_felt(scene, diver, read) for diver, read in felt if diver not in found | calls),
    ]
    if reading.asks_cold and heard.sender not in found | calls:
        told.append(feels_numb(scene, heard.sender))
    facts = [fact for new, _ in told for fact in new]
    letters = _once([letter for _, more in told for letter in more])
    rest = without_harm(heard.text, reading, drop_lines=feel_lines, names=names)
    if not (facts or letters):
        # of somebody unknown nothing is kept, in a note neither
        return HealthTurn(rest=rest, silences_rest=False) if rest.strip() else None
    # Help goes first, and the group before anybody's private chat.
    letters.sort(key=lambda x: (x.delivery.value != "help", x.to.startswith("p:")))
    return HealthTurn(
        facts=tuple(facts),
        letters=tuple(letters),
        rest=rest,
        harmed=_harmed_lines(heard.text, reading, feel_lines, names),
    )


def _found_by_diver(
    scene: HealthScene, reading: HarmReading
) -> tuple[_ByDiver, frozenset[str | None]]:
    """What rules found, by whom it is about; and of whom something is surely told."""
    by_diver: _ByDiver = {}
    sure: set[str | None] = set()
    for found in reading.found:
        about = whom(scene, found.subject, found.spans[0])
        sure.update(about if len(about) == 1 else ())
        for one in about:
            by_diver.setdefault(one, []).append(found)
    return by_diver, frozenset(sure)


def _calls_by_diver(scene: HealthScene, reading: HarmReading) -> _Calls:
    calls: _Calls = {}
    for alike in reading.alike:
        for about in whom(scene, alike.subject, alike.span):
            calls[about] = calls.get(about, False) or alike.is_call
    return calls


def _told(
    scene: HealthScene, by_diver: _ByDiver, calls: _Calls, *, sure: Collection[str | None]
) -> Iterator[Said]:
    """What comes of what the rules found: a report of one's own, or a question to somebody else.

    What may be about one of several locks nobody: all of them are asked.
    """
    for diver, mine in by_diver.items():
        rows = rows_of(f.row for f in mine)
        if diver is None:
            yield [], about_stranger(scene, rows)
        elif scene.speaks_for(diver) and diver in sure:
            yield reported(scene, diver, rows, at=scene.heard.sent_at)
        else:
            yield about_other(scene, diver, rows, is_call=calls.get(diver, False))


def _help_first(scene: HealthScene, by_diver: _ByDiver, calls: _Calls) -> list[Letter]:
    """The help for what is like a call, once for all, where no row brings the help of its own."""
    table = harm_table().rows
    if any(table[f.row].level == LEVELS[0] for mine in by_diver.values() for f in mine):
        return []
    return [call_text(scene, about) for about, is_call in calls.items() if is_call][:1]


def _likened(scene: HealthScene, by_diver: _ByDiver, calls: _Calls) -> Iterator[Said]:
    """What comes of what is only like harm: a question wherever no rule asks as much."""
    for about, is_call in calls.items():
        rows = rows_of(f.row for f in by_diver.get(about, ()))
        is_own_call = is_call and about is not None and scene.speaks_for(about)
        is_asked = rows and not (is_own_call and rows[0].level != LEVELS[0])
        if about is not None and not is_asked:
            yield seems(scene, about, is_call=is_call)


def _is_at_a_dive(scene: HealthScene) -> bool:
    """Whether `scared` is said of a dive: with a number, or in a session of the sender's."""
    if any(c.isdigit() for c in scene.heard.text):
        return True
    record = scene.record(scene.heard.sender)
    last = (record.latest(Brief), record.latest(Dive))
    return any(f and scene.heard.sent_at - f.happened_at <= RULES.session_gap for f in last)


def _not_shorthand(text: str, reading: HarmReading, names: tuple[str, ...]) -> tuple[Alike, ...]:
    """What is like harm and neither a command nor a report of the trade's words alone."""
    folded = text.translate(QUOTES)
    return tuple(a for a in reading.alike if not _is_shorthand(folded[slice(*a.span)], names))


def _is_shorthand(line: str, names: tuple[str, ...]) -> bool:
    """Whether a line is a command or a report, and every word of it the trade's, a name or a number.

    And whether it says not to be fit, in whatever words.
    """
    if says_not_fit(line, trade_words(), names=names):
        return True
    parts = {part for n in names for part in fold(n).split()}
    known, said = trade_words().vocabulary | parts, with_names(_LETTERS, parts).findall(fold(line))
    return all(word in known or word.removesuffix("s") in known for word in said) and all(
        (isinstance(r, Command) and r.name != "feel") or (isinstance(r, Report) and not r.note)
        for r in parse(line, trade_words(), names=names)
    )


def _once(letters: Iterable[Letter]) -> list[Letter]:
    """Each text to each chat once, whomever it is about."""
    return list({(x.to, x.text, x.reaction): x for x in reversed(list(letters))}.values())[::-1]


_LETTERS = re.compile(r"[^\W\d_]+")


def _harmed_lines(
    text: str, reading: HarmReading, feel_lines: Collection[int], names: tuple[str, ...]
) -> tuple[HarmedLine, ...]:
    """What is left of each line that speaks of harm, with whom it speaks of."""
    return tuple(
        harmed_line(left.text, left.said, ((f.row, f.subject) for f in left.found))
        for left in lines_left(text, reading, drop_lines=feel_lines, names=names)
        if left.found and left.text.strip()
    )


def _felt_lines(
    scene: HealthScene, reading: HarmReading, names: tuple[str, ...], today: date
) -> tuple[list[tuple[str, HarmReading]], frozenset[int]]:
    """The lines that begin with `feel`, each with whom it is about and what it says."""
    felt: list[tuple[str, HarmReading]] = []
    numbers: set[int] = set()
    for n, line in enumerate(scene.heard.text.split("\n")):
        if says_not_fit(line, trade_words(), names=names):
            continue
        named = _FEEL.match(line)
        read = (
            read_harm(line, harm_words(), names=names, today=today)
            if "fe" in line.lower()
            else None
        )
        if read is None or not read.feel:
            continue
        diver = scene.heard.sender
        if named is not None and named["name"]:
            member = scene.room.named(named["name"])
            diver = member.key if member is not None else diver
        numbers.add(n)
        if (read.well or read.unreadable) and not read.found:
            felt.append((diver, read))
    return felt, frozenset(numbers)


def _felt(scene: HealthScene, diver: str, read: HarmReading) -> Said:
    """`feel ok`, or `feel` and what nobody can read."""
    if not scene.speaks_for(diver):
        if read.well:
            return [], []
        return about_other(scene, diver, [harm_table().rows["23"]])
    if read.well:
        return is_well(scene, diver)
    return is_unwell(scene, diver, unread=True)
