"""A call for help about a diver outlives `forget health` and a restore, as a lock does."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from planner.harm import alarmed, unanswered
from planner.record import DiverRecord, Unwell, Well, record_of
from storage.backup import backup, restore
from storage.outcome import Forget
from storage.store import Store
from tests.storage.scene import at, common, dive, open_store, write

ZONE = ZoneInfo("Europe/Lisbon")


def record(store: Store) -> DiverRecord:
    return record_of("mara", store.facts_of("mara"), timezone=ZONE)


def call(when: datetime, message: int = 5) -> Unwell:
    return Unwell(**common(when, message=message) | {"by": "ana"}, raised_by_other=True, grave=True)


def asks(store: Store, when: datetime) -> bool:
    waits = unanswered(record(store), at=when)
    return waits is not None and waits.grave


def test_forgetting_health_leaves_an_open_call_for_help(tmp_path: Path) -> None:
    """Erasing is no way to a target: the question stays, and the day of it."""
    store = open_store(tmp_path)
    write(store, dive(9.0), call(at(60 * 1)))
    write(store, changes=(Forget(diver="mara", scope="health"),), when=at(60 * 2))
    assert asks(store, at(60 * 3))
    assert alarmed(record(store), at=at(60 * 3))
    store.close()


def test_an_answered_call_stays_until_its_day_is_over(tmp_path: Path) -> None:
    """With its answer, so that it is not asked again; once the day is over nothing of it is left."""
    for hours, is_left in ((2, True), (40, False)):
        store = open_store(tmp_path / str(hours))
        asked = call(at(60 * 1))
        answer = Well(**common(at(65)) | {"origin": asked.origin})
        write(store, asked, answer)
        write(store, changes=(Forget(diver="mara", scope="health"),), when=at(60 * hours))
        assert not asks(store, at(60 * hours + 1))
        assert alarmed(record(store), at=at(60 * hours + 1)) is is_left
        assert bool(store.facts_of("mara")) is is_left
        store.close()


@pytest.mark.parametrize("scope", [None, "health", "all"])
def test_a_restore_keeps_a_call_for_help(tmp_path: Path, scope: str | None) -> None:
    """What was called after the backup stands after the restore, by nobody; `forget all` alone ends it."""
    store = open_store(tmp_path)
    write(store, dive(9.0))
    backup(store.path, tmp_path / "copy.sqlite")
    write(store, call(at(60 * 1)), when=at(60 * 1))
    if scope is not None:
        write(store, changes=(Forget(diver="mara", scope=scope),), when=at(60 * 2))
    store.close()
    restore(tmp_path / "copy.sqlite", tmp_path / "bot.sqlite", at=at(60 * 3))
    store = Store.open(tmp_path / "bot.sqlite")
    assert asks(store, at(60 * 3)) is (scope != "all")
    assert not any(f.by == "ana" for f in store.facts_of("mara"))
    store.close()


def test_who_called_is_not_in_the_journal(tmp_path: Path) -> None:
    """The small file beside the database names nobody who asked after somebody."""
    store = open_store(tmp_path)
    write(store, dive(9.0), call(at(60 * 1)))
    store.close()
    (journal,) = tmp_path.glob("*.journal.json")
    assert "ana" not in journal.read_text().replace("forgotten", "")
