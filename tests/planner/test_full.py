"""The full-lung step: what is supported, the line and its fill, and what faults do (house rules)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from planner.figure import Figure
from planner.full import FullPlan, full_plan, lost_share, supported_of
from planner.plan import Plan, standing
from planner.ready import Readiness, ready
from planner.reasons import Because, Refusal
from planner.record import (
    PB,
    Body,
    Brief,
    Dive,
    Ending,
    Exercise,
    Goal,
    Reason,
    ReportedBase,
    Volume,
    VolumeKind,
)
from planner.rules import RULES
from tests.planner.season import Season


def pia(*, pb_m: float = 32, goal_m: float = 42, held_m: float = 17.5) -> Season:
    """A diver with FRC 17.5 m held, filled at 7 m: 35 m is supported."""
    season = Season(Exercise.FRC).profile(pb_m=pb_m, goal_m=goal_m)
    season.reported(held_m / 0.8 + 0.1, date(2026, 7, 1)).morning("2026-07-01")
    return season.dive(14, fill_m=7).dive(held_m, fill_m=7)


def asked(season: Season) -> FullPlan | Refusal:
    return full_plan(season.record(), rules=season.rules, at=season.at)


def line(season: Season) -> float:
    said = asked(season)
    assert isinstance(said, FullPlan), said
    return said.line_m


def why(season: Season) -> set[Because]:
    said = asked(season)
    assert isinstance(said, Refusal), said
    return {bar.because for bar in said.bars}


def full(season: Season, depth_m: float | None, ending: str = "clean", fill_m: float | None = 18):
    return season.other(Exercise.FULL, depth_m, ending, fill_m=fill_m)


def readiness(season: Season) -> Readiness:
    found = ready(season.record(), rules=season.rules, at=season.at)
    assert found is not None
    return found


def test_two_metres_over_the_best_within_what_is_supported() -> None:
    """Held 17.5 m supports 35 by the rule: the line is 34 over a best of 32, filled at 17.5 to 20.5 m."""
    said = asked(pia().morning("2026-07-04"))
    assert isinstance(said, FullPlan)
    assert (said.line_m, said.fill.low_m, said.fill.high_m) == (34, 17.5, 20.5)
    assert (said.supported.depth_m, said.supported.exercise) == (35, Exercise.FRC)
    assert (said.is_step, said.clean_days, said.days_needed) == (True, 0, 2)
    assert Reason.STERNUM in said.turns
    assert [cap.because for cap in said.caps] == [Because.FULL_STEP, Because.SUPPORTED]


def test_no_step_before_a_whole_one_is_supported() -> None:
    """With 33.5 m supported there is no step over 32; with 34 there is."""
    assert why(pia(held_m=16.5).morning("2026-07-04")) == {Because.NOT_SUPPORTED}
    assert line(pia(held_m=17).morning("2026-07-04")) == 34


def test_the_goal_ends_the_ladder() -> None:
    """A line never goes past the goal; with the goal reached, another goal is asked for."""
    assert line(pia(goal_m=33).morning("2026-07-04")) == 33
    assert Because.GOAL_REACHED in why(pia(goal_m=32).morning("2026-07-04"))


def test_a_day_of_its_own_and_a_night_both_ways() -> None:
    """No full-lung step on an exhale day; and no exhale target the day after a deep one."""
    season = pia()
    assert why(season) == {Because.EXHALE_DIVE}
    full(season.morning("2026-07-04"), 34)
    said = season.said()
    assert isinstance(said, Refusal)
    assert Because.FULL_DIVE in {bar.because for bar in said.bars}
    tightened = RULES.tightened({"rest.full_nights": 4})
    season = pia()
    season.rules = tightened
    season.morning("2026-07-04")
    assert why(season) == {Because.REST}


def test_the_same_bars_as_for_exhale_dives() -> None:
    """No buddy, no yes, an open check: no full-lung step either."""
    season = pia()
    season.at += timedelta(days=3)
    assert why(season) == {Because.NO_BUDDY, Because.NO_FIT, Because.CHECK_OPEN}


def test_two_clean_on_two_days_before_the_next_step() -> None:
    """A step that was dived comes again until it was clean on two days; a stated best need not."""
    season = pia(held_m=18.5).morning("2026-07-04")
    full(season, 34)
    full(season, 34)
    said = asked(season.morning("2026-07-06"))
    assert isinstance(said, FullPlan)
    assert (said.line_m, said.is_step, said.clean_days) == (34, False, 1)
    assert said.caps[0].because is Because.FULL_REPEAT
    assert line(full(season, 34).morning("2026-07-07")) == 36


def test_one_full_lung_step_a_day() -> None:
    """With 34 m clean on two days the next step is for the day after, not for the same one."""
    season = full(pia(held_m=18.5).morning("2026-07-04"), 34)
    full(season.morning("2026-07-06"), 34)
    season.at += timedelta(minutes=30)
    assert Because.ONE_FULL_STEP in why(season)
    assert line(season.morning("2026-07-07")) == 36


def test_a_full_lung_dive_counts_with_its_fill_only() -> None:
    """Without a fill, stated or briefed, a clean dive is no personal best."""
    season = pia(held_m=18.5).morning("2026-07-04")
    full(season, 34, fill_m=None)
    assert standing(season.record(), rules=RULES, at=season.at).pb_m == 32
    season.facts.insert(
        -1,
        Brief(
            **(season._carried() | {"happened_at": season.at - timedelta(minutes=5)}),  # type: ignore[arg-type]
            exercise=Exercise.FULL, depth_m=34, fill_low_m=17.5, fill_high_m=22,
        ),
    )  # fmt: skip
    assert standing(season.record(), rules=RULES, at=season.at).pb_m == 34


def test_a_best_that_was_dived_outlives_a_shallower_statement() -> None:
    """The personal best is the deepest of the stated one and the dives."""
    season = full(pia().morning("2026-07-04"), 34)
    season.facts.append(PB(**season._carried(), depth_m=30))  # type: ignore[arg-type]
    assert standing(season.record(), rules=RULES, at=season.at).pb_m == 34


def test_after_running_out_the_last_clean_depth_and_what_was_lost() -> None:
    """Empty: no deeper than was clean, nor than where the mouth was empty; the loss is shown."""
    season = full(pia().morning("2026-07-04"), 34)
    full(season.morning("2026-07-06"), 31, "empty")
    assert why(season) == {Because.FULL_TROUBLE}
    said = asked(season.morning("2026-07-07"))
    assert isinstance(said, FullPlan)
    assert (said.line_m, said.is_step) == (31, False)
    assert said.lost is not None
    assert 0 <= said.lost.low_or_value < said.lost.value < said.lost.high_or_value < 1


def again(season: Season) -> Season:
    return replace(season, facts=list(season.facts))


def lost(season: Season) -> Figure:
    found = lost_share(season.record(), season.record().dives[-1])
    assert found is not None
    return found


def test_the_loss_is_told_by_the_divers_own_dives_as_soon_as_there_are_any() -> None:
    """Volumes say hardly anything; clean full-lung dives before it do, and more of them more."""
    season = pia().morning("2026-07-04")
    nothing = lost(full(again(season), 27, "empty"))
    assert nothing.source
    assert nothing.high_or_value - nothing.low_or_value > 0.5
    widths = []
    for day in ("2026-07-06", "2026-07-07"):
        full(full(season.morning(day), 34), 34)
        own = lost(full(again(season), 27, "empty"))
        assert not own.source
        # 34 m asked 0.572 over the fill of 18 m, 27 m asks 0.32: at least 44 % by the clean dives
        assert own.value > 0.44
        widths.append(own.high_or_value - own.low_or_value)
    assert widths[1] < widths[0] < nothing.high_or_value - nothing.low_or_value


def test_a_measured_charge_narrows_the_loss_before_there_are_dives() -> None:
    """With a measured mouthful the band by volumes is that of the air spaces alone."""
    season = pia().morning("2026-07-04")
    carried = season._carried()
    charge = Volume(**carried, volume=VolumeKind.MOUTH, value=70.0)  # type: ignore[arg-type]
    told = again(season)
    told.facts.append(charge)
    wide, narrow = (lost(full(one, 31, "empty")) for one in (again(season), told))
    assert narrow.high_or_value - narrow.low_or_value < wide.high_or_value - wide.low_or_value


def test_the_fill_of_a_dive_that_ran_out_is_the_briefed_one_unless_stated() -> None:
    """Without a stated fill the brief's deep end stands for it; without a brief nothing is said."""
    season = pia().morning("2026-07-04")
    brief = Brief(
        **season._carried(),
        exercise=Exercise.FULL,
        depth_m=34,
        fill_low_m=16,
        fill_high_m=18,  # type: ignore[arg-type]
    )
    silent = full(again(season), 31, "empty", fill_m=None)
    assert lost_share(silent.record(), silent.record().dives[-1]) is None
    season.facts.append(brief)
    stated, briefed = (full(again(season), 31, "empty", fill_m=f) for f in (18, None))
    assert lost(stated).value == lost(briefed).value


