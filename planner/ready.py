"""Readiness: how far the base is, what an exhale dive supports, and which bound binds."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from planner.record import Exercise


class BoundKind(StrEnum):
    """The three bounds on what an exhale dive supports."""

    RULE = "rule"
    CHEST = "chest"
    MOUTH = "mouth"


@dataclass(frozen=True, kw_only=True, slots=True)
class Bound:
    """A full-lung depth that the held exhale depth speaks for, by one reading of it; bands where predicted."""

    kind: BoundKind
    depth_m: float
    low_m: float
    high_m: float
    if_fill_m: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Readiness:
    """How far the base is.

    `clean_at_base` and `days_at_base` count clean dives at or below the base with the fill in
    place and the days they were on (RV: first dives of the day only). `bounds` is empty while
    nothing is held; `binding` names the least of them.
    """

    exercise: Exercise
    stage_m: float
    base_m: float
    held_m: float | None
    clean_at_base: int
    days_at_base: int
    clean_needed: int
    days_needed: int
    met: bool
    bounds: tuple[Bound, ...]
    binding: BoundKind | None
    clean: int
    dives: int
    chance_clean: float | None
