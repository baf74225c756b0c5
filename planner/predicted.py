"""Predicted lung volumes: the ECSC/ERS 1993 summary equations, as bands. Litres.

The equations (key `quanjer-1993`) are P?, since they were transcribed. Each volume is a band from
the 5th to the 95th centile, +-1.64 residual standard deviations. Afloat, FRC is smaller than on
land (key `agostoni-1966`). What a diver measured comes in through `planner.lungs`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

from planner.figure import Figure, Mark, OutOfRange
from planner.record import Sex, VolumeKind

CENTILE_95 = 1.64
"""Standard deviations from the middle to the 5th and 95th centile, as the source rounds it."""

AFLOAT_ERV_SHARE = Figure(
    value=0.11, unit="of VC", mark=Mark.PUBLISHED, source="agostoni-1966", name="afloat_erv_share"
)
"""What is left of the expiratory reserve, neck-deep and upright."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Lungs:
    """Lung volumes in litres, each with its band; a measured one has none.

    `frc_afloat_l` is FRC neck-deep and upright; its upper end is the land value, since lying
    face down it is somewhere between. `extrapolated` names what lay outside the equations' valid
    range (age, height). `measured` says which volumes are the diver's own, `dropped` which
    recorded ones could not be true beside newer ones.
    """

    tlc_l: Figure
    frc_l: Figure
    rv_l: Figure
    vc_l: Figure
    frc_afloat_l: Figure
    sex: Sex | None
    age_y: float | None
    height_m: float | None
    extrapolated: tuple[str, ...] = ()
    measured: frozenset[VolumeKind] = frozenset()
    dropped: tuple[VolumeKind, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class _Equations:
    """value = height * H + age * A + constant, and the residual standard deviation."""

    tlc: tuple[float, float, float, float]
    rv: tuple[float, float, float, float]
    frc: tuple[float, float, float, float]
    height_low_m: float
    height_high_m: float


# P?: transcribed from the summary tables of key quanjer-1993
_EQUATIONS = {
    Sex.MALE: _Equations(
        tlc=(7.99, 0.0, -7.08, 0.70),
        rv=(1.31, 0.022, -1.23, 0.41),
        frc=(2.34, 0.009, -1.09, 0.60),
        height_low_m=1.55,
        height_high_m=1.95,
    ),
    Sex.FEMALE: _Equations(
        tlc=(6.60, 0.0, -5.79, 0.60),
        rv=(1.81, 0.016, -2.00, 0.35),
        frc=(2.24, 0.001, -1.00, 0.50),
        height_low_m=1.45,
        height_high_m=1.80,
    ),
}
AGE_LOW_Y, AGE_HIGH_Y, AGE_LEAST_USED_Y = 18, 70, 25

# H: how far an extrapolation is carried at all; under 18 is not served
_STRETCH_AGE_HIGH_Y, _STRETCH_HEIGHT_LOW_M, _STRETCH_HEIGHT_HIGH_M = 85, 1.35, 2.15


@lru_cache(maxsize=512)
def predict(*, sex: Sex, age_y: float, height_m: float, extrapolate: bool = False) -> Lungs:
    """Predicted lung volumes, litres, as bands (P? `quanjer-1993`).

    Men: TLC 7.99 H - 7.08, RV 1.31 H + 0.022 A - 1.23, FRC 2.34 H + 0.009 A - 1.09; women:
    TLC 6.60 H - 5.79, RV 1.81 H + 0.016 A - 2.00, FRC 2.24 H + 0.001 A - 1.00; H in metres,
    A in years, 25 for anybody younger. VC is TLC - RV. Valid 18-70 years, men 1.55-1.95 m,
    women 1.45-1.80 m; outside raises `OutOfRange`, or, with `extrapolate`, is named in
    `extrapolated` (never under 18, nor beyond 85 years or 1.35-2.15 m).

    >>> man = predict(sex=Sex.MALE, age_y=30, height_m=1.80)
    >>> round(man.tlc_l.value, 3), round(man.rv_l.low, 3), round(man.rv_l.high, 3)
    (7.302, 1.116, 2.46)
    >>> predict(sex=Sex.MALE, age_y=9, height_m=1.30)
    Traceback (most recent call last):
        ...
    planner.figure.OutOfRange: age 9 is outside 18-70 years
    """
    equations = _EQUATIONS[sex]
    h_low, h_high = equations.height_low_m, equations.height_high_m
    beyond: list[str] = []
    if not AGE_LOW_Y <= age_y <= AGE_HIGH_Y:
        if not extrapolate or not AGE_LOW_Y <= age_y <= _STRETCH_AGE_HIGH_Y:
            raise OutOfRange("age", value=age_y, low=AGE_LOW_Y, high=AGE_HIGH_Y, unit="years")
        beyond.append("age")
    if not h_low <= height_m <= h_high:
        if not extrapolate or not _STRETCH_HEIGHT_LOW_M <= height_m <= _STRETCH_HEIGHT_HIGH_M:
            raise OutOfRange("height", value=height_m, low=h_low, high=h_high, unit="m")
        beyond.append("height")
    age = max(age_y, AGE_LEAST_USED_Y)

    def volume(terms: tuple[float, float, float, float]) -> Spread:
        by_height, by_age, constant, deviation = terms
        return Spread(by_height * height_m + by_age * age + constant, deviation, Mark.QUOTED)

    tlc, rv, frc = volume(equations.tlc), volume(equations.rv), volume(equations.frc)
    return lungs_from(
        tlc=tlc,
        rv=rv,
        frc=frc,
        vc=Spread(tlc.value - rv.value, root_of_squares(tlc.deviation, rv.deviation), Mark.QUOTED),
        body=(sex, age_y, height_m),
        extrapolated=tuple(beyond),
        measured=frozenset(),
    )


@dataclass(frozen=True, slots=True)
class Spread:
    """A volume, its standard deviation (0: measured), and its mark."""

    value: float
    deviation: float
    mark: Mark

    def figure(self, name: str) -> Figure:
        """The volume as a figure with its 5-95 % band."""
        half = CENTILE_95 * self.deviation
        return Figure(
            value=self.value,
            unit="l",
            mark=self.mark,
            source=None if self.mark is Mark.MEASURED else "quanjer-1993",
            low=self.value - half,
            high=self.value + half,
            name=name,
        )


def root_of_squares(*deviations: float) -> float:
    """The deviation of a sum or difference of independent volumes."""
    return sqrt(sum(d * d for d in deviations))


def lungs_from(
    *,
    tlc: Spread,
    rv: Spread,
    frc: Spread,
    vc: Spread,
    body: tuple[Sex, float, float] | None,
    extrapolated: tuple[str, ...],
    measured: frozenset[VolumeKind],
    dropped: tuple[VolumeKind, ...] = (),
) -> Lungs:
    """Lungs of four volumes, with FRC afloat: RV + 0.11 VC upright, the land value at most."""
    share = AFLOAT_ERV_SHARE.value
    upright = rv.value + share * (tlc.value - rv.value)
    half = CENTILE_95 * root_of_squares((1 - share) * rv.deviation, share * tlc.deviation)
    frc_l = frc.figure("frc")
    afloat = Figure(
        value=min(upright, frc.value),
        unit="l",
        mark=AFLOAT_ERV_SHARE.mark if rv.mark is Mark.MEASURED else rv.mark,
        source=AFLOAT_ERV_SHARE.source,
        low=min(upright, frc.value) - half,
        high=frc_l.high_or_value,
        name="frc_afloat",
    )
    sex, age_y, height_m = body if body is not None else (None, None, None)
    return Lungs(
        tlc_l=tlc.figure("tlc"),
        frc_l=frc_l,
        rv_l=rv.figure("rv"),
        vc_l=vc.figure("vc"),
        frc_afloat_l=afloat,
        sex=sex,
        age_y=age_y,
        height_m=height_m,
        extrapolated=extrapolated,
        measured=measured,
        dropped=dropped,
    )
