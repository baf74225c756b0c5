"""`ready` with its picture, the forecast, goals by a day, and what `why` says of reach and water."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date, timedelta

import pytest

from bot.charts import draw
from bot.talk.ahead import courses_words
from planner.figure import Figure, Mark
from planner.forecast import Forecast
from planner.record import PB, Exercise, Goal, Origin
from storage.outcome import Letter, Site
from tests.bot.talk_views.stage import GROUP, Stage, text_to
from tests.planner.season import Season


def season_of(days: int, *, hard_at: int = 0) -> Season:
    """Sessions as the planner allows them, four dives each; the n-th dive of all is hard."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38)
    on, dives = date(2026, 5, 5), 0
    for _ in range(days):
        season.morning(on.isoformat())
        for _ in range(4):
            target = season.next()
            if target is not None:
                dives += 1
                ending = "hard" if hard_at and dives % hard_at == 0 else "clean"
                season.dive(target, ending, fill_m=min(5, target - 2))
        on = date.fromisoformat(season.free_on())
    return season


def staged(season: Season) -> Stage:
    return Stage(facts=list(season.facts), at=season.at)


def ready_letter(stage: Stage) -> Letter:
    return next(x for x in stage.says("mara", "ready").letters if x.to == "p:mara")


# the picture


def test_ready_comes_with_a_picture_of_its_bounds() -> None:
    """The picture has the three bounds of the text, the one that binds, best and goal; and it is drawn."""
    letter = ready_letter(staged(season_of(3)))
    assert letter.picture is not None
    assert letter.picture.kind == "ready"
    data = json.loads(letter.picture.data)
    assert [b["kind"] for b in data["bounds"]] == ["rule", "chest", "mouth"]
    assert f"rule  │   {data['bounds'][0]['depth_m']:g} m │ binds" in letter.text
    assert data["binding"] == "rule"
    assert (data["pb_m"], data["goal_m"], data["is_held"]) == (32, 38, True)
    assert draw(letter.picture).startswith(b"\x89PNG")


def test_with_nothing_held_the_picture_is_of_the_base() -> None:
    """It is drawn for the base, and called not held."""
    letter = ready_letter(staged(Season(Exercise.FRC).profile(pb_m=32, goal_m=38)))
    assert letter.picture is not None
    data = json.loads(letter.picture.data)
    assert (data["from_m"], data["is_held"]) == (19, False)


def test_the_picture_never_goes_to_the_group() -> None:
    """Asked in the group by somebody who can't be reached, nothing of it is shown."""
    stage = staged(season_of(2))
    stage.members["mara"] = replace(stage.members["mara"], can_dm=False)
    outcome = stage.says("mara", "ready", private=False)
    assert text_to(outcome, GROUP) != ""
    assert all(x.picture is None for x in outcome.letters)


# what is said beside it


def test_the_chance_is_learned_from_own_dives_and_never_certain() -> None:
    """With dives there is a chance of the next one by reach, never 100 %; without any there is none."""
    text = ready_letter(staged(season_of(4))).text
    chance = re.search(r"to [\d.]+ m, stays equalised, learned from your own dives: (\d+) %", text)
    assert chance is not None
    assert 1 <= int(chance[1]) <= 99
    none = ready_letter(staged(Season(Exercise.FRC).profile(pb_m=32, goal_m=38))).text
    assert "learned from your own dives" not in none


def test_frc_still_speaks_while_rv_builds() -> None:
    """Past a PB of 50 m the exercise is RV; what is held by FRC keeps its word."""
    season = Season(Exercise.FRC).profile(pb_m=48, goal_m=58).reported(30, date(2026, 5, 1))
    season.morning("2026-05-05")
    carried = {
        "diver": "mara",
        "happened_at": season.at,
        "said_at": season.at,
        "by": "mara",
        "origin": Origin(chat="p:mara", message=950),
    }
    season.facts.append(PB(**carried, depth_m=51))  # type: ignore[arg-type]
    text = ready_letter(staged(season)).text
    assert "RV dives, base 12 m" in text
    # 0.8 x 30 = 24 held; twice that by the rule
    assert "FRC 24 m still speaks for" in text
    assert "while RV builds" in text


def test_why_says_how_far_the_own_mouth_reaches() -> None:
    """From the first dive on, the ratio learned from own dives with its band and mark."""
    text = text_to(staged(season_of(2)).says("mara", "why"), "p:mara")
    assert re.search(r"learned from 8 of your own dives: [\d.]+ \([\d.]+–[\d.]+\) \[house", text)
    fresh = staged(Season(Exercise.FRC).profile(pb_m=32, goal_m=38))
    assert "learned from" not in text_to(fresh.says("mara", "why"), "p:mara")


