"""The table of harm (harm.toml): categories with what the person must do and the lock they bring."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
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
    longer: str | None = None
    longer_after_h: float = 0.0
    together: tuple[tuple[str, ...], ...] = ()

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
    call_now_h: int
    call_h: int
    still_days: int
    unanswered_row: str

    def together(self, keys: Collection[str]) -> frozenset[str]:
        """The rows that some of these make when they are of one event.

        >>> sorted(harm_table().together({"6", "8"}))
        ['5']
        """
        return frozenset(
            row.key
            for row in self.rows.values()
            if row.together and all(not set(keys).isdisjoint(part) for part in row.together)
        )


@lru_cache(maxsize=1)
def harm_table() -> HarmTable:
    """The table of harm.toml."""
    raw = tomllib.loads(resources.files("planner").joinpath("harm.toml").read_text("utf-8"))
    rows: dict[str, HarmRow] = {}
    for place, (key, fields) in enumerate(raw["rows"].items()):
        try:
            told = {
                **fields,
                "mark": Mark(fields["mark"]),
                "days": float(fields["days"]),
                "together": tuple(tuple(part) for part in fields.get("together", ())),
            }
            row = HarmRow(key=key, place=place, **told)
        except (TypeError, ValueError, KeyError) as error:
            raise HarmTableError(f"row {key}: {error}") from error
        if row.level not in LEVELS:
            raise HarmTableError(f"row {key}: no such level as {row.level}")
        rows[key] = row
    for row in rows.values():
        if not {key for part in row.together for key in part} <= rows.keys():
            raise HarmTableError(f"row {row.key}: made of rows that nobody knows")
    return HarmTable(rows=rows, **raw["after"])
