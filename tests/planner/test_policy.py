"""Row by row, what the policy says (house rules unless marked otherwise in rules.toml)."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from planner.agenda import DueKind, agenda
from planner.debrief import debrief
from planner.dose import interval_min
from planner.plan import Plan, Refusal, plan
from planner.pressure import Site
from planner.ready import ready
from planner.reasons import Because
from planner.record import (
    Asked,
    Brief,
    Dive,
    Done,
    Ending,
    Exercise,
    Fit,
    Origin,
    Reason,
    Watching,
    Well,
    record_of,
)
from planner.rules import RULES
from tests.planner.season import DIVER, ZONE, Season


def frc(reported_m: float | None = None, *, pb_m: float = 32, goal_m: float = 40) -> Season:
    season = Season(Exercise.FRC).profile(pb_m=pb_m, goal_m=goal_m)
    if reported_m is not None:
        season.reported(reported_m, date(2026, 5, 1))
    return season.morning("2026-05-07")


def rv(reported_m: float | None = None) -> Season:
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=64)
    if reported_m is not None:
        season.reported(reported_m, date(2026, 5, 1))
    return season.morning("2026-05-07")


def why(season: Season) -> set[Because]:
    said = season.said()
    assert isinstance(said, Refusal), said
    return {bar.because for bar in said.bars}


def test_without_a_buddy_or_a_yes_there_is_no_target() -> None:
    """No buddy, no target; no fitness check, no target; both are named."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40)
    assert why(season) == {Because.NO_BUDDY, Because.NO_FIT}


def test_answers_hold_four_hours_after_the_last_dive_they_cover() -> None:
    """Buddy and fitness hold until 4 h after them, or after the last dive that they cover."""
    season = frc()
    season.at += timedelta(hours=3, minutes=48)
    season.dive(7)
    season.at += timedelta(hours=3, minutes=59)
    assert season.next() == 7
    season.at += timedelta(minutes=2)
    assert {Because.NO_BUDDY, Because.NO_FIT} <= why(season)


def test_not_fit_holds_for_the_day() -> None:
    """`not fit` bars the local day, whatever is said after it."""
    season = frc()
    season.facts.append(Fit(**season._carried(), ok=False))  # type: ignore[arg-type]
    season.facts.append(Fit(**season._carried(), ok=True))  # type: ignore[arg-type]
    assert why(season) == {Because.NOT_FIT}


def test_watching_today_is_no_diving() -> None:
    """`watching today` bars the local day."""
    season = frc()
    season.facts.append(Watching(**season._carried()))  # type: ignore[arg-type]
    assert why(season) == {Because.WATCHING}


def test_first_depth_until_it_is_held() -> None:
    """With nothing held the first depth is the target until it is clean twice; then one step."""
    season = frc()
    assert [season.next(), season.dive(7).next(), season.dive(7).next(), season.dive(8).next()] == [
        7,
        7,
        8,
        8,
    ]


def test_rv_takes_two_new_depths_while_shallow() -> None:
    """RV, both shallower than 5 m and all clean: two new depths a session, each repeated."""
    season = rv()
    seen = []
    for _ in range(5):
        seen.append(season.next())
        season.dive(seen[-1])
    assert seen == [2, 2, 3, 3, 4]


def test_rv_second_new_depth_needs_everything_clean() -> None:
    """A fault in the session leaves RV with nothing new."""
    season = rv(5)
    assert season.next() == 3
    season.dive(3).dive(4, "hard")
    assert season.next() == 3


@pytest.mark.parametrize(("held_m", "deeper_m"), [(2, 3), (4, 5), (4.5, 5), (5, 5.5), (12, 12.5)])
def test_rv_steps_get_smaller_at_five(held_m: float, deeper_m: float) -> None:
    """RV steps are 1 m to 5 m, then half a metre, and none jumps over 5 m."""
    assert rv().said().exercise is Exercise.RV
    from planner.held import sizes

    assert sizes(RULES, Exercise.RV).deeper(held_m) == deeper_m


