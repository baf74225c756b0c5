"""Words of health in a message, whatever else it is: facts, help first, and silence in the group.

`hear` is asked before anything else is read. What it gives is written as it is; only `rest`, the
message without its words of harm, goes on to the reports, and nothing of it gets a target where
`silences_rest` is set.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from bot.heard import Heard, Kind
from bot.shorthand.harm_lexicon import harm_words
from bot.shorthand.harm_words import Found, HarmReading, read_harm, without_harm
from bot.talk import health_letters as letters_of
from bot.talk.health_letters import Addressee
from bot.texts.help import help_line
from planner.harm import LEVELS, HarmRow, harm_table, lock_of, locks_of
from planner.record import (
    Cleared,
    Consent,
    DiverRecord,
    Fact,
    Harm,
    Kept,
    Origin,
    Unwell,
    Well,
    record_of,
)
from storage.outcome import Key, Letter, Room


@dataclass(frozen=True, kw_only=True)
class HealthTurn:
    """What a message's words of health come to.

    `rest` is what of the message is left to be read as reports and commands; empty: nothing.
    `silences_rest`: no target in answer to any of it, not even where the group is told of one.
    """

    facts: tuple[Fact, ...] = ()
    letters: tuple[Letter, ...] = ()
    silences_rest: bool = True
    rest: str = ""


_EMERGENCY = re.compile(r"\s*/?emergency(?:@\w+)?\s*[!.?]*\s*", re.IGNORECASE)
_CHECK = re.compile(
    r"check (?P<name>.+?) (?:(?P<word>yes|no|not-sure)|four (?P<base>\S+) (?P<answers>[nlmu]{1,4})"
    r"|(?P<about>cold|samba) (?P<told>yes|no|not-sure))",
    re.IGNORECASE,
)
_CLEARED = re.compile(
    r"\s*(?:for\s+)?(?:(?P<name>\S+?)[:,]?\s+)?cleared\b\s*[:,]?\s*(?P<on>.*?)\s*[.!]?\s*",
    re.IGNORECASE,
)
_FEEL = re.compile(
    r"\s*(?:for\s+)?(?:@?(?P<name>\S+?)[:,]?\s+)?(?:feel|feeling|feels)\b", re.IGNORECASE
)
_RAISED_BY_ANSWERS = {
    "l": ("6", "9", "8", "13"),
    "m": ("5", "4", "7", "12"),
    "u": ("6", "9", "8", "13"),
}
"""The row that an answer to each of the four questions brings; not sure counts as the lesser yes."""


@dataclass(frozen=True, kw_only=True)
class _Scene:
    heard: Heard
    room: Room
    records: Mapping[str, DiverRecord]

    @property
    def at(self) -> datetime:
        """The moment of the turn; never before what was said."""
        return max(self.heard.now, self.heard.sent_at)

    def record(self, diver: str) -> DiverRecord:
        """What is known of a diver; nothing, of somebody new."""
        found = self.records.get(diver)
        if found is None:
            found = record_of(diver, (), timezone=ZoneInfo(self.room.timezone))
        return found

    def with_facts(self, diver: str, facts: Iterable[Fact]) -> DiverRecord:
        """A diver's record as it will be once these are written."""
        old = self.record(diver)
        return record_of(diver, (*old.facts, *facts), timezone=old.timezone)

    def keeper(self, diver: str) -> str | None:
        """Who speaks for a diver without a phone."""
        member = self.room.members.get(diver)
        if member is None or member.has_phone:
            return None
        kept = self.record(diver).latest(Kept)
        return kept.keeper if kept is not None else None

    def addressee(self, diver: str) -> Addressee:
        """Who is written to about a diver."""
        member = self.room.members.get(diver)
        speaker = self.keeper(diver) or diver
        speaking = self.room.members.get(speaker)
        return Addressee(
            diver=diver,
            name=member.name if member is not None else diver,
            speaker=speaker,
            speaker_name=speaking.name if speaking is not None else speaker,
            can_dm=speaking is not None and speaking.can_dm,
        )

    def speaks_for(self, diver: str) -> bool:
        """Whether the sender's word counts as the diver's own."""
        return self.heard.sender in (diver, self.keeper(diver))

    def origin(self, diver: str, *, answers: bool) -> Origin:
        """Where a fact came from; an answer carries the origin of the question that it answers."""
        asked = locks_of(self.record(diver)).open_question(self.at) if answers else None
        if asked is not None:
            return asked
        return Origin(chat=self.heard.chat, message=self.heard.message, edit=self.heard.edit)


