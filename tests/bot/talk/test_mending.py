"""undo, fix and edits: what was said is struck, never lost."""

from __future__ import annotations

import pytest

from planner.plan import plan
from planner.record import Dive
from planner.rules import RULES
from tests.bot.talk.buoy import Buoy, ready


def test_undo_says_what_it_took_back():
    """Name, exercise, depth and outcome of what is struck."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    answer = buoy.says("mara", "undo")
    assert "Taken back: mara · FRC 7 m · clean." in answer
    assert buoy.dives("mara") == []


def test_undo_drops_open_questions_and_then_the_last_report():
    """What was in doubt is dropped with it, so a target can stand again."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.later(minutes=6).says("mara", "exh 700 ok")
    answer = buoy.says("mara", "undo")
    assert "Dropped what was still in doubt." in answer
    assert "Taken back: mara · FRC 7 m" in answer
    assert "Next: 7 m" in answer


def test_undo_is_never_said():
    """The plan after it is the plan before."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.later(minutes=6)
    before = plan(buoy.record("mara"), rules=RULES, at=buoy.at)
    buoy.says("mara", "exh 8 stop sternum")
    buoy.says("mara", "undo")
    assert plan(buoy.record("mara"), rules=RULES, at=buoy.at) == before


def test_nothing_to_undo_is_said():
    """Without a report there is nothing to take back."""
    assert "Nothing to take back." in ready().says("mara", "undo")


def test_an_edit_replaces_what_was_said():
    """The dive is hard now, once, with the count it had."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    answer = buoy.edits("mara", "exh 7 hard")
    assert "mara · FRC 7 m · hard · dive 1 of 5" in answer
    assert buoy.dives("mara") == ["frc 7 hard"]


def test_an_edit_equals_said_right_at_once():
    """The record's dives are what the right words at once would have made."""

    def dived(*texts: str) -> list[Dive]:
        buoy = ready()
        buoy.says("mara", texts[0])
        for text in texts[1:]:
            buoy.later(minutes=1).edits("mara", text)
        return [
            (d.happened_at, d.exercise, d.depth_m, d.ending, d.reason)
            for d in buoy.record("mara").dives
        ]

    assert dived("exh 8 ok", "exh 7 stop", "exh 7 stop ears") == dived("exh 7 stop ears")


def test_an_edit_that_changes_nothing_read_is_silent():
    """Another note, another spelling: nothing is said."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok # good")
    assert buoy.edits("mara", "exh 7m clean # very good") == ""
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_an_edit_to_chatter_takes_the_dive_back():
    """What a message no longer says is struck, and said to be."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    assert "No longer counted: mara · FRC 7 m · clean." in buoy.edits("mara", "never mind, later")
    assert buoy.dives("mara") == []


def test_an_edited_command_does_nothing():
    """`undo` edited into `done` is neither."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.says("mara", "next")
    assert buoy.edits("mara", "undo") == ""
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_an_edit_after_undo_is_read_anew():
    """An edit is newer than the strike before it."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    said = buoy.said[-1]
    buoy.says("mara", "undo")
    buoy.said.append(said)
    buoy.edits("mara", "exh 6 ok")
    assert buoy.dives("mara") == ["frc 6 clean"]


def test_fix_mends_any_part():
    """`fix 6.5`, `*hard`, `fix fill 4`: the rest stays as it was."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok mf5")
    assert "mara · FRC 6.5 m · clean · fill 5 m · dive 1 of 5" in buoy.says("mara", "fix 6.5")
    assert "mara · FRC 6.5 m · hard" in buoy.says("mara", "*hard")
    assert buoy.dives("mara") == ["frc 6.5 hard"]
    assert "fill 4 m" in buoy.says("mara", "fix fill 4")


def test_an_edit_that_changes_the_target_says_so():
    """The 8 m told before is named beside the new target."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.later(minutes=6).says("mara", "exh 7 ok")
    buoy.later(minutes=1)
    assert "That replaces 8 m." in buoy.edits("mara", "exh 7 hard")


def test_a_very_old_edit_is_not_read():
    """After two days an edit changes nothing, and says so."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.later(hours=49)
    assert "too old" in buoy.edits("mara", "exh 7 hard")
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_redelivery_of_an_edit_changes_nothing_twice():
    """The same edit again leaves one dive."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.edits("mara", "exh 7 hard")
    assert buoy.edits("mara", "exh 7 hard") == ""
    assert buoy.dives("mara") == ["frc 7 hard"]


def test_undo_by_the_diver_takes_back_what_a_keeper_said():
    """The last report by or about the sender, whoever wrote it."""
    buoy = Buoy().join("mara", pb=32, goal=38).join("ana").grants("mara", "ana")
    buoy.says("ana", "for mara exh 7 ok")
    assert "Taken back: mara · FRC 7 m" in buoy.says("mara", "undo")


def test_undo_of_another_day_says_which() -> None:
    """A report of another day is named with its day when it is taken back."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.later(hours=30)
    assert "7 m · clean · Tue 5 May 08:30" in buoy.says("mara", "undo")


def test_a_button_of_an_earlier_session_logs_nothing() -> None:
    """A dive's button under yesterday's brief records nothing, and says what to do instead."""
    buoy = ready()
    buoy.later(hours=24)
    assert "earlier session" in buoy.presses("mara", "7 ok")
    assert buoy.dives("mara") == []


@pytest.mark.parametrize("said", ["fit", "buddy ana", "no buddy", "pb 30", "done"])
def test_an_edited_command_is_no_report(said: str):
    """What a message came to that was a command stands; no dive is read into it afterwards."""
    buoy = ready()
    buoy.says("mara", "exh 5 ok")
    buoy.later(minutes=5).says("mara", said)
    before = list(buoy.facts)
    assert buoy.edits("mara", "exh 6 ok") == ""
    assert buoy.facts == before
