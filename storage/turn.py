"""One turn: everything that working off one row reads and writes, in one transaction.

What is known of a diver is cached in memory, since facts are immutable, and thrown away when a turn
is rolled back or another process has written.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlite_utils import Database

from planner.agenda import Due
from planner.record import Fact, Harm, Unwell
from storage import erase, outbox, roster, rows
from storage.outbox import StoredKey
from storage.outcome import (
    AddMember,
    CallOver,
    Delivery,
    Forget,
    Member,
    Met,
    Outcome,
    Room,
    SetRoom,
)
from storage.roster import Address, Noted
from storage.schema import text_of


@dataclass(frozen=True, kw_only=True, slots=True)
class InboxRow:
    """A row of the inbox that waits to be worked off."""

    id: int
    body: str
    received_at: datetime


class Facts:
    """The facts that were read, by diver, as long as nobody else writes."""

    def __init__(self, db: Database) -> None:
        self._db = db
        self._facts: dict[str, tuple[Fact, ...]] = {}
        self._touched: set[str] = set()
        self._version = self._read_version()

    def _read_version(self) -> int:
        # changes when another connection has committed, never by our own commits
        return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    def of(self, diver: str) -> tuple[Fact, ...]:
        """All facts of a diver; the same tuple for as long as there are no others."""
        if diver not in self._facts:
            self._facts[diver] = rows.read_facts(self._db, diver)
        return self._facts[diver]

    def add(self, facts: Sequence[Fact]) -> None:
        """Write facts, and know them."""
        rows.write_facts(self._db, facts)
        for fact in facts:
            self._touched.add(fact.diver)
            if fact.diver in self._facts:
                self._facts[fact.diver] += (fact,)

    def begin(self) -> None:
        """A transaction begins: has somebody else written?"""
        version = self._read_version()
        if version != self._version:
            self._facts.clear()
            self._version = version
        self._touched.clear()

    def forget_all(self) -> None:
        """Read everything anew."""
        self._facts.clear()

    def rolled_back(self) -> None:
        """What this transaction added is not there."""
        for diver in self._touched:
            self._facts.pop(diver, None)


class Reading:
    """What can be read, inside a turn and outside of one."""

    def __init__(self, db: Database, facts: Facts) -> None:
        self._db = db
        self._facts = facts

    def rooms(self) -> tuple[Room, ...]:
        """Every group, and the own rooms of members who have none."""
        return roster.rooms(self._db)

    def room(self, chat: str) -> Room | None:
        """The group of that key, or None."""
        return roster.room(self._db, chat)

    def room_of(self, member: str) -> Room | None:
        """The member's home group (the one they last spoke in), or the room of their own."""
        home = roster.home_of(self._db, member)
        return None if home is None else roster.room(self._db, home)

    def facts_of(self, diver: str) -> tuple[Fact, ...]:
        """All facts about a diver, strikes too, in the order in which they were written."""
        return self._facts.of(diver)

    def button(self, token: str) -> StoredKey | None:
        """The button behind callback data, or None for a forged one."""
        return outbox.button(self._db, token)

    def member_by_external(self, messenger: str, external_id: str) -> Member | None:
        """The member behind a messenger's user id, or None."""
        return roster.by_external(self._db, messenger, external_id)

    def chat_by_external(self, messenger: str, external_id: str) -> str | None:
        """The key of the group behind a messenger's chat id, or None."""
        return roster.chat_of(self._db, messenger, external_id)

    def address(self, chat: str) -> Address | None:
        """Where to send what is meant for `g:…` or `p:…`, or None."""
        return roster.address(self._db, chat)

    def heard_of(self, chat: str, external: str) -> Noted | None:
        """What is kept of a message (its number, sender, version), or None: ours, or too old."""
        return roster.noted(self._db, chat, external)


