"""What a session came to: dives against their targets, what held, limits, pattern, what is next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise

from planner.dose import interval_min
from planner.learning import TASKS
from planner.plan import standing
from planner.ready import Readiness, readiness_of
from planner.reasons import Because
from planner.record import (
    Brief,
    Debriefed,
    Dive,
    DiverRecord,
    Exercise,
    Reason,
    Session,
    latest_session,
)
from planner.rules import Rules
from planner.standing import Standing


@dataclass(frozen=True, kw_only=True, slots=True)
class DiveLine:
    """One dive of the session with the target that stood for it (None where none did)."""

    dive: Dive
    briefed_m: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Debrief:
    """A session, summed up. `history` is (day, deepest clean exhale depth) over the window.

    `passed` are limits that the session went beyond (each Because once). `pattern` is a technique
    fault that was met twice, with the `task` set against it. `opens_m` and `far_m` are where the
    next session opens and the deepest it may go; None while something bars it.
    """

    diver: str
    on: date
    exercise: Exercise | None
    lines: tuple[DiveLine, ...]
    held_before_m: float | None
    held_after_m: float | None
    passed: tuple[Because, ...]
    pattern: Reason | None
    task: str | None
    free_on: date | None
    opens_m: float | None
    far_m: float | None
    no_flying_until_at: datetime
    readiness: Readiness | None
    replaces: bool
    history: tuple[tuple[date, float], ...]


def debrief(record: DiverRecord, *, rules: Rules, at: datetime) -> Debrief | None:
    """The last session that had begun by an instant, summed up; None where there was none."""
    known = record.until(at)
    session = latest_session(known, gap_h=rules["session.gap_h"])
    if session is None:
        return None
    end = standing(record, rules=rules, at=session.ended_at)
    exhale = session.exhale_dives
    exercise = exhale[-1].exercise if exhale else None
    ahead = _next_session(end, session)
    locked = end.has_harm and (ahead.lock_at(at) is not None or ahead.is_unwell(at))
    track = None if end.exercise is None else ahead.track
    pattern = _pattern(known, exhale, rules)
    before = end.day_state.start_m
    return Debrief(
        diver=record.diver,
        on=session.on,
        exercise=exercise,
        lines=tuple(
            DiveLine(dive=d, briefed_m=end.briefed.get(d.origin.place)) for d in session.dives
        ),
        held_before_m=before,
        held_after_m=end.held_m,
        passed=tuple(dict.fromkeys(_passed(end, session, rules))),
        pattern=pattern,
        task=None if pattern is None else TASKS[pattern],
        free_on=None if locked else max(end.free_on, _after_full_lungs(end)),
        opens_m=None if locked or track is None else track.opening_m(ahead.day_state.start_m),
        far_m=None if locked else _farthest_m(ahead),
        no_flying_until_at=session.ended_at + timedelta(hours=rules["session.no_flying_h"]),
        readiness=readiness_of(end, rules=rules),
        replaces=any(
            d.session_at >= session.began_at and d.session_at <= at for d in known.of(Debriefed)
        ),
        history=_history(end, rules),
    )


def _next_session(end: Standing, session: Session) -> Standing:
    """The same facts on the morning of the next day that rest allows."""
    ahead = end.copy()
    day = max(end.free_on, session.on + timedelta(days=1))
    ahead.arrive(datetime.combine(day, time(hour=12), tzinfo=end.zone))
    return ahead


def _after_full_lungs(end: Standing) -> date:
    """Exhale days stand alone: a day of full-lung dives is none."""
    day = end.day_state.last_day
    return date.fromordinal(day + 1 if end.full_day == day else day)


def _farthest_m(ahead: Standing) -> float | None:
    track = ahead.track
    if track is None or ahead.base_m is None:
        return None
    start = ahead.day_state.start_m
    if start is None:
        far = track.first_m
    elif ahead.urge_before or ahead.day_state.after_layoff or ahead.learning.open:
        far = start
    else:
        far = track.size.deeper(start)
    return min(far, ahead.base_m)


def _pattern(record: DiverRecord, exhale: tuple[Dive, ...], rules: Rules) -> Reason | None:
    """A technique fault met twice in the session, or in three of the last ten exhale dives."""
    today = Counter(d.reason for d in exhale if d.reason is not None and d.reason.is_technique)
    for reason, count in today.most_common(1):
        if count >= rules["learn.session_alike"]:
            return reason
    recent = [d for d in record.dives if d.exercise.is_exhale][-int(rules["learn.alike_in"]) :]
    lately = Counter(d.reason for d in recent if d.reason is not None and d.reason.is_technique)
    for reason, count in lately.most_common():
        if count >= rules["learn.alike"] and reason in today:
            return reason
    return None


def _passed(end: Standing, session: Session, rules: Rules) -> Iterator[Because]:
    """The limits that the session went beyond."""
    if Because.TOO_DEEP in end.day_state.over or any(
        _is_beyond_line(dive, end.record, rules) for dive in session.dives
    ):
        yield Because.TOO_DEEP
    if end.dives_done > end.dives_allowed():
        yield Because.CAP
    dives = session.dives
    for before, after in pairwise(dives):
        rest = timedelta(minutes=interval_min(before, rules=rules))
        if after.exercise.is_exhale and after.happened_at - before.happened_at < rest:
            yield Because.INTERVAL
    if end.day_state.last_day < end.day_state.free_day and session.exhale_dives:
        yield Because.REST
    kinds = {d.exercise for d in dives}
    if session.exhale_dives and kinds & {Exercise.FULL, Exercise.SHALLOW}:
        yield Because.FULL_DIVE


def _is_beyond_line(dive: Dive, record: DiverRecord, rules: Rules) -> bool:
    """Whether a dive on full lungs went deeper than the line that had been told for it."""
    if dive.exercise is not Exercise.FULL or dive.depth_m is None:
        return False
    gap = rules.session_gap
    told = [
        b.depth_m
        for b in record.of(Brief)
        if b.exercise is Exercise.FULL and b.happened_at <= dive.happened_at <= b.happened_at + gap
    ]
    return bool(told) and dive.depth_m > told[-1] + rules["trouble.too_deep_m"]


def _history(end: Standing, rules: Rules) -> tuple[tuple[date, float], ...]:
    """The deepest clean exhale dive of each day in the window, of the exercise the diver is on."""
    oldest = end.day_state.last_day - rules["held.window_d"]
    deepest: dict[int, float] = {}
    for day, depth_m, exercise, _, _ in end.base_dives:
        if day >= oldest and exercise is end.exercise:
            deepest[day] = max(deepest.get(day, 0.0), depth_m)
    return tuple((date.fromordinal(day), depth_m) for day, depth_m in sorted(deepest.items()))
