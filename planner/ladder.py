"""The ladder of full-lung depths: where the next step is taken from, and what faults do to it (H).

The level is the depth that was last shown clean: the personal best, stated or dived, until a fault
puts it lower. A level that was dived is owed clean dives on two days before the next step. Depths
are metres, rounded down to half a metre; days are ordinals of local calendar days.
"""

from __future__ import annotations

from planner.held import down_half
from planner.record import Dive, Ending, Reason
from planner.rules import Rules


class Ladder:
    """Full-lung dives with a mouthfill, folded dive by dive."""

    __slots__ = (
        "clean_days",
        "dived_m",
        "last_day",
        "last_empty",
        "level_m",
        "owed",
        "pressure_day",
        "rules",
        "stated_m",
        "trouble_day",
        "unknown",
    )

    def __init__(self, rules: Rules) -> None:
        self.rules = rules
        self.stated_m: float | None = None
        self.dived_m: float | None = None
        self.level_m: float | None = None
        self.clean_days: frozenset[int] = frozenset()
        self.owed = False
        self.trouble_day: int | None = None
        self.pressure_day: int | None = None
        self.last_empty: Dive | None = None
        self.last_day: int | None = None
        # pressure stops whose depth nobody has told
        self.unknown: tuple[Dive, ...] = ()

    def copy(self) -> Ladder:
        """An independent copy; what it holds is never changed in place."""
        new = Ladder.__new__(Ladder)
        for name in Ladder.__slots__:
            setattr(new, name, getattr(self, name))
        return new

    @property
    def pb_m(self) -> float | None:
        """The personal best: the deepest of the stated one and the clean dives with a fill."""
        if self.stated_m is None or self.dived_m is None:
            return self.dived_m if self.stated_m is None else self.stated_m
        return max(self.stated_m, self.dived_m)

    def stated(self, depth_m: float) -> None:
        """The diver states a personal best; a correction replaces what was stated before."""
        before = self.pb_m
        self.stated_m = depth_m
        if self.level_m is None or self.level_m == _half(before) or self.level_m > depth_m:
            level = _half(self.pb_m)
            if level != self.level_m:
                self.level_m, self.owed, self.clean_days = level, False, frozenset()
            if self.dived_m is not None and self.level_m == _half(self.dived_m):
                self.owed = len(self.clean_days) < self.rules["full.clean_days"]

    def dived(self, dive: Dive, *, day: int) -> None:
        """A full-lung dive with its fill in place came up."""
        self.last_day = day
        if dive.ending in (Ending.CLEAN, Ending.EARLY):
            if dive.depth_m is not None and not dive.waits:
                self._clean(dive.depth_m, day)
            return
        if dive.is_troubled:
            self.trouble_day = day
        if dive.ending is Ending.STOP:
            self._stop(dive, day)

    def _clean(self, depth_m: float, day: int) -> None:
        depth = down_half(depth_m)
        if self.dived_m is None or depth_m > self.dived_m:
            self.dived_m = depth_m
        level = self.level_m
        if level is None or depth > level:
            self.level_m, self.clean_days, self.owed = depth, frozenset({day}), True
        elif depth == level:
            self.clean_days |= {day}
        self.owed = self.owed and len(self.clean_days) < self.rules["full.clean_days"]

    def _stop(self, dive: Dive, day: int) -> None:
        reason, turn = dive.reason or Reason.UNSTATED, dive.depth_m
        if reason.is_pressure:
            self.pressure_day = day
            if turn is None:
                self.unknown = (*self.unknown, dive)
                return
            self._back_to(self.rules["full.pressure_share"] * turn)
        elif reason.is_technique:
            if reason is Reason.EMPTY:
                self.last_empty = dive
            below_fill = dive.fill_m is None or (turn or 0.0) > dive.fill_m
            # it ran out above what was clean before: no deeper than where the mouth was empty
            ran_out = reason is Reason.EMPTY and turn is not None and below_fill
            self._back_to(turn if ran_out else None)

    def _back_to(self, most_m: float | None) -> None:
        """No deeper than the last clean depth and `most_m`; clean days are owed there anew."""
        level = self.level_m
        if most_m is not None:
            level = down_half(most_m) if level is None else min(level, down_half(most_m))
        self.level_m, self.clean_days, self.owed = level, frozenset(), True

    def next_m(self, goal_m: float) -> float | None:
        """The next line: the level again while clean days are owed there, else a step deeper."""
        level, pb = self.level_m, self.pb_m
        if level is None or pb is None:
            return None
        if self.owed:
            return min(level, goal_m)
        step = level + self.rules["full.step_m"]
        return down_half(min(step, goal_m) if level >= down_half(pb) else min(step, pb, goal_m))


def _half(depth_m: float | None) -> float | None:
    return None if depth_m is None else down_half(depth_m)
