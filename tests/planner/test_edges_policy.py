"""Each limit of the policy at its value, just below and just above it (house rules H unless marked).

The values are those of rules.toml; half a metre is the step in which depths are told.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from planner.dose import cap_figure, interval_min
from planner.held import Track, sizes
from planner.plan import Plan, standing
from planner.progress import after_faults, coach_watches, new_depth_m
from planner.reasons import Bar, Because
from planner.record import (
    Brief,
    Buddy,
    Cleared,
    Dive,
    Ending,
    Exercise,
    Fit,
    Harm,
    ReportedBase,
    Unwell,
    Well,
)
from planner.rules import RULES
from planner.standing import Standing
from tests.planner.season import ZONE, Season

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
FIRST = date(2026, 5, 7)


def frc(reported_m: float | None = 15, *, pb_m: float = 32, goal_m: float = 40) -> Season:
    """12 m held (80 % of the reported 15), on the morning of 7 May."""
    season = Season(Exercise.FRC).profile(pb_m=pb_m, goal_m=goal_m)
    if reported_m is not None:
        season.reported(reported_m, date(2026, 5, 1))
    return season.morning("2026-05-07")


def state(season: Season) -> Standing:
    return standing(season.record(), rules=RULES, at=season.at)


def barred(season: Season) -> set[Because]:
    return {bar.because for bar in getattr(season.said(), "bars", ())}


def say(season: Season, kind: type, **fields: object) -> Season:
    season.facts.append(kind(**season._carried(), **fields))
    return season


# goals


@pytest.mark.parametrize(
    ("pb_m", "goal_m", "exercise", "stage_m", "base_m"),
    [
        (49.9, 58, Exercise.FRC, 50, 25),
        (50, 58, Exercise.RV, 58, 12),
        (32, 40, Exercise.FRC, 40, 20),
        (32, 42, Exercise.FRC, 42, 21),
        (32, 43, Exercise.FRC, 42, 21),
        (32, 41, Exercise.FRC, 41, 20.5),
        (45, 60, Exercise.FRC, 50, 25),
        (54, 64, Exercise.RV, 64, 13),
        (54, 70, Exercise.RV, 64, 13),
        (54, 62.5, Exercise.RV, 62.5, 12.5),
    ],
)
def test_exercise_stage_and_base_follow_from_pb_and_goal(
    pb_m: float, goal_m: float, exercise: Exercise, stage_m: float, base_m: float
) -> None:
    """RV from a PB of 50 m; a stage is 10 m over the PB and by FRC 50 at most; the base half or a fifth of it, up."""
    now = state(Season(Exercise.FRC).profile(pb_m=pb_m, goal_m=goal_m))
    assert (now.exercise, now.stage_m, now.base_m) == (exercise, stage_m, base_m)


@pytest.mark.parametrize(("pb_m", "reached"), [(39.9, False), (40, True), (41, True)])
def test_a_goal_is_reached_at_its_own_depth(pb_m: float, reached: bool) -> None:
    """A personal best of the goal's depth is the goal."""
    now = state(Season(Exercise.FRC).profile(pb_m=pb_m, goal_m=40))
    assert now.is_goal_reached is reached


# sizes of steps


@pytest.mark.parametrize(
    ("depth_m", "deeper_m", "shallower_m"),
    [(3, 4, 2), (4, 5, 3), (4.5, 5, 3.5), (5, 5.5, 4), (5.5, 6, 5), (9, 9.5, 8.5)],
)
def test_rv_steps_get_smaller_at_five_metres(
    depth_m: float, deeper_m: float, shallower_m: float
) -> None:
    """1 m above 5 m, half a metre below, and no step jumps over 5 m; off 1 m to 5 m, half below."""
    rv_sizes = sizes(RULES, Exercise.RV)
    assert (rv_sizes.deeper(depth_m), rv_sizes.shallower(depth_m)) == (deeper_m, shallower_m)
    frc_sizes = sizes(RULES, Exercise.FRC)
    assert (frc_sizes.deeper(depth_m), frc_sizes.shallower(depth_m)) == (depth_m + 1, depth_m - 1)


# what is held, and for how long


