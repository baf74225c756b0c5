"""Figures of the body, measured volumes, PB, goal and reported base, as they are answered."""

from datetime import UTC, date, datetime, timedelta

import pytest

from planner.harm import harm_table
from planner.record import (
    PB,
    Body,
    Cleared,
    Consent,
    Dive,
    Ending,
    Exercise,
    Goal,
    Harm,
    Origin,
    Reason,
    ReportedBase,
    UnderAge,
    Volume,
)
from tests.bot.talk_views.stage import GROUP, Stage, text_to
from tests.planner.season import Season


@pytest.fixture
def stage() -> Stage:
    return Stage()


def test_a_body_is_answered_with_bands_and_where_they_come_from(stage: Stage) -> None:
    """Predicted volumes come as bands with their source, never as bare figures."""
    # woman of 34 y, 1.72 m by the ECSC/ERS summary equations (Quanjer et al., Eur Respir J 1993;
    # 6 Suppl 16:5-40), transcribed: TLC 6.60 H - 5.79 = 5.562, RV 1.81 H + 0.016 A - 2.00 = 1.657
    text = text_to(stage.says("mara", "me", sex="f", age_y=34, height_m=1.72), "p:mara")
    assert "TLC 5.56 L (4.6–6.5) predicted" in text
    assert "RV 1.66 L (1.1–2.2) predicted" in text
    assert "Quanjer et al., Eur Respir J 1993" in text


@pytest.mark.parametrize("age_y", [0, 9, 17])
def test_nobody_under_18_is_served(stage: Stage, age_y: int) -> None:
    """Under 18 no figure is kept, only that there are no targets, and the answer says so."""
    outcome = stage.says("mara", "me", sex="f", age_y=age_y, height_m=1.30)
    (kept,) = outcome.facts
    assert isinstance(kept, UnderAge)
    assert "18" in text_to(outcome, "p:mara")


@pytest.mark.parametrize(
    ("age_y", "height_m", "said"), [(99, 1.72, "18–70"), (34, 2.40, "1.45–1.80 m")]
)
def test_a_body_beyond_the_equations_is_not_kept(
    stage: Stage, age_y: int, height_m: float, said: str
) -> None:
    """Too far outside the equations' range nothing is kept, and the range is named."""
    outcome = stage.says("mara", "me", sex="f", age_y=age_y, height_m=height_m)
    assert outcome.facts == ()
    assert said in text_to(outcome, "p:mara")


def test_a_small_stretch_of_the_equations_is_said(stage: Stage) -> None:
    """A height just outside the valid range is computed and called a stretch."""
    outcome = stage.says("mara", "me", sex="f", age_y=34, height_m=1.84)
    assert isinstance(outcome.facts[0], Body)
    assert "height lies outside" in text_to(outcome, "p:mara")


def test_a_measured_volume_replaces_the_predicted_one(stage: Stage) -> None:
    """A measured RV is kept, shown without a band and called measured."""
    stage.says("mara", "me", sex="f", age_y=50, height_m=1.60)
    outcome = stage.says("mara", "volume", volume="rv", value=1.3)
    assert isinstance(outcome.facts[0], Volume)
    assert "RV 1.30 L measured" in text_to(outcome, "p:mara")


def test_an_rv_beyond_tlc_is_refused_by_name(stage: Stage) -> None:
    """An RV larger than TLC is not kept, and TLC is named as the reason."""
    stage.says("mara", "me", sex="f", age_y=50, height_m=1.60)
    outcome = stage.says("mara", "volume", volume="rv", value=9.9)
    assert outcome.facts == ()
    assert "TLC (total lung capacity)" in text_to(outcome, "p:mara")


@pytest.mark.parametrize(
    ("kind", "value"), [("tlc", 1.0), ("frc", 0.9), ("frc", 5.2), ("vc", 5.5), ("rv", 0.1)]
)
def test_every_refusal_of_a_volume_has_its_words(stage: Stage, kind: str, value: float) -> None:
    """Whatever is wrong with a volume, it isn't kept, and what was expected is said."""
    stage.says("mara", "me", sex="f", age_y=50, height_m=1.60)
    stage.says("mara", "volume", volume="tlc", value=4.8)
    stage.says("mara", "volume", volume="rv", value=1.7)
    outcome = stage.says("mara", "volume", volume=kind, value=value)
    assert outcome.facts == ()
    assert "Not kept. Expected" in text_to(outcome, "p:mara")


