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

from planner.held import Track
from planner.record import Exercise
from planner.rules import Rules
from planner.standing import Standing
from planner.tracks import NONE, Flags, Floats, Ints, Tracks, down, kth


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


Seen = Callable[[Ints, Ints, Floats, Ints, Floats], None]
"""Told of each dive: paths, days, targets, kinds, turns."""


class Paths(Tracks):
    """Many paths from where a diver stands; `met_day` is each one's day of base met, or -1."""

    def __init__(
        self, state: Standing, *, rules: Rules, rates: Rates, rng: np.random.Generator, today: int
    ) -> None:
        track = state.track
        assert track is not None
        assert state.base_m is not None
        self.rng, self.rates, self.rules = rng, rates, rules
        self.size = track.size
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
        self.below_first: Flags = np.full(count, track.may_be_below_first)
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

    def _session(self, day: Ints, seen: Seen | None) -> Flags:
        """One session of every path; which of them met the base in it.

        Whoever is still active has made every dive so far, so `number` counts them for all.
        """
        size, r = self.size, self.rules
        n, k = len(day), size.needed
        barred, left = self.come_back(day)
        self.best = self.deepest_of(day)
        self.own: list[Floats] = [left.copy() for _ in range(k)]
        self.own_before: list[Floats] = [np.full(n, NONE) for _ in range(k)]
        self.has_before = False
        start = self.held(kth(self.best, tuple(self.own)))
        nothing = start == NONE
        start = np.where(nothing, self.first_m, start)
        opening = np.where(nothing, self.first_m, self.opening(start))
        new = self.deeper(start)
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
        trouble, slights, based, new_clean = np.zeros((4, n), dtype=np.int64)
        limit = self.rates.limits[self._drawn(self.limits_upto)]
        draws = self.rng.random((self.most + self.troubles, 2, n))
        active, counted = np.ones(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
        for number in range(len(draws)):
            held = self.held(kth(self.best, tuple(self.own)))
            target = self._target(
                nothing, start, opening, new, held, opened, at_held, trouble, new_clean
            )  # fmt: skip
            rows = ((held < start) & ~nothing & (held != NONE)).nonzero()[0]
            target[rows] = np.minimum(target[rows], held[rows])
            rows = retry.nonzero()[0]
            target[rows] = np.minimum(target[rows], opening[rows])
            target = down(np.minimum(target, most))
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
            self.credit(np.where(clean, turn, NONE))
            at_held = np.where(clean & (turn >= start), opened | self.is_rv, at_held)
            opened |= clean & (turn >= opening)
            new_clean += clean & (turn >= new)
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
                    self.step_off(deep, turn[deep], held[deep], opening[deep], off_taken)
                    least = np.minimum(self.shallower(turn[rows]), start[rows])
                    left = self.held_now(rows)
                    fails = technique[fault] & (left != NONE)
                    least = np.where(fails, np.minimum(least, left), least)
                    most[rows] = np.minimum(most[rows], least)
                rows = faults[kinds == _PRESSURE]
                if rows.size:
                    new_tried[rows] = True
                    self.pressure(rows, turn[rows], held[rows])
                    least = np.minimum(size.pressure_share * turn[rows], start[rows])
                    most[rows] = np.minimum(most[rows], least)
                    if self.is_rv:
                        ended[rows[turn[rows] >= r["trouble.rv_over_from_m"]]] = True
                active &= ~ended
                turn[slight] = 0.0
            deepest = np.maximum(deepest, turn)
            if based.any():
                held = self.held(kth(self.best, tuple(self.own)))
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
        opened: Flags, at_held: Flags, trouble: Ints, new_clean: Ints,
    ) -> Floats:  # fmt: skip
        """Opening dive, one at held, then the new depth; with nothing held, the first depth."""
        if self.is_rv:
            second = self.deeper(new)
            twice = (trouble == 0) & (held >= new) & (new_clean >= self.size.needed)
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
