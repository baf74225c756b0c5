"""Which reported bases count: the newest told of each exercise, and none that grave harm voids."""

from __future__ import annotations

from datetime import datetime

from planner.harm import locks_of
from planner.record import DiverRecord, Exercise, ReportedBase


def counted_bases(record: DiverRecord) -> tuple[ReportedBase, ...]:
    """The reported bases that count, as if no other had been told.

    As a personal best and a goal: what is told anew takes the place of what was told before.
    """
    found = record._cache.get(counted_bases)
    if not isinstance(found, tuple):
        void = void_bases(record)
        told = sorted(record.of(ReportedBase), key=_told)
        newest = {base.exercise: base for base in told if base not in void}
        found = record._cache[counted_bases] = tuple(newest[e] for e in Exercise if e in newest)
    return found


def void_bases(record: DiverRecord) -> tuple[ReportedBase, ...]:
    """The bases told since rows 4-10 and of a day before the first exhale session after their wait was over.

    No target stood for such a dive, or it is told for the first time when half of held is asked for.
    """
    locks = locks_of(record)
    if not locks.any:
        return ()
    return tuple(base for base in record.of(ReportedBase) if locks.is_void(base))


def _told(base: ReportedBase) -> tuple[datetime, int, int]:
    return (base.said_at, base.origin.message, base.origin.line)
