"""Who is at the buoy today, and who may watch, by what the group itself was told."""

from __future__ import annotations

from datetime import datetime

from planner.reasons import LIKE_A_LOCK, Plan, Refusal
from planner.record import (
    Buddy,
    Dive,
    DiverRecord,
    Done,
    Ending,
    Exercise,
    Fit,
    Reason,
    Watching,
    day_begins_at,
)
from planner.rules import Rules
from planner.standing import Standing


def is_here(record: DiverRecord, rules: Rules, at: datetime) -> bool | None:
    """Whether this day's last word of going in, of watching, or of being done says so; None without any."""
    today = day_begins_at(record.local_day(at), timezone=record.timezone)
    since = min(today, at - rules.session_gap)
    for fact in reversed(record.until(at).facts):
        if fact.happened_at < since:
            break
        if isinstance(fact, Done):
            return False
        if isinstance(fact, Dive) and fact.exercise is Exercise.DRY:
            continue
        if isinstance(fact, Fit | Buddy | Watching | Dive):
            return True
    return None


def is_out(said: Plan | Refusal, state: Standing, at: datetime) -> bool:
    """Whether a target is barred for what nobody in the group may tell apart; who came to watch, watches."""
    kinds = {bar.because for bar in said.bars} if isinstance(said, Refusal) else set()
    return bool(kinds & LIKE_A_LOCK) and state.day_of(at) != state.watching_day


def was_stopped(state: Standing, at: datetime) -> bool:
    """Whether a dive of today, or of the open session, was stopped for pressure, urge or cold."""
    today = state.day_of(at)
    return any(
        dive.ending is Ending.STOP
        and (dive.is_pressure_stop or dive.reason in (Reason.URGE, Reason.COLD))
        and (state.day_of(dive.happened_at) == today or dive in state.session)
        for dive in state.record.dives
        if dive.happened_at <= at and dive.exercise is not Exercise.DRY
    )
