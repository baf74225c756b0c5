"""What falls due after a session, to the minute: from when, until when, and what calls it off.

All figures are house rules (H): [session] and [rest] of rules.toml.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from planner.agenda import Due, DueKind, agenda
from planner.record import (
    Debriefed,
    Done,
    Exercise,
    Harm,
    Ping,
    RecordError,
    Unwell,
    Well,
    latest_session,
    record_of,
    sessions,
)
from planner.rules import RULES
from tests.planner.season import DIVER, ZONE, Season

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)


def frc() -> Season:
    """Two FRC dives on the morning of 7 May, the last at 08:54 local time."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(15, date(2026, 5, 1))
    return season.morning("2026-05-07").dive(9.5).dive(12)


def local(day: int, hour: int) -> datetime:
    return datetime(2026, 5, day, hour, tzinfo=ZONE)


def wanted(season: Season, at: datetime | None = None) -> dict[DueKind, Due]:
    dues = agenda(season.record(), rules=RULES, at=at or season.at)
    kinds = {due.kind: due for due in dues}
    assert len(kinds) == len(dues)
    return kinds


def say(season: Season, kind: type, **fields: object) -> Season:
    season.facts.append(kind(**season._carried(), **fields))
    return season


def test_a_session_wants_four_things_each_with_its_end() -> None:
    """Debrief, morning, evening, and the eve of the next day: from when and until when each is said."""
    season = frc()
    ended = season.at
    assert agenda(season.record(), rules=RULES, at=ended) == (
        Due(
            kind=DueKind.DEBRIEF, diver=DIVER, about="2026-05-07/0",
            at=ended + 30 * MINUTE, stale_at=ended + 30 * MINUTE + 48 * HOUR,
        ),
        Due(
            kind=DueKind.MORNING, diver=DIVER, about="2026-05-07",
            at=local(8, 8), stale_at=local(8, 19),
        ),
        Due(
            kind=DueKind.EVENING, diver=DIVER, about="2026-05-07",
            at=local(8, 19), stale_at=local(8, 23),
        ),
        Due(
            kind=DueKind.EVE, diver=DIVER, about="2026-05-09",
            at=local(8, 18), stale_at=local(8, 22),
        ),
    )  # fmt: skip


def test_a_late_report_moves_the_silence_on() -> None:
    """Half an hour of silence counts from the last dive or the last word of one, whichever is later."""
    season = frc()
    late = season.at + 20 * MINUTE
    season.facts[-1] = replace(season.facts[-1], said_at=late)
    assert wanted(season, late)[DueKind.DEBRIEF].at == late + 30 * MINUTE
    season.at += 10 * MINUTE
    say(season, Done)
    assert wanted(season, late)[DueKind.DEBRIEF].at == late + 30 * MINUTE
    season.at = late
    say(season, Done)
    assert wanted(season, late)[DueKind.DEBRIEF].at == late


def test_done_after_the_silence_changes_nothing() -> None:
    """A debrief that is due stays due at its time."""
    season = frc()
    ended = season.at
    season.at += 45 * MINUTE
    say(season, Done)
    assert wanted(season)[DueKind.DEBRIEF].at == ended + 30 * MINUTE


def test_a_debrief_that_was_written_is_wanted_again_only_after_another_dive() -> None:
    """Written since the last dive: none; a dive later: the second one of that day."""
    season = frc()
    ended = season.at
    season.at += 30 * MINUTE
    say(season, Debriefed, session_at=ended)
    assert DueKind.DEBRIEF not in wanted(season)
    season.dive(12)
    assert wanted(season)[DueKind.DEBRIEF].about == "2026-05-07/1"
    season.facts[-1] = replace(
        season.facts[-1], happened_at=ended + MINUTE, said_at=season.facts[-1].said_at
    )
    assert wanted(season)[DueKind.DEBRIEF].about == "2026-05-07/1"


def test_an_earlier_days_debrief_is_no_debrief_of_today() -> None:
    """What was written before the session began does not count as written."""
    season = frc()
    season.at += 30 * MINUTE
    say(season, Debriefed, session_at=season.at)
    season.morning("2026-05-09").dive(9.5)
    assert wanted(season)[DueKind.DEBRIEF].about == "2026-05-09/0"


@pytest.mark.parametrize(
    ("kind", "fields", "after", "asked"),
    [
        (Well, {}, timedelta(hours=1), True),
        (Well, {}, timedelta(hours=24), False),
        (Unwell, {}, timedelta(hours=1), False),
        (Harm, {"row": "x", "level": "day-over", "days": 1, "doctor": False}, HOUR, True),
        (Harm, {"row": "x", "level": "doctor-today", "days": 1, "doctor": True}, HOUR, False),
        (Harm, {"row": "x", "level": "day-over", "days": 1, "doctor": False}, DAY, False),
    ],
)
def test_who_answered_the_morning_or_sees_a_doctor_is_not_asked_again(
    kind: type, fields: dict[str, object], after: timedelta, asked: bool
) -> None:
    """A yes or a mild report of the evening is followed by the morning's question; all else ends it."""
    season = frc()
    season.at += after
    say(season, kind, **fields)
    kinds = set(wanted(season))
    assert ({DueKind.MORNING, DueKind.EVENING} <= kinds) is asked
    assert ({DueKind.MORNING, DueKind.EVENING} & kinds == set()) is not asked


