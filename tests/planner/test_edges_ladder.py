"""The ladder of full-lung depths and the tasks of learning, move by move (house rules H)."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from planner.ladder import Ladder
from planner.learning import FETCH, TASKS, DosePassed, Learning, dose_passed
from planner.record import Dive, Ending, Exercise, Origin, Reason, record_of
from planner.rules import RULES
from tests.planner.season import DIVER, ZONE

AT = datetime(2026, 5, 7, 9, tzinfo=UTC)


def dive(
    ending: str = "clean",
    depth_m: float | None = 30.0,
    *,
    exercise: Exercise = Exercise.FULL,
    fill_m: float | None = 18.0,
    waits: bool = False,
    task: str | None = None,
    amount: int | None = None,
) -> Dive:
    plain = ending in ("clean", "hard", "early")
    return Dive(
        diver=DIVER, by=DIVER, happened_at=AT, said_at=AT, origin=Origin(chat="g:1", message=1),
        exercise=exercise, depth_m=depth_m, fill_m=fill_m, waits=waits, task=task, amount=amount,
        ending=Ending(ending) if plain else Ending.STOP, reason=None if plain else Reason(ending),
    )  # fmt: skip


def ladder(stated_m: float | None = None, *dives: tuple[int, Dive]) -> Ladder:
    found = Ladder(RULES)
    if stated_m is not None:
        found.stated(stated_m)
    for day, one in dives:
        found.dived(one, day=day)
    return found


@pytest.mark.parametrize(
    ("stated_m", "dived_m", "pb_m"),
    [(None, None, None), (32, None, 32), (None, 30, 30), (32, 30, 32), (32, 34, 34), (32, 32, 32)],
)
def test_the_personal_best_is_the_deeper_of_stated_and_dived(
    stated_m: float | None, dived_m: float | None, pb_m: float | None
) -> None:
    """Neither: none; one of them: that; both: the deeper."""
    dives = [] if dived_m is None else [(1, dive(depth_m=dived_m))]
    assert ladder(stated_m, *dives).pb_m == pb_m


def test_a_ladder_begins_with_nothing() -> None:
    """Before anything is stated or dived there is no level, no trouble and no next line."""
    new = Ladder(RULES)
    assert (new.pb_m, new.level_m, new.next_m(40), new.owed) == (None, None, None, False)
    assert (new.trouble_day, new.pressure_day, new.last_empty) == (None, None, None)
    assert (new.clean_days, new.unknown) == (frozenset(), ())


@pytest.mark.parametrize(
    ("stated_m", "goal_m", "next_m"),
    [(32, 40, 34), (32, 33, 33), (32.5, 40, 34.5), (32.7, 40, 34.5), (32, 34, 34), (32, 32, 32)],
)
def test_a_step_is_two_metres_over_a_stated_best(
    stated_m: float, goal_m: float, next_m: float
) -> None:
    """A best that was only stated owes no days: 2 m on, rounded down, and no deeper than the goal."""
    assert ladder(stated_m).next_m(goal_m) == next_m


def test_a_step_that_was_dived_is_owed_two_days() -> None:
    """Once: the same line again; on a second day: a step on; twice in a day is once."""
    found = ladder(32, (1, dive(depth_m=34)))
    assert (found.level_m, found.owed, found.next_m(40)) == (34, True, 34)
    found.dived(dive(depth_m=34.4), day=1)
    assert found.owed
    found.dived(dive(depth_m=33.9), day=2)
    assert found.owed
    found.dived(dive("early", 34), day=3)
    assert (found.owed, found.next_m(40), len(found.clean_days)) == (False, 36, 2)
    assert found.next_m(33) == 33


def test_a_line_that_is_owed_goes_no_deeper_than_the_goal() -> None:
    """A level past a goal that was lowered is capped at the goal."""
    assert ladder(32, (1, dive(depth_m=34))).next_m(33) == 33


def test_what_waits_or_has_no_depth_is_no_step() -> None:
    """A report that waits for a yes, or without a depth, raises nothing."""
    found = ladder(32, (1, dive(depth_m=34, waits=True)), (1, dive(depth_m=None)))
    assert (found.dived_m, found.level_m, found.owed) == (None, 32, False)


def test_a_correction_of_the_stated_best_moves_the_level_with_it() -> None:
    """Stated again, lower or higher: the level follows unless a dive has shown more or a fault less."""
    found = ladder(32)
    found.stated(30)
    assert (found.pb_m, found.level_m) == (30, 30)
    found.stated(35)
    assert (found.pb_m, found.level_m) == (35, 35)
    dived = ladder(32, (1, dive(depth_m=34)))
    dived.stated(33)
    assert (dived.pb_m, dived.level_m, dived.owed) == (34, 34, True)
    more = ladder(32, (1, dive(depth_m=34)))
    more.stated(40)
    assert (more.pb_m, more.level_m, more.owed) == (40, 40, False)
    faulty = ladder(32, (1, dive("empty", 24)))
    faulty.stated(40)
    assert (faulty.pb_m, faulty.level_m, faulty.owed) == (40, 24, True)
    faulty.stated(20)
    assert (faulty.pb_m, faulty.level_m) == (20, 20)


@pytest.mark.parametrize(
    ("ending", "depth_m", "fill_m", "level_m"),
    [
        ("sternum", 30, 18, 24), ("throat", 31, 18, 24.5), ("unstated", 40, 18, 32),
        ("empty", 28, 18, 28), ("empty", 28.4, None, 28), ("empty", 18, 18, 32),
        ("empty", None, 18, 32), ("empty", 33, 18, 32), ("leak", 28, 18, 32), ("ears", 20, 18, 32),
    ],
)  # fmt: skip
def test_a_stop_puts_the_level_no_deeper_than_it_showed(
    ending: str, depth_m: float | None, fill_m: float | None, level_m: float
) -> None:
    """Pressure: 80 % of the turn; empty below the fill: where it ran out; else the last clean depth; two days are owed."""
    found = ladder(32, (5, dive(ending, depth_m, fill_m=fill_m)))
    assert (found.level_m, found.owed, found.clean_days) == (level_m, True, frozenset())
    assert found.trouble_day == 5
    assert found.next_m(40) == level_m


@pytest.mark.parametrize(
    ("ending", "trouble", "pressure", "empty"),
    [
        ("sternum", 5, 5, False), ("empty", 5, None, True), ("leak", 5, None, False),
        ("urge", 5, None, False), ("other", 5, None, False), ("cold", None, None, False),
        ("hard", 5, None, False), ("clean", None, None, False), ("early", None, None, False),
    ],
)  # fmt: skip
def test_each_ending_is_remembered_for_what_it_was(
    ending: str, trouble: int | None, pressure: int | None, empty: bool
) -> None:
    """Trouble ends the day, pressure marks it, and running out is kept with its dive."""
    one = dive(ending, 30)
    found = ladder(32, (5, one))
    assert (found.trouble_day, found.pressure_day) == (trouble, pressure)
    assert found.last_empty is (one if empty else None)


def test_a_hard_dive_urge_or_cold_leaves_the_level() -> None:
    """They take nothing off and owe nothing."""
    for ending in ("hard", "urge", "cold", "other"):
        found = ladder(32, (5, dive(ending, 30)))
        assert (found.level_m, found.owed) == (32, False)


def test_a_pressure_stop_of_unknown_depth_is_kept_until_it_is_told() -> None:
    """Each is kept, the day is marked, and the level stays."""
    one = dive("sternum", None)
    found = ladder(32, (5, one), (6, one))
    assert found.unknown == (one, one)
    assert (found.level_m, found.pressure_day) == (32, 6)


def test_below_the_best_a_step_leads_to_the_best_first() -> None:
    """From a level under the personal best two clean days lead a step on, but not past the best at once."""
    found = ladder(32, (1, dive("empty", 31)), (2, dive(depth_m=31)), (3, dive(depth_m=31)))
    assert (found.level_m, found.owed, found.next_m(40)) == (31, False, 32)
    low = ladder(32, (1, dive("empty", 25)), (2, dive(depth_m=25)), (3, dive(depth_m=25)))
    assert low.next_m(40) == 27
    assert low.next_m(26) == 26


def test_a_copy_of_a_ladder_is_its_own() -> None:
    """What happens to the copy leaves the first one alone."""
    found = ladder(32)
    other = found.copy()
    other.dived(dive(depth_m=36), day=1)
    assert (found.level_m, found.dived_m, other.level_m) == (32, None, 36)


# learning


def exhale(
    learning: Learning, ending: str, *, session: int = 1, day: int = 1, fill_m: float | None = None
) -> None:
    learning.exhale(
        dive(ending, 10, exercise=Exercise.FRC, fill_m=fill_m), session=session, day=day
    )


@pytest.mark.parametrize(("reason", "task"), [(r.value, t) for r, t in TASKS.items()])
def test_a_fault_met_twice_in_a_session_sets_its_task(reason: str, task: str) -> None:
    """The task, the fault and the day it was set stand, with nothing done yet."""
    found = Learning(RULES)
    exhale(found, reason, day=4)
    assert found.open == {}
    exhale(found, reason, day=5)
    (one,) = found.open.values()
    assert (one.task, one.reason, one.since_day, one.days, one.shallows) == (
        task, Reason(reason), 5, frozenset(), 0,
    )  # fmt: skip
    exhale(found, reason, day=9)
    assert found.open[task].since_day == 5


def test_faults_on_full_lungs_count_in_three() -> None:
    """Two alike in the last three full-lung dives; the fourth back is gone; others don't set it."""
    found = Learning(RULES)
    for ending in ("leak", "clean", "clean", "leak"):
        found.full(dive(ending), day=1)
    assert found.open == {}
    found.full(dive("clean"), day=1)
    found.full(dive("leak"), day=2)
    assert set(found.open) == {"lock"}
    assert (found.open["lock"].reason, found.open["lock"].since_day) == (Reason.LEAK, 2)
    other = Learning(RULES)
    other.full(dive("leak"), day=1)
    other.full(dive("swallow"), day=1)
    other.full(dive("sternum"), day=1)
    other.full(dive("sternum"), day=1)
    assert other.open == {}


