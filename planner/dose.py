"""How much and when: the checks that bar a target, and the interval. Each is one small function."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from math import ceil

from planner.gas import gauge_pressure_bar
from planner.reasons import Bar, Because, Cap
from planner.record import Dive, Ending, Exercise
from planner.rules import Rules
from planner.standing import Standing


def goals_known(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """Without a PB there is no exercise, without a goal no base."""
    if standing.pb_m is None:
        yield Bar(because=Because.NO_PB, figure="exercise.rv_from_pb_m")
    if standing.goal_m is None:
        yield Bar(because=Because.NO_GOAL, figure="exercise.frc_base_share")


def day_over(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """What this session's dives ended the day for."""
    for because in dict.fromkeys(standing.day_state.over):
        yield Bar(because=because, figure=_OVER_FIGURES[because])


_OVER_FIGURES = {
    Because.TWO_TROUBLES: "trouble.most",
    Because.TOO_DEEP: "trouble.too_deep_m",
    Because.PRESSURE_DEEP: "trouble.rv_over_from_m",
    Because.URGE: "trouble.most",
    Because.COLD: "trouble.most",
}


def alone_in_the_day(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """Exhale days stand alone: no exhale dive on a day of full-lung dives."""
    if standing.full_day == standing.day_state.last_day:
        yield Bar(because=Because.FULL_DIVE, figure="rest.full_from_m")


def depth_told(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """No target until the depth of a stop is known; a pressure stop's is owed beyond the session."""
    dives = standing.day_state.dives
    for dive in standing.unknown_depths:
        if dive.is_pressure_stop or dive in dives:
            yield Bar(because=Because.DEPTH_UNKNOWN, figure="held.pressure_share")
            return


def answers_given(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """No buddy, no target. No fitness check, no target."""
    if standing.buddy is None:
        yield Bar(because=Because.NO_BUDDY, figure="session.answer_holds_h")
    if standing.fit_until_at is None:
        yield Bar(because=Because.NO_FIT, figure="session.answer_holds_h")


def today_dry(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """Not fit, or watching, for the rest of the local day."""
    day = standing.day_of(at)
    if standing.not_fit_day == day:
        yield Bar(because=Because.NOT_FIT, figure="session.answer_holds_h")
    if standing.watching_day == day:
        yield Bar(because=Because.WATCHING, figure="session.answer_holds_h")


def rested(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """Nights between exhale days, exhale days in a run of days, a night from deep full-lung dives."""
    free = standing.day_state.free_day
    if standing.day_state.last_day < free:
        yield Bar(because=Because.REST, figure="rest.nights", until_on=date.fromordinal(free))


def not_away_too_long(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """After the longest lay-off: two shallow days first, and an instructor."""
    track = standing.track
    if track is None or not track.started_over or track.last_day is None:
        return
    since = track.last_day
    if len({d for d in standing.shallow_days if d > since}) < rules["layoff.shallow_days"]:
        yield Bar(because=Because.LAYOFF_LONG, figure="layoff.over_d")


def unharmed(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """Locks, open health questions, and the weeks after grave harm."""
    if not standing.has_harm:
        return
    lock = standing.lock_at(at)
    if lock is not None:
        yield Bar(because=Because.LOCK, figure="held.least_m", until_on=lock.until_on)
    if standing.is_unwell(at):
        yield Bar(because=Because.UNWELL, figure="session.check_by_h")
    until = standing.recent_harm_until(at)
    if until is not None:
        yield Bar(because=Because.RECENT_HARM, figure="held.least_m", until_on=until)


def check_answered(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """The check after the last session is answered by the evening of the next day, or no target is given."""
    owed_at = standing.owes_check_at
    if owed_at is None or (standing.checked_at is not None and standing.checked_at >= owed_at):
        return
    days_since = standing.day_of(at) - standing.owes_check_day
    local = at.astimezone(standing.zone)
    if days_since > 1 or (days_since == 1 and local.hour >= rules["session.check_by_h"]):
        yield Bar(because=Because.CHECK_OPEN, figure="session.check_by_h")


def questions_answered(standing: Standing, rules: Rules, at: datetime) -> Iterator[Bar]:
    """No target while a dive's report is in doubt, for as long as its session lasts."""
    if standing.open_asked:
        gap = timedelta(hours=rules["session.gap_h"])
        if any(at - asked.happened_at <= gap for asked in standing.open_asked):
            yield Bar(because=Because.QUESTION_OPEN, figure="session.gap_h")


def interval_min(dive: Dive, *, rules: Rules) -> int:
    """Minutes from surfacing to the next dive, by the depth reached; rounded up."""
    depth = dive.depth_m or 0.0
    least = [0.0]
    if dive.dive_time_s is not None:
        dive_time_min = dive.dive_time_s / 60
        least.append(rules["interval.time_factor"] * dive_time_min)
        least.append(dive_time_min * gauge_pressure_bar(depth_m=depth))
    if depth >= rules["interval.deep_from_m"]:
        least.append(depth / rules["interval.deep_m_per_min"])
    if dive.exercise is Exercise.FRC:
        least.append(rules["interval.frc_min"])
    elif dive.exercise is Exercise.RV:
        deep = depth >= rules["interval.rv_deep_from_m"]
        least.append(rules["interval.rv_deep_min" if deep else "interval.rv_min"])
    if dive.ending in (Ending.HARD, Ending.STOP):
        return ceil(max(least) + rules["interval.after_trouble_min"] - 1e-9)
    return ceil(max(least) - 1e-9)


def interval(standing: Standing, rules: Rules, at: datetime) -> Iterator[Cap]:
    """The earliest moment of the next dive. Cutting it short brings a caution only."""
    day = standing.day_state
    if not day.dives:
        return
    ends = [
        d.happened_at + timedelta(minutes=interval_min(d, rules=rules))
        for d in day.dives
        if d.exercise is not Exercise.DIP
    ]
    if ends:
        until = max(ends)
        if until.second or until.microsecond:
            until = until.replace(second=0, microsecond=0) + timedelta(minutes=1)
        yield Cap(because=Because.INTERVAL, figure="interval.frc_min", not_before_at=until)
