"""The way back after grave harm: half of what was held, whatever is told or dived besides."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planner.bases import counted_bases, void_bases
from planner.plan import Plan, plan, standing
from planner.record import PB, Exercise, Fact, ReportedBase, record_of
from planner.rules import RULES
from tests.planner.season import ZONE, Season
from tests.planner.test_harm import cleared, harm

HARM_ON = date(2026, 5, 5)
BACK = "2026-07-01"
"""The first day on which half is asked for, after row 9: 28 days, and 28 more."""


def harmed(
    row: str = "9", *, reported_m: float | None = 20, exercise: Exercise = Exercise.FRC
) -> Season:
    """By report 16 m held (or nothing), harm on the evening of 5 May, cleared on the 25th."""
    season = Season(exercise).profile(pb_m=40, goal_m=48)
    season.at = datetime(2026, 5, 1, 12, tzinfo=ZONE)
    if reported_m is not None:
        season.reported(reported_m, date(2026, 5, 1))
    season.morning("2026-05-05").dive(7)
    season.at += timedelta(hours=4)
    told = harm(row, n=8000)
    season.facts.append(replace(told, happened_at=season.at, said_at=season.at))
    season.facts.append(cleared(20, date(2026, 5, 25)))
    return season


def with_base(
    season: Season, depth_m: float, on: date, *, said: str, message: int = 9500
) -> Season:
    """The same season with a base told at nine on a day, whenever the season is."""
    base = replace(
        Season(season.exercise).reported(depth_m, on).facts[-1],
        said_at=datetime.fromisoformat(f"{said}T09:00").replace(tzinfo=ZONE),
    )
    base = replace(base, origin=replace(base.origin, chat="p:mara", message=message))
    return replace(season, facts=[*season.facts, base])


SINCE = [
    ("2026-05-06", date(2026, 5, 1)),  # of before the harm, told after it
    ("2026-05-06", date(2026, 5, 5)),
    ("2026-05-20", date(2026, 5, 19)),  # in the lock
    ("2026-06-20", date(2026, 6, 19)),  # in the wait
    ("2026-07-01", date(2026, 7, 1)),  # after it, before the session
    ("2026-07-01", date(2026, 6, 1)),
]


@pytest.mark.parametrize(("said", "on"), SINCE)
@pytest.mark.parametrize("reported_m", [None, 11, 20])
def test_a_base_told_since_grave_harm_lifts_no_restart(
    said: str, on: date, reported_m: float | None
) -> None:
    """Whatever its day, the session after the wait opens as if it had not been told."""
    season = harmed(reported_m=reported_m)
    told = with_base(season, 25, on, said=said)
    for one in (season, told):
        one.morning(BACK)
    assert told.held_m() == season.held_m()
    assert told.next() == season.next() == {None: 3.5, 11: 4, 20: 7}.get(reported_m)
    assert [b.depth_m for b in void_bases(told.record())] == [25]
    assert [b.depth_m for b in counted_bases(told.record())] == [reported_m][: bool(reported_m)]


def test_a_base_of_the_wait_lifts_nothing_after_the_session_either() -> None:
    """Told once the session is over, a dive that no target stood for is none of what is held."""
    season = harmed().morning(BACK).dive(7).dive(8)
    told = with_base(season, 25, date(2026, 6, 10), said="2026-07-03")
    for one in (season, told):
        one.morning("2026-07-04")
    assert told.held_m() == season.held_m() == 8
    assert told.next() == season.next()


def test_a_base_of_after_the_session_counts_again() -> None:
    """Half is asked for once: what was clean on a day after that session is held as it is told."""
    season = with_base(
        harmed().morning(BACK).dive(7).dive(8), 15, date(2026, 7, 4), said="2026-07-05"
    )
    assert season.morning("2026-07-06").held_m() == 12
    assert void_bases(season.record()) == ()


def test_a_milder_report_takes_no_base_away() -> None:
    """Only rows 4 to 10 ask for half of held: after a hoarse voice a base counts as it is told."""
    season = with_base(harmed("3"), 25, date(2026, 5, 12), said="2026-05-14")
    assert season.morning("2026-05-15").held_m() == 20


def test_a_base_told_anew_before_the_harm_takes_the_place_of_the_one_before() -> None:
    """Until grave harm the newest counts; one that was told since takes nobody's place."""
    season = harmed(reported_m=20)
    anew = with_base(season, 15, date(2026, 5, 1), said="2026-05-03")
    assert [b.depth_m for b in counted_bases(anew.record())] == [15]
    since = with_base(anew, 25, date(2026, 5, 1), said="2026-06-03", message=9501)
    assert [b.depth_m for b in counted_bases(since.record())] == [15]


@pytest.mark.parametrize(("message", "is_void"), [(7999, False), (8001, True)])
def test_in_the_instant_of_the_harm_the_line_decides(message: int, is_void: bool) -> None:
    """A base in the same second as the harm was told before it where its line is an earlier one."""
    season = harmed(reported_m=None)
    base = with_base(season, 20, date(2026, 5, 1), said="2026-05-05", message=message).facts[-1]
    facts: list[Fact] = [*season.facts, replace(base, said_at=season.at)]
    found = void_bases(record_of("mara", facts, timezone=ZONE))
    assert bool(found) is is_void


