"""A plan and a refusal in all their parts, and what a look ahead may not change."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from planner.plan import FillWindow, Plan, Refusal, plan, settled_m, standing
from planner.reasons import Bar, Because, Cap
from planner.record import (
    PB,
    Asked,
    Brief,
    Dive,
    Exercise,
    Goal,
    record_of,
)
from planner.rules import RULES
from tests.planner.season import DIVER, ZONE, Season


def frc() -> Season:
    """12 m held (80 % of the reported 15), base 20, on the morning of 7 May."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(15, date(2026, 5, 1))
    return season.morning("2026-05-07")


def say(season: Season, kind: type, **fields: object) -> Season:
    season.facts.append(kind(**season._carried(), **fields))
    return season


def test_a_plan_in_all_its_parts() -> None:
    """The third dive of a day: a step past held, filled at 5 to 10 m, with every cap that spoke."""
    season = frc().dive(9.5).dive(12)
    dived_at = season.at
    said = season.said()
    assert said == Plan(
        diver=DIVER,
        exercise=Exercise.FRC,
        depth_m=13,
        fill=FillWindow(low_m=5, high_m=said.fill.high_m),  # type: ignore[union-attr]
        not_before_at=dived_at + timedelta(minutes=4),
        dive_number=3,
        dives_allowed=5,
        on_condition=False,
        is_new_depth=True,
        is_opening=False,
        held_m=12,
        base_m=20,
        caps=(
            Cap(because=Because.STEP, figure="step.frc_m", depth_m=13),
            Cap(because=Because.CEILING, figure="exercise.frc_base_share", depth_m=20),
            Cap(
                because=Because.INTERVAL,
                figure="interval.frc_min",
                not_before_at=dived_at + timedelta(minutes=4),
            ),
        ),
    )
    assert said.fill.high_m is not None
    assert 5 < said.fill.high_m <= 10
    assert not said.fill.at_surface


def test_a_refusal_in_all_its_parts() -> None:
    """What was done, how many there may be, held, base and the next day stand beside the bars."""
    season = frc().dive(9.5).dive(11.5, "urge")
    assert season.said() == Refusal(
        diver=DIVER,
        exercise=Exercise.FRC,
        bars=(Bar(because=Because.URGE, figure="trouble.most"),),
        dives_done=2,
        dives_allowed=5,
        held_m=12,
        base_m=20,
        free_on=date(2026, 5, 9),
    )


def test_without_a_personal_best_nothing_is_known_to_refuse() -> None:
    """No exercise: neither held, base nor a next day; without a goal the exercise is known."""
    season = frc()
    season.facts = [f for f in season.facts if not isinstance(f, PB)]
    said = season.said()
    assert isinstance(said, Refusal)
    assert (said.exercise, said.held_m, said.base_m, said.free_on) == (None, None, None, None)
    season = frc()
    season.facts = [f for f in season.facts if not isinstance(f, Goal)]
    said = season.said()
    assert isinstance(said, Refusal)
    assert (said.exercise, said.held_m, said.base_m) == (Exercise.FRC, 12, None)
    assert said.free_on == date(2026, 5, 7)


def test_each_dive_of_a_day_says_what_it_is() -> None:
    """Opening, at held, new, and new again: number, depth, and whether it opens or is new."""
    season = frc()
    seen = []
    for _ in range(4):
        said = season.said()
        assert isinstance(said, Plan)
        seen.append((said.dive_number, said.depth_m, said.is_opening, said.is_new_depth))
        season.dive(said.depth_m)
    assert seen == [
        (1, 9.5, True, False), (2, 12, False, False), (3, 13, False, True), (4, 13, False, True),
    ]  # fmt: skip


@pytest.mark.parametrize(("ending", "condition"), [("sternum", True), ("leak", False)])
def test_only_a_pressure_stop_puts_the_next_target_on_condition(
    ending: str, condition: bool
) -> None:
    """After pressure the diver goes on only if nothing is felt."""
    said = frc().dive(9.5).dive(11.5, ending).said()
    assert isinstance(said, Plan)
    assert said.on_condition is condition


def test_an_rv_dive_is_filled_at_the_surface() -> None:
    """RV: no fill depth at either end."""
    said = Season(Exercise.RV).profile(pb_m=54, goal_m=64).morning("2026-05-07").said()
    assert isinstance(said, Plan)
    assert (said.exercise, said.depth_m) == (Exercise.RV, 2)
    assert said.fill == FillWindow(low_m=None, high_m=None)
    assert said.fill.at_surface


def test_a_shallow_target_is_filled_at_one_depth() -> None:
    """After a fault the target may be under 7 m: filled 2 m above it."""
    said = frc().dive(9.5).dive(7, "hard").said()
    assert isinstance(said, Plan)
    assert (said.depth_m, said.fill) == (6, FillWindow(low_m=4, high_m=4))


