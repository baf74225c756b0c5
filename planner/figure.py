"""A figure: a value that carries its unit, its mark and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite


class PlannerError(Exception):
    """The root of the planner's errors: broken input or broken code, never a refusal."""


class OutOfRange(PlannerError, ValueError):
    """A value outside the range in which a formula or a figure is valid; it is never clipped."""

    def __init__(self, what: str, *, value: float, low: float, high: float, unit: str = "") -> None:
        self.what = what
        self.value = value
        self.low = low
        self.high = high
        self.unit = unit
        super().__init__(f"{what} {value:g} is outside {low:g}-{high:g} {unit}".rstrip())


def within(what: str, value: float, *, low: float, high: float, unit: str = "") -> float:
    """The value, if it lies in the valid range (ends included); else raises `OutOfRange`.

    >>> within("depth", 12, low=0, high=300, unit="m")
    12
    >>> within("depth", float("nan"), low=0, high=300, unit="m")
    Traceback (most recent call last):
        ...
    planner.figure.OutOfRange: depth nan is outside 0-300 m
    """
    if not low <= value <= high or not isfinite(value):
        raise OutOfRange(what, value=value, low=low, high=high, unit=unit)
    return value


class Mark(StrEnum):
    """Where a figure comes from."""

    PUBLISHED = "P"
    QUOTED = "P?"
    COMMON_PRACTICE = "CP"
    HOUSE = "H"
    MEASURED = "M"

    @property
    def words(self) -> str:
        """The mark in words, as `why` shows it."""
        return {
            "P": "published",
            "P?": "published, quoted from memory or a transcription",
            "CP": "common practice, no source",
            "H": "house rule",
            "M": "measured by the diver",
        }[self.value]


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """A value with unit, mark, source (a key of sources.toml) and, where it has one, its band."""

    value: float
    unit: str
    mark: Mark
    source: str | None = None
    low: float | None = None
    high: float | None = None
    name: str = ""

    @property
    def is_band(self) -> bool:
        """Whether it is known only as a range."""
        return self.low is not None and self.high is not None and self.low < self.high

    @property
    def low_or_value(self) -> float:
        """The lower end of the band; the value itself where it has none."""
        return self.value if self.low is None else self.low

    @property
    def high_or_value(self) -> float:
        """The upper end of the band; the value itself where it has none."""
        return self.value if self.high is None else self.high
