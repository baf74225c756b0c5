"""The planner against a second, independent reading of the training policy."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import date, timedelta

import pytest

from planner.record import Exercise
from tests.planner.oracle import TASK_FOR, Dived, Diver, Oracle
from tests.planner.season import Season

ORIGIN = date(2026, 1, 1)
TROUBLES = ("hard", "early", "sternum", "chest", "throat", "unstated", *TASK_FOR, "urge", "cold")
HOWS = (*TROUBLES, "other", "hard", "early")
GAPS = (2, 3, 4, 5) * 5 + (1, 7, 14, 15, 16, 28, 29, 40, 83, 84)

Said = tuple[int | None, int | None, int | None]


def tenths(metres: float | None) -> int | None:
    return None if metres is None else round(metres * 10)


def day_of(on: int) -> date:
    return ORIGIN + timedelta(days=on)


class Pair:
    """One season told to both."""

    def __init__(self, diver: Diver) -> None:
        self.season = Season(Exercise.RV if diver.rv else Exercise.FRC)
        self.season.profile(pb_m=diver.pb / 10, goal_m=diver.goal / 10)
        if diver.reported is not None:
            depth, on = diver.reported
            self.season.reported(depth / 10, day_of(on))
        self.oracle = Oracle(diver)
        self.on = 0
        self.told: list[str] = []

    def morning(self, on: int) -> None:
        self.on = on
        self.season.morning(day_of(on).isoformat())
        self.oracle.begin(on)
        self.told.append(f"day {on}")

    def dive(self, depth: int | None, how: str = "clean", fill: int | None = None) -> None:
        self.season.dive(
            None if depth is None else depth / 10, how, fill_m=None if fill is None else fill / 10
        )
        self.oracle.dive(Dived(self.on, depth, how, fill))
        self.told.append(f"{depth} {how} fill {fill}")

    def drill(self, on: int, what: str) -> None:
        self.season.morning(day_of(on).isoformat())
        if what == "shallow":
            self.season.other(Exercise.SHALLOW, 10, fill_m=4)
        else:
            self.season.other(Exercise.DRY, task=what, amount=10)
        self.oracle.drill(on, what)
        self.told.append(f"day {on}: {what}")

    def planner(self) -> Said:
        free = (date.fromisoformat(self.season.free_on()) - ORIGIN).days
        return (
            tenths(self.season.held_m()),
            tenths(self.season.next()),
            free if self.oracle.nights else None,
        )

    def read(self) -> Said:
        free = max(self.on, self.oracle.free()) if self.oracle.nights else None
        return self.oracle.held(self.on), self.oracle.target(), free

    def agree(self) -> None:
        said, read = self.planner(), self.read()
        assert said == read, "\n".join([*self.told, f"planner {said}, oracle {read}"])


def invented(rng: random.Random) -> Diver:
    rv = rng.random() < 0.5
    pb = rng.choice((520, 600, 780, 900) if rv else (200, 320, 380, 480))
    reported = None
    if rng.random() < 0.5:
        depth = rng.choice((20, 30, 60, 80, 90, 100, 150, 180, 200))
        reported = (depth, -rng.choice((3, 5, 14, 16, 27, 28, 29, 60, 83, 84, 90)))
    # The first depth of the season's invented body: 7 m by land volumes, 2 m for RV.
    return Diver(rv, pb, pb + rng.choice((20, 50, 100, 200)), 20 if rv else 70, reported)


def one_dive(rng: random.Random, pair: Pair, *, trouble: float, obeys: float) -> None:
    target, held = pair.oracle.target(), pair.oracle.held(pair.on)
    aim = target if target is not None else held or 50
    how = "clean" if rng.random() > trouble else rng.choice(HOWS)
    depth = aim
    if how in ("clean", "hard") and rng.random() > obeys:
        depth = max(10, aim + rng.choice((-30, -20, -10, -5, -3, 3, 5, 6, 10, 20)))
    elif how != "clean" and how != "hard":
        depth = max(10, aim - rng.choice((0, 0, 5, 5, 10, 15, 20, 33)))
        if rng.random() > obeys:
            depth = aim + rng.choice((3, 5, 6, 10, 30))
        if how != "early" and rng.random() < 0.03:
            pair.dive(None, how)
            return
    fill = None
    if not pair.oracle.diver.rv and rng.random() < 0.6:
        fill = min(rng.choice((50, 55, 60, 70)), depth - 5)
        fill = fill if fill >= 10 else None
    pair.dive(depth, how, fill)


def between(rng: random.Random, pair: Pair) -> Iterator[tuple[int, str]]:
    """What is done on other days: the tasks that are due, shallow days before starting over."""
    due = [TASK_FOR[f] for f in pair.oracle.tasks if f != "empty"]
    drills = [*due[:1] * 3, "shallow", "shallow"] if due else []
    if pair.oracle.must_start_over:
        drills = ["shallow", "shallow"]
    if rng.random() < 0.6:
        yield from ((pair.on + n, what) for n, what in enumerate(drills, 1))


def play(seed: int, *, events: int = 34, diver: Diver | None = None) -> int:
    """One season; both must say the same after every dive and on every morning.

    With a diver of its own it is a long climb of somebody obedient and seldom in trouble.
    """
    rng = random.Random(seed)
    pair = Pair(diver or invented(rng))
    trouble, obeys = rng.choice((0.05, 0.15, 0.4)), rng.choice((1.0, 1.0, 0.8, 0.5))
    gaps: tuple[int, ...] = GAPS
    if diver is not None:
        trouble, obeys, gaps = 0.02, 1.0, (3, 4, 5, 7, 7, 14)
    compared, left, on = 0, 0, 1
    while len(pair.told) < events:
        if left == 0 or (pair.oracle.target() is None and rng.random() < 0.7):
            if pair.told:
                drills = list(between(rng, pair))
                on = pair.on + max(len(drills), 0) + rng.choice(gaps)
                for day, what in drills:
                    pair.drill(day, what)
            pair.morning(on)
            left = rng.randint(1, 6)
        else:
            one_dive(rng, pair, trouble=trouble, obeys=obeys)
            left -= 1
        pair.agree()
        compared += 1
    return compared


DEEP_FRC = Diver(False, 480, 700, 70, (200, -3))
DEEP_RV = Diver(True, 780, 1500, 20, (200, -3))


@pytest.mark.parametrize("block", range(8))
def test_seasons_read_alike(block: int) -> None:
    """Held, the next target and the next free day are the same by both readings, dive by dive."""
    compared = sum(play(seed) for seed in range(block * 50, block * 50 + 50))
    assert compared > 500


@pytest.mark.parametrize("diver", [DEEP_FRC, DEEP_RV], ids=["FRC", "RV"])
def test_long_climbs_read_alike(diver: Diver) -> None:
    """A climb to the base or to the coach's depth is read alike, with the caps of the deep end."""
    assert sum(play(seed, events=220, diver=diver) for seed in range(14)) > 600