@pytest.mark.parametrize(
    ("word", "value", "kept", "said"),
    [
        ("mouth", 90.0, 1, "90 ml"),
        ("mouth", 900.0, 0, "1–500 ml"),
        ("mask", 120.0, 1, "120 ml"),
        ("mask", 0.0, 1, "Nose clip"),
        ("mask", 600.0, 0, "0–400 ml"),
    ],
)
def test_mouth_and_mask_are_kept_within_what_they_hold(
    stage: Stage, word: str, value: float, kept: int, said: str
) -> None:
    """A charge and a mask are kept in millilitres; a slip of the thumb is told and not kept."""
    outcome = stage.says("mara", word, value=value)
    assert len(outcome.facts) == kept
    assert said in text_to(outcome, "p:mara")


# common practice, no source: FRC below PB 50 with half the goal, RV from 50 on with a fifth;
# check values goal 38 -> 19, 40 -> 20, 60 -> 12
@pytest.mark.parametrize(
    ("pb_m", "goal_m", "exercise", "base"),
    [
        (32.0, 38.0, "FRC", "19 m"),
        (32.0, 40.0, "FRC", "20 m"),
        (54.0, 60.0, "RV", "12 m"),
        (54.0, 64.0, "RV", "13 m"),
    ],
)
def test_a_goal_is_answered_with_exercise_and_base(
    stage: Stage, pb_m: float, goal_m: float, exercise: str, base: str
) -> None:
    """PB and goal settle the exercise and its base, with their marks."""
    stage.says("mara", "pb", depth_m=pb_m)
    text = text_to(stage.says("mara", "goal", depth_m=goal_m), "p:mara")
    assert f"{exercise} dives, base {base}" in text
    assert "common practice" in text
    assert "goes in stages" not in text


@pytest.mark.parametrize(
    ("pb_m", "goal_m", "stage_m", "why"),
    [(44.0, 65.0, "50 m", "first 50 m by FRC"), (32.0, 48.0, "42 m", "10 m past the PB")],
)
def test_a_far_goal_is_staged_and_told_why(
    stage: Stage, pb_m: float, goal_m: float, stage_m: str, why: str
) -> None:
    """A goal too far past the PB is kept and staged, and the reason is said with its mark."""
    stage.says("mara", "pb", depth_m=pb_m)
    text = text_to(stage.says("mara", "goal", depth_m=goal_m), "p:mara")
    assert f"the first is {stage_m}" in text
    assert why in text


def test_a_date_for_a_goal_is_only_a_wish(stage: Stage) -> None:
    """A goal's date is kept, and it is said that no target moves for it."""
    stage.says("mara", "pb", depth_m=32.0)
    outcome = stage.says("mara", "goal", depth_m=38.0, by_on=date(2026, 9, 12))
    goal = outcome.facts[0]
    assert isinstance(goal, Goal)
    assert goal.by_on == date(2026, 9, 12)
    assert "12 Sep 2026 is kept as your wish" in text_to(outcome, "p:mara")


def test_a_goal_within_the_pb_asks_for_the_next_one(stage: Stage) -> None:
    """A goal that the PB has reached already is answered with how far the next may be."""
    stage.says("mara", "pb", depth_m=40.0)
    assert "45 m at most" in text_to(stage.says("mara", "goal", depth_m=38.0), "p:mara")


def test_after_a_goal_is_reached_the_next_is_five_metres_further_at_most() -> None:
    """House rule: past a goal reached on logged dives, a goal more than 5 m past the PB is refused."""
    season = Season(Exercise.FRC).profile(pb_m=38, goal_m=38).morning("2026-05-05").dive(7)
    stage = Stage(facts=list(season.facts), at=season.at)
    refused = stage.says("mara", "goal", depth_m=50.0)
    assert refused.facts == ()
    assert refused.letters[0].keys[0][0].says == "goal 43"
    assert len(stage.says("mara", "goal", depth_m=43.0).facts) == 1


def test_a_reported_base_says_what_it_counts_as(stage: Stage) -> None:
    """A reported FRC base counts 80 %, rounded down to half a metre (house rule)."""
    stage.says("mara", "pb", depth_m=32.0)
    stage.says("mara", "goal", depth_m=42.0)
    outcome = stage.says("mara", "base", exercise="frc", depth_m=22.0, on=date(2026, 5, 1))
    assert isinstance(outcome.facts[0], ReportedBase)
    # local midnight in Lisbon's summer is 23:00 UTC of the day before
    assert outcome.facts[0].happened_at == datetime(2026, 4, 30, 23, tzinfo=UTC)
    text = text_to(outcome, "p:mara")
    assert "counts as 17.5 m" in text
    assert "opens at 14 m" in text


