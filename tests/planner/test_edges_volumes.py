"""Volumes as figures: unit, mark, source and band of each, and which measured ones stand together.

Own arithmetic from the equations of `quanjer-1993` for a man of 30 years and 1.80 m: TLC 7.302,
RV 1.788, FRC 3.392 l, residual deviations 0.70, 0.41, 0.60 l.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import exp, sqrt

import pytest

from planner import gas
from planner.figure import Figure, Mark
from planner.lungs import Implausible, Lungs, Oddity, lungs_of, predict, with_measured
from planner.pressure import ROPE_AT_SEA, Site
from planner.record import Body, Exercise, Fact, Origin, Sex, Volume, VolumeKind, record_of
from tests.planner.season import DIVER, ZONE

MAN = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
WOMAN = predict(sex=Sex.FEMALE, age_y=50, height_m=1.60)
AT = datetime(2026, 5, 1, 9, tzinfo=UTC)
BODY = {"sex": Sex.MALE, "age_y": 30, "height_m": 1.80}


def kept(*facts: tuple[type, dict[str, object]]) -> list[Fact]:
    """The facts, an hour apart."""
    return [
        kind(
            diver=DIVER, by=DIVER, happened_at=AT + timedelta(hours=n),
            said_at=AT + timedelta(hours=n), origin=Origin(chat="p:1", message=n), **fields,
        )
        for n, (kind, fields) in enumerate(facts)
    ]  # fmt: skip


def volume(kind: str, value: float) -> tuple[type, dict[str, object]]:
    return Volume, {"volume": VolumeKind(kind), "value": value}


def lungs_from(*facts: tuple[type, dict[str, object]], at: datetime | None = None) -> Lungs | None:
    return lungs_of(record_of(DIVER, kept(*facts), timezone=ZONE), at)


def shown(figure: Figure) -> tuple[object, ...]:
    return figure.name, figure.unit, figure.mark, figure.source


def band(figure: Figure) -> list[float]:
    return [figure.low_or_value, figure.value, figure.high_or_value]


def test_predicted_volumes_carry_name_unit_mark_and_source() -> None:
    """Each of the five says what it is and that it was quoted; the afloat one names its own source."""
    assert [shown(f) for f in (MAN.tlc_l, MAN.frc_l, MAN.rv_l, MAN.vc_l, MAN.frc_afloat_l)] == [
        ("tlc", "l", Mark.QUOTED, "quanjer-1993"),
        ("frc", "l", Mark.QUOTED, "quanjer-1993"),
        ("rv", "l", Mark.QUOTED, "quanjer-1993"),
        ("vc", "l", Mark.QUOTED, "quanjer-1993"),
        ("frc_afloat", "l", Mark.QUOTED, "agostoni-1966"),
    ]
    own = with_measured(MAN, rv_l=1.7)
    assert shown(own.rv_l) == ("rv", "l", Mark.MEASURED, None)
    assert band(own.rv_l) == [1.7, 1.7, 1.7]
    assert shown(own.frc_afloat_l) == ("frc_afloat", "l", Mark.PUBLISHED, "agostoni-1966")
    assert shown(own.vc_l) == ("vc", "l", Mark.QUOTED, "quanjer-1993")
    assert shown(with_measured(MAN, tlc_l=7, rv_l=1.7).vc_l) == ("vc", "l", Mark.MEASURED, None)


def test_bands_of_predicted_volumes_are_164_deviations() -> None:
    """5 to 95 %: 1.64 residual deviations either way; VC's and the afloat one's add as squares."""
    assert band(MAN.tlc_l) == pytest.approx([7.302 - 1.148, 7.302, 7.302 + 1.148])
    assert band(MAN.rv_l) == pytest.approx([1.788 - 0.6724, 1.788, 1.788 + 0.6724])
    assert band(MAN.frc_l) == pytest.approx([3.392 - 0.984, 3.392, 3.392 + 0.984])
    half = 1.64 * sqrt(0.70**2 + 0.41**2)
    assert band(MAN.vc_l) == pytest.approx([5.514 - half, 5.514, 5.514 + half])
    upright = 1.788 + 0.11 * 5.514
    spread = 1.64 * sqrt((0.89 * 0.41) ** 2 + (0.11 * 0.70) ** 2)
    assert band(MAN.frc_afloat_l) == pytest.approx([upright - spread, upright, 3.392 + 0.984])


def test_how_much_heavier_is_the_air_that_is_left_out() -> None:
    """Sea water weighs 1.025 kg a litre, fresh 1.000; RV leaves VC out, FRC the rest of TLC."""
    rv = gas.heavier_kg(MAN)
    assert shown(rv) == ("heavier", "kg", Mark.QUOTED, "quanjer-1993")
    assert band(rv) == pytest.approx([1.025 * end for end in band(MAN.vc_l)])
    lake = gas.heavier_kg(MAN, exercise=Exercise.FRC, site=Site(salt=False))
    assert band(lake) == pytest.approx(
        [7.302 - 3.392, 7.302 - 3.392, 7.302 - (1.788 + 0.11 * 5.514)]
    )
    assert band(gas.heavier_kg(MAN, exercise=Exercise.FULL)) == [0, 0, 0]


def test_what_a_dive_begins_with() -> None:
    """FRC begins at the land volume, down to the afloat one; RV and full lungs with their own bands."""
    frc = gas.start_l(MAN, Exercise.FRC)
    assert shown(frc) == ("frc_start", "l", Mark.QUOTED, "quanjer-1993")
    assert band(frc) == pytest.approx([1.788 + 0.11 * 5.514, 3.392, 3.392])
    assert gas.start_l(MAN, Exercise.RV) is MAN.rv_l
    assert gas.start_l(MAN, Exercise.FULL) is MAN.tlc_l


def test_a_quotients_band_adds_relative_spreads_as_squares() -> None:
    """Half-widths of 1/6 and of 1/4 of the value: the factor is e^sqrt(1/36 + 1/16) either way."""
    over = Figure(value=6, unit="l", mark=Mark.HOUSE, low=5, high=7)
    under = Figure(value=2, unit="l", mark=Mark.HOUSE, low=1.5, high=2.5)
    factor = exp(sqrt(1 / 36 + 1 / 16))
    assert gas.ratio_band(over, under) == pytest.approx((3 / factor, 3 * factor))


@pytest.mark.parametrize("site", [Site(), ROPE_AT_SEA])
def test_the_equal_full_lung_depth_is_bare_boyle(site: Site) -> None:
    """p(d) TLC / V0, by FRC from the land volume to the afloat one, by RV over the quotient's band."""
    p0, k = site.surface_bar, site.bar_per_m
    frc = gas.equivalent_full_m(MAN, exercise=Exercise.FRC, depth_m=20, site=site)
    p = p0 + k * 20
    afloat = 1.788 + 0.11 * 5.514
    land_m, afloat_m = ((p * 7.302 / v - p0) / k for v in (3.392, afloat))
    assert shown(frc) == ("equivalent_full", "m", Mark.QUOTED, "quanjer-1993")
    assert band(frc) == pytest.approx([land_m, land_m, afloat_m])
    rv = gas.equivalent_full_m(MAN, exercise=Exercise.RV, depth_m=10, site=site)
    p = p0 + k * 10
    spread = exp(sqrt((1.148 / 7.302) ** 2 + (0.6724 / 1.788) ** 2))
    ratio = 7.302 / 1.788
    expected = [(p * r - p0) / k for r in (ratio / spread, ratio, ratio * spread)]
    assert band(rv) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("target_m", "low_m", "high_m"),
    [(1, 0, 0), (2, 0, 0), (6.5, 4.5, 4.5), (6.9, 4.9, 4.9), (7, 5, 5), (7.5, 5, 5.5), (11.9, 5, 9.5),
     (12, 5, 10), (40, 5, 10)],
)  # fmt: skip
def test_the_fill_window_by_the_target_alone(target_m: float, low_m: float, high_m: float) -> None:
    """5 to 10 m (CP), at the latest 2 m above the target; under 7 m the one depth 2 m above it."""
    assert gas.fill_window_m(None, target_m=target_m) == (low_m, high_m, False)


