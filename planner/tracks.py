"""Held depths on many paths at once: what `planner.held.Track` does, as arrays over paths.

Of each session only its deepest clean dives are kept, as many as make a depth held: a cut and what
is given back keep their order, so a shallower one never counts. Depths are metres, `NONE` where
there is none; days are ordinals.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planner.held import Sizes

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

NONE = -np.inf
"""No depth."""


def down(depth_m: Floats) -> Floats:
    """Depths rounded down to half a metre."""
    return np.floor(depth_m * 2 + 1e-9) / 2


def kth(a: tuple[Floats, ...], b: tuple[Floats, ...]) -> Floats:
    """The k-th largest of two falling rows of k: the largest min of i of one and k - i of the other."""
    k = len(a)
    found = np.maximum(a[k - 1], b[k - 1])
    for i in range(1, k):
        found = np.maximum(found, np.minimum(a[i - 1], b[k - i - 1]))
    return found


class Tracks:
    """The exercise a diver is on, over paths; a `Paths` fills the arrays in and drives them."""

    size: Sizes
    first_m: float
    width: int
    fresh: bool
    depths: Floats
    befores: Floats
    days: Ints
    last: Ints
    off_level: Floats
    off_needed: Ints
    cut_level: Floats
    cut_needed: Ints
    cut_back: Floats
    cut_now: Flags
    lay_level: Floats
    lay_needed: Ints
    lay_back: Floats
    below_first: Flags
    # of the session: the k deepest of older ones, its own, and what they were before a cut
    oldest: Ints
    best: tuple[Floats, ...]
    own: list[Floats]
    own_before: list[Floats]
    has_before: bool

    def shallower(self, depth: Floats) -> Floats:
        """One step shallower."""
        size = self.size
        return depth - np.where(depth <= size.off_small_from_m, size.off_m, size.off_small_m)

    def deeper(self, depth: Floats) -> Floats:
        """One step deeper."""
        size = self.size
        big = np.minimum(depth + size.step_m, size.step_small_from_m)
        return np.where(depth < size.step_small_from_m, big, depth + size.step_small_m)

    def floor(self, held: Floats) -> Floats:
        """What opening, steps off and a lay-off don't go below."""
        return np.maximum(np.minimum(self.first_m, held), self.size.least_m)

    def held(self, raw: Floats, at: Ints | slice = slice(None)) -> Floats:
        """Held from the k-th deepest clean dive, on all paths or some; NONE while nothing is."""
        held = raw.copy()
        rows = self.off_needed[at].nonzero()[0]
        if rows.size:
            off = raw[rows]
            held[rows] = np.maximum(down(self.shallower(off)), self.floor(off))
        held[(raw < self.first_m) & ~self.below_first[at]] = NONE
        return held

    def held_now(self, rows: Ints) -> Floats:
        """Held on some paths, as the session stands."""
        return self.held(
            kth(tuple(b[rows] for b in self.best), tuple(o[rows] for o in self.own)), rows
        )

    def opening(self, held: Floats) -> Floats:
        """Where a day opens with a held depth."""
        share = down(self.size.opening_share * held)
        opening = np.maximum(share, np.minimum(self.first_m, held))
        return np.where(held == NONE, self.first_m, opening)

    def deepest_of(self, day: Ints) -> tuple[Floats, ...]:
        """The k deepest clean dives in the window before a day, falling."""
        k = self.size.needed
        inside = (self.days >= (day - self.size.window_d)[:, None])[:, :, None]
        flat = np.where(inside, self.depths, NONE).reshape(len(day), -1)
        best = np.partition(flat, flat.shape[1] - k, axis=1)[:, -k:]
        best.sort(axis=1)
        return tuple(best[:, k - 1 - i] for i in range(k))

    def come_back(self, day: Ints) -> tuple[Flags, Floats]:
        """Lay-offs: who was away, and what is left of held as clean dives of the day."""
        size = self.size
        away = day - self.last
        back = away >= size.short_d
        if self.fresh:
            back &= away > size.fresh_d
            self.fresh = False
        if not back.any():
            return back, np.full(len(day), NONE)
        held = self.held(self.deepest_of(self.last)[-1])
        over, short = away >= size.over_d, away < size.long_d
        share = np.where(short, size.short_share, size.long_share)
        back_at = np.maximum(down(share * held), self.floor(held))
        stands = back & ~over & (held != NONE)
        self.depths[back], self.befores[back] = NONE, NONE
        self.below_first &= ~(back & over)
        for needed in (self.off_needed, self.cut_needed, self.lay_needed):
            needed[back] = 0
        given = stands & short
        self.lay_needed[given] = size.owed
        self.lay_level[given], self.lay_back[given] = back_at[given], held[given]
        return back, np.where(stands, back_at, NONE)

    def credit(self, depth: Floats) -> None:
        """A clean dive joins the session's deepest, and counts toward what is owed."""
        self.insert(depth)
        rows = self.off_needed.nonzero()[0]
        self.off_needed[rows] -= depth[rows] >= self.off_level[rows]
        rows = self.lay_needed.nonzero()[0]
        if rows.size:
            self.lay_needed[rows] -= depth[rows] >= self.lay_level[rows]
            ended = rows[self.lay_needed[rows] == 0]
            if ended.size:
                back = np.full(len(depth), NONE)
                back[ended] = self.lay_back[ended]
                for _ in range(self.size.needed):
                    self.insert(back)
        rows = ((self.cut_needed > 0) & ~self.cut_now).nonzero()[0]
        if rows.size:
            self.cut_needed[rows] -= depth[rows] >= self.cut_level[rows]
            ended = rows[self.cut_needed[rows] == 0]
            if ended.size:
                self.give_back(ended)

    def insert(self, depth: Floats) -> None:
        """A depth joins the session's deepest, which stay falling."""
        moving = depth
        if not self.has_before:
            for i, now in enumerate(self.own):
                self.own[i] = np.maximum(now, moving)
                moving = np.minimum(now, moving)
            return
        moving_before = np.full(len(depth), NONE)
        for i, (now, before) in enumerate(zip(self.own, self.own_before, strict=True)):
            above = moving > now
            self.own[i] = np.where(above, moving, now)
            self.own_before[i] = np.where(above, moving_before, before)
            moving = np.where(above, now, moving)
            moving_before = np.where(above, before, moving_before)

    def give_back(self, rows: Ints) -> None:
        """What a pressure stop cut is earned back: the old credits, up to what is given."""
        before = self.befores[rows]
        back = np.minimum(before, self.cut_back[rows][:, None, None])
        self.depths[rows] = np.where(
            before == NONE, self.depths[rows], np.maximum(self.depths[rows], back)
        )
        self.befores[rows] = NONE
        inside = self.days[rows] >= self.oldest[rows][:, None]
        flat = np.where(inside[:, :, None], self.depths[rows], NONE).reshape(len(rows), -1)
        flat.sort(axis=1)
        for i, best in enumerate(self.best):
            best[rows] = flat[:, -1 - i]

    def step_off(
        self, rows: Ints, turn: Floats, held: Floats, opening: Floats, off_taken: Flags
    ) -> None:
        """A fault from the opening depth down to held: a step less until clean dives give it back."""
        rows = rows[(held != NONE) & (turn >= opening) & (turn <= held)]
        again = self.off_needed[rows] > 0
        fresh = rows[~again & ~off_taken[rows]]
        self.off_needed[rows[again]] = self.size.owed
        if fresh.size:
            self.off_needed[fresh] = self.size.owed
            self.off_level[fresh] = self.held_now(fresh)
            off_taken[fresh] = True

    def pressure(self, rows: Ints, turn: Floats, held: Floats) -> None:
        """A pressure stop cuts held to a share of the turn; part of it may come back later."""
        size = self.size
        cut_to = down(size.pressure_share * turn)
        had = held != NONE
        cut_to = np.maximum(np.where(had, np.minimum(held, cut_to), cut_to), size.least_m)
        self.befores[rows[had]] = self.depths[rows[had]]
        self.depths[rows] = np.minimum(self.depths[rows], cut_to[:, None, None])
        for best, own, before in zip(self.best, self.own, self.own_before, strict=True):
            best[rows] = np.minimum(best[rows], cut_to)
            before[rows] = np.where(had, own[rows], before[rows])
            own[rows] = np.minimum(own[rows], cut_to)
        self.has_before = True
        shown = had | (cut_to < self.first_m)
        if shown.any():
            depth = np.full(len(self.last), NONE)
            depth[rows[shown]] = cut_to[shown]
            for _ in range(size.needed):
                self.insert(depth)
        back = np.minimum(down(size.give_back_share * held), down(turn))
        self.cut_needed[rows] = np.where(had, size.owed, 0)
        self.cut_level[rows], self.cut_back[rows] = cut_to, np.maximum(cut_to, back)
        self.cut_now[rows] = True
        self.off_needed[rows] = 0
        self.lay_needed[rows] = 0
        self.below_first[rows] |= cut_to < self.first_m
