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

    def _held(self, raw: Floats) -> Floats:
        """Held from the k-th deepest clean dive; NONE while nothing is."""
        less = np.maximum(_down(self._shallower(raw)), self._floor(raw))
        held = np.where(self.off_needed > 0, less, raw)
        return np.where((raw < self.first_m) & ~self.below_first, NONE, held)

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
        self.cut_level[back] = NONE
        given = stands & short
        self.lay_needed[given] = size.owed
        self.lay_level[given], self.lay_back[given] = back_at[given], held[given]
        return back, np.where(stands, back_at, NONE)

    # a session

    def _session(self, day: Ints, seen: Seen | None) -> Flags:
        """One session of every path; which of them met the base in it."""
        size, r = self.size, self.rules
        n, k = len(day), size.needed
        after_layoff, left = self._come_back(day)
        best = self._best(day)
        own: list[Floats] = [left.copy() for _ in range(k)]
        own_before: list[Floats] = [np.full(n, NONE) for _ in range(k)]
        start = self._held(_kth(best, tuple(own)))
        nothing = start == NONE
        start_or_first = np.where(nothing, self.first_m, start)
        opening = self._opening(start)
        self.oldest = day - size.window_d
        in_window = self.days >= self.oldest[:, None]
        old_clean = (self.at_base * in_window).sum(axis=1)
        old_days = ((self.at_base > 0) & in_window).sum(axis=1)
        flags = np.zeros((7, n), dtype=np.bool_)
        opened, at_held, off_taken, retry, new_tried, over, met = flags
        bars_new = after_layoff | self.urged
        urged = np.zeros(n, dtype=np.bool_)
        self.cut_now[:] = False
        cap, deepest = np.full(n, np.inf), np.zeros(n)
        count, trouble, based, made = np.zeros((4, n), dtype=np.int64)
        limit = self.rates.limits[self._drawn(self.limits_upto)]
        ceiling = np.full(n, self.base_m)
        if self.is_rv:
            alone = np.maximum(r["step.rv_coach_past_m"], np.where(nothing, 0.0, start))
            ceiling = np.minimum(ceiling, alone)
        draws = self.rng.random((self.most + self.troubles, 2, n))
        active = np.ones(n, dtype=np.bool_)
        for number in range(len(draws)):
            held = self._held(_kth(best, tuple(own)))
            target = self._target(
                start, nothing, start_or_first, opening, held, opened, at_held, trouble
            )
            target = np.minimum(target, np.where(bars_new, start_or_first, np.inf))
            target = np.minimum(
                target, np.where(~nothing & (held < start) & (held != NONE), held, np.inf)
            )
            target = np.minimum(target, np.where(retry, opening, np.inf))
            target = _down(np.minimum(np.minimum(target, cap), ceiling))
            active &= ~over & (trouble < self.troubles) & (made < limit)
            active &= (target >= size.least_m) & (count < self._allowed(deepest, target))
            if not active.any():
                break
            u, share = draws[number]
            kind = (u[:, None] >= self.upto).sum(axis=1)
            kind[~active] = -1
            turn = self._turn(target, kind, share)
            if seen is not None:
                seen(self.path[active], day[active], target[active], kind[active], turn[active])
            is_first = made == 0
            made += active
            clean = kind == Kind.CLEAN
            hard, technique = kind == Kind.HARD, kind == Kind.TECHNIQUE
            pressure, ends = kind == Kind.PRESSURE, kind == Kind.OVER
            slight = technique & (turn < r["held.shallow_turn_m"])
            counts = active & ~slight
            count += counts
            np.maximum(deepest, turn, out=deepest, where=counts)
            retry &= ~active
            trouble += active & ~clean
            new_tried |= active & (np.maximum(target, turn) > start_or_first)
            over |= ends
            urged |= ends
            if clean.any():
                self._credit(clean, turn, own, own_before)
                best = self._given_back(best)
                enough = np.where(nothing, self.first_m, start)
                shown = clean & (turn >= enough)
                at_held = np.where(shown, opened | self.is_rv, at_held)
                opened = opened | (clean & (turn >= opening))
                based += clean & (turn >= self.base_m) & (is_first | (not self.is_rv))
            if hard.any() or technique.any():
                opened = opened | hard
                at_fill = technique & (turn <= self._fill(target))
                retry |= at_fill
                fault = hard | (technique & ~at_fill)
                bars_new = bars_new | fault
                self._step_off(fault & ~slight, turn, held, opening, off_taken, best, own)
                least = self._shallower(turn)
                left = self._held(_kth(best, tuple(own)))
                least = np.where(technique & (left != NONE), np.minimum(least, left), least)
                cap = np.where(fault, np.minimum(cap, least), cap)
            if pressure.any():
                bars_new = bars_new | pressure
                new_tried |= pressure
                best = self._pressure(pressure, turn, held, best, own, own_before)
                cap = np.where(pressure, np.minimum(cap, size.pressure_share * turn), cap)
                if self.is_rv:
                    over |= pressure & (turn >= r["trouble.rv_over_from_m"])
            if based.any():
                held = self._held(_kth(best, tuple(own)))
                now = (based > 0) & (held >= self.base_m)
                now &= old_clean + based >= self.base_clean
                met |= now & (old_days + (based > 0) >= self.base_days)
                over |= met
        urged |= self.urged & (count == 0)
        self._close(day, made > 0, own, own_before, based, new_tried, urged)
        return met

    def _target(
        self, start: Floats, nothing: Flags, start_or_first: Floats, opening: Floats,
        held: Floats, opened: Flags, at_held: Flags, trouble: Ints,
    ) -> Floats:  # fmt: skip
        """Opening dive, one at held, then the new depth; with nothing held, the first depth."""
        new = self._deeper(start_or_first)
        if self.is_rv:
            second = self._deeper(new)
            twice = (trouble == 0) & (held >= new)
            twice &= second < self.rules["step.rv_two_new_above_m"]
            new = np.where(twice, second, new)
        ordered = np.where(opened, np.where(at_held, new, start), opening)
        unshown = (held < self.first_m) | ~at_held
        return np.where(nothing, np.where(unshown, self.first_m, new), ordered)

    def _allowed(self, deepest: Floats, target: Floats) -> Ints:
        depth = np.maximum(deepest, target)
        allowed = np.full(len(depth), self.most)
        for from_m, dives in self.caps:
            allowed[depth >= from_m] = dives
        return allowed

    def _turn(self, target: Floats, kind: Ints, share: Floats) -> Floats:
        """Pressure turns in the deepest third, technique anywhere, all else at the target (H)."""
        turn = np.where(kind == Kind.TECHNIQUE, target * (0.1 + 0.9 * share), target)
        turn = np.where(kind == Kind.PRESSURE, target * (2 + share) / 3, turn)
        rounded: Floats = np.round(turn, 1).astype(np.float64, copy=False)
        return rounded

    def _fill(self, target: Floats) -> Floats:
        if self.is_rv:
            return np.zeros(len(target))
        r = self.rules
        return np.minimum(r["fill.frc_low_m"], np.maximum(0.0, target - r["fill.above_target_m"]))

    def _credit(
        self, clean: Flags, turn: Floats, own: list[Floats], own_before: list[Floats]
    ) -> None:  # fmt: skip
        """A clean dive joins the session's deepest, and counts toward what is owed."""
        depth = np.where(clean, _down(turn), NONE)
        self._insert(depth, own, own_before)
        for needed, level in (
            (self.off_needed, self.off_level),
            (self.lay_needed, self.lay_level),
        ):
            before = needed > 0
            needed -= clean & before & (depth >= level)
            if needed is self.lay_needed:
                ended = before & (needed == 0)
                if ended.any():
                    back = np.where(ended, self.lay_back, NONE)
                    for _ in range(self.size.needed):
                        self._insert(back, own, own_before)
        later = clean & (self.cut_needed > 0) & ~self.cut_now & (depth >= self.cut_level)
        self.cut_needed -= later

    @staticmethod
    def _insert(depth: Floats, own: list[Floats], own_before: list[Floats]) -> None:
        moving, moving_before = depth, np.full(len(depth), NONE)
        for i in range(len(own)):
            above = moving > own[i]
            now, now_before = own[i], own_before[i]
            own[i] = np.where(above, moving, now)
            own_before[i] = np.where(above, moving_before, now_before)
            moving = np.where(above, now, moving)
            moving_before = np.where(above, now_before, moving_before)

    def _given_back(self, best: tuple[Floats, ...]) -> tuple[Floats, ...]:
        """Where what a pressure stop cut is earned back: the old credits, up to what is given."""
        ended = (self.cut_needed == 0) & (self.cut_level != NONE)
        if not ended.any():
            return best
        k = self.size.needed
        rows = np.flatnonzero(ended)
        before = self.befores[rows]
        back = np.minimum(before, self.cut_back[rows][:, None, None])
        self.depths[rows] = np.where(
            before == NONE, self.depths[rows], np.maximum(self.depths[rows], back)
        )
        self.befores[rows] = NONE
        self.cut_level[rows] = NONE
        inside = self.days[rows] >= self.oldest[rows][:, None]
        flat = np.where(inside[:, :, None], self.depths[rows], NONE).reshape(len(rows), -1)
        flat.sort(axis=1)
        renewed = [b.copy() for b in best]
        for i in range(k):
            renewed[i][rows] = flat[:, -1 - i]
        return tuple(renewed)

    def _step_off(
        self, fault: Flags, turn: Floats, held: Floats, opening: Floats, off_taken: Flags,
        best: tuple[Floats, ...], own: list[Floats],
    ) -> None:  # fmt: skip
        """A fault from the opening depth down to held: a step less until clean dives give it back."""
        hit = fault & (held != NONE) & (turn >= opening) & (turn <= held)
        again = hit & (self.off_needed > 0)
        fresh = hit & ~again & ~off_taken
        self.off_needed[again | fresh] = self.size.owed
        if fresh.any():
            left = self._held(_kth(best, tuple(own)))
            self.off_level[fresh] = left[fresh]
            off_taken |= fresh

    def _pressure(
        self, hit: Flags, turn: Floats, held: Floats, best: tuple[Floats, ...],
        own: list[Floats], own_before: list[Floats],
    ) -> tuple[Floats, ...]:  # fmt: skip
        """A pressure stop cuts held to a share of the turn; part of it may come back later."""
        size = self.size
        cut_to = _down(size.pressure_share * turn)
        none = hit & (held == NONE)
        had = hit & ~none
        cut_to = np.where(had, np.minimum(held, cut_to), cut_to)
        cut_to = np.maximum(cut_to, size.least_m)
        most = np.where(hit, cut_to, np.inf)
        self.befores[had] = self.depths[had]
        self.depths = np.minimum(self.depths, most[:, None, None])
        best = tuple(np.minimum(b, most) for b in best)
        for i in range(size.needed):
            own_before[i] = np.where(had, own[i], own_before[i])
            own[i] = np.minimum(own[i], most)
        shown = none & (cut_to < self.first_m)
        if shown.any():
            for _ in range(size.needed):
                self._insert(np.where(shown, cut_to, NONE), own, own_before)
        self.cut_needed[none] = 0
        self.cut_level[none] = NONE
        self.cut_needed[had] = size.owed
        self.cut_level[had] = cut_to[had]
        back = np.minimum(_down(size.give_back_share * held), _down(turn))
        self.cut_back[had] = np.maximum(cut_to, back)[had]
        self.cut_now |= hit
        self.off_needed[hit] = 0
        self.lay_needed[hit] = 0
        self.below_first |= hit & (cut_to < self.first_m)
        return best

    def _close(
        self, day: Ints, dived: Flags, own: list[Floats], own_before: list[Floats], based: Ints,
        new_tried: Flags, urged: Flags,
    ) -> None:  # fmt: skip
        slot = self.slot
        self.days[:, slot] = day
        for i, (depth, before) in enumerate(zip(own, own_before, strict=True)):
            self.depths[:, slot, i], self.befores[:, slot, i] = depth, before
        self.at_base[:, slot] = based
        self.slot = (slot + 1) % self.width
        self.exhale[:, :-1] = np.where(dived[:, None], self.exhale[:, 1:], self.exhale[:, :-1])
        self.exhale[:, -1] = np.where(dived, day, self.exhale[:, -1])
        self.last = day
        self.long = np.where(dived, new_tried, self.long)
        self.urged = urged