def test_the_deep_end_of_a_fill_window_is_where_the_lungs_reach_rv() -> None:
    """The latest fill cuts it, rounded down to half a metre; past 5 m it is said to be against the chest."""
    latest = gas.latest_fill_m(start_l=3.392, rv_l=1.788, charge_ml=71.2)
    assert gas.fill_window_m(MAN, target_m=20) == (5, latest // 0.5 / 2, False)
    small = replace(MAN, frc_l=replace(MAN.frc_l, value=2.6))
    assert gas.latest_fill_m(start_l=2.6, rv_l=1.788, charge_ml=71.2) < 5
    assert gas.fill_window_m(small, target_m=20) == (5, 5, True)
    assert gas.fill_window_m(small, target_m=6.5) == (4.5, 4.5, True)
    assert gas.fill_window_m(small, target_m=6) == (4, 4, False)


@pytest.mark.parametrize(
    ("frc_l", "depth_m"), [(2.6, 5.0), (2.7, 5.0), (2.88, 6.0), (3.1, 7.0), (3.4, 7.0)]
)
def test_the_first_frc_depth_lies_between_5_and_7_m(frc_l: float, depth_m: float) -> None:
    """Where FRC shrinks to an RV of 1.788 l by bare Boyle, within 5 and 7 m (H), down to half a metre."""
    # Own arithmetic: 10.1325 (FRC / RV - 1) m is 4.6, 5.2, 6.2, 7.4 and 9.1 m.
    lungs = replace(MAN, frc_l=replace(MAN.frc_l, value=frc_l))
    assert gas.first_frc_depth_m(lungs) == depth_m


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ((("tlc", 7), ("rv", 1.7), ("frc", 3.3)), (7, 1.7, 3.3, 5.3)),
        ((("vc", 5.3), ("rv", 1.7), ("frc", 3.3)), (7, 1.7, 3.3, 5.3)),
        ((("tlc", 7), ("vc", 5.3), ("frc", 3.3)), (7, 1.7, 3.3, 5.3)),
        ((("tlc", 7), ("rv", 1.7)), None),
        ((("tlc", 7), ("frc", 3.3)), None),
        ((("vc", 5.3), ("frc", 3.3)), None),
        ((("rv", 1.7), ("frc", 3.3)), None),
        ((("tlc", 7), ("rv", 3.3), ("frc", 3.3)), None),
        ((("tlc", 3.3), ("rv", 1.7), ("frc", 3.3)), None),
        ((("tlc", 5.3), ("vc", 5.3), ("frc", 3.3)), None),
        ((), None),
    ],
)
def test_without_a_body_lungs_need_three_volumes_in_order(
    said: tuple[tuple[str, float], ...], expected: tuple[float, ...] | None
) -> None:
    """TLC, RV and FRC, or two of TLC, RV, VC with FRC, and 0 < RV < FRC < TLC; else nothing."""
    lungs = lungs_from(*(volume(*one) for one in said))
    if expected is None:
        assert lungs is None
        return
    assert lungs is not None
    figures = (lungs.tlc_l, lungs.rv_l, lungs.frc_l, lungs.vc_l)
    assert [f.value for f in figures] == pytest.approx(expected)
    assert {f.mark for f in figures} == {Mark.MEASURED}
    assert lungs.measured == {VolumeKind(kind) for kind, _ in said}
    assert (lungs.sex, lungs.age_y, lungs.height_m, lungs.extrapolated) == (None, None, None, ())


