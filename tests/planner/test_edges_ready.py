"""How far the base is, count by count; the full-lung refusal's parts; and when there is no forecast.

House rules (H) with the figures of rules.toml; the chance of clean is the Jeffreys mean
(x + 1/2) / (n + 1) of `brown-2001`.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from planner.figure import Figure, Mark
from planner.forecast import Forecast, NoForecast, NoForecastBecause, forecast
from planner.full import FullPlan, full_plan, held_fill_m, lost_share
from planner.plan import standing
from planner.reach import Trial, reach
from planner.ready import Readiness, readiness_of, ready
from planner.reasons import Bar, Because, Cap, Refusal
from planner.record import Exercise, Goal, Harm, Unwell, Volume, VolumeKind
from planner.rules import RULES
from planner.support import BoundKind, supports
from tests.planner.season import Season

WEEK = timedelta(days=7)


def frc(*, pb_m: float = 20, goal_m: float = 24, reported_m: float = 15) -> Season:
    """Base 12 m, held 12 m, on the morning of 7 May."""
    season = Season(Exercise.FRC).profile(pb_m=pb_m, goal_m=goal_m)
    return season.reported(reported_m, date(2026, 5, 1)).morning("2026-05-07")


def rv() -> Season:
    """RV with 5 m held and a base of 13 m, on the morning of 7 May."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=64)
    return season.reported(9, date(2026, 5, 1)).morning("2026-05-07")


def readiness(season: Season, at: datetime | None = None) -> Readiness:
    found = ready(season.record(), rules=RULES, at=at or season.at)
    assert found is not None
    return found


def at_base(season: Season) -> tuple[int, int, bool]:
    found = readiness(season)
    return found.clean_at_base, found.days_at_base, found.met


def test_without_a_goal_nothing_is_asked_of_the_base() -> None:
    """No PB or no goal: no readiness; both: exercise, stage and base."""
    season = Season(Exercise.FRC)
    assert ready(season.record(), rules=RULES, at=season.at) is None
    aimless = frc()
    aimless.facts = [fact for fact in aimless.facts if not isinstance(fact, Goal)]
    assert ready(aimless.record(), rules=RULES, at=aimless.at) is None
    found = readiness(frc())
    assert (found.new_days_owed, found.goal_reached) == (0, False)
    assert (found.exercise, found.stage_m, found.base_m, found.held_m) == (
        Exercise.FRC, 24, 12, 12,
    )  # fmt: skip
    assert (found.clean_needed, found.days_needed) == (3, 2)
    assert (readiness(rv()).clean_needed, readiness(rv()).days_needed) == (3, 3)


def test_the_frc_base_is_met_by_three_clean_dives_on_two_days() -> None:
    """Three on one day or two on two are too few; half a metre above the base counts for nothing."""
    season = frc().dive(9.5).dive(12).dive(11.9).dive(12)
    assert at_base(season) == (2, 1, False)
    one_day = frc().dive(9.5).dive(12).dive(12).dive(12)
    assert at_base(one_day) == (3, 1, False)
    season.morning("2026-05-10").dive(9.5).dive(12)
    assert at_base(season) == (3, 2, True)


def test_a_dive_at_the_base_with_its_fill_out_of_place_is_none() -> None:
    """Filled at 11 m or 4 m it shows held, and nothing for the base."""
    season = frc().dive(9.5).dive(12, fill_m=10.5).dive(12, fill_m=4).dive(12, fill_m=7)
    assert at_base(season) == (1, 1, False)


@pytest.mark.parametrize(("later_d", "clean"), [(42, 1), (43, 0)])
def test_the_window_of_the_base_is_forty_two_days(later_d: int, clean: int) -> None:
    """A clean dive at the base counts on its 42nd day and is forgotten after it."""
    season = frc().dive(9.5).dive(12)
    at = season.at.replace(hour=12) + timedelta(days=later_d)
    assert readiness(season, at).clean_at_base == clean


