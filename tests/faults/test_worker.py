"""The worker: one row a transaction, in order, and nobody is blocked by a row that fails."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from bot.app import Records, SystemClock, Worker
from bot.heard import Heard
from planner.agenda import Due
from planner.record import Dive, DiverRecord, Harm, Strike
from storage.outcome import Delivery, Letter, Outcome, Room
from storage.store import Incoming, Store
from tests.faults.dying import Connector
from tests.faults.small_bot import (
    FUNCTIONS,
    at,
    open_store,
    says,
    small_bot,
    translate,
)


def texts(store: Store, now: datetime) -> list[str]:
    return [row.letter.text for row in store.ready_letters(at=now)]


def test_a_message_becomes_facts_and_letters_in_one_turn(tmp_path: Path) -> None:
    """A dive that is texted is stored once and answered once, also when it is delivered three times."""
    store = open_store(tmp_path)
    worker = small_bot(store)
    for _ in range(3):
        store.receive([says(1, "mara", "dive 7")])
        worker.work_off(at(1))
    (dive,) = store.facts_of("mara")
    assert isinstance(dive, Dive)
    assert dive.depth_m == 7.0
    assert texts(store, at(1)) == ["mara 7 m, dive 1", "order after mara"]
    store.close()


def test_an_edit_strikes_and_adds_and_an_unchanged_one_does_neither(tmp_path: Path) -> None:
    """An edit with other words is a strike and a dive; the same words again are nothing."""
    store = open_store(tmp_path)
    worker = small_bot(store)
    store.receive([says(1, "mara", "dive 7")])
    worker.work_off(at(1))
    store.receive([says(1, "mara", "dive 8", edit=True)])
    worker.work_off(at(2))
    again = replace(says(1, "mara", "dive 8", edit=True), update_key="a first reaction")
    assert store.receive([again]) == 1
    assert worker.work_off(at(3)) == 1
    assert [type(f) for f in store.facts_of("mara")] == [Dive, Strike, Dive]
    store.close()


def test_the_inbox_is_worked_off_before_what_is_due(tmp_path: Path) -> None:
    """A dive that was texted while the bot was down counts in the debrief that is said after it."""
    store = open_store(tmp_path)
    worker = small_bot(store)
    store.receive([says(1, "mara", "dive 7"), says(2, "mara", "done", minutes=2)])
    worker.work_off(at(2))
    store.receive([says(3, "mara", "dive 8", minutes=6)])
    worker.work_off(at(60))
    debrief = [r for r in store.ready_letters(at=at(60)) if r.letter.delivery is Delivery.DEBRIEF]
    assert [r.letter.text for r in debrief] == ["2 dives (late)"]
    store.close()


def test_what_is_due_is_said_once_and_what_is_stale_never(tmp_path: Path) -> None:
    """On time the debrief and the ping are said once; after an hour's downtime only the debrief, late."""
    for minutes, wanted in ((12, ["1 dives (late)", "a ping"]), (60, ["1 dives (late)"])):
        store = open_store(tmp_path / str(minutes))
        store.receive([says(1, "mara", "dive 7"), says(2, "mara", "done", minutes=2)])
        small_bot(store).work_off(at(2))
        store.close()
        store = open_store(tmp_path / str(minutes))
        worker = small_bot(store)
        worker.start(at(minutes))
        assert worker.nearest_at() == at(7)
        for _ in range(3):
            worker.work_off(at(minutes))
        private = [r for r in store.ready_letters(at=at(minutes)) if r.letter.to == "p:mara"]
        assert [r.letter.text for r in private] == wanted
        store.close()


def test_a_due_row_is_said_at_its_moment_and_not_before(tmp_path: Path) -> None:
    """A second before it is due nothing is worked off; at the moment it is, without being late."""
    store = open_store(tmp_path)
    store.receive([says(1, "mara", "done", minutes=2)])
    worker = small_bot(store)
    worker.work_off(at(2))
    assert worker.work_off(at(6.99)) == 0
    assert worker.work_off(at(7)) == 1
    assert "0 dives" in texts(store, at(7))
    store.close()


