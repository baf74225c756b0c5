"""Locks at their corners: parts of days, the instant of a dive, and harm whose row was not kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from planner.agenda import DueKind, agenda
from planner.harm import harm_table, lock_of, locks_of, recent_harm, restart_share, unanswered
from planner.record import Cleared, Harm, Unwell
from planner.rules import RULES
from tests.planner.test_harm import DAY, at_day, cleared, dive, harm, origin, record, unwell, well

LEAST_D = min(row.days for row in harm_table().rows.values() if row.exhale)


@pytest.mark.parametrize(
    ("days", "until"),
    [(0.0, DAY + timedelta(days=1)), (1.0, DAY + timedelta(days=1)), (2.0, DAY + timedelta(days=2)),
     (2.5, DAY + timedelta(days=3)), (3.0, DAY + timedelta(days=3)), (3.1, DAY + timedelta(days=4))],
)  # fmt: skip
def test_a_part_of_a_day_is_a_whole_one(days: float, until: date) -> None:
    """Up to two days are hours; beyond, local days are counted and a part of one is one."""
    told = replace(harm("3"), row=None, level="day-over", days=days, doctor=False, since_well=False)
    lock = lock_of(record(told), at=at_day(0.01))
    assert lock is not None
    assert lock.until_on == until


@pytest.mark.parametrize(
    ("doctor", "days", "counts"),
    [(True, LEAST_D, True), (True, LEAST_D - 1, False), (False, LEAST_D, False)],
)
def test_harm_without_its_row_counts_by_its_days_and_its_doctor(
    doctor: bool, days: float, counts: bool
) -> None:
    """Both a clinician's word and the days of the grave rows; one of them alone is none of those rows."""
    told: Harm = replace(
        harm("8"), row=None, level="doctor-today", days=days, doctor=doctor, since_well=False
    )
    mara = record(told, cleared(days, DAY + timedelta(days=int(days))))
    assert (recent_harm(mara, at=at_day(days + 1)) is not None) is counts


def test_the_session_after_the_wait_lasts_to_its_last_dive() -> None:
    """Half of held at the very instant of each of its dives, four hours after the last, and none a minute later."""
    back = record(harm("8"), cleared(10, DAY + timedelta(days=10)), dive(56), dive(56.1))
    last = at_day(56.1)
    for at in (at_day(56), at_day(56.05), last, last + timedelta(hours=4)):
        assert restart_share(back, at=at) == 0.5
    assert restart_share(back, at=last + timedelta(hours=4, minutes=1)) == 1.0


NOON_D = 1 + 1 / 24
"""At noon of the day after."""


def test_a_clearance_that_was_said_before_a_later_symptom_is_no_word_for_it() -> None:
    """Cleared at noon, a tight chest again at three on the same day: a word of after that is owed."""
    again = harm("8", NOON_D + 0.125)
    mara = record(harm("8"), cleared(NOON_D, DAY + timedelta(days=1)), again)
    for days in (1.5, 20, 29, 60):
        lock = lock_of(mara, at=at_day(days))
        assert lock is not None
        assert lock.doctor
    assert recent_harm(mara, at=at_day(60)) == DAY + timedelta(days=60 + 28)
    heard = record(*mara.facts, cleared(2, DAY + timedelta(days=1)))
    assert lock_of(heard, at=at_day(29)) is None
    owed = lock_of(heard, at=at_day(28))
    assert owed is not None
    assert not owed.doctor


@pytest.mark.parametrize(
    ("said", "until"),
    [(28, date(2026, 8, 1)), (55, date(2026, 8, 1)), (56.2, None)],
)
def test_a_clearance_said_before_a_later_symptom_shortens_no_lock_of_it(
    said: float, until: date | None
) -> None:
    """Blood again on day 28, after the date of that day was told: shortened only 28 days from then."""
    told = cleared(said, DAY + timedelta(days=int(said)))
    mara = record(harm("6"), harm("6", 28.1), told)
    lock = lock_of(mara, at=at_day(57))
    assert (lock.until_on if lock else None) == until
    if lock is not None:
        assert lock.doctor is (said == 28)


@pytest.mark.parametrize(("line", "owes"), [(4, True), (6, False)])
def test_in_the_same_instant_a_later_line_is_the_word_for_an_earlier_one(
    line: int, owes: bool
) -> None:
    """`cleared` on the line before the symptom is none of it; on the line after it is."""
    told: Cleared = replace(cleared(0, DAY), origin=replace(origin(5), line=line))
    symptom = replace(harm("8"), origin=replace(origin(5), line=5))
    lock = lock_of(record(told, symptom), at=at_day(1))
    assert lock is not None
    assert lock.doctor is owes


def asked_at(hour: int, minute: int = 0) -> Unwell:
    """No or not sure to the check, at an hour of 5 May in Lisbon."""
    at = datetime(2026, 5, 5, hour, minute, tzinfo=ZoneInfo("Europe/Lisbon")).astimezone(UTC)
    return replace(unwell(0), happened_at=at, said_at=at)


@pytest.mark.parametrize(
    ("hour", "minute", "day", "begins_h"),
    [(0, 30, 5, 19), (11, 0, 5, 19), (18, 59, 5, 19), (19, 0, 6, 8), (23, 30, 6, 8)],
)
def test_a_check_that_is_left_open_at_night_is_row_23_in_the_morning(
    hour: int, minute: int, day: int, begins_h: int
) -> None:
    """Asked before 19:00 it has until then; asked after it, until the morning's question at 8:00."""
    mara = record(asked_at(hour, minute))
    begins = datetime(2026, 5, day, begins_h, tzinfo=ZoneInfo("Europe/Lisbon"))
    waits = unanswered(mara, at=begins - timedelta(seconds=1))
    assert waits is not None
    assert waits.evening_at == begins
    assert lock_of(mara, at=begins - timedelta(seconds=1)) is None
    lock = lock_of(mara, at=begins)
    assert lock is not None
    assert lock.doctor
    assert lock.until_on == DAY + timedelta(days=14)


def test_an_answer_before_the_morning_is_in_time() -> None:
    """Not sure at nine in the evening, answered at seven in the morning: no lock."""
    seven = datetime(2026, 5, 6, 6, tzinfo=UTC)
    mara = record(asked_at(21), replace(well(1, n=5000), happened_at=seven, said_at=seven))
    assert lock_of(mara, at=at_day(1)) is None
    assert locks_of(mara).unanswered(at_day(1)) is None


@pytest.mark.parametrize(("hour", "asks_on"), [(14, 6), (21, 7)])
def test_whether_a_doctor_was_seen_is_asked_on_the_morning_after_row_23_began(
    hour: int, asks_on: int
) -> None:
    """What becomes row 23 on a morning is not followed up in the same minute, but a day later."""
    mara = record(asked_at(hour))
    at = datetime(2026, 5, 6, 7, tzinfo=UTC)
    (due,) = [d for d in agenda(mara, rules=RULES, at=at) if d.kind is DueKind.FOLLOW_UP]
    assert due.at == datetime(2026, 5, asks_on, 8, tzinfo=ZoneInfo("Europe/Lisbon"))
