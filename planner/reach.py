"""Reach: the pressure ratio from fill to empty that this diver's mouth gives, learned from dives.

A dive to depth d with its fill at f asks R(d, f) = p(d) / p(f) of the mouth, and nothing else
need be known: charge, spaces and losses all stand in that one ratio. With X = ln(R - 1), a diver
gives X ~ N(m, s^2) on a dive, and the dive asks x(d, f) = ln(p(d)/p(f) - 1). Then

- clean to d has the likelihood Phi((m - x) / s);
- ran out between the last equalised depth a and the turn b: Phi((x_b - m)/s) - Phi((x_a - m)/s),
  where a at or above the fill means x_a = -infinity;
- stopped for another reason: clean to the last equalised depth.

The prior is m ~ N(0, 0.8^2), that is R 2.00 [1.27, 4.73], from published volumes; s is one of
0.15, 0.25, 0.40, 0.60 with equal weights (H). The posterior stands on a grid of m from -4 to 4 by
0.005. One for each kit (mask or clip) and kind of dive.

>>> from planner.pressure import ROPE_AT_SEA
>>> one = Trial(fill_m=7.5, clean_m=20.0)
>>> own = reach([one], site=ROPE_AT_SEA, spreads=(0.25,))
>>> round(own.ratio.value, 3), round(own.ratio.low, 3), round(own.ratio.high, 3)
(2.425, 1.685, 5.357)
>>> round(own.chance(depth_m=20, fill_m=7.5), 5)
0.90548
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from math import exp, log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.figure import Figure, Mark, OutOfRange, within
from planner.gas import fill_window_m
from planner.pressure import DEPTH_MOST_M, GAUGE_AT_SEA, Site, absolute_bar
from planner.record import (
    Brief,
    Dive,
    DiverRecord,
    Ending,
    Exercise,
    Reason,
    Volume,
    VolumeKind,
)
from planner.rules import RULES, Rules

Floats = NDArray[np.float64]

PRIOR_SPREAD = 0.8
SPREADS = (0.15, 0.25, 0.40, 0.60)
_GRID_STEP = 0.005
_PER_STEP = 5  # the line of z is this much finer than the grid, and linear between (error 5e-6)
_COARSE = 4  # dives are summed up on each fourth point of the grid, cubic between (error 2e-6)
_LEAST_MASS = 1e-300  # of a dive that ran out; what is less has no digits
_FFT_ROWS = 1024  # at least the wide steps of z, a length that the FFT likes
_M: Floats = np.linspace(-4.0, 4.0, 1601)
_WIDE = _GRID_STEP * _COARSE
_M_COARSE: Floats = np.linspace(-4.0 - _WIDE, 4.0 + _WIDE, 403)  # one more on either side
_ASKED_LEAST, _ASKED_MOST = -8.0, 4.0  # a ratio of 1.0003 and one of 55: beyond any dive

_RAN_OUT = frozenset({Reason.EMPTY, Reason.LEAK, Reason.SWALLOW})
_NOT_EQUALISED = frozenset({Reason.EARS, Reason.STUCK})


class Trial(NamedTuple):
    """What one dive says about the reach, metres.

    Clean down to `clean_m`; or ran out between `clean_m` (None or at or above the fill: anywhere
    below the fill) and `out_m`.
    """

    fill_m: float
    clean_m: float | None = None
    out_m: float | None = None


def asked(*, depth_m: float, fill_m: float, site: Site = GAUGE_AT_SEA) -> float:
    """x(d, f) = ln(p(d)/p(f) - 1): what a dive asks of the mouth. A depth above the fill raises.

    >>> round(asked(depth_m=10.1325, fill_m=0), 6)
    0.0
    """
    if not depth_m > fill_m:
        raise OutOfRange("depth", value=depth_m, low=fill_m, high=300, unit="m")
    ratio = absolute_bar(depth_m=depth_m, site=site) / absolute_bar(depth_m=fill_m, site=site)
    # so little below the fill that the pressures round to one is the least that can be asked
    return max(_ASKED_LEAST, min(_ASKED_MOST, log(ratio - 1))) if ratio > 1 else _ASKED_LEAST


def _asked(depth_m: Floats, fill_m: Floats, site: Site) -> Floats:
    """The same for many dives; -infinity where nothing is asked, at or above the fill."""
    surface, per_m = site.surface_bar, site.bar_per_m
    x = np.full(len(depth_m), -np.inf)
    asks = depth_m > fill_m
    ratio = (surface + per_m * depth_m[asks]) / (surface + per_m * fill_m[asks])
    x[asks] = np.log(np.clip(ratio - 1, np.exp(_ASKED_LEAST), np.exp(_ASKED_MOST)))
    return x


@dataclass(frozen=True, eq=False)
class Reach:
    """The posterior of one diver's reach. `trials` is how many dives spoke."""

    weights: Floats
    spreads: tuple[float, ...]
    trials: int
    site: Site

    @property
    def ratio(self) -> Figure:
        """The reach R, with its 5-95 % band: the median of the posterior of 1 + exp(m)."""
        mass = self.weights.sum(axis=1)
        # the mass up to a grid point counts half of its own cell
        cumulated = np.cumsum(mass) - mass / 2
        low, middle, high = (
            1 + exp(float(np.interp(share, cumulated, _M))) for share in (0.05, 0.5, 0.95)
        )
        return Figure(value=middle, unit="", mark=Mark.HOUSE, low=low, high=high, name="reach")

    def chance(self, *, depth_m: float, fill_m: float) -> float:
        """The chance that the next dive to a depth with a fill stays equalised, 0 to 1.

        The posterior mean of Phi((m - x)/s). At or above the fill nothing is asked: 1. With one
        spread, running out where a dive could have been clean never raises it; over several it
        can for far deeper dives, by a few hundredths, since a surprise also speaks for a wider
        spread.
        """
        if depth_m <= fill_m:
            return 1.0
        x = asked(depth_m=depth_m, fill_m=fill_m, site=self.site)
        table = _tables(self.spreads)
        return float(np.clip((table.below(x) * self.weights).sum(), 0.0, 1.0))

    def depth_m(self, *, fill_m: float) -> Figure:
        """The depth at which the mouth is empty with a fill, metres, by the reach's band."""
        pf = absolute_bar(depth_m=fill_m, site=self.site)
        ratio = self.ratio

        def at(value: float) -> float:
            return (pf * value - self.site.surface_bar) / self.site.bar_per_m

        return Figure(
            value=at(ratio.value), unit="m", mark=Mark.HOUSE, low=at(ratio.low_or_value),
            high=at(ratio.high_or_value), name="reach_depth",
        )  # fmt: skip


