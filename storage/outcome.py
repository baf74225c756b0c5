"""What one turn reads and writes, in no messenger's words: Room, Letter, Change, Outcome."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from functools import lru_cache

from planner.pressure import Site as Water
from planner.record import Fact


@dataclass(frozen=True, kw_only=True, slots=True)
class Member:
    """Somebody on a group's roster. `key` is stable and ours; `name` is shown, unique in the group.

    A name is stored as the member writes it; whoever looks one up folds case. `is_new` until they
    have been told for whom this is.
    """

    key: str
    name: str
    can_dm: bool = False
    has_phone: bool = True
    is_admin: bool = False
    wants_line: bool = False
    is_new: bool = False


@lru_cache(maxsize=64)
def _water(salt: bool, gauge: bool, altitude_m: float) -> Water:
    return Water(salt=salt, gauge=gauge, altitude_m=altitude_m)


@dataclass(frozen=True, kw_only=True, slots=True)
class Site:
    """The water and how depth is read there; a gauge at sea level in salt water until said."""

    salt: bool = True
    gauge: bool = True
    altitude_m: float = 0.0
    emergency_number: str = ""
    oxygen: str = ""
    meeting_point: str = ""

    @property
    def water(self) -> Water:
        """The water alone, as the planner's formulas take it."""
        return _water(self.salt, self.gauge, self.altitude_m)


@dataclass(frozen=True, kw_only=True)
class Room:
    """A group as a turn sees it: its key, zone, site, and everybody on its roster by member key.

    `called_at`: when it was last sent a text of help, whomever that was about.
    """

    chat: str
    title: str
    timezone: str
    members: Mapping[str, Member]
    site: Site = field(default_factory=Site)
    zone_stated: bool = False
    called_at: datetime | None = None

    def named(self, name: str) -> Member | None:
        """The member of that name, whatever its case, or None."""
        folded = name.casefold().lstrip("@")
        return next((m for m in self.members.values() if m.name.casefold() == folded), None)


class Delivery(StrEnum):
    """How far a letter goes to arrive; also its priority in the outbox, in this order."""

    HELP = "help"
    ANSWER = "answer"
    DEBRIEF = "debrief"
    REMINDER = "reminder"


@dataclass(frozen=True, kw_only=True, slots=True)
class Key:
    """A button of a letter: its label, and the line that a press stands for (`for noor frc 12 ok`).

    `diver` is whose dive it logs, `may_press` the member keys whose press counts. `answers` is the
    place of the line whose open question it answers, if any. It works once, with its whole letter.
    `sticky` keys stay after a press of theirs (they only open further ones). What `passing` ones say
    tells of earlier answers, and is kept no longer than it may be asked.
    """

    label: str
    says: str
    diver: str
    may_press: tuple[str, ...]
    answers: tuple[str, int, int] | None = None
    sticky: bool = False
    passing: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Picture:
    """A picture to draw when it is sent: which, and the data as JSON."""

    kind: str
    data: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Letter:
    """One message to one chat: `g:…` a group, `p:<member key>` a private chat.

    `text` is plain text, `**bold**` never. `keys` are rows of buttons. A letter with a `slot`
    replaces the last letter of that slot in that chat by an edit. `reaction` is a reaction to
    `reply_to` instead of a message. `stale_at`: not sent after it. `about` names the diver for
    `forget`. `names` are others whose targets it tells, in its `tail` (the end of its text) or as a
    whole: it is withdrawn with them.
    """

    to: str
    text: str
    delivery: Delivery = Delivery.ANSWER
    keys: tuple[tuple[Key, ...], ...] = ()
    picture: Picture | None = None
    slot: str | None = None
    reply_to: int | None = None
    reaction: str | None = None
    document: tuple[str, str] | None = None
    stale_at: datetime | None = None
    about: str | None = None
    tail: str = ""
    names: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class AddMember:
    """Put somebody on the roster, or change what is known of them."""

    member: Member


@dataclass(frozen=True, kw_only=True, slots=True)
class SetRoom:
    """Change the group's zone or site; None leaves it."""

    timezone: str | None = None
    site: Site | None = None
    title: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Forget:
    """Erase: `health` leaves only the bare date of a running lock, `all` leaves nothing."""

    diver: str
    scope: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Met:
    """A member has been told for whom this is, and what it is not."""

    member: str


@dataclass(frozen=True, kw_only=True, slots=True)
class CallOver:
    """A call for help that a group was told of was none: its diving may go on."""

    chat: str


Change = AddMember | SetRoom | Forget | Met | CallOver


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """All that one turn writes, in one commit."""

    facts: tuple[Fact, ...] = ()
    letters: tuple[Letter, ...] = ()
    changes: tuple[Change, ...] = ()
