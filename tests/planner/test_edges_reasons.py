"""Which figure of the rules a reason points to: `why` shows its value, so it must be the right one.

The tables are house rules (H), written from the words of rules.toml and of the reasons.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from planner.full import full_plan
from planner.plan import Plan, plan
from planner.reasons import Bar, Because, Cap
from planner.record import (
    PB,
    Asked,
    Dive,
    Ending,
    Exercise,
    Fit,
    Goal,
    Harm,
    Origin,
    Unwell,
    Watching,
)
from planner.rules import RULES
from tests.planner.season import DIVER, Season
from tests.planner.test_laws import play

BOTH = {
    "under-two": {"held.least_m"},
    "cap": {"cap.most"},
    "too-deep": {"trouble.too_deep_m"},
    "two-troubles": {"trouble.most"},
    "urge": {"trouble.most"},
    "cold": {"trouble.most"},
    "after-urge": {"trouble.most"},
    "after-layoff": {"layoff.short_share", "layoff.long_share"},
    "learning": {"learn.task_days"},
    "at-held": {"held.clean_dives", "held.owed_dives"},
    "empty-window": {"full.fill_margin_m"},
    "exhale-dive": {"rest.full_nights"},
}
FRC = BOTH | {
    "first-depth": {"first.frc_high_m"},
    "opening": {"opening.frc_share"},
    "retry-at-opening": {"opening.frc_share"},
    "step": {"step.frc_m"},
    "one-new-depth": {"step.frc_m"},
    "after-hard": {"off.frc_m", "step.frc_m"},
    "after-technique": {"off.frc_m", "step.frc_m"},
    "after-pressure": {"held.pressure_share", "step.frc_m"},
    "after-other": {"held.clean_dives", "step.frc_m"},
    "ceiling": {"exercise.frc_base_share"},
    "not-supported": {"exercise.frc_base_share"},
    "interval": {"interval.frc_min", "interval.after_trouble_min"},
}
RV = BOTH | {
    "pressure-deep": {"trouble.rv_over_from_m"},
    "first-depth": {"first.rv_m"},
    "opening": {"opening.rv_share"},
    "step": {"step.rv_shallow_m", "step.rv_deep_m"},
    "one-new-depth": {"step.rv_shallow_m", "step.rv_deep_m"},
    "after-hard": {"off.rv_shallow_m", "step.rv_deep_m"},
    "after-technique": {"off.rv_shallow_m", "step.rv_deep_m"},
    "after-pressure": {"held.pressure_share", "step.rv_deep_m"},
    "after-other": {"held.clean_dives", "step.rv_deep_m"},
    "ceiling": {"exercise.rv_base_share"},
    "not-supported": {"exercise.rv_base_share"},
    "no-coach": {"step.rv_coach_past_m"},
    "interval": {"interval.rv_min", "interval.after_trouble_min"},
}


@pytest.mark.parametrize(("exercise", "table"), [(Exercise.FRC, FRC), (Exercise.RV, RV)])
def test_every_reason_of_forty_seasons_points_to_its_figure(
    exercise: Exercise, table: dict[str, set[str]]
) -> None:
    """Over seasons of all kinds of dives each reason names the figures of its own exercise, no others."""
    seen: dict[str, set[str]] = {}
    for seed in range(40):
        season, moments = play(seed, days=6, exercise=exercise)
        for at in moments:
            known = season.record().until(at)
            for said in (plan(known, rules=RULES, at=at), full_plan(known, rules=RULES, at=at)):
                spoke: tuple[Cap | Bar, ...] = getattr(said, "caps", ()) or said.bars  # type: ignore[union-attr]
                for one in spoke:
                    seen.setdefault(one.because.value, set()).add(one.figure)
    assert seen == table
    assert all(name in RULES for names in seen.values() for name in names)


def frc(*, reported_m: float = 15) -> Season:
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(reported_m, date(2026, 5, 1))
    return season.morning("2026-05-07")


def say(season: Season, kind: type, **fields: object) -> Season:
    season.facts.append(kind(**season._carried(), **fields))
    return season


def bars(season: Season) -> list[Bar]:
    said = season.said()
    assert not isinstance(said, Plan)
    return list(said.bars)


def only(kind: type, season: Season) -> Season:
    season.facts = [fact for fact in season.facts if not isinstance(fact, kind)]
    return season


def test_bars_on_what_is_missing_name_what_is_asked() -> None:
    """No PB, no goal, no buddy, no yes: each alone, and both of a pair together."""
    assert bars(only(PB, frc())) == [
        Bar(because=Because.NO_PB, figure="exercise.rv_from_pb_m"),
    ]
    assert bars(only(Goal, frc())) == [
        Bar(because=Because.NO_GOAL, figure="exercise.frc_base_share"),
    ]
    assert [bar.because for bar in bars(only(PB, only(Goal, frc())))] == [
        Because.NO_PB,
        Because.NO_GOAL,
    ]
    asleep = frc()
    asleep.at += timedelta(hours=5)
    assert bars(asleep) == [
        Bar(because=Because.NO_BUDDY, figure="session.answer_holds_h"),
        Bar(because=Because.NO_FIT, figure="session.answer_holds_h"),
    ]


def test_a_goal_that_was_dived_asks_for_the_next() -> None:
    """A goal at the PB is reached: no base is left to train for."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=32)
    season.morning("2026-05-07")
    assert bars(season) == [Bar(because=Because.GOAL_REACHED, figure="goal.further_m")]


