"""The forecast: that its arrays are the policy, that its range is calibrated, and when there is none."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from planner.forecast import Forecast, NoForecast, NoForecastBecause, forecast
from planner.paths import Kind, Paths, Rates
from planner.plan import left_at, settled_m
from planner.ready import readiness_of
from planner.record import (
    Buddy,
    Dive,
    Ending,
    Exercise,
    Fit,
    Harm,
    Origin,
    Reason,
    Well,
)
from planner.rules import RULES
from planner.standing import Standing
from tests.bench.forecast import coverage
from tests.planner.season import DIVER, ZONE, Season

# technique faults alike would set a task, which paths take as done: each next one is another
TECHNIQUE = (Reason.EARS, Reason.LEAK, Reason.SWALLOW, Reason.STUCK, Reason.EMPTY)


def season(
    exercise: Exercise, seed: int, *, days: int, clean: float, pressure: float = 0.1, skip: int = 0
) -> Season:
    """An obedient diver with a clean rate, from the first depth or a reported base."""
    rng = random.Random(seed)
    frc = exercise is Exercise.FRC
    made = Season(exercise).profile(pb_m=32 if frc else 52, goal_m=40 if frc else 60)
    if seed % 3 == 0:
        made.reported(14 if frc else 7, date(2026, 4, 20))
    day = date(2026, 5, 1)
    for number in range(days):
        made.morning(day.isoformat())
        while (target := made.next()) is not None:
            if rng.random() < clean:
                made.dive(target)
            elif rng.random() < pressure:
                made.dive(round(target * rng.uniform(2 / 3, 1), 1), "sternum")
            else:
                ending = rng.choice(["hard", TECHNIQUE[number % 5].value])
                depth = target if ending == "hard" else round(target * rng.uniform(0.1, 1), 1)
                made.dive(depth, ending)
        day = date.fromisoformat(made.free_on()) + timedelta(days=rng.randint(0, skip))
    return made


def carried(at: datetime, number: int) -> dict[str, object]:
    return {
        "diver": DIVER, "happened_at": at, "said_at": at, "by": DIVER,
        "origin": Origin(chat="g:2", message=number),
    }  # fmt: skip


@pytest.mark.parametrize("exercise", [Exercise.FRC, Exercise.RV])
@pytest.mark.parametrize("seed", range(6))
def test_every_path_is_the_policy(exercise: Exercise, seed: int) -> None:
    """Each target and the day of base met are those of the fold, dive by dive, on every path."""
    made = season(exercise, seed, days=seed, clean=0.8)
    record = made.record()
    state = left_at(record, rules=RULES, at=made.at)
    today = state.day_of(made.at)
    count = 12
    kinds = np.array([0.78, 0.87, 0.95, 0.99, 1.0])
    rates = Rates(
        upto=np.tile(kinds, (count, 1)),
        delays_d=np.array([0, 1, 4, 18, 34, 90] if seed % 2 else [0]),
        delays_upto=np.tile(np.array([0.7, 0.85, 0.93, 0.97, 0.99, 1.0]), (count, 1))
        if seed % 2
        else np.ones((count, 1)),
        limits=np.array([3, 99]),
        limits_upto=np.tile(np.array([0.2, 1.0]), (count, 1)),
    )
    paths = Paths(state, rules=RULES, rates=rates, rng=np.random.default_rng(seed), today=today)
    dives: dict[int, list[tuple[int, float, int, float]]] = {}

    def seen(path, days, targets, kinds, turns) -> None:  # type: ignore[no-untyped-def]
        for row in zip(path, days, targets, kinds, turns, strict=True):
            dives.setdefault(int(row[0]), []).append(row[1:])

    paths.run(days_most=300, seen=seen)
    assert len(dives) == count
    compared = 0
    for path, made_dives in dives.items():
        compared += _replayed(state.copy(), made_dives, int(paths.met_day[path]))
    assert compared > 300


def _replayed(state: Standing, dives: list[tuple[int, float, int, float]], met_day: int) -> int:
    number, before, at = 0, -1, datetime(2026, 1, 1, tzinfo=UTC)
    met_on = -1
    technique = 0
    for day, target, kind, turn in dives:
        if day != before:
            morning = date.fromordinal(int(day))
            at = datetime(morning.year, morning.month, morning.day, 8, tzinfo=ZONE)
            at = at.astimezone(UTC)
            _shallow_days_if_away(state, at)
            for fact in (
                Well(**carried(at, 0)),  # type: ignore[arg-type]
                Buddy(**carried(at, 1), buddy="ana"),  # type: ignore[arg-type]
                Fit(**carried(at, 2), ok=True),  # type: ignore[arg-type]
            ):
                state.apply(fact, settled_m)
            before = day
        at += timedelta(minutes=12)
        ahead = state.copy()
        ahead.arrive(at)
        assert settled_m(ahead, at) == target, (day, number)
        ending, reason = _ending(Kind(kind), technique)
        technique += kind == Kind.TECHNIQUE
        number += 1
        state.apply(
            Dive(
                **carried(at, 10 + number),  # type: ignore[arg-type]
                exercise=state.exercise, depth_m=float(turn), ending=ending, reason=reason,
            ),
            settled_m,
        )  # fmt: skip
        state.learning.open.clear()
        found = readiness_of(state, rules=RULES, with_bounds=False)
        assert found is not None
        if found.met:
            met_on = int(day)
            break
    assert met_on == met_day
    return number


def _shallow_days_if_away(state: Standing, at: datetime) -> None:
    track = state.track
    assert track is not None
    if track.last_day is not None and state.day_of(at) - track.last_day >= RULES["layoff.over_d"]:
        state.shallow_days += [state.day_of(at) - 2, state.day_of(at) - 1]


def _ending(kind: Kind, technique: int) -> tuple[Ending, Reason | None]:
    if kind is Kind.CLEAN:
        return Ending.CLEAN, None
    if kind is Kind.HARD:
        return Ending.HARD, None
    if kind is Kind.TECHNIQUE:
        return Ending.STOP, TECHNIQUE[technique % 5]
    return Ending.STOP, Reason.STERNUM if kind is Kind.PRESSURE else Reason.URGE


def test_not_before_six_sessions() -> None:
    """Five sessions are too few, six are enough."""
    for days, enough in ((5, False), (6, True)):
        made = season(Exercise.FRC, 1, days=days, clean=0.9)
        said = forecast(made.record(), rules=RULES, at=made.at, paths=50)
        assert isinstance(said, Forecast) == enough
        if isinstance(said, NoForecast):
            assert (said.because, said.sessions) == (NoForecastBecause.TOO_FEW, 5)
            assert said.sessions_needed == 6


def test_the_same_record_and_seed_give_the_same_weeks() -> None:
    """A forecast is a function of record, instant and seed."""
    made = season(Exercise.FRC, 2, days=7, clean=0.97)
    one, two, other = (
        forecast(made.record(), rules=RULES, at=made.at, seed=seed) for seed in (5, 5, 6)
    )
    assert one == two
    assert isinstance(one, Forecast)
    assert isinstance(other, Forecast)
    assert one.low_weeks is not None
    assert one.likely_weeks is not None
    assert one.high_weeks is not None
    assert 0 < one.low_weeks <= one.likely_weeks <= one.high_weeks
    assert other.likely_weeks == pytest.approx(one.likely_weeks, abs=1.5)


def test_who_comes_half_as_often_takes_longer() -> None:
    """Long pauses between sessions, as lived, move every mark further out."""
    often = season(Exercise.FRC, 1, days=8, clean=1)
    seldom = season(Exercise.FRC, 1, days=8, clean=1, skip=8)
    a, b = (forecast(s.record(), rules=RULES, at=s.at) for s in (often, seldom))
    assert isinstance(a, Forecast)
    assert isinstance(b, Forecast)
    assert a.sessions_a_week > b.sessions_a_week
    assert a.likely_weeks is not None
    assert b.likely_weeks is not None
    assert a.likely_weeks < b.likely_weeks


def test_no_forecast_while_paused_or_met() -> None:
    """A lock or an open question pauses it; a base that is met has none; without a goal there is none."""
    made = season(Exercise.FRC, 1, days=6, clean=0.9)
    made.facts.append(
        Harm(**made._carried(), row="23", level="doctor-today", days=14, doctor=True)  # type: ignore[arg-type]
    )
    said = forecast(made.record(), rules=RULES, at=made.at)
    assert isinstance(said, NoForecast)
    assert said.because is NoForecastBecause.PAUSED
    made = season(Exercise.FRC, 3, days=12, clean=1)
    said = forecast(made.record(), rules=RULES, at=made.at)
    assert isinstance(said, NoForecast)
    assert said.because is NoForecastBecause.BASE_MET
    said = forecast(Season(Exercise.FRC).record(), rules=RULES, at=made.at)
    assert isinstance(said, NoForecast)
    assert said.because is NoForecastBecause.NO_GOAL


def test_whether_a_day_fits_is_read_carefully() -> None:
    """A day fits by the highest mark on or before it, and not at all before the first."""
    made = season(Exercise.FRC, 2, days=7, clean=0.97)
    said = forecast(made.record(), rules=RULES, at=made.at)
    assert isinstance(said, Forecast)
    on = made.at.date()
    assert said.low_weeks is not None
    assert said.high_weeks is not None
    assert said.fits(on + timedelta(weeks=said.low_weeks - 1), on=on) == 0
    assert said.fits(on + timedelta(weeks=said.low_weeks), on=on) >= 0.1
    assert said.fits(on + timedelta(weeks=said.high_weeks), on=on) == 0.9


def test_the_range_covers_simulated_divers_as_often_as_it_says() -> None:
    """Of 40 simulated divers the range covers about four in five (0.8, give or take two errors)."""
    found = coverage(40, seed=11, paths=150)
    share = sum(one.is_inside for one in found) / len(found)
    assert 0.8 - 0.13 <= share <= 0.8 + 0.13
