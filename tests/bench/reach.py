"""How long the posterior of the reach takes, on a record of 500 dives and on 500 unlike ones.

Run: `python -m tests.bench.reach` (some seconds). Goal: 2 ms.

What was slow, and what was done. The likelihood of each dive stood on all 1,601 points of the grid
for four spreads, and clean dives were one convolution of 4,096 points for each of five phases of x:
2.2 ms for a season, 10 ms where every dive was another. A sum of log likelihoods is smooth, so it
now stands on each fourth point and is spread to the grid by cubics (error 2e-6 a dive); x too lies
between four nodes, so that the convolution is one of 1,024 points. Dives that ran out are one
curve for each pair of depths. The record's own dives are read
once: the posterior is kept with the record.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from collections.abc import Callable
from zoneinfo import ZoneInfo

from planner.reach import Trial, reach, reach_of
from planner.record import Exercise, record_of
from tests.bench.bench import _season

GOAL_MS = 2.0


def median_ms(work: Callable[[], object], times: int = 60) -> float:
    """The median of so many runs."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        took.append((time.perf_counter() - began) * 1000)
    return statistics.median(took)


def main() -> int:
    """Print each figure beside the goal."""
    facts, at = _season()
    zone = ZoneInfo("Europe/Lisbon")
    rng = random.Random(1)
    unlike = []
    for _ in range(500):
        fill_m, depth_m = rng.uniform(5, 9), rng.uniform(10, 24)
        ran_out = rng.random() < 1 / 17
        unlike.append(Trial(fill_m, depth_m - ran_out, depth_m if ran_out else None))
    season = [Trial(rng.choice((6.0, 7.0)), rng.randint(20, 48) / 2) for _ in range(500)]
    records = iter([record_of("t7", facts, timezone=zone) for _ in range(61)])
    reach_of(next(records), Exercise.FRC, at=at)  # the tables are made with the first
    for what, work in (
        ("a record of 500 dives", lambda: reach_of(next(records), Exercise.FRC, at=at)),
        ("500 clean dives", lambda: reach(season)),
        ("500 unlike dives, one in 17 ran out", lambda: reach(unlike)),
    ):
        print(f"{what:40}{median_ms(work):>8.2f} ms   goal {GOAL_MS:g} ms")
    return 0


if __name__ == "__main__":
    sys.exit(main())