def test_the_morning_begins_at_local_midnight() -> None:
    """A yes a minute before midnight is the evening's, one at midnight the morning's."""
    midnight = datetime(2026, 5, 8, tzinfo=ZONE).astimezone(UTC)
    for at, asked in ((midnight - MINUTE, True), (midnight, False)):
        season = frc()
        season.at = at
        say(season, Well)
        assert (DueKind.MORNING in wanted(season)) is asked


def test_three_days_later_nothing_is_asked_but_the_eve_may_still_come() -> None:
    """Debrief and check end with the third day; the eve with the run of days that rest looks at."""
    season = frc()
    ended = season.at
    assert {DueKind.DEBRIEF, DueKind.MORNING} <= set(wanted(season, ended + 3 * DAY))
    assert set(wanted(season, ended + 3 * DAY + MINUTE)) == {DueKind.EVE}
    assert set(wanted(season, ended + 8 * DAY)) == {DueKind.EVE}
    assert set(wanted(season, ended + 8 * DAY + MINUTE)) == set()


def test_what_is_no_session_wants_nothing() -> None:
    """A watcher's dip, a dry exercise or no dive at all is followed by nothing."""
    empty = Season(Exercise.FRC).profile(pb_m=32, goal_m=40)
    assert wanted(empty) == {}
    for exercise in (Exercise.DIP, Exercise.DRY):
        season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).morning("2026-05-07")
        season.other(exercise, 5 if exercise is Exercise.DIP else None, task="lock", amount=10)
        assert wanted(season) == {}


@pytest.mark.parametrize(
    ("exercise", "kinds"),
    [
        (Exercise.FULL, {DueKind.DEBRIEF, DueKind.MORNING, DueKind.EVENING}),
        (Exercise.SHALLOW, {DueKind.DEBRIEF}),
    ],
)
def test_a_session_without_exhale_dives_has_no_eve(exercise: Exercise, kinds: set[DueKind]) -> None:
    """Full-lung days ask the check; shallow ones only get their debrief; neither an eve."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).morning("2026-05-07")
    season.other(exercise, 8, fill_m=5)
    assert set(wanted(season)) == kinds


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        (Unwell, {}),
        (Harm, {"row": "x", "level": "day-over", "days": 3.0, "doctor": False}),
    ],
)
def test_no_eve_is_said_while_health_is_open(kind: type, fields: dict[str, object]) -> None:
    """Nobody is told where the next day opens who is locked or has said no."""
    season = frc()
    season.at += MINUTE
    say(season, kind, **fields)
    assert DueKind.EVE not in wanted(season)


def test_a_ping_comes_at_the_intervals_end_to_who_asked() -> None:
    """The end of the interval, for three minutes, about the dive it follows; only while wanted."""
    season = frc()
    ended = season.at
    assert DueKind.PING not in wanted(season)
    say(season, Ping, on=True)
    until = season.said().not_before_at  # type: ignore[union-attr]
    assert wanted(season)[DueKind.PING] == Due(
        kind=DueKind.PING, diver=DIVER, about=ended.isoformat(), at=until,
        stale_at=until + 3 * MINUTE,
    )  # fmt: skip
    assert DueKind.PING not in wanted(season, until + MINUTE)
    say(season, Ping, on=False)
    assert DueKind.PING not in wanted(season)


def test_a_gap_of_four_hours_is_one_session_and_a_minute_more_are_two() -> None:
    """Runs of dives break where the gap is longer than four hours; a dry exercise joins nothing."""
    for gap, count in ((4 * HOUR, 1), (4 * HOUR + MINUTE, 2)):
        season = frc()
        first = season.at
        season.at += gap - 12 * MINUTE
        season.dive(9.5)
        record = season.record()
        assert [len(s.dives) for s in sessions(record, gap_h=4)] == ([3] if count == 1 else [2, 1])
        last = latest_session(record, gap_h=4)
        assert last is not None
        assert last == sessions(record, gap_h=4)[-1]
        assert last.ended_at == first + gap
    season = frc()
    season.at += 3 * HOUR
    season.other(Exercise.DRY, task="lock", amount=10)
    season.at += 2 * HOUR
    season.dive(9.5)
    assert [len(s.dives) for s in sessions(season.record(), gap_h=4)] == [2, 1]
    assert latest_session(season.record(), gap_h=4) == sessions(season.record(), gap_h=4)[-1]
    assert latest_session(record_of(DIVER, [], timezone=ZONE), gap_h=4) is None


def test_a_time_without_a_zone_is_an_error_that_names_the_fact() -> None:
    """Whoever builds a record by hand reads which fact was meant, for either of its times."""
    (one,) = [f for f in frc().facts if isinstance(f, Well)]
    naive = datetime(2026, 5, 7, 8)  # noqa: DTZ001
    for wrong in (replace(one, happened_at=naive), replace(one, said_at=naive)):
        with pytest.raises(RecordError, match=r"^a time without a zone in Well$"):
            record_of(DIVER, [wrong], timezone=ZONE)
