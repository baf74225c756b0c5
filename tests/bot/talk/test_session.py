"""Brief, buddy, fitness, done, and the words for no target."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planner.record import Done, Harm, Origin
from tests.bot.talk.buoy import Buoy, mara, ready, said_to


def test_next_asks_for_buddy_and_fitness():
    """No buddy, no fitness: no target, and both are asked for."""
    answer = mara().says("mara", "next")
    assert "who is your buddy" in answer
    assert "fit to dive" in answer
    assert "FRC" not in said_to(answer, "group")


def test_the_brief_has_four_lines_in_the_group():
    """Target, when to turn, who watches, how hard it is on the chest; why it is, in private."""
    answer = mara().says("mara", "fit buddy ana")
    group = said_to(answer, "group").splitlines()
    assert group[0] == "mara · FRC 7 m · fill 5 m · line 7 m · dive 1 of 5"
    assert group[1] == "Turn at any chest or throat pressure, or first urge."
    assert group[2].startswith("ana watches")
    assert "60 s after surfacing" in group[2]
    assert "As hard on the chest as a full-lung dive to" in group[3]
    assert "Why FRC" in said_to(answer, "mara")


def test_why_this_exercise_is_said_once_a_week():
    """The next day's brief doesn't say it again."""
    buoy = ready()
    answer = buoy.later(hours=24).says("mara", "fit buddy ana")
    assert "FRC" in said_to(answer, "group")
    assert "Why FRC" not in answer


def test_an_rv_brief_warns_of_the_weight():
    """After a full exhale the own lungs say how much heavier."""
    buoy = Buoy().join("ilse", pb=54, goal=65).join("teo")
    answer = buoy.says("ilse", "fit buddy teo")
    assert "ilse · RV 2 m · fill at the surface · line 2 m · dive 1 of 5" in answer
    assert "kg heavier" in answer


@pytest.mark.parametrize("text", ["not fit", "watching today"])
def test_not_diving_looks_the_same_whatever_the_reason(text: str):
    """The group reads one line, and nothing else."""
    assert mara().says("mara", text) == "group: mara: no target today."


def test_a_locked_and_a_resting_diver_read_the_same_in_the_group():
    """Byte for byte: a lock and rest differ in private only."""
    resting = ready()
    resting.says("mara", "exh 7 ok")
    resting.at += timedelta(hours=25)
    locked = mara()
    locked.facts.append(
        Harm(
            diver="mara",
            happened_at=locked.at,
            said_at=locked.at,
            by="mara",
            origin=Origin(chat="p:mara", message=900),
            row="9",
            level="doctor-today",
            days=28,
            doctor=True,
        )
    )
    locked.later(hours=25)
    one, two = (b.says("mara", "fit buddy ana") for b in (resting, locked))
    assert said_to(one, "group") == said_to(two, "group") == "mara: no target today."
    assert said_to(one, "mara") != said_to(two, "mara")


def test_a_locked_dive_is_recorded_with_the_neutral_line():
    """Recording is never refused."""
    buoy = mara()
    buoy.says("mara", "coughing blood", private=True)
    answer = buoy.later(hours=30).says("mara", "exh 5 ok")
    assert said_to(answer, "group").splitlines()[:2] == [
        "mara · FRC 5 m · clean · dive 1 of 5",
        "mara: no target today.",
    ]


def test_unreachable_divers_read_nothing_more_in_the_group():
    """Who never wrote in private gets the neutral line, is asked to write there, and no reason."""
    buoy = mara().reachable("mara", dm=False)
    buoy.says("mara", "not fit")
    assert buoy.says("mara", "next") == "group: mara: no target today. Write to me in private."


def test_done_ends_the_session():
    """A fact, so that the debrief falls due; with no session it says so."""
    buoy = ready()
    assert "no session is open" in buoy.says("mara", "done")
    buoy.says("mara", "exh 7 ok")
    assert "debrief follows" in buoy.says("mara", "done")
    assert buoy.record("mara").latest(Done) is not None


def test_nobody_is_their_own_buddy():
    """`buddy mara` by Mara is refused."""
    buoy = mara()
    assert "somebody else" in buoy.says("mara", "fit buddy mara")


def test_a_buddy_who_is_not_on_the_roster_counts():
    """The name as typed stands in the brief."""
    assert "piet watches" in mara().says("mara", "fit, piet's watching")


def test_words_of_harm_bring_no_target_for_the_rest_of_the_message():
    """A dive beside them is recorded, and nothing of a target is said."""
    buoy = ready()
    answer = buoy.says("mara", "exh 7 ok\nI am coughing blood")
    assert buoy.dives("mara") == ["frc 7 clean"]
    assert "Next" not in answer
