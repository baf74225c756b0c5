"""Locks: what each row brings, when it ends, and that nothing shortens one."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.harm import (
    LEVELS,
    harm_table,
    lock_of,
    locks_of,
    new_depth_barred,
    recent_harm,
    restart_share,
    unwell_open,
)
from planner.record import (
    Cleared,
    Dive,
    DiverRecord,
    Ending,
    Exercise,
    Fact,
    Harm,
    Origin,
    Strike,
    Unwell,
    Well,
    record_of,
)
from tests.planner.season import Season

ZONE = ZoneInfo("Europe/Lisbon")
BEGIN = datetime(2026, 5, 5, 10, 0, tzinfo=UTC)  # 11:00 in Lisbon
DAY = date(2026, 5, 5)


def origin(n: int) -> Origin:
    return Origin(chat="p:mara", message=n)


def at_day(days: float) -> datetime:
    return BEGIN + timedelta(days=days)


def harm(key: str, days: float = 0, *, n: int = 0, kept: bool = True) -> Harm:
    row = harm_table().rows[key]
    return Harm(
        diver="mara",
        happened_at=at_day(days),
        said_at=at_day(days),
        by="mara",
        origin=origin(n or 1000 + round(days * 100)),
        row=key if kept else None,
        level=row.level,
        days=row.days,
        doctor=row.doctor,
        since_well=row.since_well,
    )


def well(days: float, *, n: int | None = None) -> Well:
    return Well(
        diver="mara",
        happened_at=at_day(days),
        said_at=at_day(days),
        by="mara",
        origin=origin(3000 + round(days * 100) if n is None else n),
    )


def unwell(days: float, *, n: int = 5000, raised_by_other: bool = False) -> Unwell:
    return Unwell(
        diver="mara",
        happened_at=at_day(days),
        said_at=at_day(days),
        by="mara",
        origin=origin(n),
        raised_by_other=raised_by_other,
    )


def cleared(said: float, on: date) -> Cleared:
    return Cleared(
        diver="mara",
        happened_at=at_day(said),
        said_at=at_day(said),
        by="mara",
        origin=origin(7000 + round(said * 100)),
        on=on,
    )


def dive(days: float, depth_m: float = 8) -> Dive:
    return Dive(
        diver="mara",
        happened_at=at_day(days),
        said_at=at_day(days),
        by="mara",
        origin=origin(9000 + round(days * 1000)),
        exercise=Exercise.FRC,
        depth_m=depth_m,
        ending=Ending.CLEAN,
    )


def record(*facts: Fact) -> DiverRecord:
    return record_of("mara", facts, timezone=ZONE)


# The table, written down a second time: level, least days, a clinician's word, open until well. House rules (H).
TABLE = {
    "1": ("call-now", 60, True, False),
    "2": ("call-now", 30, True, False),
    "3": ("day-over", 7, False, False),
    "4": ("call-now", 60, True, False),
    "5": ("call-now", 60, True, False),
    "6": ("doctor-today", 60, True, False),
    "7": ("call-now", 60, True, False),
    "8": ("doctor-today", 28, True, False),
    "9": ("doctor-today", 28, True, False),
    "9a": ("day-over", 2, False, False),
    "10": ("call-now", 60, True, False),
    "11": ("day-over", 7, False, True),
    "12": ("call-now", 60, True, False),
    "13": ("doctor-today", 28, True, False),
    "14": ("doctor-today", 60, True, False),
    "15": ("day-over", 2, False, False),
    "16": ("doctor-today", 60, True, True),
    "17": ("day-over", 7, False, True),
    "18": ("day-over", 7, False, True),
    "19": ("day-over", 0, False, True),
    "20": ("day-over", 2, False, True),
    "21": ("practice-over", 1, False, False),
    "22": ("doctor-today", 28, True, False),
    "23": ("doctor-today", 14, True, False),
    "24": ("call-now", 0, True, True),
}


def test_every_row_of_the_table_is_there_with_its_figures() -> None:
    """The table stands row by row in harm.toml."""
    rows = harm_table().rows
    for key, figures in TABLE.items():
        row = rows[key]
        assert (row.level, row.days, row.doctor, row.since_well) == figures, key
    for key in rows.keys() - TABLE.keys():
        assert key.partition("-")[0] in TABLE


def test_rows_four_to_ten_and_only_they_keep_exhale_dives_away() -> None:
    """What follows a lock's end is asked of rows 4 to 10."""
    got = {k for k, row in harm_table().rows.items() if row.exhale}
    assert got == {"4", "5", "6", "7", "8", "9", "10"}