def test_a_reported_rv_base_counts_five_metres_at_most(stage: Stage) -> None:
    """A reported RV base counts 60 %, and never more than 5 m (house rule)."""
    stage.says("mara", "pb", depth_m=54.0)
    outcome = stage.says("mara", "base", exercise="rv", depth_m=12.0, on=date(2026, 5, 1))
    assert "counts as 5 m" in text_to(outcome, "p:mara")


def test_an_old_reported_base_says_what_the_lay_off_leaves(stage: Stage) -> None:
    """A base of two months ago is a lay-off, and the answer gives what is held now."""
    stage.says("mara", "pb", depth_m=32.0)
    outcome = stage.says("mara", "base", exercise="frc", depth_m=20.0, on=date(2026, 3, 1))
    # 0.8 x 20 = 16 reported, x 0.6 after a long lay-off = 9.6, rounded down
    assert "a lay-off: 9.5 m is held now" in text_to(outcome, "p:mara")


def test_a_base_of_tomorrow_is_not_kept(stage: Stage) -> None:
    """A base of a day to come is told so and not kept."""
    outcome = stage.says("mara", "base", exercise="frc", depth_m=18.0, on=date(2026, 5, 6))
    assert outcome.facts == ()
    assert "Not kept" in text_to(outcome, "p:mara")


def harmed(row: str, *, at: datetime) -> Harm:
    """A report of that row, at that instant."""
    kept = harm_table().rows[row]
    return Harm(
        diver="mara",
        happened_at=at,
        said_at=at,
        by="mara",
        origin=Origin(chat="p:mara", message=900),
        row=row,
        level=kept.level,
        days=kept.days,
        doctor=kept.doctor,
        since_well=kept.since_well,
    )


def test_a_base_told_within_a_lock_names_no_opening_and_says_what_bars(stage: Stage) -> None:
    """After blood a base is kept and counts for nothing: the answer is what bars, and no depth at all."""
    stage.says("mara", "pb", depth_m=32.0)
    stage.says("mara", "goal", depth_m=42.0)
    stage.facts.append(harmed("6", at=stage.at))
    outcome = stage.says("mara", "base", exercise="frc", depth_m=18.0, on=date(2026, 5, 1))
    assert isinstance(outcome.facts[0], ReportedBase)
    text = text_to(outcome, "p:mara")
    assert "No target before" in text
    assert "opens at" not in text
    assert "counts as" not in text
    assert "moves no held depth" in text


def test_a_base_told_within_the_weeks_after_a_lock_names_no_opening(stage: Stage) -> None:
    """Cleared, and the 28 days run: what is said is from when exhale dives come again."""
    stage.says("mara", "pb", depth_m=32.0)
    told = harmed("8", at=stage.at - timedelta(days=30))
    word = Cleared(
        diver="mara", happened_at=stage.at, said_at=stage.at, by="mara",
        origin=Origin(chat="p:mara", message=901), on=date(2026, 5, 5),
    )  # fmt: skip
    stage.facts += [told, word]
    outcome = stage.says("mara", "base", exercise="frc", depth_m=18.0, on=date(2026, 5, 1))
    text = text_to(outcome, "p:mara")
    assert "exhale dives again from" in text
    assert "opens at" not in text


def test_a_base_told_within_a_milder_lock_counts_and_names_no_opening(stage: Stage) -> None:
    """A base counts after a hoarse voice as it would; where it opens is said once nothing bars."""
    stage.says("mara", "pb", depth_m=32.0)
    stage.facts.append(harmed("11", at=stage.at))
    outcome = stage.says("mara", "base", exercise="frc", depth_m=18.0, on=date(2026, 5, 1))
    text = text_to(outcome, "p:mara")
    assert "counts as 14 m" in text
    assert "opens at" not in text
    assert "No target" in text


@pytest.mark.parametrize(("command", "depth_m"), [("pb", 34.0), ("goal", 44.0)])
def test_within_a_lock_neither_pb_nor_goal_names_an_opening(
    stage: Stage, command: str, depth_m: float
) -> None:
    """What is held and where it opens is no answer while health bars; the base that is asked for is."""
    stage.says("mara", "pb", depth_m=32.0)
    stage.says("mara", "goal", depth_m=42.0)
    stage.says("mara", "base", exercise="frc", depth_m=18.0, on=date(2026, 5, 1))
    assert "opens at" in text_to(stage.says("mara", command, depth_m=depth_m), "p:mara")
    stage.facts.append(harmed("6", at=stage.at))
    text = text_to(stage.says("mara", command, depth_m=depth_m), "p:mara")
    assert "opens at" not in text
    assert "first depth" not in text
    assert "base" in text
    assert "No target before" in text


