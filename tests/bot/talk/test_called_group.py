"""After a call for help that a group was told of, nobody of that group is given a target."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planner.agenda import Due, DueKind
from planner.record import Brief
from planner.rules import RULES
from tests.bot.talk.buoy import Buoy, said_to

STOPPED = (
    "help was called for in this group, so diving stops. No target before 12:35."
    " It was none: `nobody hurt`."
)


def two() -> Buoy:
    """Mara, watched by Ana, and Teo, watched by Mara's friend Ilse, who is no member: all fit."""
    buoy = Buoy().join("mara", pb=32, goal=38).join("ana", pb=32, goal=38)
    buoy.join("teo", pb=32, goal=38)
    for diver, buddy in (("mara", "ana"), ("ana", "teo"), ("teo", "ilse")):
        buoy.says(diver, f"fit buddy {buddy}")
    return buoy.later(minutes=5)


def briefs(buoy: Buoy) -> int:
    return sum(isinstance(f, Brief) for f in buoy.facts)


@pytest.mark.parametrize(
    ("who", "call"),
    [
        ("ana", "mara is not breathing"),
        ("mara", "we are doing cpr"),
        ("ana", "emergency"),
        ("ana", "a tourist on the other boat blacked out and is not breathing"),
        ("mara", "i coughed up blood"),
    ],
)
@pytest.mark.parametrize("private", [False, True])
def test_a_call_in_the_group_stops_its_diving(who: str, call: str, private: bool) -> None:
    """Whomever it is about, member or not: who asks for a target next reads that diving stops."""
    buoy = two()
    buoy.says(who, call)
    told = briefs(buoy)
    answer = buoy.later(minutes=1).says("teo", "next", private=private)
    assert "elp was called for in this group, so diving stops." in answer
    assert "No target before" in answer
    assert briefs(buoy) == told


def test_the_line_says_until_when() -> None:
    """The hours of a session, by the clock of the group."""
    buoy = two()
    buoy.says("ana", "we are doing cpr")
    assert said_to(buoy.says("teo", "next"), "group") == f"teo: {STOPPED}"


def test_a_report_after_it_is_kept_and_brings_no_target() -> None:
    """What was dived is recorded, and the target told before is said to stand no longer."""
    buoy = two()
    buoy.says("ana", "we are doing cpr")
    answer = said_to(buoy.says("teo", "exh 7 ok"), "group")
    assert "teo · FRC 7 m · clean" in answer
    assert STOPPED in answer
    assert "Next:" not in answer


def test_nobody_is_asked_for_a_buddy_meanwhile() -> None:
    """Neither who watches nor whether one is fit: no new brief is being made."""
    buoy = two().later(hours=6)
    buoy.says("ana", "we are doing cpr")
    answer = buoy.says("teo", "next") + buoy.says("teo", "next", private=True)
    assert "buddy" not in answer
    assert "fit" not in answer


def test_the_full_lung_line_stops_as_well() -> None:
    """The same line in answer to `next full`, and no step is offered."""
    buoy = two()
    buoy.says("ana", "we are doing cpr")
    assert STOPPED in said_to(buoy.says("teo", "next full"), "group")


def test_no_interval_is_over_meanwhile() -> None:
    """A reminder that the next dive may begin is not sent."""
    buoy = two()
    buoy.says("teo", "ping on", private=True)
    due = Due(
        kind=DueKind.PING,
        diver="teo",
        about="x",
        at=buoy.at,
        stale_at=buoy.at + timedelta(minutes=5),
    )
    assert buoy.falls_due(due) != ""
    buoy.says("ana", "we are doing cpr")
    assert buoy.falls_due(due) == ""


def test_it_ends_with_the_hours_of_a_session() -> None:
    """Four hours later targets are told again, as far as nothing else bars."""
    buoy = two()
    buoy.says("ana", "we are doing cpr")
    buoy.later(hours=RULES["session.gap_h"])
    assert "diving stops" in buoy.says("teo", "fit buddy ilse")
    assert "diving stops" not in buoy.later(minutes=1).says("teo", "fit buddy ilse")


@pytest.mark.parametrize(
    ("who", "call"),
    [("ana", "mara is not breathing"), ("mara", "i coughed up blood"), ("ana", "emergency")],
)
def test_a_call_in_private_stops_nobody_elses_diving(who: str, call: str) -> None:
    """The group was told nothing, so that its answers may tell nothing."""
    buoy = two()
    buoy.says(who, call, private=True)
    assert said_to(buoy.says("teo", "next"), "group").startswith("teo · FRC 7 m")


def test_a_milder_word_in_the_group_stops_nobody_elses_diving() -> None:
    """Only a call for help is told to the group; of all else it sees a reaction."""
    buoy = two()
    buoy.says("ana", "mara is hoarse")
    buoy.says("ana", "pink spit")
    assert said_to(buoy.says("teo", "next"), "group").startswith("teo · FRC 7 m")


def test_who_may_not_be_told_from_a_locked_diver_reads_the_one_line() -> None:
    """A lock takes the line that rest takes, with a call for help beside it too."""
    buoy = two()
    buoy.says("teo", "feel hoarse", private=True)
    buoy.says("mara", "not fit")
    buoy.says("ana", "we are doing cpr")
    assert said_to(buoy.says("teo", "next"), "group") == "teo: no target today."
    assert said_to(buoy.says("mara", "next"), "group") == "mara: no target today."


def test_whoever_lacks_a_profile_is_not_written_to_about_it_now() -> None:
    """In the group the one line, and no letter that asks for a PB beside it."""
    buoy = two().join("yan")
    buoy.says("ana", "we are doing cpr")
    assert buoy.says("yan", "next") == f"group: yan: {STOPPED}"


@pytest.mark.parametrize("said", ["nobody hurt", "false alarm", "nobody is hurt"])
def test_a_call_that_was_none_is_taken_back_by_one_word(said: str) -> None:
    """The spreadsheet was deleted, nobody is hurt: the group reads who says so, and targets come again."""
    buoy = two()
    buoy.says("teo", "HELP i deleted the spreadsheet")
    assert STOPPED in buoy.says("mara", "next")
    assert "teo says that nobody is hurt" in buoy.says("teo", said)
    assert "FRC" in buoy.says("mara", "next")
    assert briefs(buoy) > 0


def test_whom_help_was_called_for_stays_off_that_day() -> None:
    """The word lifts the stop of the group, and nothing of hers."""
    buoy = two()
    buoy.says("ana", "mara is not breathing")
    buoy.says("teo", "false alarm")
    assert "FRC" not in buoy.later(hours=5).says("mara", "next")


def test_whom_it_was_about_takes_nothing_back() -> None:
    """Who had the blackout often thinks that there was none."""
    buoy = two()
    buoy.says("ana", "mara blacked out")
    assert "Help was called for you" in buoy.says("mara", "nobody hurt")
    assert STOPPED in buoy.says("teo", "next")


def test_where_somebody_told_it_of_themselves_nobody_takes_it_back() -> None:
    """Mara coughed up blood, by her own word in the group: that is no false alarm."""
    buoy = two()
    buoy.says("mara", "i coughed up blood")
    assert "diving stays off" in buoy.says("teo", "nobody hurt")
    assert STOPPED in buoy.says("teo", "next")


def test_without_a_call_there_is_nothing_to_take_back() -> None:
    """And in private it is no word to the group."""
    buoy = two()
    assert "No call for help stands" in buoy.says("teo", "nobody hurt")
    assert "in the group" in buoy.says("teo", "nobody hurt", private=True)