def test_bars_of_the_day_name_the_day_they_are_about() -> None:
    """Not fit, watching, a full-lung dive, rest: the figure each comes from, and until when."""
    no = frc()
    assert bars(say(no, Fit, ok=False)) == [
        Bar(because=Because.NOT_FIT, figure="session.answer_holds_h"),
        Bar(because=Because.NO_FIT, figure="session.answer_holds_h"),
    ]
    no.at += timedelta(days=1)
    assert Because.NOT_FIT not in {bar.because for bar in bars(no)}
    watching = frc()
    assert bars(say(watching, Watching)) == [
        Bar(because=Because.WATCHING, figure="session.answer_holds_h")
    ]
    watching.at += timedelta(days=1)
    assert Because.WATCHING not in {bar.because for bar in bars(watching)}
    full = say(frc(), Dive, exercise=Exercise.SHALLOW, depth_m=8, ending=Ending.CLEAN)
    assert bars(full) == [Bar(because=Because.FULL_DIVE, figure="rest.full_from_m")]
    day_after = frc().dive(9.5).dive(12)
    day_after.morning("2026-05-08")
    assert bars(day_after) == [
        Bar(because=Because.REST, figure="rest.nights", until_on=date(2026, 5, 9))
    ]
    new_depth = frc().dive(9.5).dive(12).dive(13)
    new_depth.morning("2026-05-08")
    assert bars(new_depth) == [
        Bar(because=Because.REST, figure="rest.nights", until_on=date(2026, 5, 10))
    ]
    away = frc().dive(9.5).dive(12)
    away.morning("2026-08-01")
    assert bars(away) == [Bar(because=Because.LAYOFF_LONG, figure="layoff.over_d")]


def test_after_a_lay_off_its_own_length_is_named() -> None:
    """Three weeks, and five: the share of each."""
    named = {}
    for day in ("2026-05-26", "2026-06-10"):
        away = frc().dive(9.5).dive(12)
        away.morning(day)
        opening = away.next()
        assert opening is not None
        said = plan(away.dive(opening).record(), rules=RULES, at=away.at)
        assert isinstance(said, Plan)
        named[day] = {c.figure for c in said.caps if c.because is Because.AFTER_LAYOFF}
    assert named == {
        "2026-05-26": {"layoff.short_share"},
        "2026-06-10": {"layoff.long_share"},
    }


