"""Locks at their corners: parts of days, the instant of a dive, and harm whose row was not kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from planner.harm import harm_table, lock_of, recent_harm, restart_share
from planner.record import Harm
from tests.planner.test_harm import DAY, at_day, cleared, dive, harm, record

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
