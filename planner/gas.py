"""The gas ledger of one dive: what the lungs and the mouth hold at each depth.

Boyle's law on two vessels. Gas is isothermal and ideal; what that leaves out errs to the unsafe
side: real gas <= 0.2 % at 100 m, water vapour (RV about 2 m earlier on full lungs), oxygen
uptake (from memory 5-10 % in half a minute at RV).

Lungs in litres, mouth and rigid spaces in millilitres, pressures absolute in bar, depths in
metres as read at the site. Symbols in the formulas: V0 volume at the surface, p0 surface
pressure, f fill depth, Vm charge (at f), Vc rigid spaces that the diver equalises, Vmin what the
mouth can't give up.

- before the fill the lungs feed Vc: V(d) = (V0 p0 - Vc (p(d) - p0)) / p(d);
- below it the throat is closed: V(d) = (V(f) - Vm) p(f) / p(d), and the mouth holds
  (Vm p(f) - Vc (p(d) - p(f))) / p(d);
- the mouth is empty at p(f) R with R = (Vm + Vc) / (Vmin + Vc).

>>> from planner.pressure import ROPE_AT_SEA
>>> for rigid_ml in (17.1, 48, 138):
...     d = empty_depth_m(charge_ml=71.2, fill_m=5, rigid_ml=rigid_ml, site=ROPE_AT_SEA)
...     print(round(d, 1))
67.8
27.4
12.8
"""

from __future__ import annotations

from typing import NamedTuple

from planner.figure import Figure, Mark, within
from planner.held import down_half
from planner.lungs import Lungs
from planner.pressure import GAUGE_AT_SEA, Site, absolute_bar, depth_of_m
from planner.record import Exercise
from planner.rules import RULES, Rules
from planner.spaces import EARS_ML, Spaces, spaces

ALVEOLAR_O2 = Figure(
    value=0.14, unit="", mark=Mark.QUOTED, source="alveolar-gas", name="alveolar_oxygen"
)
FRESH_O2 = Figure(value=0.20, unit="", mark=Mark.QUOTED, source="alveolar-gas", name="fresh_oxygen")


def _litres(what: str, value: float) -> float:
    return within(what, value, low=0.05, high=15, unit="l")


def _ml(what: str, value: float) -> float:
    return within(what, value, low=0, high=2000, unit="ml")


def lungs_before_fill_l(
    *, start_l: float, depth_m: float, rigid_ml: float = 0.0, site: Site = GAUGE_AT_SEA
) -> float:
    """The lungs' volume above the fill, litres; they feed the rigid spaces.

    V(d) = (V0 p0 - Vc (p(d) - p0)) / p(d). Start 0.05 to 15 l, depth 0 to 300 m. Without rigid
    spaces it is Boyle's law and pV is conserved.

    >>> round(lungs_before_fill_l(start_l=6.0, depth_m=10), 3)
    3.02
    """
    _litres("start volume", start_l)
    p0, p = site.surface_bar, absolute_bar(depth_m=depth_m, site=site)
    return (start_l * p0 - _ml("rigid spaces", rigid_ml) / 1000 * (p - p0)) / p


def lungs_below_fill_l(
    *,
    start_l: float,
    fill_m: float,
    charge_ml: float,
    depth_m: float,
    rigid_ml: float = 0.0,
    charge_from_outside: bool = False,
    site: Site = GAUGE_AT_SEA,
) -> float:
    """The lungs' volume below the fill, litres; the throat is closed.

    V(d) = (V(f) - Vm) p(f) / p(d); on an RV dive the charge is taken at the surface from outside
    the RV (`charge_from_outside`) and takes nothing from the lungs. A depth above the fill raises
    `OutOfRange`.

    >>> v = lungs_below_fill_l(start_l=3.4, fill_m=7, charge_ml=70, depth_m=20)
    >>> round(v, 3)
    1.104
    """
    within("depth", depth_m, low=fill_m, high=300, unit="m")
    at_fill = lungs_before_fill_l(start_l=start_l, depth_m=fill_m, rigid_ml=rigid_ml, site=site)
    taken = 0.0 if charge_from_outside else _ml("charge", charge_ml) / 1000
    ratio = absolute_bar(depth_m=fill_m, site=site) / absolute_bar(depth_m=depth_m, site=site)
    return (at_fill - taken) * ratio


