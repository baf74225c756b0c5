"""APScheduler really running, with short real times."""

from __future__ import annotations

import asyncio
import time
from datetime import UTC, datetime, timedelta

from bot.transport.wake import Waker


def now() -> datetime:
    return datetime.now(UTC)


async def test_wakes_at_the_nearest_due_row() -> None:
    """The event is set when the nearest row falls due, not before."""
    event = asyncio.Event()
    at = now() + timedelta(seconds=0.25)
    waker = Waker(event, lambda: at, every_s=60)
    waker.start()
    began = time.monotonic()
    await asyncio.wait_for(event.wait(), 20)
    assert time.monotonic() - began >= 0.2
    waker.stop()


async def test_wakes_every_so_often_without_any_row() -> None:
    """With nothing due the event is still set again and again, which bounds a suspended machine."""
    event = asyncio.Event()
    waker = Waker(event, lambda: None, every_s=0.1)
    waker.start()
    for _ in range(3):
        await asyncio.wait_for(event.wait(), 20)
        event.clear()
    waker.stop()


async def test_a_blocked_loop_drops_nothing() -> None:
    """A loop that was blocked for longer than the scheduler's usual grace still wakes for the row."""
    event = asyncio.Event()
    waker = Waker(event, lambda: at, every_s=60)
    at = now() + timedelta(seconds=0.1)
    waker.start()
    await asyncio.sleep(0)
    time.sleep(1.5)
    await asyncio.wait_for(event.wait(), 20)
    waker.stop()


async def test_a_nearer_row_replaces_and_a_past_row_wakes_at_once() -> None:
    """Looking again moves the wake to a nearer row, and a row already due wakes straight away."""
    event = asyncio.Event()
    rows: list[datetime | None] = [now() + timedelta(hours=1)]
    waker = Waker(event, lambda: rows[0], every_s=60)
    waker.start()
    await asyncio.sleep(0.1)
    assert not event.is_set()
    rows[0] = now() - timedelta(minutes=5)
    waker.look()
    await asyncio.wait_for(event.wait(), 20)
    event.clear()
    rows[0] = None
    waker.look()
    await asyncio.sleep(0.1)
    assert not event.is_set()
    waker.stop()


async def test_a_row_that_moved_on_is_woken_for_all_the_same() -> None:
    """A wake that was set for an earlier moment costs nothing: the look after it finds the right one."""
    event = asyncio.Event()
    rows = [now() + timedelta(seconds=0.2)]
    waker = Waker(event, lambda: rows[0], every_s=60)
    waker.start()
    rows[0] += timedelta(seconds=0.4)
    waker.look()
    await asyncio.wait_for(event.wait(), 20)
    event.clear()
    waker.look()
    await asyncio.wait_for(event.wait(), 20)
    assert now() >= rows[0]
    waker.stop()


async def test_a_row_that_stays_due_does_not_spin() -> None:
    """A row that could not be worked off wakes once, and then only with the regular wake."""
    event = asyncio.Event()
    at = now() - timedelta(seconds=1)
    waker = Waker(event, lambda: at, every_s=60)
    waker.start()
    await asyncio.wait_for(event.wait(), 20)
    event.clear()
    waker.look()
    await asyncio.sleep(0.2)
    assert not event.is_set()
    waker.stop()
