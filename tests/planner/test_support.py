"""What an exhale dive supports, which bound binds, and the full-lung step."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from planner.figure import OutOfRange
from planner.gas import compression, lungs_below_fill_l
from planner.lungs import Lungs, predict, with_measured
from planner.pressure import ROPE_AT_SEA
from planner.record import Exercise, Sex
from planner.rules import RULES
from planner.support import (
    Bound,
    BoundKind,
    binding,
    chest_asks_rv_m,
    chest_depth_m,
    deepest_full_fill_m,
    full_fill_window,
    mouth_depth_m,
    required_fill_m,
    rule_depth_m,
    supported_m,
    supports,
)
from tests.planner.test_lungs import people

MAN = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
WOMAN_50 = predict(sex=Sex.FEMALE, age_y=50, height_m=1.60)

exhale = st.sampled_from([Exercise.FRC, Exercise.RV])


def by_kind(bounds: tuple[Bound, ...]) -> dict[BoundKind, Bound]:
    return {bound.kind: bound for bound in bounds}


def test_without_lungs_the_rule_binds_and_the_mouth_names_its_fill() -> None:
    """Without volumes: 40 m by rule, and by the mouth on condition of a fill of 19.2 m."""
    bounds = supports(exercise=Exercise.FRC, clean_m=20, fill_m=7.5, site=ROPE_AT_SEA)
    assert [bound.kind for bound in bounds] == [BoundKind.RULE, BoundKind.MOUTH]
    assert bounds[1].if_fill_m == pytest.approx(19.19, abs=0.01)
    least = binding(bounds)
    assert least is not None
    assert (least.kind, least.depth_m) == (BoundKind.RULE, 40)


def test_for_high_rv_the_chest_or_the_mouth_binds_and_not_the_rule() -> None:
    """A woman of 50 whose RV/TLC is 0.356 is supported to less than five times her RV depth."""
    bounds = supports(exercise=Exercise.RV, clean_m=12, fill_m=0, lungs=WOMAN_50)
    kinds = by_kind(bounds)
    assert kinds[BoundKind.CHEST].depth_m < kinds[BoundKind.RULE].depth_m
    least = binding(bounds)
    assert least is not None
    assert least.kind is not BoundKind.RULE


def test_a_smaller_measured_rv_lifts_the_chest_and_narrows_its_band() -> None:
    """RV 1.3 instead of the predicted 1.7 supports more, within a narrower band."""
    kinds = [
        by_kind(supports(exercise=Exercise.RV, clean_m=12, fill_m=0, lungs=lungs))
        for lungs in (WOMAN_50, with_measured(WOMAN_50, rv_l=1.3))
    ]
    before, after = (k[BoundKind.CHEST] for k in kinds)
    assert after.depth_m > before.depth_m
    assert after.high_m / after.low_m < before.high_m / before.low_m


def test_frc_counts_from_the_land_volume_with_the_afloat_one_as_its_upper_end() -> None:
    """With all volumes measured, FRC 20 m supports from 55 m on land to beyond 80 m afloat."""
    own = with_measured(MAN, tlc_l=7.302, rv_l=1.788, frc_l=3.392)
    chest = by_kind(supports(exercise=Exercise.FRC, clean_m=20, fill_m=7.5, lungs=own))[
        BoundKind.CHEST
    ]
    assert chest.low_m == pytest.approx(chest.depth_m)
    assert chest.depth_m == pytest.approx(55, abs=1)
    assert chest.high_m > 80


@given(people, exhale, st.floats(8, 25), st.floats(0.1, 10))
def test_a_deeper_clean_dive_never_supports_less(
    lungs: Lungs, exercise: Exercise, clean_m: float, more_m: float
) -> None:
    """Each bound rises with the clean depth, and every bound lies inside its own band."""
    fill_m = 6.0 if exercise is Exercise.FRC else 0.0
    shallow = supports(exercise=exercise, clean_m=clean_m, fill_m=fill_m, lungs=lungs)
    deep = supports(exercise=exercise, clean_m=clean_m + more_m, fill_m=fill_m, lungs=lungs)
    for upper, lower in zip(shallow, deep, strict=True):
        assert upper.kind is lower.kind
        assert upper.depth_m <= lower.depth_m + 1e-9
        assert lower.low_m <= lower.depth_m + 1e-9
        assert lower.depth_m <= lower.high_m + 1e-9


@given(people, exhale, st.floats(8, 22))
def test_the_chest_bound_is_where_the_compression_is_the_same(
    lungs: Lungs, exercise: Exercise, clean_m: float
) -> None:
    """At the chest's depth the full-lung ledger gives the c of the exhale dive."""
    rv_l, tlc_l = lungs.rv_l.value, lungs.tlc_l.value
    begins_l = rv_l if exercise is Exercise.RV else lungs.frc_l.value
    fill_m = 0.0 if exercise is Exercise.RV else 6.0
    about = {"charge_ml": 60.0, "rigid_ml": 20.0}
    goal_m = chest_depth_m(
        tlc_l=tlc_l, begins_l=begins_l, exercise=exercise, clean_m=clean_m, fill_m=fill_m,
        full_fill_m=15, **about,
    )  # fmt: skip
    assume(15 <= goal_m <= 300)
    exhaled = lungs_below_fill_l(
        start_l=begins_l, fill_m=fill_m, depth_m=clean_m,
        charge_from_outside=exercise is Exercise.RV, **about,
    )  # fmt: skip
    full = lungs_below_fill_l(start_l=tlc_l, fill_m=15, depth_m=goal_m, **about)
    assert compression(volume_l=full, rv_l=rv_l) == pytest.approx(
        compression(volume_l=exhaled, rv_l=rv_l)
    )


