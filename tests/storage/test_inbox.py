"""The inbox: what came in is kept once, and no longer than it is needed."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from storage.store import Incoming, Store
from tests.storage.scene import START, at, open_store


def one(update: str | None, place: str | None, body: str = "{}") -> Incoming:
    return Incoming(body=body, received_at=START, update_key=update, place_key=place)


def test_a_redelivery_adds_nothing(tmp_path: Path) -> None:
    """The same update, the same message under another update, the same press: each is kept once."""
    store = open_store(tmp_path)
    batch = [one("1", "g/7"), one("2", "g/8"), one("press:a", None)]
    assert store.receive(batch) == 3
    assert store.receive(batch) == 0
    assert store.receive([one("3", "g/7"), one("press:a", None), one("4", None)]) == 1
    store.close()


def test_an_update_number_far_below_the_last_is_as_new_as_any(tmp_path: Path) -> None:
    """After a quiet week numbers begin anew: only equal ones are redeliveries, never smaller ones."""
    store = open_store(tmp_path)
    assert store.receive([one("900000", "g/1")]) == 1
    assert store.receive([one("12", "g/2")]) == 1
    store.close()


def test_rows_are_worked_off_in_the_order_of_their_coming(tmp_path: Path) -> None:
    """The oldest row first; what was received stays there for the next process until it is finished."""
    store = open_store(tmp_path)
    store.receive([one("5", None, "first"), one("3", None, "second")])
    store.close()
    store = Store.open(tmp_path / "bot.sqlite")
    bodies = []
    while (row := store.next_inbox()) is not None:
        bodies.append(row.body)
        with store.turn(at=at(1)) as turn:
            turn.finish_inbox(row)
    store.close()
    assert bodies == ["first", "second"]


def test_a_body_is_gone_from_the_file_once_it_is_worked_off(tmp_path: Path) -> None:
    """After the turn the words are in no row, and after the next cleaning in no file either."""
    store = open_store(tmp_path)
    secret = "coughing-red-words-" * 20
    store.receive([one("1", None, secret)])
    row = store.next_inbox()
    assert row is not None
    with store.turn(at=at(1)) as turn:
        turn.finish_inbox(row)
    store.retire(at=at(2))
    store.close()
    files = list(tmp_path.glob("bot.sqlite*"))
    assert files
    assert all(b"coughing-red-words" not in file.read_bytes() for file in files)


def test_update_numbers_are_kept_for_two_days_and_rows_set_aside_for_seven(
    tmp_path: Path,
) -> None:
    """A redelivery is known for 48 hours; an unreadable row is dropped after seven days."""
    store = open_store(tmp_path)
    store.receive([one("1", None, "good"), one("2", None, "unreadable")])
    good, bad = store.next_inbox(), None
    assert good is not None
    with store.turn(at=at(0)) as turn:
        turn.finish_inbox(good)
    bad = store.next_inbox()
    assert bad is not None
    with store.turn(at=at(0)) as turn:
        turn.set_aside(bad, error="ValueError")
    assert store.next_inbox() is None

    def kept() -> list[tuple[str, str]]:
        connection = sqlite3.connect(store.path)
        try:
            return connection.execute("SELECT update_key, body FROM inbox ORDER BY id").fetchall()
        finally:
            connection.close()

    store.retire(at=at(days=1.9))
    assert kept() == [("1", ""), ("2", "unreadable")]
    store.retire(at=at(days=2.1))
    assert kept() == [("2", "unreadable")]
    store.retire(at=at(days=7.1))
    assert kept() == []
    store.close()