def test_two_of_tlc_rv_and_vc_give_the_third_beside_a_body() -> None:
    """The third is their sum or difference, without a band; the body's own values are kept."""
    for said in ({"tlc_l": 7, "vc_l": 5.3}, {"rv_l": 1.7, "vc_l": 5.3}, {"tlc_l": 7, "rv_l": 1.7}):
        lungs = with_measured(MAN, **said)
        assert [f.value for f in (lungs.tlc_l, lungs.rv_l, lungs.vc_l)] == pytest.approx(
            [7, 1.7, 5.3]
        )
        assert [f.is_band for f in (lungs.tlc_l, lungs.rv_l, lungs.vc_l)] == [False] * 3
        assert (lungs.sex, lungs.age_y, lungs.height_m) == (Sex.MALE, 30, 1.80)
        assert lungs.frc_l == MAN.frc_l


def test_vc_alone_moves_tlc_and_rv_by_their_variances() -> None:
    """0.7 l more than predicted: TLC takes 0.49 / 0.6581 of it, RV the rest; both narrow to one deviation."""
    lungs = with_measured(MAN, vc_l=5.514 + 0.7)
    share = 0.49 / (0.49 + 0.1681)
    left = sqrt(0.49 * 0.1681 / (0.49 + 0.1681))
    tlc, rv = 7.302 + 0.7 * share, 1.788 - 0.7 * (1 - share)
    assert band(lungs.tlc_l) == pytest.approx([tlc - 1.64 * left, tlc, tlc + 1.64 * left])
    assert band(lungs.rv_l) == pytest.approx([rv - 1.64 * left, rv, rv + 1.64 * left])
    assert (lungs.tlc_l.mark, lungs.rv_l.mark) == (Mark.QUOTED, Mark.QUOTED)
    assert shown(lungs.vc_l) == ("vc", "l", Mark.MEASURED, None)


