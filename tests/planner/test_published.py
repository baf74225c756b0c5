"""Every published or worked value in published/*.toml against the planner's formulas."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path

import pytest

from planner.consistency import consistency
from planner.figure import Figure, Mark
from planner.gas import (
    compression,
    empty_depth_m,
    equivalent_full_m,
    latest_fill_m,
    lungs_before_fill_l,
    oxygen_share,
    reaches_rv_m,
)
from planner.lungs import Lungs, predict
from planner.pressure import (
    GAUGE_AT_SEA,
    GAUGE_BAR_PER_M,
    GRAVITY_M_PER_S2,
    ROPE_AT_SEA,
    SURFACE_BAR,
    Site,
    absolute_bar,
    atmosphere_bar,
)
from planner.reach import Reach, Trial, reach
from planner.record import Exercise, Sex
from planner.sources import SOURCES
from planner.spaces import EARS_ML, NOSE_ML, spaces
from planner.support import chest_asks_rv_m, mouth_depth_m, required_fill_m, rule_depth_m

PUBLISHED = Path(__file__).parent / "published"


@dataclass(frozen=True)
class Value:
    """One table: the formula's name, what is given, what it gives as printed, and how near."""

    formula: str
    case: str
    source: str
    where: str
    mark: str
    given: dict[str, object]
    gives: str
    tolerance: str | float | None = None

    @property
    def allowed(self) -> float:
        """How far off the formula may be: half the last printed digit, or what the table says."""
        printed = Decimal(self.gives)
        if self.tolerance is None:
            return 0.5 * 10.0 ** int(printed.as_tuple().exponent) + 1e-9
        if isinstance(self.tolerance, str):
            return abs(float(printed)) * float(self.tolerance.removesuffix("%")) / 100
        return self.tolerance


def values() -> list[Value]:
    found = []
    for path in sorted(PUBLISHED.glob("*.toml")):
        for formula, cases in tomllib.loads(path.read_text(encoding="utf-8")).items():
            found += [Value(formula=formula, case=case, **keys) for case, keys in cases.items()]
    return found


def person(sex: str, age_y: int, height_m: float) -> Lungs:
    return predict(sex=Sex(sex), age_y=age_y, height_m=height_m)


def half_band(figure: Figure) -> float:
    return (figure.high_or_value - figure.low_or_value) / 2


def end_of(figure: Figure, end: str) -> float:
    return {"low": figure.low_or_value, "value": figure.value, "high": figure.high_or_value}[end]


def oxygen_percent(begins: str, **body: object) -> float:
    lungs = person(**body)  # type: ignore[arg-type]
    start = {"frc": lungs.frc_l, "afloat": lungs.frc_afloat_l, "rv": lungs.rv_l}[begins]
    return 100 * oxygen_share(lungs, start_l=start.value)


@cache
def latest_fills(sex: str, begins: str) -> tuple[float, float]:
    """The least and most of the latest fill over ages 25-45 and all valid heights."""
    low_cm, high_cm = (155, 195) if sex == "m" else (145, 180)
    own = spaces(sex=Sex(sex))
    depths = []
    for age_y in range(25, 46):
        for cm in range(low_cm, high_cm + 1):
            lungs = person(sex, age_y, cm / 100)
            start = lungs.frc_l if begins == "frc" else lungs.tlc_l
            depths.append(
                latest_fill_m(
                    start_l=start.value,
                    rv_l=lungs.rv_l.value,
                    charge_ml=own.charge_ml.value,
                    rigid_ml=own.rigid_ml.value,
                    site=ROPE_AT_SEA,
                )
            )
    return min(depths), max(depths)


class OneBar(Site):
    """The textbook's water: 1 bar at the surface, 10 m per bar."""

    @property
    def surface_bar(self) -> float:
        return 1.0


PURE = OneBar()


def pure_equivalent_m(start_over_tlc: float, depth_m: float) -> float:
    volume_l = lungs_before_fill_l(start_l=start_over_tlc, depth_m=depth_m, site=PURE)
    return reaches_rv_m(start_l=1.0, rv_l=volume_l, site=PURE)