def mouth_ml(
    *,
    charge_ml: float,
    fill_m: float,
    depth_m: float,
    rigid_ml: float,
    site: Site = GAUGE_AT_SEA,
) -> float:
    """What the mouth holds below the fill, millilitres at that depth; never under 0.

    (Vm p(f) - Vc (p(d) - p(f))) / p(d). A depth above the fill raises `OutOfRange`.

    >>> round(mouth_ml(charge_ml=71.2, fill_m=5, depth_m=20, rigid_ml=17.1), 1)
    27.2
    """
    within("depth", depth_m, low=fill_m, high=300, unit="m")
    pf = absolute_bar(depth_m=fill_m, site=site)
    p = absolute_bar(depth_m=depth_m, site=site)
    held = (_ml("charge", charge_ml) * pf - _ml("rigid spaces", rigid_ml) * (p - pf)) / p
    return max(0.0, held)


def mouth_ratio(*, charge_ml: float, rigid_ml: float, residue_ml: float = 0.0) -> float:
    """R = (Vm + Vc) / (Vmin + Vc): the pressure ratio from fill to empty that a mouthful gives.

    Charge not under the residue, and residue or rigid spaces above 0; else raises `OutOfRange`.

    >>> round(mouth_ratio(charge_ml=71.2, rigid_ml=48), 3)
    2.483
    """
    _ml("charge", charge_ml)
    within("residue", residue_ml, low=0, high=charge_ml, unit="ml")
    within("residue and rigid spaces", residue_ml + rigid_ml, low=0.001, high=4000, unit="ml")
    return (charge_ml + rigid_ml) / (residue_ml + rigid_ml)


def empty_depth_m(
    *,
    charge_ml: float,
    fill_m: float,
    rigid_ml: float,
    residue_ml: float = 0.0,
    site: Site = GAUGE_AT_SEA,
) -> float:
    """The depth at which the mouth is empty, metres: where p = p(f) R.

    The inverse of `charge_needed_ml`. Nobody can compute a diver's own run-out from anatomy
    alone; what a diver is told comes from `planner.reach` as soon as there are dives.

    >>> round(empty_depth_m(charge_ml=71.2, fill_m=5, rigid_ml=48), 1)
    27.4
    """
    ratio = mouth_ratio(charge_ml=charge_ml, rigid_ml=rigid_ml, residue_ml=residue_ml)
    return depth_of_m(pressure_bar=absolute_bar(depth_m=fill_m, site=site) * ratio, site=site)


def charge_needed_ml(
    *,
    depth_m: float,
    fill_m: float,
    rigid_ml: float,
    residue_ml: float = 0.0,
    site: Site = GAUGE_AT_SEA,
) -> float:
    """The charge that is just used up at a depth, millilitres: Vmin + (p(d)/p(f) - 1)(Vmin + Vc).

    Deeper never needs less, a deeper fill never more. A depth above the fill raises `OutOfRange`.

    >>> round(charge_needed_ml(depth_m=20, fill_m=5, rigid_ml=48), 1)
    47.6
    """
    within("depth", depth_m, low=fill_m, high=300, unit="m")
    _ml("residue", residue_ml)
    _ml("rigid spaces", rigid_ml)
    ratio = absolute_bar(depth_m=depth_m, site=site) / absolute_bar(depth_m=fill_m, site=site)
    return residue_ml + (ratio - 1) * (residue_ml + rigid_ml)


def share_lost(
    *,
    charge_ml: float,
    empty_at_m: float,
    fill_m: float,
    rigid_ml: float,
    residue_ml: float = 0.0,
    site: Site = GAUGE_AT_SEA,
) -> float:
    """The share of a charge that was lost on a dive that ran out: 1 - effective / charge.

    The effective charge is what the depth of running out would have needed. 0 where it ran out at
    or below the depth that the whole charge gives.

    >>> round(share_lost(charge_ml=80, empty_at_m=20, fill_m=5, rigid_ml=48), 2)
    0.41
    """
    within("charge", charge_ml, low=1, high=2000, unit="ml")
    effective = charge_needed_ml(
        depth_m=empty_at_m, fill_m=fill_m, rigid_ml=rigid_ml, residue_ml=residue_ml, site=site
    )
    return max(0.0, 1 - effective / charge_ml)


def compression(*, volume_l: float, rv_l: float) -> float:
    """c = V / RV: below 1 the chest lives on blood shift and flexibility.

    >>> round(compression(volume_l=0.8, rv_l=1.6), 2)
    0.5
    """
    return volume_l / _litres("RV", rv_l)


def blood_shift_ml(*, volume_l: float, rv_l: float) -> float:
    """The blood that must shift into the chest, millilitres: RV - V, and 0 above RV.

    One diver with unusual lungs showed 1047 ml at 27 m (P `schaefer-1968`); no limit is known.

    >>> round(blood_shift_ml(volume_l=0.816, rv_l=1.788))
    972
    """
    return max(0.0, (_litres("RV", rv_l) - volume_l) * 1000)


