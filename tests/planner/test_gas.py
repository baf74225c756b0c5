"""The gas ledger's laws, the fill window and what a brief is told of the chest."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from planner.figure import OutOfRange
from planner.gas import (
    blood_shift_ml,
    charge_needed_ml,
    empty_depth_m,
    equivalent_full_m,
    fill_window_m,
    first_frc_depth_m,
    heavier_kg,
    latest_fill_m,
    lungs_before_fill_l,
    lungs_below_fill_l,
    mouth_ml,
    reaches_rv_m,
    share_lost,
)
from planner.ledger import ledger
from planner.lungs import Lungs, predict, with_measured
from planner.pressure import ROPE_AT_SEA, Site, absolute_bar, depth_of_m
from planner.record import Exercise, Sex, VolumeKind
from planner.rules import RULES
from planner.spaces import spaces, spaces_of
from tests.planner.test_lungs import facts_record, people, volume

MAN = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
WOMAN = predict(sex=Sex.FEMALE, age_y=28, height_m=1.68)
WOMAN_50 = predict(sex=Sex.FEMALE, age_y=50, height_m=1.60)

sites = st.builds(
    Site, salt=st.booleans(), gauge=st.booleans(), altitude_m=st.sampled_from([0.0, 430.0, 2000.0])
)
depths = st.floats(0, 120)
fills = st.floats(0, 35)
charges = st.floats(5, 300)
rigids = st.floats(1, 400)


@given(sites, depths)
def test_depth_and_pressure_invert(site: Site, depth_m: float) -> None:
    """The depth of a depth's pressure is that depth, at any site."""
    bar = absolute_bar(depth_m=depth_m, site=site)
    assert depth_of_m(pressure_bar=bar, site=site) == pytest.approx(depth_m, abs=1e-9)


@pytest.mark.parametrize("depth_m", [-0.1, 300.1, float("nan"), float("inf")])
def test_a_depth_outside_the_valid_range_is_an_error(depth_m: float) -> None:
    """No pressure is given for a negative, absurd or broken depth."""
    with pytest.raises(OutOfRange):
        absolute_bar(depth_m=depth_m)


@pytest.mark.parametrize("altitude_m", [-501, 6001, float("nan")])
def test_an_altitude_outside_the_valid_range_is_an_error(altitude_m: float) -> None:
    """No site lies above 6000 m or far below the sea."""
    with pytest.raises(OutOfRange):
        Site(altitude_m=altitude_m)


def test_a_lake_in_the_mountains_squeezes_sooner() -> None:
    """At altitude the surface pressure is lower, so the lungs reach RV at a shallower depth."""
    sea, lake = ROPE_AT_SEA, Site(salt=False, gauge=False, altitude_m=2000)
    at_sea = reaches_rv_m(start_l=6, rv_l=1.5, site=sea)
    at_lake = reaches_rv_m(start_l=6, rv_l=1.5, site=lake)
    assert at_lake == pytest.approx(3 * 0.79495 / 0.0980665, rel=1e-4)
    assert at_lake < at_sea


@given(st.floats(0.5, 10), depths, sites)
def test_pressure_times_volume_is_conserved(start_l: float, depth_m: float, site: Site) -> None:
    """Without rigid spaces p V of the lungs is the same at every depth."""
    volume_l = lungs_before_fill_l(start_l=start_l, depth_m=depth_m, site=site)
    bar = absolute_bar(depth_m=depth_m, site=site)
    assert volume_l * bar == pytest.approx(start_l * site.surface_bar)


@given(st.floats(3, 10), fills, st.floats(0, 60), charges, rigids, sites)
def test_no_gas_appears_or_vanishes_below_the_fill(
    start_l: float, fill_m: float, below_m: float, charge_ml: float, rigid_ml: float, site: Site
) -> None:
    """Lungs, mouth and rigid spaces together hold at depth what the diver left the surface with."""
    depth_m = fill_m + below_m
    p0 = site.surface_bar
    p = absolute_bar(depth_m=depth_m, site=site)
    left_ml = mouth_ml(
        charge_ml=charge_ml, fill_m=fill_m, depth_m=depth_m, rigid_ml=rigid_ml, site=site
    )
    assume(left_ml > 0)
    lungs_l = lungs_below_fill_l(
        start_l=start_l, fill_m=fill_m, charge_ml=charge_ml, depth_m=depth_m, rigid_ml=rigid_ml,
        site=site,
    )  # fmt: skip
    at_depth = (lungs_l + (left_ml + rigid_ml) / 1000) * p
    assert at_depth == pytest.approx((start_l + rigid_ml / 1000) * p0)