def test_another_way_of_filling_sets_the_fetch_task_each_exercise_by_itself() -> None:
    """From depth to the surface or back, by one exercise; a fill that isn't stated changes nothing."""
    found = Learning(RULES)
    exhale(found, "clean", fill_m=5)
    exhale(found, "clean")
    exhale(found, "clean", fill_m=7)
    assert found.open == {}
    found.exhale(dive("clean", 8, exercise=Exercise.RV, fill_m=0.0), session=1, day=1)
    assert found.open == {}
    exhale(found, "clean", fill_m=0.0, day=3)
    (one,) = found.open.values()
    assert (one.task, one.reason, one.since_day) == (FETCH, None, 3)


@pytest.mark.parametrize(("amount", "opens"), [(9, True), (10, False), (None, False)])
def test_counting_under_ten_sets_the_count_task(amount: int | None, opens: bool) -> None:
    """Fewer than ten equalisations from one fill; of another task a number means nothing."""
    found = Learning(RULES)
    found.practised(dive(exercise=Exercise.DRY, task="lock", amount=amount), day=2)
    assert found.open == {}
    found.practised(dive(exercise=Exercise.DRY, task="count", amount=amount), day=3)
    assert (set(found.open) == {"count"}) is opens
    if opens:
        assert (found.open["count"].reason, found.open["count"].since_day) == (Reason.EMPTY, 3)


