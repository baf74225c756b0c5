"""A group at a buoy, in memory: what people write goes through the real parser and the real talk."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from bot.heard import Button, Heard, Kind
from bot.shorthand import parse, words
from bot.talk import answer, fall_due
from planner.agenda import Due
from planner.record import (
    PB,
    Body,
    Brief,
    Dive,
    DiverRecord,
    Fact,
    Goal,
    Grant,
    Kept,
    Origin,
    Sex,
    record_of,
)
from storage.outcome import AddMember, CallOver, Delivery, Key, Letter, Member, Outcome, Room

GROUP = "g:1"


@dataclass
class Said:
    """A message that somebody wrote: what an edit refers to."""

    sender: str
    private: bool
    number: int
    sent_at: datetime
    edit: int = 0


@dataclass
class Buoy:
    """Facts kept in memory as the store would keep them, and a clock that a test moves."""

    zone: str = "Europe/Lisbon"
    at: datetime = datetime(2026, 5, 5, 7, 30, tzinfo=UTC)
    members: dict[str, Member] = field(default_factory=dict)
    facts: list[Fact] = field(default_factory=list)
    told: list[Letter] = field(default_factory=list)
    said: list[Said] = field(default_factory=list)
    number: int = 0
    called_at: datetime | None = None

    def join(self, name: str, *, dm: bool = True, pb: float = 0, goal: float = 0) -> Buoy:
        self.members[name] = Member(key=name, name=name, can_dm=dm)
        return self.profile(name, pb=pb, goal=goal)

    def keep(self, name: str, *, keeper: str, pb: float = 0, goal: float = 0) -> Buoy:
        """A diver without a phone."""
        self.members[name] = Member(key=name, name=name, has_phone=False)
        self.facts.append(Kept(**self._carried(name), keeper=keeper))  # type: ignore[arg-type]
        return self.profile(name, pb=pb, goal=goal)

    def profile(self, name: str, *, pb: float, goal: float) -> Buoy:
        if pb:
            self.facts += [
                Body(**self._carried(name), sex=Sex.FEMALE, age_y=34, height_m=1.72),  # type: ignore[arg-type]
                PB(**self._carried(name), depth_m=pb),  # type: ignore[arg-type]
                Goal(**self._carried(name), depth_m=goal),  # type: ignore[arg-type]
            ]
        return self

    def grants(self, name: str, to: str) -> Buoy:
        self.facts.append(Grant(**self._carried(name), to=to, given=True))  # type: ignore[arg-type]
        return self

    def _carried(self, diver: str) -> dict[str, object]:
        self.number += 1
        before = self.at - timedelta(days=20)
        return {
            "diver": diver,
            "happened_at": before,
            "said_at": before,
            "by": diver,
            "origin": Origin(chat="p:setup", message=self.number),
        }

    # what happens

    def later(self, *, minutes: float = 0, hours: float = 0) -> Buoy:
        self.at += timedelta(minutes=minutes, hours=hours)
        return self

    def says(
        self,
        sender: str,
        text: str,
        *,
        private: bool = False,
        reply_to: str | None = None,
        sent_at: datetime | None = None,
    ) -> str:
        """Somebody writes; all that the bot says to it, as one text (`group:` and `mara:` lines)."""
        self.number += 1
        one = Said(sender, private, self.number, sent_at or self.at)
        self.said.append(one)
        return self._hear(one, text, Kind.MESSAGE, reply_to=reply_to)

    def edits(self, sender: str, text: str) -> str:
        """Somebody edits their last message."""
        one = next(s for s in reversed(self.said) if s.sender == sender)
        one.edit += 1
        return self._hear(one, text, Kind.EDIT)

    def presses(self, sender: str, label: str, *, private: bool = False, fresh: bool = True) -> str:
        """Somebody presses a button of the bot's last message that has it."""
        chat = f"p:{sender}" if private else GROUP
        key = self.key(label, chat)
        self.number += 1
        button = Button(
            says=key.says,
            diver=key.diver,
            may_press=key.may_press,
            answers=key.answers,
            fresh=fresh,
        )
        heard = Heard(
            kind=Kind.PRESS,
            chat=chat,
            private=private,
            sender=sender,
            message=self.number,
            sent_at=self.at,
            now=self.at,
            text=key.says,
            button=button,
        )
        return self.hears(heard)

    def key(self, label: str, chat: str = GROUP) -> Key:
        for letter in reversed(self.told):
            for row in letter.keys:
                for key in row:
                    if letter.to == chat and key.label == label:
                        return key
        raise AssertionError(f"no button {label}")

    def falls_due(self, due: Due) -> str:
        return self._write(fall_due(due, room=self.room, records=self.records, at=self.at))

    def _hear(self, one: Said, text: str, kind: Kind, *, reply_to: str | None = None) -> str:
        return self.hears(
            Heard(
                kind=kind,
                chat=f"p:{one.sender}" if one.private else GROUP,
                private=one.private,
                sender=one.sender,
                message=one.number,
                sent_at=one.sent_at,
                now=self.at,
                text=text,
                edit=one.edit,
                reply_to_sender=reply_to,
            )
        )

    def hears(self, heard: Heard) -> str:
        names = [m.name for m in self.members.values()]
        readings = parse(heard.text, words(), names=names) if heard.text else ()
        return self._write(answer(heard, readings, room=self.room, records=self.records))

    def _write(self, outcome: Outcome) -> str:
        for change in outcome.changes:
            if isinstance(change, AddMember):
                self.members[change.member.key] = change.member
            elif isinstance(change, CallOver):
                self.called_at = None
        self.facts += outcome.facts
        self.told += outcome.letters
        if any(x.to == GROUP and x.delivery is Delivery.HELP for x in outcome.letters):
            self.called_at = self.at
        return "\n".join(_shown(letter) for letter in outcome.letters)

    # what is known

    @property
    def room(self) -> Room:
        return Room(
            chat=GROUP,
            title="Tuesday line",
            timezone=self.zone,
            members=self.members,
            called_at=self.called_at,
        )

    @property
    def records(self) -> dict[str, DiverRecord]:
        return {key: self.record(key) for key in self.members}

    def record(self, diver: str) -> DiverRecord:
        return record_of(diver, self.facts, timezone=ZoneInfo(self.zone))

    def dives(self, diver: str) -> list[str]:
        """The dives that stand, in short."""
        return [short(d) for d in self.record(diver).dives]

    def brief(self, diver: str) -> Brief | None:
        return self.record(diver).latest(Brief)

    def reachable(self, name: str, *, dm: bool) -> Buoy:
        self.members[name] = replace(self.members[name], can_dm=dm)
        return self


