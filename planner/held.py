"""What depth is held: one exhale exercise's clean dives, and what faults and lay-offs take off them.

Held is the second-deepest clean dive in the window (two clean dives at that depth or deeper),
less a step that is owed, a pressure stop's cut, or a lay-off's share. Depths are metres, rounded
down to half a metre; days are ordinals of local calendar days. All of it is house rule (H).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, inf

from planner.record import Exercise
from planner.rules import Rules


def down_half(depth_m: float) -> float:
    """A depth rounded down to half a metre.

    >>> down_half(10.4), down_half(0.8 * 15)
    (10.0, 12.0)
    """
    return floor(depth_m * 2 + 1e-9) / 2


def up_half(depth_m: float) -> float:
    """A depth rounded up to half a metre; bases are.

    >>> up_half(12.8)
    13.0
    """
    return ceil(depth_m * 2 - 1e-9) / 2


@dataclass(frozen=True, kw_only=True, slots=True)
class Sizes:
    """The figures of one exercise, looked up once."""

    window_d: int
    needed: int
    owed: int
    least_m: float
    opening_share: float
    pressure_share: float
    give_back_share: float
    step_m: float
    step_small_from_m: float
    step_small_m: float
    off_m: float
    off_small_from_m: float
    off_small_m: float
    reported_share: float
    reported_most_m: float
    fresh_d: int
    short_d: int
    short_share: float
    long_d: int
    long_share: float
    over_d: int

    def deeper(self, depth_m: float) -> float:
        """One step deeper; the bigger step never jumps over the depth where steps get smaller."""
        if depth_m < self.step_small_from_m:
            return min(depth_m + self.step_m, self.step_small_from_m)
        return depth_m + self.step_small_m

    def reported_counts_m(self, depth_m: float) -> float:
        """What a reported base counts as; a base of next to nothing still puts held at the least."""
        share = down_half(min(self.reported_share * depth_m, self.reported_most_m))
        return max(share, self.least_m)

    def shallower(self, depth_m: float) -> float:
        """One step shallower, by the sizes of steps off."""
        return depth_m - (self.off_m if depth_m <= self.off_small_from_m else self.off_small_m)


@lru_cache(maxsize=64)
def sizes(rules: Rules, exercise: Exercise) -> Sizes:
    """The figures of an exhale exercise."""
    frc = exercise is Exercise.FRC
    everywhere = 1000.0
    return Sizes(
        window_d=int(rules["held.window_d"]),
        needed=int(rules["held.clean_dives"]),
        owed=int(rules["held.owed_dives"]),
        least_m=rules["held.least_m"],
        opening_share=rules["opening.frc_share" if frc else "opening.rv_share"],
        pressure_share=rules["held.pressure_share"],
        give_back_share=rules["held.give_back_share"],
        step_m=rules["step.frc_m" if frc else "step.rv_shallow_m"],
        step_small_from_m=everywhere if frc else rules["step.rv_small_from_m"],
        step_small_m=rules["step.frc_m" if frc else "step.rv_deep_m"],
        off_m=rules["off.frc_m" if frc else "off.rv_shallow_m"],
        off_small_from_m=everywhere if frc else rules["off.rv_small_from_m"],
        off_small_m=rules["off.frc_m" if frc else "off.rv_deep_m"],
        reported_share=rules["reported.frc_share" if frc else "reported.rv_share"],
        reported_most_m=everywhere if frc else rules["reported.rv_most_m"],
        fresh_d=int(rules["reported.fresh_d"]),
        short_d=int(rules["layoff.short_d"]),
        short_share=rules["layoff.short_share"],
        long_d=int(rules["layoff.long_d"]),
        long_share=rules["layoff.long_share"],
        over_d=int(rules["layoff.over_d"]),
    )


class Credit:
    """A clean dive's day and the depth that it speaks for; `before_m` is that depth before a cut."""

    __slots__ = ("before_m", "day", "depth_m")

    def __init__(self, day: int, depth_m: float, before_m: float | None = None) -> None:
        self.day = day
        self.depth_m = depth_m
        self.before_m = before_m


@dataclass(slots=True)
class Owed:
    """Something to be given back after `needed` clean dives at `level_m` or deeper."""

    level_m: float
    needed: int
    amount_m: float
    after_day: int = -1
    after_session: int = -1