def dive_compression(depth_m: float, *, full: bool, **body: object) -> float:
    lungs = person(**body)  # type: ignore[arg-type]
    start = lungs.tlc_l if full else lungs.rv_l
    volume_l = lungs_before_fill_l(start_l=start.value, depth_m=depth_m, site=ROPE_AT_SEA)
    return compression(volume_l=volume_l, rv_l=lungs.rv_l.value)


def equivalent(exercise: str, depth_m: float, end: str, **body: object) -> float:
    lungs = person(**body)  # type: ignore[arg-type]
    return end_of(
        equivalent_full_m(lungs, exercise=Exercise(exercise), depth_m=depth_m, site=ROPE_AT_SEA),
        end,
    )


def learned(trials: list[list[float]], spreads: list[float]) -> Reach:
    told = [Trial(fill_m=t[0], clean_m=t[1], out_m=t[2] if len(t) > 2 else None) for t in trials]
    return reach(told, site=ROPE_AT_SEA, spreads=tuple(spreads))


def chance(depth_m: float, fill_m: float, **told: object) -> float:
    return learned(**told).chance(depth_m=depth_m, fill_m=fill_m)  # type: ignore[arg-type]


def chest_asks(
    sex: str, age_y: int, height_m: float, goal_m: float, full_fill_m: float,
    charge_ml: float, rigid_ml: float,
) -> float:  # fmt: skip
    lungs = person(sex, age_y, height_m)
    return chest_asks_rv_m(
        tlc_l=lungs.tlc_l.value,
        rv_l=lungs.rv_l.value,
        goal_m=goal_m,
        full_fill_m=full_fill_m,
        charge_ml=charge_ml,
        rigid_ml=rigid_ml,
        site=ROPE_AT_SEA,
    )


def chest_over_rule_from(goal_m: float) -> float:
    """The RV/TLC from which the chest asks for more than a fifth of the goal, by bisection."""
    low, high = 0.1, 0.9
    for _ in range(60):
        ratio = (low + high) / 2
        asks = chest_asks_rv_m(tlc_l=6.0, rv_l=6.0 * ratio, goal_m=goal_m, site=ROPE_AT_SEA)
        low, high = (low, ratio) if asks > goal_m / 5 else (ratio, high)
    return low


