"""A diver's lung volumes: predicted with bands, replaced and narrowed by what was measured.

Volumes are litres. Predictions are those of `planner.predicted`; a measured volume replaces its
prediction, narrows those that depend on it, and is refused where it can't be true.

>>> from planner.record import Sex
>>> own = predict(sex=Sex.FEMALE, age_y=28, height_m=1.68)
>>> [round(f.value, 3) for f in (own.tlc_l, own.rv_l, own.frc_l)]
[5.298, 1.489, 2.791]
>>> with_measured(own, rv_l=1.3).rv_l.mark.words
'measured by the diver'
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from enum import StrEnum
from functools import lru_cache
from math import sqrt

from planner.figure import Figure, Mark, OutOfRange, PlannerError, within
from planner.predicted import (
    AFLOAT_ERV_SHARE,
    AGE_HIGH_Y,
    AGE_LOW_Y,
    CENTILE_95,
    Lungs,
    Spread,
    lungs_from,
    predict,
    root_of_squares,
)
from planner.record import Body, DiverRecord, Sex, Volume, VolumeKind

__all__ = [
    "AFLOAT_ERV_SHARE",
    "AGE_HIGH_Y",
    "AGE_LOW_Y",
    "CENTILE_95",
    "Implausible",
    "Lungs",
    "Oddity",
    "lungs_of",
    "predict",
    "with_measured",
]


class Oddity(StrEnum):
    """Why measured volumes can't be true."""

    RV_NOT_BELOW_TLC = "rv-not-below-tlc"
    FRC_NOT_BETWEEN = "frc-not-between"
    VC_DISAGREES = "vc-disagrees"
    OUTSIDE_RANGE = "outside-range"


class Implausible(PlannerError, ValueError):
    """A measured volume that can't be true beside the others. Litres throughout.

    `why` says what is wrong with `kind`, which was said to be `value_l`; it should lie between
    `low_l` and `high_l`.
    """

    def __init__(
        self, why: Oddity, *, kind: VolumeKind, value_l: float, low_l: float, high_l: float
    ) -> None:
        self.why = why
        self.kind = kind
        self.value_l = value_l
        self.low_l = low_l
        self.high_l = high_l
        super().__init__(f"{why}: {kind} {value_l:g} l, expected {low_l:.2f}-{high_l:.2f} l")


# H: wider than anybody's measured volumes; a figure outside is a slip of the thumb
_RANGES = {
    VolumeKind.TLC: (2.0, 12.0),
    VolumeKind.FRC: (0.8, 8.0),
    VolumeKind.RV: (0.3, 5.0),
    VolumeKind.VC: (1.0, 10.0),
}
_VC_TOLERANCE_L = 0.5
"""By how much a measured VC may differ from measured TLC - RV (H): days differ, and devices."""


def with_measured(
    lungs: Lungs,
    *,
    tlc_l: float | None = None,
    frc_l: float | None = None,
    rv_l: float | None = None,
    vc_l: float | None = None,
) -> Lungs:
    """The lungs with measured volumes in place of predicted ones, litres.

    Two of TLC, RV and VC give the third. VC alone moves the predicted TLC and RV to where they
    differ by it, each in proportion to its own variance, and narrows both (taken as independent
    and normal: H). What was measured before stands, the new figure first. Raises `Implausible`
    where RV is not below TLC, FRC not between them, a VC differs from TLC - RV by more than
    0.5 l, or a figure lies outside what lungs hold.

    >>> own = predict(sex=Sex.FEMALE, age_y=50, height_m=1.60)
    >>> round(with_measured(own, tlc_l=5.0, rv_l=1.5).vc_l.value, 2)
    3.5
    >>> with_measured(own, rv_l=9.9)
    Traceback (most recent call last):
        ...
    planner.lungs.Implausible: rv-not-below-tlc: rv 9.9 l, expected 0.30-4.77 l
    """
    said = {
        VolumeKind.TLC: tlc_l,
        VolumeKind.FRC: frc_l,
        VolumeKind.RV: rv_l,
        VolumeKind.VC: vc_l,
    }
    new = {kind: value for kind, value in said.items() if value is not None}
    return _replaced(lungs, _own(lungs) | new, newest=next(reversed(new), None))


