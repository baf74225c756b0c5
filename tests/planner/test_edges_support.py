"""What an exhale dive supports, to the limits of each bound, and how each figure is named.

Formulas are those of the docstrings (bare Boyle, house rule H for margins); arithmetic is our own.
"""

from __future__ import annotations

from dataclasses import replace
from math import exp, sqrt

import pytest

from planner.consistency import consistency
from planner.figure import Figure, Mark
from planner.gas import fill_window_m, latest_fill_m
from planner.lungs import predict
from planner.pressure import ROPE_AT_SEA, Site
from planner.reach import reach
from planner.record import Exercise, Sex
from planner.rules import RULES
from planner.spaces import spaces
from planner.support import (
    Bound,
    BoundKind,
    binding,
    chest_depth_m,
    deepest_full_fill_m,
    full_fill_window,
    mouth_depth_m,
    required_fill_m,
    supported_m,
    supports,
)

WOMAN = predict(sex=Sex.FEMALE, age_y=29, height_m=1.72)
MAN = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
LAKE = Site(salt=False, gauge=False, altitude_m=1500)


def shown(figure: Figure) -> tuple[object, ...]:
    return figure.name, figure.unit, figure.mark, figure.source


def test_figures_say_name_unit_mark_and_source() -> None:
    """What `why` shows of a chance, a fill and a reach."""
    assert shown(consistency(clean=3, dives=4)) == (
        "chance_clean", "", Mark.PUBLISHED, "brown-2001",
    )  # fmt: skip
    assert shown(deepest_full_fill_m(WOMAN)) == (
        "full_fill_deep", "m", Mark.HOUSE, "quanjer-1993",
    )  # fmt: skip
    assert shown(reach([]).ratio) == ("reach", "", Mark.HOUSE, None)
    assert shown(reach([]).depth_m(fill_m=5)) == ("reach_depth", "m", Mark.HOUSE, None)


def test_a_chances_ends_are_closed_where_all_or_none_were_clean() -> None:
    """None clean of three: from 0; all clean: to 1; between them neither (Brown, Cai, DasGupta 2001)."""
    none, some, every = (consistency(clean=clean, dives=3) for clean in (0, 1, 3))
    assert none.low == 0
    assert 0 < some.low_or_value < some.value < some.high_or_value < 1
    assert every.high == 1
    assert none.high == pytest.approx(1 - every.low_or_value)
    assert none.value == pytest.approx(0.125)


@pytest.mark.parametrize("site", [Site(), ROPE_AT_SEA, LAKE])
def test_every_bound_counts_depth_as_the_site_reads_it(site: Site) -> None:
    """Mouth: p(G) = p(F) p(d) / p(f), with the pressures of the site, and its inverse."""
    p0, k = site.surface_bar, site.bar_per_m
    pf, pd, full = p0 + k * 7, p0 + k * 17.5, p0 + k * 20
    expected = (full * pd / pf - p0) / k
    assert mouth_depth_m(full_fill_m=20, clean_m=17.5, fill_m=7, site=site) == pytest.approx(
        expected
    )
    assert required_fill_m(goal_m=expected, clean_m=17.5, fill_m=7, site=site) == pytest.approx(20)
    bounds = {
        b.kind: b
        for b in supports(exercise=Exercise.FRC, clean_m=17.5, fill_m=7, lungs=WOMAN, site=site)
    }
    deep = deepest_full_fill_m(WOMAN, site=site)
    mouth = bounds[BoundKind.MOUTH]
    ends = [
        ((p0 + k * f) * pd / pf - p0) / k
        for f in (deep.low_or_value, deep.value, deep.high_or_value)
    ]
    assert [mouth.low_m, mouth.depth_m, mouth.high_m] == pytest.approx(ends)
    assert mouth.if_fill_m == deep.value
    assert bounds[BoundKind.RULE] == Bound(kind=BoundKind.RULE, depth_m=35, low_m=35, high_m=35)