def test_nothing_said_is_no_lock() -> None:
    """A record without harm has neither lock, wait nor question."""
    mara = record(dive(0))
    assert lock_of(mara, at=at_day(1)) is None
    assert recent_harm(mara, at=at_day(1)) is None
    assert restart_share(mara, at=at_day(1)) == 1.0
    assert not unwell_open(mara, at=at_day(1))
    assert not new_depth_barred(mara, at=at_day(1))


@pytest.mark.parametrize("key", [k for k, v in TABLE.items() if v[2] and not v[3]])
def test_a_doctors_lock_outlasts_its_days_until_the_clinicians_date(key: str) -> None:
    """Without the diver's own date of a clinician's word the lock stands on."""
    mara = record(harm(key), well(1))
    last = TABLE[key][1]
    for days in (0, 1, last - 1, last, 400):
        lock = lock_of(mara, at=at_day(days))
        assert lock is not None
        assert lock.doctor
    told = record(harm(key), well(1), cleared(2, DAY + timedelta(days=2)))
    before = lock_of(told, at=at_day(last - 1))
    assert before is not None
    assert before.until_on == DAY + timedelta(days=last)
    assert not before.doctor
    assert lock_of(told, at=at_day(last)) is None


def test_a_clinicians_date_before_the_harm_or_ahead_clears_nothing() -> None:
    """The date must be on or after the harm, and not in the future."""
    early = record(harm("8"), cleared(1, DAY - timedelta(days=1)))
    ahead = record(harm("8"), cleared(1, DAY + timedelta(days=300)))
    assert lock_of(early, at=at_day(40)) is not None
    assert lock_of(ahead, at=at_day(40)) is not None


def test_a_clinician_may_shorten_row_six_to_twenty_eight_days() -> None:
    """A date at day 27 doesn't end row 6, one at day 28 does, and only row 6."""
    at_27 = record(harm("6"), cleared(27, DAY + timedelta(days=27)))
    at_28 = record(harm("6"), cleared(28, DAY + timedelta(days=28)))
    five = record(harm("5"), cleared(28, DAY + timedelta(days=28)))
    assert lock_of(at_27, at=at_day(30)) is not None
    assert lock_of(at_28, at=at_day(30)) is None
    assert lock_of(five, at=at_day(30)) is not None


def test_symptom_free_days_count_from_the_first_well_after_the_harm() -> None:
    """Row 11 is open until `feel ok`; seven days count from then."""
    mara = record(well(-1), harm("11"), well(3), well(9))
    open_lock = lock_of(mara, at=at_day(2))
    assert open_lock is not None
    assert open_lock.open
    assert open_lock.until_on is None
    lock = lock_of(mara, at=at_day(5))
    assert lock is not None
    assert lock.until_on == DAY + timedelta(days=10)
    assert lock_of(mara, at=at_day(10)) is None


def test_the_day_is_the_local_day_and_hours_are_hours() -> None:
    """`The day` ends at local midnight, 24 h and 48 h to the minute."""
    down = record(harm("17-down"))
    assert lock_of(down, at=datetime(2026, 5, 5, 22, 59, tzinfo=UTC)) is not None
    assert lock_of(down, at=datetime(2026, 5, 5, 23, 0, tzinfo=UTC)) is None
    for key, hours in (("21", 24), ("9a", 48), ("15", 48)):
        mara = record(harm(key))
        assert lock_of(mara, at=BEGIN + timedelta(hours=hours, minutes=-1)) is not None
        assert lock_of(mara, at=BEGIN + timedelta(hours=hours)) is None


def test_what_settles_bars_the_day_all_the_same() -> None:
    """Row 19 ends when it has settled, but not on the day itself."""
    mara = record(harm("19"), well(0.1))
    assert lock_of(mara, at=at_day(0.2)) is not None
    assert lock_of(mara, at=at_day(1)) is None


@pytest.mark.parametrize("kept", [True, False])
def test_a_second_loss_of_control_within_thirty_days_asks_a_doctor(kept: bool) -> None:
    """Row 3 twice within 30 days: 30 days and a doctor; later than that, 7 days again."""
    twice = record(harm("3", kept=kept), harm("3", 20, kept=kept))
    lock = lock_of(twice, at=at_day(28))
    assert lock is not None
    assert lock.doctor
    assert lock.until_on == DAY + timedelta(days=50)
    apart = record(harm("3", kept=kept), harm("3", 31, kept=kept))
    assert lock_of(apart, at=at_day(39)) is None