@pytest.mark.parametrize(("away_d", "held"), [(42, 7.0), (43, None)])
def test_a_clean_dive_counts_for_forty_two_days(away_d: int, held: float | None) -> None:
    """Two clean dives hold their depth up to the 42nd day after them."""
    track = Track(Exercise.FRC, RULES, 7)
    track.clean(100, 1, 7)
    track.clean(100, 1, 7)
    assert track.held_m(100 + away_d) == held


def test_two_clean_dives_hold_the_shallower_of_the_two_deepest() -> None:
    """One clean dive holds nothing; two hold the second-deepest, rounded down to half a metre."""
    track = Track(Exercise.FRC, RULES, 7)
    track.clean(1, 1, 9.9)
    assert track.held_m(1) is None
    track.clean(1, 1, 8.4)
    assert track.held_m(1) == 8
    track.clean(1, 1, 9.5)
    assert track.held_m(1) == 9.5


def test_what_is_shown_above_the_first_depth_is_not_held() -> None:
    """Clean dives above the first depth hold nothing; at it they do."""
    track = Track(Exercise.FRC, RULES, 7)
    track.clean(1, 1, 6.9)
    track.clean(1, 1, 6.9)
    assert track.held_m(1) is None
    track.clean(1, 1, 7)
    track.clean(1, 1, 7)
    assert track.held_m(1) == 7


@pytest.mark.parametrize(
    ("reported_m", "held"), [(0.5, 2), (3.1, 2), (3.2, 2.5), (8.7, 6.5), (8.8, 7), (15, 12)]
)
def test_a_reported_base_counts_four_fifths_and_two_metres_at_least(
    reported_m: float, held: float
) -> None:
    """80 % of it, rounded down, 2 m at least; it may lie above the first depth."""
    season = frc(reported_m)
    assert season.held_m() == held


@pytest.mark.parametrize(("days_ago", "held"), [(28, 12), (29, 7)])
def test_a_reported_base_is_fresh_for_four_weeks(days_ago: int, held: float) -> None:
    """Up to 28 days old it stands as said; older it is a lay-off of 29 days: 60 %, not under the first depth."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40)
    season.reported(15, FIRST - timedelta(days=days_ago)).morning(FIRST.isoformat())
    assert season.next() == pytest.approx(9.5 if held == 12 else 7)
    assert season.held_m() == held


@pytest.mark.parametrize(
    ("away_d", "held_m", "held", "layoff"),
    [
        (14, 12, 12, False), (15, 12, 9.5, True), (28, 12, 9.5, True), (29, 12, 7, True),
        (83, 12, 7, True), (84, 12, None, True), (15, 7.5, 7, True), (29, 7.5, 7, True),
    ],
)  # fmt: skip
def test_a_lay_off_by_its_days(
    away_d: int, held_m: float, held: float | None, layoff: bool
) -> None:
    """From 15 days 80 % of held, from 29 days 60 %, from 84 nothing; down to the first depth at most."""
    track = Track(Exercise.FRC, RULES, 7)
    for _ in range(2):
        track.clean(100, 1, held_m)
    track.dived(100)
    assert track.come_back(100 + away_d) is layoff
    assert track.held_m(100 + away_d) == held
    assert (track.over_since is not None) is (away_d >= 84)


def test_a_short_lay_off_is_given_back_after_two_clean_dives() -> None:
    """After 15 to 28 days two clean dives at what is left bring the old held back; after 29 they don't."""
    for away_d, back in ((28, 12), (29, 7)):
        track = Track(Exercise.FRC, RULES, 7)
        for _ in range(2):
            track.clean(100, 1, 12)
        track.dived(100)
        day = 100 + away_d
        track.come_back(day)
        left = track.held_m(day)
        assert left is not None
        track.clean(day, 2, left - 0.5)
        track.clean(day, 2, left)
        assert track.held_m(day) == left
        track.clean(day, 2, left)
        assert track.held_m(day) == back


def test_nothing_held_comes_back_with_nothing() -> None:
    """Before the first dive no lay-off is counted; with nothing held it only forgets single dives."""
    track = Track(Exercise.FRC, RULES, 7)
    assert track.come_back(100) is False
    track.clean(100, 1, 9)
    track.dived(100)
    assert track.come_back(114) is False
    assert track.come_back(115) is True
    track.clean(115, 2, 9)
    assert track.held_m(115) is None


# faults


