"""A figure: a value that carries its unit, its mark and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class PlannerError(Exception):
    """The root of the planner's errors: broken input or broken code, never a refusal."""


class OutOfRange(PlannerError, ValueError):
    """A value outside the range in which a formula or a figure is valid."""


class Mark(StrEnum):
    """Where a figure comes from."""

    PUBLISHED = "P"
    QUOTED = "P?"
    COMMON_PRACTICE = "CP"
    HOUSE = "H"

    @property
    def words(self) -> str:
        """The mark in words, as `why` shows it."""
        return {
            "P": "published",
            "P?": "published, quoted from memory or a transcription",
            "CP": "common practice, no source",
            "H": "house rule",
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
        return self.low is not None and self.high is not None
