"""A coach only tightens, for a day, and only for whoever said yes; under age and after a cry for help: none."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.full import FullPlan, full_plan
from planner.harm import alarmed, unanswered
from planner.plan import plan, standing
from planner.reasons import Because, Plan, Refusal
from planner.record import (
    Accepted,
    Body,
    Buddy,
    Exercise,
    Fact,
    Harm,
    Limit,
    LimitKind,
    Origin,
    Sex,
    TaskSet,
    UnderAge,
    Unwell,
    Well,
)
from planner.rules import RULES
from tests.planner.season import DIVER, Season

COACH = "ilse"


def frc() -> Season:
    """FRC held 12 m, on the morning of a free day, with a coach accepted."""
    season = Season(Exercise.FRC).profile(pb_m=40, goal_m=44).reported(15, date(2026, 5, 1))
    season.morning("2026-05-07")
    return told(season, Accepted, coach=COACH, given=True)


def told(season: Season, kind: type[Fact], *, by: str = DIVER, **fields: object) -> Season:
    carried = season._carried() | {"by": by}
    season.facts.append(kind(**carried, **fields))  # type: ignore[arg-type]
    return season


def limited(season: Season, kind: LimitKind, value: float = 0.0, *, by: str = COACH) -> Season:
    return told(season, Limit, by=by, what=kind, value=value, until_at=midnight(season.at))


def midnight(at: datetime) -> datetime:
    return (at + timedelta(days=1)).replace(hour=0, minute=0)


def bars(said: Plan | Refusal) -> set[Because]:
    return set() if isinstance(said, Plan) else {bar.because for bar in said.bars}


def test_a_trim_caps_the_target_and_says_whose_it_is() -> None:
    """`trim teo 7`: the target is 7 m, by the coach, until midnight; deeper than it stood before, never."""
    season = limited(frc(), LimitKind.DEPTH, 7)
    said = season.said()
    assert isinstance(said, Plan)
    assert (said.depth_m, said.caps[0].because) == (7, Because.COACH_DEPTH)
    deeper = limited(frc(), LimitKind.DEPTH, 30).said()
    assert isinstance(deeper, Plan)
    assert deeper.depth_m == frc().next()


def test_the_least_of_two_trims_counts() -> None:
    """What a coach says twice stands at its tighter end."""
    season = limited(limited(frc(), LimitKind.DEPTH, 7), LimitKind.DEPTH, 9)
    assert season.next() == 7


def test_a_limit_ends_with_its_day() -> None:
    """The next morning the target is as if nothing had been said."""
    season = limited(frc(), LimitKind.DEPTH, 5)
    assert season.next() == 5
    season.morning("2026-05-08")
    assert season.next() == frc().morning("2026-05-08").next()


def test_a_rest_bars_exhale_dives_and_full_lungs() -> None:
    """`rest ana` leaves no target of either kind."""
    season = limited(frc(), LimitKind.REST)
    assert bars(season.said()) == {Because.COACH_REST}
    full = full_plan(season.record(), rules=RULES, at=season.at)
    assert isinstance(full, Refusal)
    assert Because.COACH_REST in {bar.because for bar in full.bars}


def test_a_cap_counts_this_sessions_dives() -> None:
    """`cap 2`: a second dive is the last one, and the figure behind it is the coach's."""
    season = limited(frc(), LimitKind.DIVES, 2).dive(9.5)
    said = season.said()
    assert isinstance(said, Plan)
    assert (said.dive_number, said.dives_allowed) == (2, 2)
    over = season.dive(12).said()
    assert isinstance(over, Refusal)
    assert [(b.because, b.figure) for b in over.bars] == [(Because.CAP, "people.coach_days")]


def test_a_gap_makes_the_interval_longer() -> None:
    """`gap 15`: fifteen minutes from the last dive, where the policy asks for four."""
    season = limited(frc(), LimitKind.GAP, 15).dive(9.5)
    said = season.said()
    assert isinstance(said, Plan)
    assert said.not_before_at == season.at + timedelta(minutes=15)
    assert {c.because for c in said.caps if c.not_before_at} == {
        Because.INTERVAL,
        Because.COACH_GAP,
    }


def test_nothing_counts_before_the_divers_own_yes() -> None:
    """A limit by somebody who was never accepted changes nothing; after the yes it stands."""
    season = Season(Exercise.FRC).profile(pb_m=40, goal_m=44).reported(15, date(2026, 5, 1))
    season.morning("2026-05-07")
    before = season.next()
    limited(season, LimitKind.DEPTH, 5)
    assert season.next() == before
    told(season, Accepted, coach=COACH, given=True)
    assert season.next() == 5