class Turn(Reading):
    """One transaction: everything that working off one row writes. Of no use after its end."""

    def __init__(self, db: Database, facts: Facts, *, at: datetime) -> None:
        super().__init__(db, facts)
        self.at = at
        self.has_erased = False
        self.has_locked = False
        self._last: dict[str, Address] = {}

    def write(self, outcome: Outcome, *, room: Room) -> None:
        """Write changes, then facts, then letters with their buttons."""
        for change in outcome.changes:
            match change:
                case AddMember(member=m):
                    self._add(m, room.chat)
                case SetRoom():
                    roster.set_room(self._db, room.chat, change)
                case Forget(diver=diver, scope=scope):
                    self._forget(diver, scope, room)
                case Met(member=key):
                    roster.met(self._db, key)
                case CallOver(chat=chat):
                    roster.called(self._db, chat, at=None)
        self._facts.add(outcome.facts)
        for diver in dict.fromkeys(f.diver for f in outcome.facts if isinstance(f, Harm | Unwell)):
            outbox.withdraw(self._db, diver, at=self.at)
        self.has_locked |= any(isinstance(f, erase.KEPT_LOCKS) for f in outcome.facts)
        for letter in outcome.letters:
            outbox.put(self._db, letter, at=self.at, last=self._last.get(letter.to))
            if letter.delivery is Delivery.HELP and letter.to.startswith("g:"):
                roster.called(self._db, letter.to, at=self.at)

    def _add(self, m: Member, chat: str) -> None:
        roster.put_member(self._db, m.key, can_dm=m.can_dm, has_phone=m.has_phone)
        roster.put_on_roster(
            self._db, chat, m.key, m.name, is_admin=m.is_admin, wants_line=m.wants_line
        )
        if roster.home_of(self._db, m.key) is None:
            roster.set_home(self._db, m.key, chat)

    def _forget(self, diver: str, scope: str, room: Room) -> None:
        if scope == "all" and (address := self.address(f"p:{diver}")) is not None:
            self._last[f"p:{diver}"] = address
        erase.forget(self._db, diver, scope, timezone=room.timezone, at=self.at)
        self._facts.forget_all()
        self.has_erased = True

    # the inbox and what falls due

    def finish_inbox(self, row: InboxRow) -> None:
        """Worked off: the body goes, the keys stay for as long as it may be delivered again."""
        self._db.execute(
            "UPDATE inbox SET state = 'done', body = '', worked_at = ? WHERE id = ?",
            [text_of(self.at), row.id],
        )

    def set_aside(self, row: InboxRow, *, error: str) -> None:
        """A row that failed twice: kept for 7 days, blocks nobody. `error` holds no words of it."""
        self._db.execute(
            "UPDATE inbox SET state = 'aside', error = ?, worked_at = ? WHERE id = ?",
            [error, text_of(self.at), row.id],
        )

    def finish_due(self, due: Due, state: str = "done") -> None:
        """Said (`done`), too late to be said (`stale`), or could not be worked off (`failed`)."""
        self._db.execute(
            "UPDATE due SET state = ? WHERE kind = ? AND diver = ? AND about = ?",
            [state, due.kind.value, due.diver, due.about],
        )

    def reconcile(self, diver: str, dues: Sequence[Due]) -> None:
        """Make what waits for a diver what is wanted, by kind and about.

        What was said already stays said, unless it is wanted for another moment than it was then.
        """
        known = {
            (kind, about): (due_at, stale_at, state)
            for kind, about, due_at, stale_at, state in self._db.execute(
                "SELECT kind, about, due_at, stale_at, state FROM due WHERE diver = ?", [diver]
            )
        }
        wanted = {(d.kind.value, d.about): d for d in dues}
        for place, (_, _, state) in known.items():
            if place not in wanted and state == "waiting":
                self._db.execute(
                    "DELETE FROM due WHERE diver = ? AND kind = ? AND about = ?", [diver, *place]
                )
        for place, due in wanted.items():
            times = (text_of(due.at), text_of(due.stale_at))
            old = known.get(place)
            if old is None and due.stale_at >= self.at:
                self._db.execute(
                    "INSERT INTO due (due_at, stale_at, kind, diver, about) VALUES (?, ?, ?, ?, ?)",
                    [*times, due.kind.value, diver, due.about],
                )
            elif old is not None and (
                times[0] != old[0] or (old[2] == "waiting" and times[1] != old[1])
            ):
                self._db.execute(
                    "UPDATE due SET due_at = ?, stale_at = ?, state = 'waiting'"
                    " WHERE kind = ? AND diver = ? AND about = ?",
                    [*times, due.kind.value, diver, due.about],
                )

    # the roster, for those who translate what came in

    def ensure_room(
        self,
        *,
        messenger: str,
        external_id: str,
        title: str = "",
        timezone: str = "UTC",
        zone_stated: bool = False,
        chat: str | None = None,
    ) -> Room:
        """The group behind a messenger's chat id, added when new. `chat` is its key, if chosen."""
        key = roster.chat_of(self._db, messenger, external_id) or chat or f"g:{external_id}"
        roster.put_room(
            self._db,
            key,
            messenger=messenger,
            external_id=external_id,
            title=title,
            timezone=timezone,
            zone_stated=zone_stated,
        )
        room = roster.room(self._db, key)
        assert room is not None
        return room

    def move_room(self, *, messenger: str, old_external_id: str, external_id: str) -> None:
        """A group got a new chat id (a supergroup); the old id goes on meaning the same group."""
        chat = roster.chat_of(self._db, messenger, old_external_id)
        if chat is not None:
            roster.move_room(self._db, chat, messenger=messenger, external_id=external_id)

    def ensure_member(
        self,
        *,
        key: str,
        name: str,
        room: str | None = None,
        messenger: str = "",
        external_id: str = "",
        can_dm: bool | None = None,
        is_admin: bool | None = None,
    ) -> Member:
        """The member of that key, put on the roster of the group `room` they speak in.

        None leaves a flag as it is. Without a group, ever, a member gets a room of their own.
        """
        roster.put_member(
            self._db, key, messenger=messenger, external_id=external_id, can_dm=can_dm
        )
        home = room or roster.home_of(self._db, key)
        if home is None:
            home = f"p:{key}"
            roster.put_room(
                self._db,
                home,
                messenger=messenger,
                external_id="",
                title="",
                timezone="UTC",
                zone_stated=False,
            )
        if room is not None or roster.member(self._db, key, chat=home) is None:
            roster.put_on_roster(self._db, home, key, name, is_admin=is_admin)
        roster.set_home(self._db, key, home)
        member = roster.member(self._db, key, chat=home)
        assert member is not None
        return member

    def set_can_dm(self, member: str, can_dm: bool) -> None:
        """Note whether the member can be written to in private."""
        roster.put_member(self._db, member, can_dm=can_dm)

    def hear(
        self,
        chat: str,
        external: str,
        *,
        sender: str,
        text: str,
        sent_at: datetime,
        thread: str | None = None,
    ) -> Noted:
        """Number a message, or count an edit of it; an edit that changed nothing says so.

        Of the text only a digest is kept, for as long as edits are to be expected.
        """
        return roster.note(
            self._db, chat, external, sender=sender, text=text, thread=thread, at=sent_at
        )

    def next_number(self, chat: str) -> int:
        """A number of its own for something that is no message (a press)."""
        return roster.next_number(self._db, chat)

    def press(self, token: str, *, by: str) -> StoredKey | None:
        """The button as it was before this press; used up with its letter if `by` may press it."""
        stored = outbox.button(self._db, token)
        if stored is not None and not stored.used and by in stored.key.may_press:
            outbox.use_button(self._db, stored, at=self.at)
        return stored

    def use_button(self, token: str) -> None:
        """Use up the button's whole letter, unless the button is sticky."""
        stored = outbox.button(self._db, token)
        if stored is not None:
            outbox.use_button(self._db, stored, at=self.at)