@given(charges, fills, rigids, st.floats(0, 4), sites)
def test_charge_and_empty_depth_invert(
    charge_ml: float, fill_m: float, rigid_ml: float, residue_ml: float, site: Site
) -> None:
    """The charge that the empty depth of a charge needs is that charge, and nothing is lost."""
    given_ml = {"fill_m": fill_m, "rigid_ml": rigid_ml, "residue_ml": residue_ml}
    empty_m = empty_depth_m(charge_ml=charge_ml, site=site, **given_ml)
    assume(empty_m <= 300)
    needed = charge_needed_ml(depth_m=empty_m, site=site, **given_ml)
    assert needed == pytest.approx(charge_ml, rel=1e-9)
    lost = share_lost(charge_ml=charge_ml, empty_at_m=empty_m, site=site, **given_ml)
    assert lost == pytest.approx(0, abs=1e-9)


@given(fills, st.floats(0, 40), st.floats(0, 40), rigids, st.floats(0, 10))
def test_deeper_never_needs_less(
    fill_m: float, first_m: float, more_m: float, rigid_ml: float, residue_ml: float
) -> None:
    """A deeper dive never needs a smaller charge, nor does a shallower fill."""

    def needed(depth_m: float, at_m: float) -> float:
        return charge_needed_ml(
            depth_m=depth_m, fill_m=at_m, rigid_ml=rigid_ml, residue_ml=residue_ml
        )

    depth_m = fill_m + first_m
    assert needed(depth_m + more_m, fill_m) >= needed(depth_m, fill_m)
    assert needed(depth_m, fill_m / 2) >= needed(depth_m, fill_m)


@given(charges, fills, st.floats(0, 40), st.floats(0, 20), rigids)
def test_the_mouth_only_empties(
    charge_ml: float, fill_m: float, below_m: float, more_m: float, rigid_ml: float
) -> None:
    """Going deeper never leaves more in the mouth, and it is empty at its empty depth."""
    about = {"charge_ml": charge_ml, "fill_m": fill_m, "rigid_ml": rigid_ml}
    upper = mouth_ml(depth_m=fill_m + below_m, **about)
    tiny = 1e-9 * charge_ml
    assert mouth_ml(depth_m=fill_m + below_m + more_m, **about) <= upper + tiny
    assert upper <= charge_ml + tiny
    empty_m = empty_depth_m(**about)
    assume(empty_m < 300)
    assert mouth_ml(depth_m=empty_m, **about) == pytest.approx(0, abs=1e-6)


@given(people, charges, rigids, st.sampled_from(["frc", "tlc"]))
def test_at_the_latest_fill_the_lungs_are_left_at_rv(
    lungs: Lungs, charge_ml: float, rigid_ml: float, begins: str
) -> None:
    """Filled at the latest depth, what remains in the lungs is RV; charge taken, nothing over."""
    start = (lungs.frc_l if begins == "frc" else lungs.tlc_l).value
    fill_m = latest_fill_m(
        start_l=start, rv_l=lungs.rv_l.value, charge_ml=charge_ml, rigid_ml=rigid_ml
    )
    assume(fill_m > 0)
    left = lungs_below_fill_l(
        start_l=start, fill_m=fill_m, charge_ml=charge_ml, depth_m=fill_m, rigid_ml=rigid_ml
    )
    assert left == pytest.approx(lungs.rv_l.value)


def test_an_rv_charge_comes_from_outside_the_lungs() -> None:
    """On an RV dive the charge takes nothing from the lungs, whatever its size."""
    alone = lungs_before_fill_l(start_l=1.8, depth_m=12)
    for charge in (0, 100):
        assert lungs_below_fill_l(
            start_l=1.8, fill_m=0, charge_ml=charge, depth_m=12, charge_from_outside=True
        ) == pytest.approx(alone)