@pytest.mark.parametrize(
    ("turn_m", "held", "following"),
    [(9.4, 12, 8), (9.5, 11, 8.5), (12, 11, 11), (12.1, 12, 11), (12.5, 12, 11.5)],
)
@pytest.mark.parametrize("ending", ["hard", "leak"])
def test_a_fault_between_opening_and_held_takes_a_step(
    ending: str, turn_m: float, held: float, following: float
) -> None:
    """Opening 9.5, held 12: a fault at either end or between them takes 1 m off; shallower or deeper none."""
    # The next target is a step above the turn, rounded down, in any case.
    season = frc().dive(9.5).dive(12, "early") if turn_m > 12 else frc().dive(9.5)
    season.dive(turn_m, ending)
    assert (season.held_m(), season.next()) == (held, following)


def test_one_step_a_session_is_taken_and_two_clean_dives_give_it_back() -> None:
    """A second fault takes no second step; two clean dives at what is left pay it, wherever it began."""
    season = frc().dive(9.5).dive(12, "hard")
    assert season.held_m() == 11
    season.morning("2026-05-11").dive(9).dive(11)
    assert season.held_m() == 11
    season.dive(11)
    assert season.held_m() == 12


@pytest.mark.parametrize(
    ("turn_m", "retry", "following"),
    [(4.9, True, 9.5), (5, True, 9.5), (5.1, False, 4), (6, False, 5)],
)
def test_a_technique_stop_at_the_fill_is_retried_and_below_it_is_a_step(
    turn_m: float, retry: bool, following: float
) -> None:
    """The fill of a brief is at 5 m: at it or above, the opening depth once more; below it, a step off the turn."""
    season = frc().dive(9.5).dive(turn_m, "leak")
    assert state(season).day_state.retry is retry
    assert season.next() == following
    deeper_fill = frc().dive(9.5).dive(turn_m, "leak", fill_m=7)
    assert state(deeper_fill).day_state.retry
    assert deeper_fill.next() == 9.5


def test_a_retry_is_over_once_the_opening_was_reached_or_it_went_wrong() -> None:
    """Turned short of it by choice, the same target comes again; reached or troubled, it is done."""
    again = frc().dive(9.5).dive(4, "leak").dive(9.4, "early")
    assert state(again).day_state.retry
    assert again.next() == 9.5
    reached = frc().dive(9.5).dive(4, "leak").dive(9.5)
    assert not state(reached).day_state.retry
    assert reached.next() == 12
    cold = frc().dive(9.5).dive(4, "leak").dive(8, "other")
    assert not state(cold).day_state.retry


@pytest.mark.parametrize(("turn_m", "counted", "deepest"), [(2.9, 0, 0.0), (3.0, 1, 3.0)])
@pytest.mark.parametrize("ending", ["early", "leak"])
def test_a_turn_above_three_metres_counts_for_nothing(
    ending: str, turn_m: float, counted: int, deepest: float
) -> None:
    """By choice or for a technique fault: above 3 m no dive toward the cap, at 3 m one."""
    now = state(frc().dive(turn_m, ending))
    assert (now.dives_done, now.day_state.deepest_m) == (counted, deepest)
    assert state(frc().dive(2.9, "sternum")).dives_done == 1
    assert state(frc().dive(2.9, "clean")).dives_done == 1


@pytest.mark.parametrize(("depth_m", "over"), [(10.0, False), (10.1, True)])
def test_half_a_metre_too_deep_is_not_too_deep(depth_m: float, over: bool) -> None:
    """Briefed 9.5: 10 m is within it and counts as 10, deeper ends the day and counts as briefed."""
    season = frc(None, goal_m=40)
    season.dive(7).dive(7).dive(8).dive(8)
    assert season.next() is not None
    season = frc().dive(depth_m)
    assert (Because.TOO_DEEP in barred(season)) is over
    (credit,) = [depth for _, depth, _, _, _ in state(season).base_dives]
    assert credit == (9.5 if over else 10)


@pytest.mark.parametrize(("share_of", "held", "next_m"), [(12, 9.5, 9.5), (10, 8, 8), (2, 2, None)])
def test_a_pressure_stop_cuts_to_four_fifths_of_the_turn(
    share_of: float, held: float, next_m: float | None
) -> None:
    """80 % of the turn is held and the next target, rounded down, and never under 2 m held."""
    season = frc().dive(9.5).dive(share_of, "sternum")
    assert season.held_m() == held
    assert season.next() == next_m