def reaches_rv_m(*, start_l: float, rv_l: float, site: Site = GAUGE_AT_SEA) -> float:
    """Where the lungs reach RV by bare Boyle, no charge taken, metres: p = p0 V0 / RV.

    0 where they begin at or under RV.

    >>> from planner.pressure import ROPE_AT_SEA
    >>> round(reaches_rv_m(start_l=6.0, rv_l=1.5, site=ROPE_AT_SEA), 2)
    30.24
    """
    ratio = _litres("start volume", start_l) / _litres("RV", rv_l)
    return depth_of_m(pressure_bar=site.surface_bar * ratio, site=site)


def latest_fill_m(
    *,
    start_l: float,
    rv_l: float,
    charge_ml: float,
    rigid_ml: float = EARS_ML.value,
    site: Site = GAUGE_AT_SEA,
) -> float:
    """The deepest fill that still leaves the lungs at RV, metres: V(f) - Vm = RV.

    p(f) = p0 (V0 + Vc) / (RV + Vm + Vc). Below it a charge must be fetched against the chest.

    >>> round(latest_fill_m(start_l=3.392, rv_l=1.788, charge_ml=71.2), 1)
    8.3
    """
    _litres("start volume", start_l)
    _litres("RV", rv_l)
    charge_l, rigid_l = _ml("charge", charge_ml) / 1000, _ml("rigid spaces", rigid_ml) / 1000
    ratio = (start_l + rigid_l) / (rv_l + charge_l + rigid_l)
    return depth_of_m(pressure_bar=site.surface_bar * ratio, site=site)


def oxygen_share(lungs: Lungs, *, start_l: float) -> float:
    """Lung oxygen of an exhale dive as a share of a full-lung dive's (0 to 1).

    0.14 V0 / (0.14 FRC + 0.20 (TLC - FRC)), FRC on land: a full breath is fresh air on top of
    alveolar gas. A caution to show; no hold time follows from it.

    >>> from planner.lungs import predict
    >>> from planner.record import Sex
    >>> man = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
    >>> round(oxygen_share(man, start_l=man.rv_l.value), 3)
    0.199
    """
    frc, tlc = lungs.frc_l.value, lungs.tlc_l.value
    full = ALVEOLAR_O2.value * frc + FRESH_O2.value * (tlc - frc)
    return ALVEOLAR_O2.value * _litres("start volume", start_l) / full


def heavier_kg(
    lungs: Lungs, *, exercise: Exercise = Exercise.RV, site: Site = GAUGE_AT_SEA
) -> Figure:
    """How much heavier in the water than on full lungs, kilograms: (TLC - V0) times density.

    V0 is RV, or FRC: on land for the lower end, afloat for the upper.

    >>> from planner.lungs import predict
    >>> from planner.record import Sex
    >>> round(heavier_kg(predict(sex=Sex.MALE, age_y=30, height_m=1.80)).value, 1)
    5.7
    """
    density = site.water_kg_per_m3 / 1000
    if exercise is Exercise.RV:
        volume, low, high = lungs.vc_l.value, lungs.vc_l.low_or_value, lungs.vc_l.high_or_value
    elif exercise is Exercise.FRC:
        low = lungs.tlc_l.value - lungs.frc_l.value
        high = lungs.tlc_l.value - lungs.frc_afloat_l.value
        volume = low
    else:
        volume = low = high = 0.0
    return Figure(
        value=volume * density, unit="kg", mark=lungs.vc_l.mark, source=lungs.vc_l.source,
        low=low * density, high=high * density, name="heavier",
    )  # fmt: skip


def first_frc_depth_m(
    lungs: Lungs | None, *, site: Site = GAUGE_AT_SEA, rules: Rules = RULES
) -> float:
    """The first FRC depth ever, metres: where the lungs reach RV by land volumes (bare Boyle).

    Central volumes, within 5 to 7 m (H: `first.frc_low_m`, `first.frc_high_m`), rounded down to
    half a metre; 5 m without volumes.

    >>> from planner.lungs import predict
    >>> from planner.record import Sex
    >>> first_frc_depth_m(predict(sex=Sex.FEMALE, age_y=50, height_m=1.60))
    5.5
    >>> first_frc_depth_m(None)
    5.0
    """
    low, high = float(rules["first.frc_low_m"]), float(rules["first.frc_high_m"])
    if lungs is None:
        return low
    rv_at = reaches_rv_m(start_l=lungs.frc_l.value, rv_l=lungs.rv_l.value, site=site)
    return max(low, min(high, down_half(rv_at)))


