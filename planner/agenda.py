"""What falls due and when: all that is wanted; storage reconciles by (kind, diver, about)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from itertools import takewhile

from planner.harm import lock_of, locks_of, unanswered
from planner.plan import Plan, plan, standing
from planner.record import (
    Debriefed,
    DiverRecord,
    Done,
    Exercise,
    Fact,
    Harm,
    Ping,
    Session,
    Unwell,
    Well,
    day_begins_at,
    latest_session,
)
from planner.rules import Rules


class DueKind(StrEnum):
    """What falls due."""

    DEBRIEF = "debrief"  # after a session, with the check question
    MORNING = "morning"  # the check, next morning
    EVENING = "evening"  # the check, once more
    PING = "ping"  # the interval is over, for who wants it
    EVE = "eve"  # the evening before a planned exhale day
    FOLLOW_UP = "follow-up"  # the morning after a report that asks for a doctor
    UNANSWERED = (
        "unanswered"  # a question about the diver's state, on the evening that ends its time
    )


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
    session = latest_session(known, gap_h=rules["session.gap_h"])
    dues = [*_unanswered(known, at), *_follow_ups(known, rules, at)]
    if session is None or all(d.exercise is Exercise.DIP for d in session.dives):
        return tuple(dues)
    since = at - session.ended_at
    if since <= timedelta(days=rules["due.for_days_d"]):
        dues += _debriefs(known, session, rules)
        dues += _checks(known, session, rules)
        dues += _pings(record, session, rules, at)
    if session.exhale_dives and since <= timedelta(days=int(rules["rest.days_in"]) + 1):
        dues += _eve(known, session, rules, at)
    return tuple(dues)


def _eve(record: DiverRecord, session: Session, rules: Rules, at: datetime) -> Iterator[Due]:
    """The evening before the first day that rest allows again, where nothing of health is open."""
    state = standing(record, rules=rules, at=at)
    day = state.free_on - timedelta(days=1)
    if day <= session.on or (state.has_harm and (state.lock_at(at) or state.is_unwell(at))):
        return
    evening = _local(record, day, rules["session.eve_h"])
    yield Due(
        kind=DueKind.EVE,
        diver=record.diver,
        about=state.free_on.isoformat(),
        at=evening,
        stale_at=evening + timedelta(hours=rules["due.eve_stale_h"]),
    )


def _debriefs(record: DiverRecord, session: Session, rules: Rules) -> Iterator[Due]:
    """After `done`, or some silence after the later of the last dive and the last report."""
    told_at = max(d.said_at for d in session.dives)
    written = [f for f in _since(record, session.began_at) if isinstance(f, Debriefed)]
    if any(d.said_at >= told_at and d.happened_at >= session.ended_at for d in written):
        return
    at = max(session.ended_at, told_at) + timedelta(minutes=rules["session.debrief_after_min"])
    heard_all_at = max(session.ended_at, told_at)
    done = [f.happened_at for f in _since(record, heard_all_at) if isinstance(f, Done)]
    if done:
        at = min(at, min(done))
    yield Due(
        kind=DueKind.DEBRIEF,
        diver=record.diver,
        about=f"{session.on.isoformat()}/{len(written)}",
        at=at,
        stale_at=at + timedelta(hours=rules["due.debrief_stale_h"]),
    )


def _checks(record: DiverRecord, session: Session, rules: Rules) -> Iterator[Due]:
    """The check once more on the next morning, and again in the evening, until it is answered."""
    if is_checked(record, session):
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
        stale_at=evening + timedelta(hours=rules["due.question_stale_h"]),
    )


def is_checked(record: DiverRecord, session: Session) -> bool:
    """Whether the morning's question needs no answer any more, or was never owed."""
    if not any(d.exercise in (Exercise.FRC, Exercise.RV, Exercise.FULL) for d in session.dives):
        return True
    next_day_at = day_begins_at(session.on + timedelta(days=1), timezone=record.timezone)
    # who is with a doctor, or asked the four questions, is not asked whether all is normal; a yes
    # of the evening, and a milder report, are followed by the morning's question
    return any(
        isinstance(f, Unwell) or (isinstance(f, Harm) and f.doctor) or f.happened_at >= next_day_at
        for f in _since(record, session.ended_at)
        if isinstance(f, (Well, Harm, Unwell)) and not getattr(f, "raised_by_other", False)
    )


def _unanswered(record: DiverRecord, at: datetime) -> Iterator[Due]:
    """Not all normal, and no answer to what was asked then: said on that evening, not only counted."""
    if not any(record.of(Unwell)):
        return
    waits = unanswered(record, at=at)
    if waits is not None:
        chat, message, line = waits.asked.place
        evening = waits.evening_at
        said_at = max(u.said_at for u in record.of(Unwell) if u.origin == waits.asked)
        while evening < said_at:
            evening += timedelta(days=1)  # told late: it was just asked
        yield Due(
            kind=DueKind.UNANSWERED,
            diver=record.diver,
            about=f"{chat}/{message}/{line}",
            at=evening,
            stale_at=evening + timedelta(days=7),
        )


def _follow_ups(record: DiverRecord, rules: Rules, at: datetime) -> Iterator[Due]:
    """Whether a doctor has seen the diver, on the morning after a report that asks for one."""
    # a bare lock, left by `forget health`, is of no day; it came from no message
    told: list[Harm | Unwell] = [h for h in record.of(Harm) if h.origin.message]
    told += [u for u in record.of(Unwell) if not u.raised_by_other]
    lock = lock_of(record, at=at) if told else None
    if lock is None or not lock.doctor:
        return
    asks = [h.happened_at for h in told if isinstance(h, Harm) and h.doctor]
    # what was left unanswered asks for a doctor from then on, which may be the next morning
    evenings = [locks_of(record).evening_of(u) for u in told if isinstance(u, Unwell)]
    on = record.local_day(max(asks or evenings or [h.happened_at for h in told]))
    next_day = on + timedelta(days=1)
    evening = _local(record, next_day, rules["session.check_by_h"])
    if at > evening:
        return
    yield Due(
        kind=DueKind.FOLLOW_UP,
        diver=record.diver,
        about=on.isoformat(),
        at=_local(record, next_day, rules["session.morning_h"]),
        stale_at=evening,
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
            stale_at=now.not_before_at + timedelta(minutes=rules["due.ping_stale_min"]),
        )


def _since(record: DiverRecord, at: datetime) -> list[Fact]:
    """The facts that happened at an instant or after it, in order."""
    found = list(takewhile(lambda f: f.happened_at >= at, reversed(record.facts)))
    return found[::-1]


def _local(record: DiverRecord, day: date, hour: float) -> datetime:
    return datetime.combine(day, time(hour=int(hour)), tzinfo=record.timezone)
