"""When the base may be met: the policy simulated forward on the diver's own record (H).

A thousand paths begin where the diver stands. Each draws its own clean rate from the posterior of
the diver's dives (Jeffreys, P `brown-2001`), its own mix of faults, and its own habit of coming
and of ending a session, so that what is not known of the diver widens the range. Weeks from now
in which 10, 50 and 90 % of the paths have met the base. A date tempts: private, on request, and
not before some sessions.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from math import ceil

import numpy as np
from numpy.typing import NDArray

from planner.consistency import consistency
from planner.figure import Figure
from planner.paths import Kind, Paths, Rates
from planner.plan import left_at
from planner.ready import readiness_of
from planner.record import Dive, DiverRecord, Ending, Exercise, Reason, sessions
from planner.rules import Rules
from planner.standing import Standing

PATHS = 1000
LOW, HIGH = 0.1, 0.9
NO_LIMIT = 99
_PRIOR_FAULTS = {Kind.HARD: 1.8, Kind.TECHNIQUE: 1.8, Kind.PRESSURE: 0.4, Kind.OVER: 0.04}
"""How faults are mixed before any are seen, worth about four faults, a tenth of them pressure (H)."""


class NoForecastBecause(StrEnum):
    """Why there is no forecast."""

    NO_GOAL = "no-goal"  # PB or goal is missing
    TOO_FEW = "too-few"  # not enough sessions yet
    BASE_MET = "base-met"
    GOAL_REACHED = "goal-reached"
    PAUSED = "paused"  # a lock, or an open question about health


@dataclass(frozen=True, kw_only=True, slots=True)
class NoForecast:
    """No forecast, and why; sessions so far and how many it takes."""

    diver: str
    because: NoForecastBecause
    sessions: int
    sessions_needed: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Forecast:
    """Weeks until the base may be met: 10, 50 and 90 % of the paths have met it by then.

    A week is None where it lies beyond `weeks_most`. `met_share` is the share of paths that met
    the base within what was simulated, at least `HIGH` where all three weeks are known. `clean`
    is the diver's clean rate with its 95 % interval, `sessions_a_week` as lived.
    """

    diver: str
    exercise: Exercise
    base_m: float
    held_m: float | None
    low_weeks: float | None
    likely_weeks: float | None
    high_weeks: float | None
    weeks_most: float
    met_share: float
    clean: Figure
    sessions_a_week: float
    sessions: int
    paths: int

    def fits(self, by_on: date, *, on: date) -> float:
        """The share of paths that would have met the base by a day, in tenths at best (0, .1, .5, .9).

        The careful reading: the highest of the known marks that lies on or before the day.
        """
        weeks = (by_on - on).days / 7
        known = ((HIGH, self.high_weeks), (0.5, self.likely_weeks), (LOW, self.low_weeks))
        return next((share for share, at in known if at is not None and at <= weeks), 0.0)


def forecast(
    record: DiverRecord, *, rules: Rules, at: datetime, seed: int = 1, paths: int = PATHS
) -> Forecast | NoForecast:
    """The range of weeks in which the base may be met, as seen at an instant; or why there is none.

    The same record, instant and seed give the same answer.
    """
    state = left_at(record, rules=rules, at=at)
    today = state.day_of(at)
    runs = [s for s in sessions(record.until(at), gap_h=rules["session.gap_h"]) if s.exhale_dives]
    needed = int(rules["forecast.from_sessions"])
    found = readiness_of(state, rules=rules, with_bounds=False)
    because: NoForecastBecause | None = None
    if found is None:
        because = NoForecastBecause.NO_GOAL
    elif state.lock_at(at) or state.is_unwell(at) or state.recent_harm_until(at):
        because = NoForecastBecause.PAUSED
    elif found.goal_reached:
        because = NoForecastBecause.GOAL_REACHED
    elif found.met:
        because = NoForecastBecause.BASE_MET
    elif len(runs) < needed:
        because = NoForecastBecause.TOO_FEW
    if because is not None or found is None:
        return NoForecast(
            diver=record.diver, because=because or NoForecastBecause.NO_GOAL, sessions=len(runs),
            sessions_needed=needed,
        )  # fmt: skip
    oldest = today - int(rules["forecast.since_d"])
    dives = [
        d
        for d in state.record.dives
        if d.exercise is found.exercise
        and d.happened_at <= at
        and state.day_of(d.happened_at) >= oldest
    ]
    told = [d for d in dives if state.briefed.get(d.origin.place) is not None]
    rng = np.random.default_rng(seed)
    rates = _rates(state, told, oldest, rng, paths)
    ahead = Paths(state, rules=rules, rates=rates, rng=rng, today=today)
    days_most = int(rules["forecast.days_most"])
    # beyond the upper mark nothing is asked, so the slowest paths need not be played out
    ahead.run(days_most=days_most, enough=HIGH + 0.02)
    met = np.sort(np.where(ahead.met_day < 0, 10**6, ahead.met_day))
    marks = [met[ceil(share * paths) - 1] for share in (LOW, 0.5, HIGH)]
    low, likely, high = (None if day >= 10**6 else float(day - today) / 7 for day in marks)
    clean = sum(_kind(d) is Kind.CLEAN for d in told)
    return Forecast(
        diver=record.diver,
        exercise=found.exercise,
        base_m=found.base_m,
        held_m=found.held_m,
        low_weeks=low,
        likely_weeks=likely,
        high_weeks=high,
        weeks_most=days_most / 7,
        met_share=float((ahead.met_day >= 0).mean()),
        clean=consistency(clean=clean, dives=max(1, len(told))),
        sessions_a_week=_a_week(state, oldest, today),
        sessions=len(runs),
        paths=paths,
    )


def _kind(dive: Dive) -> Kind:
    if dive.ending in (Ending.CLEAN, Ending.EARLY):
        return Kind.CLEAN
    if dive.ending is Ending.HARD:
        return Kind.HARD
    reason = dive.reason or Reason.UNSTATED
    if reason.is_pressure:
        return Kind.PRESSURE
    return Kind.TECHNIQUE if reason.is_technique else Kind.OVER


def _rates(
    state: Standing, told: list[Dive], oldest: int, rng: np.random.Generator, paths: int
) -> Rates:
    """What each path draws of the diver: clean rate, mix of faults, delays, and ends by choice."""
    kinds = [_kind(d) for d in told]
    clean = kinds.count(Kind.CLEAN)
    rate = rng.beta(clean + 0.5, len(told) - clean + 0.5, size=paths)
    weights = [prior + kinds.count(kind) for kind, prior in _PRIOR_FAULTS.items()]
    mix = rng.dirichlet(weights, size=paths)
    upto = np.cumsum(np.column_stack([rate, (1 - rate)[:, None] * mix]), axis=1)
    upto[:, -1] = 1.0
    delays = np.array(_delays(state, oldest) or [0], dtype=np.int64)
    limits = np.array(_limits(state, told) or [NO_LIMIT], dtype=np.int64)
    return Rates(
        upto=upto,
        delays_d=delays,
        delays_upto=_habit(rng, len(delays), paths),
        limits=limits,
        limits_upto=_habit(rng, len(limits), paths),
    )


def _habit(rng: np.random.Generator, count: int, paths: int) -> NDArray[np.float64]:
    """Cumulated weights of what was seen, drawn anew for each path (a Bayesian bootstrap)."""
    drawn = rng.standard_exponential((paths, count))
    upto: NDArray[np.float64] = np.cumsum(drawn, axis=1)
    upto /= upto[:, -1:]
    return upto


def _delays(state: Standing, oldest: int) -> list[int]:
    """How many days later than rest allowed the diver came, between exhale days."""
    r = state.rules
    days = state.exhale_days
    most = int(r["rest.days_most"])
    found = []
    for i in range(1, len(days)):
        before = days[i - 1]
        if before.day < oldest:
            continue
        nights = r["rest.nights_after_new"] if before.long_rest else r["rest.nights"]
        free = before.day + int(nights)
        if i >= most:
            free = max(free, days[i - most].day + int(r["rest.days_in"]))
        found.append(max(0, days[i].day - free))
    return found


def _limits(state: Standing, told: list[Dive]) -> list[int]:
    """How many dives the diver makes a session; no limit where a rule ended it."""
    by_day: dict[int, list[Dive]] = {}
    for dive in told:
        by_day.setdefault(state.day_of(dive.happened_at), []).append(dive)
    return [NO_LIMIT if _ended_by_rule(state, dives) else len(dives) for dives in by_day.values()]


def _ended_by_rule(state: Standing, dives: list[Dive]) -> bool:
    r = state.rules
    if sum(d.is_troubled for d in dives) >= r["trouble.most"]:
        return True
    if any(_kind(d) is Kind.OVER for d in dives):
        return True
    track = state.track
    assert track is not None
    deepest = max(d.depth_m or 0.0 for d in dives)
    if len(dives) >= state.allowed_at(track.size.deeper(deepest)):
        return True
    over_m = r["trouble.rv_over_from_m"]
    return track.exercise is Exercise.RV and any(
        _kind(d) is Kind.PRESSURE and (d.depth_m or 0.0) >= over_m for d in dives
    )


def _a_week(state: Standing, oldest: int, today: int) -> float:
    days = [d.day for d in state.exhale_days if d.day >= oldest]
    if not days:
        return 0.0
    lived = timedelta(days=max(7, today - days[0]))
    return len(days) / (lived / timedelta(weeks=1))
