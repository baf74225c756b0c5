"""The gas ledger of one diver's dive, low-likely-high: lungs, chest, mouth and oxygen at depth."""

from __future__ import annotations

from dataclasses import dataclass

from planner.figure import Figure
from planner.gas import (
    blood_shift_ml,
    charge_needed_ml,
    empty_depth_m,
    latest_fill_m,
    lungs_below_fill_l,
    mouth_ml,
    oxygen_share,
    start_l,
)
from planner.lungs import Lungs
from planner.pressure import GAUGE_AT_SEA, Site
from planner.record import Exercise
from planner.spaces import Spaces, spaces


@dataclass(frozen=True, kw_only=True)
class Ledger:
    """One dive's gas, low-likely-high: volumes at depth, what the chest and the mouth must do.

    `lungs_l`, `compression` and `blood_shift_ml` at the depth; `mouth_ml` left there; `empty_m`
    where it runs out; `charge_needed_ml` for the depth; `latest_fill_m` where the lungs less the
    charge reach RV (RV dives: 0, the surface).
    """

    lungs_l: Figure
    compression: Figure
    blood_shift_ml: Figure
    mouth_ml: Figure
    empty_m: Figure
    charge_needed_ml: Figure
    latest_fill_m: Figure
    oxygen_share: Figure


def ledger(
    lungs: Lungs,
    *,
    exercise: Exercise,
    depth_m: float,
    fill_m: float,
    own: Spaces | None = None,
    site: Site = GAUGE_AT_SEA,
) -> Ledger:
    """The gas ledger of a dive of this diver, with bands from every volume's own band.

    Each band's end takes all volumes at the end that moves the figure there, so it is wider than
    5-95 %. RV dives fill at the surface from outside the RV.

    >>> from planner.lungs import predict
    >>> from planner.record import Sex
    >>> man = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
    >>> one = ledger(man, exercise=Exercise.RV, depth_m=12, fill_m=0)
    >>> round(one.compression.value, 2), round(one.blood_shift_ml.value)
    (0.46, 969)
    """
    own = own or spaces(sex=lungs.sex)
    outside = exercise is Exercise.RV
    start, rv, charge, rigid = (
        start_l(lungs, exercise), lungs.rv_l, own.charge_ml, own.rigid_ml,
    )  # fmt: skip
    if exercise is Exercise.RV:
        fill_m = 0.0

    def volume(v0: float, charge_at: float, rigid_at: float) -> float:
        return lungs_below_fill_l(
            start_l=v0, fill_m=fill_m, charge_ml=charge_at, depth_m=depth_m, rigid_ml=rigid_at,
            charge_from_outside=outside, site=site,
        )  # fmt: skip

    v_mid = volume(start.value, charge.value, rigid.value)
    v_low = volume(start.low_or_value, charge.high_or_value, rigid.high_or_value)
    v_high = volume(start.high_or_value, charge.low_or_value, rigid.low_or_value)
    if outside:  # the dive begins at RV whatever that is: c depends on pressure alone
        c_low = c_mid = c_high = v_mid / rv.value
        shifts = [blood_shift_ml(volume_l=r * c_mid, rv_l=r) for r in _ends(rv)]
    else:
        c_low, c_mid, c_high = (
            v_low / rv.high_or_value, v_mid / rv.value, v_high / rv.low_or_value,
        )  # fmt: skip
        shifts = [
            blood_shift_ml(volume_l=v_high, rv_l=rv.low_or_value),
            blood_shift_ml(volume_l=v_mid, rv_l=rv.value),
            blood_shift_ml(volume_l=v_low, rv_l=rv.high_or_value),
        ]

    def figure(name: str, unit: str, low: float, value: float, high: float) -> Figure:
        return Figure(
            value=value, unit=unit, mark=rv.mark, source=rv.source, low=low, high=high, name=name
        )

    def mouth(charge_at: float, rigid_at: float) -> tuple[float, float]:
        left = mouth_ml(
            charge_ml=charge_at, fill_m=fill_m, depth_m=depth_m, rigid_ml=rigid_at, site=site
        )
        empty = empty_depth_m(
            charge_ml=charge_at, fill_m=fill_m, rigid_ml=rigid_at,
            residue_ml=min(own.residue_ml, charge_at), site=site,
        )  # fmt: skip
        return left, empty

    mouths = (
        mouth(charge.low_or_value, rigid.high_or_value),
        mouth(charge.value, rigid.value),
        mouth(charge.high_or_value, rigid.low_or_value),
    )
    needs = [
        charge_needed_ml(
            depth_m=depth_m, fill_m=fill_m, rigid_ml=r, residue_ml=own.residue_ml, site=site
        )
        for r in _ends(rigid)
    ]
    latest = [0.0, 0.0, 0.0]
    if not outside:
        latest = [
            latest_fill_m(start_l=v, rv_l=r, charge_ml=q, rigid_ml=k, site=site)
            for v, r, q, k in zip(
                _ends(start), _ends(rv)[::-1], _ends(charge)[::-1], _ends(rigid)[::-1], strict=True
            )
        ]
    oxygen = [oxygen_share(lungs, start_l=v) for v in _ends(start)]
    return Ledger(
        lungs_l=figure("lungs", "l", v_low, v_mid, v_high),
        compression=figure("compression", "", c_low, c_mid, c_high),
        blood_shift_ml=figure("blood_shift", "ml", *shifts),
        mouth_ml=figure("mouth", "ml", *(m[0] for m in mouths)),
        empty_m=figure("empty", "m", *(m[1] for m in mouths)),
        charge_needed_ml=figure("charge_needed", "ml", *needs),
        latest_fill_m=figure("latest_fill", "m", *latest),
        oxygen_share=figure("oxygen_share", "", *oxygen),
    )


def _ends(figure: Figure) -> tuple[float, float, float]:
    return figure.low_or_value, figure.value, figure.high_or_value