def test_a_fold_gone_on_with_forgets_a_base_that_harm_came_before() -> None:
    """A base counted as it was asked; harm of before it that is told later takes it away again."""
    season = harmed(reported_m=11)
    late = season.facts.pop(-2)
    season = with_base(season, 25, date(2026, 5, 5), said="2026-05-08")
    asked = datetime(2026, 5, 9, 9, tzinfo=ZONE)
    before = record_of("mara", season.facts, timezone=ZONE)
    assert standing(before, rules=RULES, at=asked).held_m == 20
    # nothing happened after it, so that what was folded is the first part of the new record
    late = replace(late, happened_at=datetime(2026, 5, 7, 9, tzinfo=ZONE).astimezone(UTC))
    facts = [f for f in season.facts if f.happened_at < late.happened_at]
    early = record_of("mara", facts, timezone=ZONE)
    assert standing(early, rules=RULES, at=asked).held_m == 20
    after = record_of("mara", [*facts, late], timezone=ZONE)
    assert after.facts[: len(early.facts)] == early.facts
    assert standing(after, rules=RULES, at=asked).held_m == 8.5


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["5", "6", "8", "9"]),
    st.sampled_from([None, 3.0, 11.0, 20.0]),
    st.integers(2, 60).map(float),
    st.integers(-40, 150),
    st.integers(0, 150),
    st.integers(1, 150),
)
def test_no_base_told_before_the_session_moves_a_target(
    row: str, reported_m: float | None, depth_m: float, of: int, told: int, asked: int
) -> None:
    """Told since grave harm, on any day and of any day, a base changes no answer before that session."""
    season = harmed(row, reported_m=reported_m)
    said = HARM_ON + timedelta(days=1 + told)
    more = with_base(season, depth_m, min(said, HARM_ON + timedelta(days=of)), said=str(said))
    at = HARM_ON + timedelta(days=1 + told + asked)
    for one in (season, more):
        one.morning(str(at - timedelta(days=3))).other(Exercise.SHALLOW, 8)
        one.morning(str(at - timedelta(days=2))).other(Exercise.SHALLOW, 8)
        one.morning(str(at))
    assert more.said() == season.said()


@pytest.mark.parametrize("exhale_dives", [0, 1])
@pytest.mark.parametrize("shallow", [(), ("2026-06-28",), ("2026-07-10", "2026-07-20")])
def test_where_nothing_was_held_the_restart_is_half_of_the_first_depth(
    exhale_dives: int, shallow: tuple[str, ...]
) -> None:
    """One dive at the first depth of 7 m, or none at all, and blood: back at 3.5 m, then held."""
    season = harmed(reported_m=None)
    if not exhale_dives:
        season.facts = [f for f in season.facts if getattr(f, "exercise", None) is None]
    for on in shallow:
        season.morning(on).other(Exercise.SHALLOW, 8)
    season.morning("2026-07-22" if shallow else BACK)
    assert season.next() == 3.5
    said = season.said()
    assert isinstance(said, Plan)
    assert not said.is_new_depth
    season.dive(3.5).dive(3.5)
    assert season.held_m() == 3.5
    assert season.next() == 3.5  # nothing new that day


def test_of_rv_the_first_depth_is_the_least_already() -> None:
    """Half of 2 m would be less than any target: RV begins again at 2 m."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=60).morning("2026-05-05").dive(2)
    told = harm("9", n=8000)
    season.facts.append(replace(told, happened_at=season.at, said_at=season.at))
    season.facts.append(cleared(20, date(2026, 5, 25)))
    assert season.morning(BACK).next() == 2


@pytest.mark.parametrize(("reported_m", "held_m"), [(None, 3.5), (20, 8)])
def test_a_dive_of_the_other_exercise_takes_no_half_away(
    reported_m: float | None, held_m: float
) -> None:
    """An RV dive after the wait, for which no target stood, leaves the half of FRC to be taken."""
    season = harmed(reported_m=reported_m).morning(BACK).other(Exercise.RV, 2)
    assert season.morning("2026-07-05").held_m() == held_m
    assert season.dive(held_m).morning("2026-07-09").held_m() == held_m


def test_another_exercise_that_is_taken_up_later_begins_at_half_too() -> None:
    """Restarted by FRC, then by a deeper personal best on RV again: half of what RV held as well."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=60).reported(8, date(2026, 5, 1))
    season.morning("2026-05-05").dive(4.5)
    assert season.held_m() == 4.5
    told = harm("9", n=8000)
    season.facts.append(replace(told, happened_at=season.at, said_at=season.at))
    season.facts.append(cleared(20, date(2026, 5, 25)))
    season.morning("2026-06-30")
    season.facts.append(PB(**season._carried(), depth_m=45))  # type: ignore[arg-type]
    season.exercise = Exercise.FRC
    season.morning(BACK).dive(3.5)
    season.at += timedelta(hours=6)
    season.facts.append(PB(**season._carried(), depth_m=54))  # type: ignore[arg-type]
    assert season.morning("2026-07-05").next() == 2  # 60 % of 4.5 m would be 2.5
    assert plan(season.record(), rules=RULES, at=season.at) == season.said()


def test_the_base_of_the_record_is_there_all_the_same() -> None:
    """A base that counts for nothing is kept, as everything that is recorded."""
    season = with_base(harmed(), 25, date(2026, 5, 20), said="2026-05-21")
    assert [b.depth_m for b in season.record().of(ReportedBase)] == [20, 25]