def test_a_reported_base_counts_its_share() -> None:
    """A reported FRC base counts 80 %, as held; the day opens at 80 % of that."""
    season = frc(22)
    assert season.held_m() == 17.5
    assert season.next() == 14


def test_a_reported_rv_base_counts_five_metres_at_most() -> None:
    """A reported RV base counts 60 %, at most 5 m."""
    assert rv(8).held_m() == 4.5
    assert rv(15).held_m() == 5


def test_a_reported_base_is_never_base_met() -> None:
    """A reported base is held, but no clean dive at the base."""
    season = frc(30)
    readiness = ready(season.record(), rules=RULES, at=season.at)
    assert readiness is not None
    assert readiness.held_m == 24
    assert (readiness.clean_at_base, readiness.met) == (0, False)


def test_the_ceiling_is_the_base() -> None:
    """No target is deeper than the base, however deep is held."""
    season = frc(30).dive(19).dive(20)
    assert season.next() == 20


@pytest.mark.parametrize(("reported_m", "most"), [(12, 5), (18.75, 4), (25, 3)])
def test_fewer_dives_once_deep(reported_m: float, most: int) -> None:
    """The cap falls to 4 from FRC 15 m and to 3 from 20 m, by the deepest reached or next."""
    season = frc(reported_m)
    number = 0
    while (target := season.next()) is not None:
        season.dive(target)
        number += 1
    assert why(season) == {Because.CAP}
    assert number == most


def test_a_target_its_own_depth_forbids_is_not_traded() -> None:
    """Four dives done and a fifth that would pass 15 m: none, not a shallower one."""
    season = frc(18.2).dive(11.5).dive(11, "early").dive(11, "early").dive(14.5)
    assert why(season) == {Because.CAP}


def test_after_hard_one_step_shallower() -> None:
    """After a hard dive the target is one step shallower for the rest of the day, nothing new."""
    season = frc(15).dive(9.5).dive(12, "hard")
    assert season.held_m() == 11
    assert season.next() == 11
    assert season.dive(11).next() == 11


def test_a_technique_stop_above_the_fill_is_tried_once_more() -> None:
    """At or above the fill: one retry at the opening depth, then on as usual; nothing off."""
    season = frc(15).dive(9.5).dive(5, "ears", fill_m=6)
    assert (season.held_m(), season.next()) == (12, 9.5)
    assert season.dive(9.5).next() == 12


def test_a_pressure_stop_cuts_to_a_share_of_the_turn() -> None:
    """At most 80 % of the turn, on condition, for the rest of the day; a second one ends it."""
    season = frc(15).dive(9.5).dive(10, "sternum")
    said = season.said()
    assert isinstance(said, Plan)
    assert (said.depth_m, said.on_condition) == (8, True)
    season.dive(6, "throat")
    assert Because.TWO_TROUBLES in why(season)


def test_a_stop_without_a_reason_counts_as_pressure() -> None:
    """A stop counts as a pressure stop until its reason is told."""
    assert frc(15).dive(9.5).dive(10, "unstated").next() == 8


def test_no_target_until_the_depth_of_a_stop_is_known() -> None:
    """A pressure stop without a depth bars every target, on later days too."""
    season = frc(15).dive(9.5).dive(None, "sternum")
    assert Because.DEPTH_UNKNOWN in why(season)
    season.morning("2026-05-14")
    assert why(season) == {Because.DEPTH_UNKNOWN}


@pytest.mark.parametrize(("ending", "because"), [("urge", Because.URGE), ("cold", Because.COLD)])
def test_urge_and_cold_end_the_day(ending: str, because: Because) -> None:
    """Urge or cold: the day is over."""
    assert why(frc(15).dive(9.5).dive(12, ending)) == {because}