def test_above_the_fill_nothing_is_computed_below_it() -> None:
    """Asking for the ledger below the fill at a depth above it is an error, not a clip."""
    for formula in (mouth_ml, charge_needed_ml):
        about = {"charge_ml": 70} if formula is mouth_ml else {}
        with pytest.raises(OutOfRange):
            formula(depth_m=5, fill_m=7, rigid_ml=17, **about)  # type: ignore[operator]


def test_rv_twelve_metres_asks_about_a_litre_of_blood() -> None:
    """RV 12 m asks between 0.8 and 1.1 l of blood shift of the two worked divers."""
    for lungs in (MAN, WOMAN):
        volume_l = lungs_before_fill_l(start_l=lungs.rv_l.value, depth_m=12, site=ROPE_AT_SEA)
        assert 800 <= blood_shift_ml(volume_l=volume_l, rv_l=lungs.rv_l.value) <= 1100


@given(people)
def test_afloat_rv_is_reached_within_a_few_metres(lungs: Lungs) -> None:
    """Neck-deep, FRC reaches RV within 4 m; on land it does so deeper, for everybody."""
    rv_l = lungs.rv_l.value
    afloat_m = reaches_rv_m(start_l=lungs.frc_afloat_l.value, rv_l=rv_l, site=ROPE_AT_SEA)
    assert 1.2 <= afloat_m <= 4
    assert afloat_m < reaches_rv_m(start_l=lungs.frc_l.value, rv_l=rv_l, site=ROPE_AT_SEA)


@given(people)
def test_the_first_frc_depth_is_within_five_and_seven(lungs: Lungs) -> None:
    """The first FRC depth is where the lungs reach RV, cut to 5-7 m and to half metres."""
    first = first_frc_depth_m(lungs)
    assert 5 <= first <= 7
    assert first * 2 == int(first * 2)
    at = reaches_rv_m(start_l=lungs.frc_l.value, rv_l=lungs.rv_l.value)
    assert first <= max(at, 5)


@pytest.mark.parametrize(
    ("rv_l", "frc_l", "first"), [(1.5, 2.0, 5.0), (1.5, 2.4, 6.0), (1.5, 2.5, 6.5), (1.5, 3, 7)]
)
def test_the_first_frc_depth_by_measured_volumes(rv_l: float, frc_l: float, first: float) -> None:
    """FRC/RV of 1.33, 1.6, 1.67 and 2 begin at 5, 6, 6.5 and 7 m."""
    own = with_measured(MAN, rv_l=rv_l, frc_l=frc_l)
    assert first_frc_depth_m(own) == first


@pytest.mark.parametrize(
    ("target_m", "window"),
    [(2, (0, 0)), (5, (3, 3)), (6.5, (4.5, 4.5)), (7, (5, 5)), (8.5, (5, 6.5)), (12, (5, 10)),
     (25, (5, 10))],
)  # fmt: skip
def test_the_practices_fill_window(target_m: float, window: tuple[float, float]) -> None:
    """Without volumes: 5-10 m, at the latest 2 m above the target; under 7 m, 2 m above it."""
    fill = fill_window_m(None, target_m=target_m)
    assert fill[:2] == window
    assert not fill.against_chest


def test_the_deep_end_is_cut_to_the_latest_fill() -> None:
    """A man's deep end is the latest fill by land volumes, rounded down to half a metre."""
    latest = latest_fill_m(start_l=3.392, rv_l=1.788, charge_ml=71.2)
    assert 8.0 <= latest < 8.5
    assert fill_window_m(MAN, target_m=20)[:2] == (5, 8)
    assert fill_window_m(MAN, target_m=9)[:2] == (5, 7)


def test_a_bigger_charge_or_a_mask_makes_the_deep_end_earlier() -> None:
    """A measured charge of 200 ml and a mask of 150 ml cut the man's window further."""
    own = spaces(sex=Sex.MALE, charge_ml=200, mask_ml=150)
    assert fill_window_m(MAN, target_m=20, own=own).high_m < 8


