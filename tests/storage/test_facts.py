"""Facts: what is written is what is read, whatever the order, and only turns write."""

from __future__ import annotations

import random
from datetime import UTC, date, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from planner.agenda import Due, DueKind
from planner.record import (
    PB,
    Accepted,
    Asked,
    Body,
    Brief,
    Buddy,
    Cleared,
    Consent,
    Debriefed,
    Dive,
    Done,
    Ending,
    Exercise,
    Fact,
    Fit,
    Goal,
    Grant,
    Kept,
    Limit,
    LimitKind,
    Named,
    Ordered,
    Origin,
    Ping,
    Reason,
    ReportedBase,
    Seen,
    Sex,
    Strike,
    TaskSet,
    UnderAge,
    Unwell,
    Volume,
    VolumeKind,
    Watching,
    Well,
    record_of,
)
from storage import rows
from storage.store import Store
from tests.storage.scene import START, at, common, dive, group_in, harm, open_store, write

ONE_OF_EACH: tuple[Fact, ...] = (
    dive(12.5),
    Dive(
        **common(at(7), message=2),
        exercise=Exercise.RV,
        depth_m=None,
        ending=Ending.STOP,
        reason=Reason.STERNUM,
        target_m=9.0,
        fill_m=0.0,
        dive_time_s=65,
        note="“quoted”, 12 °C, \n two lines, 😀",
        waits=True,
    ),
    Brief(**common(), exercise=Exercise.FRC, depth_m=13.0, not_before_at=at(9)),
    Fit(**common(), ok=False),
    Buddy(**common(), buddy="ana"),
    Watching(**common()),
    Done(**common()),
    Body(**common(), sex=Sex.FEMALE, age_y=34, height_m=1.72),
    UnderAge(**common()),
    Named(**common(), group="g:1", given=True),
    Accepted(**common(), coach="ilse", given=True),
    Limit(**common(), what=LimitKind.DEPTH, value=14.0, until_at=at(23)),
    Ordered(**common(), group="g:1"),
    Seen(**common(), dived_at=at(9)),
    TaskSet(**common(), task="lock"),
    Volume(**common(), volume=VolumeKind.MOUTH, value=90.0),
    PB(**common(), depth_m=38.0),
    Goal(**common(), depth_m=45.1, by_on=date(2026, 9, 12)),
    ReportedBase(**common(), exercise=Exercise.FRC, depth_m=18.0, on=date(2026, 3, 1)),
    harm("6", days=60.0, doctor=True),
    Well(**common()),
    Unwell(**common(), raised_by_other=True, grave=True),
    Cleared(**common(), on=date(2026, 8, 1)),
    Consent(**common(), given=True),
    Grant(**common(), to="ana", given=False),
    Kept(**common(), keeper="teo"),
    Ping(**common(), on=True),
    Debriefed(**common(), session_at=at(3)),
    Asked(**common(), question="typo", readings=("frc 12 ok", "rv 12 ok"), may_answer=("mara",)),
    Strike(**common(), struck=Origin(chat="g:100", message=2, line=1, edit=3)),
)


def test_every_kind_of_fact_comes_back_as_it_was(tmp_path: Path) -> None:
    """A fact of each kind, read by another process, equals the one that was written."""
    assert {type(fact).__name__ for fact in ONE_OF_EACH} == set(rows.KINDS)
    store = open_store(tmp_path)
    write(store, *ONE_OF_EACH)
    store.close()
    store = Store.open(tmp_path / "bot.sqlite")
    read = store.facts_of("mara")
    store.close()
    assert read == ONE_OF_EACH
    assert [type(fact) for fact in read] == [type(fact) for fact in ONE_OF_EACH]


def test_an_instant_of_any_zone_comes_back_as_the_same_instant(tmp_path: Path) -> None:
    """What was said in another zone is read as UTC, and is the same moment to the microsecond."""
    east = START.astimezone(timezone(timedelta(hours=5, minutes=45))) + timedelta(microseconds=1)
    store = open_store(tmp_path)
    write(store, dive(9.0, east))
    store.close()
    store = Store.open(tmp_path / "bot.sqlite")
    (read,) = store.facts_of("mara")
    store.close()
    assert read.happened_at == east
    assert read.happened_at.tzinfo is UTC


