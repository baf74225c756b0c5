"""What stays of a diver's health rows when they go: bare locks and waits, so that no target comes sooner."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

from planner.alike import stands_alike
from planner.harm import Lock, alarms_of, harm_table, lock_of, locks_of, restart_share
from planner.record import DiverRecord, Fact, Harm, Origin, Unwell, Well, record_of
from planner.rules import RULES


def bare(record: DiverRecord, *, at: datetime) -> tuple[Fact, ...]:
    """What stays of a diver's health facts: a lock without its category, never shorter than it was.

    So does the wait of exhale dives after it, as a date, and that they begin lower then. A check
    that was answered no, and not taken back, stays as that and nothing more. Otherwise forgetting
    would open a target.
    """
    left: list[Fact] = []
    locks = locks_of(record)
    left += [u for u in record.of(Unwell) if locks.is_open(u, at)]
    # a call for help stays until its day is over as well, and that it was answered
    for u in alarms_of(record, at=at):
        if u not in left:
            answer = Well(
                diver=record.diver, happened_at=at, said_at=at, by=record.diver, origin=u.origin
            )
            left += [u, answer]
    lock = lock_of(record, at=at)
    waits_from = _exhale_waits_from(record, at=at)
    goes_on = lock is not None and waits_from is not None and waits_from >= record.local_day(at)
    if waits_from is not None and not goes_on:
        left.append(_bare_wait(record, waits_from, at=at))
    return (*left, _bare_lock(record, lock, at=at, exhale=goes_on)) if lock else tuple(left)


def _exhale_waits_from(record: DiverRecord, *, at: datetime) -> date | None:
    """The day from which the wait of exhale dives counts; None where none is left of it.

    One that can't be known yet, since a lock is open, counts from today.
    """
    if restart_share(record, at=at) == 1.0:
        return None
    back_on = locks_of(record).exhale_from(at)
    wait = timedelta(days=harm_table().exhale_days)
    return record.local_day(at) if back_on is None else back_on - wait


def _bare_wait(record: DiverRecord, waits_from: date, *, at: datetime) -> Harm:
    """A wait of exhale dives whose lock is over: a lock of no days that ends where it begins."""
    eve = datetime.combine(waits_from - timedelta(days=1), time(), record.timezone)
    return Harm(
        diver=record.diver,
        happened_at=eve.astimezone(UTC),
        said_at=at,
        by=record.diver,
        origin=_wait_origin(record.diver),
        row=None,
        level="day-over",
        days=0.0,
        doctor=False,
        exhale=True,
    )


def _bare_lock(record: DiverRecord, lock: Lock, *, at: datetime, exhale: bool) -> Harm:
    """A running lock without its category."""
    origin = _lock_origin(record.diver)
    until_on = lock.until_on
    if lock.open:
        # The days have not begun: how many they are shows when the diver is taken to feel well.
        well = Well(
            diver=record.diver,
            happened_at=at + timedelta(microseconds=1),
            said_at=at,
            by=record.diver,
            origin=origin,
        )
        as_if = record_of(record.diver, (*record.facts, well), timezone=record.timezone)
        closed = lock_of(as_if, at=well.happened_at)
        until_on = closed.until_on if closed is not None else None
    days = (until_on - record.local_day(at)).days if until_on is not None else 0
    return Harm(
        diver=record.diver,
        happened_at=at,
        said_at=at,
        by=record.diver,
        origin=origin,
        row=None,
        level="day-over",
        days=float(max(days, 0)),
        doctor=lock.doctor,
        since_well=lock.open,
        exhale=exhale,
    )


def is_bare(kept: Harm) -> bool:
    """Whether a lock or a wait is what was left of a diver's health rows."""
    return kept.origin in (_lock_origin(kept.diver), _wait_origin(kept.diver))


def _lock_origin(diver: str) -> Origin:
    # no message has the number 0
    return Origin(chat=f"p:{diver}", message=0)


def _wait_origin(diver: str) -> Origin:
    return replace(_lock_origin(diver), line=1)


def left_of(
    record: DiverRecord, old: DiverRecord, rest: tuple[Fact, ...], *, at: datetime
) -> tuple[Harm, ...]:
    """The bare wait of exhale dives, while half of held is asked for or the session that began so shows.

    Where dives within the lock would count without it, the bare wait begins as the lock did.
    """
    back_on = locks_of(old).exhale_from(at)
    if back_on is None:
        return ()

    def is_alike(*left: Harm) -> bool:
        other = record_of(record.diver, (*rest, *left), timezone=record.timezone, site=record.site)
        return stands_alike(record, other, rules=RULES, at=at)

    if restart_share(old, at=at) == 1.0 and is_alike():
        return ()
    waits_from = back_on - timedelta(days=harm_table().exhale_days)
    wait = _bare_wait(record, waits_from, at=at)
    if is_alike(wait):
        return (wait,)
    since = min(h.happened_at for h in old.of(Harm))
    days = (waits_from - record.local_day(since)).days
    return (replace(wait, happened_at=since, days=float(max(days, 0))),)