def hear(
    heard: Heard,
    *,
    room: Room,
    records: Mapping[str, DiverRecord],
    names: Iterable[str],
) -> HealthTurn | None:
    """What a message says of anybody's health, or None where it says nothing.

    `names` are the names that may stand for a member. Presses are to be checked before (fresh, and
    by somebody who may press).
    """
    if heard.kind not in (Kind.MESSAGE, Kind.EDIT, Kind.PRESS):
        return None
    scene = _Scene(heard=heard, room=room, records=records)
    text = heard.text
    if _EMERGENCY.fullmatch(text):
        letter = letters_of.help_letter(heard.chat, "emergency", room, about=None)
        return HealthTurn(letters=(letter,))
    if heard.button is not None:
        found = _CHECK.fullmatch(text.strip())
        return _check(scene, found) if found is not None else None
    found = _CLEARED.fullmatch(text)
    if found is not None:
        turn = _cleared(scene, found)
        if turn is not None:
            return turn
    return _plain(scene, tuple(names))


def check_keys(
    diver: str, *, room: Room, records: Mapping[str, DiverRecord], heard: Heard
) -> tuple[tuple[Key, ...], ...]:
    """The buttons [yes] [no] [not sure] for the check of a diver, wherever it is asked."""
    scene = _Scene(heard=heard, room=room, records=records)
    return letters_of.check_keys(scene.addressee(diver))


# plain words


def _plain(scene: _Scene, names: tuple[str, ...]) -> HealthTurn | None:
    heard = scene.heard
    today = scene.record(heard.sender).local_day(heard.sent_at)
    reading = read_harm(heard.text, harm_words(), names=names, today=today)
    felt, feel_lines = _felt_lines(scene, reading, names, today)
    if not (reading.found or reading.asks_cold or felt):
        return None
    facts: list[Fact] = []
    letters: list[Letter] = []
    by_diver: dict[str | None, list[Found]] = {}
    for found in reading.found:
        by_diver.setdefault(_whom(scene, found.subject), []).append(found)
    for diver, mine in by_diver.items():
        rows = _rows(f.row for f in mine)
        if diver is None:
            letters += _about_stranger(scene, rows)
        elif scene.speaks_for(diver):
            new, more = _reported(scene, diver, rows, at=heard.sent_at)
            facts += new
            letters += more
        else:
            new, more = _about_other(scene, diver, rows)
            facts += new
            letters += more
    for diver, line in felt:
        if diver in by_diver:
            continue
        new, more = _felt(scene, diver, line)
        facts += new
        letters += more
    if reading.asks_cold and heard.sender not in by_diver:
        whom = scene.addressee(heard.sender)
        letters += letters_of.quiet(heard, whom)
        if letters_of.reachable(heard, whom):
            letters.append(letters_of.cold_question(whom))
    if not (facts or letters):
        return None
    # Help goes first, and the group before anybody's private chat.
    letters.sort(key=lambda x: (x.delivery.value != "help", x.to.startswith("p:")))
    return HealthTurn(
        facts=tuple(facts),
        letters=tuple(letters),
        rest=without_harm(heard.text, reading, drop_lines=feel_lines),
    )


def _felt_lines(
    scene: _Scene, reading: HarmReading, names: tuple[str, ...], today: date
) -> tuple[list[tuple[str, HarmReading]], frozenset[int]]:
    """The lines that begin with `feel`, each with whom it is about and what it says."""
    felt: list[tuple[str, HarmReading]] = []
    numbers: set[int] = set()
    for n, line in enumerate(scene.heard.text.splitlines()):
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


def _whom(scene: _Scene, subject: str | None) -> str | None:
    """The member a row is about: the sender, a name, or whose message it replies to."""
    if subject is None:
        return scene.heard.sender
    if subject:
        member = scene.room.named(subject)
        return member.key if member is not None else None
    other = scene.heard.reply_to_sender
    return other if other in scene.room.members and other != scene.heard.sender else None


def _rows(keys: Iterable[str]) -> list[HarmRow]:
    """The rows, worst first, without those that another one covers in everything."""
    table = harm_table().rows
    rows = sorted({table[k] for k in keys}, key=lambda r: r.gravity)
    return [r for r in rows if not any(o is not r and _covers(o, r) for o in rows)]


