"""Log, week, readiness and why."""

import re
from datetime import date, timedelta

import pytest

from bot.talk.views import load
from bot.texts.render import COLUMNS
from planner.record import Brief, Exercise, Harm, Origin
from tests.bot.talk_views.stage import GROUP, Stage, text_to
from tests.planner.season import Season


def staged(season: Season) -> Stage:
    return Stage(facts=list(season.facts), at=season.at)


def first_session() -> Season:
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05")
    return season.dive(7).dive(7).dive(8).dive(8, "sternum")


def locked(stage: Stage) -> Stage:
    stage.facts.append(
        Harm(
            diver="mara",
            happened_at=stage.at,
            said_at=stage.at,
            by="mara",
            origin=Origin(chat="p:mara", message=900),
            row="6",
            level="doctor-today",
            days=60,
            doctor=True,
        )
    )
    return stage


def test_the_log_has_each_dive_with_its_local_time_and_ending() -> None:
    """`log` gives day, local time, exercise, depth and ending, with the reason of a stop."""
    text = text_to(staged(first_session()).says("mara", "log"), "p:mara")
    assert text.splitlines()[0] == "Tue 5 May"
    assert "08:42 · FRC 7 m · clean" in text
    assert "09:18 · FRC 8 m · stop, sternum" in text


def test_a_long_log_shows_the_last_dives_and_says_so() -> None:
    """Only the last dives are listed, and how many there are in all is said."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38)
    for on in ("2026-05-05", "2026-05-08", "2026-05-12"):
        season.morning(on)
        for _ in range(5):
            season.dive(7)
    text = text_to(staged(season).says("mara", "log"), "p:mara")
    assert len(re.findall(r"FRC 7 m", text)) == 12
    assert "The last 12 of 15" in text


def test_views_asked_for_in_the_group_are_read_in_private() -> None:
    """Nothing of log, week, ready or why reaches the group."""
    stage = staged(first_session())
    for word in ("log", "week", "ready", "why"):
        outcome = stage.says("mara", word, private=False)
        assert text_to(outcome, GROUP) == ""
        assert text_to(outcome, "p:mara")


def test_the_week_stands_beside_the_mean_of_four() -> None:
    """Exhale dives and metres of this week, and a quarter of the four weeks before it."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38)
    season.morning("2026-04-06").dive(7).dive(7)  # a Monday, four weeks before
    season.morning("2026-04-05").dive(7)  # the day before that: outside
    season.morning("2026-05-05").dive(7).dive(7).dive(8)
    text = text_to(staged(season).says("mara", "week"), "p:mara")
    assert "Week from Mon 4 May: 1 session, 3 exhale dives, 22 m in all." in text
    assert "four weeks before: 0.5 dives, 3.5 m" in text
    assert "no risk can be read from it" in text
    assert "next exhale day Fri 8 May" in text


def test_a_load_counts_exhale_dives_on_local_days_only() -> None:
    """The day after the span, and dives on full lungs, are not in it."""
    season = first_session()
    season.exercise = Exercise.FULL
    season.dive(30)
    record = season.record()
    assert load(record, date(2026, 5, 5), date(2026, 5, 6)) == (4, 30.0)
    assert load(record, date(2026, 5, 6), date(2026, 5, 13)) == (0, 0.0)


def test_ready_shows_the_base_the_three_bounds_and_which_binds() -> None:
    """Base so far, clean dives at it, rule, chest and mouth with figures, and the least of them."""
    text = text_to(staged(first_session()).says("mara", "ready"), "p:mara")
    # 0.8 x 8 = 6.4, rounded down to 6; the rule doubles it (common practice)
    assert "Base so far: 6 of 19 m." in text
    assert "0 of 3 dives, on 0 of 2 days" in text
    rows = [line for line in text.splitlines() if COLUMNS in line]
    assert [row.split()[0] for row in rows] == ["rule", "chest", "mouth"]
    assert re.fullmatch(r"rule  │ +12 m │ binds", rows[0])
    assert all(re.fullmatch(r"\w+ +│ +[\d.]+ m │ [\d.]+–[\d.]+", row) for row in rows[1:])
    assert "The rule binds" in text


def test_the_table_of_bounds_is_aligned_and_narrow() -> None:
    """Its columns stand under each other, in few enough letters for a phone."""
    text = text_to(staged(first_session()).says("mara", "ready"), "p:mara")
    rows = [line for line in text.splitlines() if COLUMNS in line]
    assert len({tuple(i for i, c in enumerate(row) if c == "│") for row in rows}) == 1
    assert max(map(len, rows)) <= 34