@pytest.mark.parametrize("site", [Site(), ROPE_AT_SEA, LAKE])
def test_the_deep_end_of_a_full_lung_fill_is_two_metres_above_rv(site: Site) -> None:
    """Where TLC less the charge reaches RV, less 2 m (H), down to half a metre; the band by TLC / RV."""
    own = spaces(sex=Sex.FEMALE)
    latest = latest_fill_m(
        start_l=WOMAN.tlc_l.value, rv_l=WOMAN.rv_l.value, charge_ml=55.4, rigid_ml=17.1, site=site
    )
    deep = deepest_full_fill_m(WOMAN, own=own, site=site)
    assert deep.value == (latest - 2) // 0.5 / 2
    tlc, rv = WOMAN.tlc_l, WOMAN.rv_l
    spread = exp(sqrt((1.64 * 0.60 / tlc.value) ** 2 + (1.64 * 0.35 / rv.value) ** 2))
    bar = site.surface_bar + site.bar_per_m * latest
    for end, factor in ((deep.low, 1 / spread), (deep.high, spread)):
        assert end == pytest.approx((bar * factor - site.surface_bar) / site.bar_per_m - 2)
    assert deepest_full_fill_m(WOMAN, site=site) == deep
    full_of_rv = replace(WOMAN, tlc_l=replace(tlc, value=rv.value))
    assert deepest_full_fill_m(full_of_rv).value == 0
    assert deepest_full_fill_m(full_of_rv).low == 0


def test_without_lungs_the_mouth_speaks_for_the_rules_depth_on_condition_of_a_fill() -> None:
    """No volumes: the mouth's bound is the rule's depth with the fill that it asks for; at the fill none."""
    rule, mouth = supports(exercise=Exercise.FRC, clean_m=15, fill_m=7)
    asked = required_fill_m(goal_m=30, clean_m=15, fill_m=7)
    assert (rule.kind, rule.depth_m, rule.if_fill_m) == (BoundKind.RULE, 30, None)
    assert mouth == Bound(kind=BoundKind.MOUTH, depth_m=30, low_m=30, high_m=30, if_fill_m=asked)
    assert [b.kind for b in supports(exercise=Exercise.FRC, clean_m=7, fill_m=7)] == [
        BoundKind.RULE
    ]
    with_lungs = supports(exercise=Exercise.FRC, clean_m=7, fill_m=7, lungs=WOMAN)
    assert [b.kind for b in with_lungs] == [BoundKind.RULE, BoundKind.CHEST]


def test_an_rv_dive_is_filled_at_the_surface_whatever_is_said() -> None:
    """RV: a stated fill changes no bound."""
    for lungs in (None, MAN):
        assert supports(exercise=Exercise.RV, clean_m=10, fill_m=5, lungs=lungs) == supports(
            exercise=Exercise.RV, clean_m=10, fill_m=0, lungs=lungs
        )


@pytest.mark.parametrize(
    ("exercise", "clean_m", "fill_m"), [(Exercise.FRC, 17.5, 7), (Exercise.RV, 10, 0)]
)
@pytest.mark.parametrize("site", [Site(), ROPE_AT_SEA])
def test_the_chests_band_is_the_quotients(
    exercise: Exercise, clean_m: float, fill_m: float, site: Site
) -> None:
    """By the value at the careful end, down by the spread of TLC / V0, up from the afloat end by it."""
    own = spaces(sex=Sex.MALE, mask_ml=100)
    p0, k = site.surface_bar, site.bar_per_m
    full_m = deepest_full_fill_m(MAN, own=own, site=site).value

    def at(begins_l: float) -> float:
        return chest_depth_m(
            tlc_l=MAN.tlc_l.value, begins_l=begins_l, exercise=exercise, clean_m=clean_m,
            fill_m=fill_m, full_fill_m=full_m, charge_ml=71.2, rigid_ml=117.1, site=site,
        )  # fmt: skip

    under = MAN.frc_l if exercise is Exercise.FRC else MAN.rv_l
    deviation = 0.60 if exercise is Exercise.FRC else 0.41
    spread = exp(sqrt((1.64 * 0.70 / MAN.tlc_l.value) ** 2 + (1.64 * deviation / under.value) ** 2))
    likely = at(under.value)
    far = at(MAN.frc_afloat_l.value) if exercise is Exercise.FRC else likely
    (chest,) = [
        b
        for b in supports(
            exercise=exercise, clean_m=clean_m, fill_m=fill_m, lungs=MAN, own=own, site=site
        )
        if b.kind is BoundKind.CHEST
    ]
    assert chest.depth_m == pytest.approx(likely)
    assert chest.low_m == pytest.approx(((p0 + k * likely) / spread - p0) / k)
    assert chest.high_m == pytest.approx(((p0 + k * min(far, 300)) * spread - p0) / k)
    assert chest.if_fill_m is None