def test_a_base_of_next_to_nothing_counts_as_the_least(stage: Stage) -> None:
    """A reported base of 2 m puts held at 2 m: less careful would be the first depth."""
    outcome = stage.says("mara", "base", exercise="frc", depth_m=2.0, on=date(2026, 5, 1))
    assert isinstance(outcome.facts[0], ReportedBase)
    assert "counts as 2 m" in text_to(outcome, "p:mara")


def test_what_is_private_is_answered_in_private(stage: Stage) -> None:
    """A figure typed in the group is kept and answered in private; the group reads nothing."""
    outcome = stage.says("mara", "pb", depth_m=32.0, private=False)
    assert isinstance(outcome.facts[0], PB)
    assert text_to(outcome, GROUP) == ""
    assert "32 m" in text_to(outcome, "p:mara")


def test_who_can_not_be_reached_is_asked_to_write_in_private(stage: Stage) -> None:
    """Where the bot can't open a private chat, the group reads one neutral line without a figure."""
    from storage.outcome import Member

    stage.members["ana"] = Member(key="ana", name="ana", can_dm=False)
    outcome = stage.says("ana", "me", sex="f", age_y=34, height_m=1.72, private=False)
    text = text_to(outcome, GROUP)
    assert "write to me in private" in text
    assert "5.5" not in text
    assert len(outcome.facts) == 1


def test_a_keeper_sets_figures_and_reads_the_answers(stage: Stage) -> None:
    """What a keeper says for a diver without a phone is the diver's, answered to the keeper."""
    stage.says("mara", "add", name="noor", private=False)
    noor = next(key for key, m in stage.members.items() if m.name == "noor")
    stage.says("mara", "pb", about=noor, depth_m=36.0)
    outcome = stage.says("mara", "goal", about=noor, depth_m=42.0)
    assert outcome.facts[0].diver == noor
    text = text_to(outcome, "p:mara")
    assert text.startswith("noor · ")
    assert "base 21 m" in text


def test_taking_consent_back_offers_to_erase_what_was_kept(stage: Stage) -> None:
    """`share off` stores the no, and where health was kept it offers to erase it."""
    stage.says("mara", "share", on=True)
    assert stage.says("mara", "share", on=False).letters[0].keys == ()
    stage.facts.append(
        Harm(
            diver="mara",
            happened_at=stage.at,
            said_at=stage.at,
            by="mara",
            origin=Origin(chat="p:mara", message=50),
            row="11",
            level="day-over",
            days=7,
            doctor=False,
        )
    )
    outcome = stage.says("mara", "share", on=False)
    assert isinstance(outcome.facts[0], Consent)
    assert outcome.facts[0].given is False
    assert outcome.letters[0].keys[0][0].says == "forget health"


def test_a_nose_clip_is_a_mask_of_nothing(stage: Stage) -> None:
    """`noseclip` is kept as a mask of 0 ml."""
    (fact,) = stage.says("mara", "noseclip").facts
    assert isinstance(fact, Volume)
    assert fact.value == 0


@pytest.mark.parametrize(
    ("on", "said"),
    [
        (date(2026, 5, 5), "\n4 m is held now."),
        (date(2026, 5, 4), "That is a day ago, and 4 m is held now."),
        (date(2026, 5, 3), "That is 2 days ago, a lay-off: 4 m is held now."),
    ],
)
def test_how_long_ago_a_base_was_is_said_in_words(stage: Stage, on: date, said: str) -> None:
    """Today, a day ago, two days ago; a stop since then has left less of it."""
    stage.says("mara", "pb", depth_m=32.0)
    stage.says("mara", "goal", depth_m=42.0)
    stage.facts.append(
        Dive(
            diver="mara", happened_at=stage.at, said_at=stage.at, by="mara",
            origin=Origin(chat="g:1", message=901), exercise=Exercise.FRC, depth_m=5.0,
            ending=Ending.STOP, reason=Reason.STERNUM,
        )
    )  # fmt: skip
    text = text_to(stage.says("mara", "base", exercise="frc", depth_m=12.0, on=on), "p:mara")
    assert said in text
