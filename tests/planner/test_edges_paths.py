"""The arrays of a forecast against the single steps of the fold: depths by tables, runs by their numbers."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from planner.held import Track, down_half, sizes
from planner.paths import Kind, Paths, Rates, _passed, _turns
from planner.plan import left_at
from planner.record import Exercise
from planner.rise import NEVER, NONE, Rise, Steps, down, table, tenths
from planner.rules import RULES
from planner.tracks import deepest, kth
from tests.planner.season import Season

BOTH = [(Exercise.FRC, 7.0), (Exercise.FRC, 5.5), (Exercise.RV, 2.0)]
DEPTHS = np.arange(1, 400) / 10


@pytest.mark.parametrize(("exercise", "first_m"), BOTH)
def test_the_tables_of_depths_are_the_steps_of_a_track(exercise: Exercise, first_m: float) -> None:
    """For every tenth of a metre: a step off, a cut, what is given back and a lay-off, as the fold takes them."""
    size = sizes(RULES, exercise)
    steps = Steps(size, first_m, 40)
    track = Track(exercise, RULES, first_m)
    for depth in DEPTHS:
        at = tenths(depth)
        floor = track.floor_m(depth)
        assert steps.off[at] == tenths(max(down_half(size.shallower(depth)), floor))
        assert steps.shallower_down[at] == max(0, tenths(down_half(size.shallower(depth))))
        assert steps.pressed[at] == tenths(down_half(0.8 * depth))
        assert steps.given_back[at] == tenths(down_half(0.8 * depth))
        assert steps.down[at] == tenths(down_half(depth))
        assert steps.short[at] == tenths(max(down_half(0.8 * depth), floor))
        assert steps.long[at] == tenths(max(down_half(0.6 * depth), floor))
    assert {int(each[NONE]) for each in (steps.off, steps.short, steps.long, steps.down)} == {NONE}


@pytest.mark.parametrize(("exercise", "first_m"), BOTH)
def test_steps_and_openings_of_many_depths_are_those_of_one(
    exercise: Exercise, first_m: float
) -> None:
    """Deeper, shallower, floor and opening give for an array what the track gives for a depth."""
    size = sizes(RULES, exercise)
    steps, track = Steps(size, first_m, 40), Track(exercise, RULES, first_m)
    assert steps.deeper(DEPTHS) == pytest.approx([size.deeper(d) for d in DEPTHS])
    assert steps.shallower(DEPTHS) == pytest.approx([size.shallower(d) for d in DEPTHS])
    assert steps.floor(DEPTHS) == pytest.approx([track.floor_m(d) for d in DEPTHS])
    assert steps.opening(DEPTHS) == pytest.approx([track.opening_m(d) for d in DEPTHS])
    assert down(DEPTHS) == pytest.approx([down_half(d) for d in DEPTHS])


def test_a_table_holds_whole_tenths_and_nothing_for_nothing() -> None:
    """Rounded down to a tenth, never below no depth; of no depth, none."""
    assert list(table(1, lambda depth: depth * 2)) == [0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20]
    assert list(table(0.5, lambda depth: depth - 0.25)) == [0, 0, 0, 0, 1, 2]
    assert table(0.3, lambda depth: depth + 1)[NONE] == NONE
    assert [tenths(depth) for depth in (0, 0.3, 1.05, 12.3, 12.39)] == [0, 3, 10, 123, 123]


def runs(seed: int) -> tuple[Rise, list[list[int]]]:
    """Random runs of three depths that never get shallower, and their targets, one by one."""
    rng = random.Random(seed)
    depths, ends, listed = [], [], []
    for _ in range(30):
        a, b, c = sorted(rng.randint(20, 60) for _ in range(3))
        first = rng.choice([0, 1, 2, NEVER])
        second = min(NEVER, first + rng.choice([0, 1, 3, NEVER]))
        depths.append((a, b, c))
        ends.append((first, second))
        listed.append([a if n < first else b if n < second else c for n in range(8)])
    return Rise(np.array(depths).T.copy(), np.array(ends).T.copy()), listed


@pytest.mark.parametrize("seed", range(4))
def test_a_rise_is_its_targets_one_by_one(seed: int) -> None:
    """The target of each number, the first at a level, and the last that its own depth allows."""
    rise, listed = runs(seed)
    for number in range(8):
        assert list(rise.at(number)) == [targets[number] for targets in listed]
    per_path = np.array([seed + n % 5 for n in range(len(listed))])
    assert list(rise.at(per_path)) == [t[n] for t, n in zip(listed, per_path, strict=True)]
    for level in (20, 33, 47, 60, 61):
        found = [
            next((n for n, depth in enumerate(targets) if depth >= level), None)
            for targets in listed
        ]
        assert [None if n > 7 else n for n in rise.first(level).tolist()] == found
    some = np.array([3, 0, 11])
    assert list(rise.of(some).at(2)) == [listed[row][2] for row in some]


@pytest.mark.parametrize("seed", range(4))
def test_a_rise_ends_where_its_next_depth_allows_no_further_dive(seed: int) -> None:
    """Of each depth so many dives are allowed: the first number past them is how many there are."""
    rise, listed = runs(seed)
    by_depth = np.where(rise.depths < 30, 5, np.where(rise.depths < 45, 4, 2))
    counted = [
        next(n for n, d in enumerate(targets) if n >= (5 if d < 30 else 4 if d < 45 else 2))
        for targets in listed
    ]
    assert list(rise.most(by_depth)) == counted


@pytest.mark.parametrize("k", [1, 2, 3])
def test_the_kth_largest_of_two_falling_rows(k: int) -> None:
    """As if both were sorted into one."""
    rng = np.random.default_rng(k)
    a, b = (-np.sort(-rng.integers(0, 9, (k, 200)), axis=0) for _ in range(2))
    both = -np.sort(-np.vstack((a, b)), axis=0)
    assert list(kth(a, b)) == list(both[k - 1])


@pytest.mark.parametrize("k", [1, 2, 3])
def test_the_deepest_of_each_column(k: int) -> None:
    """The k largest, falling, with those that are alike as often as they stand."""
    depths = np.random.default_rng(k).integers(0, 5, (6, 300)).astype(np.int16)
    assert (deepest(depths, k) == -np.sort(-depths, axis=0)[:k]).all()


def test_a_draw_falls_into_the_first_chance_that_it_does_not_pass() -> None:
    """Cumulated chances 0.2 and 0.7: 0.1 is the first, 0.2 and 0.69 the second, 0.7 the third."""
    upto = np.tile([[0.2], [0.7]], 5)
    drawn = np.array([0.0, 0.19, 0.2, 0.69, 0.7])
    assert list(_passed(upto, drawn)) == [0, 0, 1, 1, 2]


def test_where_a_fault_turns() -> None:
    """Pressure in the deepest third, technique from a tenth of the way on, all else at the target (H)."""
    target = np.full(3, 150)
    share = np.array([0.0, 0.5, 1.0])
    turns = {kind: list(_turns(target, np.full(3, int(kind)), share)) for kind in Kind}
    assert turns[Kind.PRESSURE] == [100, 125, 150]
    assert turns[Kind.TECHNIQUE] == [15, 82, 150]
    assert turns[Kind.HARD] == turns[Kind.OVER] == [150, 150, 150]


def played(
    *, limit: int, days_most: int, clean: float = 0.7
) -> tuple[dict[tuple[int, int], int], int, Paths]:
    """Twenty paths of a diver on the first day: dives of each path's day; today; and the paths."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(15, date(2026, 5, 1))
    season.morning("2026-05-07").dive(9.5).dive(12)
    state = left_at(season.record(), rules=RULES, at=season.at)
    today = state.day_of(season.at)
    upto = np.tile([clean, clean + 0.1, clean + 0.2, 1.0, 1.0], (20, 1))
    ones = np.ones((20, 1))
    rates = Rates(
        upto=upto, delays_d=np.array([0]), delays_upto=ones, limits=np.array([limit]),
        limits_upto=ones,
    )  # fmt: skip
    paths = Paths(state, rules=RULES, rates=rates, rng=np.random.default_rng(5), today=today)
    dived: dict[tuple[int, int], int] = {}

    def seen(path, days, targets, kinds, turns) -> None:  # type: ignore[no-untyped-def]
        for row in zip(path.tolist(), days.tolist(), strict=True):
            dived[row] = dived.get(row, 0) + 1

    paths.run(days_most=days_most, seen=seen)
    return dived, today, paths


