"""The targets of a run of clean dives, as arrays over paths or over depths; and depths as tables.

A session's targets rise over few depths: the opening dive, one at held, then the new depth. So a
run of clean dives is those depths and the dive's numbers at which they change, and what it does has
a closed form. Depths are whole tenths of a metre, so that what becomes of one (a step off, a share,
rounded down) is looked up in a table by it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from planner.held import Sizes
from planner.rules import Rules

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
Shorts = NDArray[np.int16]
"""Tenths of a metre as they are kept: a quarter of the memory of what is computed with."""

NONE = 0
"""No depth."""

NEVER = 10**6
"""A dive's number that no session comes to."""

OPENING, HELD, NEW = 0, 1, 2
"""The depth that a session has come to."""


def tenths(depth_m: float) -> int:
    """A depth in whole tenths of a metre, rounded down.

    >>> tenths(12.3)
    123
    """
    return int(depth_m * 10 + 1e-6)


def down(depth_m: Floats) -> Floats:
    """Depths rounded down to half a metre."""
    return np.floor(depth_m * 2 + 1e-9) / 2


def table(most_m: float, of: Callable[[Floats], Floats]) -> Ints:
    """What becomes of each depth up to one, in tenths; of no depth, none."""
    found = np.floor(of(np.arange(tenths(most_m) + 1) / 10) * 10 + 1e-6).astype(np.int64)
    np.maximum(found, NONE, out=found)
    found[NONE] = NONE
    return found


class Steps:
    """What becomes of a depth, by tables over tenths of a metre: steps, shares, rounded down."""

    def __init__(self, size: Sizes, first_m: float, most_m: float) -> None:
        self.size, self.first_m = size, first_m

        def short(depth: Floats) -> Floats:
            return np.maximum(down(size.short_share * depth), self.floor(depth))

        def long(depth: Floats) -> Floats:
            return np.maximum(down(size.long_share * depth), self.floor(depth))

        def off(depth: Floats) -> Floats:
            return np.maximum(down(self.shallower(depth)), self.floor(depth))

        self.off = table(most_m, off)
        self.shallower_down = table(most_m, lambda depth: down(self.shallower(depth)))
        self.pressed = table(most_m, lambda depth: down(size.pressure_share * depth))
        self.given_back = table(most_m, lambda depth: down(size.give_back_share * depth))
        self.down = table(most_m, down)
        self.short, self.long = table(most_m, short), table(most_m, long)

    def shallower(self, depth: Floats) -> Floats:
        """One step shallower, metres."""
        size = self.size
        return depth - np.where(depth <= size.off_small_from_m, size.off_m, size.off_small_m)

    def deeper(self, depth: Floats) -> Floats:
        """One step deeper, metres."""
        size = self.size
        big = np.minimum(depth + size.step_m, size.step_small_from_m)
        return np.where(depth < size.step_small_from_m, big, depth + size.step_small_m)

    def floor(self, held: Floats) -> Floats:
        """What opening, steps off and a lay-off don't go below, metres."""
        return np.maximum(np.minimum(self.first_m, held), self.size.least_m)

    def opening(self, held: Floats) -> Floats:
        """Where a day opens with a held depth, metres."""
        return np.maximum(down(self.size.opening_share * held), np.minimum(self.first_m, held))


class Rise:
    """The targets of a run of clean dives: depths that never get shallower, each until a number.

    `depths` is a row for each depth; a dive of number `ends[i]` is past depth i. A depth that is
    never left ends at `NEVER`.
    """

    __slots__ = ("depths", "ends")

    def __init__(self, depths: Ints, ends: Ints) -> None:
        self.depths, self.ends = depths, ends

    def of(self, rows: Ints) -> Rise:
        """The targets of some of the paths."""
        return Rise(self.depths[:, rows], self.ends[:, rows])

    def at(self, number: Ints | int) -> Ints:
        """The target of the dive of a number, counted from 0."""
        depth: Ints = self.depths[0].copy()
        for past, deeper in zip(self.ends <= number, self.depths[1:], strict=True):
            np.copyto(depth, deeper, where=past)
        return depth

    def first(self, level: Ints | int) -> Ints:
        """The number of the first dive at or below a level; `NEVER` where there is none."""
        reaches = self.depths >= level
        found = np.full(len(reaches[0]), NEVER)
        for begin, there in zip(self.ends[::-1], reaches[:0:-1], strict=True):
            np.copyto(found, begin, where=there)
        found[reaches[0]] = 0
        return found

    def most(self, allowed: Ints) -> Ints:
        """How many dives there are until one is not among those that its own depth allows."""
        found: Ints = np.maximum(allowed[-1], self.ends[-1])
        for i in range(len(self.ends) - 1, -1, -1):
            reached = np.maximum(allowed[i], self.ends[i - 1]) if i else allowed[0]
            np.copyto(found, reached, where=reached < self.ends[i])
        return found