def test_the_chest_counts_charge_and_spaces() -> None:
    """K = V0 p0 - Vc (p(f) - p0) - Vm p(f) on both dives; at sea by gauge, by hand."""
    p0, pd, pf, full = 1.01325, 2.76325, 1.71325, 3.01325
    vm, vc = 0.0712, 0.1171
    exhale = 3.392 * p0 - vc * (pf - p0) - vm * pf
    whole = 7.302 * p0 - vc * (full - p0) - vm * full
    expected = (pd * whole / exhale - p0) / 0.1
    assert chest_depth_m(
        tlc_l=7.302, begins_l=3.392, exercise=Exercise.FRC, clean_m=17.5, fill_m=7, full_fill_m=20,
        charge_ml=71.2, rigid_ml=117.1,
    ) == pytest.approx(expected)  # fmt: skip
    rv = chest_depth_m(
        tlc_l=7.302, begins_l=1.788, exercise=Exercise.RV, clean_m=17.5, fill_m=7, full_fill_m=20,
        charge_ml=71.2, rigid_ml=117.1,
    )  # fmt: skip
    assert rv == pytest.approx((pd * whole / (1.788 * p0) - p0) / 0.1)


def test_where_the_goal_lies_above_its_fill_nothing_is_taken_yet() -> None:
    """A shallow exhale dive: the lungs alone feed the spaces, and the fill's depth is the most."""
    p0, pd = 1.01325, 1.21325
    exhale = 3.392 * p0 - 0.0171 * (pd - p0) - 0.0712 * pd
    expected = (7.302 + 0.0171) * p0 / (exhale / pd + 0.0171)
    given = {"charge_ml": 71.2, "rigid_ml": 17.1}
    found = chest_depth_m(
        tlc_l=7.302,
        begins_l=3.392,
        exercise=Exercise.FRC,
        clean_m=2,
        fill_m=5,
        full_fill_m=30,
        **given,
    )
    assert found == pytest.approx((expected - p0) / 0.1)
    assert chest_depth_m(
        tlc_l=7.302, begins_l=3.392, exercise=Exercise.FRC, clean_m=2, fill_m=5,
        full_fill_m=found + 0.1, **given,
    ) == pytest.approx(found)  # fmt: skip


def test_the_least_bound_binds_and_the_better_exercise_counts() -> None:
    """Of equals the first; of several exercises the best of their least; rounded down; of none, none."""
    rule = Bound(kind=BoundKind.RULE, depth_m=30.4, low_m=30, high_m=31)
    chest = replace(rule, kind=BoundKind.CHEST, depth_m=28.9)
    mouth = replace(rule, kind=BoundKind.MOUTH, depth_m=28.9)
    assert binding([rule, mouth, chest]) is mouth
    assert binding([]) is None
    assert supported_m([rule, chest], [rule]) == 30
    assert supported_m([rule, chest], []) == 28.5
    assert supported_m([], []) is None
    assert supported_m() is None


