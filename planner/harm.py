"""Harm: categories with their level and lock (harm.toml). Locks only lengthen.

A lock is computed from what each Harm fact carries (level, days, doctor, since_well), so that a
later table never shortens a stored one. The table adds only what lengthens (a second one of the
same row), what a clinician may shorten (row 6), and what follows a lock's end. Nothing here clears
anyone.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from planner.harm_table import LEVELS, HarmRow, HarmTable, HarmTableError, harm_table
from planner.locks import Lock, Locks, Unanswered
from planner.record import DiverRecord, Harm, Unwell

__all__ = [
    "LEVELS",
    "HarmRow",
    "HarmTable",
    "HarmTableError",
    "Lock",
    "Locks",
    "Unanswered",
    "alarm_until",
    "alarmed",
    "alarms_of",
    "called_for_help",
    "harm_table",
    "lock_of",
    "locks_of",
    "new_depth_barred",
    "recent_harm",
    "restart_share",
    "restart_taken",
    "unanswered",
    "unwell_open",
]


def locks_of(record: DiverRecord) -> Locks:
    """The record's locks, made once for each record."""
    found = record._cache.get(Locks)
    if not isinstance(found, Locks):
        found = Locks(record)
        record._cache[Locks] = found
    return found


def lock_of(record: DiverRecord, *, at: datetime) -> Lock | None:
    """The lock that stands at an instant, or None."""
    return locks_of(record).lock_at(at)


def recent_harm(record: DiverRecord, *, at: datetime) -> date | None:
    """The day until which no exhale dive follows rows 4-10 (28 days after the lock), or None."""
    day = locks_of(record).exhale_from(at)
    return day if day is not None and record.local_day(at) < day else None


def restart_share(record: DiverRecord, *, at: datetime) -> float:
    """The share of the held depth to restart at after rows 4-10: 1.0, or 0.5.

    0.5 from the harm on until an exhale session held after the wait is over.
    """
    return locks_of(record).restart_share_at(at)


def restart_taken(record: DiverRecord, *, at: datetime) -> float:
    """The share of held that a session opens with: `restart_share`, once the wait is over.

    Before that no target is given, and what somebody dives all the same takes nothing twice.
    """
    day = locks_of(record).exhale_from(at)
    is_over = day is not None and record.local_day(at) >= day
    return restart_share(record, at=at) if is_over else 1.0


def unanswered(record: DiverRecord, *, at: datetime) -> Unanswered | None:
    """The question about the diver's state that is open at an instant, or None."""
    return locks_of(record).unanswered(at)


def unwell_open(record: DiverRecord, *, at: datetime) -> bool:
    """Whether a check was answered no or not sure, or a question raised, and no answer followed."""
    return locks_of(record).unwell_at(at)


def alarmed(record: DiverRecord, *, at: datetime) -> bool:
    """Whether somebody called for help about the diver on this local day: no target for its rest."""
    return locks_of(record).alarm_until(at) is not None


def alarm_until(record: DiverRecord, *, at: datetime) -> datetime | None:
    """When the day of a call for help is over; None where none lasts."""
    return locks_of(record).alarm_until(at)


def alarms_of(record: DiverRecord, *, at: datetime) -> tuple[Unwell, ...]:
    """The calls for help about a diver whose question is open, or whose day lasts."""
    locks = locks_of(record)
    return tuple(
        u
        for u in record.of(Unwell)
        if u.grave and (locks.is_open(u, at) or at < locks.alarm_ends_at(u))
    )


def called_for_help(record: DiverRecord, *, at: datetime) -> Harm | None:
    """The diver's last report of `call-now` within the hours in which a milder one changes nothing."""
    within = timedelta(hours=harm_table().call_now_h)
    mine = [
        h
        for h in record.of(Harm)
        if h.level == LEVELS[0] and timedelta() <= at - h.happened_at <= within
    ]
    return mine[-1] if mine else None


def new_depth_barred(record: DiverRecord, *, at: datetime) -> bool:
    """Whether row 21 bars a new depth: from its report to the end of the next exhale session."""
    return locks_of(record).new_depth_barred_at(at)
