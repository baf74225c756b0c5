"""A group of two with a store, for the tests of the storage."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from planner.record import Dive, Ending, Exercise, Fact, Harm, Origin
from storage.outcome import Change, Letter, Outcome, Room
from storage.store import Store, Turn

START = datetime(2026, 5, 5, 8, 30, tzinfo=UTC)


def at(minutes: float = 0, *, days: float = 0) -> datetime:
    """So long after the start."""
    return START + timedelta(minutes=minutes, days=days)


def group_in(turn: Turn) -> Room:
    """The Tuesday line with mara and teo, added where it is not there yet."""
    room = turn.ensure_room(
        messenger="paper", external_id="100", title="Tuesday line", timezone="Europe/Lisbon"
    )
    for name in ("mara", "teo"):
        turn.ensure_member(
            key=name, name=name, room=room.chat, messenger="paper", external_id=f"u-{name}"
        )
    found = turn.room(room.chat)
    assert found is not None
    return found


def open_store(folder: Path) -> Store:
    """A store with the group in it."""
    store = Store.open(folder / "bot.sqlite")
    with store.turn(at=START) as turn:
        group_in(turn)
    return store


def write(
    store: Store,
    *facts: Fact,
    letters: tuple[Letter, ...] = (),
    changes: tuple[Change, ...] = (),
    when: datetime = START,
) -> None:
    """One turn in the group that writes this."""
    with store.turn(at=when) as turn:
        room = group_in(turn)
        turn.write(Outcome(facts=facts, letters=letters, changes=changes), room=room)


def common(when: datetime = START, *, diver: str = "mara", message: int = 1) -> dict[str, Any]:
    """What all facts carry."""
    return {
        "diver": diver,
        "happened_at": when,
        "said_at": when,
        "by": diver,
        "origin": Origin(chat="g:100", message=message),
    }


def dive(depth_m: float, when: datetime = START, *, diver: str = "mara", message: int = 1) -> Dive:
    """A clean FRC dive."""
    return Dive(
        **common(when, diver=diver, message=message),
        exercise=Exercise.FRC,
        depth_m=depth_m,
        ending=Ending.CLEAN,
    )


def harm(row: str, when: datetime = START, *, days: float, doctor: bool, **more: Any) -> Harm:
    """A report of harm with the lock it brings."""
    return Harm(**common(when), row=row, level="doctor-today", days=days, doctor=doctor, **more)