FRC_20 = Diver(False, 380, 400, 70)
RV_12 = Diver(True, 580, 600, 20)

Step = int | tuple[int | None] | tuple[int | None, str]


def told(diver: Diver, steps: tuple[Step, ...]) -> Pair:
    pair = Pair(diver)
    for step in steps:
        if isinstance(step, int):
            pair.morning(step)
        else:
            pair.dive(*step)
    return pair


SEEN: tuple[Step, ...] = (1, (70,), (70,), 14, (65, "cold"), 27, (65, "cold"), 40, (65, "cold"))
TO_6: tuple[Step, ...] = (
    *(1, (20,), (20,), (30,), (30,), (40,), 5, (30,), (40,), (40,), 9, (40,), (50,), (50,)),
    *(14, (50,), (55,), (55,), 18, (55,), (60,), (60,), 22),
)
HELD_7: tuple[Step, ...] = (1, (70,), (70,), 4, (70,), 8)


@pytest.mark.parametrize(
    ("diver", "steps"),
    [
        pytest.param(
            RV_12,
            (1, (20,), (20,), (30,), 4, (20,), (30,)),
            id="one 3 m today and one last time is no 4 m",
        ),
        pytest.param(
            Diver(True, 580, 650, 20, (60, -3)),
            (1, (35,), 17, (25,), 19, (25,)),
            id="a lay-off given back is no two steps at once",
        ),
        pytest.param(
            Diver(True, 580, 650, 20, (50, -3)),
            (1, (30,), (30, "hard"), 4, (25,), (20,)),
            id="a step given back is no two steps at once",
        ),
        pytest.param(
            Diver(False, 380, 450, 70, (120, -27)),
            (1, (50, "sternum"), 7, (40, "other"), 13, (35, "other"), 16),
            id="no 7 m two weeks after a pressure stop at 5 m",
        ),
        pytest.param(
            FRC_20,
            (1, (70,), (70,), 90, (50,), 94),
            id="an unbriefed dive is no start over",
        ),
        pytest.param(
            FRC_20,
            (*HELD_7, (120, "sternum")),
            id="pressure 5 m deeper than briefed takes as much as at the briefed depth",
        ),
        pytest.param(
            Diver(True, 600, 650, 20, (60, -3)),
            (1, (41, "hard")),
            id="hard deeper than briefed takes a step as at the briefed depth",
        ),
        pytest.param(
            Diver(False, 380, 450, 70, (150, -3)),
            (1, (95,), (120,), (50, "leak"), (80, "early")),
            id="a retry turned early is the same target again",
        ),
        pytest.param(
            Diver(False, 380, 450, 70, (80, -27)),
            (1,),
            id="a reported 8 m counts as 6 m",
        ),
        pytest.param(
            Diver(False, 380, 450, 70, (20, -3)),
            (1, 20, 20),
            id="a reported 2 m counts as 2 m",
        ),
        pytest.param(FRC_20, (*HELD_7, (50, "sternum")), id="pressure above the fill counts"),
        pytest.param(FRC_20, (*HELD_7, (25, "sternum")), id="pressure above 3 m counts"),
        pytest.param(FRC_20, (*HELD_7, (None, "sternum"), 12), id="nothing until it is known"),
        pytest.param(FRC_20, (*SEEN, 43), id="42 days old counts"),
        pytest.param(FRC_20, (*SEEN, 44), id="43 days old is too old"),
        pytest.param(RV_12, (*TO_6, (60, "sternum")), id="RV turned at 6 m: the day is over"),
        pytest.param(RV_12, (*TO_6, (59, "sternum")), id="RV turned at 5.9 m: once more"),
        pytest.param(RV_12, (*TO_6, (51, "leak")), id="RV half a metre above 5.1"),
        pytest.param(Diver(True, 580, 650, 20, (80, -3)), (1, (45,)), id="RV 4.5 steps to 5"),
    ],
)
def test_smallest_cases(diver: Diver, steps: tuple[Step, ...]) -> None:
    """The smallest season of each question is read alike."""
    told(diver, steps).agree()