def test_a_task_is_done_after_three_days_and_two_shallow_dives_in_either_order() -> None:
    """Two days or one shallow dive are too few; what waits or went wrong is none; other tasks stay."""
    for shallow_first in (True, False):
        found = Learning(RULES)
        for reason in ("leak", "leak", "swallow", "swallow"):
            exhale(found, reason)
        assert set(found.open) == {"lock", "hold"}

        def shallow(found: Learning = found) -> None:
            found.shallow(dive(exercise=Exercise.SHALLOW, waits=True), day=5)
            found.shallow(dive("other", exercise=Exercise.SHALLOW), day=5)
            found.shallow(dive(exercise=Exercise.SHALLOW), day=5)

        def drill(day: int, found: Learning = found) -> None:
            found.practised(dive(exercise=Exercise.DRY, task="lock", waits=True), day=day + 50)
            found.practised(dive("hard", exercise=Exercise.DRY, task="lock"), day=day + 60)
            found.practised(dive(exercise=Exercise.DRY, task=None), day=day + 70)
            found.practised(dive(exercise=Exercise.DRY, task="lock"), day=day)

        if shallow_first:
            shallow()
            shallow()
        drill(2)
        drill(2)
        drill(3)
        assert found.open["lock"].days == {2, 3}
        assert (found.open["lock"].since_day, found.open["lock"].reason) == (1, Reason.LEAK)
        if shallow_first:
            assert (found.open["lock"].shallows, found.open["hold"].shallows) == (2, 2)
            drill(4)
        else:
            drill(4)
            shallow()
            assert "lock" in found.open
            shallow()
        assert set(found.open) == {"hold"}
        exhale(found, "leak", session=2)
        assert set(found.open) == {"hold"}
        exhale(found, "leak", session=2)
        assert set(found.open) == {"hold", "lock"}