def test_a_measured_vc_may_differ_by_half_a_litre() -> None:
    """TLC 7 less RV 2 is 5: 4.5 and 5.5 agree with it, 4.49 and 5.51 don't, and are told why."""
    for vc_l in (4.5, 5.5):
        assert with_measured(MAN, tlc_l=7, rv_l=2, vc_l=vc_l).vc_l.value == vc_l
    for vc_l in (4.49, 5.51):
        with pytest.raises(Implausible) as caught:
            with_measured(MAN, tlc_l=7, rv_l=2, vc_l=vc_l)
        wrong = caught.value
        assert (wrong.why, wrong.kind, wrong.value_l, wrong.low_l, wrong.high_l) == (
            Oddity.VC_DISAGREES, VolumeKind.VC, vc_l, 4.5, 5.5,
        )  # fmt: skip


@pytest.mark.parametrize(
    ("said", "why", "kind", "low_l", "high_l"),
    [
        ({"tlc_l": 4, "rv_l": 4}, "rv-not-below-tlc", "rv", 0.3, 4),
        ({"tlc_l": 4, "rv_l": 4.5, "frc_l": 3}, "rv-not-below-tlc", "rv", 0.3, 4),
        ({"rv_l": MAN.frc_l.value}, "frc-not-between", "rv", 0.3, 3.392),
        ({"frc_l": MAN.rv_l.value}, "frc-not-between", "frc", 1.788, 7.302),
        ({"frc_l": MAN.tlc_l.value}, "frc-not-between", "frc", 1.788, 7.302),
        ({"tlc_l": MAN.frc_l.value}, "frc-not-between", "tlc", 3.392, 12),
        ({"tlc_l": 4, "frc_l": 4.5}, "frc-not-between", "frc", 1.788, 4),
        ({"frc_l": 5, "vc_l": 1.0}, "frc-not-between", "vc", 1, 10),
        ({"tlc_l": 4, "rv_l": 4, "vc_l": 1.5}, "rv-not-below-tlc", "vc", 1, 10),
        ({"frc_l": 2, "rv_l": 2.5}, "frc-not-between", "rv", 0.3, 2),
    ],
)
def test_volumes_out_of_order_blame_the_newest_and_say_where_it_should_lie(
    said: dict[str, float], why: str, kind: str, low_l: float, high_l: float
) -> None:
    """RV below FRC below TLC: of two that clash the later-named figure is blamed, with its room."""
    with pytest.raises(Implausible) as caught:
        with_measured(MAN, **said)
    wrong = caught.value
    assert (wrong.why.value, wrong.kind.value) == (why, kind)
    assert (wrong.low_l, wrong.high_l) == pytest.approx((low_l, high_l))
    assert wrong.value_l == said[f"{kind}_l"]


@pytest.mark.parametrize(
    ("vc_l", "fits"), [(6.69, True), (6.71, False), (2.0, True), (1.99, False)]
)
def test_a_vc_beside_tlc_must_leave_an_rv_that_somebody_has(vc_l: float, fits: bool) -> None:
    """TLC 7: RV 0.3 to 5 l leaves VC 2.0 to 6.7 l; outside it is VC that is blamed, with that range."""
    wide = replace(MAN, frc_l=replace(MAN.frc_l, value=6.0))
    if fits:
        lungs = with_measured(wide, tlc_l=7, frc_l=6.0, vc_l=vc_l)
        assert lungs.rv_l.value == pytest.approx(7 - vc_l)
        return
    with pytest.raises(Implausible) as caught:
        with_measured(wide, tlc_l=7, frc_l=6.0, vc_l=vc_l)
    wrong = caught.value
    assert (wrong.why, wrong.kind) == (Oddity.VC_DISAGREES, VolumeKind.VC)
    assert (wrong.low_l, wrong.high_l) == pytest.approx((2.0, 6.7))


