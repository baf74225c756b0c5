"""The gas ledger of one dive against Boyle's law written out, and its bands against their corners."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from planner.figure import Figure, Mark
from planner.ledger import Ledger, ledger
from planner.lungs import Lungs, predict, with_measured
from planner.pressure import ROPE_AT_SEA, Site
from planner.record import Exercise, Sex
from planner.spaces import Spaces, spaces

MAN = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
OWN = spaces(sex=Sex.MALE, mask_ml=100)
NAMES = {
    "lungs_l": ("lungs", "l"),
    "compression": ("compression", ""),
    "blood_shift_ml": ("blood_shift", "ml"),
    "mouth_ml": ("mouth", "ml"),
    "empty_m": ("empty", "m"),
    "charge_needed_ml": ("charge_needed", "ml"),
    "latest_fill_m": ("latest_fill", "m"),
    "oxygen_share": ("oxygen_share", ""),
}


def figures(one: Ledger) -> dict[str, Figure]:
    return {name: getattr(one, name) for name in NAMES}


def fixed(figure: Figure, value: float) -> Figure:
    return replace(figure, value=value, low=value, high=value)


def ends(figure: Figure) -> tuple[float, float]:
    return figure.low_or_value, figure.high_or_value


def test_an_frc_dive_is_boyles_law_written_out() -> None:
    """FRC 3.392 l, fill 7 m, charge 71.2 ml, ears and mask 117.1 ml, 14 m: each line by hand."""
    # By gauge at sea: 1.01325 bar above, 1.71325 at the fill, 2.41325 at depth (own arithmetic).
    one = ledger(MAN, exercise=Exercise.FRC, depth_m=14, fill_m=7, own=OWN)
    p0, pf, p = 1.01325, 1.71325, 2.41325
    frc, rv, tlc = 3.392, 1.788, 7.302
    lungs = (frc * p0 - 0.1171 * (pf - p0) - 0.0712 * pf) / p
    expected = {
        "lungs_l": lungs,
        "compression": lungs / rv,
        "blood_shift_ml": 1000 * (rv - lungs),
        "mouth_ml": (71.2 * pf - 117.1 * (p - pf)) / p,
        "empty_m": (pf * (71.2 + 117.1) / 117.1 - p0) / 0.1,
        "charge_needed_ml": 117.1 * (p / pf - 1),
        "latest_fill_m": (p0 * (frc + 0.1171) / (rv + 0.0712 + 0.1171) - p0) / 0.1,
        "oxygen_share": 0.14 * frc / (0.14 * frc + 0.20 * (tlc - frc)),
    }
    assert {name: f.value for name, f in figures(one).items()} == pytest.approx(expected)


def test_an_rv_dive_fills_from_outside_and_compresses_by_pressure_alone() -> None:
    """RV: c is p0 / p whatever the volumes, the charge takes nothing, and the fill is the surface."""
    one = ledger(MAN, exercise=Exercise.RV, depth_m=12, fill_m=5, own=OWN)
    c = 1.01325 / 2.21325
    assert [*ends(one.compression), one.compression.value] == pytest.approx([c] * 3)
    assert one.lungs_l.value == pytest.approx(1.788 * c)
    rv = MAN.rv_l
    assert [one.blood_shift_ml.low, one.blood_shift_ml.high] == pytest.approx(
        [1000 * (1 - c) * rv.low_or_value, 1000 * (1 - c) * rv.high_or_value]
    )
    assert one.mouth_ml.value == 0
    assert one.empty_m.value == pytest.approx((1.01325 * (71.2 + 117.1) / 117.1 - 1.01325) / 0.1)
    assert (one.latest_fill_m.low, one.latest_fill_m.value, one.latest_fill_m.high) == (0, 0, 0)


def test_a_residue_is_needed_and_empties_the_mouth_earlier() -> None:
    """What the mouth can't give up: R = (Vm + Vc) / (Vmin + Vc), and the need begins with it."""
    own = replace(OWN, residue_ml=20.0)
    one = ledger(MAN, exercise=Exercise.FRC, depth_m=14, fill_m=7, own=own)
    pf, p = 1.71325, 2.41325
    assert one.empty_m.value == pytest.approx((pf * 188.3 / 137.1 - 1.01325) / 0.1)
    assert one.charge_needed_ml.value == pytest.approx(20 + (p / pf - 1) * 137.1)
    small = ledger(
        MAN, exercise=Exercise.FRC, depth_m=14, fill_m=7, own=replace(own, residue_ml=60.0)
    )
    assert small.empty_m.low == pytest.approx(7)