def test_a_rolled_back_turn_leaves_no_fact_behind_in_memory(tmp_path: Path) -> None:
    """A turn sees what it wrote; after its rollback neither the file nor the memory does."""
    store = open_store(tmp_path)
    write(store, dive(7.0))

    def fails() -> None:
        with store.turn(at=START) as turn:
            from storage.outcome import Outcome

            turn.write(Outcome(facts=(dive(8.0),)), room=group_in(turn))
            assert len(turn.facts_of("mara")) == 2
            raise ValueError

    assert len(store.facts_of("mara")) == 1
    with pytest.raises(ValueError):  # noqa: PT011
        fails()
    assert store.facts_of("mara") == (dive(7.0),)
    store.close()


def test_what_another_process_wrote_is_seen_by_the_next_turn(tmp_path: Path) -> None:
    """The facts in memory are dropped when somebody else has written to the file."""
    store = open_store(tmp_path)
    assert store.facts_of("mara") == ()
    other = Store.open(tmp_path / "bot.sqlite")
    write(other, dive(7.0))
    other.close()
    with store.turn(at=START) as turn:
        assert turn.facts_of("mara") == (dive(7.0),)
    store.close()


def test_any_order_of_arrival_gives_the_same_record(tmp_path: Path) -> None:
    """The same facts, written in ten orders and a turn each, make equal records of what stands."""
    facts: list[Fact] = [dive(6.0 + n, at(10 * n), message=n) for n in range(6)]
    facts.append(
        Strike(**common(at(70), message=9), struck=Origin(chat="g:100", message=3, edit=0))
    )
    zone = ZoneInfo("Europe/Lisbon")
    found = []
    for seed in range(10):
        random.Random(seed).shuffle(facts)
        folder = tmp_path / str(seed)
        store = open_store(folder)
        for fact in facts:
            write(store, fact)
        found.append(record_of("mara", store.facts_of("mara"), timezone=zone))
        store.close()
    assert all(record == found[0] for record in found)
    assert [d.depth_m for d in found[0].dives] == [6.0, 7.0, 8.0, 10.0, 11.0]


def test_a_strike_is_a_row_of_its_own_and_deletes_nothing(tmp_path: Path) -> None:
    """What was struck is still stored, so that the record as it was known before can be asked for."""
    store = open_store(tmp_path)
    struck = dive(9.0)
    write(store, struck, harm("6", days=60.0, doctor=True))
    write(store, Strike(**common(at(5), message=2), struck=struck.origin))
    zone = ZoneInfo("Europe/Lisbon")
    facts = store.facts_of("mara")
    store.close()
    assert len(facts) == 3
    now = record_of("mara", facts, timezone=zone)
    assert [type(f).__name__ for f in now.facts] == ["Harm"]
    before = record_of("mara", facts, timezone=zone, known_at=at(1))
    assert struck in before.facts


def test_facts_are_read_once_and_then_from_memory(tmp_path: Path) -> None:
    """The facts of 500 dives are read from the file once, and the second time from memory."""
    store = open_store(tmp_path)
    write(store, *(dive(12.0, at(n), message=n) for n in range(500)))
    store.close()
    store = Store.open(tmp_path / "bot.sqlite")
    first = store.facts_of("mara")
    assert store.facts_of("mara") is first
    store.close()
    assert len(first) == 500


def debrief(about: str, minutes: float) -> Due:
    return Due(
        kind=DueKind.DEBRIEF,
        diver="mara",
        about=about,
        at=at(minutes),
        stale_at=at(minutes + 600),
    )


def test_what_is_due_follows_what_is_wanted(tmp_path: Path) -> None:
    """Due rows appear, move and vanish with the agenda; one that was said is not said again."""
    store = open_store(tmp_path)

    def wants(*dues: Due) -> None:
        with store.turn(at=START) as turn:
            turn.reconcile("mara", dues)

    wants(debrief("one", 30), debrief("two", 60))
    assert store.nearest_due_at() == at(30)
    wants(debrief("one", 45))
    assert store.nearest_due_at() == at(45)
    assert store.next_due(at=at(44)) is None
    assert store.next_due(at=at(45)) == debrief("one", 45)
    with store.turn(at=at(45)) as turn:
        turn.finish_due(debrief("one", 45))
    wants(debrief("one", 45))
    assert store.next_due(at=at(1000)) is None
    wants(debrief("one", 50))  # the session went on: a debrief that replaces the first
    assert store.next_due(at=at(1000)) == debrief("one", 50)
    wants()
    assert store.nearest_due_at() is None
    store.close()
