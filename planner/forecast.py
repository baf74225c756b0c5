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

from planner.consistency import consistency
from planner.figure import Figure
from planner.plan import left_at, standing
from planner.ready import readiness_of
from planner.record import DiverRecord, Ending, Exercise, sessions
from planner.rules import Rules
from planner.standing import Standing

PATHS = 1000
LOW, HIGH = 0.1, 0.9
ENOUGH = 0.02
"""Beyond the upper mark nothing is asked, so the slowest paths need not be played out."""


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
    # what is held today, a lay-off taken off; the paths go on from where the last dive left
    found = readiness_of(standing(record, rules=rules, at=at), rules=rules, with_bounds=False)
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
    # numpy is loaded with the first forecast: most of a bot's days bring none
    from planner.simulated import simulated

    days_most = int(rules["forecast.days_most"])
    found_by = simulated(
        state,
        told,
        oldest=oldest,
        today=today,
        days_most=days_most,
        enough=HIGH + ENOUGH,
        shares=(LOW, 0.5, HIGH),
        seed=seed,
        paths=paths,
    )
    low, likely, high = (None if d is None else (d - today) / 7 for d in found_by.days)
    clean = sum(d.ending in (Ending.CLEAN, Ending.EARLY) for d in told)
    return Forecast(
        diver=record.diver,
        exercise=found.exercise,
        base_m=found.base_m,
        held_m=found.held_m,
        low_weeks=low,
        likely_weeks=likely,
        high_weeks=high,
        weeks_most=days_most / 7,
        met_share=found_by.met_share,
        clean=consistency(clean=clean, dives=max(1, len(told))),
        sessions_a_week=_a_week(state, oldest, today),
        sessions=len(runs),
        paths=paths,
    )


def _a_week(state: Standing, oldest: int, today: int) -> float:
    days = [d.day for d in state.exhale_days if d.day >= oldest]
    if not days:
        return 0.0
    lived = timedelta(days=max(7, today - days[0]))
    return len(days) / (lived / timedelta(weeks=1))
