"""A message of health as its talk sees it: who said it, of whom, and who answers for them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from bot.heard import Heard
from bot.talk.health_letters import Addressee
from planner.harm import locks_of
from planner.record import DiverRecord, Fact, Kept, Origin, record_of
from storage.outcome import Letter, Room

Said = tuple[list[Fact], list[Letter]]
"""What is written and what is said."""


@dataclass(frozen=True, kw_only=True)
class HealthScene:
    """What was heard, in which room, and what is known of everybody in it."""

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
            found = record_of(
                diver, (), timezone=ZoneInfo(self.room.timezone), site=self.room.site.water
            )
        return found

    def with_facts(self, diver: str, facts: Iterable[Fact]) -> DiverRecord:
        """A diver's record as it will be once these are written."""
        old = self.record(diver)
        return self.record_of(old, (*old.facts, *facts))

    @staticmethod
    def record_of(old: DiverRecord, facts: Iterable[Fact]) -> DiverRecord:
        """The record of the same diver with other facts."""
        return record_of(old.diver, facts, timezone=old.timezone, site=old.site)

    def keeper(self, diver: str) -> str | None:
        """Who speaks for a diver without a phone."""
        member = self.room.members.get(diver)
        if member is None or member.has_phone:
            return None
        kept = self.record(diver).latest(Kept)
        return kept.keeper if kept is not None else None

    def spoken_for(self) -> tuple[str, ...]:
        """The sender, and the divers without a phone for whom the sender answers."""
        sender = self.heard.sender
        kept = (d for d in self.room.members if d != sender and self.keeper(d) == sender)
        return (sender, *kept)

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