Row = tuple[int, int, str, int, int | None]


def at(diver: Diver, held: int) -> Oracle:
    """Held, last exhale day Mon 4 May with nothing new that day."""
    oracle = Oracle(diver)
    oracle.clean, oracle.last, oracle.frozen, oracle.dived = [(4, held)] * 2, 4, held, True
    oracle.nights = {4: 2}
    return oracle


@pytest.mark.parametrize(
    ("oracle", "rows", "free"),
    [
        (
            at(FRC_20, 120),
            (
                (7, 95, "clean", 120, 120),
                (7, 120, "clean", 120, 130),
                (7, 130, "clean", 120, 130),
                (7, 130, "clean", 130, 130),
                (11, 100, "clean", 130, 130),
                (11, 115, "leak", 120, 105),
                (11, 105, "clean", 120, 105),
                (14, 95, "clean", 120, 120),
                (14, 120, "clean", 120, 130),
                (14, 130, "clean", 130, 130),
                (14, 100, "sternum", 80, 80),
                (14, 80, "clean", 80, None),
                (18, 70, "clean", 80, 80),
                (18, 80, "clean", 80, 90),
                (18, 80, "clean", 100, 90),
            ),
            {7: 11, 11: 14, 14: 18},
        ),
        (
            at(RV_12, 60),
            (
                (7, 60, "clean", 60, 65),
                (7, 65, "clean", 60, 65),
                (7, 65, "clean", 65, 65),
                (11, 50, "swallow", 65, 40),
                (11, 40, "clean", 65, 40),
                (14, 65, "clean", 65, 70),
                (14, 70, "hard", 65, 65),
                (14, 65, "clean", 65, 65),
                (18, 65, "clean", 65, 70),
                (18, 60, "sternum", 45, None),
                (21, 45, "clean", 45, 50),
                (21, 45, "clean", 50, 50),
            ),
            {7: 11, 11: 14, 14: 18, 18: 21},
        ),
        (
            at(FRC_20, 150),
            (
                (24, 95, "clean", 120, 120),
                (24, 120, "clean", 120, 120),
                (24, 120, "clean", 150, 120),
                (26, 120, "clean", 150, 150),
                (26, 150, "clean", 150, 160),
                (26, 160, "clean", 150, 160),
            ),
            {24: 26, 26: 31},
        ),
    ],
    ids=["FRC", "RV", "FRC after 20 days"],
)
def test_worked_days(oracle: Oracle, rows: tuple[Row, ...], free: dict[int, int]) -> None:
    """The second reading says what days worked by hand say (invented)."""
    for n, (on, depth, how, held, following) in enumerate(rows):
        oracle.dive(Dived(on, depth, how, None if oracle.diver.rv else 60))
        assert (oracle.held(on), oracle.target()) == (held, following), f"row {n + 1}"
        if on in free and (n + 1 == len(rows) or rows[n + 1][0] != on):
            assert oracle.free() == free[on]
