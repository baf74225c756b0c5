"""Every figure of rules.toml is held by a check: loosened by its step, what comes out changes.

A figure that has no scenario here, or whose scenario doesn't notice, fails.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest

from bot.shorthand.arguments import day_of
from planner import progress
from planner.agenda import DueKind, agenda
from planner.debrief import debrief
from planner.dose import interval_min
from planner.forecast import Forecast, forecast
from planner.full import full_plan
from planner.gas import fill_window_m, first_frc_depth_m
from planner.held import Track, sizes
from planner.learning import dose_passed
from planner.lungs import predict
from planner.plan import standing
from planner.reach import reach_of
from planner.ready import Readiness, readiness_of, ready
from planner.reasons import Because
from planner.record import Dive, Ending, Exercise, Goal, Ping, Sex
from planner.rules import RULES, Rules
from planner.standing import Standing
from tests.planner.season import ZONE, Season
from tests.planner.test_policy import dive

FRC, RV, FULL = Exercise.FRC, Exercise.RV, Exercise.FULL
Scenario = Callable[[Rules], Any]


def season(
    rules: Rules,
    exercise: Exercise = FRC,
    reported_m: float | None = None,
    *,
    pb_m: float | None = None,
    goal_m: float | None = None,
    reported_on: date = date(2026, 5, 1),
    on: str = "2026-05-07",
) -> Season:
    frc = exercise is FRC
    made = Season(exercise, rules=rules)
    made.profile(pb_m=pb_m or (32 if frc else 54), goal_m=goal_m or (40 if frc else 64))
    if reported_m is not None:
        made.reported(reported_m, reported_on)
    return made.morning(on)


def state(made: Season) -> Standing:
    return standing(made.record(), rules=made.rules, at=made.at)


def readiness(made: Season) -> Readiness:
    found = ready(made.record(), rules=made.rules, at=made.at)
    assert found is not None
    return found


def bars(made: Season) -> set[Because]:
    return {bar.because for bar in getattr(made.said(), "bars", ())}


def due(made: Season, kind: DueKind) -> str:
    dues = agenda(made.record(), rules=made.rules, at=made.at)
    return next(d.at.astimezone(ZONE).strftime("%d %H:%M") for d in dues if d.kind is kind)


def track(rules: Rules, *depths_m: float) -> Track:
    made = Track(FRC, rules, 7)
    for depth_m in depths_m:
        made.clean(0, 1, depth_m)
        made.dived(0)
    return made


def stepped_off(rules: Rules) -> float | None:
    made = track(rules, 12, 12)
    made.step_off(0, may_take=True)
    made.clean(3, 2, 11)
    return made.held_m(3)


def cut(rules: Rules, turn_m: float, *later_m: float) -> float | None:
    made = track(rules, 15, 15)
    made.pressure(0, 1, turn_m)
    for depth_m in later_m:
        made.clean(3, 2, depth_m)
    return made.held_m(3)


def back(rules: Rules, days: int) -> float | None:
    made = track(rules, 15, 15)
    made.come_back(days)
    return made.held_m(days)


def allowed(depth_m: float, exercise: Exercise = FRC) -> Scenario:
    return lambda rules: state(season(rules, exercise)).allowed_at(depth_m)


def deeper(depth_m: float, exercise: Exercise = RV) -> Scenario:
    return lambda rules: sizes(rules, exercise).deeper(depth_m)


def shallower(depth_m: float, exercise: Exercise = RV) -> Scenario:
    return lambda rules: sizes(rules, exercise).shallower(depth_m)


def interval(
    depth_m: float, exercise: Exercise = FRC, ending: str = "clean", seconds: int | None = None
) -> Scenario:
    return lambda rules: interval_min(dive(exercise, depth_m, ending, seconds), rules=rules)


def away(rules: Rules, days: int) -> float | None:
    made = season(rules, FRC, 19, on="2026-05-04").dive(12).dive(15)
    return made.morning((date(2026, 5, 4) + timedelta(days=days)).isoformat()).next()


def two_days(rules: Rules) -> str:
    made = season(rules, FRC, 15, on="2026-05-04").dive(9.5).dive(12)
    return made.morning("2026-05-07").dive(9.5).dive(12).free_on()


def one_shallow_day(rules: Rules) -> float | None:
    made = season(rules, FRC, 19, on="2026-05-04").dive(12).dive(15)
    made.morning("2026-07-27").other(Exercise.SHALLOW, 8)
    return made.morning("2026-07-29").next()


def base_frc(rules: Rules, *days: tuple[float, ...]) -> bool:
    made = season(rules, FRC, 24, pb_m=28, goal_m=38)
    for number, dives in enumerate(days):
        if number:
            made.morning("2026-05-11")
        for depth_m in dives:
            made.dive(depth_m)
    return readiness(made).met


def coach_cap(rules: Rules) -> list[float | None]:
    made = season(rules, RV)
    return [cap.depth_m for cap in progress.coach_watches(state(made), rules, made.at)]


def base_rv(rules: Rules) -> bool:
    made = state(season(rules, RV, 8))
    day, base_m = made.day_state.last_day, made.base_m
    assert made.track is not None
    assert base_m is not None
    for _ in range(2):
        made.track.clean(day, 1, base_m)
    made.base_dives += [(day - back, base_m, RV, True, True) for back in (0, 3)]
    found = readiness_of(made, rules=rules)
    assert found is not None
    return found.met


def later(rules: Rules, hours: float) -> Season:
    made = season(rules, FRC, 15).dive(9.5)
    made.at += timedelta(hours=hours)
    return made


def unanswered(rules: Rules) -> bool:
    made = season(rules, FRC, 15).dive(9.5)
    made.at = datetime.combine(date(2026, 5, 8), time(19, 30), tzinfo=ZONE)
    return Because.CHECK_OPEN in bars(made)


def no_flying(rules: Rules) -> timedelta:
    made = season(rules, FRC, 15).dive(9.5)
    said = debrief(made.record(), rules=rules, at=made.at)
    assert said is not None
    return said.no_flying_until_at - made.at


def pia(rules: Rules, held_m: float = 17.5) -> Season:
    made = season(rules, FRC, held_m / 0.8 + 0.1, goal_m=42, on="2026-05-04")
    made.dive(14, fill_m=7).dive(held_m, fill_m=7)
    return made.morning("2026-05-07")


def line(made: Season) -> Any:
    said = full_plan(made.record(), rules=made.rules, at=made.at)
    return getattr(said, "line_m", said)


def fill_high(rules: Rules) -> float:
    made = pia(rules)
    return full_plan(made.record(), rules=rules, at=made.at).fill.high_m  # type: ignore[union-attr]


def stepped_once(rules: Rules) -> Any:
    return line(pia(rules, 18.5).other(FULL, 34, fill_m=18).morning("2026-05-08"))


def after_throat(rules: Rules) -> Any:
    return line(pia(rules).other(FULL, 33, "throat", fill_m=18).morning("2026-05-08"))


def opens_lower(rules: Rules) -> float | None:
    made = season(rules, RV, 9, on="2026-05-04").dive(5).dive(5)
    made.morning("2026-05-07").other(FULL, 25, "sternum", fill_m=18)
    return made.morning("2026-05-09").next()


def new_days(rules: Rules) -> int:
    made = season(rules, FRC, 22, pb_m=30, goal_m=34, on="2026-05-04").dive(14).dive(17).dive(17)
    made.morning("2026-05-07").other(FULL, 30, "chest", fill_m=18)
    return readiness(made.morning("2026-05-09").dive(14).dive(17)).new_days_owed


def next_goal(rules: Rules) -> float | None:
    made = season(rules, FRC, goal_m=34).other(FULL, 34, fill_m=18)
    made.facts.append(Goal(**made._carried(), depth_m=60))  # type: ignore[arg-type]
    return state(made).goal_m


def tasks(made: Season) -> set[str]:
    return set(state(made).learning.open)


def leaks(rules: Rules, *days: tuple[str, ...]) -> set[str]:
    made = season(rules, FRC, 15)
    for number, endings in enumerate(days):
        if number:
            made.morning(("2026-05-11", "2026-05-14")[number - 1])
        for ending in endings:
            made.dive(9.5 if ending == "clean" else 13, ending)
    return tasks(made)


def full_leaks(rules: Rules, *endings: str) -> set[str]:
    made = season(rules)
    for ending in endings:
        made.other(FULL, 30, ending, fill_m=18)
    return tasks(made)


def drilled(rules: Rules, days: int, shallows: int) -> set[str]:
    made = season(rules, FRC, 15).dive(13, "leak").dive(12, "leak")
    for number in range(days):
        made.morning(f"2026-05-0{8 + number}" if number < 2 else "2026-05-10")
        made.other(Exercise.DRY, task="lock", amount=10)
    made.morning("2026-05-12")
    for _ in range(shallows):
        made.other(Exercise.SHALLOW, 9)
    return tasks(made)


def sessions_of(rules: Rules, count: int, *, pause_d: int = 0) -> Season:
    made = season(rules, FRC, on="2026-05-04")
    for number in range(count):
        if number:
            day = date.fromisoformat(made.free_on())
            wait = pause_d if number == count - 1 else 0
            made.morning((day + timedelta(days=wait)).isoformat())
        for _ in range(2):
            made.dive(made.next() or 7, "hard" if number < 2 else "clean")
    return made


def forecasting(rules: Rules, count: int, *, pause_d: int = 0) -> Forecast | str:
    made = sessions_of(rules, count, pause_d=pause_d)
    said = forecast(made.record(), rules=rules, at=made.at, paths=40)
    return said if isinstance(said, Forecast) else said.because.value


def clean_rate(rules: Rules) -> float:
    said = forecasting(rules, 7, pause_d=75)
    assert isinstance(said, Forecast)
    return said.clean.value


def beyond(
    rules: Rules,
    *,
    days: tuple[int, ...] = (4,),
    minutes: tuple[int, ...] = (10,),
    then_min: int = 0,
) -> set[str]:
    """In which ways the last of some tasks on land is beyond the dose."""
    made = season(rules, FRC, 15, on="2026-05-01")
    for day in days:
        made.at = datetime(2026, 5, day, 9, tzinfo=ZONE)
        made.other(Exercise.DRY, task="lock")
        made.facts[-1] = replace(made.facts[-1], dive_time_s=minutes[-1] * 60)  # type: ignore[call-arg]
    dry = made.facts[-1]
    assert isinstance(dry, Dive)
    if then_min:
        made.at += timedelta(minutes=then_min - 12)  # a season's dive comes 12 minutes later
        made.dive(9.5)
    return {str(way) for way in dose_passed(made.record(), dry, rules=rules)}


def own_reach(rules: Rules) -> float:
    made = season(rules, FRC, 15).dive(14, "empty", fill_m=6)
    return round(reach_of(made.record(), FRC, rules=rules).ratio.value, 2)


def kinds_due(rules: Rules, *, days: float) -> set[str]:
    made = season(rules, FRC, 15, on="2026-05-04").dive(9.5).dive(12).dive(13)
    dues = agenda(made.record(), rules=rules, at=made.at + timedelta(days=days))
    return {str(d.kind) for d in dues}


def stale(rules: Rules, kind: DueKind) -> timedelta:
    made = season(rules, FRC, 15)
    made.facts.append(Ping(**made._carried(), on=True))  # type: ignore[arg-type]
    made.dive(9.5)
    dues = agenda(made.record(), rules=rules, at=made.at)
    return next(d.stale_at - d.at for d in dues if d.kind is kind)


MAN = predict(sex=Sex.MALE, age_y=30, height_m=1.80)


def dipped(r: Rules) -> float | None:
    """A watcher's dip to 11 m, then the target."""
    one = season(r)
    one.facts.append(
        Dive(**one._carried(), exercise=Exercise.DIP, depth_m=11, ending=Ending.CLEAN)  # type: ignore[arg-type]
    )
    return one.next()