def test_bars_of_a_report_in_doubt_name_what_ends_them() -> None:
    """An unknown depth and an open question: from which figure, and for how long."""
    blind = frc().dive(None, "sternum")
    assert bars(blind) == [Bar(because=Because.DEPTH_UNKNOWN, figure="held.pressure_share")]
    doubt = say(
        frc().dive(9.5), Asked, question="stranger", readings=("a", "b"), may_answer=(DIVER,)
    )
    asked = doubt.facts[-1]
    assert isinstance(asked, Asked)
    assert bars(doubt) == [Bar(because=Because.QUESTION_OPEN, figure="session.gap_h")]
    doubt.at = asked.happened_at + timedelta(hours=4)
    assert Because.QUESTION_OPEN in {bar.because for bar in bars(doubt)}
    doubt.at += timedelta(minutes=1)
    assert Because.QUESTION_OPEN not in {bar.because for bar in getattr(doubt.said(), "bars", ())}


def test_bars_of_health_name_how_long() -> None:
    """A lock says its end; an unanswered check and a no bar without one."""
    locked = say(frc(), Harm, row="x", level="day-over", days=2.0, doctor=False)
    (lock, *others) = bars(locked)
    assert lock.because is Because.LOCK
    assert lock.figure == "held.least_m"
    assert lock.until_on is not None
    assert lock.until_on > date(2026, 5, 8)
    assert all(other.figure in RULES for other in others)
    silent = frc().dive(9.5)
    silent.at += timedelta(days=2)
    assert Bar(because=Because.CHECK_OPEN, figure="session.check_by_h") in bars(silent)
    unsure = say(frc(), Unwell)
    assert Bar(because=Because.UNWELL, figure="session.check_by_h") in bars(unsure)


@pytest.mark.parametrize(
    ("exercise", "depth_m", "figure"),
    [
        (Exercise.FRC, 9.0, "interval.frc_min"),
        (Exercise.FULL, 9.0, "interval.frc_min"),
        (Exercise.RV, 7.9, "interval.rv_min"),
        (Exercise.RV, 8.0, "interval.rv_deep_min"),
    ],
)
def test_the_interval_points_to_the_dive_that_came_last(
    exercise: Exercise, depth_m: float, figure: str
) -> None:
    """The last dive but a dip says which figure is shown; RV by its depth."""
    from planner.dose import interval
    from planner.plan import standing

    season = frc().dive(9.5)
    season.at += timedelta(minutes=1)
    say(season, Dive, exercise=exercise, depth_m=depth_m, ending=Ending.CLEAN)
    season.at += timedelta(minutes=1)
    say(season, Dive, exercise=Exercise.DIP, depth_m=5.0, ending=Ending.CLEAN)
    (cap,) = interval(standing(season.record(), rules=RULES, at=season.at), RULES, season.at)
    assert (cap.because, cap.figure) == (Because.INTERVAL, figure)


def test_without_dives_but_dips_nothing_is_waited_for() -> None:
    """A watcher's dip starts no interval; the first dive of a day waits for none."""
    season = frc()
    said = season.said()
    assert isinstance(said, Plan)
    assert said.not_before_at is None
    say(season, Dive, exercise=Exercise.DIP, depth_m=5.0, ending=Ending.CLEAN)
    said = season.said()
    assert isinstance(said, Plan)
    assert said.not_before_at is None


def test_an_interval_ends_on_a_whole_minute() -> None:
    """A clock shows minutes: what ends within one is said as the next."""
    season = frc().dive(9.5)
    dive = season.facts[-1]
    at = dive.happened_at.replace(second=0, microsecond=0)
    for seconds, extra in ((0, 0), (1, 1), (59, 1)):
        season.facts[-1] = replace(dive, happened_at=at + timedelta(seconds=seconds))
        season.at = at + timedelta(minutes=2)
        said = season.said()
        assert isinstance(said, Plan)
        assert said.not_before_at == at + timedelta(minutes=4 + extra)


def test_an_origin_is_no_reason() -> None:
    """What a reason says does not hang on where the dive was written."""
    season = frc().dive(9.5, "hard")
    said = season.said()
    season.facts[-1] = replace(season.facts[-1], origin=Origin(chat="other", message=9))
    assert season.said() == said
