"""What a clean exhale dive supports, as a full-lung depth: the least of rule, chest and mouth.

1. Rule (CP): a base is half the goal by FRC and a fifth of it by RV, so a depth supports 2 or 5
   times itself.
2. Chest: the full-lung depth at which the lungs' compression c = V / RV equals the c that the
   exhale dive reached clean, both by the ledger of `planner.gas`, charge and rigid spaces
   included. With neither it is bare Boyle: p(G) = p(d) TLC / V0. The ledger asks a deeper exhale
   dive of RV divers than bare Boyle does (goal 60, RV/TLC 0.356: 15.8-16.7 m against 14.8).
3. Mouth: the goal dive asks the ratio that the exhale dive gave: p(G) = p(F) p(d) / p(f), F the
   full-lung fill. It is said as "if your goal dive's fill is at least F".

>>> from planner.pressure import ROPE_AT_SEA
>>> round(required_fill_m(goal_m=40, clean_m=20, fill_m=7.5, site=ROPE_AT_SEA), 1)
19.2
>>> round(required_fill_m(goal_m=60, clean_m=12, fill_m=0, site=ROPE_AT_SEA), 1)
21.9
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from planner.figure import Figure, Mark, OutOfRange
from planner.gas import latest_fill_m, ratio_band, start_l
from planner.held import down_half, up_half
from planner.lungs import Lungs
from planner.pressure import GAUGE_AT_SEA, Site, absolute_bar, depth_of_m
from planner.record import Exercise
from planner.rules import RULES, Rules
from planner.spaces import Spaces, spaces


class BoundKind(StrEnum):
    """The three bounds on what an exhale dive supports."""

    RULE = "rule"
    CHEST = "chest"
    MOUTH = "mouth"


@dataclass(frozen=True, kw_only=True, slots=True)
class Bound:
    """A full-lung depth that an exhale depth speaks for, by one reading of it, metres.

    The band is that of predicted volumes (and of FRC between land and afloat). `if_fill_m`: on
    condition that the full-lung dive's fill is at least that deep.
    """

    kind: BoundKind
    depth_m: float
    low_m: float
    high_m: float
    if_fill_m: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class FullFill:
    """The full-lung fill window, metres: not shallower than `low_m`, not deeper than `high_m`.

    Above `low_m` the dive asks a larger ratio than the clean exhale dive did; below `high_m` the
    charge must be fetched against the chest.
    """

    low_m: float
    high_m: float

    @property
    def is_empty(self) -> bool:
        """Whether no fill depth serves both ends."""
        return self.low_m > self.high_m


def rule_depth_m(*, exercise: Exercise, clean_m: float, rules: Rules = RULES) -> float:
    """The full-lung depth by the rule of practice (CP), metres: the depth over the base's share.

    Raises `OutOfRange` for a dive that is no exhale dive or a depth not above 0.

    >>> rule_depth_m(exercise=Exercise.FRC, clean_m=20)
    40.0
    >>> rule_depth_m(exercise=Exercise.RV, clean_m=12)
    60.0
    """
    if not exercise.is_exhale or not clean_m > 0:
        raise OutOfRange(f"{exercise.value} depth", value=clean_m, low=0, high=300, unit="m")
    share = "rv_base_share" if exercise is Exercise.RV else "frc_base_share"
    return clean_m / rules[f"exercise.{share}"]


def _constant(v0: float, fill_bar: float, charge_l: float, rigid_l: float, p0: float) -> float:
    """p V of the lungs below the fill: V0 p0 - Vc (p(f) - p0) - Vm p(f)."""
    return v0 * p0 - rigid_l * (fill_bar - p0) - charge_l * fill_bar


def chest_depth_m(
    *,
    tlc_l: float,
    begins_l: float,
    exercise: Exercise,
    clean_m: float,
    fill_m: float,
    full_fill_m: float,
    charge_ml: float = 0.0,
    rigid_ml: float = 0.0,
    site: Site = GAUGE_AT_SEA,
) -> float:
    """The full-lung depth with the compression of a clean exhale dive, metres.

    p(G) = p(d) K(full) / K(exhale), K = p V below the fill; an RV dive's charge comes from
    outside, so its K is RV p0. Where G would lie above the full-lung fill, nothing is taken from
    the lungs yet, and G is at most the fill's depth. Without charge and rigid spaces it is bare Boyle.

    >>> from planner.pressure import ROPE_AT_SEA
    >>> d = chest_depth_m(tlc_l=7.302, begins_l=1.788, exercise=Exercise.RV, clean_m=12, fill_m=0,
    ...                   full_fill_m=25, site=ROPE_AT_SEA)
    >>> round(d)
    80
    """
    p0, p = site.surface_bar, absolute_bar(depth_m=clean_m, site=site)
    charge_l, rigid_l = charge_ml / 1000, rigid_ml / 1000
    if exercise is Exercise.RV:
        exhale = begins_l * p0
    else:
        fill_bar = absolute_bar(depth_m=min(fill_m, clean_m), site=site)
        exhale = _constant(begins_l, fill_bar, charge_l, rigid_l, p0)
    full_bar = absolute_bar(depth_m=full_fill_m, site=site)
    goal_bar = p * _constant(tlc_l, full_bar, charge_l, rigid_l, p0) / exhale
    if goal_bar < full_bar:
        # above the fill nothing is taken yet; the step at the fill itself is the charge
        goal_bar = min(full_bar, (tlc_l + rigid_l) * p0 / (exhale / p + rigid_l))
    return depth_of_m(pressure_bar=goal_bar, site=site)


def chest_asks_rv_m(
    *,
    tlc_l: float,
    rv_l: float,
    goal_m: float,
    full_fill_m: float = 0.0,
    charge_ml: float = 0.0,
    rigid_ml: float = 0.0,
    site: Site = GAUGE_AT_SEA,
) -> float:
    """The RV depth that compresses the chest as a full-lung goal dive will, metres.

    p(d) = p(G) RV p0 / K(full); by bare Boyle p(G) RV / TLC. The other way round of the chest
    bound: it asks more than a fifth of the goal from RV/TLC 0.315 for 60 m.

    >>> from planner.pressure import ROPE_AT_SEA
    >>> round(chest_asks_rv_m(tlc_l=4.77, rv_l=1.696, goal_m=60, site=ROPE_AT_SEA), 1)
    14.8
    """
    p0 = site.surface_bar
    full = _constant(
        tlc_l, absolute_bar(depth_m=full_fill_m, site=site), charge_ml / 1000, rigid_ml / 1000, p0
    )
    goal_bar = absolute_bar(depth_m=goal_m, site=site)
    return depth_of_m(pressure_bar=goal_bar * rv_l * p0 / full, site=site)


def mouth_depth_m(
    *, full_fill_m: float, clean_m: float, fill_m: float, site: Site = GAUGE_AT_SEA
) -> float:
    """The full-lung depth that asks the ratio of a clean exhale dive: p(G) = p(F) p(d) / p(f).

    >>> from planner.pressure import ROPE_AT_SEA
    >>> round(mouth_depth_m(full_fill_m=20, clean_m=20, fill_m=7.5, site=ROPE_AT_SEA), 1)
    41.4
    """
    full_bar = absolute_bar(depth_m=full_fill_m, site=site)
    return depth_of_m(pressure_bar=full_bar * _given(clean_m, fill_m, site), site=site)


def required_fill_m(
    *, goal_m: float, clean_m: float, fill_m: float, site: Site = GAUGE_AT_SEA
) -> float:
    """How deep the goal dive's fill must be to ask no more than the exhale dive gave, metres.

    p(F) = p(G) p(f) / p(d); 0 where even a fill at the surface asks less. A deeper goal never
    needs a shallower fill. Raises `OutOfRange` where the exhale dive is not below its fill.
    """
    goal_bar = absolute_bar(depth_m=goal_m, site=site)
    return depth_of_m(pressure_bar=goal_bar / _given(clean_m, fill_m, site), site=site)


def _given(clean_m: float, fill_m: float, site: Site) -> float:
    if not clean_m > fill_m:
        raise OutOfRange("depth", value=clean_m, low=fill_m, high=300, unit="m")
    return absolute_bar(depth_m=clean_m, site=site) / absolute_bar(depth_m=fill_m, site=site)


def deepest_full_fill_m(
    lungs: Lungs, *, own: Spaces | None = None, site: Site = GAUGE_AT_SEA, rules: Rules = RULES
) -> Figure:
    """The deep end of a full-lung fill, metres: where TLC less the charge reaches RV, less 2 m (H).

    The value is rounded down to half a metre; the band follows the band of TLC / RV.

    >>> from planner.lungs import predict
    >>> from planner.record import Sex
    >>> deepest_full_fill_m(predict(sex=Sex.FEMALE, age_y=29, height_m=1.72)).value
    22.0
    """
    own = own or spaces(sex=lungs.sex)
    margin_m = rules["full.fill_margin_m"]
    latest = latest_fill_m(
        start_l=lungs.tlc_l.value,
        rv_l=lungs.rv_l.value,
        charge_ml=own.charge_ml.value,
        rigid_ml=own.rigid_ml.value,
        site=site,
    )
    bar = absolute_bar(depth_m=latest, site=site)
    ratio = lungs.tlc_l.value / lungs.rv_l.value
    low, high = (
        max(0.0, depth_of_m(pressure_bar=bar * end / ratio, site=site) - margin_m)
        for end in ratio_band(lungs.tlc_l, lungs.rv_l)
    )
    return Figure(
        value=down_half(max(0.0, latest - margin_m)),
        unit="m", mark=Mark.HOUSE, source=lungs.rv_l.source, low=low, high=high,
        name="full_fill_deep",
    )  # fmt: skip


def supports(
    *,
    exercise: Exercise,
    clean_m: float,
    fill_m: float,
    lungs: Lungs | None = None,
    own: Spaces | None = None,
    site: Site = GAUGE_AT_SEA,
    rules: Rules = RULES,
) -> tuple[Bound, ...]:
    """What a clean exhale depth supports: rule, chest (with lungs only) and mouth, metres.

    FRC's chest bound stands on the land volume, the careful end: lungs that begin larger are
    squeezed less, so the dive speaks for less; the band runs to the afloat one. Without lungs the
    mouth's bound is the rule's depth with the fill that it asks for. A dive not below its fill
    has no mouth bound. Depths are not rounded.

    >>> [(b.kind.value, b.depth_m) for b in supports(exercise=Exercise.FRC, clean_m=10, fill_m=5)]
    [('rule', 20.0), ('mouth', 20.0)]
    """
    rule_m = rule_depth_m(exercise=exercise, clean_m=clean_m, rules=rules)
    if exercise is Exercise.RV:
        fill_m = 0.0
    bounds = [Bound(kind=BoundKind.RULE, depth_m=rule_m, low_m=rule_m, high_m=rule_m)]
    has_mouth = clean_m > fill_m
    if lungs is None:
        if has_mouth:
            asked = required_fill_m(goal_m=rule_m, clean_m=clean_m, fill_m=fill_m, site=site)
            bounds.append(
                Bound(
                    kind=BoundKind.MOUTH, depth_m=rule_m, low_m=rule_m, high_m=rule_m,
                    if_fill_m=asked,
                )
            )  # fmt: skip
        return tuple(bounds)
    own = own or spaces(sex=lungs.sex)
    deepest = deepest_full_fill_m(lungs, own=own, site=site, rules=rules)
    bounds.append(_chest(lungs, own, exercise, clean_m, fill_m, deepest.value, site))
    if has_mouth:
        low, likely, high = (
            mouth_depth_m(full_fill_m=full_m, clean_m=clean_m, fill_m=fill_m, site=site)
            for full_m in (deepest.low_or_value, deepest.value, deepest.high_or_value)
        )
        bounds.append(
            Bound(
                kind=BoundKind.MOUTH, depth_m=likely, low_m=min(low, likely),
                high_m=max(high, likely), if_fill_m=deepest.value,
            )
        )  # fmt: skip
    return tuple(bounds)


def _chest(
    lungs: Lungs,
    own: Spaces,
    exercise: Exercise,
    clean_m: float,
    fill_m: float,
    full_fill_m: float,
    site: Site,
) -> Bound:
    start = start_l(lungs, exercise)

    def at(begins_l: float) -> float:
        return chest_depth_m(
            tlc_l=lungs.tlc_l.value,
            begins_l=begins_l,
            exercise=exercise,
            clean_m=clean_m,
            fill_m=fill_m,
            full_fill_m=full_fill_m,
            charge_ml=own.charge_ml.value,
            rigid_ml=own.rigid_ml.value,
            site=site,
        )

    likely = at(start.value)
    position = at(start.low_or_value) if exercise is Exercise.FRC else likely
    # how far the predicted volumes' own spread moves the quotient TLC / V0
    under = lungs.frc_l if exercise is Exercise.FRC else lungs.rv_l
    spread = ratio_band(lungs.tlc_l, under)[1] * under.value / lungs.tlc_l.value
    low_bar = absolute_bar(depth_m=min(likely, 300), site=site) / spread
    high_bar = absolute_bar(depth_m=min(position, 300), site=site) * spread
    return Bound(
        kind=BoundKind.CHEST,
        depth_m=likely,
        low_m=min(likely, depth_of_m(pressure_bar=low_bar, site=site)),
        high_m=max(likely, depth_of_m(pressure_bar=high_bar, site=site)),
    )


def binding(bounds: Iterable[Bound]) -> Bound | None:
    """The least of the bounds, the one that binds; the first of equals; None of none.

    >>> binding(supports(exercise=Exercise.FRC, clean_m=20, fill_m=7)).kind.value
    'rule'
    """
    return min(bounds, key=lambda bound: bound.depth_m, default=None)


def supported_m(*exercises: Iterable[Bound]) -> float | None:
    """The full-lung depth that is supported, metres, rounded down to half a metre.

    The better of the exercises given, each lowered by its own chest and mouth; None of none.

    >>> supported_m(supports(exercise=Exercise.FRC, clean_m=17.5, fill_m=7), ())
    35.0
    """
    least = [bound.depth_m for bound in map(binding, exercises) if bound is not None]
    return down_half(max(least)) if least else None


def full_fill_window(
    lungs: Lungs,
    *,
    line_m: float,
    clean_m: float,
    fill_m: float,
    own: Spaces | None = None,
    site: Site = GAUGE_AT_SEA,
    rules: Rules = RULES,
) -> FullFill:
    """The fill window of a full-lung dive to a line, metres (H).

    Shallow end: where the dive asks no larger ratio than the clean exhale dive to `clean_m` with
    its fill at `fill_m` did, rounded up to half a metre. Deep end: where full lungs less the
    charge reach RV, less 2 m, rounded down, and at the latest 2 m above the line.

    >>> from planner.lungs import predict
    >>> from planner.record import Sex
    >>> full_fill_window(predict(sex=Sex.FEMALE, age_y=29, height_m=1.72),
    ...                  line_m=34, clean_m=17.5, fill_m=7)
    FullFill(low_m=17.5, high_m=22.0)
    """
    low = up_half(required_fill_m(goal_m=line_m, clean_m=clean_m, fill_m=fill_m, site=site))
    deepest = deepest_full_fill_m(lungs, own=own, site=site, rules=rules).value
    latest = down_half(max(0.0, line_m - rules["full.fill_margin_m"]))
    return FullFill(low_m=low, high_m=min(deepest, latest))