def lungs_of(record: DiverRecord, at: datetime | None = None) -> Lungs | None:
    """The lungs that a diver's facts tell, by the latest of each that had happened at `at`.

    None without sex, age and height, unless TLC, RV and FRC were all measured (two of TLC, RV
    and VC will do). Never raises: a body outside the valid ranges is extrapolated and says so, and
    of measured volumes that can't be true together the newest stand and the rest are `dropped`.
    """
    body: Body | None = None
    volumes: dict[VolumeKind, float] = {}
    for fact in record.facts:
        if at is not None and fact.happened_at > at:
            break
        if type(fact) is Body:
            body = fact
        elif type(fact) is Volume and fact.volume in _RANGES:
            volumes.pop(fact.volume, None)  # so that the order is that of the latest
            volumes[fact.volume] = fact.value
    return _from_facts(
        None if body is None else (body.sex, body.age_y, body.height_m), tuple(volumes.items())
    )


@lru_cache(maxsize=512)
def _from_facts(
    body: tuple[Sex, int, float] | None, volumes: tuple[tuple[VolumeKind, float], ...]
) -> Lungs | None:
    if body is not None:
        sex, age_y, height_m = body
        try:
            lungs = predict(sex=sex, age_y=age_y, height_m=height_m, extrapolate=True)
        except OutOfRange:
            return None
        return _newest_first(lungs, volumes)
    alone = _alone(dict(volumes))
    return None if alone is None else _newest_first(alone, volumes)


def _newest_first(lungs: Lungs, volumes: tuple[tuple[VolumeKind, float], ...]) -> Lungs:
    """Apply the newest measured volumes first; leave out what can't be true beside them."""
    try:
        return _replaced(lungs, dict(volumes), newest=None)
    except Implausible:
        pass
    taken: dict[VolumeKind, float] = {}
    dropped: list[VolumeKind] = []
    for kind, value in reversed(volumes):
        try:
            _replaced(lungs, taken | {kind: value}, newest=kind)
        except Implausible:
            dropped.append(kind)
        else:
            taken[kind] = value
    return _replaced(lungs, taken, newest=None, dropped=tuple(dropped))


def _exact(value: float) -> Spread:
    return Spread(value, 0.0, Mark.MEASURED)


def _own(lungs: Lungs) -> dict[VolumeKind, float]:
    figures = {
        VolumeKind.TLC: lungs.tlc_l,
        VolumeKind.FRC: lungs.frc_l,
        VolumeKind.RV: lungs.rv_l,
        VolumeKind.VC: lungs.vc_l,
    }
    return {kind: figures[kind].value for kind in figures if kind in lungs.measured}


def _alone(volumes: Mapping[VolumeKind, float]) -> Lungs | None:
    """Lungs from measured volumes without a body to predict from, where they suffice."""
    tlc, rv, vc, frc = (
        volumes.get(kind) for kind in (VolumeKind.TLC, VolumeKind.RV, VolumeKind.VC, VolumeKind.FRC)
    )
    if tlc is None and rv is not None and vc is not None:
        tlc = rv + vc
    if rv is None and tlc is not None and vc is not None:
        rv = tlc - vc
    if tlc is None or rv is None or frc is None or not 0 < rv < frc < tlc:
        return None
    return lungs_from(
        tlc=_exact(tlc),
        rv=_exact(rv),
        frc=_exact(frc),
        vc=_exact(tlc - rv),
        body=None,
        extrapolated=(),
        measured=frozenset(volumes),
    )


def _replaced(
    lungs: Lungs,
    measured: Mapping[VolumeKind, float],
    *,
    newest: VolumeKind | None,
    dropped: tuple[VolumeKind, ...] = (),
) -> Lungs:
    if not measured:
        return replace(lungs, dropped=dropped) if dropped else lungs
    tlc, rv, frc = _base(lungs, measured)
    vc_l = measured.get(VolumeKind.VC)
    tlc_known, rv_known = VolumeKind.TLC in measured, VolumeKind.RV in measured
    if vc_l is None:
        vc = Spread(
            tlc.value - rv.value,
            root_of_squares(tlc.deviation, rv.deviation),
            Mark.MEASURED if tlc_known and rv_known else Mark.QUOTED,
        )
    else:
        _check_range(VolumeKind.VC, vc_l)
        vc = _exact(vc_l)
        if tlc_known and rv_known:
            expected = tlc.value - rv.value
            if expected > 0 and abs(expected - vc_l) > _VC_TOLERANCE_L:
                raise Implausible(
                    Oddity.VC_DISAGREES,
                    kind=VolumeKind.VC,
                    value_l=vc_l,
                    low_l=expected - _VC_TOLERANCE_L,
                    high_l=expected + _VC_TOLERANCE_L,
                )
        elif tlc_known:
            rv = _exact(tlc.value - vc_l)
        elif rv_known:
            tlc = _exact(rv.value + vc_l)
        else:
            tlc, rv = _split(tlc, rv, vc_l)
    _check_order(tlc.value, rv.value, frc.value, measured, newest)
    for kind, value in measured.items():
        _check_range(kind, value)
    low_l, high_l = _RANGES[VolumeKind.RV]
    if vc_l is not None and not low_l <= rv.value <= high_l:
        raise Implausible(
            Oddity.VC_DISAGREES,
            kind=VolumeKind.VC,
            value_l=vc_l,
            low_l=max(0.0, tlc.value - high_l),
            high_l=tlc.value - low_l,
        )
    body = None
    if lungs.sex is not None and lungs.age_y is not None and lungs.height_m is not None:
        body = (lungs.sex, lungs.age_y, lungs.height_m)
    return lungs_from(
        tlc=tlc,
        rv=rv,
        frc=frc,
        vc=vc,
        body=body,
        extrapolated=lungs.extrapolated,
        measured=frozenset(measured),
        dropped=dropped,
    )


