"""Held depths on many paths at once: what `planner.held.Track` does, as arrays over paths.

Of each session only its deepest clean dives are kept, as many as make a depth held: a cut and what
is given back keep their order, so a shallower one never counts. Depths are whole tenths of a metre,
`NONE` where there is none; days are ordinals. What belongs together stands in one array, a row
each, since an array operation costs much the same on one row as on three.
"""

from __future__ import annotations

import numpy as np

from planner.held import Sizes
from planner.rise import NONE, Flags, Ints, Rise, Shorts, Steps, tenths

OFF, LAYOFF, CUT = 0, 1, 2
"""What clean dives may be owed for: a step off, a lay-off, a cut after a pressure stop."""


def kth(a: Ints, b: Ints) -> Ints:
    """The k-th largest of two falling rows of k: the largest min of i of one and k - i of the other."""
    k = len(a)
    found: Ints = np.maximum(a[k - 1], b[k - 1])
    for i in range(1, k):
        np.maximum(found, np.minimum(a[i - 1], b[k - i - 1]), out=found)
    return found


def deepest(depths: Shorts, k: int) -> Ints:
    """The k deepest of each column, falling: the deepest, how many are as deep, then those below."""
    found = np.empty((k, depths.shape[1]), dtype=np.int64)
    filled = np.zeros(depths.shape[1], dtype=np.int16)
    for rank in range(k):
        most = depths.max(axis=0)
        for i in range(rank, k):
            np.copyto(found[i], most, where=filled <= i)
        if rank + 1 < k:
            alike = depths == most
            filled += np.add.reduce(alike, axis=0, dtype=np.int16)
            depths = depths * ~alike
    return found