def test_urge_bars_a_new_depth_next_session() -> None:
    """After an urge the next session brings nothing new."""
    season = frc(15).dive(9.5).dive(12, "urge").morning("2026-05-11").dive(9.5).dive(12)
    assert season.next() == 12


def test_other_keeps_the_target() -> None:
    """Stopped for another reason: the same target, at most held, nothing new."""
    assert frc(15).dive(9.5).dive(11, "other").next() == 12
    assert frc(15).dive(9.5).dive(12).dive(11, "other").next() == 12


def test_early_counts_as_clean_where_it_turned() -> None:
    """Turned by choice takes nothing off, and the same target comes again."""
    season = frc(15).dive(9.5).dive(11, "early")
    assert (season.held_m(), season.next()) == (12, 12)


def test_a_turn_above_three_metres_is_outside_the_cap() -> None:
    """An early turn above 3 m counts for nothing, not even toward the cap."""
    season = frc(15).dive(2.5, "early")
    said = season.said()
    assert isinstance(said, Plan)
    assert (said.depth_m, said.dive_number) == (9.5, 1)


def test_too_deep_ends_the_day() -> None:
    """More than half a metre deeper than briefed: counts as briefed, and no further target."""
    season = frc(15).dive(9.5).dive(12.5)
    assert season.next() == 13
    season = frc(15).dive(9.5).dive(12.6)
    assert why(season) == {Because.TOO_DEEP}
    assert season.held_m() == 12


def test_dives_without_a_target_never_raise_held() -> None:
    """Dives before buddy and fitness are recorded, raise nothing, and don't end the day."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40)
    season.at = datetime(2026, 5, 7, 6, tzinfo=UTC)
    season.dive(9).dive(9)
    assert season.held_m() is None
    season.morning("2026-05-07")
    assert season.next() == 7


def test_rv_pressure_at_six_ends_the_day() -> None:
    """An RV dive turned at 6 m or deeper at pressure ends the day."""
    season = rv()
    season.dive(6, "sternum")
    assert Because.PRESSURE_DEEP in why(season)
    season = rv()
    season.dive(5.9, "sternum")
    assert Because.PRESSURE_DEEP not in {b.because for b in getattr(season.said(), "bars", ())}


def test_exhale_days_stand_alone() -> None:
    """A full-lung or shallow dive bars exhale targets for its day; a deep one the day after too."""
    season = frc(15).dive(9.5)
    full = Dive(
        **season._carried(), exercise=Exercise.FULL, depth_m=25, ending=Ending.CLEAN, fill_m=18
    )  # type: ignore[arg-type]
    season.facts.append(full)
    assert why(season) == {Because.FULL_DIVE}
    season = frc(15)
    season.facts.append(
        replace(full, happened_at=season.at, origin=Origin(chat="g:1", message=10**6))
    )
    season.at += timedelta(hours=20)
    assert Because.REST not in why(season)


@pytest.mark.parametrize(("away_d", "target"), [(14, 12), (15, 9.5), (28, 9.5), (29, 7), (83, 7)])
def test_lay_off(away_d: int, target: float) -> None:
    """15 to 28 days away: 80 % of held; 29 to 83 days: 60 %; the day opens by that."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(19, date(2026, 5, 1))
    season.morning("2026-05-04").dive(12).dive(15)
    season.morning((date(2026, 5, 4) + timedelta(days=away_d)).isoformat())
    assert season.next() == target