@pytest.mark.parametrize("exercise", [Exercise.FRC, Exercise.RV, Exercise.FULL])
def test_every_line_of_a_ledger_has_its_name_unit_and_source(exercise: Exercise) -> None:
    """Each figure says what it is, in which unit, and where its volumes come from."""
    one = ledger(MAN, exercise=exercise, depth_m=30, fill_m=20)
    assert {name: (f.name, f.unit) for name, f in figures(one).items()} == NAMES
    assert {f.mark for f in figures(one).values()} == {Mark.QUOTED}
    assert {f.source for f in figures(one).values()} == {"quanjer-1993"}
    measured = ledger(
        with_measured(MAN, tlc_l=7, rv_l=1.7, frc_l=3.3), exercise=exercise, depth_m=30, fill_m=20
    )
    assert {f.mark for f in figures(measured).values()} == {Mark.MEASURED}


@pytest.mark.parametrize("exercise", [Exercise.FRC, Exercise.FULL])
@pytest.mark.parametrize("site", [Site(), ROPE_AT_SEA])
def test_a_bands_ends_are_its_corners(exercise: Exercise, site: Site) -> None:
    """Over all combinations of volumes at their ends, each figure's least and most are its band."""
    whole = ledger(MAN, exercise=exercise, depth_m=30, fill_m=7, own=OWN, site=site)
    seen: dict[str, list[float]] = {name: [] for name in NAMES}
    start = (MAN.frc_l, MAN.frc_afloat_l) if exercise is Exercise.FRC else (MAN.tlc_l,)
    starts = [end for figure in start for end in ends(figure)]
    if exercise is Exercise.FRC:  # the value on land is the upper end, the value afloat the lower
        starts = [MAN.frc_afloat_l.value, MAN.frc_l.value]
    for v0, rv, charge, rigid in product(
        starts, ends(MAN.rv_l), ends(OWN.charge_ml), ends(OWN.rigid_ml)
    ):
        corner = lungs_of_corner(exercise, v0, rv)
        own = Spaces(charge_ml=fixed(OWN.charge_ml, charge), rigid_ml=fixed(OWN.rigid_ml, rigid))
        one = ledger(corner, exercise=exercise, depth_m=30, fill_m=7, own=own, site=site)
        for name, figure in figures(one).items():
            seen[name].append(figure.value)
    for name in set(NAMES) - {"oxygen_share"}:
        figure = figures(whole)[name]
        assert ends(figure) == pytest.approx((min(seen[name]), max(seen[name]))), name
    share = whole.oxygen_share
    assert ends(share) == pytest.approx(
        [
            share.value * v / (starts[1] if exercise is Exercise.FRC else MAN.tlc_l.value)
            for v in starts
        ]
    )


def lungs_of_corner(exercise: Exercise, v0: float, rv: float) -> Lungs:
    lungs = replace(MAN, rv_l=fixed(MAN.rv_l, rv))
    if exercise is Exercise.FRC:
        return replace(lungs, frc_l=fixed(MAN.frc_l, v0), frc_afloat_l=fixed(MAN.frc_afloat_l, v0))
    return replace(lungs, tlc_l=fixed(MAN.tlc_l, v0))


def test_without_spaces_those_of_the_divers_sex_stand() -> None:
    """A ledger without `own` takes the published charge and ears of the diver's sex."""
    plain = ledger(MAN, exercise=Exercise.FRC, depth_m=14, fill_m=7)
    assert plain == ledger(
        MAN, exercise=Exercise.FRC, depth_m=14, fill_m=7, own=spaces(sex=Sex.MALE)
    )
    assert plain != ledger(
        MAN, exercise=Exercise.FRC, depth_m=14, fill_m=7, own=spaces(sex=Sex.FEMALE)
    )
