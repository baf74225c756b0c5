"""Tasks against repeated faults: set, drilled, logged, done."""

from __future__ import annotations

import re
from zoneinfo import ZoneInfo

import pytest

from bot.talk.tasks import DRILLED
from bot.texts.render import say
from planner.plan import Plan, plan
from planner.reasons import Because
from planner.record import TaskSet
from planner.rules import RULES
from tests.bot.talk.buoy import Buoy, said_to


def held() -> Buoy:
    """Mara with FRC 17.5 m held from before, fit and with a buddy."""
    buoy = Buoy().join("mara", pb=32, goal=42).join("ana")
    buoy.says("mara", "base frc 22 2026-05", private=True)
    buoy.says("mara", "fit buddy ana")
    return buoy


def learning() -> Buoy:
    """The same leak twice in a session: `lock` is set."""
    buoy = held()
    buoy.says("mara", "exh 14 ok")
    buoy.later(minutes=9).says("mara", "exh 17 leak")
    buoy.later(minutes=9).says("mara", "exh 15.5 leak")
    return buoy.later(hours=1)


def next_morning(buoy: Buoy) -> Buoy:
    buoy.later(hours=24).says("mara", "feel ok", private=True)
    return buoy


def test_the_second_fault_alike_sets_a_task_and_says_so():
    """Twice in a session: the group reads which task, and that nothing new comes before it is done."""
    buoy = held()
    buoy.says("mara", "exh 14 ok")
    assert "is set" not in buoy.later(minutes=9).says("mara", "exh 17 leak")
    answer = said_to(buoy.later(minutes=9).says("mara", "exh 15.5 leak"), "group")
    assert "Leak again: `lock` is set, and no new depth until it is done." in answer
    assert "not within an hour before a session" in answer
    assert len([line for line in answer.splitlines() if not line.startswith("[")]) <= 4


def test_task_alone_brings_the_drill_and_its_dose_in_private():
    """The drill, how far it is, ten minutes, five days, ears, an hour before a session."""
    answer = learning().says("mara", "task")
    assert said_to(answer, "group") == ""
    text = said_to(answer, "mara")
    assert "`lock`, against leak: mouth full, throat shut" in text
    assert "`lock` clean on 0 of 3 days, 0 of 2 clean `shallow` dives" in text
    for dose in ("10 minutes at most", "five days a week", "ears feel full", "within an hour"):
        assert dose in text


def test_with_no_task_it_says_when_one_is_set():
    """Nothing is set; a drill can be read all the same."""
    assert "No task is set" in held().says("mara", "task", private=True)
    assert "10 m at most" in held().says("mara", "task shallow", private=True)


def test_days_and_shallow_dives_are_counted_until_a_new_depth_opens():
    """Three days of `lock` and two clean `shallow` dives; then the cap that held it back is gone."""
    buoy = learning()
    counted = []
    for _ in range(3):
        counted.append(buoy.says("mara", "dry 10 lock ok"))
        next_morning(buoy)
    assert ["clean on 1 of 3" in counted[0], "clean on 2 of 3" in counted[1]] == [True, True]
    assert "clean on 3 of 3 days, 0 of 2" in counted[2]
    assert "1 of 2 clean `shallow` dives" in buoy.says("mara", "shallow 8 ok")
    next_morning(buoy).says("mara", "fit buddy ana")
    before = plan(buoy.record("mara"), rules=RULES, at=buoy.at)
    assert isinstance(before, Plan)
    assert Because.LEARNING in {cap.because for cap in before.caps}
    done = said_to(buoy.says("mara", "shallow 8 ok"), "group")
    assert "`lock` is done." in done
    assert "A new depth is open again" in done
    next_morning(buoy).says("mara", "fit buddy ana")
    after = plan(buoy.record("mara"), rules=RULES, at=buoy.at)
    assert isinstance(after, Plan)
    assert Because.LEARNING not in {cap.because for cap in after.caps}


def test_the_same_day_counts_once():
    """Twice on one day is one day."""
    buoy = learning()
    buoy.says("mara", "dry 10 lock ok")
    assert "clean on 1 of 3 days" in buoy.later(minutes=30).says("mara", "dry 5 lock ok")


def test_a_drill_that_was_stopped_does_not_count_and_asks_nothing():
    """It is kept and echoed with its reason; no depth is asked of a task on land."""
    answer = learning().says("mara", "dry 10 lock stop ears")
    assert "mara · dry lock · 10 min · stop, ears" in answer
    assert "clean on 0 of 3 days" in answer
    assert "Only a clean one counts." in answer
    assert "How deep" not in answer


def test_few_equalisations_set_the_task():
    """Under ten from one fill: `count` is set; fourteen set nothing."""
    buoy = held()
    assert "set" not in buoy.says("mara", "dry 8 count 14")
    few = buoy.later(minutes=5).says("mara", "dry 8 count 7")
    assert "7 from one fill is under 10: `count` is set." in few


def test_the_dose_is_minded():
    """Over ten minutes, and a sixth day in seven, bring a word of caution."""
    buoy = learning()
    assert "10 minutes at most" in buoy.says("mara", "dry 12 lock ok")
    answers = [next_morning(buoy).says("mara", "dry 10 lock ok") for _ in range(5)]
    assert ["Five days a week" in a for a in answers] == [False] * 4 + [True]


def test_a_task_logged_shortly_before_a_session_brings_a_word():
    """A task within the hour before a dive of the same day is answered with the caution."""
    buoy = learning()
    early = next_morning(buoy).says("mara", "dry 10 lock ok")
    assert "before a session" not in early
    at = buoy.at.astimezone(ZoneInfo(buoy.zone))
    buoy.later(minutes=50).says("mara", "exh 7 ok")
    late = buoy.later(minutes=5).says("mara", f"dry 10 lock ok {at:%H:%M}")
    assert "Not within an hour before a session" in late


def test_the_brief_says_that_a_task_comes_first():
    """While it is open no new depth is told, and the diver reads why."""
    buoy = learning()
    next_morning(buoy)
    buoy.later(hours=24)
    answer = buoy.says("mara", "fit buddy ana")
    assert "A task comes first" in said_to(answer, "mara")


def test_nobody_but_the_coach_sets_one_for_another():
    """`task noor lock` by her keeper, who is no coach: said so, and nothing is set."""
    buoy = held().keep("noor", keeper="mara", pb=36, goal=42)
    assert "coach alone" in buoy.says("mara", "task noor lock")
    assert not any(isinstance(f, TaskSet) for f in buoy.record("noor").facts)


@pytest.mark.parametrize("name", sorted(DRILLED))
def test_every_task_has_a_drill_that_empties_no_lungs(name: str):
    """Each drill has its words, and none stretches on empty lungs."""
    assert not re.search(r"stretch|empty lungs|residual|RV", say(f"drill.{name}"))


def test_a_spoken_task_is_no_command():
    """`task` inside a sentence is left alone in the group."""
    assert held().says("mara", "that was quite a task today") == ""


def test_a_new_way_of_filling_sets_a_task():
    """From a fill in the water to one at the surface: `fetch`, and the group reads it."""
    buoy = held()
    buoy.says("mara", "exh 14 ok mf6")
    answer = buoy.later(minutes=9).says("mara", "exh 17.5 ok mf0")
    assert "A new way of filling: `fetch` is set" in said_to(answer, "group")
