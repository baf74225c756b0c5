"""Under age nobody is served: whatever is asked, no answer holds a depth to dive by, and the log works."""

from __future__ import annotations

import re

import pytest

from planner.record import Brief, UnderAge
from tests.bot.talk.buoy import Buoy, mara, said_to

LINE = "This is for divers of 18 and over: below that no target, opening, base or forecast."


def kim(*, said: str = "me f 16y 160cm") -> Buoy:
    """Kim, who told an age that is not served; Ana would watch."""
    buoy = mara().join("kim")
    buoy.says("kim", said, private=True)
    return buoy


@pytest.mark.parametrize(
    "asked",
    [
        "pb 20", "goal 30", "goal 30 by 2026-09-12", "base frc 12 2026-05", "base rv 4 2026-05",
        "next", "next full", "plan", "ready", "forecast", "why", "week", "fit buddy ana",
    ],
)  # fmt: skip
def test_no_answer_holds_a_depth_to_dive_by(asked: str) -> None:
    """No target, opening, base, first depth or forecast: the one line in its place, and why."""
    buoy = kim()
    for text in ("pb 20", "goal 30", "base frc 12 2026-05"):
        buoy.says("kim", text, private=True)
    answer = said_to(buoy.says("kim", asked, private=True), "kim")
    assert LINE in answer
    assert "instructor" in answer
    assert re.findall(r"\d m\b(?! in all|\. For)", answer) == []
    assert buoy.brief("kim") is None


def test_what_is_told_is_kept_all_the_same() -> None:
    """PB, goal and base count from the day on which `me` says 18."""
    buoy = kim()
    for text in ("pb 32", "goal 38", "base frc 12 2026-05"):
        assert said_to(buoy.says("kim", text, private=True), "kim").startswith("Kept.")
    buoy.says("kim", "me f 18y 160cm", private=True)
    assert " m · fill" in buoy.says("kim", "fit buddy ana", private=True)


def test_a_dive_is_logged_and_brings_no_target() -> None:
    """The echo has the depth that was dived, and the group reads the one line."""
    buoy = kim()
    answer = buoy.says("kim", "frc 5 ok")
    assert said_to(answer, "group") == "kim · FRC 5 m · clean · dive 1 of 5\nkim: no target today."
    assert buoy.dives("kim") == ["frc 5 clean"]


def test_a_full_lung_dive_leaves_no_limit_for_the_next_one() -> None:
    """Neither how deep next nor how many days at a depth before a step."""
    buoy = kim()
    buoy.says("kim", "pb 20", private=True)
    for text in ("full 22 ok mf12", "full 20 stop chest mf12"):
        answer = said_to(buoy.later(minutes=20).says("kim", text), "group")
        assert len(re.findall(r"\d m\b", answer.replace("fill 12 m", ""))) == 1


SAID = [
    "im 16", "i'm only 15 btw", "I’m 17.", "i am 17 years old", "hi im 15 and want to start",
    "16 yo", "I'm sixteen", "im a minor", "i'm not 18 yet", "I am under 18", "my age is 14",
    "i turn 18 next month", "im almost 18", "I'm 16 years old, can I join?",
    "age 17", "17y", "me 17", "me f 17", "me f 17y", "me 17y 160cm", "born 2010", "i was born in 2010",
    "born 3.5.2010", "fit buddy ana im 17",
]  # fmt: skip


@pytest.mark.parametrize("said", SAID)
@pytest.mark.parametrize("private", [True, False])
def test_an_age_in_plain_words_is_not_lost(said: str, private: bool) -> None:
    """Kept as under age, no figure; told in private how to set it right; no target from then on."""
    buoy = mara().join("kim", pb=0)
    answer = buoy.says("kim", said, private=private)
    assert said_to(answer, "group") == ""
    assert "This is for divers of 18 and over" in said_to(answer, "kim")
    assert "set it right in private with `me`" in answer
    assert "172cm" not in answer
    assert sum(isinstance(f, UnderAge) for f in buoy.facts) == 1
    buoy.says("kim", "pb 20", private=True)
    buoy.says("kim", "goal 30", private=True)
    assert said_to(buoy.says("kim", "fit buddy ana"), "group") == "kim: no target today."
    assert not any(isinstance(f, Brief) for f in buoy.facts)