def test_a_row_that_fails_twice_is_set_aside_and_blocks_nobody(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """A message that raises is told to its sender, the next one is worked off, no word is logged."""
    store = open_store(tmp_path)
    store.receive([says(1, "teo", "boom my chest hurts"), says(2, "mara", "dive 7")])
    with caplog.at_level(logging.DEBUG):
        assert small_bot(store).work_off(at(1)) == 2
    assert texts(store, at(1))[:2] == ["I could not work that off.", "mara 7 m, dive 1"]
    assert store.facts_of("teo") == ()
    assert len(store.facts_of("mara")) == 1
    assert store.next_inbox() is None
    assert "ValueError" in caplog.text
    assert "chest" not in caplog.text
    assert "words of a diver" not in caplog.text
    store.close()


def test_a_failure_that_passes_is_tried_again_and_leaves_no_trace(tmp_path: Path) -> None:
    """The first try fails after it has written, the second succeeds: one dive, one answer, no sorry."""
    store = open_store(tmp_path)
    failures = iter([True, False])

    def fails_once(record: DiverRecord, moment: datetime) -> tuple[()]:
        if next(failures):
            raise RuntimeError("once")
        return ()

    store.receive([says(1, "mara", "dive 7")])
    small_bot(store, replace(FUNCTIONS, agenda=fails_once)).work_off(at(1))
    assert len(store.facts_of("mara")) == 1
    assert texts(store, at(1)) == ["mara 7 m, dive 1", "order after mara"]
    store.close()


def test_an_unreadable_row_is_set_aside_without_a_word(tmp_path: Path) -> None:
    """What can't even be translated is put aside; nobody is written to, the next row is worked off."""
    store = open_store(tmp_path)
    store.receive([Incoming(body="{not json", received_at=at(0), update_key="x")])
    store.receive([says(1, "mara", "dive 7")])
    assert small_bot(store).work_off(at(1)) == 2
    assert texts(store, at(1)) == ["mara 7 m, dive 1", "order after mara"]
    store.close()


def test_help_goes_out_although_everything_else_fails(tmp_path: Path) -> None:
    """When a message with words of harm can't be worked off, help is sent and the lock kept."""
    store = open_store(tmp_path)

    def rescue(heard: Heard, room: Room, records: Mapping[str, DiverRecord]) -> Outcome:
        return FUNCTIONS.answer(
            replace(heard, text=heard.text.removeprefix("boom ")), (), room=room, records=records
        )

    functions = replace(FUNCTIONS, rescue=rescue)
    store.receive([says(1, "mara", "boom blood")])
    small_bot(store, functions).work_off(at(1))
    assert texts(store, at(1)) == ["a doctor today", "I could not work that off."]
    assert [type(f) for f in store.facts_of("mara")] == [Harm]
    store.close()


def test_a_sorry_that_fails_too_still_sets_the_row_aside(tmp_path: Path) -> None:
    """Even when the excuse raises, the row is put aside and the next one is worked off."""
    store = open_store(tmp_path)

    def fails(heard: Heard) -> Letter:
        raise KeyError("sorry")

    store.receive([says(1, "mara", "boom"), says(2, "mara", "dive 7")])
    assert small_bot(store, replace(FUNCTIONS, sorry=fails)).work_off(at(1)) == 2
    assert len(store.facts_of("mara")) == 1
    store.close()


def test_a_due_row_that_fails_waits_for_the_next_start(tmp_path: Path) -> None:
    """A debrief that raises does not block the ping after it, and is said once the bug is gone."""
    store = open_store(tmp_path)

    def fails(due: Due, **_: Any) -> Outcome:
        raise ZeroDivisionError

    broken = replace(FUNCTIONS, fall_due=fails)
    store.receive([says(1, "mara", "done", minutes=2)])
    assert small_bot(store, broken).work_off(at(9)) == 3
    assert texts(store, at(9)) == ["ok"]
    mended = small_bot(store)
    assert mended.work_off(at(9)) == 0
    mended.start(at(10))
    mended.work_off(at(10))
    assert texts(store, at(10)) == ["ok", "0 dives (late)", "a ping"]
    store.close()


class FullDisk(sqlite3.Connection):
    """Refuses to write facts for as long as it is full."""

    is_full = False

    def execute(self, sql: str, parameters: Any = (), /) -> sqlite3.Cursor:
        if self.is_full and sql.startswith("INSERT INTO fact"):
            raise sqlite3.OperationalError("database or disk is full")
        return super().execute(sql, parameters)


def test_a_long_inbox_can_be_worked_off_in_portions(tmp_path: Path) -> None:
    """With at most two rows a call, five messages take three calls, in their order."""
    store = open_store(tmp_path)
    store.receive([says(n, "mara", f"dive {5 + n}", minutes=n) for n in range(5)])
    worker = small_bot(store)
    assert [worker.work_off(at(9), most=2) for _ in range(4)] == [2, 2, 1, 0]
    depths = [f.depth_m for f in store.facts_of("mara") if isinstance(f, Dive)]
    assert depths == [5, 6, 7, 8, 9]
    store.close()


def test_a_full_disk_sets_nothing_aside(tmp_path: Path) -> None:
    """What is not the row's fault raises, the row stays, and it is worked off when there is room."""
    store = Store.open(
        tmp_path / "bot.sqlite", connect=lambda p: sqlite3.connect(p, factory=FullDisk)
    )
    store.receive([says(1, "mara", "dive 7")])
    worker = small_bot(store)
    FullDisk.is_full = True
    try:
        with pytest.raises(sqlite3.OperationalError, match="full"):
            worker.work_off(at(1))
    finally:
        FullDisk.is_full = False
    assert store.facts_of("mara") == ()
    assert worker.work_off(at(2)) == 1
    assert len(store.facts_of("mara")) == 1
    store.close()


def test_forgetting_takes_what_was_due_with_it(tmp_path: Path) -> None:
    """After `forget all` nothing of the diver falls due any more, and the answer is still sent."""
    store = open_store(tmp_path)
    worker = small_bot(store)
    store.receive(
        [says(1, "mara", "dive 7"), says(2, "mara", "done"), says(3, "mara", "forget all")]
    )
    worker.work_off(at(1))
    assert worker.nearest_at() is None
    assert store.facts_of("mara") == ()
    assert texts(store, at(1))[-1] == "forgotten"
    store.close()


def test_forgetting_health_leaves_a_bare_lock_through_the_whole_bot(tmp_path: Path) -> None:
    """`blood`, then `forget health`: one Harm fact without a row is all that is left."""
    store = open_store(tmp_path)
    store.receive([says(1, "mara", "blood"), says(2, "mara", "forget health", minutes=5)])
    small_bot(store).work_off(at(5))
    (left,) = store.facts_of("mara")
    assert isinstance(left, Harm)
    assert (left.row, left.doctor) == (None, True)
    store.close()


@contextmanager
def counted(connector: Connector) -> Iterator[list[int]]:
    before = connector.made.counted
    found: list[int] = []
    yield found
    found.append(connector.made.counted - before)


def test_records_are_made_once_and_only_of_who_is_looked_at(tmp_path: Path) -> None:
    """A record is the same object until a fact is added; somebody outside the room is a KeyError."""
    seen: list[DiverRecord] = []
    made: list[Records] = []

    def look(heard: Heard, said: object, *, room: object, records: Records) -> object:
        made.append(records)
        if heard.text == "look":
            seen.append(records["mara"])
        return FUNCTIONS.answer(heard, (), room=room, records=records)  # type: ignore[arg-type]

    connector = Connector()
    store = Store.open(tmp_path / "bot.sqlite", connect=connector)
    worker = small_bot(store, replace(FUNCTIONS, answer=look))  # type: ignore[arg-type]
    for number, text in enumerate(["dive 7", "look", "look", "dive 8", "look"]):
        store.receive([says(number, "mara", text)])
        worker.work_off(at(number))
    store.receive([says(9, "teo", "hello")])
    worker.work_off(at(9))
    assert seen[0] is seen[1]
    assert len(seen[2].dives) == 2
    assert sorted(made[-1]) == ["mara", "teo"]
    with counted(connector) as queries, pytest.raises(KeyError):
        made[-1]["nobody"]
    assert queries == [0]
    store.close()


def test_the_clock_says_the_time_in_utc() -> None:
    """The one clock that is read gives an aware instant in UTC that does not run backwards."""
    clock = SystemClock()
    one, two = clock.now(), clock.now()
    assert one.utcoffset() is not None
    assert one.isoformat().endswith("+00:00")
    assert one <= two


def test_a_worker_needs_nothing_but_its_arguments(tmp_path: Path) -> None:
    """An empty database is worked off in no time: no row, nothing due."""
    store = open_store(tmp_path)
    worker = Worker(store, translate, FUNCTIONS)
    worker.start(at(0))
    assert worker.work_off(at(0)) == 0
    assert worker.nearest_at() is None
    store.close()