def test_start_over_after_the_longest_lay_off() -> None:
    """From 84 days: two shallow days first, then the first depth again."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(19, date(2026, 5, 1))
    season.morning("2026-05-04").dive(12).dive(15)
    season.morning("2026-07-27")
    assert why(season) == {Because.LAYOFF_LONG}
    for day in ("2026-07-27", "2026-07-28"):
        season.morning(day)
        season.facts.append(
            Dive(**season._carried(), exercise=Exercise.SHALLOW, depth_m=8, ending=Ending.CLEAN)  # type: ignore[arg-type]
        )
        season.at += timedelta(hours=1)
    season.morning("2026-07-29")
    assert season.next() == 7


def dive(
    exercise: Exercise, depth_m: float, ending: str = "clean", seconds: int | None = None
) -> Dive:
    at = datetime(2026, 5, 7, 9, tzinfo=UTC)
    how = Ending(ending) if ending in ("clean", "hard") else Ending.STOP
    return Dive(
        diver=DIVER, happened_at=at, said_at=at, by=DIVER, origin=Origin(chat="g:1", message=1),
        exercise=exercise, depth_m=depth_m, ending=how, dive_time_s=seconds,
        reason=Reason(ending) if how is Ending.STOP else None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("done", "minutes"),
    [
        (dive(Exercise.FRC, 7), 4),
        (dive(Exercise.FRC, 22), 5),
        (dive(Exercise.FRC, 8, "hard"), 6),
        (dive(Exercise.FRC, 8, "sternum"), 6),
        (dive(Exercise.RV, 7), 5),
        (dive(Exercise.RV, 8), 6),
        (dive(Exercise.FRC, 12, seconds=150), 6),
        (dive(Exercise.FULL, 42, seconds=90), 9),
        (dive(Exercise.FULL, 10, seconds=61), 3),
    ],
)
def test_interval(done: Dive, minutes: int) -> None:
    """The interval is the largest of the rows that apply, rounded up to the minute."""
    assert interval_min(done, rules=RULES) == minutes


def test_frc_base_met_needs_three_clean_on_two_days() -> None:
    """FRC: held at the base, three clean dives at it, on two days."""
    season = frc(24, pb_m=28, goal_m=38)
    season.dive(15).dive(19)
    first = ready(season.record(), rules=RULES, at=season.at)
    assert first is not None
    assert (first.base_m, first.clean_at_base, first.days_at_base, first.met) == (19, 1, 1, False)
    season.dive(19)
    assert not ready(season.record(), rules=RULES, at=season.at).met  # type: ignore[union-attr]
    season.morning("2026-05-11").dive(15).dive(19)
    assert ready(season.record(), rules=RULES, at=season.at).met  # type: ignore[union-attr]


def test_agenda_of_a_session() -> None:
    """A session wants its debrief after half an hour of silence, or at `done`, and the check twice more."""
    season = frc().dive(7)
    dues = {d.kind: d for d in agenda(season.record(), rules=RULES, at=season.at)}
    assert dues[DueKind.DEBRIEF].at == season.at + timedelta(minutes=30)
    assert dues[DueKind.MORNING].at.astimezone(ZONE).strftime("%d %H:%M") == "08 08:00"
    assert dues[DueKind.EVENING].at.astimezone(ZONE).strftime("%d %H:%M") == "08 19:00"
    season.at += timedelta(minutes=5)
    season.facts.append(Done(**season._carried()))  # type: ignore[arg-type]
    dues = {d.kind: d for d in agenda(season.record(), rules=RULES, at=season.at)}
    assert dues[DueKind.DEBRIEF].at == season.at


def test_an_unanswered_check_bars_the_next_session() -> None:
    """No answer to the check by the next evening: no target until it is answered."""
    season = frc(15).dive(9.5).dive(12)
    unanswered = len(season.facts)
    season.morning("2026-05-14")
    assert season.next() == 9.5
    del season.facts[unanswered]
    assert why(season) == {Because.CHECK_OPEN}


def test_a_yes_of_the_evening_is_asked_again_in_the_morning() -> None:
    """The check is due the next morning although the debrief's was answered; answered then, no more."""
    season = frc(15).dive(9.5).dive(12)
    season.facts.append(Well(**season._carried()))  # type: ignore[arg-type]
    kinds = [d.kind for d in agenda(season.record(), rules=RULES, at=season.at)]
    assert DueKind.MORNING in kinds
    assert DueKind.EVENING in kinds
    season.at += timedelta(hours=24)
    season.facts.append(Well(**season._carried()))  # type: ignore[arg-type]
    kinds = [d.kind for d in agenda(season.record(), rules=RULES, at=season.at)]
    assert DueKind.MORNING not in kinds


