"""Harm: categories with their level and lock (harm.toml). Locks only lengthen; nothing here clears anyone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from planner.record import DiverRecord


@dataclass(frozen=True, kw_only=True, slots=True)
class Lock:
    """No target: until which local day (None: until the diver feels well, and then days are counted).

    `doctor` says that the diver's own date of a clinician's word is owed as well; `ends_at` is the
    instant where hours count; `open` that the days have not begun to count.
    """

    until_on: date | None
    doctor: bool
    open: bool


def lock_of(record: DiverRecord, *, at: datetime) -> Lock | None:
    """The lock that stands at an instant, or None."""
    raise NotImplementedError


def recent_harm(record: DiverRecord, *, at: datetime) -> date | None:
    """The day until which no exhale dive follows rows 4-10 (28 days after the lock's end), or None."""
    raise NotImplementedError


def restart_share(record: DiverRecord, *, at: datetime) -> float:
    """The share of the held depth to restart at after rows 4-10: 1.0, or 0.5."""
    raise NotImplementedError


def unwell_open(record: DiverRecord, *, at: datetime) -> bool:
    """Whether a check was answered no or not sure, or a question raised, and no answer followed."""
    raise NotImplementedError
