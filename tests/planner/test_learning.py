"""Tasks: what sets one, what it bars, and when it is done (house rules)."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from planner.learning import TASKS
from planner.plan import Plan, standing
from planner.reasons import Because
from planner.record import Exercise, Reason
from planner.rules import RULES
from tests.planner.season import Season


def leo(reported_m: float = 15) -> Season:
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(reported_m, date(2026, 5, 1))
    return season.morning("2026-05-07")


def tasks(season: Season) -> set[str]:
    return set(standing(season.record(), rules=RULES, at=season.at).learning.open)


def drill(season: Season, task: str, on: str, ending: str = "clean") -> Season:
    return season.morning(on).other(Exercise.DRY, ending=ending, task=task, amount=10)


def shallow(season: Season, on: str, times: int = 1) -> Season:
    season.morning(on)
    for _ in range(times):
        season.other(Exercise.SHALLOW, 9)
    return season


@pytest.mark.parametrize(("fault", "task"), TASKS.items())
def test_a_fault_twice_in_a_session_sets_its_task(fault: Reason, task: str) -> None:
    """The same technique fault twice in one session sets its task; once doesn't."""
    season = leo().dive(9.5).dive(11, fault.value)
    assert tasks(season) == set()
    assert tasks(season.dive(9, fault.value)) == {task}


def test_two_different_faults_set_nothing() -> None:
    """A leak and a swallow are not alike."""
    assert tasks(leo().dive(11, "leak").dive(10, "swallow")) == set()


def test_three_of_the_last_ten_set_the_task() -> None:
    """The same fault in three of the last ten exhale dives, over sessions; the eleventh back is gone."""
    season = leo().dive(9.5).dive(13, "leak")
    season.morning("2026-05-11").dive(9.5).dive(13, "leak")
    assert tasks(season) == set()
    assert tasks(season.morning("2026-05-14").dive(9.5).dive(13, "leak")) == {"lock"}
    season = leo().dive(13, "leak").dive(9.5).dive(9.5).dive(9.5)
    season.morning("2026-05-11").dive(9.5).dive(9.5).dive(9.5).dive(13, "leak")
    assert tasks(season.morning("2026-05-14").dive(9.5).dive(9.5).dive(13, "leak")) == set()


def test_few_equalisations_from_one_fill_set_the_task() -> None:
    """`count` under 10 sets its task; 10 doesn't."""
    season = leo().other(Exercise.DRY, task="count", amount=10)
    assert tasks(season) == set()
    assert tasks(season.other(Exercise.DRY, task="count", amount=9)) == {"count"}


def test_another_way_of_filling_sets_a_task() -> None:
    """A fill at the surface after fills at depth is another way of filling, and so is the way back."""
    season = leo().dive(9.5, fill_m=6).dive(12, fill_m=7)
    assert tasks(season) == set()
    assert tasks(season.dive(12, fill_m=0)) == {"fetch"}


def test_no_new_depth_while_a_task_is_open() -> None:
    """Until the task is clean on three days and two shallow dives are clean, held is the deepest."""
    season = leo().dive(9.5).dive(13, "leak").dive(12, "leak")
    season.morning("2026-05-11").dive(8.5).dive(11).dive(11)
    said = season.said()
    assert isinstance(said, Plan)
    assert Because.LEARNING in {cap.because for cap in said.caps}
    assert said.depth_m == 11
    for on in ("2026-05-12", "2026-05-13", "2026-05-14"):
        drill(season, "lock", on)
    assert tasks(shallow(season, "2026-05-14")) == {"lock"}
    assert tasks(shallow(season, "2026-05-15")) == set()
    season.morning("2026-05-18").dive(9.5).dive(12)
    assert season.next() == 13


def test_days_count_and_not_drills() -> None:
    """Three drills on one day, drills of another task and drills that failed are no three days."""
    season = leo().dive(9.5).dive(13, "leak").dive(12, "leak")
    shallow(season, "2026-05-08", 2)
    for on in ("2026-05-09", "2026-05-09", "2026-05-09", "2026-05-10"):
        drill(season, "lock", on)
    drill(season, "hold", "2026-05-11")
    drill(season, "lock", "2026-05-12", "hard")
    assert tasks(season) == {"lock"}
    assert tasks(drill(season, "lock", "2026-05-13")) == set()


def test_faults_are_counted_anew_after_the_task() -> None:
    """A third leak after the task is done is the first one of a new count."""
    season = leo().dive(9.5).dive(13, "leak").dive(12, "leak")
    for on in ("2026-05-08", "2026-05-09", "2026-05-10"):
        drill(season, "lock", on)
    shallow(season, "2026-05-11", 2)
    assert tasks(season) == set()
    assert tasks(season.morning("2026-05-14").dive(8.5).dive(11, "leak")) == set()
    season.at += timedelta(minutes=10)
    assert tasks(season.dive(10, "leak")) == {"lock"}