def _base(lungs: Lungs, measured: Mapping[VolumeKind, float]) -> tuple[Spread, Spread, Spread]:
    """TLC, RV and FRC: as measured, else as the body predicts, else as they were."""
    origin = lungs
    if lungs.sex is not None and lungs.age_y is not None and lungs.height_m is not None:
        origin = predict(
            sex=lungs.sex, age_y=lungs.age_y, height_m=lungs.height_m, extrapolate=True
        )

    def known(kind: VolumeKind, figure: Figure) -> Spread:
        if kind in measured:
            return _exact(measured[kind])
        deviation = (figure.high_or_value - figure.low_or_value) / (2 * CENTILE_95)
        return Spread(figure.value, deviation, figure.mark)

    return (
        known(VolumeKind.TLC, origin.tlc_l),
        known(VolumeKind.RV, origin.rv_l),
        known(VolumeKind.FRC, origin.frc_l),
    )


def _split(tlc: Spread, rv: Spread, vc_l: float) -> tuple[Spread, Spread]:
    """Predicted TLC and RV, given that they differ by a measured VC (independent normals, H)."""
    a, b = tlc.deviation**2, rv.deviation**2
    off = vc_l - (tlc.value - rv.value)
    left = sqrt(a * b / (a + b)) if a + b else 0.0
    share = a / (a + b) if a + b else 0.5
    return (
        Spread(tlc.value + off * share, left, tlc.mark),
        Spread(rv.value - off * (1 - share), left, rv.mark),
    )


def _check_range(kind: VolumeKind, value: float) -> None:
    low, high = _RANGES[kind]
    try:
        within(kind, value, low=low, high=high, unit="l")
    except OutOfRange:
        raise Implausible(
            Oddity.OUTSIDE_RANGE, kind=kind, value_l=value, low_l=low, high_l=high
        ) from None


def _check_order(
    tlc_l: float,
    rv_l: float,
    frc_l: float,
    measured: Mapping[VolumeKind, float],
    newest: VolumeKind | None,
) -> None:
    """RV below FRC below TLC; what is blamed is the newest figure, else one that was measured."""
    if rv_l < frc_l < tlc_l:
        return

    def blamed(*kinds: VolumeKind) -> VolumeKind:
        order = (newest, *kinds) if newest in kinds else kinds
        return next(kind for kind in order if kind is not None and kind in measured)

    if not rv_l < tlc_l:
        why = Oddity.RV_NOT_BELOW_TLC
        kind = blamed(VolumeKind.RV, VolumeKind.TLC, VolumeKind.VC)
    else:
        why = Oddity.FRC_NOT_BETWEEN
        kind = blamed(VolumeKind.FRC, VolumeKind.RV, VolumeKind.TLC, VolumeKind.VC)
    low_l, high_l = _RANGES[kind]
    if kind is VolumeKind.FRC:
        low_l, high_l = rv_l, tlc_l
    elif kind is VolumeKind.RV:
        high_l = tlc_l if why is Oddity.RV_NOT_BELOW_TLC else min(tlc_l, frc_l)
    elif kind is VolumeKind.TLC:
        low_l = rv_l if why is Oddity.RV_NOT_BELOW_TLC else max(rv_l, frc_l)
    raise Implausible(why, kind=kind, value_l=measured[kind], low_l=low_l, high_l=high_l)
