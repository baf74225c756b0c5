"""Depth and pressure: by gauge or by rope, in the sea or in a lake, at any height above the sea.

Pressures are absolute, in bar, unless a name says otherwise. A depth read on a gauge *is* a
pressure: 0.1 bar a metre whatever the water (key `en-13319`). A depth on a marked rope is metres
of the site's water: rho g d. The surface pressure is the standard atmosphere (key `iso-2533`).
"""

from __future__ import annotations

from dataclasses import dataclass

from planner.figure import Figure, Mark, within

SURFACE_BAR = Figure(
    value=1.01325, unit="bar", mark=Mark.PUBLISHED, source="iso-2533", name="surface_bar"
)
GRAVITY_M_PER_S2 = Figure(
    value=9.80665, unit="m/s2", mark=Mark.PUBLISHED, source="iso-2533", name="gravity"
)
GAUGE_BAR_PER_M = Figure(
    value=0.1, unit="bar/m", mark=Mark.QUOTED, source="en-13319", name="gauge_bar_per_m"
)
SEA_KG_PER_M3 = Figure(
    value=1025.0, unit="kg/m3", mark=Mark.PUBLISHED, source="teos-10", name="sea_density"
)
FRESH_KG_PER_M3 = Figure(
    value=1000.0, unit="kg/m3", mark=Mark.PUBLISHED, source="teos-10", name="fresh_density"
)

DEPTH_MOST_M = 300.0
"""The deepest that the formulas are asked for (H); real gas and temperature are left out."""

_LAPSE_K_PER_M = 0.0065
_SEA_LEVEL_K = 288.15
_GAS_CONSTANT_AIR = 287.05287
_EXPONENT = GRAVITY_M_PER_S2.value / (_GAS_CONSTANT_AIR * _LAPSE_K_PER_M)


def atmosphere_bar(*, altitude_m: float) -> float:
    """The standard atmosphere at a geopotential altitude, bar absolute (P `iso-2533`).

    p = 1.01325 (1 - 0.0065 h / 288.15)^(g / (R 0.0065)). Valid from -500 m to 6000 m of
    altitude; outside raises `OutOfRange`. The day's weather moves it by some 3 %.

    >>> round(atmosphere_bar(altitude_m=2000), 5)
    0.79495
    """
    within("altitude", altitude_m, low=-500, high=6000, unit="m")
    ratio = 1 - _LAPSE_K_PER_M * altitude_m / _SEA_LEVEL_K
    return float(SURFACE_BAR.value * ratio**_EXPONENT)


@dataclass(frozen=True, kw_only=True)
class Site:
    """The water, how depth is read there, and the altitude: a gauge at sea until said otherwise."""

    salt: bool = True
    gauge: bool = True
    altitude_m: float = 0.0

    def __post_init__(self) -> None:
        # computed once: both stand in every formula
        surface = (
            SURFACE_BAR.value
            if self.altitude_m == 0
            else atmosphere_bar(altitude_m=self.altitude_m)
        )
        rope = self.water_kg_per_m3 * GRAVITY_M_PER_S2.value / 1e5
        object.__setattr__(self, "_surface_bar", surface)
        object.__setattr__(self, "_bar_per_m", GAUGE_BAR_PER_M.value if self.gauge else rope)

    @property
    def water_kg_per_m3(self) -> float:
        """The density of the site's water."""
        return SEA_KG_PER_M3.value if self.salt else FRESH_KG_PER_M3.value

    @property
    def surface_bar(self) -> float:
        """The absolute pressure at the surface."""
        return float(self.__dict__["_surface_bar"])

    @property
    def bar_per_m(self) -> float:
        """By how much the pressure rises with a metre of depth as it is read here."""
        return float(self.__dict__["_bar_per_m"])


GAUGE_AT_SEA = Site()
"""What stands until a group says otherwise."""

ROPE_AT_SEA = Site(gauge=False)
"""A marked rope in salt water at sea level."""


def absolute_bar(*, depth_m: float, site: Site = GAUGE_AT_SEA) -> float:
    """The absolute pressure at a depth, bar.

    p = p0 + k d, k 0.1 bar/m on a gauge, rho g / 1e5 on a rope. `depth_m` 0 to 300 m; outside
    raises `OutOfRange`. Keys `en-13319`, `iso-2533`.

    >>> round(absolute_bar(depth_m=10), 5)
    2.01325
    >>> round(absolute_bar(depth_m=60, site=ROPE_AT_SEA), 4)
    7.0443
    """
    within("depth", depth_m, low=0, high=DEPTH_MOST_M, unit="m")
    return site.surface_bar + site.bar_per_m * depth_m


def depth_of_m(*, pressure_bar: float, site: Site = GAUGE_AT_SEA) -> float:
    """The depth at which an absolute pressure is met, metres as read at the site; the inverse.

    Any positive pressure; one below the surface's gives 0, since there is no such depth.

    >>> round(depth_of_m(pressure_bar=2.01325), 6)
    10.0
    """
    within("pressure", pressure_bar, low=0, high=1e6, unit="bar")
    return max(0.0, (pressure_bar - site.surface_bar) / site.bar_per_m)
