"""Reach: what a diver's own dives say about the mouth."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.special import log_ndtr, logsumexp

from planner.figure import OutOfRange
from planner.pressure import Site
from planner.reach import SPREADS, Trial, asked, reach, reach_of
from planner.record import Brief, Dive, Ending, Exercise, Reason, VolumeKind
from tests.planner.test_lungs import facts_record, volume


@st.composite
def trials(draw: st.DrawFn) -> Trial:
    fill_m = draw(st.sampled_from([0.0, 5.0, 6.5, 8.0]))
    depth_m = fill_m + draw(st.integers(2, 40)) / 2
    if draw(st.booleans()):
        return Trial(fill_m=fill_m, clean_m=depth_m)
    return Trial(fill_m=fill_m, clean_m=depth_m - 1, out_m=depth_m)


lists = st.lists(trials(), max_size=12)


def dive(
    depth_m: float | None,
    ending: Ending = Ending.CLEAN,
    reason: Reason | None = None,
    fill_m: float | None = None,
    exercise: Exercise = Exercise.FRC,
    **more: object,
) -> tuple[type[Dive], dict[str, object]]:
    about = {
        "exercise": exercise, "depth_m": depth_m, "ending": ending, "reason": reason,
        "fill_m": fill_m,
    }  # fmt: skip
    return Dive, about | more


def median(*said: object, exercise: Exercise = Exercise.FRC) -> float:
    return reach_of(facts_record(*said), exercise).ratio.value  # type: ignore[arg-type]


@given(lists)
def test_the_order_of_dives_does_not_matter(told: list[Trial]) -> None:
    """Shuffled dives give the same band and the same chance."""
    shuffled = random.Random(3).sample(told, len(told))
    one, other = reach(told), reach(shuffled)
    assert one.trials == other.trials
    assert one.ratio.value == pytest.approx(other.ratio.value, rel=1e-6)
    assert one.chance(depth_m=20, fill_m=7) == pytest.approx(
        other.chance(depth_m=20, fill_m=7), abs=1e-6
    )


@given(lists, trials())
@example([Trial(0, 0, 1)] * 2, Trial(0, 8, 9))  # dives that contradict each other
@example([Trial(8, 8.5, 9.5)] * 2, Trial(0, 8, 9))
def test_running_out_in_place_of_a_clean_dive_never_raises_a_chance(
    told: list[Trial], last: Trial
) -> None:
    """At any one spread, a dive run out instead of clean raises neither a chance nor the reach."""
    depth_m = last.out_m or last.clean_m
    assert depth_m is not None
    for spread in (0.15, 0.25, 0.40, 0.60):
        clean = reach([*told, Trial(fill_m=last.fill_m, clean_m=depth_m)], spreads=(spread,))
        out = reach(
            [*told, Trial(fill_m=last.fill_m, clean_m=depth_m - 1, out_m=depth_m)],
            spreads=(spread,),
        )
        assert out.ratio.value <= clean.ratio.value + 1e-6
        for next_m in (10, 15, 25):
            lower = out.chance(depth_m=next_m, fill_m=6)
            assert lower <= clean.chance(depth_m=next_m, fill_m=6) + 1e-9


def test_over_the_spreads_running_out_still_lowers_the_chance_of_the_same_dive() -> None:
    """With all four spreads, running out at 18 after a clean week lowers the chance of 16-20 m."""
    week = [Trial(fill_m=6, clean_m=d) for d in (12, 14, 15, 16, 17)]
    clean = reach([*week, Trial(fill_m=6, clean_m=18)])
    out = reach([*week, Trial(fill_m=6, clean_m=17, out_m=18)])
    for depth_m in (16, 17, 18, 20):
        lower = out.chance(depth_m=depth_m, fill_m=6)
        assert lower < clean.chance(depth_m=depth_m, fill_m=6)


@given(lists, st.floats(0, 30), st.floats(0, 20))
def test_deeper_is_never_likelier_and_a_deeper_fill_never_less(
    told: list[Trial], below_m: float, more_m: float
) -> None:
    """The chance falls with depth and rises with the fill's depth, and stays within 0 and 1."""
    own = reach(told)
    here = own.chance(depth_m=6 + below_m, fill_m=6)
    assert 0 <= own.chance(depth_m=6 + below_m + more_m, fill_m=6) <= here + 1e-9 <= 1 + 1e-9
    assert own.chance(depth_m=6 + below_m, fill_m=3) <= here + 1e-9