def test_a_copy_of_what_is_learned_is_its_own() -> None:
    """A task set in a copy, a fault and a fill counted there, leave the first one alone."""
    found = Learning(RULES)
    exhale(found, "leak", fill_m=5)
    other = found.copy()
    exhale(other, "leak", fill_m=0.0)
    assert set(other.open) == {"lock", FETCH}
    assert found.open == {}
    exhale(found, "clean", fill_m=6)
    assert found.open == {}


def test_faults_on_full_lungs_are_counted_anew_after_their_task() -> None:
    """Once a task is done, its fault on full lungs is the first again, and another's still counts."""
    found = Learning(RULES)
    for ending in ("leak", "swallow", "leak"):
        found.full(dive(ending), day=1)
    assert set(found.open) == {"lock"}
    for day in (2, 3, 4):
        found.practised(dive(exercise=Exercise.DRY, task="lock"), day=day)
    for _ in range(2):
        found.shallow(dive(exercise=Exercise.SHALLOW), day=5)
    assert found.open == {}
    found.full(dive("swallow"), day=5)
    assert set(found.open) == {"hold"}
    found.full(dive("leak"), day=6)
    assert set(found.open) == {"hold"}


@pytest.mark.parametrize(("minutes", "beyond"), [(-1, False), (0, True), (59, True), (60, False)])
@pytest.mark.parametrize("exercise", [Exercise.FRC, Exercise.FULL, Exercise.SHALLOW])
def test_a_task_shortly_before_a_session_is_beyond_its_dose(
    minutes: int, beyond: bool, exercise: Exercise
) -> None:
    """From the task's own instant up to an hour after it a dive is too soon; a shallow one never is."""
    assert RULES["task.before_session_min"] == 60
    dry = replace(dive(exercise=Exercise.DRY, task="lock"), origin=Origin(chat="g:1", message=2))
    after = replace(dive(exercise=exercise), happened_at=AT + timedelta(minutes=minutes))
    record = record_of(DIVER, [dry, after], timezone=ZONE)
    found = set(dose_passed(record, dry, rules=RULES))
    assert (DosePassed.BEFORE in found) is (beyond and exercise is not Exercise.SHALLOW)


def test_a_task_has_its_minutes_and_its_days() -> None:
    """Longer than the most minutes, or on more days of the run than the most, is beyond; at them it isn't."""
    most_s, most, days_in = (
        int(RULES["task.most_min"] * 60), int(RULES["task.days_most"]), int(RULES["task.days_in"]),
    )  # fmt: skip
    for seconds, beyond in ((None, False), (most_s, False), (most_s + 1, True)):
        dry = replace(dive(exercise=Exercise.DRY, task="lock"), dive_time_s=seconds)
        record = record_of(DIVER, [dry], timezone=ZONE)
        assert (DosePassed.LONG in set(dose_passed(record, dry, rules=RULES))) is beyond
    for count, spread, beyond in (
        (most, 1, False), (most + 1, 1, True), (most + 1, days_in, False),
    ):  # fmt: skip
        days = [
            replace(
                dive(exercise=Exercise.DRY, task="lock"),
                happened_at=AT + timedelta(days=n if n < count - 1 else max(n, spread)),
                origin=Origin(chat="g:1", message=n),
            )
            for n in range(count)
        ]
        record = record_of(DIVER, days, timezone=ZONE)
        assert (DosePassed.OFTEN in set(dose_passed(record, days[-1], rules=RULES))) is beyond


def test_a_pressure_stop_before_any_best_puts_a_level() -> None:
    """With nothing stated the level is 80 % of the turn, and there is no line before a best is known."""
    found = ladder(None, (5, dive("sternum", 30)))
    assert (found.level_m, found.owed, found.next_m(40)) == (24, True, None)