def test_after_running_out_the_ladder_is_climbed_again() -> None:
    """From where it ran out: two clean days, then a step, but no deeper than the best at once."""
    season = pia().morning("2026-07-04")
    full(season, 31, "empty")
    for day in ("2026-07-06", "2026-07-07"):
        assert line(season.morning(day)) == 31
        full(season, 31)
    assert line(season.morning("2026-07-08")) == 32


@pytest.mark.parametrize("fault", ["leak", "swallow", "stuck"])
def test_a_technique_fault_brings_no_step(fault: str) -> None:
    """Leak, swallow or stuck: the last clean depth again; two alike in three set the task."""
    season = pia().morning("2026-07-04")
    full(season, 33, fault)
    said = asked(season.morning("2026-07-05"))
    assert isinstance(said, FullPlan)
    assert (said.line_m, said.is_step, said.lost) == (32, False, None)
    assert not standing(season.record(), rules=RULES, at=season.at).learning.open
    full(season, 30)
    full(season, 31, fault)
    state = standing(season.record(), rules=RULES, at=season.at)
    assert [task.reason for task in state.learning.open.values()] == [Reason(fault)]
    for day in ("2026-07-06", "2026-07-07"):
        full(season.morning(day), 32)
    assert why(season.morning("2026-07-08")) == {Because.LEARNING}