def test_a_yes_taken_back_ends_no_limit_of_the_day() -> None:
    """`coach no` after a rest was asked for is no way to a target."""
    season = limited(frc(), LimitKind.REST)
    told(season, Accepted, coach=COACH, given=False)
    assert bars(season.said()) == {Because.COACH_REST}
    assert standing(season.record(), rules=RULES, at=season.at).limits.coach is None


def test_past_15_m_on_empty_lungs_only_with_the_accepted_coach_watching() -> None:
    """RV: 15 m is the last new depth without the coach as today's buddy (H: step.rv_coach_past_m)."""
    deep = Season(Exercise.RV).profile(pb_m=90, goal_m=100)
    for day in (1, 8, 15, 22):
        deep.morning(f"2026-05-{day:02d}")
        for _ in range(2):
            deep.dive(deep.next())
    step = RULES["step.rv_coach_past_m"]
    track = standing(deep.record(), rules=RULES, at=deep.at)
    assert track.held_m is not None
    assert track.held_m < step
    # the check alone, since climbing to 15 m takes a season
    from planner.progress import coach_watches

    alone = coach_watches(track, RULES, deep.at)
    assert [c.depth_m for c in alone] == [step]
    told(deep, Accepted, coach="ana", given=True)
    told(deep, Buddy, buddy="ana")
    watched = standing(deep.record(), rules=RULES, at=deep.at)
    assert list(coach_watches(watched, RULES, deep.at)) == []
    told(deep, Accepted, coach="ana", given=False)
    left = standing(deep.record(), rules=RULES, at=deep.at)
    assert [c.depth_m for c in coach_watches(left, RULES, deep.at)] == [step]


def test_a_task_by_the_coach_bars_a_new_depth_until_it_is_done() -> None:
    """Three clean days of it and two clean shallow dives, as for any task; `shallow` is its own days."""
    season = told(frc(), TaskSet, by=COACH, task="lock")
    said = season.said()
    assert isinstance(said, Plan)
    assert Because.LEARNING in {c.because for c in said.caps}
    (task,) = standing(season.record(), rules=RULES, at=season.at).learning.open.values()
    assert (task.task, task.by_coach, task.reason) == ("lock", True, None)
    water = told(frc(), TaskSet, by=COACH, task="shallow")
    for day in ("08", "09", "10"):
        water.morning(f"2026-05-{day}").other(Exercise.SHALLOW, 8)
    assert not standing(water.record(), rules=RULES, at=water.at).learning.open


