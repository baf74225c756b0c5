"""What is said by itself: debrief, morning, evening, eve, ping."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from bot.charts import draw
from planner.agenda import Due, DueKind, agenda
from planner.record import Debriefed, Dive, Exercise, Harm, Kept, Origin, Unwell, Well
from planner.rules import RULES
from storage.outcome import Delivery, Member, Outcome
from tests.bot.talk_views.stage import GROUP, Stage, text_to
from tests.planner.season import Season


def first_session() -> Season:
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05")
    return season.dive(7).dive(7).dive(8).dive(8, "sternum").dive(6, "throat")


def staged(season: Season) -> Stage:
    return Stage(facts=list(season.facts), at=season.at)


def due_of(stage: Stage, kind: DueKind) -> Due:
    wanted = agenda(stage.record("mara"), rules=RULES, at=stage.at)
    return next(d for d in wanted if d.kind is kind)


def debriefed(stage: Stage, late: timedelta = timedelta()) -> Outcome:
    due = due_of(stage, DueKind.DEBRIEF)
    return stage.falls_due(due, at=due.at + late)


def answered(stage: Stage, at: datetime) -> Stage:
    """The morning's question was answered on the day of an instant."""
    origin = Origin(chat="p:mara", message=901)
    stage.facts.append(
        Well(
            diver="mara", happened_at=at - timedelta(hours=9), said_at=at, by="mara", origin=origin
        )
    )
    return stage


def harmed(stage: Stage, *, row: str = "6", days: float = 60, doctor: bool = True) -> Stage:
    stage.facts.append(
        Harm(
            diver="mara",
            happened_at=stage.at,
            said_at=stage.at,
            by="mara",
            origin=Origin(chat="p:mara", message=900),
            row=row,
            level="doctor-today" if doctor else "practice-over",
            days=days,
            doctor=doctor,
        )
    )
    return stage


def test_the_debrief_says_what_the_session_came_to_in_order() -> None:
    """Dives, held, limits, next session, base, flying, and the one question, in that order."""
    lines = text_to(debriefed(staged(first_session())), "p:mara").splitlines()
    assert lines == [
        "mara, Tue 5 May",
        "5 FRC dives: 3 clean, 2 stopped (sternum, throat)",
        "Held: 4.5 m.",
        "Limits: kept.",
        "Next exhale day: from Fri 8 May. Opens at 4.5 m, at most 5.5 m.",
        "Base so far: 4.5 of 19 m.",
        "On full lungs that speaks for 9 m; the rule binds.",
        "No flying before Wed 6 May 09:30 (house rule).",
        "Voice, breath, cough, chest, ears: all normal?",
    ]


def test_the_check_has_three_answers_of_the_divers_own() -> None:
    """The question's buttons are yes, no and not sure, and only the diver's press counts."""
    keys = debriefed(staged(first_session())).letters[0].keys[0]
    assert [k.label for k in keys] == ["yes", "no", "not sure"]
    assert {k.diver for k in keys} == {"mara"}
    assert {k.may_press for k in keys} == {("mara",)}


def test_the_picture_is_drawn_from_the_debriefs_data() -> None:
    """The picture's data hold dives, targets and the base, and the charts can draw them."""
    picture = debriefed(staged(first_session())).letters[0].picture
    assert picture is not None
    data = json.loads(picture.data)
    assert [d["target_m"] for d in data["dives"]] == [7.0, 7.0, 8.0, 8.0, 6.0]
    assert data["base_m"] == 19.0
    assert data["history"] == [["2026-05-05", 8.0]]
    assert draw(picture).startswith(b"\x89PNG")


def test_a_debrief_is_a_fact_and_comes_once() -> None:
    """Once written it is no longer wanted, until another dive comes."""
    stage = staged(first_session())
    (fact,) = debriefed(stage).facts
    assert isinstance(fact, Debriefed)
    wanted = agenda(stage.record("mara"), rules=RULES, at=stage.at)
    assert DueKind.DEBRIEF not in {d.kind for d in wanted}