@pytest.mark.parametrize(
    "said",
    [
        "im 34", "i am 18 years old", "im 16 m deep", "im 10 minutes late", "i'm 12th in line",
        "i turned 16", "i'm 15.5 today", "my suit is 16 years old", "my daughter is 12 years old",
        "i am 10 years into diving", "im 18", "under 18 it is warm", "12 years old fins leak",
        "i turn 12 next", "im 20 and she is 17", "age 34", "me f 34y", "born 1990", "my son was born 2010",
        "me 12 years into diving", "the club was born in 2012", "born 2007",
    ],
)  # fmt: skip
def test_other_numbers_are_no_age(said: str) -> None:
    """Depths, minutes, gear, others and whoever is of age: nothing is kept."""
    buoy = mara().join("kim")
    answer = buoy.says("kim", said)
    assert not any(isinstance(f, UnderAge) for f in buoy.facts)
    assert "18 and over" not in answer


def test_a_bare_number_of_somebody_whose_age_is_known_is_a_depth() -> None:
    """Mara told her age: `im 16` is about the line; in years it is taken at its word."""
    buoy = mara()
    buoy.says("mara", "im 16")
    assert not any(isinstance(f, UnderAge) for f in buoy.facts)
    buoy.says("mara", "im 16 years old")
    assert any(isinstance(f, UnderAge) for f in buoy.facts)


def test_an_age_beside_a_word_of_harm_is_not_lost() -> None:
    """Help first; and the age in its line."""
    buoy = mara().join("kim")
    answer = said_to(buoy.says("kim", "i coughed blood\nim 16", private=True), "kim")
    assert answer.startswith("Call your local emergency number")
    assert "This is for divers of 18 and over" in answer


def test_an_age_beside_a_report_leaves_the_report() -> None:
    """The dive is kept, and no target follows."""
    buoy = kim(said="pb 20")
    answer = said_to(buoy.says("kim", "im 16\nfrc 5 ok"), "group")
    assert answer == "kim · FRC 5 m · clean · dive 1 of 5\nkim: no target today."


def test_me_with_18_lifts_it() -> None:
    """Whoever was misread says their age, and is served."""
    buoy = kim(said="im 16")
    for text in ("pb 20", "goal 30", "me f 34y 172cm"):
        buoy.says("kim", text, private=True)
    assert "kim · FRC" in said_to(buoy.says("kim", "fit buddy ana"), "group")


def test_an_age_beside_a_dive_leaves_no_target() -> None:
    """The line is asked about as a dive, the age is kept, and no answer brings a target."""
    buoy = mara().join("kim")
    buoy.says("kim", "pb 20", private=True)
    answer = buoy.says("kim", "exh 5 ok im 17")
    assert "This is for divers of 18 and over" in said_to(answer, "kim")
    assert "Next:" not in buoy.presses("kim", "exh 5 hard")
    assert not any(isinstance(f, Brief) and f.diver == "kim" for f in buoy.facts)


def test_a_keeper_tells_an_age_of_another() -> None:
    """Without a height too; the words are of the other, and what to type is hers."""
    buoy = mara().keep("noor", keeper="mara", pb=30, goal=36)
    answer = said_to(buoy.says("mara", "for noor me f 17y", private=True), "mara")
    assert answer.startswith(
        "noor · This is for divers of 18 and over: no target here for this diver"
    )
    assert "`for noor me`" in answer
    assert "your" not in answer
    assert said_to(buoy.says("mara", "for noor fit buddy ana"), "group") == "noor: no target today."