class FrcFill(NamedTuple):
    """Where an FRC dive is filled, metres; `against_chest`: `low_m` is past the latest fill."""

    low_m: float
    high_m: float
    against_chest: bool


def fill_window_m(
    lungs: Lungs | None,
    *,
    target_m: float,
    own: Spaces | None = None,
    site: Site = GAUGE_AT_SEA,
    rules: Rules = RULES,
) -> FrcFill:
    """The fill window of an FRC brief, metres.

    The practice's 5 to 10 m (CP), at the latest 2 m above the target (H); a target under 7 m is
    filled 2 m above it. The deep end is cut to the latest fill by land volumes, rounded down to
    half a metre, but never above 5 m. Where even the shallow end is past it, `against_chest` says
    that the charge must be fetched against the chest: take a smaller one.

    >>> from planner.lungs import predict
    >>> from planner.record import Sex
    >>> man = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
    >>> fill_window_m(man, target_m=14)
    FrcFill(low_m=5.0, high_m=8.0, against_chest=False)
    >>> fill_window_m(man, target_m=6)
    FrcFill(low_m=4.0, high_m=4.0, against_chest=False)
    """
    low, above = float(rules["fill.frc_low_m"]), float(rules["fill.above_target_m"])
    latest_m = None
    if lungs is not None:
        own = own or spaces(sex=lungs.sex)
        latest_m = latest_fill_m(
            start_l=lungs.frc_l.value,
            rv_l=lungs.rv_l.value,
            charge_ml=own.charge_ml.value,
            rigid_ml=own.rigid_ml.value,
            site=site,
        )
    if target_m < low + above:
        low = high = max(0.0, target_m - above)
    else:
        high = min(float(rules["fill.frc_high_m"]), down_half(target_m - above))
        if latest_m is not None:
            high = max(low, min(high, down_half(latest_m)))
    return FrcFill(low, high, latest_m is not None and latest_m < low)


def start_l(lungs: Lungs, exercise: Exercise) -> Figure:
    """The volume that a dive begins with, litres. FRC: the land value, down to the afloat one."""
    if exercise is Exercise.FRC:
        land = lungs.frc_l
        return Figure(
            value=land.value, unit="l", mark=land.mark, source=land.source,
            low=lungs.frc_afloat_l.value, high=land.value, name="frc_start",
        )  # fmt: skip
    return lungs.rv_l if exercise is Exercise.RV else lungs.tlc_l


def equivalent_full_m(
    lungs: Lungs, *, exercise: Exercise, depth_m: float, site: Site = GAUGE_AT_SEA
) -> Figure:
    """The full-lung depth that compresses the chest as much as an exhale dive, metres.

    Bare Boyle: p = p(d) TLC / V0. For FRC the band runs from the land FRC (the value) to the
    afloat one, both of the central volumes; for RV over the bands of TLC and RV.

    >>> from planner.lungs import predict
    >>> from planner.record import Sex
    >>> man = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
    >>> d = equivalent_full_m(man, exercise=Exercise.FRC, depth_m=20)
    >>> round(d.low), round(d.high)
    (55, 82)
    """
    start = start_l(lungs, exercise)
    p = absolute_bar(depth_m=depth_m, site=site)
    tlc = lungs.tlc_l
    if exercise is Exercise.RV:
        spread = ratio_band(tlc, start)
    else:
        spread = (tlc.value / start.high_or_value, tlc.value / start.low_or_value)
    low, high = (depth_of_m(pressure_bar=p * ratio, site=site) for ratio in spread)
    return Figure(
        value=depth_of_m(pressure_bar=p * tlc.value / start.value, site=site),
        unit="m", mark=start.mark, source=start.source, low=low, high=high,
        name="equivalent_full",
    )  # fmt: skip


def ratio_band(over: Figure, under: Figure) -> tuple[float, float]:
    """The 5-95 % band of a quotient of two volumes, taken as independent and lognormal (H).

    >>> one = Figure(value=6, unit="l", mark=Mark.HOUSE, low=5, high=7)
    >>> [round(r, 2) for r in ratio_band(one, Figure(value=2, unit="l", mark=Mark.HOUSE))]
    [2.54, 3.54]
    """
    ratio = over.value / under.value
    parts = [(f.high_or_value - f.low_or_value) / 2 / f.value for f in (over, under)]
    spread = float((parts[0] ** 2 + parts[1] ** 2) ** 0.5)
    factor = 2.718281828459045**spread
    return ratio / factor, ratio * factor
