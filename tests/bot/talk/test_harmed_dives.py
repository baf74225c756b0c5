"""Dives in lines that speak of harm, and words of trade that are no harm."""

from __future__ import annotations

import pytest

from planner.record import Asked, Harm
from tests.bot.talk.buoy import ready


@pytest.mark.parametrize(
    ("line", "dive"),
    [
        ("9 ok but sternum pressure", "frc 9 stop sternum"),
        ("7 # blood in spit", "frc 7 stop other"),
        ("9.5 ok cough", "frc 9.5 stop other"),
        ("exh 5 ok dizzy", "frc 5 stop other"),
        ("exh 6 ok, chest sore", "frc 6 stop chest"),
        ("6 ok # throat hurts, coughed blood", "frc 6 stop throat"),
        ("stop pink spit", "frc ? stop other"),
    ],
)
def test_a_dive_in_a_line_of_harm_is_a_stop(line: str, dive: str) -> None:
    """Whatever else the line says: a stop, at breastbone, chest or throat where named."""
    buoy = ready()
    answer = buoy.says("mara", line)
    assert buoy.dives("mara") == [dive]
    assert any(isinstance(f, Harm) for f in buoy.facts)
    assert "Next:" not in answer
    assert " ok]" not in answer


def test_a_hard_dive_of_a_tired_diver_stays_hard() -> None:
    """What only ends the practice takes a clean away, and nothing more."""
    buoy = ready()
    buoy.says("mara", "exh 6 hard, very tired")
    assert buoy.dives("mara") == ["frc 6 hard"]
    buoy.says("mara", "exh 5 ok, very tired")
    assert buoy.dives("mara") == ["frc 6 hard", "frc 5 stop other"]


def test_somebody_elses_harm_leaves_the_divers_dive_as_it_was() -> None:
    """`6 ok, ana coughs blood`: her blood is asked about, his dive was clean."""
    buoy = ready()
    buoy.says("mara", "exh 6 ok, ana coughs blood")
    assert buoy.dives("mara") == ["frc 6 clean"]
    assert not any(isinstance(f, Harm) for f in buoy.facts)


def test_a_doubtful_line_of_harm_offers_no_clean_dive() -> None:
    """What is still asked about a line of harm has only stops among its readings."""
    buoy = ready()
    buoy.says("mara", "exh 6 or 5 ok cough")
    asked = [f for f in buoy.facts if isinstance(f, Asked) and f.origin.line < 1000]
    assert not any(" ok" in reading for f in asked for reading in f.readings)
    assert not any("clean" in dive for dive in buoy.dives("mara"))
