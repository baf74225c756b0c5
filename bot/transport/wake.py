"""Waking the worker: when the nearest due row comes, and every so often in any case.

APScheduler holds no work of ours. A one-off of its own is dropped after a blocked loop, while its
predecessor runs, or with the process; so what is due are rows, and its only job sets an event.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import UTC, datetime

from apscheduler.schedulers.asyncio import AsyncIOScheduler

EVERY_S = 30.0


class Waker:
    """Sets `event` every `every_s` seconds and at the moment that `nearest` names."""

    def __init__(
        self,
        event: asyncio.Event,
        nearest: Callable[[], datetime | None],
        *,
        every_s: float = EVERY_S,
    ) -> None:
        self._event, self._nearest, self._every_s = event, nearest, every_s
        self._set_for: datetime | None = None
        self._woken_for: datetime | None = None
        self._scheduler = AsyncIOScheduler(
            timezone=UTC,
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 4},
        )

    def start(self) -> None:
        """Begin; needs a running loop."""

        async def wake() -> None:
            self._woken_for, self._set_for = self._set_for, None
            self._event.set()

        self._wake = wake
        self._scheduler.add_job(wake, "interval", seconds=self._every_s, id="every")
        self._scheduler.start()
        self.look()

    def look(self) -> None:
        """Look up the nearest due row again; to be called whenever rows may have changed.

        A row that went away or moved on leaves its wake: one for nothing costs less than setting
        it anew with each report, and the look after it finds the right one. A row that could not
        be worked off when it was woken for waits for the regular wake, so nothing spins.
        """
        at = self._nearest()
        if at is None or at == self._woken_for:
            return
        if self._set_for is not None and self._set_for <= at:
            return
        self._set_for = at
        self._scheduler.add_job(
            self._wake, "date", run_date=at, id="nearest", replace_existing=True
        )

    def stop(self) -> None:
        """No more waking."""
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)