class Tracks:
    """The exercise a diver is on, over paths; a `Paths` fills the arrays in and drives them."""

    size: Sizes
    steps: Steps
    first: int
    width: int
    fresh: bool
    depths: Shorts
    befores: Shorts
    days: Ints
    last: Ints
    # owed for a step off, a lay-off, a cut: a row each
    level: Ints
    needed: Ints
    lay_back: Ints
    cut_back: Ints
    cut_now: Flags
    below_first: Flags
    # of the session: the k deepest of older ones, its own, and what they were before a cut
    oldest: Ints
    best: Ints
    own: Ints
    own_before: Ints

    def held(self, raw: Ints, at: Ints | slice = slice(None)) -> Ints:
        """Held from the k-th deepest clean dive, on all paths or some; NONE while nothing is."""
        held = raw.copy()
        rows = self.needed[OFF][at].nonzero()[0]
        held[rows] = self.steps.off[raw[rows]]
        held[(raw < self.first) & ~self.below_first[at]] = NONE
        return held

    def kth(self, rows: Ints) -> Ints:
        """The depth of the k-th deepest clean dive on some paths."""
        return kth(self.best[:, rows], self.own[:, rows])

    def owed_at_first(self, rows: Ints) -> Ints:
        """How many clean dives at the first depth it takes until that is held."""
        shown = (self.best[:, rows] >= self.first).sum(axis=0)
        shown += (self.own[:, rows] >= self.first).sum(axis=0)
        owed: Ints = np.maximum(self.size.needed - shown, 0)
        return owed

    def open(self, day: Ints, left: Ints | None) -> None:
        """A session begins: the deepest clean dives before it, and what a lay-off left of them."""
        shape = self.size.needed, len(day)
        self.oldest = day - self.size.window_d
        self.best = self.deepest_of(day)
        self.own = np.zeros(shape, dtype=np.int64)
        if left is not None:
            self.own[:] = left
        self.own_before = np.zeros(shape, dtype=np.int64)

    def deepest_of(self, day: Ints, rows: Ints | None = None) -> Ints:
        """The k deepest clean dives in the window before a day, falling."""
        days, depths = self.days, self.depths
        if rows is not None:
            days, depths = days[:, rows], depths[:, :, rows]
        inside = depths * (days >= day - self.size.window_d)[:, None]
        return deepest(inside.reshape(-1, len(day)), self.size.needed)

    def come_back(self, day: Ints) -> tuple[Flags, Ints | None]:
        """Lay-offs: who was away, and what is left of held as clean dives of the day, if anything."""
        size = self.size
        away = day - self.last
        back = away >= size.short_d
        if self.fresh:
            back &= away > size.fresh_d
            self.fresh = False
        if not np.count_nonzero(back):
            return back, None
        held = self.held(self.deepest_of(self.last)[-1])
        over, short = away >= size.over_d, away < size.long_d
        back_at = np.where(short, self.steps.short[held], self.steps.long[held])
        stands = back & ~over & (held != NONE)
        self.depths[:, :, back], self.befores[:, :, back] = NONE, NONE
        self.below_first &= ~(back & over)
        self.needed[:, back] = 0
        given = stands & short
        self.needed[LAYOFF][given] = size.owed
        self.level[LAYOFF][given], self.lay_back[given] = back_at[given], held[given]
        return back, back_at * stands

    def credit(self, rows: Ints, rise: Rise, runs: Ints, clean: Ints) -> None:
        """Clean dives that joined the session's deepest count toward what is owed.

        `runs` says which of the rise's columns is a path's.
        """
        owed = self.needed[:, rows] > 0
        owed[CUT] &= ~self.cut_now[rows]
        for kind, owes in enumerate(owed):
            at = owes.nonzero()[0]
            if not at.size:
                continue
            where = rows[at]
            counted = clean[at] - rise.of(runs[at]).first(self.level[kind][where])
            left = self.needed[kind][where] - np.maximum(counted, 0)
            self.needed[kind][where] = np.maximum(left, 0)
            paid = where[left <= 0]
            if kind == LAYOFF and paid.size:
                self.join(paid, np.tile(self.lay_back[paid], (self.size.needed, 1)))
            elif kind == CUT and paid.size:
                self.give_back(paid)

    def join(self, rows: Ints, deepest: Ints) -> None:
        """The deepest of some clean dives, falling, join the session's deepest.

        After a cut of the same session none is deeper than what was cut, so that nothing moves.
        """
        own = self.own[:, rows]
        self.own[:, rows] = [
            kth(own[: i + 1], deepest[: i + 1]) for i in range(self.size.needed)
        ]  # fmt: skip

    def give_back(self, rows: Ints) -> None:
        """What a pressure stop cut is earned back: the old credits, up to what is given."""
        back = np.minimum(self.befores[:, :, rows], self.cut_back[rows].astype(np.int16))
        self.depths[:, :, rows] = np.maximum(self.depths[:, :, rows], back)
        self.befores[:, :, rows] = NONE
        self.best[:, rows] = self.deepest_of(self.oldest[rows] + self.size.window_d, rows)

    def step_off(self, rows: Ints, raw: Ints, held: Ints, at: Ints, off_taken: Flags) -> None:
        """A step less until clean dives give it back, at some of the rows; `held` follows.

        Once a session; a further fault makes what is owed be owed anew.
        """
        again = self.needed[OFF][rows[at]] > 0
        fresh = at[~(again | off_taken[rows[at]])]
        self.needed[OFF][rows[at[again]]] = self.size.owed
        held[fresh] = self.steps.off[raw[fresh]]
        where = rows[fresh]
        self.needed[OFF][where] = self.size.owed
        self.level[OFF][where] = held[fresh]
        off_taken[where] = True

    def pressure(self, rows: Ints, turn: Ints, held: Ints) -> None:
        """A pressure stop cuts held to a share of the turn; part of it may come back later."""
        size = self.size
        had = held != NONE
        cut_to = self.steps.pressed[turn]
        np.minimum(cut_to, held, out=cut_to, where=had)
        np.maximum(cut_to, tenths(size.least_m), out=cut_to)
        shown = had | (cut_to < self.first)
        depths = self.depths[:, :, rows]
        self.befores[:, :, rows[had]] = depths[:, :, had]
        self.depths[:, :, rows] = np.minimum(depths, cut_to.astype(np.int16))
        self.best[:, rows] = np.minimum(self.best[:, rows], cut_to)
        own = self.own[:, rows]
        before = np.where(had, own, self.own_before[:, rows])
        # as many dives at the cut depth as make it held: those from above it keep what they were
        self.own_before[:, rows] = before * ((own >= cut_to) | ~shown)
        self.own[:, rows] = np.where(shown, cut_to, np.minimum(own, cut_to))
        back = np.minimum(self.steps.given_back[held], self.steps.down[turn])
        self.needed[:, rows] = 0
        self.needed[CUT][rows] = size.owed * had
        self.level[CUT][rows], self.cut_back[rows] = cut_to, np.maximum(cut_to, back)
        self.cut_now[rows] = True
        self.below_first[rows] |= cut_to < self.first