def rise_of(*, ladder: Ints, most: Ints, phase: Ints, retry: Flags, is_rv: bool) -> Rise:
    """The targets of the clean dives to come: opening dive, one at held, then the new depth.

    After a technique fault at the fill, one at the opening depth before going on as usual.
    """
    depths = np.minimum(ladder, most)
    reached = depths[:NEW] >= ladder[:NEW]
    holds = np.where(reached, 1, NEVER)
    opens = np.where(phase == OPENING, holds[OPENING], retry)
    # by RV the opening dive is the one at held; a repeated one may be it by FRC too
    shown = (opens > 0) & (depths[OPENING] >= ladder[HELD])
    if not is_rv:
        shown &= phase != OPENING
    ends = np.array((opens, holds[HELD]))
    ends[1][shown | (phase == NEW)] = 0
    ends[1] += opens
    np.minimum(ends, NEVER, out=ends)
    return Rise(depths, ends)


class Openings:
    """What a session opens with and how far its first run can go, worked out for every held depth.

    Nothing else matters to it but whether anything new is barred, and whether a second new depth
    is (RV). A code is the held depth in tenths; with nothing held, `nothing` and how many clean
    dives at the first depth are owed until it is. `barred` and `no_second` are added to it.
    """

    def __init__(
        self, *, steps: Steps, rules: Rules, is_rv: bool, base_m: float, allowed: Ints, depths: int
    ) -> None:
        size, first_m = steps.size, steps.first_m
        owed = np.arange(size.needed + 1)
        self.nothing, self.barred = depths, depths + len(owed)
        self.no_second = 2 * self.barred
        start = np.tile(np.concatenate((np.arange(depths) / 10, np.full(len(owed), first_m))), 3)
        kind = np.arange(len(start)) // self.barred
        new = steps.deeper(start)
        most = np.full(len(start), base_m)
        if is_rv:
            alone = np.where(np.arange(len(start)) % self.barred < depths, start, 0.0)
            np.minimum(most, np.maximum(rules["step.rv_coach_past_m"], alone), out=most)
        np.minimum(most, start, out=most, where=kind == 1)
        self.ladder = _tenths(down(np.array((steps.opening(start), start, new))))
        self.most = _tenths(down(most))
        none = np.zeros(len(start), dtype=np.int64)
        rise = rise_of(ladder=self.ladder, most=self.most, phase=none, retry=none > 0, is_rv=is_rv)
        owed = np.tile(np.concatenate((none[:depths], owed)), 3)
        np.maximum(rise.ends[1], owed, out=rise.ends[1])
        self.second = np.full(len(start), NEVER)
        if is_rv:
            # two new depths a session while both are shallow: the second once the first is held
            further = steps.deeper(new)
            twice = (further < rules["step.rv_two_new_above_m"]) & (rise.depths[-1] == new * 10)
            twice &= kind != 2
            self.second[twice] = (rise.ends[1] + size.needed)[twice]
            second = _tenths(down(np.minimum(further, most)))
            rise = Rise(np.vstack((rise.depths, second)), np.vstack((rise.ends, self.second)))
        self.rise = rise
        self.possible = rise.most(allowed[rise.depths])
        self.possible[rise.depths[0] < tenths(size.least_m)] = 0
        # the target of each number, after as many of none as make a depth held
        numbers = range(int(self.possible.max(initial=0)) + 1)
        targets = [none] * size.needed + [rise.at(number) for number in numbers]
        self.targets = np.array(targets)


def _tenths(depth: Floats) -> Ints:
    return np.floor(depth * 10 + 1e-6).astype(np.int64)