def test_one_event_told_twice_is_not_a_second_one() -> None:
    """Two reports within the hour, or two versions of one message, are the same loss of control."""
    told = record(harm("3"), harm("3", 0.02))
    edited = record(harm("3", n=1), harm("3", 3, n=1))
    for mara in (told, edited):
        lock = lock_of(mara, at=at_day(4))
        assert lock is not None
        assert not lock.doctor


def test_a_brief_spin_again_is_seven_days() -> None:
    """Row 15 for the second time brings seven days."""
    mara = record(harm("15"), harm("15", 5))
    assert lock_of(mara, at=at_day(11)) is not None
    assert lock_of(mara, at=at_day(12)) is None


def test_striking_a_report_of_harm_shortens_nothing() -> None:
    """Undo and edit leave the lock as it was."""
    said = harm("6", n=4)
    strike = Strike(
        diver="mara",
        happened_at=at_day(0.1),
        said_at=at_day(0.1),
        by="mara",
        origin=origin(5),
        struck=origin(4),
    )
    assert lock_of(record(said, strike), at=at_day(5)) == lock_of(record(said), at=at_day(5))


def test_after_rows_four_to_ten_exhale_dives_wait_and_restart_at_half() -> None:
    """28 days after the lock's end without exhale dives, then half of held for one session."""
    facts: list[Fact] = [harm("8"), cleared(10, DAY + timedelta(days=10))]
    mara = record(*facts)
    assert lock_of(mara, at=at_day(28)) is None
    assert recent_harm(mara, at=at_day(28)) == DAY + timedelta(days=56)
    assert recent_harm(mara, at=at_day(56)) is None
    assert restart_share(mara, at=at_day(56)) == 0.5
    back = record(*facts, dive(56), dive(56.01))
    assert restart_share(back, at=at_day(56.02)) == 0.5
    assert restart_share(back, at=at_day(58)) == 1.0


def after_grave_harm(*between: str, row: str, back: str) -> Season:
    """Held 16 m by report, harm of that row on 5 May, cleared, shallow days between, back on a day."""
    season = Season(Exercise.FRC).profile(pb_m=40, goal_m=48).reported(20, date(2026, 5, 1))
    season.morning("2026-05-05").dive(12.5)
    told = harm(row, n=8000)
    season.facts.append(replace(told, happened_at=season.at, said_at=season.at))
    season.facts.append(cleared(20, DAY + timedelta(days=20)))
    for on in between:
        season.morning(on).other(Exercise.SHALLOW, 8)
    return season.morning(back)


@pytest.mark.parametrize(
    "between", [(), ("2026-06-10",), ("2026-06-05", "2026-06-10", "2026-06-20")]
)
def test_half_of_held_is_taken_once_whatever_was_dived_on_full_lungs_between(
    between: tuple[str, ...],
) -> None:
    """The shallow days that the way back asks for take nothing further: 16 m held come back as 8 m."""
    season = after_grave_harm(*between, row="9", back="2026-07-01")
    assert season.held_m() == 8
    opening = season.next()
    assert opening is not None
    assert opening <= 8


def test_starting_over_after_grave_harm_is_no_deeper_than_half_of_what_was_held() -> None:
    """After a lock so long that nothing is held any more, the first depth is no way round the half."""
    season = after_grave_harm("2026-07-10", "2026-07-20", row="6", back="2026-08-05")
    assert season.next() == 7  # half of 16 m is more than the first depth
    little = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).reported(11, date(2026, 5, 1))
    little.morning("2026-05-05").dive(7)
    told = harm("6", n=8000)
    little.facts.append(replace(told, happened_at=little.at, said_at=little.at))
    little.facts.append(cleared(20, DAY + timedelta(days=20)))
    for on in ("2026-07-10", "2026-07-20"):
        little.morning(on).other(Exercise.SHALLOW, 8)
    little.morning("2026-08-05")
    assert little.next() == 4  # held 8.5 m, half of it rounded down
    assert little.dive(4).dive(4).next() == 4


def test_the_wait_counts_from_the_clinicians_date_where_that_is_later() -> None:
    """A lock whose days are over ends with the date it still owed."""
    mara = record(harm("8"), cleared(50, DAY + timedelta(days=50)))
    assert recent_harm(mara, at=at_day(51)) == DAY + timedelta(days=78)


def test_without_consent_a_doctors_lock_keeps_exhale_dives_away_too() -> None:
    """A harm kept without its row counts as one of rows 4 to 10, the careful side."""
    mara = record(harm("8", kept=False), cleared(1, DAY + timedelta(days=1)))
    assert recent_harm(mara, at=at_day(30)) == DAY + timedelta(days=56)
    assert recent_harm(record(harm("11", kept=False), well(1)), at=at_day(9)) is None


