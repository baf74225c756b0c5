"""What a debrief sums up: limits that were passed, a fault's pattern, and where the next day may go.

House rules (H) throughout; the figures are those of rules.toml.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest

from planner.debrief import Debrief, DiveLine, debrief
from planner.reasons import Because
from planner.record import (
    Debriefed,
    Exercise,
    Goal,
    Harm,
    Reason,
    Unwell,
)
from planner.rules import RULES
from tests.planner.season import DIVER, Season

HOUR = timedelta(hours=1)


def frc(reported_m: float | None = 15) -> Season:
    """A diver with 12 m held (80 % of the reported 15), on the morning of 7 May."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40)
    if reported_m is not None:
        season.reported(reported_m, date(2026, 5, 1))
    return season.morning("2026-05-07")


def summed(season: Season, at: datetime | None = None) -> Debrief:
    said = debrief(season.record(), rules=RULES, at=at or season.at)
    assert said is not None
    return said


def say(season: Season, kind: type, **fields: object) -> Season:
    season.facts.append(kind(**season._carried(), **fields))
    return season


def test_a_clean_session_in_all_its_parts() -> None:
    """12 m held, dived 9.5, 12, 12, 13: each dive with its target, and the next day a step on."""
    season = frc().dive(9.5).dive(12).dive(12).dive(13)
    said = summed(season)
    assert [(line.dive.depth_m, line.briefed_m) for line in said.lines] == [
        (9.5, 9.5), (12, 12), (12, 13), (13, 13),
    ]  # fmt: skip
    assert isinstance(said.lines[0], DiveLine)
    assert (said.diver, said.on, said.exercise) == (DIVER, date(2026, 5, 7), Exercise.FRC)
    assert (said.held_before_m, said.held_after_m) == (12, 12)
    assert (said.passed, said.pattern, said.task, said.replaces) == ((), None, None, False)
    assert said.free_on == date(2026, 5, 10)
    assert (said.opens_m, said.far_m) == (9.5, 13)
    assert said.no_flying_until_at == season.at + 24 * HOUR
    assert said.history == ((date(2026, 5, 7), 13.0),)
    assert said.readiness is not None
    assert said.readiness.chance_equalised is None


def test_without_a_session_there_is_nothing_to_sum_up() -> None:
    """No dive by then: none; and a dive is there from its own instant on."""
    season = frc()
    assert debrief(season.record(), rules=RULES, at=season.at) is None
    season.dive(9.5)
    before = season.at - timedelta(seconds=1)
    assert debrief(season.record(), rules=RULES, at=before) is None
    assert [line.dive.depth_m for line in summed(season).lines] == [9.5]


def test_the_first_day_of_all_may_go_to_the_first_depth() -> None:
    """With one clean dive nothing is held, and the next day is capped at the first depth."""
    said = summed(frc(None).dive(7))
    assert (said.held_before_m, said.held_after_m, said.opens_m, said.far_m) == (None, None, 7, 7)


def test_a_full_lung_session_has_no_exercise_and_keeps_its_day() -> None:
    """A day of full-lung dives is followed by another day at the earliest."""
    season = frc()
    season.other(Exercise.FULL, 10, fill_m=5)
    said = summed(season)
    assert (said.exercise, said.free_on) == (None, date(2026, 5, 8))
    assert said.passed == ()


def test_the_far_end_is_the_base_at_most() -> None:
    """Held at the base, 20 m for a goal of 40: the next day goes no deeper."""
    season = frc(25).dive(16)
    assert (summed(season).held_before_m, summed(season).far_m) == (20, 20)


def test_the_far_end_is_what_is_held_after_an_urge_or_while_a_task_is_open() -> None:
    """Nothing new next time: the next day goes to held."""
    assert summed(frc().dive(9.5).dive(12)).far_m == 13
    assert summed(frc().dive(9.5).dive(12, "urge")).far_m == 12
    tasked = frc().dive(9.5).dive(11.5, "leak").dive(9.5, "leak")
    said = summed(tasked)
    assert said.far_m == said.held_after_m


def test_whoever_is_locked_hears_no_next_day() -> None:
    """With a lock or a no to the check: no free day, no opening, no depth."""
    for kind, fields in (
        (Unwell, {}),
        (Harm, {"row": "x", "level": "day-over", "days": 30.0, "doctor": False}),
    ):
        season = frc().dive(9.5)
        season.at -= timedelta(seconds=1)
        say(season, kind, **fields)
        season.at += timedelta(seconds=1)
        said = summed(season)
        assert (said.free_on, said.opens_m, said.far_m) == (None, None, None)


def test_limits_that_were_passed_are_each_named_once() -> None:
    """Too deep, past the cap, intervals cut short, an exhale day without rest, full lungs beside it."""
    assert summed(frc().dive(9.5).dive(12.6)).passed == (Because.TOO_DEEP,)
    over = frc()
    for _ in range(6):
        over.dive(9.5, "early")
    assert summed(over).passed == (Because.CAP,)
    five = frc()
    for _ in range(5):
        five.dive(9.5, "early")
    assert summed(five).passed == ()
    hasty = frc().dive(9.5)
    for _ in range(2):
        hasty.at -= timedelta(minutes=9)
        hasty.dive(9.5)
    assert summed(hasty).passed == (Because.INTERVAL,)
    tired = frc().dive(9.5)
    tired.morning("2026-05-08").dive(9.5)
    assert summed(tired).passed == (Because.REST,)
    for exercise in (Exercise.FULL, Exercise.SHALLOW):
        beside = frc().dive(9.5)
        beside.other(exercise, 10, fill_m=5)
        assert summed(beside).passed == (Because.FULL_DIVE,)