def test_a_hair_below_the_fill_asks_the_least_there_is() -> None:
    """A depth whose pressure rounds to that of the fill is no error, and no dive is likelier."""
    hair = 6.000000000000001
    assert hair > 6
    assert asked(depth_m=hair, fill_m=6) < asked(depth_m=6.1, fill_m=6)
    own = reach([])
    assert own.chance(depth_m=hair, fill_m=6) >= own.chance(depth_m=6.1, fill_m=6)
    reach([Trial(fill_m=6, clean_m=hair)])


@given(lists)
def test_the_band_is_in_order_and_above_one(told: list[Trial]) -> None:
    """1 < low < likely < high for whatever dives, and depths follow from the ratio."""
    own = reach(told)
    ratio = own.ratio
    assert 1 < ratio.low_or_value < ratio.value < ratio.high_or_value
    depth = own.depth_m(fill_m=0)
    assert depth.value == pytest.approx(10.1325 * (ratio.value - 1))


def test_without_dives_it_is_the_prior() -> None:
    """No dive, or dives that ask nothing, leave R 2.00 [1.27, 4.73]."""
    for told in ([], [Trial(fill_m=7, clean_m=7)], [Trial(fill_m=7, clean_m=3, out_m=6)]):
        own = reach(told)
        assert own.trials == 0
        assert own.ratio.value == pytest.approx(2.0, abs=0.005)


def test_at_or_above_the_fill_nothing_is_asked() -> None:
    """The chance at the fill's own depth is 1, and asking for x there is an error."""
    assert reach([]).chance(depth_m=7, fill_m=7) == 1
    with pytest.raises(OutOfRange):
        asked(depth_m=7, fill_m=7)


def test_contradicting_dives_still_give_a_posterior() -> None:
    """Fifty deep clean dives and fifty that ran out shallow end in a finite band between them."""
    told = [Trial(fill_m=5, clean_m=30)] * 50 + [Trial(fill_m=5, clean_m=6, out_m=7)] * 50
    ratio = reach(told).ratio
    assert 1 < ratio.low_or_value < ratio.value < ratio.high_or_value < 60


def test_a_stop_for_another_reason_counts_as_clean_to_where_it_equalised() -> None:
    """A sternum stop at 15 reads as clean to 15, stuck ears at 15 as clean to 14."""
    assert median(dive(15, Ending.STOP, Reason.STERNUM, 6)) == median(dive(15, fill_m=6))
    assert median(dive(15, Ending.STOP, Reason.EARS, 6)) == median(dive(14, fill_m=6))
    assert median(dive(15, Ending.HARD, None, 6)) == median(dive(15, fill_m=6))


@pytest.mark.parametrize("reason", [Reason.EMPTY, Reason.LEAK, Reason.SWALLOW])
def test_a_dive_that_ran_out_lowers_the_reach(reason: Reason) -> None:
    """Empty, leak and swallow read as run out within the last metre before the turn."""
    ran_out = median(dive(12, Ending.STOP, reason, 6))
    assert ran_out < median() < median(dive(16, fill_m=6))
    told = reach([Trial(fill_m=6, clean_m=11, out_m=12)])
    assert ran_out == pytest.approx(told.ratio.value)


def test_running_out_within_a_metre_of_the_surface_is_no_error() -> None:
    """A swallow at 0.6 m by RV says that the mouth ran out there, and nothing of above it."""
    said = dive(0.6, Ending.STOP, Reason.SWALLOW, exercise=Exercise.RV)
    assert median(said, exercise=Exercise.RV) < median()
    with pytest.raises(OutOfRange):
        reach([Trial(fill_m=-1, clean_m=5)])
    with pytest.raises(OutOfRange):
        reach([Trial(fill_m=5, clean_m=301)])


def test_a_fill_that_was_not_stated_is_the_deep_end_of_the_brief() -> None:
    """The briefed window's deep end stands for the fill, else the practice's for that depth."""
    brief = (
        Brief,
        {"exercise": Exercise.FRC, "depth_m": 14.0, "fill_low_m": 5.0, "fill_high_m": 8.0},
    )
    assert median(brief, dive(14)) == median(dive(14, fill_m=8))
    assert median(dive(14)) == median(dive(14, fill_m=10))
    assert median(dive(8)) == median(dive(8, fill_m=6))


