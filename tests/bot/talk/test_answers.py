"""What answers an open question, and what is a dive of its own."""

from __future__ import annotations

from datetime import UTC, datetime

from tests.bot.talk.buoy import Buoy, ready


def test_a_depth_alone_never_makes_a_doubtful_line_clean():
    """`exh 7 okk` is asked; `exh 7` after it is asked how it went, and nothing is recorded."""
    buoy = ready()
    buoy.says("mara", "exh 7 okk")
    answer = buoy.says("mara", "exh 7")
    assert "how did it go?" in answer
    assert "clean" not in answer
    assert buoy.dives("mara") == []
    buoy.says("mara", "hard")
    assert buoy.dives("mara") == ["frc 7 hard"]
    assert "how did it go" not in buoy.says("mara", "next")


def test_the_same_depth_twice_without_an_outcome_stays_a_question():
    """`exh 7`, `exh 7`: asked again, not answered by itself."""
    buoy = ready()
    buoy.says("mara", "exh 7")
    assert "how did it go?" in buoy.says("mara", "exh 7")
    assert buoy.dives("mara") == []


def test_what_was_doubtful_lends_nothing_to_a_plain_report():
    """`exh 7 ok (felt great)` and then `exh 7 okay`: asked how it went, with no reading as a stop."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok (felt great)")
    answer = buoy.says("mara", "exh 7 okay")
    assert "mara · FRC 7 m: how did it go?" in answer
    assert buoy.dives("mara") == []
    buoy.says("mara", "exh 7 ok")
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_a_report_said_again_keeps_its_own_date():
    """`exh 12 ok 8:31` is asked; said again with a day, that day is the dive's."""
    buoy = ready()
    buoy.says("mara", "exh 12 ok 8:31")
    buoy.says("mara", "exh 12 ok 2026-05-04 09:00")
    (dive,) = buoy.record("mara").dives
    assert dive.happened_at == datetime(2026, 5, 4, 8, 0, tzinfo=UTC)


def test_a_report_of_another_depth_is_a_dive_of_its_own():
    """The time of `exh 12 ok 8:31` is in doubt; `exh 6 hard` is not that dive."""
    buoy = ready()
    buoy.says("mara", "exh 12 ok 8:31")
    buoy.says("mara", "exh 6 hard")
    assert buoy.dives("mara") == ["frc 6 hard"]
    buoy.presses("mara", "exh 12 ok")
    assert sorted(buoy.dives("mara")) == ["frc 12 clean", "frc 6 hard"]


def test_a_stop_of_somebody_unknown_counts_at_once():
    """Without a PB a stop is recorded as FRC; a clean dive is asked which it was."""
    buoy = Buoy().join("zoe").join("ana")
    assert "zoe · FRC 7 m · stop, sternum · dive 1 of 5" in buoy.says("zoe", "exh 7 stop sternum")
    assert buoy.dives("zoe") == ["frc 7 stop sternum"]
    assert "which exercise" in buoy.later(minutes=9).says("zoe", "exh 6 ok")


def test_two_numbers_alone_have_buttons_that_answer():
    """`12, 5`: `[12]` is asked how it went, `[no dive]` drops it, and neither bars a target."""
    buoy = ready()
    assert "[12.5] [12] [5] [no dive]" in buoy.says("mara", "12, 5")
    assert "not before" in buoy.says("mara", "next") or "FRC 7 m" in buoy.says("mara", "next")
    assert "mara · FRC 12 m: how did it go?" in buoy.presses("mara", "12")
    assert buoy.dives("mara") == []
    buoy.later(minutes=1).says("mara", "9, 8")
    buoy.presses("mara", "no dive")
    assert buoy.dives("mara") == []


def test_the_question_said_again_in_private_has_the_stop_button():
    """What bars a target is a missing outcome: its buttons are said again with `[stop…]`."""
    buoy = ready()
    buoy.says("mara", "frc 12")
    answer = buoy.says("mara", "next", private=True)
    assert "[stop…] [no dive]" in answer
    buoy.presses("mara", "stop…", private=True)
    buoy.presses("mara", "sternum", private=True)
    assert buoy.dives("mara") == ["frc 12 stop sternum"]


def test_a_depth_told_hours_later_asks_for_a_reason_that_can_be_told():
    """Five hours after a stop its depth is told; the reasons asked with it answer."""
    buoy = ready()
    buoy.says("mara", "stop")
    buoy.later(hours=5).says("mara", "5")
    assert "stop, ears" in buoy.presses("mara", "ears")
    assert buoy.dives("mara") == ["frc 5 stop ears"]


def test_a_report_just_made_by_an_answer_is_asked_about_when_said_again():
    """After `exh 7` and a 👍 two minutes later, the same report said at once is asked about."""
    buoy = ready()
    buoy.says("mara", "exh 7")
    buoy.later(minutes=2).says("mara", "👍")
    assert "A second dive?" in buoy.later(minutes=0.3).says("mara", "exh 7 ok")
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_two_reports_with_their_times_are_two_dives():
    """The same dive said twice at once, with times nine minutes apart, is two."""
    buoy = ready()
    buoy.later(minutes=20).says("mara", "exh 7 ok 08:32")
    buoy.says("mara", "exh 7 ok 08:41")
    assert buoy.dives("mara") == ["frc 7 clean", "frc 7 clean"]


def test_two_numbers_answer_the_depth_that_is_asked():
    """While a stop's depth is open, `4, 5` is asked which, and the button is that depth."""
    buoy = ready()
    buoy.says("mara", "stop sternum")
    buoy.says("mara", "4, 5")
    buoy.presses("mara", "4.5")
    assert buoy.dives("mara") == ["frc 4.5 stop sternum"]


def test_a_report_said_again_without_its_exercise_keeps_it():
    """`rv 12 okk`, then `12 hard`: RV, though FRC was briefed."""
    buoy = ready()
    buoy.says("mara", "rv 6 okk")
    buoy.says("mara", "6 hard")
    assert buoy.dives("mara") == ["rv 6 hard"]