def test_only_the_first_rv_dive_of_a_day_counts_for_the_base() -> None:
    """RV: the base is dived straight in, on days of its own."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=64).morning("2026-05-07")
    now = standing(season.record(), rules=RULES, at=season.at)
    day = now.day_state.last_day
    for first, clean in ((True, 1), (False, 0)):
        copy = now.copy()
        copy.base_dives.append((day, 13.0, Exercise.RV, first, True))
        copy.base_dives.append((day, 13.0, Exercise.FRC, True, True))
        found = readiness_of(copy, rules=RULES)
        assert found is not None
        assert found.clean_at_base == clean


def test_chance_of_clean_is_the_share_of_told_dives() -> None:
    """Clean and turned by choice count as clean; dives without a target count for nothing."""
    assert readiness(frc()).chance_clean is None
    season = frc().dive(9.5).dive(12, "early").dive(12, "hard").dive(10, "other")
    found = readiness(season)
    assert (found.clean, found.dives) == (2, 4)
    assert found.chance_clean == pytest.approx(2.5 / 5)
    over = frc().dive(9.5, "urge").dive(9.5)
    assert (readiness(over).clean, readiness(over).dives) == (0, 1)
    other = frc().dive(9.5)
    other.other(Exercise.RV, 2)
    assert readiness(other).dives == 1


def test_the_bounds_are_those_of_the_held_depth() -> None:
    """Rule, chest and mouth of 12 m with the fill it is held with; the least binds; nothing held, none."""
    season = frc().dive(9.5).dive(12, fill_m=6)
    found = readiness(season)
    now = standing(season.record(), rules=RULES, at=season.at)
    assert found.bounds == supports(
        exercise=Exercise.FRC, clean_m=12, fill_m=6, lungs=now.lungs, rules=RULES
    )
    assert found.binding is BoundKind.RULE
    nothing = Season(Exercise.FRC).profile(pb_m=20, goal_m=24).morning("2026-05-07")
    assert (readiness(nothing).bounds, readiness(nothing).binding) == ((), None)
    assert readiness(nothing).supported is None


@pytest.mark.parametrize(
    ("fills", "fill_m"),
    [((), 6.5), ((6.0,), 6), ((6.0, 7.0), 7), ((7.0, 6.0), 7), ((12.5,), 12), ((None,), 6.5)],
)
def test_held_is_filled_at_the_deepest_stated_fill(
    fills: tuple[float | None, ...], fill_m: float
) -> None:
    """The deepest stated of clean dives at held, at most held itself; else the window's deep end, 6.5 m here."""
    season = frc().dive(9.5, fill_m=9)
    for fill in fills:
        season.dive(12, fill_m=fill)
    season.dive(12, "hard", fill_m=9.5)
    now = standing(season.record(), rules=RULES, at=season.at)
    assert held_fill_m(now, Exercise.FRC, 12) == fill_m
    assert held_fill_m(now, Exercise.RV, 12) == 0


def test_the_next_dives_chance_is_asked_with_the_fill_last_stated() -> None:
    """The target's depth, filled as last stated within the window, else at its shallow end."""
    season = frc(pb_m=32, goal_m=40).dive(9.5).dive(12)
    found = readiness(season)
    assert found.asked_m == season.next() == 13
    for stated, used in ((4.0, 5.0), (5.5, 5.5), (9.9, 6.5)):
        told = frc(pb_m=32, goal_m=40).dive(9.5, fill_m=stated).dive(12, fill_m=stated)
        now = readiness(told)
        own = reach([Trial(stated, 9.5), Trial(stated, 12.0)])
        assert now.asked_m == 13
        assert now.chance_equalised == pytest.approx(own.chance(depth_m=13, fill_m=used))
    silent = ready(frc().record(), rules=RULES, at=frc().at)
    assert silent is not None
    assert (silent.asked_m, silent.chance_equalised) == (None, None)


def test_the_chance_is_of_the_day_that_opens_while_a_bar_stands() -> None:
    """With no target now the opening of the next day is asked about."""
    season = frc(pb_m=32, goal_m=40).dive(9.5).dive(12)
    season.dive(5, "urge")
    assert season.next() is None
    assert readiness(season).asked_m == 9.5


# the full-lung step's refusal and plan


