"""A group of invented divers at one buoy, and an independent reading of what a round must keep.

The reading takes depths, times and stops from the facts and the plans; its figures are the page's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise, permutations, product
from math import inf
from typing import Any

from planner.order import Line, Round, Turn, order
from planner.plan import Plan, plan, standing
from planner.record import (
    Dive,
    DiverRecord,
    Done,
    Ending,
    Exercise,
    Fact,
    Origin,
    Reason,
    Watching,
    record_of,
)
from planner.rules import RULES, Rules
from tests.planner.season import ZONE, Season

FRC, RV = Exercise.FRC, Exercise.RV
TODAY = date(2026, 5, 7)
NINE = datetime(2026, 5, 7, 9, tzinfo=ZONE).astimezone(UTC)
MINUTE = timedelta(minutes=1)
HALF, MOVE_UP = timedelta(seconds=30), timedelta(seconds=90)


@lru_cache(maxsize=None)
def morning_of(exercise: Exercise, held_m: float | None, pb_m: float, goal_m: float) -> Season:
    """A diver on the morning of the day, fit and with a buddy, who holds a depth; not to be changed."""
    season = Season(exercise).profile(pb_m=pb_m, goal_m=goal_m)
    if exercise is FRC:
        if held_m is not None:
            season.reported(held_m / 0.8 + 0.1, date(2026, 5, 1))
        return season.morning(TODAY.isoformat())
    season.reported(min(held_m or 2, 5) / 0.6 + 0.1, date(2026, 1, 2))
    day = date(2026, 1, 5)
    while (season.held_m() or 0) < (held_m or 0):
        season.morning(day.isoformat())
        while (target := season.next()) is not None:
            season.dive(target)
        day = date.fromisoformat(season.free_on())
    # those days, moved so that the last is a few days before the day itself
    by = timedelta(days=(TODAY - season.at.date()).days - 4)
    season.facts = [
        replace(f, happened_at=f.happened_at + by, said_at=f.said_at + by)
        | {} if False else replace(f, happened_at=f.happened_at + by, said_at=f.said_at + by)
        for f in season.facts
    ]
    return season.morning(TODAY.isoformat())
