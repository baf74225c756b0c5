"""The open session: what its dives have settled for the rest of it."""

from __future__ import annotations

from functools import lru_cache

from planner.reasons import Because
from planner.record import Dive
from planner.rules import Rules


@lru_cache(maxsize=64)
def caps_on_dives(rules: Rules, is_rv: bool) -> tuple[float, int, float, int, int]:
    """The caps on dives with the depths from which they hold, looked up once."""
    prefix = "cap.rv" if is_rv else "cap.frc"
    most = rules["cap.most"]
    return (
        rules[f"{prefix}_deep_from_m"],
        int(min(rules[f"{prefix}_deep"], most)),
        rules[f"{prefix}_mid_from_m"],
        int(min(rules[f"{prefix}_mid"], most)),
        int(most),
    )


class ExhaleDay:
    """A day with exhale dives, and whether it asks for the longer rest."""

    __slots__ = ("day", "long_rest")

    def __init__(self, day: int, long_rest: bool) -> None:
        self.day = day
        self.long_rest = long_rest


class Day:
    """The open session: what its dives have settled for the rest of it."""

    __slots__ = (
        "after_layoff",
        "at_held",
        "bars_new",
        "began_day",
        "caps",
        "deepest_m",
        "dives",
        "exhale_count",
        "free_day",
        "had_pressure",
        "last_day",
        "new_clean",
        "number",
        "off_taken",
        "opened",
        "over",
        "retry",
        "start_m",
        "trouble_count",
    )  # fmt: skip

    def __init__(self, number: int, day: int) -> None:
        self.number = number
        self.began_day = day
        self.last_day = day
        self.free_day = 0
        self.dives: list[Dive] = []
        self.exhale_count = 0
        self.deepest_m = 0.0
        self.trouble_count = 0
        self.start_m: float | None = None
        self.opened = False
        self.at_held = False
        self.off_taken = False
        self.had_pressure = False
        self.new_clean = 0
        self.after_layoff = False
        self.retry = False
        self.bars_new: Because | None = None
        self.caps: list[tuple[Because, float]] = []
        self.over: list[Because] = []

    def copy(self) -> Day:
        """An independent copy."""
        new = Day.__new__(Day)
        for name in Day.__slots__:
            setattr(new, name, getattr(self, name))
        new.dives, new.caps, new.over = list(self.dives), list(self.caps), list(self.over)
        return new