def pia() -> Season:
    """FRC 17.5 m held, filled at 7 m; 35 m supported; three days later."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=42)
    season.reported(22, date(2026, 7, 1)).morning("2026-07-01")
    return season.dive(14, fill_m=7).dive(17.5, fill_m=7)


def asked(season: Season) -> FullPlan | Refusal:
    return full_plan(season.record(), rules=RULES, at=season.at)


def test_a_full_lung_refusal_in_all_its_parts() -> None:
    """On the exhale day itself: the night after it is the first free day."""
    assert asked(pia()) == Refusal(
        diver="mara",
        exercise=Exercise.FULL,
        bars=(Bar(because=Because.EXHALE_DIVE, figure="rest.full_nights"),),
        dives_done=2,
        dives_allowed=4,
        held_m=17.5,
        base_m=21,
        free_on=date(2026, 7, 2),
    )
    fresh = Season(Exercise.FRC).morning("2026-07-01")
    said = asked(fresh)
    assert isinstance(said, Refusal)
    assert said.free_on == date(2026, 7, 1)
    assert {bar.because for bar in said.bars} == {Because.NO_PB, Because.NO_GOAL}


def test_a_full_lung_plan_in_all_its_parts() -> None:
    """A step over the best, with what supports it, and every cap that spoke, the least first."""
    season = pia().morning("2026-07-04")
    said = asked(season)
    assert isinstance(said, FullPlan)
    assert (said.diver, said.line_m, said.pb_m, said.goal_m) == ("mara", 34, 32, 42)
    assert (said.is_step, said.clean_days, said.days_needed) == (True, 0, 2)
    assert (said.not_before_at, said.lost) == (None, None)
    assert said.caps == (
        Cap(because=Because.FULL_STEP, figure="full.step_m", depth_m=34),
        Cap(because=Because.SUPPORTED, figure="exercise.frc_base_share", depth_m=35),
    )
    assert (said.supported.held_m, said.supported.fill_m) == (17.5, 7)
    assert said.supported.binding.kind is BoundKind.RULE
    assert said.fill.low_m <= said.fill.high_m
    season.other(Exercise.FULL, 34, fill_m=18)
    again = asked(season)
    assert isinstance(again, FullPlan)
    assert (again.is_step, again.clean_days) == (False, 1)
    assert again.not_before_at == season.at + timedelta(minutes=7)
    assert again.caps == (
        Cap(because=Because.FULL_REPEAT, figure="full.clean_days", depth_m=34),
        Cap(because=Because.SUPPORTED, figure="exercise.frc_base_share", depth_m=35),
        Cap(
            because=Because.INTERVAL,
            figure="interval.frc_min",
            not_before_at=season.at + timedelta(minutes=7),
        ),
    )
    season.at += timedelta(minutes=7)
    later = asked(season)
    assert isinstance(later, FullPlan)
    assert later.not_before_at is None


def test_bars_on_full_lungs_name_their_figures() -> None:
    """Trouble today, a depth nobody told, no volumes, nothing held: each with the figure it comes from."""
    season = pia().morning("2026-07-04")
    season.other(Exercise.FULL, 33, "leak", fill_m=18)
    said = asked(season)
    assert isinstance(said, Refusal)
    assert said.bars == (Bar(because=Because.FULL_TROUBLE, figure="full.clean_days"),)
    season = pia().morning("2026-07-04")
    season.other(Exercise.FULL, None, "throat", fill_m=18)
    said = asked(season.morning("2026-07-06"))
    assert isinstance(said, Refusal)
    assert said.bars == (Bar(because=Because.DEPTH_UNKNOWN, figure="full.pressure_share"),)
    season = pia().morning("2026-07-04")
    del season.facts[0]
    said = asked(season)
    assert isinstance(said, Refusal)
    assert said.bars == (Bar(because=Because.NO_VOLUMES, figure="full.fill_margin_m"),)


# the forecast


def played(count: int, *, at_m: float = 7) -> Season:
    """So many sessions of two clean dives, a week apart."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40)
    for n in range(count):
        season.morning((date(2026, 5, 7) + n * WEEK).isoformat()).dive(at_m).dive(at_m)
    return season