SCENARIOS: dict[str, tuple[Scenario, Any]] = {
    "exercise.rv_from_pb_m": (lambda r: state(season(r, pb_m=50, goal_m=60)).exercise, RV),
    "exercise.frc_base_share": (lambda r: state(season(r)).base_m, 20),
    "exercise.rv_base_share": (lambda r: state(season(r, RV)).base_m, 13),
    "stage.over_pb_m": (lambda r: state(season(r, pb_m=30, goal_m=50)).stage_m, 40),
    "stage.first_m": (lambda r: state(season(r, pb_m=48, goal_m=60)).stage_m, 50),
    "held.window_d": (lambda r: track(r, 12, 12).held_m(43), None),
    "held.clean_dives": (lambda r: track(r, 12).held_m(0), None),
    "held.owed_dives": (stepped_off, 11),
    "held.pressure_share": (lambda r: cut(r, 10), 8),
    "held.give_back_share": (lambda r: cut(r, 15, 12, 12), 12),
    "held.least_m": (lambda r: cut(r, 1), 2),
    "held.shallow_turn_m": (lambda r: state(season(r).dive(3.5, "early")).dives_done, 1),
    "first.frc_low_m": (lambda r: first_frc_depth_m(None, rules=r), 5),
    "first.frc_high_m": (lambda r: first_frc_depth_m(MAN, rules=r), 7),
    "first.rv_m": (lambda r: season(r, RV).next(), 2),
    "reported.frc_share": (lambda r: season(r, FRC, 15).held_m(), 12),
    "reported.rv_share": (lambda r: season(r, RV, 8).held_m(), 4.5),
    "reported.rv_most_m": (lambda r: season(r, RV, 15).held_m(), 5),
    "reported.fresh_d": (
        lambda r: season(r, FRC, 15, reported_on=date(2026, 4, 5)).held_m(), 7,
    ),
    "reported.month_day": (lambda r: day_of("2026-03", r), date(2026, 3, 1)),
    "opening.frc_share": (lambda r: season(r, FRC, 15).next(), 9.5),
    "opening.rv_share": (lambda r: season(r, RV, 15).next(), 5),
    "step.frc_m": (deeper(12, FRC), 13),
    "step.rv_shallow_m": (deeper(2), 3),
    "step.rv_small_from_m": (deeper(5), 5.5),
    "step.rv_deep_m": (deeper(6), 6.5),
    "step.rv_two_new_above_m": (lambda r: season(r, RV, 6.7).dive(4).dive(5).dive(5).next(), 5),
    "step.rv_coach_past_m": (
        coach_cap, [15],
    ),
    "off.frc_m": (shallower(12, FRC), 11),
    "off.rv_shallow_m": (shallower(4), 3),
    "off.rv_small_from_m": (shallower(5), 4),
    "off.rv_deep_m": (shallower(6), 5.5),
    "fill.frc_low_m": (lambda r: fill_window_m(None, target_m=14, rules=r).low_m, 5),
    "fill.frc_high_m": (lambda r: fill_window_m(None, target_m=20, rules=r).high_m, 10),
    "fill.above_target_m": (lambda r: fill_window_m(None, target_m=6, rules=r).high_m, 4),
    "cap.most": (allowed(10), 5),
    "cap.frc_mid_from_m": (allowed(15), 4),
    "cap.frc_mid": (allowed(15), 4),
    "cap.frc_deep_from_m": (allowed(20), 3),
    "cap.frc_deep": (allowed(20), 3),
    "cap.rv_mid_from_m": (allowed(15, RV), 3),
    "cap.rv_mid": (allowed(15, RV), 3),
    "cap.rv_deep_from_m": (allowed(20, RV), 2),
    "cap.rv_deep": (allowed(20, RV), 2),
    "trouble.most": (
        lambda r: season(r, FRC, 15).dive(9.5).dive(12, "hard").dive(11, "hard").next(), None,
    ),
    "trouble.rv_over_from_m": (
        lambda r: Because.PRESSURE_DEEP in bars(season(r, RV).dive(6, "sternum")), True,
    ),
    "trouble.too_deep_m": (lambda r: season(r, FRC, 15).dive(9.5).dive(13).next(), None),
    "rest.nights": (lambda r: season(r, FRC, 15).dive(9.5).dive(12).free_on(), "2026-05-09"),
    "rest.nights_after_new": (
        lambda r: season(r, FRC, 15).dive(9.5).dive(12).dive(13).free_on(), "2026-05-10",
    ),
    "rest.days_most": (two_days, "2026-05-11"),
    "rest.days_in": (two_days, "2026-05-11"),
    "rest.full_from_m": (lambda r: season(r).other(FULL, 22, fill_m=18).free_on(), "2026-05-08"),
    "rest.full_nights": (lambda r: season(r).other(FULL, 28, fill_m=18).free_on(), "2026-05-08"),
    "dip.most_m": (dipped, None),
    "layoff.short_d": (lambda r: away(r, 16), 9.5),
    "layoff.short_share": (lambda r: back(r, 20), 12),
    "layoff.long_d": (lambda r: back(r, 30), 9),
    "layoff.long_share": (lambda r: back(r, 40), 9),
    "layoff.over_d": (lambda r: back(r, 90), None),
    "layoff.shallow_days": (one_shallow_day, None),
    "interval.time_factor": (interval(5, seconds=150), 5),
    "interval.deep_from_m": (interval(21), 5),
    "interval.deep_m_per_min": (interval(27), 6),
    "interval.frc_min": (interval(7), 4),
    "interval.rv_min": (interval(7, RV), 5),
    "interval.rv_deep_from_m": (interval(8, RV), 6),
    "interval.rv_deep_min": (interval(8, RV), 6),
    "interval.after_trouble_min": (interval(8, FRC, "hard"), 6),
    "base.frc_clean": (lambda r: base_frc(r, (15, 19), (15, 19)), False),
    "base.frc_days": (lambda r: base_frc(r, (15, 19, 19, 19)), False),
    "base.rv_days": (base_rv, False),
    "session.gap_h": (lambda r: state(later(r, 4.5)).dives_done, 0),
    "session.answer_holds_h": (lambda r: Because.NO_FIT in bars(later(r, 4.5)), True),
    "session.debrief_after_min": (lambda r: due(later(r, 0), DueKind.DEBRIEF), "07 09:12"),
    "session.no_flying_h": (no_flying, timedelta(hours=24)),
    "session.check_by_h": (unanswered, True),
    "session.eve_h": (lambda r: due(later(r, 0), DueKind.EVE), "08 18:00"),
    "session.morning_h": (lambda r: due(later(r, 0), DueKind.MORNING), "08 08:00"),
    "full.step_m": (lambda r: line(pia(r)), 34),
    "full.fill_margin_m": (fill_high, 20.5),
    "full.clean_days": (stepped_once, 34),
    "full.pressure_share": (after_throat, 26),
    "full.opening_share": (opens_lower, 4),
    "full.base_days": (new_days, 1),
    "goal.further_m": (next_goal, 39),
    "learn.alike": (lambda r: leaks(r, ("leak",), ("leak",), ("leak",)), {"lock"}),
    "learn.alike_in": (
        lambda r: leaks(r, ("leak", *["clean"] * 4), ("clean",) * 3 + ("leak",), ("leak",)),
        {"lock"},
    ),
    "learn.session_alike": (lambda r: leaks(r, ("leak", "leak")), {"lock"}),
    "learn.full_alike": (lambda r: full_leaks(r, "leak", "leak"), {"lock"}),
    "learn.full_alike_in": (lambda r: full_leaks(r, "leak", "clean", "leak"), {"lock"}),
    "learn.count_least": (
        lambda r: tasks(season(r).other(Exercise.DRY, task="count", amount=9)), {"count"},
    ),
    "learn.task_days": (lambda r: drilled(r, 2, 2), {"lock"}),
    "learn.shallow_dives": (lambda r: drilled(r, 3, 1), {"lock"}),
    "task.most_min": (lambda r: beyond(r, minutes=(11,)), {"long"}),
    "task.days_most": (lambda r: beyond(r, days=(1, 2, 3, 4, 5, 6)), {"often"}),
    "task.days_in": (lambda r: beyond(r, days=(1, 2, 3, 4, 5, 7)), {"often"}),
    "task.before_session_min": (lambda r: beyond(r, then_min=50), {"before"}),
    "reach.one_depth_m": (own_reach, 1.51),
    "due.for_days_d": (lambda r: kinds_due(r, days=3.5), {"eve"}),
    "due.debrief_stale_h": (lambda r: stale(r, DueKind.DEBRIEF), timedelta(hours=48)),
    "due.question_stale_h": (lambda r: stale(r, DueKind.EVENING), timedelta(hours=4)),
    "due.eve_stale_h": (lambda r: stale(r, DueKind.EVE), timedelta(hours=4)),
    "due.ping_stale_min": (lambda r: stale(r, DueKind.PING), timedelta(minutes=3)),
    "forecast.from_sessions": (lambda r: forecasting(r, 5), "too-few"),
    "forecast.days_most": (lambda r: getattr(forecasting(r, 6), "weeks_most", None), 52),
    "forecast.since_d": (clean_rate, 6.5 / 7),
}  # fmt: skip


def loosened(name: str) -> Rules:
    """The rules with one figure a step less careful; a fixed one a step off."""
    rule = RULES.rule(name)
    by = -rule.step if rule.careful == "higher" else rule.step
    return RULES._changed({name: RULES[name] + by})


def test_every_figure_has_its_scenario() -> None:
    """The table names each figure of rules.toml, and no other; order and people have tables of their own."""
    elsewhere = ("order.", "people.")
    assert set(SCENARIOS) == {name for name in RULES if not name.startswith(elsewhere)}


@pytest.mark.parametrize("name", SCENARIOS)
def test_loosening_a_figure_is_noticed(name: str) -> None:
    """The scenario comes out as the policy says, and differently once its figure is loosened."""
    scenario, expected = SCENARIOS[name]
    assert scenario(RULES) == expected
    assert scenario(loosened(name)) != expected
