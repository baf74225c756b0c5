"""The composition root: the clock, and the one worker that everything passes through.

A row of the inbox, or one that falls due, is worked off in one transaction: what it means is asked
of pure functions, and what they answer is written with what is now wanted of the future.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from bot.heard import Heard, Kind
from bot.shorthand.reading import Reading
from planner.agenda import Due
from planner.pressure import Site as Water
from planner.record import DiverRecord, Fact, record_of
from storage.outcome import Forget, Letter, Outcome, Room, SetRoom
from storage.store import InboxRow, Store, Turn

log = logging.getLogger(__name__)

RETIRE_EVERY = timedelta(hours=6)
"""How often what has been kept for long enough is dropped (house rule)."""

EMPTY_EVERY = timedelta(minutes=1)
"""How long raw bytes of a message may stand in the write-ahead log once it is worked off, give or
take the waker's half minute (house rule)."""

TRIES = 2
"""How often a row is worked off before it is set aside (house rule)."""


class Clock(Protocol):
    """Where the time comes from."""

    def now(self) -> datetime:
        """This instant, in UTC."""


class SystemClock:
    """The machine's clock: the only place where it is read."""

    def now(self) -> datetime:
        """This instant, in UTC."""
        return datetime.now(UTC)


class Records(Mapping[str, DiverRecord]):
    """The records of everybody in a room, made when they are looked at."""

    def __init__(self, room: Room, of: Callable[[str], DiverRecord]) -> None:
        self._room, self._of = room, of

    def __getitem__(self, member: str) -> DiverRecord:
        if member not in self._room.members:
            raise KeyError(member)
        return self._of(member)

    def __iter__(self) -> Iterator[str]:
        return iter(self._room.members)

    def __len__(self) -> int:
        return len(self._room.members)


Translate = Callable[[str, Turn, datetime], tuple[Heard | None, ...]]
"""What a body of the inbox says, in no messenger's words; it may note rooms, members, messages."""


class Answer(Protocol):
    """`bot.talk.answer`."""

    def __call__(
        self,
        heard: Heard,
        said: tuple[Reading, ...],
        *,
        room: Room,
        records: Mapping[str, DiverRecord],
    ) -> Outcome:
        """What to write and say about what was heard."""


class FallDue(Protocol):
    """`bot.talk.fall_due`."""

    def __call__(
        self, due: Due, *, room: Room, records: Mapping[str, DiverRecord], at: datetime
    ) -> Outcome:
        """What to say now that it is due."""


Rescue = Callable[[Heard, Room, Mapping[str, DiverRecord]], Outcome]
"""What has to be said and kept of words of harm, whatever else failed."""


@dataclass(frozen=True, kw_only=True)
class Functions:
    """The pure functions that a turn asks.

    `parse` takes the text and the names in the room. Where a message could not be worked off,
    `rescue` gives the help and the locks that its words call for all the same, and `sorry` the
    letter to its sender.
    """

    parse: Callable[[str, Collection[str]], tuple[Reading, ...]]
    answer: Answer
    fall_due: FallDue
    agenda: Callable[[DiverRecord, datetime], tuple[Due, ...]]
    sorry: Callable[[Heard], Letter]
    rescue: Rescue | None = None