def test_a_deep_dip_is_no_dip() -> None:
    """A dip past 10 m is a full-lung dive of that day: no exhale dive beside it."""
    season = frc(15)
    carried = season._carried()
    season.facts.append(Dive(**carried, exercise=Exercise.DIP, depth_m=10, ending=Ending.CLEAN))  # type: ignore[arg-type]
    assert season.next() == 9.5
    season.facts.append(
        Dive(**season._carried(), exercise=Exercise.DIP, depth_m=14, ending=Ending.CLEAN)
    )  # type: ignore[arg-type]
    assert why(season) == {Because.FULL_DIVE}


def test_a_dive_in_doubt_bars_until_it_is_answered() -> None:
    """While a question about a dive is open no target is given; a fact of the same line answers it."""
    season = frc(15).dive(9.5)
    carried = season._carried()
    season.facts.append(
        Asked(**carried, question="stranger", readings=("frc 12 stop chest",), may_answer=(DIVER,))  # type: ignore[arg-type]
    )
    assert why(season) == {Because.QUESTION_OPEN}
    answer = dive(Exercise.FRC, 12)
    season.facts.append(
        replace(answer, happened_at=season.at, said_at=season.at, origin=carried["origin"])
    )  # type: ignore[arg-type]
    assert isinstance(season.said(), Plan)


def test_a_report_that_waits_counts_on_the_careful_side() -> None:
    """A dive by somebody without a grant counts toward the cap and its trouble counts, its clean does not."""
    season = frc().dive(7).dive(7)
    season.facts[-1] = replace(season.facts[-1], waits=True)  # type: ignore[call-arg]
    said = season.said()
    assert isinstance(said, Plan)
    assert (said.dive_number, said.held_m) == (3, None)


def test_debrief_says_what_held_and_what_is_next() -> None:
    """The debrief sums the session up: dives, held before and after, next day, opening, base."""
    season = frc(15).dive(9.5).dive(12).dive(13, "leak").dive(12, "leak")
    season.at += timedelta(minutes=30)
    said = debrief(season.record(), rules=RULES, at=season.at)
    assert said is not None
    assert [line.briefed_m for line in said.lines] == [9.5, 12, 13, 12]
    assert (said.held_before_m, said.held_after_m) == (12, 11)
    assert (said.pattern, said.task) == (Reason.LEAK, "lock")
    assert said.free_on == date(2026, 5, 10)
    assert said.opens_m == 8.5
    assert not said.replaces


def test_known_at_leaves_out_what_was_said_later() -> None:
    """With `known_at` the record is what the bot knew then."""
    season = frc().dive(7)
    told_at = season.at
    season.dive(7)
    early = record_of(DIVER, season.facts, timezone=ZONE, known_at=told_at)
    assert len(early.dives) == 1
    said = plan(early, rules=RULES, at=told_at)
    assert isinstance(said, Plan)
    assert said.dive_number == 2


def test_the_site_moves_the_first_depth_and_a_gauge_does_not_mind_the_water() -> None:
    """At 2000 m the lungs reach RV at a lesser gauge depth; by gauge, salt or fresh is all one."""
    season = Season(Exercise.FRC).profile(pb_m=38, goal_m=40).morning("2026-05-05")

    def first_m(site: Site) -> float:
        record = record_of(DIVER, season.facts, timezone=ZONE, site=site)
        said = plan(record, rules=RULES, at=season.at)
        assert isinstance(said, Plan)
        return said.depth_m

    assert first_m(Site()) == 7.0
    assert first_m(Site(salt=False)) == 7.0
    assert first_m(Site(altitude_m=2000)) == 5.5
    assert first_m(Site(gauge=False, salt=False, altitude_m=2000)) == 6.0


