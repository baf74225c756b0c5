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
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from math import exp, log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from planner.figure import Figure, Mark, OutOfRange
from planner.gas import fill_window_m
from planner.pressure import GAUGE_AT_SEA, Site, absolute_bar
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

Floats = NDArray[np.float64]

PRIOR_SPREAD = 0.8
SPREADS = (0.15, 0.25, 0.40, 0.60)
_GRID_STEP = 0.005
_PER_STEP = 5  # the table is this much finer than the grid, and linear between (error 5e-6)
_LEAST_MASS = 1e-30  # a dive can't count more than this against any m
_ROWS = 4096  # of the table: z from -8 to 12.5, a length that the FFT likes
_FACTORS = 9  # that many of them multiply without underflow
_LOWEST_Z = -12.0  # where ln Phi is held level: 1e-33
_M: Floats = np.linspace(-4.0, 4.0, 1601)
_ASKED_LEAST, _ASKED_MOST = -8.0, 4.0  # a ratio of 1.0003 and one of 55: beyond any dive

_RAN_OUT = frozenset({Reason.EMPTY, Reason.LEAK, Reason.SWALLOW})
_NOT_EQUALISED = frozenset({Reason.EARS, Reason.STUCK})
_ONE_DEPTH_KNOWN_M = 1.0
_SESSION_GAP = timedelta(hours=4)


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
    return max(_ASKED_LEAST, min(_ASKED_MOST, log(ratio - 1)))


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

    Every dive's likelihood is the same curve moved by x, so it is read off one table. The table
    is laid out as [phase, coarse step, spread], so that a curve on the grid is one block of it.
    All clean dives together are one convolution of that curve with how often each x was dived,
    done by FFT: 500 of them cost what one does.
    """

    def __init__(self, spreads: tuple[float, ...]) -> None:
        self._start = float(_M[0]) - _ASKED_MOST
        rows = _ROWS
        # loaded with the first posterior: no answer at the buoy needs it
        from scipy.special import log_ndtr, ndtr

        coarse = self._start + _GRID_STEP * np.arange(rows)
        phases = _GRID_STEP / _PER_STEP * np.arange(_PER_STEP)
        scaled = (coarse[None, :, None] + phases[:, None, None]) / np.array(spreads)
        self._phi: Floats = ndtr(scaled)
        self._up: Floats = ndtr(-scaled)
        log_phi = log_ndtr(np.maximum(scaled, _LOWEST_Z))
        self._rows = rows
        self._log_phi_fft = np.fft.rfft(log_phi, axis=1)
        prior = np.exp(-0.5 * (_M / PRIOR_SPREAD) ** 2)
        log_prior = np.log(prior / prior.sum() / len(spreads))
        self.log_prior: Floats = np.repeat(log_prior[:, None], len(spreads), axis=1)

    def _place(self, x: float) -> tuple[int, int, int, int, float]:
        """Row and phase of m = -4 moved by x, those of the next phase, and how far it is to it."""
        place = (float(_M[0]) - x - self._start) / _GRID_STEP * _PER_STEP
        whole = int(place)
        row, phase = divmod(whole, _PER_STEP)
        next_row, next_phase = divmod(whole + 1, _PER_STEP)
        return row, phase, next_row, next_phase, place - whole

    def _moved(self, table: Floats, x: float, first: int = 0, last: int = _M.size) -> Floats:
        """The curve moved by x on the grid's points `first` to `last`, linear between phases."""
        row, phase, next_row, next_phase, part = self._place(x)
        moved: Floats = table[phase, row + first : row + last] * (1 - part)
        moved += table[next_phase, next_row + first : next_row + last] * part
        return moved

    def below(self, x: float) -> Floats:
        """Phi((m - x)/s) over m and spreads."""
        return self._moved(self._phi, x)

    def log_clean(self, times: Mapping[float, int]) -> Floats:
        """The sum of ln Phi((m - x)/s) over clean dives, by how often each x was dived."""
        often = np.zeros((_PER_STEP, self._rows))
        for x, count in times.items():
            row, phase, next_row, next_phase, part = self._place(x)
            often[phase, row] += count * (1 - part)
            often[next_phase, next_row] += count * part
        moved = np.conj(np.fft.rfft(often, axis=1))
        summed = np.einsum("pk,pks->ks", moved, self._log_phi_fft)
        whole: Floats = np.fft.irfft(summed, n=self._rows, axis=0)
        return whole[: _M.size]

    def log_out(self, times: Mapping[tuple[float | None, float], int]) -> Floats:
        """The sum of ln(Phi((x_b - m)/s) - Phi((x_a - m)/s)); an x_a of None is -infinity."""
        total = np.zeros_like(self.log_prior)
        product = np.ones_like(total)
        factors = 0
        for (x_a, x_b), count in times.items():
            mass = self._out(x_a, x_b)
            for _ in range(count):
                product *= mass
                factors += 1
                if factors == _FACTORS:  # one logarithm for several dives, before it underflows
                    total += np.log(product)
                    product.fill(1.0)
                    factors = 0
        total += np.log(product)
        return total

    def _out(self, x_a: float | None, x_b: float) -> Floats:
        if x_a is None:
            mass = self._moved(self._up, x_b)
        else:
            # on each side of x_b the difference of the smaller tails, which keeps its digits
            middle = int(np.searchsorted(_M, x_b))
            mass = np.empty_like(self.log_prior)
            shallow, deep = mass[:middle], mass[middle:]
            phi, up = self._phi, self._up
            np.subtract(
                self._moved(phi, x_a, 0, middle), self._moved(phi, x_b, 0, middle), out=shallow
            )
            np.subtract(self._moved(up, x_b, middle), self._moved(up, x_a, middle), out=deep)
        return np.maximum(mass, _LEAST_MASS, out=mass)


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
    clean: Counter[float] = Counter()
    between: Counter[tuple[float | None, float]] = Counter()
    # dives repeat their depths: what a depth and a fill ask is computed once
    for trial, times in Counter(trials).items():
        fill_m, clean_m, out_m = trial.fill_m, trial.clean_m, trial.out_m
        x_a = None
        if clean_m is not None and clean_m > fill_m:
            x_a = asked(depth_m=clean_m, fill_m=fill_m, site=site)
        if out_m is None:
            if x_a is not None:
                clean[x_a] += times
        elif out_m > fill_m:
            between[x_a, asked(depth_m=out_m, fill_m=fill_m, site=site)] += times
    table = _tables(spreads)
    log_weights = table.log_prior.copy()
    if clean:
        log_weights += table.log_clean(clean)
    if between:
        log_weights += table.log_out(between)
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    return Reach(
        weights=weights,
        spreads=spreads,
        trials=clean.total() + between.total(),
        site=site,
    )