def asked_ahead(season: Season) -> Forecast | NoForecast:
    return forecast(season.record(), rules=RULES, at=season.at, paths=60)


def test_no_forecast_says_why_and_how_many_sessions_it_takes() -> None:
    """Too few, no goal, paused, reached or met: the first that applies, with sessions so far."""
    assert asked_ahead(played(5)) == NoForecast(
        diver="mara", because=NoForecastBecause.TOO_FEW, sessions=5, sessions_needed=6
    )
    nobody = Season(Exercise.FRC).morning("2026-05-07")
    assert asked_ahead(nobody) == NoForecast(
        diver="mara", because=NoForecastBecause.NO_GOAL, sessions=0, sessions_needed=6
    )
    for kind, fields in (
        (Unwell, {}),
        (Harm, {"row": "x", "level": "day-over", "days": 9.0, "doctor": False}),
    ):
        paused = played(2)
        paused.facts.append(kind(**paused._carried(), **fields))
        paused.at += timedelta(minutes=1)
        said = asked_ahead(paused)
        assert isinstance(said, NoForecast)
        assert said.because is NoForecastBecause.PAUSED
    reached = Season(Exercise.FRC).profile(pb_m=40, goal_m=40).morning("2026-05-07")
    said = asked_ahead(reached)
    assert isinstance(said, NoForecast)
    assert said.because is NoForecastBecause.GOAL_REACHED


def test_a_forecast_says_what_it_was_made_of() -> None:
    """Sessions a week as lived, the clean rate with its interval, and paths, beside the marks."""
    said = asked_ahead(played(6))
    assert isinstance(said, Forecast)
    assert (said.diver, said.exercise, said.base_m, said.held_m) == ("mara", Exercise.FRC, 20, 7)
    assert (said.sessions, said.paths, said.weeks_most) == (6, 60, 52)
    assert said.clean.value == pytest.approx(12.5 / 13)
    assert said.clean.high == 1
    assert said.sessions_a_week == pytest.approx(6 / 5)
    # two dives a session reach nothing new: no mark is ever met
    assert (said.low_weeks, said.likely_weeks, said.high_weeks, said.met_share) == (
        None, None, None, 0,
    )  # fmt: skip


def test_the_marks_of_a_forecast_stand_in_order() -> None:
    """Six sessions of four dives that follow the targets: 10, 50 and 90 % of the paths, in weeks from now."""
    season = Season(Exercise.FRC).profile(pb_m=20, goal_m=24)
    for n in range(6):
        season.morning((date(2026, 5, 7) + n * WEEK).isoformat())
        for _ in range(4):
            target = season.next()
            assert target is not None
            season.dive(target if n < 2 else min(target, 9))
    said = asked_ahead(season)
    assert isinstance(said, Forecast)
    assert said.low_weeks is not None
    assert said.likely_weeks is not None
    assert 0 < said.low_weeks <= said.likely_weeks <= 52
    assert 0.5 <= said.met_share <= 1


def test_sessions_a_week_are_counted_over_a_week_at_least() -> None:
    """Six days in a row are six in a week, not seven."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40)
    for n in range(6):
        season.morning((date(2026, 5, 7) + timedelta(days=n)).isoformat()).dive(7)
    said = asked_ahead(season)
    assert isinstance(said, Forecast)
    assert said.sessions_a_week == pytest.approx(6)


@pytest.mark.parametrize(
    ("days", "share"), [(6, 0.0), (7, 0.1), (13, 0.1), (14, 0.5), (27, 0.5), (28, 0.9), (400, 0.9)]
)
def test_a_day_fits_by_the_last_mark_before_it(days: int, share: float) -> None:
    """Marks at 1, 2 and 4 weeks: on the day of a mark it is passed, a day before it isn't."""
    plain = Forecast(
        diver="mara", exercise=Exercise.FRC, base_m=20, held_m=7, low_weeks=1, likely_weeks=2,
        high_weeks=4, weeks_most=52, met_share=1, sessions_a_week=1, sessions=6, paths=10,
        clean=Figure(value=1, unit="", mark=Mark.HOUSE),
    )  # fmt: skip
    on = date(2026, 5, 7)
    assert plain.fits(on + timedelta(days=days), on=on) == share
    assert replace(plain, high_weeks=None).fits(on + timedelta(days=400), on=on) == 0.5
    never = replace(plain, low_weeks=None, likely_weeks=None, high_weeks=None)
    assert never.fits(datetime(2030, 1, 1, tzinfo=UTC).date(), on=on) == 0