def test_a_no_to_the_check_bars_at_once_and_reads_as_row_23_by_evening() -> None:
    """Unanswered at 19:00 local it is 14 days and a doctor; a later answer lifts only the question."""
    mara = record(unwell(0))
    assert unwell_open(mara, at=at_day(0))
    assert lock_of(mara, at=datetime(2026, 5, 5, 17, 59, tzinfo=UTC)) is None
    evening = lock_of(mara, at=datetime(2026, 5, 5, 18, 0, tzinfo=UTC))
    assert evening is not None
    assert evening.doctor
    assert evening.until_on == DAY + timedelta(days=14)
    late = record(unwell(0), well(1, n=5000))
    assert not unwell_open(late, at=at_day(1))
    assert lock_of(late, at=at_day(20)) is not None


def test_an_answer_in_its_own_place_before_the_evening_leaves_nothing() -> None:
    """Words nobody could read that were nothing leave neither question nor lock."""
    mara = record(unwell(0), well(0.1, n=5000))
    assert not unwell_open(mara, at=at_day(0.1))
    assert lock_of(mara, at=at_day(3)) is None


def test_feeling_well_answers_no_question_that_was_answered_with_no() -> None:
    """After `[no]` a bare `feel ok` opens no target, and the evening brings row 23 all the same."""
    mara = record(unwell(0), well(0.1), well(1))
    assert unwell_open(mara, at=at_day(1))
    lock = lock_of(mara, at=at_day(1))
    assert lock is not None
    assert lock.doctor


def test_an_answer_of_the_same_instant_is_none() -> None:
    """`feel ok` in one message with what nobody can read answers nothing."""
    assert unwell_open(record(unwell(0), well(0, n=5000)), at=at_day(0.1))


def test_a_harm_that_answers_the_check_takes_the_place_of_row_23() -> None:
    """The answers choose the row: a harm of the same origin answers the question."""
    mara = record(unwell(0, n=50), harm("11", 0.1, n=50))
    assert not unwell_open(mara, at=at_day(0.1))
    lock = lock_of(mara, at=at_day(2))
    assert lock is not None
    assert not lock.doctor


def test_a_question_raised_by_somebody_else_bars_but_locks_nothing() -> None:
    """It stands until the diver answers, and then leaves nothing."""
    mara = record(unwell(0, raised_by_other=True))
    assert unwell_open(mara, at=at_day(9))
    assert lock_of(mara, at=at_day(9)) is None
    assert not unwell_open(record(unwell(0, raised_by_other=True), well(9)), at=at_day(9))


def test_row_21_bars_a_new_depth_until_the_next_session_is_over() -> None:
    """Practice over: no new depth next time, then as usual."""
    facts = [harm("21"), dive(2), dive(2.02), dive(5)]
    mara = record(*facts)
    for days in (0, 1, 2, 2.01, 2.03):
        assert new_depth_barred(mara, at=at_day(days)), days
    assert not new_depth_barred(mara, at=at_day(2.5))
    assert not new_depth_barred(mara, at=at_day(5))


def test_open_question_gives_the_origin_that_an_answer_carries() -> None:
    """The first question that nothing answered is the one."""
    mara = record(unwell(0, n=50), well(0.1, n=50), unwell(0.2, n=60), unwell(0.3, n=60))
    assert locks_of(mara).open_question(at_day(1)) == origin(60)
    assert locks_of(record(unwell(0), well(1, n=5000))).open_question(at_day(2)) is None


KEYS = st.sampled_from(sorted(harm_table().rows))
DAYS = st.integers(min_value=0, max_value=300).map(lambda q: q / 4)
HEALTH: st.SearchStrategy[Fact] = st.one_of(
    st.builds(harm, KEYS, DAYS, n=st.integers(1, 900), kept=st.booleans()),
    st.builds(well, DAYS),
    st.builds(unwell, DAYS, n=st.integers(5000, 5999), raised_by_other=st.booleans()),
    st.builds(
        lambda said, back: cleared(said, (at_day(said - back)).date()),
        DAYS,
        st.integers(0, 3),
    ),
)