def test_the_target_that_stands_is_the_plans() -> None:
    """What a dive is held against is what was told, dive by dive, and nothing where a bar stands."""
    season = frc()
    for ending in ("clean", "clean", "hard", "clean"):
        now = standing(season.record(), rules=RULES, at=season.at)
        target = season.next()
        assert settled_m(now, season.at) == target
        assert target is not None
        season.dive(target, ending)
    season.dive(5, "urge")
    assert settled_m(standing(season.record(), rules=RULES, at=season.at), season.at) is None


def test_an_answer_of_any_time_closes_its_question() -> None:
    """A fact of the question's line answers it, whether it happened before the question or after."""
    # Asked in a record that was looked at already, so that a fold that is gone on with agrees.
    season = frc().dive(9.5)
    carried = season._carried()
    season.facts.append(Asked(**carried, question="q", readings=("a",), may_answer=(DIVER,)))  # type: ignore[arg-type]
    assert isinstance(season.said(), Refusal)
    asked = season.facts[-1]
    for minutes in (-3, 0, 3):
        answer = replace(
            season.facts[-2],
            happened_at=asked.happened_at + timedelta(minutes=minutes),
            origin=asked.origin,
        )
        assert isinstance(answer, Dive)
        told = replace(season, facts=[*season.facts, answer])
        told.at = asked.happened_at + timedelta(minutes=5)
        assert Because.QUESTION_OPEN not in {b.because for b in getattr(told.said(), "bars", ())}
    elsewhere = replace(answer, origin=replace(asked.origin, line=7))
    still = replace(season, facts=[*season.facts, elsewhere])
    assert Because.QUESTION_OPEN in {b.because for b in getattr(still.said(), "bars", ())}


def test_a_question_that_bars_nothing_leaves_the_target() -> None:
    """Some questions are only asked."""
    season = frc().dive(9.5)
    say(season, Asked, question="q", readings=("a",), may_answer=(DIVER,), bars=False)
    assert isinstance(season.said(), Plan)


def test_an_exhale_brief_fills_no_full_lung_dive() -> None:
    """Only a full-lung brief says where a full-lung dive was filled, and only if it named a fill."""
    for exercise, high_m, pb_m in (
        (Exercise.FRC, 10.0, 32), (Exercise.FULL, None, 32), (Exercise.FULL, 20.0, 34),
    ):  # fmt: skip
        season = frc()
        say(season, Brief, exercise=exercise, depth_m=34, fill_high_m=high_m)
        season.other(Exercise.FULL, 34)
        assert standing(season.record(), rules=RULES, at=season.at).pb_m == pb_m


def test_looking_ahead_changes_nothing() -> None:
    """A copy that goes on by itself leaves the standing it was taken from as it was."""
    season = frc().dive(9.5).dive(12)
    now = standing(season.record(), rules=RULES, at=season.at)
    said = season.said()
    ahead = now.copy()
    ahead.arrive(season.at + timedelta(days=90))
    ahead.day_state.caps.append((Because.AFTER_HARD, 1.0))
    ahead.exhale_days[-1].long_rest = True
    ahead.briefed[("x", 1, 1)] = 1.0
    ahead.base_dives.clear()
    ahead.unknown_depths.append(season.record().dives[0])
    assert season.said() == said
    assert now.held_m == 12
    assert not now.day_state.caps
    assert not now.exhale_days[-1].long_rest
    assert ("x", 1, 1) not in now.briefed
    assert len(now.base_dives) == 2
    assert not now.unknown_depths


def test_two_divers_and_two_sets_of_rules_are_kept_apart() -> None:
    """What is kept of one diver under one set of rules is nobody else's, and not of other rules."""
    season = frc().dive(9.5).dive(12)
    strict = RULES.tightened({"step.frc_m": 0.5})
    assert plan(season.record(), rules=strict, at=season.at).depth_m == 12.5  # type: ignore[union-attr]
    assert season.next() == 13
    other = record_of(
        "noor", [replace(f, diver="noor", by="noor") for f in season.facts[:3]], timezone=ZONE
    )
    assert isinstance(plan(other, rules=RULES, at=season.at), Refusal)
    assert season.next() == 13


def test_a_coachs_stricter_fill_reaches_the_brief() -> None:
    """Filled 3 m above the target instead of 2, and at 6 m at the deepest, where the rules say so."""
    season = frc()
    assert season.said().fill.high_m > 6  # type: ignore[union-attr,operator]
    season.rules = RULES.tightened({"fill.frc_high_m": 6, "fill.above_target_m": 3})
    assert season.said().fill == FillWindow(low_m=5, high_m=6)  # type: ignore[union-attr]