def test_kinds_of_dive_are_kept_apart_and_full_lung_dives_need_their_fill() -> None:
    """RV dives don't speak for FRC; RV's fill is the surface; a full dive without a fill is silent."""
    rv = dive(8, exercise=Exercise.RV)
    assert median(rv) == median()
    assert median(rv, exercise=Exercise.RV) > median()
    full = dive(40, exercise=Exercise.FULL)
    assert median(full, exercise=Exercise.FULL) == median()
    assert (
        median(dive(40, fill_m=20, exercise=Exercise.FULL), exercise=Exercise.FULL) > median() * 0.9
    )


def test_a_change_of_kit_begins_anew() -> None:
    """Dives with a mask don't speak for the nose clip that is worn now, and come back with it."""
    clip, mask = volume(VolumeKind.MASK, 0), volume(VolumeKind.MASK, 120)
    deep = dive(18, fill_m=6)
    assert median(mask, deep, clip) == median()
    assert median(mask, deep, clip, mask) == median(deep)


def test_a_report_that_waits_counts_on_the_careful_side_only() -> None:
    """A clean dive that waits for a yes adds nothing; one that ran out counts at once."""
    assert median(dive(18, fill_m=6, waits=True)) == median()
    waiting = dive(12, Ending.STOP, Reason.EMPTY, 6, waits=True)
    assert median(waiting) < median()


def test_an_unknown_depth_says_nothing() -> None:
    """A dive whose depth is not known yet leaves the reach as it was."""
    assert median(dive(None, Ending.STOP, Reason.EMPTY, 6)) == median()


def _summed(told: list[Trial]) -> tuple[float, float]:
    """R and the chance of 20 m with the fill at 7, each dive summed up on the whole grid."""
    m, spread = np.linspace(-4, 4, 1601)[:, None], np.array(SPREADS)
    weight = -0.5 * (m / 0.8) ** 2 + np.zeros(len(SPREADS))
    for fill_m, clean_m, out_m in told:
        below = -np.inf
        if clean_m is not None and clean_m > fill_m:
            below = asked(depth_m=clean_m, fill_m=fill_m)
        if out_m is None:
            weight += log_ndtr((m - below) / spread)
            continue
        ends = (asked(depth_m=out_m, fill_m=fill_m), below)
        # of the tail that keeps its digits
        side = np.where(m < ends[0], -1, 1)
        tails = [np.exp(log_ndtr(-side * (m - x) / spread)) for x in ends]
        weight += np.log(np.maximum(abs(tails[0] - tails[1]), 1e-300))
    weight = np.exp(weight - logsumexp(weight))
    mass = weight.sum(axis=1)
    median_m = np.interp(0.5, np.cumsum(mass) - mass / 2, m[:, 0])
    x = asked(depth_m=20, fill_m=7)
    return 1 + float(np.exp(median_m)), float((np.exp(log_ndtr((m - x) / spread)) * weight).sum())


@pytest.mark.parametrize("count", [1, 5, 40, 300])
def test_the_tables_agree_with_the_sum_over_dives(count: int) -> None:
    """Read off tables and spread from the coarse grid, R and chance are those of the whole sum."""
    rng = random.Random(count)
    told = []
    for _ in range(count):
        fill_m, depth_m = rng.uniform(0, 9), rng.uniform(10, 24)
        ran_out = rng.random() < 0.3
        told.append(
            Trial(fill_m, depth_m - 1 if ran_out else depth_m, depth_m if ran_out else None)
        )
    ratio, chance = _summed(told)
    own = reach(told)
    assert own.ratio.value == pytest.approx(ratio, rel=2e-5)
    assert own.chance(depth_m=20, fill_m=7) == pytest.approx(chance, abs=2e-5)


def test_depths_are_read_as_they_are_at_the_site() -> None:
    """The same metres ask more at 1000 m; by rope fresh water asks less, by gauge the same."""
    said = (dive(18, fill_m=6), dive(20, fill_m=6))
    high, salt, fresh, gauge = (
        reach_of(replace(facts_record(*said), site=site), Exercise.FRC).ratio.value
        for site in (
            Site(altitude_m=1000), Site(gauge=False), Site(gauge=False, salt=False),
            Site(salt=False),
        )
    )  # fmt: skip
    at_sea = median(*said)
    assert high > at_sea
    assert fresh < salt
    assert gauge == at_sea
