"""One turn as the talk sees it: what was heard, who is in the room, what is known of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypedDict
from zoneinfo import ZoneInfo

from bot.heard import Heard, Kind
from bot.shorthand.reading import Command
from planner.record import Dive, DiverRecord, Fact, Grant, Kept, Origin, record_of
from planner.rules import RULES, Rules
from storage.outcome import Delivery, Key, Letter, Member, Outcome, Room

VERSIONS = 1000
"""How many versions of a line, made by answers to questions, fit between two edits of it."""


class Carried(TypedDict):
    """What every fact carries, to be unpacked into its constructor."""

    diver: str
    happened_at: datetime
    said_at: datetime
    by: str
    origin: Origin


class _Overlay(Mapping[str, DiverRecord]):
    """Records with facts of this very turn on top."""

    def __init__(self, below: Mapping[str, DiverRecord], changed: Mapping[str, DiverRecord]):
        self._below, self._changed = below, changed

    def __getitem__(self, key: str) -> DiverRecord:
        return self._changed[key] if key in self._changed else self._below[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._below)

    def __len__(self) -> int:
        return len(self._below)


@dataclass(frozen=True, kw_only=True)
class Scene:
    """What a talk function is given. `at` is the moment of the turn; members go by their keys.

    `silent`: words of harm stood in the message, so no target is told in answer to the rest of it.
    """

    heard: Heard
    room: Room
    records: Mapping[str, DiverRecord]
    rules: Rules = RULES
    at: datetime
    silent: bool = False

    # who and where

    @property
    def sender(self) -> str:
        """Who said it."""
        return self.heard.sender

    @property
    def zone(self) -> ZoneInfo:
        """The group's time zone."""
        return ZoneInfo(self.room.timezone)

    @property
    def group(self) -> str:
        """The group's address."""
        return self.room.chat

    @property
    def in_private(self) -> bool:
        """Whether it was said in a private chat."""
        return self.heard.private

    @property
    def is_late(self) -> bool:
        """Whether a message was under way so long that it belongs to an earlier session."""
        gap = self.rules.session_gap
        return self.heard.kind is Kind.MESSAGE and self.at - self.heard.sent_at > gap

    @staticmethod
    def private(member: str) -> str:
        """The address of a member's private chat."""
        return f"p:{member}"

    def member(self, key: str) -> Member | None:
        """The member of that key, or None."""
        return self.room.members.get(key)

    def name_of(self, key: str) -> str:
        """The name of a member; a key that is nobody's is a name as typed (a buddy's, say)."""
        member = self.room.members.get(key)
        return key if member is None else member.name

    def record(self, diver: str) -> DiverRecord:
        """What is known of a member of this room."""
        if diver not in self.room.members:
            return DiverRecord(diver=diver, timezone=self.zone, facts=(), site=self.room.site.water)
        return self.records[diver]

    def keeper_of(self, diver: str) -> str | None:
        """Who keeps the log of a diver without a phone."""
        member = self.room.members.get(diver)
        if member is None or member.has_phone:
            return None
        kept = self.record(diver).latest(Kept)
        return None if kept is None else kept.keeper

    def is_keeper(self, by: str, diver: str) -> bool:
        """Whether somebody keeps this diver's log."""
        return self.keeper_of(diver) == by

    def is_granted(self, by: str, diver: str) -> bool:
        """Whether this diver has allowed somebody to log for them."""
        last = None
        for grant in self.record(diver).of(Grant):
            if grant.to == by:
                last = grant
        return last is not None and last.given

    def may_log(self, by: str, diver: str) -> bool:
        """Oneself, the keeper of a diver without a phone, or somebody with a grant."""
        return by == diver or self.is_keeper(by, diver) or self.is_granted(by, diver)

    def pressers(self, diver: str) -> tuple[str, ...]:
        """Whose press counts on a diver's buttons: their own, their keeper's, a grantee's."""
        others = {g.to for g in self.record(diver).of(Grant) if self.is_granted(g.to, diver)}
        first = self.own(diver)
        return (*first, *sorted(others - set(first)))

    def own(self, diver: str) -> tuple[str, ...]:
        """Whose word is a diver's own: themselves, and who keeps their log."""
        keeper = self.keeper_of(diver)
        return (diver,) if keeper is None else (diver, keeper)

    def confidant(self, diver: str) -> str | None:
        """Whom to tell in private what concerns a diver: themselves, or their keeper; None: nobody.

        Only where they can be reached: a bot can't open a private chat.
        """
        whom = self.keeper_of(diver) or diver
        member = self.room.members.get(whom)
        return whom if member is not None and member.can_dm and member.has_phone else None

    # facts

    def origin(self, line: int = 0) -> Origin:
        """Where a fact of this message's line comes from.

        Between two edits of a message there is room for the versions that answers make of it.
        """
        h = self.heard
        return Origin(chat=h.chat, message=h.message, line=line, edit=h.edit * VERSIONS)

    def carried(self, diver: str, line: int = 0, *, happened_at: datetime | None = None) -> Carried:
        """What every fact of this turn carries: `Fit(**scene.carried(diver), ok=True)`."""
        sent_at = self.heard.sent_at
        return Carried(
            diver=diver,
            happened_at=sent_at if happened_at is None else happened_at,
            # an edit is said when it is made; its message keeps the time of the first version
            said_at=self.at if self.heard.kind is Kind.EDIT else sent_at,
            by=self.sender,
            origin=self.origin(line),
        )

    def after(self, facts: Iterable[Fact]) -> Scene:
        """The same turn with these facts known as well."""
        new: dict[str, list[Fact]] = {}
        for fact in facts:
            new.setdefault(fact.diver, []).append(fact)
        if not new:
            return self
        changed = {
            diver: record_of(
                diver,
                (*self.record(diver).facts, *more),
                timezone=self.record(diver).timezone,
                site=self.record(diver).site,
            )
            for diver, more in new.items()
        }
        return replace(self, records=_Overlay(self.records, changed))

    # letters

    def answer(
        self,
        text: str,
        *,
        keys: tuple[tuple[Key, ...], ...] = (),
        about: str | None = None,
        slot: str | None = None,
    ) -> Letter:
        """A letter to where it was said, in reply to it."""
        reply = self.heard.message if self.heard.button is None else None
        return Letter(
            to=self.heard.chat, text=text, keys=keys, about=about, slot=slot, reply_to=reply
        )

    def to_group(
        self, text: str, *, keys: tuple[tuple[Key, ...], ...] = (), about: str | None = None
    ) -> Letter:
        """A letter to the group."""
        return Letter(to=self.group, text=text, keys=keys, about=about)

    def tell(
        self,
        diver: str,
        text: str,
        *,
        keys: tuple[tuple[Key, ...], ...] = (),
        delivery: Delivery = Delivery.ANSWER,
    ) -> tuple[Letter, ...]:
        """A private letter to a diver or their keeper; nothing where neither can be reached."""
        whom = self.confidant(diver)
        if whom is None:
            return ()
        return (
            Letter(to=self.private(whom), text=text, keys=keys, delivery=delivery, about=diver),
        )

    def key(
        self,
        label: str,
        says: str,
        diver: str,
        *,
        answers: tuple[str, int, int] | None = None,
        sticky: bool = False,
        may_press: tuple[str, ...] | None = None,
    ) -> Key:
        """A button that belongs to a diver; it says its line for them, whoever of them presses."""
        return Key(
            label=label,
            says=says,
            diver=diver,
            may_press=self.pressers(diver) if may_press is None else may_press,
            answers=answers,
            sticky=sticky,
        )


Handler = Callable[[Command, Scene, str], Outcome]
"""handler(command, scene, diver): what a command about a diver writes and says."""


def both(*outcomes: Outcome) -> Outcome:
    """Several outcomes as one, in order."""
    return Outcome(
        facts=tuple(f for o in outcomes for f in o.facts),
        letters=tuple(x for o in outcomes for x in o.letters),
        changes=tuple(c for o in outcomes for c in o.changes),
    )


def said(*letters: Letter) -> Outcome:
    """An outcome that only says something."""
    return Outcome(letters=letters)


def last_dive(record: DiverRecord) -> Dive | None:
    """The last dive of a record, or None."""
    return record.dives[-1] if record.dives else None