def test_the_latest_of_each_volume_by_then_stands() -> None:
    """A later figure of a kind replaces the earlier one, from the moment it happened."""
    facts = ((Body, BODY), volume("rv", 1.5), volume("rv", 1.6), volume("mask", 100))
    lungs = lungs_from(*facts)
    assert lungs is not None
    assert (lungs.rv_l.value, lungs.measured) == (1.6, {VolumeKind.RV})
    then = lungs_from(*facts, at=AT + timedelta(hours=1))
    assert then is not None
    assert then.rv_l.value == 1.5
    before = lungs_from(*facts, at=AT)
    assert before == MAN
    assert lungs_from(*facts, at=AT - timedelta(hours=1)) is None


def test_of_volumes_that_clash_the_newest_stand_and_the_rest_are_named() -> None:
    """An older figure that can't be true beside newer ones is dropped, newest first, never the diver's all."""
    lungs = lungs_from((Body, BODY), volume("rv", 3.5), volume("tlc", 7), volume("frc", 3.0))
    assert lungs is not None
    assert lungs.dropped == (VolumeKind.RV,)
    assert lungs.measured == {VolumeKind.TLC, VolumeKind.FRC}
    assert (lungs.tlc_l.value, lungs.frc_l.value, lungs.rv_l.value) == pytest.approx(
        (7, 3.0, 1.788)
    )
    again = lungs_from((Body, BODY), volume("frc", 3.0), volume("tlc", 7), volume("rv", 3.2))
    assert again is not None
    assert again.dropped == (VolumeKind.FRC,)
    fine = lungs_from((Body, BODY), volume("rv", 1.5), volume("tlc", 7))
    assert fine is not None
    assert fine.dropped == ()


def test_a_body_nobody_serves_has_no_lungs() -> None:
    """Under 18, or beyond what an extrapolation is carried to: none, rather than an error."""
    for change in ({"age_y": 17}, {"age_y": 86}, {"height_m": 2.16}):
        assert lungs_from((Body, BODY | change)) is None
    older = lungs_from((Body, BODY | {"age_y": 85}))
    assert older is not None
    assert older.extrapolated == ("age",)


def test_measured_volumes_narrow_again_what_was_measured_before() -> None:
    """Measured ones stay when another is added; what they replaced is predicted anew from the body."""
    one = with_measured(MAN, rv_l=1.5)
    two = with_measured(one, tlc_l=7)
    assert two.measured == {VolumeKind.RV, VolumeKind.TLC}
    assert (two.rv_l.value, two.tlc_l.value, two.vc_l.value) == (1.5, 7, 5.5)
    assert with_measured(MAN) == MAN


def test_a_small_rv_is_an_rv_all_the_same() -> None:
    """Three measured volumes without a body stand whatever their size, as long as lungs have it."""
    lungs = lungs_from(volume("tlc", 5), volume("rv", 0.9), volume("frc", 2.0))
    assert lungs is not None
    assert (lungs.rv_l.value, lungs.vc_l.value) == (0.9, 4.1)


def test_one_volume_that_cant_be_true_beside_the_body_is_left_out_alone() -> None:
    """An RV over the predicted FRC is dropped and the prediction stands; nothing is raised."""
    lungs = lungs_from((Body, BODY), volume("rv", 3.5))
    assert lungs is not None
    assert (lungs.dropped, lungs.measured) == ((VolumeKind.RV,), frozenset())
    assert lungs.rv_l.value == pytest.approx(1.788)


def test_what_was_not_measured_keeps_its_band() -> None:
    """A measured FRC narrows neither TLC, RV nor VC; a measured TLC leaves VC the spread of RV."""
    own = with_measured(MAN, frc_l=3.0)
    for one, other in ((own.tlc_l, MAN.tlc_l), (own.rv_l, MAN.rv_l), (own.vc_l, MAN.vc_l)):
        assert band(one) == pytest.approx(band(other))
    assert band(with_measured(MAN, tlc_l=7).vc_l) == pytest.approx(
        [7 - 1.788 - 0.6724, 7 - 1.788, 7 - 1.788 + 0.6724]
    )