def test_why_for_rv_has_what_speaks_against_straight_in() -> None:
    """Beside the rule that goes straight in, the published contributor to squeeze."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=65).morning("2026-05-05").dive(2)
    text = text_to(staged(season).says("mara", "why"), "p:mara")
    assert "too little warm-up is among the contributors to squeeze that divers name most" in text
    assert "Yu 2024" in text


# forecast and goals by a day


def test_a_forecast_waits_for_six_sessions() -> None:
    """After five it can't be told, and how many there are is said; after six there is a range."""
    five = text_to(staged(season_of(5)).says("mara", "forecast"), "p:mara")
    assert "5 of 6 exhale sessions" in five
    assert not re.search(r"\d weeks", five)
    six = text_to(staged(season_of(6)).says("mara", "forecast"), "p:mara")
    assert re.search(r"eight of ten met it after \d+ to \d+ weeks", six)
    assert "A date tempts" in six


def test_a_forecast_is_private() -> None:
    """Asked in the group, it is answered in private."""
    outcome = staged(season_of(6)).says("mara", "forecast", private=False)
    assert text_to(outcome, GROUP) == ""
    assert "met it after" in text_to(outcome, "p:mara")


@pytest.mark.parametrize(
    ("weeks", "said"), [(1, "doesn't fit"), (150, "that fits")], ids=["next week", "in three years"]
)
def test_a_goal_by_a_day_is_answered_honestly(weeks: int, said: str) -> None:
    """Whether it fits is said by forecast, with the steps that come after the base."""
    stage = staged(season_of(7))
    by_on = stage.at.date() + timedelta(weeks=weeks)
    text = text_to(stage.says("mara", "goal", depth_m=38.0, by_on=by_on), "p:mara")
    assert said in text
    assert "After it come 3 full-lung steps to 38 m" in text
    assert "no target gets deeper because a date comes nearer" in text


def test_a_goal_by_a_day_without_sessions_cannot_be_told() -> None:
    """It says so, and promises nothing; a day that is past is called that."""
    stage = staged(season_of(1))
    text = text_to(stage.says("mara", "goal", depth_m=38.0, by_on=date(2026, 9, 12)), "p:mara")
    assert "can't be told yet: 1 of 6" in text
    past = text_to(stage.says("mara", "goal", depth_m=38.0, by_on=date(2026, 1, 1)), "p:mara")
    assert "is past" in past
    assert "wish" not in past


@pytest.mark.parametrize(
    ("low", "likely", "high", "said"),
    [
        (5.2, 8.1, 12.4, "eight of ten met it after 5 to 13 weeks; half of them within 9"),
        (0.1, 0.4, 0.9, "eight of ten met it within a week"),
        (
            5.2,
            20.0,
            None,
            "one in ten met it within 6 weeks, and more than one in ten took longer than 52",
        ),
        (None, None, None, "not one in ten met it within 52 weeks"),
    ],
)
def test_weeks_are_told_as_the_careful_range(
    low: float | None, likely: float | None, high: float | None, said: str
) -> None:
    """The lower end down, the upper up; where a mark lies beyond what is played out, that is said."""
    found = Forecast(
        diver="mara", exercise=Exercise.FRC, base_m=19, held_m=8, low_weeks=low,
        likely_weeks=likely, high_weeks=high, weeks_most=52, met_share=0.5,
        clean=Figure(value=0.8, unit="", mark=Mark.HOUSE), sessions_a_week=2, sessions=8, paths=1000,
    )  # fmt: skip
    assert said in courses_words(found)


# the water


def test_the_water_reaches_the_brief() -> None:
    """How hard on the chest is told for the group's water: deeper on a lake's rope at 2000 m."""
    told = []
    for site in (Site(), Site(salt=False, gauge=False, altitude_m=2000)):
        season = Season(Exercise.FRC).profile(pb_m=32, goal_m=38).morning("2026-05-05")
        stage = staged(season)
        stage.room = replace(stage.room, site=site)
        text = text_to(stage.types("mara", "next", private=False), GROUP)
        found = re.search(r"full-lung dive to (\d+)–(\d+) m", text)
        assert found is not None
        told.append((int(found[1]), int(found[2])))
    # p = p(7) TLC / V0, from the surface's own pressure: less of it at altitude, so less depth
    assert told[1] != told[0]


def test_the_reached_goal_is_no_unknown_one() -> None:
    """With the PB at the goal, `ready` asks for the next and shows no base."""
    stage = staged(Season(Exercise.FRC).profile(pb_m=38, goal_m=38))
    stage.facts.append(
        Goal(
            diver="mara",
            happened_at=stage.at,
            said_at=stage.at,
            by="mara",
            origin=Origin(chat="p:mara", message=951),
            depth_m=38,
        )
    )
    letter = ready_letter(stage)
    assert "43 m at most" in letter.text
    assert letter.picture is None