@settings(max_examples=120, deadline=None)
@given(st.lists(HEALTH, max_size=8), st.builds(harm, KEYS, DAYS, n=st.integers(1, 900)), DAYS)
def test_one_more_harm_never_frees_a_day(facts: list[Fact], more: Harm, days: float) -> None:
    """Whatever was barred at an instant stays barred when a harm is added."""
    at = at_day(days)
    fewer, all_ = record(*facts), record(*facts, more)
    before, after = lock_of(fewer, at=at), lock_of(all_, at=at)
    if before is not None:
        assert after is not None
        assert after.doctor or not before.doctor
        assert after.open or not before.open
        if not after.open:
            assert before.until_on is not None
            assert after.until_on is not None
            assert after.until_on >= before.until_on
    assert unwell_open(all_, at=at) or not unwell_open(fewer, at=at)
    assert restart_share(all_, at=at) <= restart_share(fewer, at=at)
    assert new_depth_barred(all_, at=at) or not new_depth_barred(fewer, at=at)
    if after is None and recent_harm(fewer, at=at) is not None:
        assert recent_harm(all_, at=at) is not None


@settings(max_examples=60, deadline=None)
@given(st.lists(HEALTH, max_size=7), st.randoms(use_true_random=False), DAYS)
def test_the_order_of_arrival_changes_no_lock(
    facts: list[Fact], random: object, days: float
) -> None:
    """The same facts in any order bring the same lock."""
    mixed = list(facts)
    random.shuffle(mixed)  # type: ignore[attr-defined]
    at = at_day(days)
    assert lock_of(record(*mixed), at=at) == lock_of(record(*facts), at=at)
    assert recent_harm(record(*mixed), at=at) == recent_harm(record(*facts), at=at)


@settings(max_examples=80, deadline=None)
@given(st.lists(HEALTH, max_size=6), st.builds(well, DAYS), DAYS)
def test_feeling_well_lifts_no_doctors_lock(facts: list[Fact], more: Well, days: float) -> None:
    """A word of the diver's that all is well takes no owed clinician's date away."""
    facts = [f for f in facts if type(f) is not Unwell]
    at = at_day(days)
    before = lock_of(record(*facts), at=at)
    after = lock_of(record(*facts, more), at=at)
    if before is not None and before.doctor:
        assert after is not None
        assert after.doctor


@settings(max_examples=60, deadline=None)
@given(st.lists(HEALTH, max_size=8), DAYS)
def test_what_comes_later_changes_nothing_before(facts: list[Fact], days: float) -> None:
    """A lock at an instant is the same in the whole record and in the record up to it."""
    at = at_day(days)
    whole = record(*facts)
    past = record(*[f for f in facts if f.happened_at <= at])
    assert lock_of(whole, at=at) == lock_of(past, at=at)
    assert unwell_open(whole, at=at) == unwell_open(past, at=at)


def test_levels_sort_the_worst_first() -> None:
    """Call now outranks doctor today, which outranks day over, which outranks practice over."""
    by_gravity = sorted(harm_table().rows.values(), key=lambda r: r.gravity)
    order = [LEVELS.index(r.level) for r in by_gravity]
    assert order == sorted(order)
    assert by_gravity[-1].key == "21"


def test_in_the_same_instant_the_later_line_of_a_chat_is_later() -> None:
    """`feel hoarse`, then `feel ok` in the same second: the days of the lock count; not before."""
    hoarse = harm("11", n=10)
    after, before = replace(well(0), origin=origin(11)), replace(well(0), origin=origin(9))
    lock = lock_of(record(hoarse, after), at=at_day(1))
    assert lock is not None
    assert not lock.open
    still = lock_of(record(before, hoarse), at=at_day(1))
    assert still is not None
    assert still.open


def test_in_the_same_instant_two_chats_go_by_when_it_was_worked_off() -> None:
    """Of two chats what was said later is later; where even that is equal, the lock stays open."""
    hoarse = harm("11", n=10)
    elsewhere = replace(well(0), origin=Origin(chat="g:1", message=99))
    lock = lock_of(record(hoarse, elsewhere), at=at_day(1))
    assert lock is not None
    assert lock.open
    later = replace(elsewhere, said_at=at_day(0) + timedelta(seconds=1))
    lock = lock_of(record(hoarse, later), at=at_day(1))
    assert lock is not None
    assert not lock.open


def test_a_raised_question_is_answered_in_its_own_instant() -> None:
    """Somebody asks after a diver in the group, who presses yes in private in the same second."""
    raised = Unwell(
        diver="mara",
        happened_at=BEGIN,
        said_at=BEGIN,
        by="ana",
        origin=Origin(chat="g:1", message=5),
        raised_by_other=True,
    )
    assert unwell_open(record(raised), at=BEGIN)
    assert not unwell_open(record(raised, well(0)), at=BEGIN)