def test_a_dive_after_the_debrief_brings_one_that_replaces_it() -> None:
    """A further dive of the same session brings a debrief that says so and counts them all."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05").dive(7)
    stage = staged(season)
    assert "replaces" not in text_to(debriefed(stage), "p:mara")
    season.at = stage.at + timedelta(minutes=5)
    season.dive(7)
    stage.facts.append(season.facts[-1])
    stage.at = season.at
    text = text_to(debriefed(stage), "p:mara")
    assert "This replaces the debrief before." in text
    assert "2 FRC dives: 2 clean" in text


@pytest.mark.parametrize(("late", "marked"), [(0, False), (2, False), (3, True), (180, True)])
def test_a_late_debrief_is_marked(late: int, marked: bool) -> None:
    """More than two minutes after it was due, a debrief says when that was."""
    text = text_to(debriefed(staged(first_session()), timedelta(minutes=late)), "p:mara")
    assert ("Late: it was due Tue 5 May 10:00." in text) is marked


@pytest.mark.parametrize(("row", "days", "doctor"), [("6", 60, True), ("21", 1, False)])
def test_after_harm_there_is_no_target_no_progress_and_no_picture(
    row: str, days: float, doctor: bool
) -> None:
    """After a report of harm the debrief keeps to what was dived, the pause and what to watch."""
    stage = harmed(staged(first_session()), row=row, days=days, doctor=doctor)
    outcome = debriefed(stage)
    text = text_to(outcome, "p:mara")
    assert outcome.letters[0].picture is None
    for figure in ("19", "Base", "Held", "Opens", "clean", "Next exhale"):
        assert figure not in text
    assert "5 FRC dives, kept." in text
    assert "`emergency`" in text
    assert outcome.letters[0].keys == ()


def test_an_open_question_of_health_makes_the_debrief_quiet() -> None:
    """While somebody's question about the diver is open, no target and no progress is said."""
    stage = staged(first_session())
    began = stage.at - timedelta(days=1)
    stage.facts.append(
        Unwell(
            diver="mara",
            happened_at=began,
            said_at=began,
            by="ilse",
            origin=Origin(chat="g:1", message=901),
            raised_by_other=True,
        )
    )
    stage.facts = [f for f in stage.facts if not isinstance(f, Well)]
    text = text_to(debriefed(stage), "p:mara")
    assert "Opens at" not in text
    assert "Held" not in text


def test_an_answer_before_the_debrief_leaves_out_the_question() -> None:
    """Where the diver has said `feel ok` after the last dive, nothing is asked again."""
    stage = staged(first_session())
    stage.facts.append(
        Well(
            diver="mara",
            happened_at=stage.at,
            said_at=stage.at,
            by="mara",
            origin=Origin(chat="p:mara", message=902),
        )
    )
    outcome = debriefed(stage)
    assert outcome.letters[0].keys == ()
    assert "all normal?" not in text_to(outcome, "p:mara")
    assert "Base so far" in text_to(outcome, "p:mara")


def test_a_kept_divers_debrief_goes_to_the_keeper() -> None:
    """Without a phone, the keeper reads it in private, may answer it, and nobody else sees it."""
    season = first_session()
    stage = staged(season)
    stage.members["mara"] = Member(key="mara", name="noor", has_phone=False)
    stage.facts.append(
        Kept(
            diver="mara",
            happened_at=season.at,
            said_at=season.at,
            by="ilse",
            origin=Origin(chat="g:1", message=903),
            keeper="ilse",
        )
    )
    outcome = debriefed(stage)
    assert {x.to for x in outcome.letters} == {"p:ilse"}
    assert text_to(outcome, "p:ilse").startswith("noor, Tue 5 May")
    assert "ilse" in outcome.letters[0].keys[0][0].may_press


def test_without_anybody_to_reach_the_group_gets_a_neutral_line() -> None:
    """Where nobody can be reached, the group reads how many dives there were and nothing else."""
    stage = staged(first_session())
    stage.members["mara"] = replace(stage.members["mara"], can_dm=False)
    plain = text_to(debriefed(stage), GROUP)
    assert plain.startswith("mara: 5 FRC dives, kept.")
    hurt = harmed(staged(first_session()))
    hurt.members["mara"] = stage.members["mara"]
    assert text_to(debriefed(hurt), GROUP) == plain


def test_a_fault_met_twice_sets_its_task() -> None:
    """Two leaks in a session are named with the task against it and its dose."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05")
    text = text_to(debriefed(staged(season.dive(7).dive(6, "leak").dive(6, "leak"))), "p:mara")
    assert "Leak again: `lock` – " in text
    assert "× 10" in text
    assert "common practice" in text


def test_a_limit_that_was_passed_is_named() -> None:
    """A dive deeper than its target is named among the limits passed."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05").dive(9)
    assert "Limits passed: deeper than the target." in text_to(debriefed(staged(season)), "p:mara")