FORMULAS: dict[str, Callable[..., float]] = {
    "atmosphere_hpa": lambda altitude_m: 1000 * atmosphere_bar(altitude_m=altitude_m),
    "atmosphere_pa": lambda altitude_m: 1e5 * atmosphere_bar(altitude_m=altitude_m),
    "rope_gauge_bar": lambda depth_m: (
        absolute_bar(depth_m=depth_m, site=ROPE_AT_SEA) - SURFACE_BAR.value
    ),
    "density": lambda salt: Site(salt=salt).water_kg_per_m3,
    "gauge_bar_of_rise": lambda depth_m: absolute_bar(depth_m=depth_m) - absolute_bar(depth_m=0),
    "gauge_density": lambda: GAUGE_BAR_PER_M.value * 1e5 / GRAVITY_M_PER_S2.value,
    "predicted_tlc_l": lambda **body: person(**body).tlc_l.value,
    "predicted_rv_l": lambda **body: person(**body).rv_l.value,
    "predicted_frc_l": lambda **body: person(**body).frc_l.value,
    "band_half_tlc_l": lambda **body: half_band(person(**body).tlc_l),
    "band_half_rv_l": lambda **body: half_band(person(**body).rv_l),
    "band_half_frc_l": lambda **body: half_band(person(**body).frc_l),
    "rv_over_tlc": lambda **body: person(**body).rv_l.value / person(**body).tlc_l.value,
    "afloat_erv_over_vc": lambda **body: (
        (person(**body).frc_afloat_l.value - person(**body).rv_l.value) / person(**body).vc_l.value
    ),
    "oxygen_percent": oxygen_percent,
    "empty_depth_m": lambda **given: empty_depth_m(**given, site=ROPE_AT_SEA),
    "ears_ml": lambda end="value": end_of(EARS_ML, end),
    "nose_ml": lambda: NOSE_ML.value,
    "rigid_most_ml": lambda sex: spaces(sex=Sex(sex)).rigid_ml.high_or_value,
    "charge_prior_ml": lambda sex: spaces(sex=Sex(sex)).charge_ml.value,
    "latest_fill_least_m": lambda **given: latest_fills(**given)[0],
    "latest_fill_most_m": lambda **given: latest_fills(**given)[1],
    "reaches_rv_m": lambda **given: reaches_rv_m(**given, site=ROPE_AT_SEA),
    "afloat_reaches_rv_m": lambda **body: reaches_rv_m(
        start_l=person(**body).frc_afloat_l.value,
        rv_l=person(**body).rv_l.value,
        site=ROPE_AT_SEA,
    ),
    "pure_reaches_rv_m": lambda **given: reaches_rv_m(**given, site=PURE),
    "pure_equivalent_m": pure_equivalent_m,
    "rv_dive_compression": lambda **given: dive_compression(**given, full=False),
    "full_dive_compression": lambda **given: dive_compression(**given, full=True),
    "equivalent_full_m": equivalent,
    "reach_value": lambda **told: learned(**told).ratio.value,
    "reach_low": lambda **told: learned(**told).ratio.low_or_value,
    "reach_high": lambda **told: learned(**told).ratio.high_or_value,
    "chance": chance,
    "consistency_low": lambda **given: consistency(**given).low_or_value,
    "consistency_high": lambda **given: consistency(**given).high_or_value,
    "rule_depth_m": lambda exercise, clean_m: rule_depth_m(
        exercise=Exercise(exercise), clean_m=clean_m
    ),
    "mouth_depth_m": lambda **given: mouth_depth_m(**given, site=ROPE_AT_SEA),
    "required_fill_m": lambda **given: required_fill_m(**given, site=ROPE_AT_SEA),
    "chest_asks_rv_m": chest_asks,
    "chest_over_rule_from": chest_over_rule_from,
}


@pytest.mark.parametrize("value", values(), ids=lambda v: f"{v.formula}-{v.case}")
def test_a_value_is_met_to_its_printed_digits(value: Value) -> None:
    """Each formula gives the printed value within half its last digit, or the stated tolerance."""
    got = FORMULAS[value.formula](**value.given)
    assert got == pytest.approx(float(value.gives), rel=0, abs=value.allowed)


def test_every_value_names_a_source_of_the_bibliography_and_its_mark() -> None:
    """No value stands without a known source, a place in it and one of the planner's marks."""
    for value in values():
        assert value.source in SOURCES, value
        assert value.where.strip(), value
        assert Mark(value.mark) is not Mark.MEASURED, value


def test_a_value_from_memory_or_a_transcription_says_so() -> None:
    """Every value marked P? says beside it that it was transcribed or comes from memory."""
    for value in values():
        told = "transcription" in value.where or "from memory" in value.where
        assert told == (value.mark == Mark.QUOTED), value


def test_the_tables_cover_the_planner_broadly() -> None:
    """At least 80 values from at least 12 sources, and no formula of the runner stands unused."""
    found = values()
    assert len(found) >= 80
    assert len({value.source for value in found}) >= 12
    assert {value.formula for value in found} == set(FORMULAS)


def test_a_wrong_value_would_be_noticed() -> None:
    """Moved by one unit of its last printed digit, a value is no longer within half a digit."""
    exact = [value for value in values() if value.tolerance is None]
    assert exact
    for value in exact:
        moved = float(value.gives) + 10.0 ** int(Decimal(value.gives).as_tuple().exponent)
        got = FORMULAS[value.formula](**value.given)
        assert abs(got - moved) > 0.5 * value.allowed, value


def test_gauge_at_sea_is_what_stands_until_a_site_is_told() -> None:
    """Ten metres on the default gauge are one bar more than the standard surface pressure."""
    assert absolute_bar(depth_m=10) == pytest.approx(2.01325)
    assert GAUGE_AT_SEA.surface_bar == SURFACE_BAR.value
