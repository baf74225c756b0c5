"""Where each formula's valid range ends, and what is said beyond it.

The ends are the ones that the docstrings state (house rules, and for predicted volumes the range of
`quanjer-1993`). What is said matters: it reaches whoever works in a notebook, with name and unit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from planner import gas
from planner.consistency import consistency
from planner.figure import OutOfRange, within
from planner.lungs import Implausible, Oddity, predict, with_measured
from planner.pressure import Site, absolute_bar, atmosphere_bar, depth_of_m
from planner.reach import asked
from planner.record import Exercise, Sex, VolumeKind
from planner.spaces import spaces
from planner.support import required_fill_m, rule_depth_m

MAN = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
HAIR = 1e-6


@dataclass(frozen=True, kw_only=True)
class Range:
    """A formula as a function of one value, the ends of its range, and how it is named."""

    of: Callable[[float], object]
    low: float
    high: float
    says: str
    low_by: float = HAIR
    high_by: float = HAIR


def below_fill(depth_m: float) -> float:
    return gas.lungs_below_fill_l(start_l=3.4, fill_m=7, charge_ml=70, depth_m=depth_m)


RANGES = {
    "altitude": Range(
        of=lambda v: atmosphere_bar(altitude_m=v), low=-500, high=6000,
        says="altitude {} is outside -500-6000 m", low_by=1, high_by=1,
    ),
    "depth": Range(
        of=lambda v: absolute_bar(depth_m=v), low=0, high=300, says="depth {} is outside 0-300 m",
        high_by=1,
    ),
    "pressure": Range(
        of=lambda v: depth_of_m(pressure_bar=v), low=0, high=1e6,
        says="pressure {} is outside 0-1e+06 bar", high_by=100,
    ),
    "start": Range(
        of=lambda v: gas.lungs_before_fill_l(start_l=v, depth_m=10), low=0.05, high=15,
        says="start volume {} is outside 0.05-15 l", high_by=0.01,
    ),
    "start of a ratio": Range(
        of=lambda v: gas.reaches_rv_m(start_l=v, rv_l=1), low=0.05, high=15,
        says="start volume {} is outside 0.05-15 l", high_by=0.01,
    ),
    "start of the latest fill": Range(
        of=lambda v: gas.latest_fill_m(start_l=v, rv_l=0.1, charge_ml=70), low=0.05, high=15,
        says="start volume {} is outside 0.05-15 l", high_by=0.01,
    ),
    "start, for its oxygen": Range(
        of=lambda v: gas.oxygen_share(MAN, start_l=v), low=0.05, high=15,
        says="start volume {} is outside 0.05-15 l", high_by=0.01,
    ),
    "RV of a ratio": Range(
        of=lambda v: gas.reaches_rv_m(start_l=6, rv_l=v), low=0.05, high=15,
        says="RV {} is outside 0.05-15 l", high_by=0.01,
    ),
    "RV of the latest fill": Range(
        of=lambda v: gas.latest_fill_m(start_l=6, rv_l=v, charge_ml=70), low=0.05, high=15,
        says="RV {} is outside 0.05-15 l", high_by=0.01,
    ),
    "RV of a compression": Range(
        of=lambda v: gas.compression(volume_l=1, rv_l=v), low=0.05, high=15,
        says="RV {} is outside 0.05-15 l", high_by=0.01,
    ),
    "RV of a blood shift": Range(
        of=lambda v: gas.blood_shift_ml(volume_l=1, rv_l=v), low=0.05, high=15,
        says="RV {} is outside 0.05-15 l", high_by=0.01,
    ),
    "rigid spaces above the fill": Range(
        of=lambda v: gas.lungs_before_fill_l(start_l=6, depth_m=10, rigid_ml=v), low=0, high=2000,
        says="rigid spaces {} is outside 0-2000 ml", high_by=1,
    ),
    "rigid spaces of the latest fill": Range(
        of=lambda v: gas.latest_fill_m(start_l=6, rv_l=1, charge_ml=70, rigid_ml=v), low=0,
        high=2000, says="rigid spaces {} is outside 0-2000 ml", high_by=1,
    ),
    "rigid spaces of the mouth": Range(
        of=lambda v: gas.mouth_ml(charge_ml=70, fill_m=5, depth_m=20, rigid_ml=v), low=0,
        high=2000, says="rigid spaces {} is outside 0-2000 ml", high_by=1,
    ),
    "rigid spaces that a charge feeds": Range(
        of=lambda v: gas.charge_needed_ml(depth_m=20, fill_m=5, rigid_ml=v), low=0, high=2000,
        says="rigid spaces {} is outside 0-2000 ml", high_by=1,
    ),
    "residue of a charge": Range(
        of=lambda v: gas.charge_needed_ml(depth_m=20, fill_m=5, rigid_ml=48, residue_ml=v), low=0,
        high=2000, says="residue {} is outside 0-2000 ml", high_by=1,
    ),
    "charge of the lungs": Range(
        of=lambda v: gas.lungs_below_fill_l(start_l=6, fill_m=7, charge_ml=v, depth_m=20), low=0,
        high=2000, says="charge {} is outside 0-2000 ml", high_by=1,
    ),
    "charge of the mouth": Range(
        of=lambda v: gas.mouth_ml(charge_ml=v, fill_m=5, depth_m=20, rigid_ml=48), low=0,
        high=2000, says="charge {} is outside 0-2000 ml", high_by=1,
    ),
    "charge of a ratio": Range(
        of=lambda v: gas.mouth_ratio(charge_ml=v, rigid_ml=48), low=0, high=2000,
        says="charge {} is outside 0-2000 ml", high_by=1,
    ),
    "charge of the latest fill": Range(
        of=lambda v: gas.latest_fill_m(start_l=6, rv_l=1, charge_ml=v), low=0, high=2000,
        says="charge {} is outside 0-2000 ml", high_by=1,
    ),
    "charge that was lost": Range(
        of=lambda v: gas.share_lost(charge_ml=v, empty_at_m=20, fill_m=5, rigid_ml=48), low=1,
        high=2000, says="charge {} is outside 1-2000 ml", high_by=1,
    ),
    "residue under the charge": Range(
        of=lambda v: gas.mouth_ratio(charge_ml=70, rigid_ml=48, residue_ml=v), low=0, high=70,
        says="residue {} is outside 0-70 ml", high_by=1,
    ),
    "residue and rigid spaces": Range(
        of=lambda v: gas.mouth_ratio(charge_ml=70, rigid_ml=v), low=0.001, high=4000,
        says="residue and rigid spaces {} is outside 0.001-4000 ml", high_by=1,
    ),
    "depth of the lungs below the fill": Range(
        of=below_fill, low=7, high=300, says="depth {} is outside 7-300 m", low_by=0.1, high_by=1,
    ),
    "depth of the mouth": Range(
        of=lambda v: gas.mouth_ml(charge_ml=70, fill_m=7, depth_m=v, rigid_ml=48), low=7, high=300,
        says="depth {} is outside 7-300 m", low_by=0.1, high_by=1,
    ),
    "depth that a charge reaches": Range(
        of=lambda v: gas.charge_needed_ml(depth_m=v, fill_m=7, rigid_ml=48), low=7, high=300,
        says="depth {} is outside 7-300 m", low_by=0.1, high_by=1,
    ),
    "mask": Range(
        of=lambda v: spaces(mask_ml=v), low=0, high=400, says="mask {} is outside 0-400 ml",
        high_by=0.1,
    ),
    "charge that was measured": Range(
        of=lambda v: spaces(charge_ml=v), low=1, high=500, says="charge {} is outside 1-500 ml",
        low_by=0.1, high_by=0.1,
    ),
    "age": Range(
        of=lambda v: predict(sex=Sex.MALE, age_y=v, height_m=1.8), low=18, high=70,
        says="age {} is outside 18-70 years", low_by=0.1, high_by=0.1,
    ),
    "height of a man": Range(
        of=lambda v: predict(sex=Sex.MALE, age_y=30, height_m=v), low=1.55, high=1.95,
        says="height {} is outside 1.55-1.95 m", low_by=0.01, high_by=0.01,
    ),
    "height of a woman": Range(
        of=lambda v: predict(sex=Sex.FEMALE, age_y=30, height_m=v), low=1.45, high=1.80,
        says="height {} is outside 1.45-1.8 m", low_by=0.01, high_by=0.01,
    ),
    "age, carried further": Range(
        of=lambda v: predict(sex=Sex.MALE, age_y=v, height_m=1.8, extrapolate=True), low=18,
        high=85, says="age {} is outside 18-70 years", low_by=0.1, high_by=0.1,
    ),
    "height, carried further": Range(
        of=lambda v: predict(sex=Sex.MALE, age_y=30, height_m=v, extrapolate=True), low=1.35,
        high=2.15, says="height {} is outside 1.55-1.95 m", low_by=0.01, high_by=0.01,
    ),
    "clean dives": Range(
        of=lambda v: consistency(clean=int(v), dives=10), low=0, high=10,
        says="clean dives {} is outside 0-10", low_by=1, high_by=1,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", RANGES)
def test_both_ends_of_a_range_are_inside(name: str) -> None:
    """A formula works at the last value of its range, below and above."""
    case = RANGES[name]
    assert case.of(case.low) is not None
    assert case.of(case.high) is not None


@pytest.mark.parametrize("name", RANGES)
def test_just_outside_a_range_is_said_with_name_ends_and_unit(name: str) -> None:
    """One step beyond either end is an error that says what, how much, and what would do."""
    case = RANGES[name]
    for value in (case.low - case.low_by, case.high + case.high_by):
        with pytest.raises(OutOfRange) as caught:
            case.of(value)
        assert str(caught.value) == case.says.format(f"{value:g}")


def test_an_error_of_range_carries_its_numbers() -> None:
    """What catches it reads name, value, ends and unit without taking the sentence apart."""
    with pytest.raises(OutOfRange) as caught:
        absolute_bar(depth_m=301)
    wrong = caught.value
    assert (wrong.what, wrong.value, wrong.low, wrong.high, wrong.unit) == (
        "depth", 301, 0, 300, "m",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("of", "says"),
    [
        (lambda: asked(depth_m=7, fill_m=7), "depth 7 is outside 7-300 m"),
        (
            lambda: required_fill_m(goal_m=40, clean_m=7, fill_m=7),
            "depth 7 is outside 7-300 m",
        ),
        (
            lambda: rule_depth_m(exercise=Exercise.FRC, clean_m=0),
            "frc depth 0 is outside 0-300 m",
        ),
        (
            lambda: rule_depth_m(exercise=Exercise.FULL, clean_m=20),
            "full depth 20 is outside 0-300 m",
        ),
        (lambda: consistency(clean=0, dives=0), "clean dives 0 is outside 0-0"),
    ],
)
def test_a_dive_that_asks_nothing_is_an_error(of: Callable[[], object], says: str) -> None:
    """At the fill itself, at the surface, or without a dive there is nothing to compute from."""
    with pytest.raises(OutOfRange) as caught:
        of()
    assert str(caught.value) == says


def test_what_lies_a_hair_below_a_fill_is_asked() -> None:
    """The fill is the open end: any depth below it counts, and one dive is enough for a chance."""
    assert asked(depth_m=7.001, fill_m=7) < asked(depth_m=8, fill_m=7)
    assert rule_depth_m(exercise=Exercise.FRC, clean_m=HAIR) == pytest.approx(2 * HAIR)
    assert consistency(clean=0, dives=1).value == 0.25


@pytest.mark.parametrize(
    ("height_m", "age_y", "named"),
    [
        (1.80, 30, ()),
        (1.80, 71, ("age",)),
        (1.96, 30, ("height",)),
        (1.54, 71, ("age", "height")),
    ],
)
def test_an_extrapolation_says_what_lay_outside(
    height_m: float, age_y: float, named: tuple[str, ...]
) -> None:
    """Volumes carried beyond the equations name what was outside, and inside them nothing."""
    lungs = predict(sex=Sex.MALE, age_y=age_y, height_m=height_m, extrapolate=True)
    assert lungs.extrapolated == named


MEASURED = {VolumeKind.TLC: (2, 12), VolumeKind.FRC: (0.8, 8), VolumeKind.RV: (0.3, 5)}


@pytest.mark.parametrize("kind", MEASURED)
def test_a_measured_volume_that_nobody_has_is_refused_with_the_range(kind: VolumeKind) -> None:
    """A slip of the thumb is answered with what would do; the last figure of the range is taken."""
    low, high = MEASURED[kind]
    around = {
        VolumeKind.TLC: {"rv_l": 0.4, "frc_l": 1.0},
        VolumeKind.FRC: {"rv_l": 0.4, "tlc_l": 11.0},
        VolumeKind.RV: {"frc_l": 7.0, "tlc_l": 11.0},
    }[kind]
    for value in (low, high):
        assert kind in with_measured(MAN, **around, **{f"{kind.value}_l": value}).measured
    for value in (low - 0.01, high + 0.01):
        with pytest.raises(Implausible) as caught:
            with_measured(MAN, **around, **{f"{kind.value}_l": value})
        wrong = caught.value
        assert (wrong.why, wrong.kind, wrong.value_l) == (Oddity.OUTSIDE_RANGE, kind, value)
        assert (wrong.low_l, wrong.high_l) == (low, high)
        assert str(wrong) == (f"outside-range: {kind} {value:g} l, expected {low:.2f}-{high:.2f} l")


def test_a_pressure_at_or_under_the_surfaces_is_at_the_surface() -> None:
    """There is no depth above 0."""
    assert [depth_of_m(pressure_bar=bar) for bar in (0, 1, 1.01325)] == [0, 0, 0]
    assert depth_of_m(pressure_bar=1.02325) == pytest.approx(0.1)


def test_a_value_without_a_unit_is_told_without_one() -> None:
    """What counts dives has no unit behind it."""
    with pytest.raises(OutOfRange, match=r"^share 2 is outside 0-1$"):
        within("share", 2, low=0, high=1)
    assert OutOfRange("share", value=2, low=0, high=1).unit == ""


@pytest.mark.parametrize(
    ("altitude_m", "bar"), [(-400, 1.06223), (0, 1.01325), (1, 1.01313), (2000, 0.79495)]
)
def test_a_site_has_the_atmosphere_of_its_altitude(altitude_m: float, bar: float) -> None:
    """The surface pressure is the standard atmosphere (iso-2533; at 2000 m its table's 0.79495 bar, else own arithmetic)."""
    assert Site(altitude_m=altitude_m).surface_bar == pytest.approx(bar, abs=1e-5)
    assert Site(altitude_m=altitude_m).surface_bar == atmosphere_bar(altitude_m=altitude_m)