class _Tables:
    """Phi(z / s) and its logarithm on one fine line of z, for each spread.

    Every dive's likelihood is the same curve moved by x, so it is read off one line, laid out so
    that a curve on the points of a grid is one block: by the place between two points first. Curves
    are smooth, so dives are summed up on the coarse grid, and only their sum is spread to the grid.
    All clean dives together are one convolution of the curve with how often each x was dived, by
    FFT: 500 of them cost what one does.
    """

    def __init__(self, spreads: tuple[float, ...]) -> None:
        # loaded with the first posterior: no answer at the buoy needs it
        from scipy.special import log_ndtr, ndtr

        fine = _GRID_STEP / _PER_STEP
        self._start = float(_M_COARSE[0]) - _ASKED_MOST
        rows = round((float(_M_COARSE[-1]) - _ASKED_LEAST - self._start) / _WIDE) + 2
        between = _COARSE * _PER_STEP
        scaled = (self._start + fine * np.arange(rows * between))[:, None] / np.array(spreads)

        def laid_out(line: Floats, places: int) -> Floats:
            return line.reshape(-1, places, len(spreads)).transpose(1, 0, 2).copy()

        phi: Floats = ndtr(scaled)
        self._below = laid_out(phi, _PER_STEP)
        self._phi, self._up = laid_out(phi, between), laid_out(ndtr(-scaled), between)
        # clean dives: the curve of each wide step, and where x of the last begins
        self._nodes = rows - _M_COARSE.size - 1
        log_phi = log_ndtr(scaled[::between])
        self._log_phi_fft = np.fft.rfft(log_phi, n=_FFT_ROWS, axis=0)
        prior = np.exp(-0.5 * (_M / PRIOR_SPREAD) ** 2)
        log_prior = np.log(prior / prior.sum() / len(spreads))
        self.log_prior: Floats = np.repeat(log_prior[:, None], len(spreads), axis=1)

    def below(self, x: float) -> Floats:
        """Phi((m - x)/s) over m and spreads."""
        part, blocks = self._blocks(self._below, float(_M[0]) - x, _M.size)
        mixed: Floats = blocks[0] * (1 - part) + blocks[1] * part
        return mixed

    def _blocks(self, table: Floats, z: float, size: int) -> tuple[float, tuple[Floats, Floats]]:
        """The curves on a grid that begins just below and just above z, and how far it is between."""
        places = len(table)
        place = (z - self._start) / _GRID_STEP * _PER_STEP
        whole = int(place)
        row, at = divmod(whole, places)
        next_row, next_at = divmod(whole + 1, places)
        blocks = table[at, row : row + size], table[next_at, next_row : next_row + size]
        return place - whole, blocks

    def _difference(self, table: Floats, x: float, less_x: float, part: slice) -> Floats:
        """The curve moved by x less the one moved by another, on a part of the coarse grid."""
        share, blocks = self._blocks(table, float(_M_COARSE[0]) - x, _M_COARSE.size)
        less_share, less_blocks = self._blocks(table, float(_M_COARSE[0]) - less_x, _M_COARSE.size)
        found = blocks[0][part] * (1 - share)
        found += blocks[1][part] * share
        found -= less_blocks[0][part] * (1 - less_share)
        found -= less_blocks[1][part] * less_share
        return found

    def log_likelihood(
        self, clean: Floats, times: Floats, between: Iterable[tuple[float, float, float]]
    ) -> Floats:
        """The sum over dives of ln Phi((m - x)/s), or of ln(Phi((x_b - m)/s) - Phi((x_a - m)/s)).

        `clean` is each x and `times` how often it was dived; `between` x_a, x_b and how often.
        """
        total = self._log_clean(clean, times)
        for x_a, x_b, often in between:
            mass = self._out(x_a, x_b)
            np.log(mass, out=mass)
            mass *= often
            total += mass
        return _spread(total)

    def _log_clean(self, xs: Floats, times: Floats) -> Floats:
        if not xs.size:
            return np.zeros((_M_COARSE.size, self.log_prior.shape[1]))
        # a curve begins at m - x: each x lies between four nodes, a wide step apart
        place = (_M_COARSE[0] - xs - self._start) / _WIDE
        node = np.clip(place.astype(np.intp), 1, self._nodes - 2)
        often = np.zeros(_FFT_ROWS)
        for i, weights in enumerate(_cubic(place - node)):
            often += np.bincount(node + i - 1, weights * times, minlength=_FFT_ROWS)
        moved = np.conj(np.fft.rfft(often))[:, None] * self._log_phi_fft
        whole: Floats = np.fft.irfft(moved, n=_FFT_ROWS, axis=0)
        return whole[: _M_COARSE.size]

    def _out(self, x_a: float, x_b: float) -> Floats:
        if x_a < _ASKED_LEAST:
            share, blocks = self._blocks(self._up, float(_M_COARSE[0]) - x_b, _M_COARSE.size)
            mass = blocks[0] * (1 - share) + blocks[1] * share
        else:
            # on each side of x_b the difference of the smaller tails, which keeps its digits
            middle = int(np.searchsorted(_M_COARSE, x_b))
            shallow, deep = slice(middle), slice(middle, None)
            mass = np.concatenate(
                (
                    self._difference(self._phi, x_a, x_b, shallow),
                    self._difference(self._up, x_b, x_a, deep),
                )
            )
        return np.maximum(mass, _LEAST_MASS, out=mass)