def test_past_the_latest_fill_the_window_stays_at_five_and_says_so() -> None:
    """Where even 5 m is past the latest fill, the window is 5 m and flagged against the chest."""
    small = with_measured(WOMAN_50, frc_l=2.2)
    fill = fill_window_m(small, target_m=12)
    assert fill == (5, 5, True)
    assert fill_window_m(small, target_m=4) == (2, 2, False)


@given(people, st.floats(2, 40))
def test_every_fill_window_is_in_order(lungs: Lungs, target_m: float) -> None:
    """A fill window never ends above its beginning, past 10 m, or under 2 m above the target."""
    fill = fill_window_m(lungs, target_m=target_m)
    assert fill.low_m <= fill.high_m <= 10
    assert fill.high_m <= max(target_m - 2, 0) + 1e-9


def test_a_groups_tighter_rules_reach_the_window_and_the_first_depth() -> None:
    """A lowered deep end and first depth in the rules stand in the brief."""
    tight = RULES.tightened({"fill.frc_high_m": 6, "first.frc_high_m": 6})
    assert fill_window_m(None, target_m=20, rules=tight).high_m == 6
    assert first_frc_depth_m(MAN, rules=tight) == 6


def test_how_much_heavier_after_an_exhale() -> None:
    """After a full exhale 3-6 kg heavier, as computed from the own lungs; after FRC less."""
    for lungs in (MAN, WOMAN):
        full, passive = heavier_kg(lungs), heavier_kg(lungs, exercise=Exercise.FRC)
        assert 3 <= full.value <= 6
        assert passive.value < full.value
        assert passive.low_or_value < passive.high_or_value
    assert heavier_kg(MAN).value == pytest.approx((7.302 - 1.788) * 1.025)
    assert heavier_kg(MAN, site=Site(salt=False)).value == pytest.approx(7.302 - 1.788)
    assert heavier_kg(MAN, exercise=Exercise.FULL).value == 0


@given(people, st.floats(1, 40))
def test_an_exhale_dive_is_harder_than_its_depth_on_full_lungs(
    lungs: Lungs, depth_m: float
) -> None:
    """The equivalent full-lung depth is deeper than the dive, RV's deeper than FRC's on land."""
    frc = equivalent_full_m(lungs, exercise=Exercise.FRC, depth_m=depth_m)
    rv = equivalent_full_m(lungs, exercise=Exercise.RV, depth_m=depth_m)
    assert depth_m < frc.low_or_value <= frc.value + 1e-9
    assert frc.value <= frc.high_or_value + 1e-9
    assert frc.value < rv.value
    assert rv.low_or_value < rv.value < rv.high_or_value


@given(people, st.sampled_from([Exercise.FRC, Exercise.RV, Exercise.FULL]), st.floats(0, 30))
def test_a_ledgers_bands_hold_their_likely_values(
    lungs: Lungs, exercise: Exercise, below_m: float
) -> None:
    """In every ledger low <= likely <= high, and the mouth's needs follow its own formula."""
    fill_m = {Exercise.FRC: 6.0, Exercise.RV: 0.0, Exercise.FULL: 15.0}[exercise]
    one = ledger(lungs, exercise=exercise, depth_m=fill_m + below_m, fill_m=fill_m)
    for name in one.__dataclass_fields__:
        figure = getattr(one, name)
        assert figure.low_or_value <= figure.value + 1e-9, name
        assert figure.value <= figure.high_or_value + 1e-9, name
    needed = charge_needed_ml(depth_m=fill_m + below_m, fill_m=fill_m, rigid_ml=17.1)
    assert one.charge_needed_ml.value == pytest.approx(needed)


def test_spaces_come_from_the_divers_facts() -> None:
    """A measured charge and mask replace the priors; nonsense is as if it had not been said."""
    own = spaces_of(facts_record(volume(VolumeKind.MOUTH, 90), volume(VolumeKind.MASK, 120)))
    assert not own.charge_ml.is_band
    assert own.charge_ml.value == 90
    assert own.rigid_ml.value == pytest.approx(137.1)
    broken = spaces_of(facts_record(volume(VolumeKind.MOUTH, -3), volume(VolumeKind.MASK, 9e9)))
    assert broken == spaces()
    assert broken.charge_ml.is_band
