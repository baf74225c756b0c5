"""The table of harm (harm.toml): categories with what the person must do and the lock they bring."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from planner.figure import Mark, PlannerError

LEVELS = ("call-now", "doctor-today", "day-over", "practice-over")
"""What the person must do, worst first."""


class HarmTableError(PlannerError):
    """A row of harm.toml that can't be read, or that nobody knows."""


@dataclass(frozen=True, kw_only=True, slots=True)
class HarmRow:
    """One category: what the person must do and the lock it brings, with its mark and source."""

    key: str
    about: str
    level: str
    days: float
    doctor: bool
    text: str
    mark: Mark
    source: str
    place: int
    since_well: bool = False
    shorten_days: float | None = None
    again_within_days: float | None = None
    again_days: float = 0.0
    again_doctor: bool = False
    exhale: bool = False
    no_new_depth: bool = False
    four_questions: bool = False

    @property
    def gravity(self) -> tuple[int, int]:
        """A key that sorts the worst row first: by level, then as the table stands."""
        return (LEVELS.index(self.level), self.place)


@dataclass(frozen=True, kw_only=True, slots=True)
class HarmTable:
    """harm.toml, read: the rows by key, and what follows rows 4 to 10."""

    rows: Mapping[str, HarmRow]
    exhale_days: int
    restart_share: float
    evening_h: int
    unanswered_row: str


@lru_cache(maxsize=1)
def harm_table() -> HarmTable:
    """The table of harm.toml."""
    raw = tomllib.loads(resources.files("planner").joinpath("harm.toml").read_text("utf-8"))
    rows: dict[str, HarmRow] = {}
    for place, (key, fields) in enumerate(raw["rows"].items()):
        try:
            row = HarmRow(key=key, place=place, **{**fields, "mark": Mark(fields["mark"])})
        except (TypeError, ValueError, KeyError) as error:
            raise HarmTableError(f"row {key}: {error}") from error
        if row.level not in LEVELS:
            raise HarmTableError(f"row {key}: no such level as {row.level}")
        rows[key] = row
    return HarmTable(rows=rows, **raw["after"])