class Worker:
    """Works off what came in and what falls due, one row a transaction, in the calling thread."""

    def __init__(self, store: Store, translate: Translate, functions: Functions) -> None:
        self._store, self._translate, self._functions = store, translate, functions
        # by diver: the facts it was made of, so that it is only made anew when they have changed
        self._records: dict[str, tuple[tuple[Fact, ...], tuple[str, Water], DiverRecord]] = {}
        self._retired_at: datetime | None = None
        self._emptied_at: datetime | None = None
        self._has_written = True

    def start(self, now: datetime) -> None:
        """Once, before anything is worked off: settle what an earlier run left under way."""
        self._store.recover(at=now)

    def work_off(self, now: datetime, *, most: int | None = None) -> int:
        """Work off all of the inbox, then whatever is due by `now`, nearest first; how many rows.

        The inbox first: what was said before a moment counts for what is said at that moment.
        `most` rows a call leave others a turn on the loop meanwhile. A call that finds nothing to
        do keeps house.
        """
        rows = 0
        while most is None or rows < most:
            if (row := self._store.next_inbox()) is not None:
                self._take(row, now)
            elif (due := self._store.next_due(at=now)) is not None:
                self._fall_due(due, now)
            else:
                break
            rows += 1
        self._has_written |= rows > 0
        if not rows and most != 0:
            self._keep_house(now)
        return rows

    def _keep_house(self, now: datetime) -> None:
        """Drop what has been kept for long enough, and the raw bytes of what was worked off."""
        try:
            if self._retired_at is None or abs(now - self._retired_at) >= RETIRE_EVERY:
                self._retired_at = now
                self._store.retire(at=now)
            elif self._has_written and (
                self._emptied_at is None or abs(now - self._emptied_at) >= EMPTY_EVERY
            ):
                self._emptied_at = now
                self._has_written = not self._store.empty_log()
        except Exception as error:  # there is a next time
            log.error("keeping house failed: %s", type(error).__name__)

    def nearest_at(self) -> datetime | None:
        """When the next thing falls due."""
        return self._store.nearest_due_at()

    def _take(self, row: InboxRow, now: datetime) -> None:
        for number in range(1, TRIES + 1):
            try:
                with self._store.turn(at=now) as turn:
                    for heard in self._translate(row.body, turn, now):
                        if heard is not None:
                            self._hear(turn, heard)
                    turn.finish_inbox(row)
                return
            except sqlite3.OperationalError:
                raise  # a full disk, a lock: not this row's fault, and it waits for better times
            except Exception as error:
                # the kind alone: an error's words may hold what somebody wrote
                name = type(error).__name__
                log.error("inbox row %d failed, try %d: %s", row.id, number, name)
        self._set_aside(row, name, now)

    def _set_aside(self, row: InboxRow, error: str, now: datetime) -> None:
        """Put the row where it blocks nobody, and tell whoever wrote it, where it can be read."""
        try:
            with self._store.turn(at=now) as turn:
                for heard in self._translate(row.body, turn, now):
                    if heard is not None and (room := _room_of(turn, heard)) is not None:
                        self._excuse(turn, heard, room)
                turn.set_aside(row, error=error)
        except sqlite3.OperationalError:
            raise
        except Exception:
            log.error("inbox row %d can't be read", row.id)
            with self._store.turn(at=now) as turn:
                turn.set_aside(row, error=error)

    def _excuse(self, turn: Turn, heard: Heard, room: Room) -> None:
        if heard.kind not in (Kind.MESSAGE, Kind.EDIT, Kind.PRESS):
            return
        if self._functions.rescue is not None:
            records = self._records_of(turn, room)
            turn.write(self._functions.rescue(heard, room, records), room=room)
        turn.write(Outcome(letters=(self._functions.sorry(heard),)), room=room)

    def _hear(self, turn: Turn, heard: Heard) -> None:
        room = _room_of(turn, heard)
        if room is None:
            return
        said: tuple[Reading, ...] = ()
        if heard.text:
            said = self._functions.parse(heard.text, [m.name for m in room.members.values()])
        outcome = self._functions.answer(
            heard, said, room=room, records=self._records_of(turn, room)
        )
        self._write(turn, outcome, room, also=())

    def _fall_due(self, due: Due, now: datetime) -> None:
        for number in range(1, TRIES + 1):
            try:
                with self._store.turn(at=now) as turn:
                    self._say_due(turn, due, now)
                return
            except sqlite3.OperationalError:
                raise
            except Exception as error:
                log.error("%s failed, try %d: %s", due.kind.value, number, type(error).__name__)
        with self._store.turn(at=now) as turn:
            turn.finish_due(due, "failed")

    def _say_due(self, turn: Turn, due: Due, now: datetime) -> None:
        room = turn.room_of(due.diver)
        if room is None or now > due.stale_at:
            turn.finish_due(due, "stale")
            return
        outcome = self._functions.fall_due(
            due, room=room, records=self._records_of(turn, room), at=now
        )
        turn.finish_due(due)
        self._write(turn, outcome, room, also=(due.diver,))

    def _write(self, turn: Turn, outcome: Outcome, room: Room, *, also: Sequence[str]) -> None:
        turn.write(outcome, room=room)
        divers = dict.fromkeys((*also, *(fact.diver for fact in outcome.facts)))
        for change in outcome.changes:
            match change:
                case Forget(diver=diver):
                    divers[diver] = None
                    self._records.pop(diver, None)
                case SetRoom(timezone=str()):
                    divers |= dict.fromkeys(room.members)  # local mornings are others now
                case _:
                    pass
        for diver in divers:
            home = turn.room_of(diver)
            wanted = (
                self._functions.agenda(self._record(turn, diver, home), turn.at)
                if home is not None
                else ()
            )
            turn.reconcile(diver, wanted)

    def _records_of(self, turn: Turn, room: Room) -> Records:
        return Records(room, lambda member: self._record(turn, member, room))

    def _record(self, turn: Turn, diver: str, home: Room) -> DiverRecord:
        facts, where = turn.facts_of(diver), (home.timezone, home.site.water)
        known = self._records.get(diver)
        if known is not None and known[0] is facts and known[1] == where:
            return known[2]
        record = record_of(diver, facts, timezone=ZoneInfo(home.timezone), site=home.site.water)
        self._records[diver] = (facts, where, record)
        return record


def _room_of(turn: Turn, heard: Heard) -> Room | None:
    """The group that something was said in; for a private chat, the home group of its member."""
    return turn.room_of(heard.sender) if heard.private else turn.room(heard.chat)


def worker_of(store: Store, translate: Translate) -> Worker:
    """The worker with the real functions."""
    from bot.shorthand import parse, words
    from bot.talk import answer, fall_due, health
    from bot.texts.render import say
    from planner.agenda import agenda
    from planner.rules import RULES

    en = words()

    def rescue(heard: Heard, room: Room, records: Mapping[str, DiverRecord]) -> Outcome:
        press = heard.button
        if press and not (press.known and press.fresh and heard.sender in press.may_press):
            return Outcome()
        names = [member.name for member in room.members.values()]
        found = health.hear(heard, room=room, records=records, names=names)
        return Outcome(facts=found.facts, letters=found.letters) if found else Outcome()

    return Worker(
        store,
        translate,
        Functions(
            parse=lambda text, names: parse(text, en, names=names),
            answer=answer,
            fall_due=fall_due,
            agenda=lambda record, at: agenda(record, rules=RULES, at=at),
            rescue=rescue,
            sorry=lambda heard: Letter(to=heard.chat, text=say("app.sorry")),
        ),
    )
