"""What falls due and when: all that is wanted; storage reconciles by (kind, diver, about)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum

from planner.plan import Plan, plan
from planner.record import (
    Debriefed,
    DiverRecord,
    Done,
    Exercise,
    Harm,
    Ping,
    Session,
    Unwell,
    Well,
    sessions,
)
from planner.rules import Rules


class DueKind(StrEnum):
    """What falls due."""

    DEBRIEF = "debrief"  # after a session, with the check question
    MORNING = "morning"  # the check, next morning
    EVENING = "evening"  # the check, once more
    PING = "ping"  # the interval is over, for who wants it
    EVE = "eve"  # the evening before a planned exhale day


@dataclass(frozen=True, kw_only=True, slots=True)
class Due:
    """One due thing. `about` tells two of a kind apart; it is not said after `stale_at`."""

    kind: DueKind
    diver: str
    about: str
    at: datetime
    stale_at: datetime


def agenda(record: DiverRecord, *, rules: Rules, at: datetime) -> tuple[Due, ...]:
    """Everything that is wanted for one diver, as seen at an instant."""
    known = record.until(at)
    runs = sessions(known, gap_h=rules["session.gap_h"])
    dues: list[Due] = []
    if runs and at - runs[-1].ended_at <= timedelta(days=3):
        session = runs[-1]
        if any(d.exercise is not Exercise.DIP for d in session.dives):
            dues += _debriefs(known, session, rules)
            dues += _checks(known, session, rules)
            dues += _pings(record, session, rules, at)
    return tuple(dues)


def _debriefs(record: DiverRecord, session: Session, rules: Rules) -> Iterator[Due]:
    """After `done`, or some silence after the later of the last dive and the last report."""
    told_at = max(d.said_at for d in session.dives)
    written = [d for d in record.of(Debriefed) if d.happened_at >= session.began_at]
    if any(d.said_at >= told_at and d.happened_at >= session.ended_at for d in written):
        return
    at = max(session.ended_at, told_at) + timedelta(minutes=rules["session.debrief_after_min"])
    heard_all_at = max(session.ended_at, told_at)
    done = [d.happened_at for d in record.of(Done) if d.happened_at >= heard_all_at]
    if done:
        at = min(at, min(done))
    yield Due(
        kind=DueKind.DEBRIEF,
        diver=record.diver,
        about=f"{session.on.isoformat()}/{len(written)}",
        at=at,
        stale_at=at + timedelta(hours=20),
    )


def _checks(record: DiverRecord, session: Session, rules: Rules) -> Iterator[Due]:
    """The check once more on the next morning, and again in the evening, until it is answered."""
    owed = any(d.exercise in (Exercise.FRC, Exercise.RV, Exercise.FULL) for d in session.dives)
    answered = any(
        f.happened_at >= session.ended_at
        for f in record.facts
        if isinstance(f, (Well, Harm, Unwell))
    )
    if not owed or answered:
        return
    next_day = session.on + timedelta(days=1)
    morning = _local(record, next_day, rules["session.morning_h"])
    evening = _local(record, next_day, rules["session.check_by_h"])
    about = session.on.isoformat()
    yield Due(kind=DueKind.MORNING, diver=record.diver, about=about, at=morning, stale_at=evening)
    yield Due(
        kind=DueKind.EVENING,
        diver=record.diver,
        about=about,
        at=evening,
        stale_at=evening + timedelta(hours=4),
    )


def _pings(record: DiverRecord, session: Session, rules: Rules, at: datetime) -> Iterator[Due]:
    """The end of an interval, for who asked for it."""
    wanted = record.latest(Ping)
    if wanted is None or not wanted.on:
        return
    now = plan(record, rules=rules, at=at)
    if isinstance(now, Plan) and now.not_before_at is not None:
        yield Due(
            kind=DueKind.PING,
            diver=record.diver,
            about=session.ended_at.isoformat(),
            at=now.not_before_at,
            stale_at=now.not_before_at + timedelta(minutes=3),
        )


def _local(record: DiverRecord, day: date, hour: float) -> datetime:
    return datetime.combine(day, time(hour=int(hour)), tzinfo=record.timezone)