def _covers(big: HarmRow, small: HarmRow) -> bool:
    """Whether one row asks at least as much as another in level, days, doctor and what follows."""

    def asks(r: HarmRow) -> tuple[float, ...]:
        again = r.again_within_days is not None
        return (
            -LEVELS.index(r.level), r.days, r.doctor, r.since_well, r.exhale, r.no_new_depth,
            again, r.shorten_days or 1000,
        )  # fmt: skip

    same = asks(big) == asks(small)
    at_least = all(x >= y for x, y in zip(asks(big), asks(small), strict=True))
    return at_least and (not same or big.place < small.place)


def _harm_facts(
    scene: _Scene, diver: str, rows: Iterable[HarmRow], *, at: datetime, answers: bool
) -> list[Fact]:
    """What is kept of a report: the row only where the diver keeps health check-ins."""
    consent = scene.record(diver).latest(Consent)
    kept = consent is not None and consent.given
    origin = scene.origin(diver, answers=answers)
    return [
        Harm(
            diver=diver,
            happened_at=at,
            said_at=scene.heard.now,
            by=scene.heard.sender,
            origin=origin,
            row=row.key if kept else None,
            level=row.level,
            days=row.days,
            doctor=row.doctor,
            since_well=row.since_well,
        )
        for row in rows
    ]


def _reported(
    scene: _Scene, diver: str, rows: list[HarmRow], *, at: datetime
) -> tuple[list[Fact], list[Letter]]:
    """A report by the diver, or by the keeper of one without a phone."""
    facts = _harm_facts(scene, diver, rows, at=at, answers=True)
    record = scene.with_facts(diver, facts)
    whom = scene.addressee(diver)
    return facts, letters_of.after_harm(scene.heard, scene.room, record, whom, rows, at=scene.at)


def _about_other(scene: _Scene, diver: str, rows: list[HarmRow]) -> tuple[list[Fact], list[Letter]]:
    """Somebody else's report: help at once if it is grave, and a question to the diver."""
    heard = scene.heard
    whom = scene.addressee(diver)
    letters: list[Letter] = []
    if rows[0].level == "call-now":
        key = rows[0].text if heard.private else f"{rows[0].text}-short"
        letters.append(letters_of.help_letter(heard.chat, key, scene.room, about=diver))
    elif heard.private:
        thanks = help_line("thanks", name=whom.name)
        letters.append(Letter(to=heard.chat, text=thanks, about=diver))
    if whom.can_dm:
        letters.append(letters_of.worried(whom))
    raised = Unwell(
        diver=diver,
        happened_at=heard.sent_at,
        said_at=heard.now,
        by=heard.sender,
        origin=scene.origin(diver, answers=True),
        raised_by_other=True,
    )
    return [raised], letters


def _about_stranger(scene: _Scene, rows: list[HarmRow]) -> list[Letter]:
    """About somebody who is not on the roster: help if it is grave; nothing is kept."""
    if rows[0].level != "call-now":
        return []
    heard = scene.heard
    key = rows[0].text if heard.private else f"{rows[0].text}-short"
    return [letters_of.help_letter(heard.chat, key, scene.room, about=None)]


def _felt(scene: _Scene, diver: str, read: HarmReading) -> tuple[list[Fact], list[Letter]]:
    """`feel ok`, or `feel` and what nobody can read."""
    if not scene.speaks_for(diver):
        if read.well:
            return [], []
        return _about_other(scene, diver, [harm_table().rows["23"]])
    if read.well:
        return _is_well(scene, diver)
    return _is_unwell(scene, diver)


def _is_well(scene: _Scene, diver: str) -> tuple[list[Fact], list[Letter]]:
    heard = scene.heard
    whom = scene.addressee(diver)
    fact = Well(
        diver=diver,
        happened_at=heard.sent_at,
        said_at=heard.now,
        by=heard.sender,
        origin=scene.origin(diver, answers=False),
    )
    record = scene.with_facts(diver, [fact])
    letters = letters_of.quiet(heard, whom)
    if letters_of.reachable(heard, whom):
        if lock_of(record, at=scene.at) is None:
            text = help_line("well")
        else:
            text = f"{help_line('well_locked')}\n{letters_of.bar_text(record, at=scene.at)}"
        letters.append(letters_of.private_letter(whom, text))
    return [fact], letters