def test_a_goal_that_was_dived_is_the_only_bar_on_full_lungs() -> None:
    """With the goal reached nothing else is asked of a line that nobody trains for."""
    season = Season(Exercise.FRC).profile(pb_m=42, goal_m=42)
    season.reported(10, date(2026, 7, 1)).morning("2026-07-04")
    said = asked(season)
    assert isinstance(said, Refusal)
    assert said.bars == (Bar(because=Because.GOAL_REACHED, figure="goal.further_m"),)


@pytest.mark.parametrize(("goal_m", "barred"), [(33, True), (42, True)])
def test_a_step_over_the_best_asks_for_a_whole_steps_support(goal_m: float, barred: bool) -> None:
    """33 m supported over a best of 32: none, even where the goal would end the step at 33."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=goal_m)
    season.reported(20.7, date(2026, 7, 1)).morning("2026-07-01").dive(13, fill_m=7)
    season.dive(16.5, fill_m=7)
    said = asked(season.morning("2026-07-04"))
    assert (Because.NOT_SUPPORTED in {b.because for b in getattr(said, "bars", ())}) is barred


def test_a_loss_is_a_share_without_a_unit() -> None:
    """What a dive that ran out had lost: a house figure, between nothing and all."""
    season = pia().morning("2026-07-04")
    season.other(Exercise.FULL, 28, "empty", fill_m=18)
    found = lost_share(season.record(), season.record().dives[-1])
    assert found is not None
    assert (found.name, found.unit, found.mark) == ("share_lost", "", Mark.HOUSE)
    assert 0 <= found.low_or_value <= found.value <= found.high_or_value <= 1


def test_a_loss_by_the_divers_own_dives_has_no_source_but_the_diver() -> None:
    """After clean full-lung dives the share is told by them: same name, no unit, no book behind it."""
    season = pia().morning("2026-07-04")
    for _ in range(2):
        season.other(Exercise.FULL, 34, fill_m=18)
    season.morning("2026-07-05").other(Exercise.FULL, 27, "empty", fill_m=18)
    found = lost_share(season.record(), season.record().dives[-1])
    assert found is not None
    assert (found.name, found.unit, found.mark, found.source) == (
        "share_lost",
        "",
        Mark.HOUSE,
        None,
    )
    assert found.low_or_value < found.value < found.high_or_value


def test_a_measured_mouthful_and_mask_move_the_fill_of_the_step() -> None:
    """A larger charge and a mask are taken higher up: the window's deep end follows the diver's own."""
    season = pia().morning("2026-07-04")
    plain = asked(season)
    for kind, value in ((VolumeKind.MOUTH, 120.0), (VolumeKind.MASK, 100.0)):
        season.facts.append(Volume(**season._carried(), volume=kind, value=value))  # type: ignore[arg-type]
    own = asked(season)
    assert isinstance(plain, FullPlan)
    assert isinstance(own, FullPlan)
    assert own.fill.high_m < plain.fill.high_m
    assert own.fill.low_m == plain.fill.low_m


def test_a_milder_report_brings_nothing_new_on_full_lungs() -> None:
    """Practice over: the next full-lung day has no step, as after an urge."""
    season = pia()
    season.at += timedelta(minutes=1)
    season.facts.append(
        Harm(**season._carried(), row="21", level="practice-over", days=0.0, doctor=False)  # type: ignore[arg-type]
    )
    said = asked(season.morning("2026-07-04"))
    assert isinstance(said, Refusal)
    assert said.bars == (Bar(because=Because.AFTER_URGE, figure="trouble.most"),)