@pytest.mark.parametrize(("line_m", "high_m"), [(34, 22), (24, 22), (23.5, 21.5), (10, 8), (1, 0)])
def test_a_full_lung_fill_is_at_the_latest_two_metres_above_the_line(
    line_m: float, high_m: float
) -> None:
    """The deep end is where the lungs allow it, 22 m here, or 2 m above a shallower line."""
    fill = full_fill_window(WOMAN, line_m=line_m, clean_m=17.5, fill_m=7)
    assert fill.high_m == high_m
    required = required_fill_m(goal_m=line_m, clean_m=17.5, fill_m=7)
    assert required <= fill.low_m < required + 0.5
    assert fill.low_m * 2 == int(fill.low_m * 2)
    assert fill.is_empty is (fill.low_m > fill.high_m)


def test_tightened_rules_reach_the_windows() -> None:
    """A coach's wider margin moves both windows; the base's shares can't be moved."""
    strict = RULES.tightened(
        {"full.fill_margin_m": 4, "fill.above_target_m": 3, "fill.frc_high_m": 8}
    )
    assert deepest_full_fill_m(WOMAN, rules=strict).value == 20
    fill = full_fill_window(WOMAN, line_m=20, clean_m=17.5, fill_m=7, rules=strict)
    assert fill.high_m == 16
    assert fill_window_m(None, target_m=40, rules=strict) == (5, 8, False)
    assert fill_window_m(None, target_m=7.5, rules=strict) == (4.5, 4.5, False)


def test_a_bound_past_the_formulas_depth_is_banded_from_there() -> None:
    """FRC 100 m clean speaks for more than 300 m: the band goes on from 300, where the formulas end."""
    (chest,) = [
        b
        for b in supports(exercise=Exercise.FRC, clean_m=100, fill_m=10, lungs=MAN)
        if b.kind is BoundKind.CHEST
    ]
    spread = exp(sqrt((1.64 * 0.70 / 7.302) ** 2 + (1.64 * 0.60 / 3.392) ** 2))
    assert chest.high_m == pytest.approx((31.01325 * spread - 1.01325) / 0.1)


@pytest.mark.parametrize("site", [Site(), ROPE_AT_SEA, LAKE])
def test_without_charge_and_spaces_the_chest_is_bare_boyle_at_any_site(site: Site) -> None:
    """p(G) = p(d) TLC / V0 with the pressures of the site."""
    p0, k = site.surface_bar, site.bar_per_m
    found = chest_depth_m(
        tlc_l=7.302, begins_l=3.392, exercise=Exercise.FRC, clean_m=20, fill_m=7, full_fill_m=20,
        site=site,
    )  # fmt: skip
    assert found == pytest.approx(((p0 + k * 20) * 7.302 / 3.392 - p0) / k)


def test_a_larger_charge_is_taken_higher_up() -> None:
    """The full-lung fill of a diver with a measured mouthful ends where that leaves the lungs at RV."""
    large = spaces(sex=Sex.FEMALE, charge_ml=200, mask_ml=100)
    plain, own = (
        full_fill_window(WOMAN, line_m=40, clean_m=17.5, fill_m=7, own=own) for own in (None, large)
    )
    assert plain.high_m == deepest_full_fill_m(WOMAN).value
    assert own.high_m == deepest_full_fill_m(WOMAN, own=large).value
    assert own.high_m < plain.high_m


def test_a_reachs_depth_has_its_ratios_band() -> None:
    """Where p(f) times the ratio is met: by the low, the middle and the high end of the reach."""
    own = reach([])
    ratio, depth = own.ratio, own.depth_m(fill_m=5)
    for end, at in (
        (ratio.low_or_value, depth.low), (ratio.value, depth.value), (ratio.high_or_value, depth.high),
    ):  # fmt: skip
        assert at == pytest.approx((1.51325 * end - 1.01325) / 0.1)