def test_the_check_comes_again_in_the_morning_and_in_the_evening() -> None:
    """Unanswered, the question is put to the diver again, twice, as a reminder that goes stale."""
    stage = staged(first_session())
    debriefed(stage)
    for kind in (DueKind.MORNING, DueKind.EVENING):
        due = due_of(stage, kind)
        (letter,) = stage.falls_due(due).letters
        assert letter.to == "p:mara"
        assert letter.delivery is Delivery.REMINDER
        assert letter.stale_at == due.stale_at
        assert "all normal?" in letter.text
        assert len(letter.keys[0]) == 3


def test_an_answered_check_is_not_asked_again() -> None:
    """A reminder that falls due after the day's answer says nothing; a yes of the evening before is none."""
    origin = Origin(chat="p:mara", message=904)
    for hours_later, asks in ((1, True), (20, False)):
        stage = staged(first_session())
        due = due_of(stage, DueKind.EVENING)
        at = stage.at + timedelta(hours=hours_later)
        stage.facts.append(Well(diver="mara", happened_at=at, said_at=at, by="mara", origin=origin))
        assert bool(stage.falls_due(due).letters) == asks


def test_nobody_reachable_is_not_asked_in_the_group() -> None:
    """A question of health is never put to the group."""
    stage = staged(first_session())
    stage.members["mara"] = replace(stage.members["mara"], can_dm=False)
    assert stage.falls_due(due_of(stage, DueKind.MORNING)).letters == ()


def due(kind: DueKind, at: datetime) -> Due:
    return Due(kind=kind, diver="mara", about="x", at=at, stale_at=at + timedelta(hours=3))


def test_the_eve_says_where_the_day_opens_and_what_to_do() -> None:
    """The evening before gives the opening depth and the advice; a paused diver gets neither."""
    at = datetime(2026, 5, 7, 18, tzinfo=UTC)
    asked = staged(first_session())
    # the morning's question is open: no target would be given, so no depth is told
    assert asked.falls_due(due(DueKind.EVE, at)).letters == ()
    text = text_to(answered(asked, at).falls_due(due(DueKind.EVE, at)), "p:mara")
    assert "opening at 4.5 m" in text
    assert "Light meal" in text
    assert "stay dry, and say so here" in text
    assert harmed(staged(first_session())).falls_due(due(DueKind.EVE, at)).letters == ()


def test_a_ping_comes_only_while_a_target_stands() -> None:
    """The end of the interval is told where a target stands, and not after the day is over."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05").dive(7)
    at = season.at + timedelta(minutes=4)
    text = text_to(staged(season).falls_due(due(DueKind.PING, at)), "p:mara")
    assert "the interval is over" in text
    over = staged(first_session())
    assert over.falls_due(due(DueKind.PING, over.at + timedelta(minutes=4))).letters == ()


def test_a_session_that_was_taken_back_needs_no_debrief() -> None:
    """With no dive left, nothing is written and nothing is said."""
    outcome = Stage().falls_due(due(DueKind.DEBRIEF, datetime(2026, 5, 5, 10, tzinfo=UTC)))
    assert outcome == Outcome()


def test_a_report_that_waits_is_not_called_clean() -> None:
    """A dive reported by somebody without a grant is counted apart, in the text and in the picture."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05").dive(7).dive(7)
    stage = staged(season)
    last = stage.facts[-1]
    assert isinstance(last, Dive)
    stage.facts[-1] = replace(last, waits=True)
    outcome = debriefed(stage)
    assert "2 FRC dives: 1 clean, 1 waiting for your yes" in text_to(outcome, "p:mara")
    picture = outcome.letters[0].picture
    assert picture is not None
    assert [d["ending"] for d in json.loads(picture.data)["dives"]] == ["clean", "waits"]
    assert draw(picture).startswith(b"\x89PNG")


def test_a_dive_on_full_lungs_is_debriefed_without_an_exhale_line() -> None:
    """A day on full lungs is summed up and the check is asked; nothing is said to be held from it."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05")
    season.exercise = Exercise.FULL
    text = text_to(debriefed(staged(season.dive(30, fill_m=18))), "p:mara")
    assert "1 full dive: 1 clean" in text
    assert "Held" not in text
    assert "all normal?" in text


def test_clean_dives_above_the_first_depth_are_told_what_makes_it_held() -> None:
    """Two clean turns at 4 m hold nothing: two clean dives at the first depth would, and that is said."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05")
    season.dive(4, "early").dive(4, "early")
    text = text_to(debriefed(staged(season)), "p:mara")
    assert "Held: nothing yet. Two clean dives at the first depth, 7 m, make it held." in text