def test_a_trim_reaches_full_lungs_as_well() -> None:
    """The line of a full-lung step is never deeper than the coach said."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(23, date(2026, 5, 1))
    season.morning("2026-05-07")
    told(season, Accepted, coach=COACH, given=True)
    free = full_plan(season.record(), rules=RULES, at=season.at)
    assert isinstance(free, FullPlan)
    limited(season, LimitKind.DEPTH, 30)
    trimmed = full_plan(season.record(), rules=RULES, at=season.at)
    assert isinstance(trimmed, FullPlan)
    assert trimmed.line_m == 30 < free.line_m
    assert trimmed.caps[0].because is Because.COACH_DEPTH


@given(
    kind=st.sampled_from(list(LimitKind)),
    value=st.integers(1, 20),
    dives=st.lists(st.sampled_from(["clean", "hard", "sternum", "leak"]), max_size=4),
)
def test_no_limit_ever_permits_more(kind: LimitKind, value: int, dives: list[str]) -> None:
    """Whatever a coach sets, and whatever is dived, the target is no deeper, no sooner and no more."""

    def dived(season: Season) -> Season:
        for ending in dives:
            season.dive(7, ending)
        return season

    free, held_back = dived(frc()).said(), dived(limited(frc(), kind, value)).said()
    if isinstance(free, Refusal):
        assert isinstance(held_back, Refusal)
    elif isinstance(held_back, Plan):
        assert held_back.depth_m <= free.depth_m
        assert held_back.dives_allowed <= free.dives_allowed
        if free.not_before_at is not None:
            assert held_back.not_before_at is not None
            assert held_back.not_before_at >= free.not_before_at


# under age


def test_under_age_there_is_no_target_until_a_body_says_otherwise() -> None:
    """A `me` with seventeen years bars exhale dives and full lungs; one with thirty-four lifts it."""
    season = told(frc(), UnderAge)
    assert bars(season.said()) == {Because.UNDER_AGE}
    full = full_plan(season.record(), rules=RULES, at=season.at)
    assert isinstance(full, Refusal)
    assert Because.UNDER_AGE in {bar.because for bar in full.bars}
    told(season, Body, sex=Sex.FEMALE, age_y=34, height_m=1.72)
    assert isinstance(season.said(), Plan)


# somebody called for help about the diver


def called(season: Season) -> Origin:
    told(season, Unwell, by="ana", raised_by_other=True, grave=True)
    return season.facts[-1].origin


def test_a_call_for_help_is_not_answered_by_feeling_well() -> None:
    """`feel ok`, that day or four days later, leaves the question of a blackout open."""
    season = frc()
    called(season)
    assert bars(season.said()) == {Because.UNWELL}
    told(season, Well)
    season.morning("2026-05-11")
    assert bars(season.said()) == {Because.UNWELL}
    waits = unanswered(season.record(), at=season.at)
    assert waits is not None
    assert waits.grave


def test_its_own_answer_bars_for_the_rest_of_the_day_all_the_same() -> None:
    """Nothing of it, said at the question: no target that day, one the next morning."""
    season = frc()
    asked = called(season)
    season.facts.append(Well(**season._carried() | {"origin": asked}))  # type: ignore[arg-type]
    assert bars(season.said()) == {Because.UNWELL}
    assert alarmed(season.record(), at=season.at)
    assert unanswered(season.record(), at=season.at) is None
    season.morning("2026-05-08")
    assert isinstance(season.said(), Plan)


def test_a_harm_that_answers_it_closes_the_question() -> None:
    """The diver says it was a blackout: a lock stands, and nothing is asked any more."""
    season = frc()
    asked = called(season)
    season.facts.append(
        Harm(
            **season._carried() | {"origin": asked},  # type: ignore[arg-type]
            row="2",
            level="call-now",
            days=30.0,
            doctor=True,
        )
    )
    assert unanswered(season.record(), at=season.at) is None
    assert Because.LOCK in bars(season.said())


@pytest.mark.parametrize("hours", [1, 30])
def test_a_call_for_help_told_by_others_never_locks_by_itself(hours: int) -> None:
    """What somebody else said is a question; unanswered it bars, and never becomes row 23."""
    season = frc()
    called(season)
    later = season.at + timedelta(hours=hours)
    said = plan(season.record(), rules=RULES, at=later)
    assert isinstance(said, Refusal)
    assert Because.LOCK not in {bar.because for bar in said.bars}


def test_a_no_leaves_no_coach_whoever_was_meant() -> None:
    """`coach no` to a new coach: the one before is none either, and watches no new depth past 15 m."""
    season = frc()
    told(season, Accepted, coach="olga", given=False)
    assert standing(season.record(), rules=RULES, at=season.at).limits.coach is None


def test_a_morning_question_is_owed_whoever_else_was_worried() -> None:
    """Somebody else's worry on the day after answers no check of one's own."""
    season = frc().dive(9.5).dive(12)
    season.at += timedelta(hours=30)
    told(season, Unwell, by="ana", raised_by_other=True)
    season.at += timedelta(minutes=1)
    told(season, Buddy, buddy="ana")
    state = standing(season.record(), rules=RULES, at=season.at)
    assert state.checked_day < state.day_of(season.at)


def test_lines_are_the_most_that_was_asked_for_and_none_without_a_word() -> None:
    """`lines 2`, then 3: three; of nobody: no wish."""
    season = frc()
    assert standing(season.record(), rules=RULES, at=season.at).limits.lines(season.at) == 0
    limited(limited(season, LimitKind.LINES, 2), LimitKind.LINES, 3)
    assert standing(season.record(), rules=RULES, at=season.at).limits.lines(season.at) == 3


def test_at_midnight_itself_a_limit_is_over() -> None:
    """It stands before that instant and not at it."""
    season = limited(frc(), LimitKind.DEPTH, 5)
    end = midnight(season.at)
    limits = standing(season.record(), rules=RULES, at=season.at).limits
    assert limits.depth_m(end - timedelta(microseconds=1)) == 5
    assert limits.depth_m(end) > 1000
    assert limits.gap_min(end) == 0


def test_limits_of_both_coaches_of_a_day_count() -> None:
    """Ilse in the morning, Olga after her: what either has set stands, the tighter end."""
    season = limited(frc(), LimitKind.DEPTH, 7)
    told(season, Accepted, coach="olga", given=True)
    limited(season, LimitKind.DEPTH, 8, by="olga")
    assert season.next() == 7
    assert standing(season.record(), rules=RULES, at=season.at).limits.coach == "olga"


def test_without_a_coach_nobody_is_one() -> None:
    """No yes, no coach, and a buddy without a name is none."""
    season = Season(Exercise.RV).profile(pb_m=60, goal_m=70)
    assert standing(season.record(), rules=RULES, at=season.at).limits.coach is None