def test_what_a_pressure_stop_took_comes_back_on_a_later_day() -> None:
    """Two clean dives at the cut depth, in a later session of a later day, give 80 % of the old held, no deeper than the turn."""
    track = Track(Exercise.FRC, RULES, 7)
    for _ in range(2):
        track.clean(100, 1, 15)
    track.pressure(100, 1, 13)
    assert track.held_m(100) == 10
    track.clean(100, 1, 10)
    track.clean(100, 2, 10)
    track.clean(101, 1, 10)
    assert track.held_m(101) == 10
    track.clean(102, 2, 9.5)
    track.clean(102, 2, 10)
    assert track.held_m(102) == 10
    track.clean(102, 2, 10)
    assert track.held_m(102) == 12
    shallow = Track(Exercise.FRC, RULES, 7)
    for _ in range(2):
        shallow.clean(100, 1, 15)
    shallow.pressure(100, 1, 11)
    for _ in range(2):
        shallow.clean(103, 2, 8.5)
    assert shallow.held_m(103) == 11


# how many, and how often


@pytest.mark.parametrize(
    ("deepest_m", "exercise", "allowed"),
    [
        (14.9, Exercise.FRC, 5), (15, Exercise.FRC, 4), (19.9, Exercise.FRC, 4),
        (20, Exercise.FRC, 3), (14.9, Exercise.RV, 5), (15, Exercise.RV, 3),
        (19.9, Exercise.RV, 3), (20, Exercise.RV, 2),
    ],
)  # fmt: skip
def test_the_cap_falls_at_fifteen_and_twenty_metres(
    deepest_m: float, exercise: Exercise, allowed: int
) -> None:
    """FRC 5, 4, 3; RV 5, 3, 2 (CP from 15 and 20 m as rules.toml marks them): at the depth itself already."""
    pb_m = 32 if exercise is Exercise.FRC else 60
    now = state(Season(exercise).profile(pb_m=pb_m, goal_m=pb_m + 10))
    assert now.allowed_at(deepest_m) == allowed
    assert now.dives_allowed(deepest_m) == allowed
    assert now.dives_allowed() == 5


@pytest.mark.parametrize(
    ("depth_m", "kind", "free"),
    [
        (20.0, Exercise.FULL, "2026-05-07"), (20.1, Exercise.FULL, "2026-05-08"),
        (None, Exercise.FULL, "2026-05-08"), (20.0, Exercise.DIP, "2026-05-07"),
        (20.1, Exercise.DIP, "2026-05-08"),
    ],
)  # fmt: skip
def test_a_full_lung_dive_past_twenty_metres_keeps_a_night(
    depth_m: float | None, kind: Exercise, free: str
) -> None:
    """Deeper than 20 m, or of unknown depth, the next exhale day is tomorrow by rest alone."""
    season = frc()
    season.other(kind, depth_m, fill_m=5)
    assert season.free_on() == free


@pytest.mark.parametrize(("depth_m", "is_full"), [(10.0, False), (10.1, True)])
def test_a_dip_past_ten_metres_is_a_full_lung_dive(depth_m: float, is_full: bool) -> None:
    """A watcher meets a diver at 10 m; deeper is a dive of one's own."""
    season = frc()
    season.other(Exercise.DIP, depth_m)
    assert (Because.FULL_DIVE in barred(season)) is is_full


@pytest.mark.parametrize(("held", "free"), [(0, "2026-05-09"), (1, "2026-05-10")])
def test_two_nights_between_exhale_days_and_three_after_something_new(held: int, free: str) -> None:
    """A day up to held is followed by two nights; one with a new depth tried, clean or not, by three."""
    season = frc().dive(9.5).dive(12)
    if held:
        season.dive(12.5, "early")
    assert season.free_on() == free
    assert frc().dive(9.5).dive(11, "sternum").free_on() == "2026-05-10"


def test_two_exhale_days_in_seven() -> None:
    """The third exhale day is a week after the first."""
    season = frc().dive(9.5).dive(12)
    season.morning("2026-05-09").dive(9.5).dive(12)
    assert season.free_on() == "2026-05-14"