def _is_unwell(scene: _Scene, diver: str) -> tuple[list[Fact], list[Letter]]:
    """No, not sure, or words nobody can read: no target, and the four questions."""
    heard = scene.heard
    whom = scene.addressee(diver)
    fact = Unwell(
        diver=diver,
        happened_at=heard.sent_at,
        said_at=heard.now,
        by=heard.sender,
        origin=scene.origin(diver, answers=True),
    )
    letters = letters_of.quiet(heard, whom)
    if letters_of.reachable(heard, whom):
        base = harm_table().unanswered_row
        letters.append(letters_of.question(whom, 0, base=base, answers=""))
    return [fact], letters


# answers by button


def _check(scene: _Scene, said: re.Match[str]) -> HealthTurn | None:
    member = scene.room.named(said["name"])
    if member is None or not scene.speaks_for(member.key):
        return None
    diver = member.key
    at = scene.heard.sent_at
    if said["word"]:
        is_yes = said["word"].lower() == "yes"
        facts, letters = (_is_well if is_yes else _is_unwell)(scene, diver)
    elif said["answers"]:
        if said["base"] not in harm_table().rows:
            return None
        facts, letters = _answered(scene, diver, said["base"], said["answers"].lower())
    elif said["told"].lower() != "yes":
        key = "12" if said["about"].lower() == "cold" else "3-now"
        facts, letters = _reported(scene, diver, [harm_table().rows[key]], at=at)
    else:
        facts = []
        line = help_line("cold_ok") if said["about"].lower() == "cold" else None
        whom = scene.addressee(diver)
        letters = [letters_of.private_letter(whom, line)] if line else []
    return HealthTurn(facts=tuple(facts), letters=tuple(letters))


def _answered(
    scene: _Scene, diver: str, base: str, answers: str
) -> tuple[list[Fact], list[Letter]]:
    """One answer to the four questions: its row at once, then the next question."""
    table = harm_table().rows
    at = scene.heard.sent_at
    whom = scene.addressee(diver)
    last, n = answers[-1], len(answers) - 1
    facts: list[Fact] = []
    letters: list[Letter] = []
    if last != "n":
        row = table[_RAISED_BY_ANSWERS[last][n]]
        facts, letters = _reported(scene, diver, [row], at=at)
        if row.level == "call-now":
            return facts, letters
    if n + 1 < len(letters_of.QUESTIONS):
        letters.append(letters_of.question(whom, n + 1, base=base, answers=answers))
    elif set(answers) == {"n"} and base == harm_table().unanswered_row:
        row = table[base]
        facts = _harm_facts(scene, diver, [row], at=at, answers=True)
        record = scene.with_facts(diver, facts)
        letters = [letters_of.help_letter(whom.chat, row.text, scene.room, about=diver)]
        bar = letters_of.bar_text(record, at=scene.at)
        letters.append(letters_of.private_letter(whom, bar))
    return facts, letters


# a clinician's word


def _cleared(scene: _Scene, said: re.Match[str]) -> HealthTurn | None:
    """`cleared 2026-08-01`, in private: a date, never ahead."""
    heard = scene.heard
    diver = heard.sender
    if said["name"]:
        member = scene.room.named(said["name"].lstrip("@"))
        if member is None or not scene.speaks_for(member.key):
            return None
        diver = member.key
    record = scene.record(diver)
    today = record.local_day(heard.sent_at)
    whom = scene.addressee(diver)
    example = today.isoformat()
    try:
        on = date.fromisoformat(said["on"])
    except ValueError:
        # `cleared my ears on every metre` is chatter.
        if not heard.private or len(said["on"].split()) > 2:
            return None
        on = None
    facts: list[Fact] = []
    if not heard.private:
        text = help_line("cleared_private", example=example)
    elif on is None:
        text = help_line("cleared_unread", example=example)
    elif on > today:
        text = help_line("cleared_ahead", example=example)
    else:
        facts = [
            Cleared(
                diver=diver,
                happened_at=heard.sent_at,
                said_at=heard.now,
                by=heard.sender,
                origin=scene.origin(diver, answers=False),
                on=on,
            )
        ]
        after = letters_of.bar_text(scene.with_facts(diver, facts), at=scene.at)
        text = "\n".join(filter(None, (help_line("cleared", date=on.isoformat()), after)))
    letters = letters_of.quiet(heard, whom)
    if letters_of.reachable(heard, whom):
        letters.append(letters_of.private_letter(whom, text))
    return HealthTurn(facts=tuple(facts), letters=tuple(letters))