def short(dive: Dive) -> str:
    """`frc 12 stop sternum`."""
    depth = "?" if dive.depth_m is None else f"{dive.depth_m:g}"
    words_ = [
        dive.exercise.value,
        depth,
        dive.ending.value,
        dive.reason.value if dive.reason else "",
    ]
    if dive.waits:
        words_.append("waits")
    return " ".join(w for w in words_ if w)


def _shown(letter: Letter) -> str:
    to = "group" if letter.to == GROUP else letter.to.removeprefix("p:")
    labels = " ".join(f"[{key.label}]" for row in letter.keys for key in row)
    text = letter.text if letter.reaction is None else f"(reaction {letter.reaction})"
    return "\n".join(f"{to}: {line}" for line in (*text.splitlines(), labels) if line)


def said_to(answered: str, who: str) -> str:
    """Of all that was said, the lines to one address."""
    return "\n".join(
        re.sub(r"^\w+: ", "", line) for line in answered.splitlines() if line.startswith(f"{who}: ")
    )


def mara() -> Buoy:
    """Mara, first FRC session (PB 32, goal 38), with Ana in the group."""
    return Buoy().join("mara", pb=32, goal=38).join("ana")


def ready() -> Buoy:
    """Mara, fit and with a buddy: the first target stands."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    return buoy