# hours


@pytest.mark.parametrize(("after", "holds"), [(4 * HOUR, True), (4 * HOUR + MINUTE, False)])
def test_answers_hold_four_hours(after: timedelta, holds: bool) -> None:
    """Buddy and fitness stand at four hours to the minute, after them or after a dive they cover."""
    for season in (frc(), frc().dive(9.5)):
        season.at += after
        now = state(season)
        assert (now.is_fit, now.buddy == "ana") == (holds, holds)


def test_a_no_ends_a_yes_at_once() -> None:
    """`not fit` takes the yes back; the buddy stays."""
    now = state(say(frc(), Fit, ok=False))
    assert (now.is_fit, now.buddy) == (False, "ana")


@pytest.mark.parametrize(
    ("hours", "barred_by_check"),
    [(9, False), (24 + 9.98, False), (24 + 10, True), (48 - 9, True)],
)
def test_the_check_is_owed_by_the_next_evening_at_seven(
    hours: float, barred_by_check: bool
) -> None:
    """A dive at about 9: at 18:59 the day after nothing bars, at 19:00 and on the third day it does."""
    season = frc().dive(9.5)
    season.at = datetime(2026, 5, 7, 9, tzinfo=ZONE).astimezone(UTC) + timedelta(hours=hours)
    assert (Because.CHECK_OPEN in barred(season)) is barred_by_check


@pytest.mark.parametrize("kind", [Well, Unwell])
def test_the_check_is_answered_on_a_later_day_only(kind: type) -> None:
    """An answer on the evening itself doesn't do, one after midnight does."""
    for hour, owed in ((14.9, True), (15.1, False)):
        season = frc().dive(9.5)
        nine = datetime(2026, 5, 7, 9, tzinfo=ZONE).astimezone(UTC)
        season.at = nine + timedelta(hours=hour)
        say(season, kind)
        season.at = nine + 2 * DAY
        assert (Because.CHECK_OPEN in barred(season)) is owed


def test_a_dive_after_four_hours_opens_a_session_of_its_own() -> None:
    """Four hours to the minute it is the same session; a minute more and the day opens again."""
    for gap, number in ((4 * HOUR, 2), (4 * HOUR + MINUTE, 1)):
        season = frc().dive(9.5)
        season.at += gap - 12 * MINUTE
        say(season, Fit, ok=True)
        season.dive(9)
        assert len(state(season).session) == number


# the brief


def test_a_plan_counts_the_dives_that_its_own_depth_allows() -> None:
    """Held 18 m: the opening dive to 14 m is one of five, the next one to 18 is one of four."""
    season = frc(18 / 0.8 + 0.01, goal_m=42)
    seen = []
    for _ in range(2):
        said = season.said()
        assert isinstance(said, Plan)
        seen.append((said.depth_m, said.dive_number, said.dives_allowed))
        season.dive(said.depth_m)
    assert seen == [(14, 1, 5), (18, 2, 4)]


def test_rv_past_fifteen_metres_waits_for_the_coach() -> None:
    """Held 15 by RV: nothing deeper; held deeper it may be dived again, but no more."""
    season = Season(Exercise.RV).profile(pb_m=80, goal_m=90).morning("2026-05-07")
    now = state(season).copy()
    now.day_state.start_m = 15.0
    (cap,) = coach_watches(now, RULES, season.at)
    assert cap.depth_m == 15
    assert new_depth_m(now) == 15.5
    now.day_state.start_m = 16.0
    (cap,) = coach_watches(now, RULES, season.at)
    assert cap.depth_m == 16
    assert not coach_watches(state(frc()), RULES, season.at)


@pytest.mark.parametrize(
    ("fill_m", "in_place"),
    [(None, True), (4.9, False), (5, True), (10, True), (10.1, False)],
)
def test_a_clean_dive_at_the_base_needs_its_fill_in_place(
    fill_m: float | None, in_place: bool
) -> None:
    """FRC: filled at 5 to 10 m, or not stated; shallower or deeper it is no clean dive at the base."""
    season = frc().dive(9.5).dive(12, fill_m=fill_m)
    assert state(season).base_dives[-1][4] is in_place