class Track:
    """One exhale exercise, folded dive by dive."""

    __slots__ = (
        "_raw",
        "_raw_day",
        "below_first",
        "credits",
        "cut",
        "exercise",
        "first_m",
        "frozen",
        "last_day",
        "last_reported",
        "layoff",
        "off",
        "opens_most",
        "over_since",
        "owed_share",
        "reported_m",
        "size",
    )  # fmt: skip

    def __init__(self, exercise: Exercise, rules: Rules, first_m: float) -> None:
        self.exercise = exercise
        self.size = sizes(rules, exercise)
        self.first_m = first_m
        self.credits: list[Credit] = []
        self.off: Owed | None = None
        self.cut: Owed | None = None
        self.layoff: Owed | None = None
        self.last_day: int | None = None
        self.last_reported = False
        self.over_since: int | None = None
        # the last exhale day and what was held on it, once a lay-off since then was applied
        self.frozen: tuple[int, float | None] | None = None
        # of held, after grave harm: until a dive of this exercise, whatever else is dived
        self.owed_share = 1.0
        # of held, for the opening dive: less after a full-lung pressure stop
        self.opens_most = inf
        # clean dives above the first depth hold nothing; only a pressure stop or the diver's own
        # report of a shallower base puts held there
        self.below_first = False
        self.reported_m: float | None = None
        self._raw: float | None = None
        self._raw_day = -1

    def copy(self) -> Track:
        """An independent copy, for looking ahead."""
        new = Track.__new__(Track)
        for name in Track.__slots__:
            setattr(new, name, getattr(self, name))
        new.credits = [Credit(c.day, c.depth_m, c.before_m) for c in self.credits]
        for name in ("off", "cut", "layoff"):
            owed: Owed | None = getattr(self, name)
            if owed is not None:
                setattr(
                    new,
                    name,
                    Owed(
                        owed.level_m,
                        owed.needed,
                        owed.amount_m,
                        owed.after_day,
                        owed.after_session,
                    ),
                )
        return new

    def _second_deepest(self, day: int) -> float | None:
        if self._raw_day == day:
            return self._raw
        oldest = day - self.size.window_d
        if self.credits and self.credits[0].day < oldest:
            self.credits = [c for c in self.credits if c.day >= oldest]
        depths = [c.depth_m for c in self.credits]
        needed = self.size.needed
        if len(depths) < needed:
            self._raw = None
        else:
            depths.sort()
            self._raw = depths[-needed]
        self._raw_day = day
        return self._raw

    def held_m(self, day: int) -> float | None:
        """The held depth on a day, or None while nothing is held (two clean dives at the first depth)."""
        raw = self._second_deepest(day)
        if raw is None or (raw < self.first_m and not self.may_be_below_first):
            return None
        if self.off is not None:
            raw = max(down_half(self.size.shallower(raw)), self.floor_m(raw))
        return raw

    @property
    def may_be_below_first(self) -> bool:
        """Whether held may lie above the first depth: after a pressure stop, or as reported."""
        return self.below_first or (self.reported_m is not None and self.reported_m < self.first_m)

    def floor_m(self, held_m: float) -> float:
        """The depth that opening, steps off and a lay-off don't go below; held is never under the least."""
        return max(min(self.first_m, held_m), self.size.least_m)

    def opening_m(self, held_m: float | None) -> float:
        """Where a day opens with a held depth."""
        if held_m is None:
            return self.first_m
        share = down_half(min(self.size.opening_share, self.opens_most) * held_m)
        return max(share, min(self.first_m, held_m))

    # what happens to it

    def clean(self, day: int, session: int, depth_m: float) -> None:
        """A clean dive for which a target stood, at the depth that it counts as."""
        self.credits.append(Credit(day, down_half(depth_m)))
        self._raw_day = -1
        off, cut, layoff = self.off, self.cut, self.layoff
        if off is not None and depth_m >= off.level_m:
            off.needed -= 1
            if off.needed <= 0:
                self.off = None
        if (
            cut is not None
            and depth_m >= cut.level_m
            and day > cut.after_day
            and session > cut.after_session
        ):
            cut.needed -= 1
            if cut.needed <= 0:
                for c in self.credits:
                    if c.before_m is not None:
                        c.depth_m = max(c.depth_m, min(c.before_m, cut.amount_m))
                        c.before_m = None
                self.cut = None
        if layoff is not None and depth_m >= layoff.level_m:
            layoff.needed -= 1
            if layoff.needed <= 0:
                self.credits += [Credit(day, layoff.amount_m) for _ in range(self.size.needed)]
                self.layoff = None

    def step_off(self, day: int, *, may_take: bool) -> bool:
        """A fault between opening depth and held: one step less until two clean; whether it took one."""
        held = self.held_m(day)
        if held is None:
            return False
        if self.off is not None:
            self.off.needed = self.size.owed
            return False
        if not may_take:
            return False
        self.off = Owed(0.0, self.size.owed, held)
        left = self.held_m(day)
        self.off.level_m = left if left is not None else held
        return True

    def pressure(self, day: int, session: int, turn_m: float) -> None:
        """A pressure stop: held is cut to a share of the turn, part of it to be given back later."""
        old = self.held_m(day)
        cut_to = down_half(self.size.pressure_share * turn_m)
        if old is None:
            # a stop shows nothing as held; it only puts held below the first depth
            cut_to = max(cut_to, self.size.least_m)
            for c in self.credits:
                c.depth_m = min(c.depth_m, cut_to)
            if cut_to < self.first_m:
                self.credits += [Credit(day, cut_to) for _ in range(self.size.needed)]
            self.cut = None
        else:
            cut_to = max(min(old, cut_to), self.size.least_m)
            for c in self.credits:
                c.before_m = c.depth_m
                c.depth_m = min(c.depth_m, cut_to)
            # held *becomes* that: what it was shown with may leave the window before it
            self.credits += [Credit(day, cut_to) for _ in range(self.size.needed)]
            back = max(cut_to, min(down_half(self.size.give_back_share * old), down_half(turn_m)))
            self.cut = Owed(cut_to, self.size.owed, back, day, session)
        self.off = None
        self.layoff = None
        self.below_first = self.below_first or cut_to < self.first_m
        self._raw_day = -1

    def reported(self, day: int, depth_m: float) -> None:
        """A base that the diver reports: a share of it, as two clean dives of that day."""
        counts = self.size.reported_counts_m(depth_m)
        self.credits += [Credit(day, counts) for _ in range(self.size.needed)]
        self.credits.sort(key=lambda c: c.day)
        # the first depth may be told later than the base: which is the lesser is asked each time
        self.reported_m = min(counts, self.reported_m or counts)
        self._raw_day = -1
        if self.last_day is None or day > self.last_day:
            self.last_day = day
            self.last_reported = True

    def dived(self, day: int, *, is_briefed: bool = True) -> None:
        """An exhale dive of this exercise happened; only one with a target ends starting over."""
        self.last_day = day
        self.last_reported = False
        self.owed_share = 1.0
        if is_briefed:
            self.over_since = None

    def come_back(self, day: int, *, share: float = 1.0) -> bool:
        """A session begins: apply the lay-off since the last exhale dive; whether there was one.

        `share` below 1 is what grave harm leaves of held: it goes below the floor, and nothing
        gives it back. Whatever other sessions came in between, it is taken once, of what was held
        on the last exhale day; of the first depth where nothing was.
        """
        share = self.owed_share = min(share, self.owed_share)
        size = self.size
        away_d = 0 if self.last_day is None else day - self.last_day
        fresh = self.last_reported and away_d <= size.fresh_d
        if share >= 1.0 and (self.last_day is None or away_d < size.short_d or fresh):
            return False
        if self.last_day is not None and (self.frozen is None or self.frozen[0] != self.last_day):
            self.frozen = (self.last_day, self.held_m(self.last_day))
        held = None if self.frozen is None else self.frozen[1]
        self.off = self.cut = self.layoff = None
        self._raw_day = -1
        if away_d >= size.over_d:
            self.below_first = False
            self.reported_m = None
            self.over_since = self.last_day
        if away_d >= size.over_d or held is None:
            self.credits = []
            if share < 1.0:
                self._restart_at(day, down_half(share * (self.first_m if held is None else held)))
            return True
        is_short = away_d < size.long_d
        back_at = max(
            down_half((size.short_share if is_short else size.long_share) * held),
            self.floor_m(held),
        )
        if share < 1.0:
            back_at = max(min(back_at, down_half(share * held)), size.least_m)
            self.below_first = self.below_first or back_at < self.first_m
        self.credits = [Credit(day, back_at) for _ in range(size.needed)]
        if is_short and share >= 1.0:
            self.layoff = Owed(back_at, size.owed, held)
        return True

    def _restart_at(self, day: int, most_m: float) -> None:
        """Nothing is held after grave harm: the first depth, or less where half was less."""
        back_at = max(most_m, self.size.least_m)
        if back_at < self.first_m:
            self.below_first = True
            self.credits = [Credit(day, back_at) for _ in range(self.size.needed)]