def test_after_pressure_on_full_lungs() -> None:
    """Pressure: the next line is 80 % of the turn; its depth must be told."""
    season = full(pia().morning("2026-07-04"), 33, "throat")
    assert line(season.morning("2026-07-06")) == 26
    season = full(pia().morning("2026-07-04"), None, "throat")
    assert why(season.morning("2026-07-06")) == {Because.DEPTH_UNKNOWN}


def test_after_pressure_on_full_lungs_rv_opens_lower_once() -> None:
    """Pressure: the next exhale day opens at 80 % of held, RV too; the one after it straight in."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=64).reported(9, date(2026, 7, 1))
    season.morning("2026-07-01").dive(5).dive(5)
    full(season.morning("2026-07-04"), 25, "sternum")
    opens = season.morning("2026-07-06").said()
    assert isinstance(opens, Plan)
    assert (opens.depth_m, opens.caps[0].figure) == (4, "full.opening_share")
    assert season.dive(4).next() == 5
    assert season.dive(5).next() == 5.5
    assert season.morning("2026-07-13").next() == 5


def test_after_pressure_on_full_lungs_the_base_needs_two_new_days() -> None:
    """Pressure: base met waits for two new days at the base."""
    season = pia(pb_m=30, goal_m=34, held_m=17)
    season.dive(17).dive(17).morning("2026-07-04").dive(14).dive(17)
    assert readiness(season).met
    full(season.morning("2026-07-06"), 30, "chest")
    assert (readiness(season).met, readiness(season).new_days_owed) == (False, 2)
    season.morning("2026-07-08").dive(13.5).dive(17)
    assert readiness(season).new_days_owed == 1
    season.morning("2026-07-13").dive(13.5).dive(17)
    assert (readiness(season).met, readiness(season).new_days_owed) == (True, 0)


@pytest.mark.parametrize(("ending", "because"), [("urge", Because.URGE), ("cold", Because.COLD)])
def test_urge_and_cold_end_a_full_lung_day(ending: str, because: Because) -> None:
    """Urge or cold on full lungs: the day is over; an urge brings nothing new next time."""
    season = full(pia().morning("2026-07-04"), 33, ending)
    assert because in why(season)
    season.morning("2026-07-05")
    assert (asked(season).__class__ is Refusal) == (ending == "urge")


def test_frc_credit_stays_while_rv_builds() -> None:
    """Past 50 m the exercise is RV, and what FRC showed still supports its own."""
    season = Season(Exercise.FRC).profile(pb_m=48, goal_m=60).reported(31.5, date(2026, 7, 1))
    season.morning("2026-07-01").dive(20, fill_m=7).dive(25, fill_m=7)
    season.facts.append(PB(**season._carried(), depth_m=50))  # type: ignore[arg-type]
    state = standing(season.record(), rules=RULES, at=season.at)
    assert (state.exercise, state.held_m) == (Exercise.RV, None)
    supported = supported_of(state)
    assert supported is not None
    assert (supported.exercise, supported.depth_m) == (Exercise.FRC, 50)
    assert (
        supported_of(standing(season.record(), rules=RULES, at=season.at + timedelta(43))) is None
    )


def test_no_line_without_volumes_or_with_an_empty_window() -> None:
    """Without lungs, and where no fill depth serves both ends, each is named."""
    season = pia().morning("2026-07-04")
    season.facts = [f for f in season.facts if not isinstance(f, Body)]
    assert Because.NO_VOLUMES in why(season)
    season = pia().morning("2026-07-04")
    season.facts = [
        replace(f, fill_m=10) if isinstance(f, Dive) and f.depth_m == 17.5 else f
        for f in season.facts
    ]
    assert why(season) == {Because.NOT_SUPPORTED, Because.EMPTY_WINDOW}


def test_the_goal_after_a_reached_one_is_five_metres_on_at_most() -> None:
    """Goal reached on dives of the log: exhale targets wait for the next goal, 5 m further at most."""
    season = full(pia(goal_m=34).morning("2026-07-04"), 34)
    assert Because.GOAL_REACHED in {b.because for b in getattr(season.said(), "bars", ())}
    assert readiness(season).goal_reached
    season.facts.append(Goal(**season._carried(), depth_m=50))  # type: ignore[arg-type]
    state = standing(season.record(), rules=RULES, at=season.at)
    assert (state.goal_m, state.base_m) == (39, 19.5)


def test_a_reported_base_supports_too() -> None:
    """What a reported base counts as is held, and speaks for a full-lung depth."""
    season = Season(Exercise.FRC).profile(pb_m=20, goal_m=42).reported(22, date(2026, 7, 1))
    assert isinstance(season.facts[-1], ReportedBase)
    season.morning("2026-07-02")
    supported = supported_of(standing(season.record(), rules=RULES, at=season.at))
    assert supported is not None
    assert supported.depth_m == 35


def test_the_chance_of_the_next_dive_comes_from_the_reach() -> None:
    """After dives that ran out the next one is less likely to stay equalised than after clean ones."""
    clean = readiness(pia().morning("2026-07-04"))
    assert clean.asked_m == 14
    assert clean.chance_equalised is not None
    out = pia().morning("2026-07-04").dive(12, "empty", fill_m=7).dive(11, "empty", fill_m=7)
    after = readiness(out.morning("2026-07-08"))
    assert after.chance_equalised is not None
    assert 0 < after.chance_equalised < clean.chance_equalised < 1
    assert all(d.ending is not Ending.HARD for d in out.record().dives)