def reach_of(
    record: DiverRecord,
    exercise: Exercise,
    *,
    at: datetime | None = None,
    site: Site = GAUGE_AT_SEA,
) -> Reach:
    """A diver's own reach on one kind of dive, with the kit that is worn at `at`.

    Kit is the latest mask volume stated (0: a nose clip); dives with another kit don't count. A
    fill that wasn't stated is the deep end of what was briefed, or of the practice's window for
    that depth: it asks the smaller ratio, so it never flatters. Where one depth alone is known of
    a dive that ran out, the last equalised depth was 1 m above the turn. A report that waits for
    a yes counts only where it ran out.
    """
    return reach(_trials(record, exercise, at), site=site)


def _trials(record: DiverRecord, exercise: Exercise, at: datetime | None) -> Iterator[Trial]:
    found: list[tuple[float, Trial]] = []
    kit = -1.0
    brief: Brief | None = None
    for fact in record.facts:
        if at is not None and fact.happened_at > at:
            break
        kind = type(fact)
        if kind is Dive:
            assert isinstance(fact, Dive)
            if fact.exercise is exercise:
                trial = _trial(fact, brief)
                if trial is not None:
                    found.append((kit, trial))
        elif kind is Brief:
            assert isinstance(fact, Brief)
            if fact.exercise is exercise:
                brief = fact
        elif kind is Volume:
            assert isinstance(fact, Volume)
            if fact.volume is VolumeKind.MASK:
                kit = 1.0 if fact.value > 0 else 0.0
    return (trial for worn, trial in found if worn == kit)


def _trial(dive: Dive, brief: Brief | None) -> Trial | None:
    depth_m = dive.depth_m
    if depth_m is None:
        return None
    fill_m = _fill_of(dive, depth_m, brief)
    if fill_m is None or depth_m <= fill_m:
        return None
    if dive.ending is Ending.STOP and dive.reason in _RAN_OUT:
        return Trial(fill_m=fill_m, clean_m=depth_m - _ONE_DEPTH_KNOWN_M, out_m=depth_m)
    if dive.waits:
        return None
    if dive.ending is Ending.STOP and dive.reason in _NOT_EQUALISED:
        depth_m -= _ONE_DEPTH_KNOWN_M
    return Trial(fill_m=fill_m, clean_m=depth_m)


def _fill_of(dive: Dive, depth_m: float, brief: Brief | None) -> float | None:
    """Where the fill was, as stated or as briefed; None where nobody knows (full lungs)."""
    if dive.exercise is Exercise.RV:
        return 0.0
    if dive.fill_m is not None:
        return dive.fill_m
    if (
        brief is not None
        and brief.fill_high_m is not None
        and dive.happened_at - brief.happened_at <= _SESSION_GAP
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
