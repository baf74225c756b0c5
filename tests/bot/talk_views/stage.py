"""A group on paper: members, their facts, and one command after another through its handler."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from bot.heard import Button, Heard, Kind
from bot.shorthand import parse, words
from bot.shorthand.reading import Command
from bot.talk import answer, people, profile, readiness, views, why
from bot.talk.debrief_talk import say_due
from bot.talk.turn import Scene
from planner.agenda import Due
from planner.record import DiverRecord, Fact, record_of
from planner.rules import RULES
from storage.outcome import AddMember, Forget, Key, Member, Outcome, Room, SetRoom

GROUP = "g:1"
HANDLERS = {
    **profile.HANDLERS,
    **people.HANDLERS,
    **views.HANDLERS,
    **readiness.HANDLERS,
    **why.HANDLERS,
}


@dataclass
class Stage:
    """Applies what a turn writes to facts kept in memory, as the store would."""

    zone: str = "Europe/Lisbon"
    at: datetime = datetime(2026, 5, 5, 8, tzinfo=UTC)
    members: dict[str, Member] = field(default_factory=dict)
    facts: list[Fact] = field(default_factory=list)
    room: Room = field(init=False)
    message: int = 0
    forgotten: list[Forget] = field(default_factory=list)

    def __post_init__(self) -> None:
        for name in ("mara", "ilse"):
            self.members.setdefault(name, Member(key=name, name=name, can_dm=True))
        self.room = Room(
            chat=GROUP, title="Tuesday line", timezone=self.zone, members={}, zone_stated=True
        )

    def record(self, diver: str) -> DiverRecord:
        return record_of(diver, self.facts, timezone=ZoneInfo(self.zone))

    def scene(
        self,
        sender: str,
        *,
        private: bool = True,
        button: Button | None = None,
        problem: str = "",
        kind: Kind = Kind.MESSAGE,
    ) -> Scene:
        self.message += 1
        self.at += timedelta(seconds=1)
        heard = Heard(
            kind=kind,
            chat=f"p:{sender}" if private else GROUP,
            private=private,
            sender=sender,
            message=self.message,
            sent_at=self.at,
            now=self.at,
            button=button,
            problem=problem,
        )
        return Scene(
            heard=heard,
            room=replace(self.room, members=dict(self.members)),
            records={key: self.record(key) for key in self.members},
            rules=RULES,
            at=self.at,
        )

    def says(
        self,
        sender: str,
        word: str,
        /,
        *,
        about: str | None = None,
        private: bool = True,
        button: Button | None = None,
        **args: object,
    ) -> Outcome:
        """The command of this word with these arguments, through its handler."""
        scene = self.scene(sender, private=private, button=button)
        command = Command(line=0, text=word, name=word, args=args)
        outcome = HANDLERS[word](command, scene, about or sender)
        self.apply(outcome)
        return outcome

    def types(self, sender: str, text: str, *, private: bool = True) -> Outcome:
        """A line as it is typed: parsed and answered as in earnest."""
        scene = self.scene(sender, private=private)
        names = [m.name for m in self.members.values()]
        outcome = answer(
            replace(scene.heard, text=text),
            parse(text, words(), names=names),
            room=scene.room,
            records=scene.records,
        )
        self.apply(outcome)
        return outcome

    def presses(self, sender: str, key: Key, word: str, /, **args: object) -> Outcome:
        """A press of a button of ours, which says this command."""
        button = Button(
            says=key.says, diver=key.diver, may_press=key.may_press, answers=None, fresh=True
        )
        return self.says(sender, word, about=key.diver, button=button, **args)

    def falls_due(self, due: Due, *, at: datetime | None = None) -> Outcome:
        scene = self.scene(due.diver)
        self.at = at or due.at
        outcome = say_due(due, replace(scene, at=self.at))
        self.apply(outcome)
        return outcome

    def apply(self, outcome: Outcome) -> None:
        for change in outcome.changes:
            match change:
                case AddMember(member=member):
                    self.members[member.key] = member
                case Forget():
                    self.forgotten.append(change)
                case SetRoom(timezone=zone, site=site):
                    if zone is not None:
                        self.zone = zone
                        self.room = replace(self.room, timezone=zone, zone_stated=True)
                    if site is not None:
                        self.room = replace(self.room, site=site)
        self.facts += outcome.facts


def text_to(outcome: Outcome, address: str) -> str:
    """All that was said to one address, as one text."""
    return "\n".join(x.text for x in outcome.letters if x.to == address)