@pytest.mark.parametrize(("minutes", "passed"), [(4, ()), (3, (Because.INTERVAL,))])
def test_an_interval_that_was_kept_to_the_minute_is_no_limit_passed(
    minutes: int, passed: tuple[Because, ...]
) -> None:
    """FRC 9.5 m asks 4 minutes; a dive on full lungs in between asks nothing."""
    season = frc().dive(9.5)
    season.at += timedelta(minutes=minutes - 12)
    season.dive(9.5)
    assert summed(season).passed == passed
    full = frc().dive(9.5)
    full.at -= timedelta(minutes=11)
    full.other(Exercise.DIP, 5)
    assert summed(full).passed == ()


def test_a_fault_met_twice_in_a_session_is_a_pattern_with_its_task() -> None:
    """Two leaks in a session set `lock`; one alone doesn't, nor does a stop of another kind."""
    assert summed(frc().dive(9.5).dive(11.5, "leak")).pattern is None
    said = summed(frc().dive(11.5, "leak").dive(9.5, "leak"))
    assert (said.pattern, said.task) == (Reason.LEAK, "lock")
    assert summed(frc().dive(9.5, "sternum").dive(9.5, "sternum")).pattern is None


def test_a_fault_met_three_times_in_ten_dives_is_a_pattern_if_it_was_met_today() -> None:
    """Three of the last ten exhale dives, one of them today; the eleventh back no longer counts."""

    def after(clean: int) -> Season:
        season = frc()
        season.dive(9.5, "swallow")
        season.morning("2026-05-10").dive(9.5, "swallow")
        for _ in range(clean):
            season.dive(8)
        season.morning("2026-05-14").dive(9.5, "swallow")
        return season

    assert summed(after(7)).pattern is Reason.SWALLOW
    assert summed(after(7)).task == "hold"
    assert summed(after(8)).pattern is None
    elsewhere = after(7)
    elsewhere.morning("2026-05-18").dive(9.5)
    assert summed(elsewhere).pattern is None


def test_a_debrief_of_a_session_that_was_summed_up_replaces() -> None:
    """One written for this session, by then: the next edits it; another session's is left alone."""
    season = frc().dive(9.5)
    ended = season.at
    season.at += timedelta(minutes=30)
    say(season, Debriefed, session_at=ended)
    season.dive(9.5)
    assert summed(season).replaces
    season.morning("2026-05-10").dive(9.5)
    assert not summed(season).replaces


def test_the_history_is_the_deepest_clean_dive_of_each_day_in_the_window() -> None:
    """Only the exercise the diver is on, only clean ones with a target, no day older than the window."""
    window_d = int(RULES["held.window_d"])
    season = frc().dive(9.5).dive(12).dive(8, "hard")
    season.morning("2026-05-10").dive(9.5)
    assert summed(season).history == ((date(2026, 5, 7), 12.0), (date(2026, 5, 10), 9.5))
    for later_d, count in ((window_d, 2), (window_d + 1, 1)):
        late = frc().dive(9.5)
        late.morning((date(2026, 5, 7) + timedelta(days=later_d)).isoformat()).dive(7)
        assert len(summed(late).history) == count


def test_dives_without_a_target_have_none_beside_them() -> None:
    """A dive before the buddy's name had no target; its line says so."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40)
    season.dive(7)
    (line,) = summed(season).lines
    assert line.briefed_m is None


def test_what_comes_later_is_not_summed_up() -> None:
    """As seen at an instant, a session is what had happened by then."""
    season = frc().dive(9.5)
    then = season.at
    season.dive(12)
    assert [line.dive.depth_m for line in summed(season, then).lines] == [9.5]


def test_a_commoner_fault_of_other_days_hides_no_pattern_of_today() -> None:
    """Four leaks and three swallows in ten dives, the last a swallow: the swallow is the pattern."""
    season = frc()
    for day, ending in (("07", "leak"), ("10", "leak"), ("14", "leak"), ("17", "leak")):
        season.morning(f"2026-05-{day}").dive(8, ending)
    for day in ("21", "24", "28"):
        season.morning(f"2026-05-{day}").dive(8, "swallow")
    assert (summed(season).pattern, summed(season).task) == (Reason.SWALLOW, "hold")


def test_a_day_that_rest_allows_is_no_limit_passed() -> None:
    """Two nights after an exhale day rest is over; one is a night too few."""
    season = frc().dive(9.5)
    season.morning("2026-05-09").dive(9.5)
    assert summed(season).passed == ()


def test_without_a_goal_there_is_no_far_end() -> None:
    """Where nobody trains for a depth the session is summed up all the same."""
    season = frc().dive(9.5)
    season.facts = [fact for fact in season.facts if not isinstance(fact, Goal)]
    said = summed(season)
    assert (said.far_m, said.opens_m, said.readiness) == (None, 9.5, None)


def test_the_day_after_full_lungs_is_the_next_one() -> None:
    """A fortnight after the last exhale dive nothing is laid off yet: tomorrow goes a step past held."""
    season = frc().dive(9.5).dive(12)
    season.morning("2026-05-20")
    season.other(Exercise.FULL, 10, fill_m=5)
    assert (summed(season).opens_m, summed(season).far_m) == (9.5, 13)
