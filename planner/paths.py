"""The policy on many paths at once: what the fold does dive by dive, as arrays over paths.

A forecast needs the policy a thousand times over. The object fold costs about 30 microseconds a
dive, which is seconds; here every quantity of the fold is one array over paths. An array operation
costs little more on a thousand paths than on one, so what counts is how many there are: not dive
by dive, but run by run. A run is the clean dives up to the next fault, whose number is geometric;
its targets rise over three depths (opening, held, new), so what a run does to a path has a closed
form, and a session has no more runs than troubles that end it. A test plays single paths through
the object fold and compares every target.

Left out, since it hardly moves weeks: tasks (taken as done before the next session) and harm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum
from math import ceil

import numpy as np

from planner.held import Track
from planner.record import Exercise
from planner.rise import (
    NEVER,
    NONE,
    OPENING,
    Flags,
    Floats,
    Ints,
    Openings,
    Rise,
    Shorts,
    Steps,
    rise_of,
    table,
    tenths,
)  # fmt: skip
from planner.rules import Rules
from planner.standing import Standing
from planner.tracks import CUT, LAYOFF, OFF, Tracks


class Kind(IntEnum):
    """How a simulated dive ends; `OVER` is a stop that ends the day and takes nothing off."""

    CLEAN = 0
    HARD = 1
    TECHNIQUE = 2
    PRESSURE = 3
    OVER = 4


_CLEAN, _HARD, _TECHNIQUE, _PRESSURE, _OVER = (int(kind) for kind in Kind)
_CROWD = 7 / 8  # paths that are done are dropped once so few are left


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


class _Session:
    """One session of every path, as it stands between two dives."""

    __slots__ = (
        "based", "code", "counted", "day", "deepest", "dived", "left", "limit", "met", "most",
        "new_tried", "nothing", "number", "off_taken", "old_clean", "old_days", "phase", "retry",
        "seen", "slights", "start", "urged",
    )  # fmt: skip
    code: Ints  # of its openings: see `Openings`
    start: Ints  # held as it began; the first depth where nothing is
    nothing: Flags
    met: Flags
    most: Ints  # what caps the rest of it: the ceiling, nothing new, faults
    left: Ints | None  # what a lay-off left of held, as clean dives of the day
    limit: Ints
    seen: Seen | None

    def __init__(self, day: Ints) -> None:
        n = len(day)
        self.day = day
        flags = np.zeros((7, n), dtype=np.bool_)
        self.retry, self.off_taken, self.new_tried, self.urged = flags[:4]
        self.met, self.dived, self.counted = flags[4:]
        counts = np.zeros((7, n), dtype=np.int64)
        self.phase, self.number, self.slights, self.based = counts[:4]
        self.old_clean, self.old_days, self.deepest = counts[4:]


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
        self.base, self.first = tenths(state.base_m), tenths(track.first_m)
        self.today = today
        count = len(rates.upto)
        self.met_day: Ints = np.full(count, -1, dtype=np.int64)
        self.path: Ints = np.arange(count)
        self._figures(rules)
        known = (c.before_m or c.depth_m for c in track.credits)
        owed = (o.amount_m for o in (track.cut, track.layoff) if o is not None)
        far_m = 2 * max(state.base_m, track.first_m, *known, *owed) + 10
        self.steps = Steps(self.size, track.first_m, far_m)
        self.allowed = self._allowed_at(np.arange(tenths(far_m) + 1) / 10)
        self.fill = table(far_m, self._fill)
        self.openings = Openings(
            steps=self.steps, rules=rules, is_rv=self.is_rv, base_m=state.base_m,
            allowed=self.allowed, depths=len(self.allowed) // 2,
        )  # fmt: skip
        self._begin(state, track, state.base_m, count)

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
        self.shallow = ceil(r["held.shallow_turn_m"] * 10 - 1e-6)
        self.rv_over = ceil(r["trouble.rv_over_from_m"] * 10 - 1e-6)
        # no more sessions than these fit into the window
        self.width = (self.size.window_d // self.days_in + 2) * self.days_most + 1

    def _begin(self, state: Standing, track: Track, base_m: float, count: int) -> None:
        """Every path begins where the diver stands."""
        k, width = self.size.needed, self.width
        self.depths: Shorts = np.zeros((width, k, count), dtype=np.int16)
        self.befores: Shorts = np.zeros((width, k, count), dtype=np.int16)
        self.days: Ints = np.full((width, count), -(10**6), dtype=np.int64)
        self.at_base: Ints = np.zeros((width, count), dtype=np.int64)
        by_day: dict[int, list[tuple[int, int]]] = {}
        for c in track.credits:
            before = NONE if c.before_m is None else tenths(c.before_m)
            by_day.setdefault(c.day, []).append((tenths(c.depth_m), before))
        since = -1 if state.ladder.pressure_day is None else state.ladder.pressure_day
        bases: dict[int, int] = {}
        for day, depth_m, exercise, is_first, fill_ok in state.base_dives:
            at_base = exercise is track.exercise and depth_m >= base_m
            if at_base and fill_ok and day > since:
                bases[day] = bases.get(day, 0) + (is_first or not self.is_rv)
        self.slot = 0
        for day in sorted(set(by_day) | set(bases))[-width:]:
            for i, (depth, before) in enumerate(sorted(by_day.get(day, ()), reverse=True)[:k]):
                self.depths[self.slot, i], self.befores[self.slot, i] = depth, before
            self.days[self.slot] = day
            self.at_base[self.slot] = bases.get(day, 0)
            self.slot = (self.slot + 1) % width
        self.level: Ints = np.zeros((3, count), dtype=np.int64)
        self.needed: Ints = np.zeros((3, count), dtype=np.int64)
        for kind, owed in ((OFF, track.off), (LAYOFF, track.layoff), (CUT, track.cut)):
            if owed is not None:
                self.level[kind], self.needed[kind] = tenths(owed.level_m), owed.needed
        self.lay_back: Ints = np.full(
            count, 0 if track.layoff is None else tenths(track.layoff.amount_m)
        )
        self.cut_back: Ints = np.full(count, 0 if track.cut is None else tenths(track.cut.amount_m))
        self.cut_now: Flags = np.zeros(count, dtype=np.bool_)
        self.below_first: Flags = np.full(count, track.may_be_below_first)
        last = track.last_day if track.last_day is not None else self.today
        self.last: Ints = np.full(count, last, dtype=np.int64)
        self.fresh = track.last_reported
        exhale = [d.day for d in state.exhale_days[-self.days_most :]]
        exhale = [-(10**6)] * (self.days_most - len(exhale)) + exhale
        self.exhale: Ints = np.tile(np.array(exhale, dtype=np.int64)[:, None], count)
        long = bool(state.exhale_days) and state.exhale_days[-1].long_rest
        self.long: Flags = np.full(count, long)
        self.urged: Flags = np.zeros(count, dtype=np.bool_)
        rates = self.rates
        clean = np.clip(rates.upto[:, 0], 1e-9, 1 - 1e-9)
        # the clean dives before a fault: geometric, as an exponential draw rounded down
        self.fault_rate: Floats = -np.log(clean)
        self.kinds_upto: Floats = (rates.upto[:, 1:-1].T - clean) / (1 - clean)
        self.delays_upto = rates.delays_upto[:, :-1].T.copy()
        self.limits_upto = rates.limits_upto[:, :-1].T.copy()

    _PER_PATH = (
        "path", "depths", "befores", "days", "at_base", "level", "needed", "lay_back", "cut_back",
        "cut_now", "below_first", "last", "exhale", "long", "urged", "fault_rate", "kinds_upto",
        "delays_upto", "limits_upto",
    )  # fmt: skip

    def _keep(self, stays: Flags) -> None:
        """Only some of the paths; they are the last axis of every array."""
        for name in self._PER_PATH:
            setattr(self, name, getattr(self, name)[..., stays])

    def run(self, *, days_most: int, enough: float = 1.0, seen: Seen | None = None) -> None:
        """Session after session, until a share of the paths has met the base or the days are over."""
        total = len(self.met_day)
        done = 0
        over = np.zeros(total, dtype=np.bool_)
        while done < enough * total:
            day = self._next_day()
            over |= day > self.today + days_most
            left = len(over) - int(np.count_nonzero(over))
            if not left:
                return
            if left < _CROWD * len(over):
                stays = ~over
                day, over = day[stays], over[stays]
                self._keep(stays)
            met = self._session(day, seen) & ~over
            if met.any():
                self.met_day[self.path[met]] = day[met]
                done += int(np.count_nonzero(met))
                over |= met

    def _next_day(self) -> Ints:
        """The first day that rest allows, and as much later as this diver comes."""
        free: Ints = self.exhale[-1] + np.where(self.long, self.nights_new, self.nights)
        free = np.maximum(free, self.exhale[0] + self.days_in)
        delay = self.rates.delays_d[_passed(self.delays_upto, self.rng.random(free.shape))]
        np.maximum(free, self.last + 1, out=free)
        free += delay
        np.maximum(free, self.today, out=free)
        return free

    def _session(self, day: Ints, seen: Seen | None) -> Flags:
        """One session of every path; which of them met the base in it."""
        n = len(day)
        s = self._opened(day)
        s.seen = seen
        gaps = self.rng.standard_exponential((self.troubles, n)) / self.fault_rate
        clean_in_a_row = np.minimum(gaps, NEVER).astype(np.int64)
        shares = self.rng.random((self.troubles, 2, n))
        rows, target = self._first_run(s, clean_in_a_row[0])
        for trouble in range(self.troubles):
            if trouble and rows.size:
                rows, target = self._run(s, rows, clean_in_a_row[trouble][rows])
            if not rows.size:
                break
            of_kind, of_turn = shares[trouble][:, rows]
            kinds = 1 + _passed(self.kinds_upto[:, rows], of_kind)
            turn = _turns(target, kinds, of_turn)
            if seen is not None:
                seen(self.path[rows], day[rows], target / 10, kinds, turn / 10)
            is_last = trouble == self.troubles - 1
            rows = rows[~self._fault(s, rows, target, kinds, turn, is_last=is_last)]
        # an urge bars the next session whose dives count
        s.urged |= self.urged & ~s.counted
        self._close(s)
        return s.met

    def _opened(self, day: Ints) -> _Session:
        """The session before its first dive: what it opens with, and what counts at the base."""
        s, openings = _Session(day), self.openings
        barred, s.left = self.come_back(day)
        barred |= self.urged
        self.open(day, s.left)
        held = self.held(self.best[-1] if s.left is None else self.kth(np.arange(len(day))))
        s.nothing = held == NONE
        s.start = held
        s.code = held.copy()
        at = s.nothing.nonzero()[0]
        if at.size:
            s.start[at] = self.first
            s.code[at] = openings.nothing + self.owed_at_first(at)
        s.code += openings.barred * barred
        s.most = openings.most[s.code]
        self.cut_now[:] = False
        if self.at_base.any():
            at_base = self.at_base * (self.days >= self.oldest)
            s.old_clean, s.old_days = at_base.sum(axis=0), (at_base > 0).sum(axis=0)
        s.limit = self.rates.limits[_passed(self.limits_upto, self.rng.random(held.shape))]
        return s

    def _first_run(self, s: _Session, gap: Ints) -> tuple[Ints, Ints]:
        """Clean dives up to the first fault, looked up; on which paths it comes, and its targets."""
        openings, k, code = self.openings, self.size.needed, s.code
        if self.is_rv:
            self._late_second(code)
        possible = np.minimum(openings.possible[code], s.limit)
        clean = np.minimum(gap, possible)
        s.dived, s.counted = possible > 0, clean > 0
        own = np.array([openings.targets[k - 1 - i + clean, code] for i in range(k)])
        s.deepest = own[0]
        s.new_tried = own[0] > s.start
        rows = np.arange(len(code))
        if s.left is None:
            self.own = own.copy()
        else:
            self.join(rows, own)
        if s.seen is not None:
            self._tell(s, rows, openings.rise.of(code), clean)
        self.credit(rows, openings.rise, code, clean)
        self._based(s, rows, openings.rise, code, clean, own[0])
        rows = ((gap < possible) & ~s.met).nonzero()[0]
        clean, code = clean[rows], code[rows]
        ends = openings.rise.ends[:, code]
        s.phase[rows] = np.add(clean >= ends[0], clean >= ends[1], dtype=np.int64)
        return rows, self._comes(s, rows, openings.targets[k + clean, code], clean)

    def _late_second(self, code: Ints) -> None:
        """No second new depth where a step that is owed may not be given back in time."""
        at = ((self.openings.second[code] < NEVER) & (self.needed[OFF] > 0)).nonzero()[0]
        if at.size:
            first = self.openings.rise.of(code[at]).first(self.level[OFF][at])
            late = first + self.needed[OFF][at] > self.openings.second[code[at]]
            code[at[late]] += self.openings.no_second

    def _comes(self, s: _Session, rows: Ints, target: Ints, clean: Ints) -> Ints:
        """A fault comes after so many clean dives of a run."""
        s.number[rows] += clean + 1
        s.new_tried[rows] |= target > s.start[rows]
        return target

    def _run(self, s: _Session, rows: Ints, gap: Ints) -> tuple[Ints, Ints]:
        """Clean dives after a fault up to the next one; on which paths it comes, and its targets."""
        phase, start = s.phase[rows], s.start[rows]
        rise = rise_of(
            ladder=self.openings.ladder[:, s.code[rows]], most=s.most[rows], phase=phase,
            retry=s.retry[rows], is_rv=self.is_rv,
        )  # fmt: skip
        nothing = s.nothing[rows]
        at = nothing.nonzero()[0]
        if at.size:
            # with nothing held, the first depth until it is
            rise.ends[1][at] = np.maximum(rise.ends[1][at], self.owed_at_first(rows[at]))
        possible = self._possible(s, rows, rise)
        clean = np.minimum(gap, possible)
        last = rise.at(clean - 1)
        last[clean == 0] = NONE
        s.counted[rows] |= clean > 0
        s.deepest[rows] = np.maximum(s.deepest[rows], last)
        s.new_tried[rows] |= last > start
        own = np.array([last, *(rise.at(clean - 1 - i) for i in range(1, self.size.needed))])
        for i in range(1, self.size.needed):
            own[i][clean <= i] = NONE
        if s.seen is not None:
            self._tell(s, rows, rise, clean)
        self.join(rows, own)
        runs = np.arange(len(rows))
        self.credit(rows, rise, runs, clean)
        if not self.is_rv:
            self._based(s, rows, rise, runs, clean, last)
        at = ((gap < possible) & ~s.met[rows]).nonzero()[0]
        rows, rise, clean, phase = rows[at], rise.of(at), clean[at], phase[at]
        came = np.add(clean >= rise.ends[0], clean >= rise.ends[1], dtype=np.int64)
        s.phase[rows] = np.maximum(phase, came)
        return rows, self._comes(s, rows, rise.at(clean), clean)

    def _possible(self, s: _Session, rows: Ints, rise: Rise) -> Ints:
        """How many of a run's dives the cap, the diver's habit and the least depth leave."""
        number = s.number[rows]
        allowed = self.allowed[np.maximum(rise.depths, s.deepest[rows])]
        possible = rise.most(allowed + (s.slights[rows] - number))
        np.minimum(possible, s.limit[rows] - number, out=possible)
        possible[rise.at(0) < tenths(self.size.least_m)] = 0
        return np.maximum(possible, 0, out=possible)

    def _allowed_at(self, depth: Floats) -> Ints:
        """How many dives a session the cap leaves with a depth, metres."""
        allowed = np.full(len(depth), self.most)
        for from_m, most in self.caps:
            allowed[depth >= from_m] = most
        return allowed

    def _based(
        self, s: _Session, rows: Ints, rise: Rise, runs: Ints, clean: Ints, last: Ints
    ) -> None:  # fmt: skip
        """Clean dives at the base (RV: the first of the day), and whether it is met with them."""
        at = ((last >= self.base) | (s.based[rows] > 0)).nonzero()[0]
        if not at.size:
            return
        rows, clean = rows[at], clean[at]
        first = rise.of(runs[at]).first(self.base)
        s.based[rows] += (first == 0) & (clean > 0) if self.is_rv else np.maximum(clean - first, 0)
        based = s.based[rows]
        met = (based > 0) & (self.held(self.kth(rows), rows) >= self.base)
        met &= s.old_clean[rows] + based >= self.base_clean
        s.met[rows] |= met & (s.old_days[rows] + 1 >= self.base_days)

    def _tell(self, s: _Session, rows: Ints, rise: Rise, clean: Ints) -> None:
        assert s.seen is not None
        for number in range(int(clean.max(initial=0))):
            at = clean > number
            depth = rise.at(number)[at] / 10
            kinds = np.full(len(depth), _CLEAN)
            s.seen(self.path[rows[at]], s.day[rows[at]], depth, kinds, depth)

    def _fault(
        self, s: _Session, rows: Ints, target: Ints, kinds: Ints, turn: Ints, *, is_last: bool
    ) -> Flags:
        """What a fault takes off and leaves for the rest of the session; where it ends the session."""
        raw = self.kth(rows)
        held = self.held(raw, rows)
        ended: Flags = kinds == _OVER
        s.urged[rows[ended]] = True
        technique = kinds == _TECHNIQUE
        slight = technique & (turn < self.shallow)
        at_fill = technique & (turn <= self.fill[target])
        s.counted[rows] |= ~slight
        fault = (kinds <= _TECHNIQUE) & ~at_fill
        opening = self.openings.ladder[OPENING][s.code[rows]]
        deep = fault & ~slight & (held != NONE) & (turn >= opening) & (turn <= held)
        self.step_off(rows, raw, held, deep.nonzero()[0], s.off_taken)
        pressed = (kinds == _PRESSURE).nonzero()[0]
        if not is_last:
            start = s.start[rows]
            s.slights[rows] += slight
            s.retry[rows] = at_fill
            s.phase[rows] = np.maximum(s.phase[rows], kinds == _HARD)
            s.deepest[rows] = np.maximum(s.deepest[rows], turn * ~slight)
            # nothing new, and a step above the turn; a technique fault no deeper than what is held
            least = np.minimum(self.steps.shallower_down[turn], start)
            np.minimum(least, held, out=least, where=technique & (held != NONE))
            pressure = self.steps.pressed[turn[pressed]]
            least[pressed] = np.minimum(pressure, start[pressed])
            fault[pressed] = True
            most = s.most[rows]
            np.minimum(most, least, out=most, where=fault)
            s.most[rows] = most
            if self.is_rv:
                ended[pressed] = turn[pressed] >= self.rv_over
        if pressed.size:
            where = rows[pressed]
            s.new_tried[where] = True
            self.pressure(where, turn[pressed], held[pressed])
        return ended

    def _fill(self, target: Floats) -> Floats:
        if self.is_rv:
            return np.zeros(len(target))
        r = self.rules
        return np.minimum(r["fill.frc_low_m"], np.maximum(0.0, target - r["fill.above_target_m"]))

    def _close(self, s: _Session) -> None:
        slot, dived = self.slot, s.dived
        self.days[slot] = s.day
        self.depths[slot], self.befores[slot] = self.own, self.own_before
        self.at_base[slot] = s.based
        self.slot = (slot + 1) % self.width
        at = dived.nonzero()[0]
        self.exhale[:-1, at] = self.exhale[1:, at]
        self.exhale[-1, at] = s.day[at]
        self.last = s.day
        np.copyto(self.long, s.new_tried, where=dived)
        self.urged = s.urged


def _passed(upto: Floats, drawn: Floats) -> Ints:
    """Which of the cumulated chances a draw falls into: how many of them it has passed."""
    passed: Ints = np.add.reduce(upto <= drawn, axis=0, dtype=np.int16).astype(np.int64)
    return passed


def _turns(target: Ints, kinds: Ints, share: Floats) -> Ints:
    """Pressure turns in the deepest third, technique anywhere, all else at the target (H)."""
    turn = np.where(kinds == _TECHNIQUE, target * (0.1 + 0.9 * share), target)
    np.copyto(turn, target * (2 + share) / 3, where=kinds == _PRESSURE)
    return np.rint(turn).astype(np.int64)