def _cubic(t: Floats | float) -> tuple[Floats | float, ...]:
    """The weights of the values at -1, 0, 1 and 2 for the cubic through them, at t from 0 to 1."""
    return (
        -t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2,
        -(t + 1) * t * (t - 2) / 2, (t + 1) * t * (t - 1) / 6,
    )  # fmt: skip


def _spread(coarse: Floats) -> Floats:
    """What stands on the coarse grid on all points of the grid: cubic through the four nearest."""
    size = len(coarse) - 3
    grid = np.empty((_M.size, coarse.shape[1]))
    grid[::_COARSE] = coarse[1:-1]
    nodes = np.stack([coarse[i : i + size] for i in range(4)])
    for at in range(1, _COARSE):
        grid[at::_COARSE] = np.tensordot(np.array(_cubic(at / _COARSE)), nodes, axes=1)
    return grid


@lru_cache(maxsize=8)
def _tables(spreads: tuple[float, ...]) -> _Tables:
    return _Tables(spreads)


def reach(
    trials: Iterable[Trial],
    *,
    site: Site = GAUGE_AT_SEA,
    spreads: tuple[float, ...] = SPREADS,
) -> Reach:
    """The posterior of the reach from dives of one kit and one kind; their order doesn't matter.

    A trial that asks nothing (clean at or above its fill, or out there) is left out. Without
    trials it is the prior: R 2.00 [1.27, 4.73].

    >>> round(reach([]).ratio.value, 2)
    2.0
    """
    return _posterior(Counter(trials), site, spreads)


