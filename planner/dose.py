"""How much and when: the checks that bar a target, and the interval. Each is one small function."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from math import ceil

from planner.pressure import absolute_bar
from planner.reasons import Bar, Because, Cap
from planner.record import Dive, Ending, Exercise
from planner.rules import Rules
from planner.standing import Standing


def goals_known(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """Without a PB there is no exercise, without a goal no base; a reached goal asks for the next."""
    if standing.base_m is not None:
        if standing.is_goal_reached:
            return (Bar(because=Because.GOAL_REACHED, figure="goal.further_m"),)
        return ()
    bars = []
    if standing.pb_m is None:
        bars.append(Bar(because=Because.NO_PB, figure="exercise.rv_from_pb_m"))
    if standing.goal_m is None:
        bars.append(Bar(because=Because.NO_GOAL, figure="exercise.frc_base_share"))
    return bars


def of_age(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """Under age nobody is served."""
    if standing.is_under_age:
        return (Bar(because=Because.UNDER_AGE, figure="people.least_age_y"),)
    return ()


def day_over(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """What this session's dives ended the day for."""
    over = standing.day_state.over
    return [Bar(because=b, figure=_OVER_FIGURES[b]) for b in dict.fromkeys(over)] if over else ()


_OVER_FIGURES = {
    Because.TWO_TROUBLES: "trouble.most",
    Because.TOO_DEEP: "trouble.too_deep_m",
    Because.PRESSURE_DEEP: "trouble.rv_over_from_m",
    Because.URGE: "trouble.most",
    Because.COLD: "trouble.most",
}


