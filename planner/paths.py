"""The policy on many paths at once: what the fold does dive by dive, as arrays over paths.

A forecast needs the policy a thousand times over. The object fold costs about 30 microseconds a
dive, which is seconds; here every quantity of the fold is one array over paths, so that a dive of
all paths costs some dozens of array operations. Of each session only its deepest clean dives are
kept, as many as make a depth held: a cut and what is given back keep their order, so a shallower
one never counts. A test plays single paths through the object fold and compares every target.

Left out, since it hardly moves weeks: tasks (taken as done before the next session) and harm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from planner.held import Sizes, Track
from planner.record import Exercise
from planner.rules import Rules
from planner.standing import Standing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

NONE = -np.inf
"""No depth."""


class Kind(IntEnum):
    """How a simulated dive ends; `OVER` is a stop that ends the day and takes nothing off."""

    CLEAN = 0
    HARD = 1
    TECHNIQUE = 2
    PRESSURE = 3
    OVER = 4


_HARD, _TECHNIQUE, _PRESSURE, _OVER = (
    int(kind) for kind in (Kind.HARD, Kind.TECHNIQUE, Kind.PRESSURE, Kind.OVER)
)


@dataclass(frozen=True, kw_only=True)
class Rates:
    """How a diver's dives end and how often there is a session, a row or an entry for each path.

    `upto` are cumulated chances of the kinds of `Kind`; `delays_d` are days later than rest allows,
    `limits` the most dives of a session by choice, each drawn by the path's own cumulated weights.
    """

    upto: Floats
    delays_d: Ints
    delays_upto: Floats
    limits: Ints
    limits_upto: Floats


def _down(depth_m: Floats) -> Floats:
    return np.floor(depth_m * 2 + 1e-9) / 2


def _kth(a: tuple[Floats, ...], b: tuple[Floats, ...]) -> Floats:
    """The k-th largest of two falling rows of k: the largest min of i of one and k - i of the other."""
    k = len(a)
    found = np.maximum(a[k - 1], b[k - 1])
    for i in range(1, k):
        found = np.maximum(found, np.minimum(a[i - 1], b[k - i - 1]))
    return found


Seen = Callable[[Ints, Ints, Floats, Ints, Floats], None]
"""Told of each dive: paths, days, targets, kinds, turns."""


class Paths:
    """Many paths from where a diver stands; `met_day` is each one's day of base met, or -1."""

    def __init__(
        self, state: Standing, *, rules: Rules, rates: Rates, rng: np.random.Generator, today: int
    ) -> None:
        track = state.track
        assert track is not None
        assert state.base_m is not None
        self.rng, self.rates, self.rules = rng, rates, rules
        self.size: Sizes = track.size
        self.is_rv = track.exercise is Exercise.RV
        self.base_m, self.first_m = state.base_m, track.first_m
        self.today = today
        count = len(rates.upto)
        self.met_day: Ints = np.full(count, -1, dtype=np.int64)
        self.path: Ints = np.arange(count)
        self._figures(rules)
        self._begin(state, track, count)

    def _figures(self, r: Rules) -> None:
        prefix = "cap.rv" if self.is_rv else "cap.frc"
        self.most = int(r["cap.most"])
        self.caps = (
            (r[f"{prefix}_mid_from_m"], min(self.most, int(r[f"{prefix}_mid"]))),
            (r[f"{prefix}_deep_from_m"], min(self.most, int(r[f"{prefix}_deep"]))),
        )
        self.nights, self.nights_new = int(r["rest.nights"]), int(r["rest.nights_after_new"])
        self.days_most, self.days_in = int(r["rest.days_most"]), int(r["rest.days_in"])
        self.troubles = int(r["trouble.most"])
        self.base_clean = int(r["base.rv_days" if self.is_rv else "base.frc_clean"])
        self.base_days = int(r["base.rv_days" if self.is_rv else "base.frc_days"])
        # no more sessions than these fit into the window
        self.width = (self.size.window_d // self.days_in + 2) * self.days_most + 1

    def _begin(self, state: Standing, track: Track, count: int) -> None:
        """Every path begins where the diver stands."""
        k, width = self.size.needed, self.width
        self.depths: Floats = np.full((count, width, k), NONE)
        self.befores: Floats = np.full((count, width, k), NONE)
        self.days: Ints = np.full((count, width), -(10**6), dtype=np.int64)
        self.at_base: Ints = np.zeros((count, width), dtype=np.int64)
        by_day: dict[int, list[tuple[float, float]]] = {}
        for c in track.credits:
            by_day.setdefault(c.day, []).append(
                (c.depth_m, NONE if c.before_m is None else c.before_m)
            )
        since = -1 if state.ladder.pressure_day is None else state.ladder.pressure_day
        bases: dict[int, int] = {}
        for day, depth_m, exercise, is_first, fill_ok in state.base_dives:
            if exercise is track.exercise and depth_m >= self.base_m and fill_ok and day > since:
                bases[day] = bases.get(day, 0) + (is_first or not self.is_rv)
        self.slot = 0
        for day in sorted(set(by_day) | set(bases))[-width:]:
            for i, (depth, before) in enumerate(sorted(by_day.get(day, ()), reverse=True)[:k]):
                self.depths[:, self.slot, i], self.befores[:, self.slot, i] = depth, before
            self.days[:, self.slot] = day
            self.at_base[:, self.slot] = bases.get(day, 0)
            self.slot = (self.slot + 1) % width

        def owed(name: str) -> tuple[Floats, Ints, Floats]:
            one = getattr(track, name)
            level, needed, amount = (
                (NONE, 0, NONE) if one is None else (one.level_m, one.needed, one.amount_m)
            )
            return (
                np.full(count, level, dtype=np.float64),
                np.full(count, needed, dtype=np.int64),
                np.full(count, amount, dtype=np.float64),
            )

        self.off_level, self.off_needed, _ = owed("off")
        self.cut_level, self.cut_needed, self.cut_back = owed("cut")
        self.lay_level, self.lay_needed, self.lay_back = owed("layoff")
        self.cut_now: Flags = np.zeros(count, dtype=np.bool_)
        self.below_first: Flags = np.full(count, track.below_first)
        last = track.last_day if track.last_day is not None else self.today
        self.last: Ints = np.full(count, last, dtype=np.int64)
        self.fresh = track.last_reported
        exhale = [d.day for d in state.exhale_days[-self.days_most :]]
        exhale = [-(10**6)] * (self.days_most - len(exhale)) + exhale
        self.exhale: Ints = np.tile(np.array(exhale, dtype=np.int64), (count, 1))
        long = bool(state.exhale_days) and state.exhale_days[-1].long_rest
        self.long: Flags = np.full(count, long)
        self.urged: Flags = np.zeros(count, dtype=np.bool_)
        self.upto = self.rates.upto
        self.delays_upto, self.limits_upto = self.rates.delays_upto, self.rates.limits_upto

    _PER_PATH = (
        "path", "depths", "befores", "days", "at_base", "off_level", "off_needed", "cut_level",
        "cut_needed", "cut_back", "lay_level", "lay_needed", "lay_back", "cut_now", "below_first",
        "last", "exhale", "long", "urged", "upto", "delays_upto", "limits_upto",
    )  # fmt: skip

    def _keep(self, stays: Flags) -> None:
        for name in self._PER_PATH:
            setattr(self, name, getattr(self, name)[stays])

    def run(self, *, days_most: int, enough: float = 1.0, seen: Seen | None = None) -> None:
        """Session after session, until a share of the paths has met the base or the days are over."""
        total = len(self.met_day)
        done = 0
        while self.path.size:
            day = self._next_day()
            late = day > self.today + days_most
            if late.any():
                day = day[~late]
                self._keep(~late)
                if not self.path.size:
                    return
            met = self._session(day, seen)
            if met.any():
                self.met_day[self.path[met]] = day[met]
                done += int(met.sum())
                if done >= enough * total:
                    return
                self._keep(~met)

    def _drawn(self, upto: Floats) -> Ints:
        u = self.rng.random(len(upto))
        drawn: Ints = np.minimum((u[:, None] >= upto).sum(axis=1), upto.shape[1] - 1)
        return drawn

    def _next_day(self) -> Ints:
        """The first day that rest allows, and as much later as this diver comes."""
        free = self.exhale[:, -1] + np.where(self.long, self.nights_new, self.nights)
        free = np.maximum(free, self.exhale[:, 0] + self.days_in)
        delay = self.rates.delays_d[self._drawn(self.delays_upto)]
        return np.maximum(np.maximum(free, self.last + 1) + delay, self.today)

    # depths

    def _shallower(self, depth: Floats) -> Floats:
        size = self.size
        return depth - np.where(depth <= size.off_small_from_m, size.off_m, size.off_small_m)

    def _deeper(self, depth: Floats) -> Floats:
        size = self.size
        big = np.minimum(depth + size.step_m, size.step_small_from_m)
        return np.where(depth < size.step_small_from_m, big, depth + size.step_small_m)

    def _floor(self, held: Floats) -> Floats:
        return np.maximum(np.minimum(self.first_m, held), self.size.least_m)

    def _held(self, raw: Floats, at: Ints | slice = slice(None)) -> Floats:
        """Held from the k-th deepest clean dive, on all paths or some; NONE while nothing is."""
        held = raw.copy()
        rows = self.off_needed[at].nonzero()[0]
        if rows.size:
            off = raw[rows]
            held[rows] = np.maximum(_down(self._shallower(off)), self._floor(off))
        held[(raw < self.first_m) & ~self.below_first[at]] = NONE
        return held

    def _held_now(self, rows: Ints) -> Floats:
        """Held on some paths, as the session stands."""
        return self._held(
            _kth(tuple(b[rows] for b in self.best), tuple(o[rows] for o in self.own)), rows
        )

    def _opening(self, held: Floats) -> Floats:
        share = _down(self.size.opening_share * held)
        opening = np.maximum(share, np.minimum(self.first_m, held))
        return np.where(held == NONE, self.first_m, opening)

    def _best(self, day: Ints) -> tuple[Floats, ...]:
        """The k deepest clean dives in the window before a day, falling."""
        k = self.size.needed
        inside = (self.days >= (day - self.size.window_d)[:, None])[:, :, None]
        flat = np.where(inside, self.depths, NONE).reshape(len(day), -1)
        best = np.partition(flat, flat.shape[1] - k, axis=1)[:, -k:]
        best.sort(axis=1)
        return tuple(best[:, k - 1 - i] for i in range(k))

    def _come_back(self, day: Ints) -> tuple[Flags, Floats]:
        """Lay-offs: who was away, and what is left of held as clean dives of the day."""
        size = self.size
        away = day - self.last
        back = away >= size.short_d
        if self.fresh:
            back &= away > size.fresh_d
            self.fresh = False
        if not back.any():
            return back, np.full(len(day), NONE)
        held = self._held(self._best(self.last)[-1])
        over, short = away >= size.over_d, away < size.long_d
        share = np.where(short, size.short_share, size.long_share)
        back_at = np.maximum(_down(share * held), self._floor(held))
        stands = back & ~over & (held != NONE)
        self.depths[back], self.befores[back] = NONE, NONE
        self.below_first &= ~(back & over)
        for needed in (self.off_needed, self.cut_needed, self.lay_needed):
            needed[back] = 0
        given = stands & short
        self.lay_needed[given] = size.owed
        self.lay_level[given], self.lay_back[given] = back_at[given], held[given]
        return back, np.where(stands, back_at, NONE)

    # a session

    def _session(self, day: Ints, seen: Seen | None) -> Flags:
        """One session of every path; which of them met the base in it.

        Whoever is still active has made every dive so far, so `number` counts them for all.
        """
        size, r = self.size, self.rules
        n, k = len(day), size.needed
        barred, left = self._come_back(day)
        self.best = self._best(day)
        self.own: list[Floats] = [left.copy() for _ in range(k)]
        self.own_before: list[Floats] = [np.full(n, NONE) for _ in range(k)]
        self.has_before = False
        start = self._held(_kth(self.best, tuple(self.own)))
        nothing = start == NONE
        start = np.where(nothing, self.first_m, start)
        opening = np.where(nothing, self.first_m, self._opening(start))
        new = self._deeper(start)
        self.oldest = day - size.window_d
        in_window = self.days >= self.oldest[:, None]
        old_clean = (self.at_base * in_window).sum(axis=1)
        old_days = ((self.at_base > 0) & in_window).sum(axis=1)
        opened, at_held, off_taken, retry, new_tried, urged, met, dived = np.zeros(
            (8, n), dtype=np.bool_
        )
        # everything that caps the rest of the session: the ceiling, nothing new, faults
        most = np.full(n, self.base_m)
        if self.is_rv:
            alone = np.where(nothing, 0.0, start)
            most = np.minimum(most, np.maximum(r["step.rv_coach_past_m"], alone))
        barred |= self.urged
        most = np.where(barred, np.minimum(most, start), most)
        self.cut_now[:] = False
        deepest = np.zeros(n)
        trouble, slights, based = np.zeros((3, n), dtype=np.int64)
        limit = self.rates.limits[self._drawn(self.limits_upto)]
        draws = self.rng.random((self.most + self.troubles, 2, n))
        active, counted = np.ones(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
        for number in range(len(draws)):
            held = self._held(_kth(self.best, tuple(self.own)))
            target = self._target(
                nothing, start, opening, new, held, opened, at_held, trouble
            )  # fmt: skip
            rows = ((held < start) & ~nothing & (held != NONE)).nonzero()[0]
            target[rows] = np.minimum(target[rows], held[rows])
            rows = retry.nonzero()[0]
            target[rows] = np.minimum(target[rows], opening[rows])
            target = _down(np.minimum(target, most))
            active &= (target >= size.least_m) & (limit > number)
            active &= number - slights < self._allowed(np.maximum(deepest, target))
            if number == 0:
                dived = active.copy()
            if not active.any():
                break
            u, share = draws[number]
            clean = active & (u < self.upto[:, 0])
            new_tried |= active & (target > start)
            faults = (active & ~clean).nonzero()[0]
            turn = target
            kinds = (u[faults, None] >= self.upto[faults]).sum(axis=1)
            if faults.size:
                turn = target.copy()
                turn[faults] = _turns(target[faults], kinds, share[faults])
            if seen is not None:
                all_kinds = np.zeros(n, dtype=np.int64)
                all_kinds[faults] = kinds
                seen(
                    self.path[active], day[active], target[active], all_kinds[active], turn[active]
                )
            retry[:] = False
            counted_before = counted.copy()
            counted |= active
            self._credit(np.where(clean, turn, NONE))
            at_held = np.where(clean & (turn >= start), opened | self.is_rv, at_held)
            opened |= clean & (turn >= opening)
            if self.base_m <= target.max() and (number == 0 or not self.is_rv):
                based += clean & (turn >= self.base_m)
            if faults.size:
                trouble[faults] += 1
                ended = trouble >= self.troubles
                ends = faults[kinds == _OVER]
                urged[ends] = True
                ended[ends] = True
                technique = kinds == _TECHNIQUE
                is_slight = technique & (turn[faults] < r["held.shallow_turn_m"])
                slight = faults[is_slight]
                slights[slight] += 1
                counted[slight] = counted_before[slight]
                hard = kinds == _HARD
                opened[faults[hard]] = True
                at_fill = technique & (turn[faults] <= self._fill(target[faults]))
                retry[faults[at_fill]] = True
                fault = hard | (technique & ~at_fill)
                rows = faults[fault]
                if rows.size:
                    deep = faults[fault & ~is_slight]
                    self._step_off(deep, turn[deep], held[deep], opening[deep], off_taken)
                    least = np.minimum(self._shallower(turn[rows]), start[rows])
                    left = self._held_now(rows)
                    fails = technique[fault] & (left != NONE)
                    least = np.where(fails, np.minimum(least, left), least)
                    most[rows] = np.minimum(most[rows], least)
                rows = faults[kinds == _PRESSURE]
                if rows.size:
                    new_tried[rows] = True
                    self._pressure(rows, turn[rows], held[rows])
                    least = np.minimum(size.pressure_share * turn[rows], start[rows])
                    most[rows] = np.minimum(most[rows], least)
                    if self.is_rv:
                        ended[rows[turn[rows] >= r["trouble.rv_over_from_m"]]] = True
                active &= ~ended
                turn[slight] = 0.0
            deepest = np.maximum(deepest, turn)
            if based.any():
                held = self._held(_kth(self.best, tuple(self.own)))
                now = dived & (based > 0) & (held >= self.base_m)
                now &= old_clean + based >= self.base_clean
                met |= now & (old_days + (based > 0) >= self.base_days)
                active &= ~met
        # an urge bars the next session whose dives count
        urged |= self.urged & ~counted
        self._close(day, dived, based, new_tried, urged)
        return met

    def _target(
        self, nothing: Flags, start: Floats, opening: Floats, new: Floats, held: Floats,
        opened: Flags, at_held: Flags, trouble: Ints,
    ) -> Floats:  # fmt: skip
        """Opening dive, one at held, then the new depth; with nothing held, the first depth."""
        if self.is_rv:
            second = self._deeper(new)
            twice = (trouble == 0) & (held >= new)
            twice &= second < self.rules["step.rv_two_new_above_m"]
            new = np.where(twice, second, new)
        target = np.where(at_held, new, start)
        target = np.where(opened, target, opening)
        rows = nothing.nonzero()[0]
        if rows.size:
            unshown = (held[rows] < self.first_m) | ~at_held[rows]
            target[rows] = np.where(unshown, self.first_m, new[rows])
        return target

    def _allowed(self, depth: Floats) -> Ints | int:
        (mid_m, mid), (deep_m, deep) = self.caps
        if depth.max() < min(mid_m, deep_m):
            return self.most
        allowed = np.where(depth >= mid_m, mid, self.most)
        return np.where(depth >= deep_m, deep, allowed)

    def _fill(self, target: Floats) -> Floats:
        if self.is_rv:
            return np.zeros(len(target))
        r = self.rules
        return np.minimum(r["fill.frc_low_m"], np.maximum(0.0, target - r["fill.above_target_m"]))

    def _credit(self, depth: Floats) -> None:
        """A clean dive joins the session's deepest, and counts toward what is owed."""
        self._insert(depth)
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
                    self._insert(back)
        rows = ((self.cut_needed > 0) & ~self.cut_now).nonzero()[0]
        if rows.size:
            self.cut_needed[rows] -= depth[rows] >= self.cut_level[rows]
            ended = rows[self.cut_needed[rows] == 0]
            if ended.size:
                self._give_back(ended)

    def _insert(self, depth: Floats) -> None:
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

    def _give_back(self, rows: Ints) -> None:
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

    def _step_off(
        self, rows: Ints, turn: Floats, held: Floats, opening: Floats, off_taken: Flags
    ) -> None:
        """A fault from the opening depth down to held: a step less until clean dives give it back."""
        rows = rows[(held != NONE) & (turn >= opening) & (turn <= held)]
        again = self.off_needed[rows] > 0
        fresh = rows[~again & ~off_taken[rows]]
        self.off_needed[rows[again]] = self.size.owed
        if fresh.size:
            self.off_needed[fresh] = self.size.owed
            self.off_level[fresh] = self._held_now(fresh)
            off_taken[fresh] = True

    def _pressure(self, rows: Ints, turn: Floats, held: Floats) -> None:
        """A pressure stop cuts held to a share of the turn; part of it may come back later."""
        size = self.size
        cut_to = _down(size.pressure_share * turn)
        had = held != NONE
        cut_to = np.maximum(np.where(had, np.minimum(held, cut_to), cut_to), size.least_m)
        self.befores[rows[had]] = self.depths[rows[had]]
        self.depths[rows] = np.minimum(self.depths[rows], cut_to[:, None, None])
        for best, own, before in zip(self.best, self.own, self.own_before, strict=True):
            best[rows] = np.minimum(best[rows], cut_to)
            before[rows] = np.where(had, own[rows], before[rows])
            own[rows] = np.minimum(own[rows], cut_to)
        self.has_before = True
        shown = ~had & (cut_to < self.first_m)
        if shown.any():
            depth = np.full(len(self.last), NONE)
            depth[rows[shown]] = cut_to[shown]
            for _ in range(size.needed):
                self._insert(depth)
        back = np.minimum(_down(size.give_back_share * held), _down(turn))
        self.cut_needed[rows] = np.where(had, size.owed, 0)
        self.cut_level[rows], self.cut_back[rows] = cut_to, np.maximum(cut_to, back)
        self.cut_now[rows] = True
        self.off_needed[rows] = 0
        self.lay_needed[rows] = 0
        self.below_first[rows] |= cut_to < self.first_m

    def _close(self, day: Ints, dived: Flags, based: Ints, new_tried: Flags, urged: Flags) -> None:
        slot = self.slot
        self.days[:, slot] = day
        for i, (depth, before) in enumerate(zip(self.own, self.own_before, strict=True)):
            self.depths[:, slot, i], self.befores[:, slot, i] = depth, before
        self.at_base[:, slot] = based
        self.slot = (slot + 1) % self.width
        self.exhale[:, :-1] = np.where(dived[:, None], self.exhale[:, 1:], self.exhale[:, :-1])
        self.exhale[:, -1] = np.where(dived, day, self.exhale[:, -1])
        self.last = day
        self.long = np.where(dived, new_tried, self.long)
        self.urged = urged


def _turns(target: Floats, kinds: Ints, share: Floats) -> Floats:
    """Pressure turns in the deepest third, technique anywhere, all else at the target (H)."""
    turn = np.where(kinds == _TECHNIQUE, target * (0.1 + 0.9 * share), target)
    turn = np.where(kinds == _PRESSURE, target * (2 + share) / 3, turn)
    rounded: Floats = np.round(turn, 1).astype(np.float64, copy=False)
    return rounded
