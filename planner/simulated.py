"""A forecast's paths: what each draws of the diver's ways, and in how many days it met the base (H)."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from planner.paths import Kind, Paths, Rates
from planner.record import Dive, Ending, Exercise, Reason
from planner.standing import Standing

NO_LIMIT = 99
_PRIOR_FAULTS = {Kind.HARD: 1.8, Kind.TECHNIQUE: 1.8, Kind.PRESSURE: 0.4, Kind.OVER: 0.04}
"""How faults are mixed before any are seen, worth about four faults, a tenth of them pressure (H)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Simulated:
    """The days (ordinals) by which shares of the paths had met the base, None beyond the last one played.

    `met_share` is the share of all paths that met it.
    """

    days: tuple[float | None, ...]
    met_share: float


def simulated(
    state: Standing,
    told: list[Dive],
    *,
    oldest: int,
    today: int,
    days_most: int,
    enough: float,
    shares: tuple[float, ...],
    seed: int,
    paths: int,
) -> Simulated:
    """The policy played forward from where the diver stands, `paths` times, until `enough` met the base.

    `told` are the dives since the day `oldest` for which a target stood. The same seed, the same days.
    """
    rng = np.random.default_rng(seed)
    rates = _rates(state, told, oldest, rng, paths)
    ahead = Paths(state, rules=state.rules, rates=rates, rng=rng, today=today)
    ahead.run(days_most=days_most, enough=enough)
    met = np.sort(np.where(ahead.met_day < 0, 10**6, ahead.met_day))
    marks = (met[ceil(share * paths) - 1] for share in shares)
    return Simulated(
        days=tuple(None if day >= 10**6 else float(day) for day in marks),
        met_share=float((ahead.met_day >= 0).mean()),
    )


def _kind(dive: Dive) -> Kind:
    if dive.ending in (Ending.CLEAN, Ending.EARLY):
        return Kind.CLEAN
    if dive.ending is Ending.HARD:
        return Kind.HARD
    reason = dive.reason or Reason.UNSTATED
    if reason.is_pressure:
        return Kind.PRESSURE
    return Kind.TECHNIQUE if reason.is_technique else Kind.OVER


def _rates(
    state: Standing, told: list[Dive], oldest: int, rng: np.random.Generator, paths: int
) -> Rates:
    """What each path draws of the diver: clean rate, mix of faults, delays, and ends by choice."""
    kinds = [_kind(d) for d in told]
    clean = kinds.count(Kind.CLEAN)
    rate = rng.beta(clean + 0.5, len(told) - clean + 0.5, size=paths)
    weights = [prior + kinds.count(kind) for kind, prior in _PRIOR_FAULTS.items()]
    mix = rng.dirichlet(weights, size=paths)
    upto = np.cumsum(np.column_stack([rate, (1 - rate)[:, None] * mix]), axis=1)
    upto[:, -1] = 1.0
    delays = np.array(_delays(state, oldest) or [0], dtype=np.int64)
    limits = np.array(_limits(state, told) or [NO_LIMIT], dtype=np.int64)
    return Rates(
        upto=upto,
        delays_d=delays,
        delays_upto=_habit(rng, len(delays), paths),
        limits=limits,
        limits_upto=_habit(rng, len(limits), paths),
    )


def _habit(rng: np.random.Generator, count: int, paths: int) -> NDArray[np.float64]:
    """Cumulated weights of what was seen, drawn anew for each path (a Bayesian bootstrap)."""
    drawn = rng.standard_exponential((paths, count))
    upto: NDArray[np.float64] = np.cumsum(drawn, axis=1)
    upto /= upto[:, -1:]
    return upto


def _delays(state: Standing, oldest: int) -> list[int]:
    """How many days later than rest allowed the diver came, between exhale days."""
    r = state.rules
    days = state.exhale_days
    most = int(r["rest.days_most"])
    found = []
    for i in range(1, len(days)):
        before = days[i - 1]
        if before.day < oldest:
            continue
        nights = r["rest.nights_after_new"] if before.long_rest else r["rest.nights"]
        free = before.day + int(nights)
        if i >= most:
            free = max(free, days[i - most].day + int(r["rest.days_in"]))
        found.append(max(0, days[i].day - free))
    return found


def _limits(state: Standing, told: list[Dive]) -> list[int]:
    """How many dives the diver makes a session; no limit where a rule ended it."""
    by_day: dict[int, list[Dive]] = {}
    for dive in told:
        by_day.setdefault(state.day_of(dive.happened_at), []).append(dive)
    return [NO_LIMIT if _ended_by_rule(state, dives) else len(dives) for dives in by_day.values()]


def _ended_by_rule(state: Standing, dives: list[Dive]) -> bool:
    r = state.rules
    if sum(d.is_troubled for d in dives) >= r["trouble.most"]:
        return True
    if any(_kind(d) is Kind.OVER for d in dives):
        return True
    track = state.track
    assert track is not None
    deepest = max(d.depth_m or 0.0 for d in dives)
    if len(dives) >= state.allowed_at(track.size.deeper(deepest)):
        return True
    over_m = r["trouble.rv_over_from_m"]
    return track.exercise is Exercise.RV and any(
        _kind(d) is Kind.PRESSURE and (d.depth_m or 0.0) >= over_m for d in dives
    )