@pytest.mark.parametrize(("fill_m", "in_place"), [(2.9, False), (3, True), (3.1, False)])
def test_on_a_short_dive_the_fill_is_two_metres_above_its_end(
    fill_m: float, in_place: bool
) -> None:
    """A dive to 5 m is filled at 3 m, no higher and no lower."""
    season = frc(None)
    season.dive(5, fill_m=fill_m)
    assert state(season).base_dives[-1][4] is in_place


def test_an_rv_fill_is_at_the_surface() -> None:
    """RV: filled at 0 m, or not stated."""
    for fill_m, in_place in ((None, True), (0.0, True), (0.5, False)):
        season = Season(Exercise.RV).profile(pb_m=54, goal_m=64).morning("2026-05-07")
        season.dive(2, fill_m=fill_m)
        assert state(season).base_dives[-1][4] is in_place


@pytest.mark.parametrize(("gap", "filled"), [(4 * HOUR, True), (4 * HOUR + MINUTE, False)])
def test_a_full_lung_dive_without_a_fill_is_filled_as_briefed(gap: timedelta, filled: bool) -> None:
    """A full-lung brief with a fill stands for four hours; a dive within them needs no fill stated."""
    season = frc()
    say(season, Brief, exercise=Exercise.FULL, depth_m=34, fill_low_m=17.5, fill_high_m=20)
    season.at += gap - 12 * MINUTE
    season.other(Exercise.FULL, 34)
    assert state(season).pb_m == (34 if filled else 32)


@pytest.mark.parametrize(
    ("ending", "filled"),
    [("leak", True), ("swallow", True), ("stuck", True), ("empty", True), ("sternum", True),
     ("ears", False), ("urge", False), ("other", False)],
)  # fmt: skip
def test_how_it_ended_may_say_that_a_full_lung_dive_was_filled(ending: str, filled: bool) -> None:
    """Leak, swallow, stuck, empty and pressure are stops of a dive with a mouthfill; others may be of any."""
    season = frc()
    season.other(Exercise.FULL, 30, ending)
    assert (state(season).ladder.trouble_day is not None) is filled


def test_harm_answers_the_check() -> None:
    """Who reported harm has answered how the night was."""
    season = frc().dive(9.5)
    season.at += DAY
    say(season, Harm, row="x", level="day-over", days=0.0, doctor=False)
    season.at += DAY
    assert Because.CHECK_OPEN not in barred(season)


def test_a_report_that_waits_holds_nothing() -> None:
    """By somebody without a grant: its trouble counts, its clean dive doesn't."""
    season = frc()
    season.dive(9.5)
    season.facts[-1] = replace(season.facts[-1], waits=True)
    assert state(season).base_dives == []
    season.facts[-1] = replace(season.facts[-1], waits=False)
    assert len(state(season).base_dives) == 1


def test_a_track_opens_at_its_share_before_anything_lowers_it() -> None:
    """Held 12: FRC opens at 80 %, RV at held; with nothing held both at the first depth."""
    assert Track(Exercise.FRC, RULES, 7).opening_m(12) == 9.5
    assert Track(Exercise.RV, RULES, 2).opening_m(12) == 12
    assert Track(Exercise.FRC, RULES, 7).opening_m(8) == 7
    assert Track(Exercise.FRC, RULES, 7).opening_m(6) == 6
    assert Track(Exercise.FRC, RULES, 7).opening_m(None) == 7


def test_a_technique_stop_past_held_is_capped_at_held() -> None:
    """Held 12, stopped at 13.4: a step off the turn would be 12.4, and the cap says 12."""
    said = frc().dive(9.5).dive(12).dive(13.4, "leak").said()
    assert isinstance(said, Plan)
    (cap,) = [
        c for c in said.caps if c.because is Because.AFTER_TECHNIQUE and c.figure == "off.frc_m"
    ]
    assert cap.depth_m == 12