def alone_in_the_day(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """Exhale days stand alone: no exhale dive on a day of full-lung dives."""
    if standing.full_day == standing.day_state.last_day:
        return (Bar(because=Because.FULL_DIVE, figure="rest.full_from_m"),)
    return ()


def depth_told(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """No target until the depth of a stop is known; a pressure stop's is owed beyond the session."""
    dives = standing.day_state.dives
    for dive in standing.unknown_depths:
        if dive.is_pressure_stop or dive in dives:
            return (Bar(because=Because.DEPTH_UNKNOWN, figure="held.pressure_share"),)
    return ()


def answers_given(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """No buddy, no target. No fitness check, no target."""
    if standing.buddy is not None and standing.fit_until_at is not None:
        return ()
    bars = []
    if standing.buddy is None:
        bars.append(Bar(because=Because.NO_BUDDY, figure="session.answer_holds_h"))
    if standing.fit_until_at is None:
        bars.append(Bar(because=Because.NO_FIT, figure="session.answer_holds_h"))
    return bars


def cap_figure(standing: Standing, depth_m: float) -> str:
    """The figure that the cap on today's dives comes from, for a target of some depth."""
    kind = "rv" if standing.exercise is Exercise.RV else "frc"
    deepest_m, r = max(standing.day_state.deepest_m, depth_m), standing.rules
    if standing.dives_allowed(depth_m) == standing.most_dives:
        return "people.coach_days"
    for size in (f"cap.{kind}_deep", f"cap.{kind}_mid"):
        if deepest_m >= r[f"{size}_from_m"] and r[size] < r["cap.most"]:
            return size
    return "cap.most"


def today_dry(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """Not fit, or watching, for the rest of the local day."""
    if standing.not_fit_day is None and standing.watching_day is None:
        return ()
    day = standing.day_of(at)
    bars = []
    if standing.not_fit_day == day:
        bars.append(Bar(because=Because.NOT_FIT, figure="session.answer_holds_h"))
    if standing.watching_day == day:
        bars.append(Bar(because=Because.WATCHING, figure="session.answer_holds_h"))
    return bars


def coach_rest(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """The diver's coach asked for a rest today."""
    if standing.limits.rests(at):
        return (Bar(because=Because.COACH_REST, figure="people.coach_days"),)
    return ()


def coach_gap(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """The interval that the diver's coach asked for today."""
    minutes = standing.limits.gap_min(at)
    dives = [d for d in standing.day_state.dives if d.exercise is not Exercise.DIP]
    if not minutes or not dives:
        return ()
    until = _to_the_minute(max(map(_surfaced_at, dives)) + timedelta(minutes=minutes))
    return (Cap(because=Because.COACH_GAP, figure="people.coach_days", not_before_at=until),)


def rested(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """Nights between exhale days, exhale days in a run of days, a night from deep full-lung dives."""
    free = standing.day_state.free_day
    if standing.day_state.last_day < free:
        # a dive that was made all the same has moved the day on which rest is over
        until = date.fromordinal(max(free, standing.rest_free_day()))
        return (Bar(because=Because.REST, figure="rest.nights", until_on=until),)
    return ()


def not_away_too_long(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """After the longest lay-off: two shallow days first, and an instructor."""
    track = standing.track
    if track is None or track.over_since is None:
        return ()
    since = track.over_since
    if len({d for d in standing.shallow_days if d > since}) < rules["layoff.shallow_days"]:
        return (Bar(because=Because.LAYOFF_LONG, figure="layoff.over_d"),)
    return ()


def unharmed(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """Locks, open health questions, and the weeks after grave harm."""
    if not standing.has_harm:
        return ()
    bars = []
    lock = standing.lock_at(at)
    if lock is not None:
        bars.append(Bar(because=Because.LOCK, figure="held.least_m", until_on=lock.until_on))
    if standing.is_unwell(at):
        bars.append(Bar(because=Because.UNWELL, figure="session.check_by_h"))
    until = standing.recent_harm_until(at)
    if until is not None:
        bars.append(Bar(because=Because.RECENT_HARM, figure="held.least_m", until_on=until))
    return bars


def check_answered(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """The question of the morning after is answered by that day's evening, or no target is given.

    An answer on the evening of the session does not do: some signs come overnight.
    """
    if standing.owes_check_at is None or standing.checked_day > standing.owes_check_day:
        return ()
    days_since = standing.day_of(at) - standing.owes_check_day
    local = at.astimezone(standing.zone)
    if days_since > 1 or (days_since == 1 and local.hour >= rules["session.check_by_h"]):
        return (Bar(because=Because.CHECK_OPEN, figure="session.check_by_h"),)
    return ()


def questions_answered(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """No target while a dive's report is in doubt, for as long as its session lasts."""
    if standing.open_asked:
        gap = rules.session_gap
        if any(at - asked.happened_at <= gap for asked in standing.open_asked):
            return (Bar(because=Because.QUESTION_OPEN, figure="session.gap_h"),)
    return ()


def interval_min(dive: Dive, *, rules: Rules) -> int:
    """Minutes from surfacing to the next dive, by the depth reached; rounded up."""
    depth = dive.depth_m or 0.0
    least = [0.0]
    if dive.dive_time_s is not None:
        dive_time_min = dive.dive_time_s / 60
        least.append(rules["interval.time_factor"] * dive_time_min)
        least.append(dive_time_min * absolute_bar(depth_m=depth))
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


def interval(standing: Standing, rules: Rules, at: datetime) -> Sequence[Cap]:
    """The earliest moment of the next dive. Cutting it short brings a caution only."""
    day = standing.day_state
    if not day.dives:
        return ()
    ends = [
        d.happened_at + timedelta(minutes=interval_min(d, rules=rules))
        for d in day.dives
        if d.exercise is not Exercise.DIP
    ]
    if not ends:
        return ()
    until = _to_the_minute(max(ends))
    last = max((d for d in day.dives if d.exercise is not Exercise.DIP), key=_surfaced_at)
    figure = "interval.rv_min" if last.exercise is Exercise.RV else "interval.frc_min"
    if last.exercise is Exercise.RV and (last.depth_m or 0.0) >= rules["interval.rv_deep_from_m"]:
        figure = "interval.rv_deep_min"
    caps = [Cap(because=Because.INTERVAL, figure=figure, not_before_at=until)]
    if last.ending in (Ending.HARD, Ending.STOP):
        more = "interval.after_trouble_min"
        caps.append(Cap(because=Because.INTERVAL, figure=more, not_before_at=until))
    return caps


def _to_the_minute(at: datetime) -> datetime:
    """The next full minute, or the instant itself where it is one."""
    if at.second or at.microsecond:
        return at.replace(second=0, microsecond=0) + timedelta(minutes=1)
    return at


def _surfaced_at(dive: Dive) -> datetime:
    return dive.happened_at
