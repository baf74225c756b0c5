"""The policy itself, by simulation: weeks until the base is met, on simulated divers.

Run: `python -m tests.bench.policy` (a minute or two). The divers are invented. A share of the
faults are pressure stops with the turn in the deepest third, the rest half hard, half technique with the
turn anywhere. They do the tasks that are set, on land each evening and two shallow dives on a day between. House rule figures to compare with stand in `EXPECTED`.
"""

from __future__ import annotations

import random
import statistics
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import count
from zoneinfo import ZoneInfo

from planner.plan import settled_m
from planner.ready import readiness_of
from planner.record import (
    PB,
    Body,
    Buddy,
    Dive,
    DiverRecord,
    Ending,
    Exercise,
    Fact,
    Fit,
    Goal,
    Origin,
    Reason,
    Sex,
    Well,
)
from planner.rules import RULES
from planner.standing import Standing

DIVER = "sim"
DIVERS = 600
SESSIONS = 200
ZONE = ZoneInfo("Europe/Lisbon")
TECHNIQUE = (Reason.EARS, Reason.EMPTY, Reason.LEAK, Reason.SWALLOW, Reason.STUCK)


@dataclass(frozen=True, kw_only=True)
class Case:
    """One kind of simulated diver; `weeks` and `missing` are what the plan of the policy printed."""

    exercise: Exercise
    goal_m: float
    clean: float
    pressure: float
    weeks: float
    missing: float | None = None


EXPECTED = (
    Case(exercise=Exercise.FRC, goal_m=40, clean=1.0, pressure=0.0, weeks=7.0),
    Case(exercise=Exercise.FRC, goal_m=40, clean=0.9, pressure=0.05, weeks=12.4, missing=0.0),
    Case(exercise=Exercise.FRC, goal_m=40, clean=0.8, pressure=0.05, weeks=37, missing=0.08),
    Case(exercise=Exercise.FRC, goal_m=40, clean=0.9, pressure=0.0, weeks=11.1),
    Case(exercise=Exercise.FRC, goal_m=40, clean=0.8, pressure=0.0, weeks=21.4),
    Case(exercise=Exercise.RV, goal_m=60, clean=1.0, pressure=0.0, weeks=9.4),
    Case(exercise=Exercise.RV, goal_m=60, clean=0.9, pressure=0.05, weeks=15.4, missing=0.0),
    Case(exercise=Exercise.RV, goal_m=60, clean=0.8, pressure=0.05, weeks=34.6, missing=0.03),
    Case(exercise=Exercise.RV, goal_m=60, clean=0.9, pressure=0.0, weeks=14.0),
    Case(exercise=Exercise.RV, goal_m=60, clean=0.8, pressure=0.0, weeks=22.0),
    Case(exercise=Exercise.FRC, goal_m=50, clean=1.0, pressure=0.0, weeks=12.0),
)


_number = count(1)


def carried_at(at: datetime) -> dict[str, object]:
    """What every fact of a simulated diver carries; each is a message of its own."""
    return {
        "diver": DIVER,
        "happened_at": at,
        "said_at": at,
        "by": DIVER,
        "origin": Origin(chat="g:1", message=next(_number)),
    }


def weeks_to_base(case: Case, rng: random.Random) -> float | None:
    """Weeks until one simulated diver's base is met, or None within the sessions allowed."""
    record = DiverRecord(diver=DIVER, timezone=ZONE, facts=())
    state = Standing(record, RULES)
    at = datetime(2026, 1, 1, 9, tzinfo=UTC)

    def tell(fact: Fact) -> None:
        state.apply(fact, settled_m)

    pb_m = 52.0 if case.exercise is Exercise.RV else case.goal_m - 8
    tell(Body(**carried_at(at), sex=Sex.MALE, age_y=30, height_m=1.80))  # type: ignore[arg-type]
    tell(PB(**carried_at(at), depth_m=pb_m))  # type: ignore[arg-type]
    tell(Goal(**carried_at(at), depth_m=case.goal_m))  # type: ignore[arg-type]
    began_at = at
    for _ in range(SESSIONS):
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
            readiness = readiness_of(state, rules=RULES, with_bounds=False)
            if readiness is not None and readiness.met:
                return (at - began_at) / timedelta(weeks=1)
        at = tasks_done(state, at, tell)
    return None


def tasks_done(state: Standing, at: datetime, tell: Callable[[Fact], None]) -> datetime:
    """The days to the next session: set tasks on land each evening, two shallow dives on one between."""
    at = at.replace(hour=20, minute=0)
    free = state.free_on
    while at.date() < free:
        for task in tuple(state.learning.open):
            tell(_exercise(Exercise.DRY, carried_at(at), task))
        at = (at + timedelta(days=1)).replace(hour=9)
        if state.learning.open and at.date() < free:
            for _ in range(2):
                at += timedelta(minutes=12)
                tell(_exercise(Exercise.SHALLOW, carried_at(at)))
        at = at.replace(hour=20, minute=0)
    return at.replace(hour=9, minute=0)


def _exercise(exercise: Exercise, carried: dict[str, object], task: str | None = None) -> Dive:
    return Dive(
        **carried,  # type: ignore[arg-type]
        exercise=exercise,
        depth_m=9.0 if exercise is Exercise.SHALLOW else None,
        ending=Ending.CLEAN,
        task=task,
    )


def dive_of(case: Case, rng: random.Random, target: float, carried: dict[str, object]) -> Dive:
    """A dive to a target as this diver's rates have it."""
    ending, reason, depth = Ending.CLEAN, None, target
    if rng.random() >= case.clean:
        if rng.random() < case.pressure:
            ending, reason = Ending.STOP, Reason.STERNUM
            depth = target * rng.uniform(2 / 3, 1)
        elif rng.random() < 0.5:
            ending = Ending.HARD
        else:
            ending, reason = Ending.STOP, rng.choice(TECHNIQUE)
            depth = target * rng.uniform(0.1, 1)
    return Dive(
        **carried,  # type: ignore[arg-type]
        exercise=case.exercise,
        depth_m=round(depth, 1),
        ending=ending,
        reason=reason,
    )


def main(divers: int = DIVERS) -> int:
    """Print each case beside the plan's figure; 1 where a median differs by more than a tenth."""
    off = 0
    print("exercise clean pressure | weeks (plan) [10-90 %] not there (plan)")
    for case in EXPECTED:
        rng = random.Random(20260505)
        found = [weeks_to_base(case, rng) for _ in range(1 if case.clean == 1 else divers)]
        there = sorted(SESSIONS * 7.0 if w is None else w for w in found)
        median = statistics.median(there)
        low, high = there[len(there) // 10], there[(len(there) * 9) // 10]
        missing = sum(w is None for w in found) / len(found)
        bad = abs(median / case.weeks - 1) > 0.1
        off += bad
        print(
            f"{case.exercise.value:4} base {case.goal_m:g} {case.clean:.0%} {case.pressure:.0%} | "
            f"{median:.1f} ({case.weeks}) [{low:.1f}-{high:.1f}] {missing:.0%}"
            f"{'' if case.missing is None else f' ({case.missing:.0%})'}{'  differs' if bad else ''}",
            flush=True,
        )
    return 1 if off else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else DIVERS))