@pytest.mark.parametrize(
    ("turn_m", "left_m", "figure"),
    [(4.5, 3.5, "off.rv_shallow_m"), (5, 4, "off.rv_shallow_m"), (5.5, 5, "off.rv_deep_m")],
)
def test_an_rv_step_off_names_the_step_that_was_taken(
    turn_m: float, left_m: float, figure: str
) -> None:
    """From 5.5 m half a metre leads to 5; what is left above 5 m was a step of a whole one."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=64).reported(9, date(2026, 5, 1))
    season.morning("2026-05-07").dive(turn_m, "hard")
    caps = after_faults(state(season), RULES, season.at)
    assert [(c.depth_m, c.figure) for c in caps] == [(left_m, figure)]


@pytest.mark.parametrize(
    ("exercise", "depth_m", "seconds", "ending", "minutes"),
    [
        (Exercise.FULL, 5.0, None, Ending.CLEAN, 0),
        (Exercise.FULL, None, None, Ending.CLEAN, 0),
        (Exercise.FULL, None, None, Ending.HARD, 2),
        (Exercise.SHALLOW, 8.0, 60, Ending.CLEAN, 2),
        (Exercise.FULL, 19.9, None, Ending.CLEAN, 0),
        (Exercise.FULL, 20.0, None, Ending.CLEAN, 4),
        (Exercise.FULL, 20.1, None, Ending.CLEAN, 5),
        (Exercise.FULL, 30.0, 60, Ending.CLEAN, 6),
        (Exercise.FULL, 30.0, 120, Ending.CLEAN, 9),
        (Exercise.FRC, None, None, Ending.CLEAN, 4),
        (Exercise.RV, None, None, Ending.CLEAN, 5),
        (Exercise.RV, 7.9, None, Ending.STOP, 7),
        (Exercise.FRC, 5.0, None, Ending.EARLY, 4),
    ],
)
def test_the_interval_row_by_row(
    exercise: Exercise, depth_m: float | None, seconds: int | None, ending: Ending, minutes: int
) -> None:
    """Twice the dive time; the time times absolute pressure; depth over five from 20 m; FRC 4, RV 5 or 6; 2 more after trouble.

    30 m are 4.01 bar: a dive of two minutes asks 8.03 minutes, said as 9 (own arithmetic; CP and H by rules.toml).
    """
    season = frc()
    say(season, Dive, exercise=exercise, depth_m=depth_m, ending=ending, dive_time_s=seconds)
    dive = season.facts[-1]
    assert isinstance(dive, Dive)
    assert interval_min(dive, rules=RULES) == minutes


def test_after_grave_harm_the_weeks_are_barred_by_name() -> None:
    """Row 8, cleared: until 56 days after it no exhale dive, with the day on which that ends."""
    season = frc()
    say(season, Harm, row="8", level="doctor-today", days=28.0, doctor=True)
    say(season, Cleared, on=date(2026, 5, 7))
    season.morning("2026-06-20")
    found = [
        bar for bar in getattr(season.said(), "bars", ()) if bar.because is Because.RECENT_HARM
    ]
    assert found == [
        Bar(because=Because.RECENT_HARM, figure="held.least_m", until_on=date(2026, 7, 2))
    ]


def test_after_pressure_on_full_lungs_an_frc_day_opens_as_it_always_does() -> None:
    """By FRC the opening share is no larger than the one after pressure: the usual figure is named."""
    season = frc().dive(9.5).dive(12)
    season.morning("2026-05-10")
    season.other(Exercise.FULL, 25, "sternum", fill_m=15)
    said = season.morning("2026-05-12").said()
    assert isinstance(said, Plan)
    (cap,) = [c for c in said.caps if c.because is Because.OPENING]
    assert (cap.depth_m, cap.figure) == (9.5, "opening.frc_share")


def test_a_session_over_midnight_is_one_exhale_day() -> None:
    """Dives at 23:48 and 0:12 are one day of exhale dives, that of the last; two nights follow it."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(15, date(2026, 5, 1))
    season.morning("2026-05-07")
    season.at = datetime(2026, 5, 7, 23, 30, tzinfo=ZONE).astimezone(UTC)
    say(season, Fit, ok=True)
    say(season, Buddy, buddy="ana")
    season.at += 6 * MINUTE
    season.dive(9.5)
    season.at += 12 * MINUTE
    season.dive(12)
    now = state(season)
    assert [day.day for day in now.exhale_days] == [date(2026, 5, 8).toordinal()]
    assert season.free_on() == "2026-05-10"