@given(people, st.floats(30, 90))
def test_what_the_chest_asks_and_what_it_supports_invert(lungs: Lungs, goal_m: float) -> None:
    """The RV depth that a goal asks of the chest supports just that goal."""
    about = {"full_fill_m": 15.0, "charge_ml": 60.0, "rigid_ml": 20.0}
    tlc_l, rv_l = lungs.tlc_l.value, lungs.rv_l.value
    asked_m = chest_asks_rv_m(tlc_l=tlc_l, rv_l=rv_l, goal_m=goal_m, **about)
    assume(asked_m > 0)
    back_m = chest_depth_m(
        tlc_l=tlc_l, begins_l=rv_l, exercise=Exercise.RV, clean_m=asked_m, fill_m=0, **about
    )
    assert back_m == pytest.approx(goal_m)


def test_where_the_dive_ends_above_the_full_lung_fill_no_charge_is_taken() -> None:
    """A shallow exhale dive's chest depth above the fill counts no charge out of the lungs."""
    about = {"tlc_l": 6.0, "begins_l": 3.0, "exercise": Exercise.FRC, "clean_m": 4.0, "fill_m": 2.0}
    small = chest_depth_m(full_fill_m=30, charge_ml=0, **about)  # type: ignore[arg-type]
    assert small < 30
    assert small == pytest.approx(2 * 14.1325 - 10.1325)


@given(st.floats(8, 30), st.floats(0, 7), st.floats(20, 80), st.floats(0, 30))
def test_the_mouths_depth_and_its_fill_invert(
    clean_m: float, fill_m: float, goal_m: float, more_m: float
) -> None:
    """The fill a goal requires supports that goal, and a deeper goal never needs a shallower one."""
    about = {"clean_m": clean_m, "fill_m": fill_m}
    full_fill_m = required_fill_m(goal_m=goal_m, **about)
    assert required_fill_m(goal_m=goal_m + more_m, **about) >= full_fill_m
    if full_fill_m > 0:
        assert mouth_depth_m(full_fill_m=full_fill_m, **about) == pytest.approx(goal_m)


def test_a_dive_not_below_its_fill_speaks_for_nothing() -> None:
    """At the fill's own depth the mouth gave no ratio: an error, and no mouth bound."""
    with pytest.raises(OutOfRange):
        required_fill_m(goal_m=40, clean_m=7, fill_m=7)
    kinds = by_kind(supports(exercise=Exercise.FRC, clean_m=5, fill_m=5, lungs=MAN))
    assert BoundKind.MOUTH not in kinds


def test_full_lungs_are_no_exhale_dive() -> None:
    """The rule speaks of exhale dives only."""
    with pytest.raises(OutOfRange):
        rule_depth_m(exercise=Exercise.FULL, clean_m=30)


def test_the_rule_follows_the_rules() -> None:
    """The rule's factors are those of rules.toml."""
    changed = RULES._changed({"exercise.frc_base_share": 0.4})
    assert rule_depth_m(exercise=Exercise.FRC, clean_m=20, rules=changed) == pytest.approx(50)


def test_supported_is_the_better_of_both_exercises_rounded_down() -> None:
    """FRC credit stays while RV builds: the better of the two, each by its own least bound."""
    frc = supports(exercise=Exercise.FRC, clean_m=25, fill_m=8)
    rv = supports(exercise=Exercise.RV, clean_m=6.35, fill_m=0)
    assert supported_m(frc, rv) == 50
    assert supported_m((), rv) == 31.5
    assert supported_m((), ()) is None


@given(people, st.floats(20, 80), st.floats(8, 25))
def test_a_fill_window_asks_no_more_than_the_clean_dive(
    lungs: Lungs, line_m: float, clean_m: float
) -> None:
    """From its shallow end down the window asks at most the clean dive's ratio, and no chest."""
    window = full_fill_window(lungs, line_m=line_m, clean_m=clean_m, fill_m=6)
    assert mouth_depth_m(full_fill_m=window.low_m, clean_m=clean_m, fill_m=6) >= line_m - 1e-9
    assert window.high_m <= deepest_full_fill_m(lungs).value
    assert window.high_m <= line_m - 2
    for end in (window.low_m, window.high_m):
        assert end * 2 == int(end * 2)