@pytest.mark.parametrize("limit", [1, 2, 3])
def test_no_session_has_more_dives_than_the_diver_makes(limit: int) -> None:
    """A habit of so many dives a session holds after faults as well."""
    dived, _, _ = played(limit=limit, days_most=200)
    assert max(dived.values()) == limit


@pytest.mark.parametrize(("days_most", "sessions"), [(1, 0), (2, 1), (6, 1), (7, 2)])
def test_a_session_on_the_last_day_is_played_and_none_after_it(
    days_most: int, sessions: int
) -> None:
    """Dived on day 0: rest allows day 2, then, two days in seven, day 7."""
    dived, today, _ = played(limit=2, days_most=days_most, clean=1 - 1e-12)
    days = {day - today for _, day in dived}
    assert len(days) == sessions
    assert days <= {2, 7}


@pytest.mark.parametrize(("days_away", "target"), [(14, 9.5), (20, 9.5), (28, 9.5), (29, 7.0)])
def test_a_reported_base_is_fresh_for_four_weeks_on_every_path(
    days_away: int, target: float
) -> None:
    """A base reported 1 May and no dive since: up to 28 days later held stands, then it is a lay-off."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(15, date(2026, 5, 1))
    season.at = datetime(2026, 5, 1, 12, tzinfo=UTC) + timedelta(days=days_away)
    state = left_at(season.record(), rules=RULES, at=season.at)
    ones = np.ones((4, 1))
    rates = Rates(
        upto=np.tile([0.9, 0.92, 0.94, 1.0, 1.0], (4, 1)), delays_d=np.array([0]),
        delays_upto=ones, limits=np.array([1]), limits_upto=ones,
    )  # fmt: skip
    today = state.day_of(season.at)
    paths = Paths(state, rules=RULES, rates=rates, rng=np.random.default_rng(1), today=today)
    first: dict[int, float] = {}

    def seen(path, days, targets, kinds, turns) -> None:  # type: ignore[no-untyped-def]
        assert set(days.tolist()) <= {today, today + 1}
        for one, told in zip(path.tolist(), targets.tolist(), strict=True):
            first.setdefault(one, told)

    paths.run(days_most=1, seen=seen)
    assert first == dict.fromkeys(range(4), target)


@pytest.mark.parametrize(
    ("fill_m", "ending", "met_after"), [(None, "clean", 2), (10.5, "clean", 7), (None, "hard", 7)]
)
def test_what_was_clean_at_the_base_before_counts_on_every_path(
    fill_m: float | None, ending: str, met_after: int
) -> None:
    """Base 12 m, three clean dives on two days: two on record and one on day 2, else one each on days 2 and 7."""
    # A dive filled out of place, or hard, is none of them: then the third comes on day 7.
    season = Season(Exercise.FRC).profile(pb_m=20, goal_m=24).reported(15, date(2026, 5, 1))
    season.morning("2026-05-07").dive(9.5).dive(12)
    season.dive(12, ending, fill_m=fill_m)
    state = left_at(season.record(), rules=RULES, at=season.at)
    ones = np.ones((6, 1))
    rates = Rates(
        upto=np.tile([1 - 1e-12, 1.0, 1.0, 1.0, 1.0], (6, 1)), delays_d=np.array([0]),
        delays_upto=ones, limits=np.array([2]), limits_upto=ones,
    )  # fmt: skip
    today = state.day_of(season.at)
    paths = Paths(state, rules=RULES, rates=rates, rng=np.random.default_rng(1), today=today)
    paths.run(days_most=30)
    if ending == "clean":
        assert set((paths.met_day - today).tolist()) == {met_after}
    else:  # a step is owed first
        assert min((paths.met_day - today).tolist()) >= met_after