def test_a_dive_of_another_exercise_counts_for_its_own_lay_off() -> None:
    """An RV dive by an FRC diver first applies RV's own lay-off, once a session, and has no target."""
    season = Season(Exercise.FRC).profile(pb_m=45, goal_m=55).morning("2026-05-07")
    at = season.at
    season.facts.append(
        ReportedBase(
            **(season._carried() | {"happened_at": at - 20 * DAY}),  # type: ignore[arg-type]
            exercise=Exercise.RV, depth_m=8, on=date(2026, 4, 1),
        )
    )  # fmt: skip
    season.other(Exercise.RV, 2.0)
    now = state(season)
    track = now.tracks[Exercise.RV]
    # 60 % of 8 m is 4.5; 36 days later 60 % of that is 2.5
    assert track.held_m(now.day_state.last_day) == 2.5
    assert set(now.briefed.values()) == {None}
    season.other(Exercise.RV, 2.0)
    assert state(season).tracks[Exercise.RV].held_m(now.day_state.last_day) == 2.5
    assert now.dives_done == 1


def test_half_of_what_was_held_may_lie_above_the_first_depth() -> None:
    """After grave harm 12 m held come back as 6, under a first depth of 7, and are held there."""
    track = Track(Exercise.FRC, RULES, 7)
    for _ in range(2):
        track.clean(100, 1, 12)
    track.dived(100)
    assert track.come_back(160, share=0.5)
    assert track.held_m(160) == 6


def test_a_base_reported_on_the_day_of_a_dive_is_no_fresher_than_the_dive() -> None:
    """The four weeks of a report count where it is the last that was heard, not beside a dive of its day."""
    for day, fresh in ((100, False), (101, True)):
        track = Track(Exercise.FRC, RULES, 7)
        for _ in range(2):
            track.clean(100, 1, 12)
        track.dived(100)
        track.reported(day, 15)
        assert track.come_back(day + 20) is not fresh


@pytest.mark.parametrize(("turn_m", "held"), [(8.75, None), (8.1, 6.5)])
def test_a_cut_to_the_first_depth_itself_is_no_cut_below_it(
    turn_m: float, held: float | None
) -> None:
    """80 % of the turn at the first depth: clean dives above it hold nothing; half a metre less: they do."""
    track = Track(Exercise.FRC, RULES, 7)
    for _ in range(2):
        track.clean(100, 1, 10)
    track.pressure(100, 1, turn_m)
    for _ in range(2):
        track.clean(150, 2, 6.5)
    assert track.held_m(150) == held


@pytest.mark.parametrize(
    ("pb_m", "depth_m", "figure"),
    [
        (32, 14.5, "cap.most"), (32, 15, "cap.frc_mid"), (32, 19.5, "cap.frc_mid"),
        (32, 20, "cap.frc_deep"), (60, 14.5, "cap.most"), (60, 15, "cap.rv_mid"),
        (60, 20, "cap.rv_deep"),
    ],
)  # fmt: skip
def test_the_cap_points_to_the_figure_of_its_depth(
    pb_m: float, depth_m: float, figure: str
) -> None:
    """Five a session, or fewer from 15 and from 20 m on: the one that holds is named; a coach's stricter most instead."""
    now = state(Season(Exercise.FRC).profile(pb_m=pb_m, goal_m=pb_m + 10)).copy()
    assert cap_figure(now, depth_m) == figure
    now.day_state.deepest_m = depth_m
    assert cap_figure(now, 3) == figure
    now.rules = RULES.tightened({"cap.most": 2})
    assert cap_figure(now, depth_m) == "cap.most"


@pytest.mark.parametrize(
    ("reported_m", "held_m", "new_m", "figure"),
    [
        (6.7, 4, 5, "step.rv_shallow_m"),
        (7.5, 4.5, 5, "step.rv_shallow_m"),
        (9, 5, 5.5, "step.rv_deep_m"),
    ],
)
def test_an_rv_step_names_the_step_that_led_to_it(
    reported_m: float, held_m: float, new_m: float, figure: str
) -> None:
    """Down to 5 m a step of a metre, cut short at 5; from there on half a metre."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=64).reported(reported_m, date(2026, 5, 1))
    said = season.morning("2026-05-07").dive(held_m).said()
    assert isinstance(said, Plan)
    (cap,) = [c for c in said.caps if c.because is Because.STEP]
    assert (said.depth_m, cap.depth_m, cap.figure) == (new_m, new_m, figure)