def test_a_base_told_anew_takes_the_place_of_the_one_before() -> None:
    """A mistyped base is mended by telling it again, whatever day it names; the other exercise's stays."""
    season = Season(Exercise.FRC).profile(pb_m=38, goal_m=50)
    season.at = datetime(2026, 5, 5, 8, tzinfo=UTC)
    season.reported(24, date(2026, 5, 1))
    season.at += timedelta(minutes=1)
    season.reported(12, date(2026, 5, 1))
    assert season.held_m() == 9.5
    season.at += timedelta(minutes=1)
    season.reported(15, date(2026, 4, 20))
    assert season.held_m() == 12.0  # 0.8 x 15; younger than 28 days, so no lay-off


def test_rest_is_over_after_what_was_dived_on_a_rest_day() -> None:
    """The day that is told counts the dive of today too, as the debrief does."""
    season = Season(Exercise.FRC).profile(pb_m=38, goal_m=40).morning("2026-05-05").dive(7)
    season.morning("2026-05-06").dive(7)
    said = season.said()
    assert isinstance(said, Refusal)
    rest = [bar for bar in said.bars if bar.because is Because.REST]
    assert [bar.until_on for bar in rest] == [date(2026, 5, 12)]
    assert season.free_on() == "2026-05-12"


def test_of_one_instant_what_was_heard_first_comes_first() -> None:
    """Facts of one second stand in the order of their messages' numbers, whichever chats they are from."""
    season = Season(Exercise.FRC).profile(pb_m=38, goal_m=40)
    pb, goal = season.facts[1:3]
    later = replace(goal, origin=Origin(chat="p:mara", message=2), happened_at=pb.happened_at)
    first = replace(pb, origin=Origin(chat="g:1", message=1))
    assert record_of(DIVER, [later, first], timezone=ZONE).facts == (first, later)


def test_the_cap_names_the_figure_that_it_comes_from() -> None:
    """After three FRC dives with one to 20 m the day is over by the cap from there, not by the five."""
    season = Season(Exercise.FRC).profile(pb_m=45, goal_m=50)
    season.reported(25, date(2026, 5, 1)).morning("2026-05-05").dive(16).dive(20).dive(20)
    said = season.said()
    assert isinstance(said, Refusal)
    assert [bar.figure for bar in said.bars if bar.because is Because.CAP] == ["cap.frc_deep"]


def test_trouble_lengthens_the_interval_by_a_figure_of_its_own() -> None:
    """After a hard dive the moment of the next has two figures: the least and what trouble adds."""
    season = Season(Exercise.FRC).profile(pb_m=38, goal_m=40).morning("2026-05-05").dive(7, "hard")
    said = season.said()
    assert isinstance(said, Plan)
    figures = [cap.figure for cap in said.caps if cap.because is Because.INTERVAL]
    assert figures == ["interval.frc_min", "interval.after_trouble_min"]


def test_a_full_dive_below_its_line_is_a_limit_passed() -> None:
    """The debrief names a dive on full lungs that went deeper than the line that had been told."""
    season = Season(Exercise.FRC).profile(pb_m=30, goal_m=40).morning("2026-05-05")
    line = Brief(
        **season._carried(),  # type: ignore[arg-type]
        exercise=Exercise.FULL, depth_m=32, fill_low_m=16, fill_high_m=20,
    )  # fmt: skip
    season.facts.append(line)
    season.other(Exercise.FULL, 32.5, fill_m=18)
    kept = debrief(season.record(), rules=RULES, at=season.at)
    assert kept is not None
    assert kept.passed == ()
    season.other(Exercise.FULL, 38, fill_m=18)
    beyond = debrief(season.record(), rules=RULES, at=season.at)
    assert beyond is not None
    assert Because.TOO_DEEP in beyond.passed