def _posterior(trials: Mapping[Trial, int], site: Site, spreads: tuple[float, ...]) -> Reach:
    """From each trial and how often it was dived: what a depth and a fill ask is computed once."""
    if not trials:
        weights = np.exp(_tables(spreads).log_prior)
        return Reach(weights=weights, spreads=spreads, trials=0, site=site)
    told = np.array([(f, c, o) for f, c, o in trials], dtype=np.float64).T  # None is nan
    fill_m, clean_m, out_m = told
    times = np.fromiter(trials.values(), dtype=np.float64, count=len(trials))
    # the last equalised depth of a shallow turn may lie above the surface: it asks nothing
    for depth_m in (fill_m.min(), np.nanmax(told)):
        within("depth", float(depth_m), low=0, high=DEPTH_MOST_M, unit="m")
    is_clean = np.isnan(out_m) & (clean_m > fill_m)
    ran_out = out_m > fill_m
    x_clean = _asked(clean_m, fill_m, site)
    between = zip(
        x_clean[ran_out], _asked(out_m[ran_out], fill_m[ran_out], site), times[ran_out], strict=True
    )
    table = _tables(spreads)
    log_weights = table.log_prior + table.log_likelihood(
        x_clean[is_clean], times[is_clean], between
    )
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    return Reach(
        weights=weights,
        spreads=spreads,
        trials=int(times[is_clean].sum() + times[ran_out].sum()),
        site=site,
    )


def reach_of(
    record: DiverRecord,
    exercise: Exercise,
    *,
    at: datetime | None = None,
    rules: Rules = RULES,
) -> Reach:
    """A diver's own reach on one kind of dive, with the kit that is worn at `at`.

    Depths are read as they are at the record's site.

    Kit is the latest mask volume stated (0: a nose clip); dives with another kit don't count. A
    fill that wasn't stated is the deep end of what was briefed, or of the practice's window for
    that depth: it asks the smaller ratio, so it never flatters. Where one depth alone is known of
    a dive that ran out, the last equalised depth was 1 m above the turn (H `reach.one_depth_m`).
    A report that waits for a yes counts only where it ran out.
    """
    known = record if at is None else record.until(at)
    one_m = rules["reach.one_depth_m"]
    found = known._cache.get((Reach, exercise, one_m))
    if found is None:
        found = _posterior(_trials(known, exercise, one_m), known.site, SPREADS)
        known._cache[Reach, exercise, one_m] = found
    assert isinstance(found, Reach)
    return found


def _trials(record: DiverRecord, exercise: Exercise, one_m: float) -> dict[Trial, int]:
    """Each trial with the kit that is worn, and how often it was dived."""
    by_kit: dict[float, dict[Trial, int]] = {}
    counted = by_kit.setdefault(-1.0, {})
    brief: Brief | None = None
    for fact in record.facts:
        kind = type(fact)
        if kind is Dive:
            assert isinstance(fact, Dive)
            if fact.exercise is exercise:
                trial = _trial(fact, brief, one_m)
                if trial is not None:
                    counted[trial] = counted.get(trial, 0) + 1
        elif kind is Brief:
            assert isinstance(fact, Brief)
            if fact.exercise is exercise:
                brief = fact
        elif kind is Volume:
            assert isinstance(fact, Volume)
            if fact.volume is VolumeKind.MASK:
                counted = by_kit.setdefault(1.0 if fact.value > 0 else 0.0, {})
    return counted


def _trial(dive: Dive, brief: Brief | None, one_m: float) -> Trial | None:
    depth_m = dive.depth_m
    if depth_m is None:
        return None
    fill_m = _fill_of(dive, depth_m, brief)
    if fill_m is None or depth_m <= fill_m:
        return None
    if dive.ending is Ending.STOP and dive.reason in _RAN_OUT:
        return Trial(fill_m, depth_m - one_m, depth_m)
    if dive.waits:
        return None
    if dive.ending is Ending.STOP and dive.reason in _NOT_EQUALISED:
        depth_m -= one_m
    return Trial(fill_m, depth_m)


def _fill_of(dive: Dive, depth_m: float, brief: Brief | None) -> float | None:
    """Where the fill was, as stated or as briefed; None where nobody knows (full lungs)."""
    if dive.exercise is Exercise.RV:
        return 0.0
    if dive.fill_m is not None:
        return dive.fill_m
    if (
        brief is not None
        and brief.fill_high_m is not None
        and dive.happened_at - brief.happened_at <= RULES.session_gap
    ):
        return brief.fill_high_m
    if dive.exercise is Exercise.FRC:
        target_m = dive.target_m if dive.target_m is not None else depth_m
        return _practice_fill_m(max(target_m, depth_m))
    return None


@lru_cache(maxsize=512)
def _practice_fill_m(depth_m: float) -> float:
    """The deep end of the practice's window for a depth; dives repeat their depths."""
    return fill_window_m(None, target_m=depth_m).high_m