def test_ready_for_rv_counts_first_dives_only() -> None:
    """On RV dives, only the first dive of a session counts for the base, and that is said."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=65).morning("2026-05-05").dive(2)
    text = text_to(staged(season).says("mara", "ready"), "p:mara")
    assert "base 13 m" in text
    assert "first dive of a session: 0 of 3 days" in text


def test_with_nothing_held_ready_shows_what_the_base_would_speak_for() -> None:
    """Before anything is held the bounds are those of the base itself, and called that."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38)
    text = text_to(staged(season).says("mara", "ready"), "p:mara")
    assert "19 m, once held, would speak for" in text
    assert re.search(r"rule  │ +38 m │ binds", text)


def test_ready_clears_nobody() -> None:
    """A base that is met is called that; neither readiness nor safety is promised."""
    season = Season(Exercise.FRC).profile(pb_m=14, goal_m=15)
    day = date(2026, 5, 5)
    for _ in range(6):
        season.morning(day.isoformat())
        for _ in range(4):
            target = season.next()
            if target is not None:
                season.dive(target, fill_m=5)
        day = date.fromisoformat(season.free_on())
    text = text_to(staged(season).says("mara", "ready"), "p:mara")
    assert "The base is met." in text
    assert not re.search(r"you are ready|\bsafe|cleared", text, re.IGNORECASE)


def test_a_paused_diver_gets_the_pause_and_no_progress() -> None:
    """While health bars targets, `ready` gives the pause and no figure of progress."""
    stage = locked(staged(first_session()))
    text = text_to(stage.says("mara", "ready"), "p:mara")
    assert "No target before" in text
    assert "19 m" not in text
    week = text_to(stage.says("mara", "week"), "p:mara")
    assert "next exhale day" not in week


def test_ready_asks_for_what_it_needs() -> None:
    """Without PB or goal, and without a body, the answer says which word brings it."""
    stage = Stage()
    assert "`pb 38`" in text_to(stage.says("mara", "ready"), "p:mara")
    stage.says("mara", "pb", depth_m=32.0)
    stage.says("mara", "goal", depth_m=38.0)
    assert "`me f 34y 172cm`" in text_to(stage.says("mara", "ready"), "p:mara")


def test_why_gives_each_cap_its_figure_mark_and_source() -> None:
    """`why` lists the caps of the last target told, the binding one first, each with its mark."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05").dive(7).dive(7)
    season.facts.append(
        Brief(
            diver="mara",
            happened_at=season.at,
            said_at=season.at,
            by="mara",
            origin=Origin(chat="g:1", message=800),
            exercise=Exercise.FRC,
            depth_m=8.0,
        )
    )
    lines = text_to(staged(season).says("mara", "why"), "p:mara").splitlines()
    assert lines[0].startswith("FRC 8 m, told Tue 5 May")
    assert lines[1] == "– at most 8 m: one step deeper [FRC, deeper: 1 m; house rule]"
    assert "at most 19 m: no deeper than the base" in lines[2]
    assert "as a share of the stage: 50 %; common practice, no source]" in lines[2]
    text = "\n".join(lines)
    assert "not before" in text
    assert "Quanjer, ECSC/ERS 1993" in text
    assert "Left out, all to the unsafe side" in text


def test_why_names_what_bars_a_target_now() -> None:
    """Where no target stands, `why` names each bar with its figure, also the two that are asked for."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38)
    text = text_to(staged(season).says("mara", "why"), "p:mara")
    assert "No target now:" in text
    assert "No buddy is named." in text
    assert "house rule" in text


def test_why_says_the_case_against_going_straight_in() -> None:
    """The RV practice of going straight in stands beside what speaks against it."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=65)
    assert "Yu 2024" in text_to(staged(season).says("mara", "why"), "p:mara")


def test_why_shows_a_paused_diver_no_target() -> None:
    """While health bars targets, the last target is not shown again."""
    season = first_session()
    season.facts.append(
        Brief(
            diver="mara",
            happened_at=season.at - timedelta(minutes=20),
            said_at=season.at,
            by="mara",
            origin=Origin(chat="g:1", message=800),
            exercise=Exercise.FRC,
            depth_m=8.0,
        )
    )
    text = text_to(locked(staged(season)).says("mara", "why"), "p:mara")
    assert "told Tue 5 May" not in text
    assert "No target before" in text


@pytest.mark.parametrize("word", ["log", "week", "ready", "why"])
def test_a_diver_of_whom_nothing_is_known_is_answered(word: str) -> None:
    """Each view of an empty record is a plain answer."""
    assert text_to(Stage().says("mara", word), "p:mara")
