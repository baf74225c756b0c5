"""How often the forecast's range covers the truth, on simulated divers; and how long it takes.

Run: `python -m tests.bench.forecast` (some minutes). The divers are invented: a clean rate, a share
of pressure stops and a habit of coming late are drawn for each, the forecast sees their first
sessions only, and the same diver then goes on by the policy until the base is met. The range from
10 to 90 % should cover 75 to 85 % of them.

What was slow, and what was done. Divers with many faults play all of a year, some hundred sessions,
and a session took about a thousand array operations: seven dives, each with everything that any
kind of fault may do. An operation on a thousand paths costs hardly more than on a hundred (its call
does), so fewer paths save little and fewer operations save all. Now a session is two runs of clean
dives, each in closed form up to the next fault, whose number is geometric; the first run, and every
rounded share or step of a depth, is looked up in tables; what clean dives are owed for is one array;
the second-deepest dive of the window is two maxima instead of a partition (35 for 310 microseconds).
Together 2.3 times as fast: median 330 to 145 ms, the slowest of 40 divers 600 to 240 ms, both
as processor time, measured in turn on two busy cores.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from planner.forecast import Forecast, forecast
from planner.plan import settled_m
from planner.ready import readiness_of
from planner.record import (
    PB,
    Body,
    Buddy,
    DiverRecord,
    Exercise,
    Fact,
    Fit,
    Goal,
    Sex,
    Well,
    record_of,
)
from planner.rules import RULES
from planner.standing import Standing
from tests.bench.policy import DIVER, ZONE, Case, carried_at, dive_of, tasks_done

SEEN_SESSIONS = (6, 14)
SESSIONS = 120


@dataclass(frozen=True, kw_only=True)
class Covered:
    """One simulated diver: what was said, and the weeks it took; None beyond what was simulated."""

    said: Forecast
    weeks: float | None
    took_s: float

    @property
    def is_inside(self) -> bool:
        """Whether the truth lies from the lower to the upper mark, a mark beyond the year included."""
        low, high = self.said.low_weeks, self.said.high_weeks
        weeks = 10**6 if self.weeks is None else self.weeks
        above = low is not None and weeks >= low
        return (above or (low is None and weeks > self.said.weeks_most)) and (
            high is None or weeks <= high
        )


def simulated(rng: random.Random, *, paths: int) -> Covered | None:
    """One diver's forecast and truth; None where the base was met before any forecast."""
    exercise = rng.choice([Exercise.FRC, Exercise.RV])
    goal_m = 40.0 if exercise is Exercise.FRC else 60.0
    case = Case(
        exercise=exercise, goal_m=goal_m, clean=rng.uniform(0.82, 0.97),
        pressure=rng.uniform(0, 0.15), weeks=0,
    )  # fmt: skip
    late = rng.uniform(0, 0.6)
    record = DiverRecord(diver=DIVER, timezone=ZONE, facts=())
    state = Standing(record, RULES)
    facts: list[Fact] = []

    def tell(fact: Fact) -> None:
        facts.append(fact)
        state.apply(fact, settled_m)

    at = datetime(2026, 1, 1, 9, tzinfo=UTC)
    pb_m = 52.0 if exercise is Exercise.RV else goal_m - 8
    tell(Body(**carried_at(at), sex=Sex.MALE, age_y=30, height_m=1.80))  # type: ignore[arg-type]
    tell(PB(**carried_at(at), depth_m=pb_m))  # type: ignore[arg-type]
    tell(Goal(**carried_at(at), depth_m=goal_m))  # type: ignore[arg-type]
    seen_sessions = rng.randint(*SEEN_SESSIONS)
    said: Forecast | None = None
    asked_at, took_s = at, 0.0
    for number in range(SESSIONS):
        if number == seen_sessions:
            asked_at = at
            began_s = time.process_time()
            found = forecast(
                record_of(DIVER, facts, timezone=ZONE), rules=RULES, at=at, paths=paths, seed=1
            )
            took_s = time.process_time() - began_s
            if not isinstance(found, Forecast):
                return None
            said = found
        tell(Well(**carried_at(at)))  # type: ignore[arg-type]
        tell(Buddy(**carried_at(at), buddy="ana"))  # type: ignore[arg-type]
        tell(Fit(**carried_at(at), ok=True))  # type: ignore[arg-type]
        while True:
            at += timedelta(minutes=12)
            ahead = state.copy()
            ahead.arrive(at)
            target = settled_m(ahead, at)
            if target is None:
                break
            tell(dive_of(case, rng, target, carried_at(at)))
            found_base = readiness_of(state, rules=RULES, with_bounds=False)
            if said is not None and found_base is not None and found_base.met:
                weeks = (at.date() - asked_at.date()) / timedelta(weeks=1)
                return Covered(said=said, weeks=weeks, took_s=took_s)
        at = tasks_done(state, at, tell)
        while rng.random() < late:
            at += timedelta(days=1)
    return None if said is None else Covered(said=said, weeks=None, took_s=took_s)


def coverage(divers: int, *, seed: int, paths: int) -> list[Covered]:
    """The forecasts and truths of so many simulated divers."""
    rng = random.Random(seed)
    found: list[Covered] = []
    while len(found) < divers:
        one = simulated(rng, paths=paths)
        if one is not None:
            found.append(one)
    return found


def main(divers: int = 200) -> int:
    """Print coverage and time; 1 where fewer than 75 % or more than 85 % are covered."""
    found = coverage(divers, seed=20260505, paths=1000)
    share = sum(c.is_inside for c in found) / len(found)
    below = sum(
        c.weeks is not None and c.said.low_weeks is not None and c.weeks < c.said.low_weeks
        for c in found
    )
    took = sorted(c.took_s for c in found)
    print(f"{divers} divers: {share:.1%} inside 10-90 %, {below / divers:.1%} sooner")
    print(
        f"a forecast of 1,000 paths, processor time: median {statistics.median(took) * 1e3:.0f} ms, "
        f"90 % within {took[len(took) * 9 // 10] * 1e3:.0f} ms, all within {took[-1] * 1e3:.0f} ms"
    )
    return 0 if 0.75 <= share <= 0.85 else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
