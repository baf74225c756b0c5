"""What is asked waits for an answer: a bare word, a button, or the report said again."""

from __future__ import annotations

from tests.bot.talk.buoy import GROUP, mara, ready, said_to


def test_nothing_about_how_it_went_is_asked_and_never_clean():
    """`exh 7` is asked with buttons; a bare `ok` answers it."""
    buoy = ready()
    answer = buoy.says("mara", "exh 7")
    assert "[7 ok] [7 hard] [7 early] [stop…]" in answer
    assert buoy.dives("mara") == []
    assert "mara · FRC 7 m · clean · dive 1 of 5" in buoy.says("mara", "ok")
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_a_question_is_answered_once():
    """After an answer a bare word is no dive, and the button says that it is closed."""
    buoy = ready()
    buoy.says("mara", "exh 7")
    key = buoy.key("7 hard")
    buoy.says("mara", "ok")
    assert buoy.says("mara", "hard") == ""
    assert key.answers is not None
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_saying_the_report_again_answers_the_question():
    """The whole report of the same dive is the answer, not a second dive."""
    buoy = ready()
    buoy.says("mara", "exh 7")
    buoy.says("mara", "exh 7 hard")
    assert buoy.dives("mara") == ["frc 7 hard"]


def test_stop_alone_ends_the_dive_last_briefed_and_counts_before_its_depth_is_known():
    """Counted at once, depth asked with buttons, no target meanwhile."""
    buoy = ready()
    answer = buoy.says("mara", "stop sternum")
    assert "mara · FRC, depth not known yet · stop, sternum · dive 1 of 5" in answer
    assert "How deep was the turn?" in answer
    assert "[6 m] [5 m] [4 m] [3 m]" in answer
    assert "Next" not in answer
    answer = buoy.says("mara", "5")
    assert "mara · FRC 5 m · stop, sternum · dive 1 of 5" in answer
    assert "At most 4 m" in answer
    assert buoy.dives("mara") == ["frc 5 stop sternum"]


def test_the_unknown_depth_of_a_pressure_stop_stays_open():
    """Two days later the depth can still be told."""
    buoy = ready()
    buoy.says("mara", "stop throat")
    buoy.later(hours=50).says("mara", "6")
    assert buoy.dives("mara") == ["frc 6 stop throat"]


def test_a_question_closes_with_its_session():
    """After four hours a bare word answers nothing."""
    buoy = ready()
    buoy.says("mara", "exh 7")
    buoy.later(hours=5)
    assert buoy.says("mara", "ok") == ""
    assert buoy.dives("mara") == []


def test_a_stop_without_a_reason_counts_at_once_and_its_reason_is_asked():
    """It counts as pressure; told to be the ears, the target follows the ears."""
    buoy = ready()
    answer = buoy.says("mara", "exh 7 stop")
    assert "stop, no reason yet" in answer
    assert "Until told, it counts as pressure." in answer
    assert "At most 5.5 m" in answer
    answer = buoy.says("mara", "ears")
    assert "mara · FRC 7 m · stop, ears · dive 1 of 5" in answer
    assert buoy.dives("mara") == ["frc 7 stop ears"]


def test_stop_opens_the_reasons():
    """`[stop…]` is a button for the reasons; one of them ends the dive that was briefed."""
    buoy = ready()
    assert "[sternum] [chest] [throat]" in buoy.presses("mara", "stop…")
    buoy.presses("mara", "ears")
    buoy.presses("mara", "5 m")
    assert buoy.dives("mara") == ["frc 5 stop ears"]


def test_a_contradiction_is_recorded_as_a_stop_and_asked():
    """`7 ok throat` is a stop until it is said to be none."""
    buoy = ready()
    answer = buoy.says("mara", "7 ok throat")
    assert "stop, throat" in answer
    assert buoy.dives("mara") == ["frc 7 stop throat"]
    buoy.presses("mara", "frc 7 ok")
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_a_word_of_trouble_beside_ok_is_never_clean():
    """It is asked about, and the reason that is then given makes it a stop."""
    buoy = ready()
    answer = buoy.says("mara", "exh 7 ok bit tight at the end")
    assert "clean" not in answer
    assert "chest" in answer
    assert "Next" not in answer
    answer = buoy.says("mara", "stop sternum")
    assert "mara · FRC 7 m · stop, sternum · dive 1 of 5" in answer
    assert buoy.dives("mara") == ["frc 7 stop sternum"]


def test_a_typo_is_asked_with_the_word_offered():
    """`okk` is not ok until the button says so."""
    buoy = ready()
    answer = buoy.says("mara", "exh 7 okk")
    assert "did you mean “ok”?" in answer
    assert buoy.dives("mara") == []
    buoy.says("mara", "ok")
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_a_depth_that_cannot_be_is_told_and_said_again():
    """`exh 700 ok` is quoted and kept out; the report said again takes its place."""
    buoy = ready()
    assert "700" in buoy.says("mara", "exh 700 ok")
    answer = buoy.says("mara", "exh 7 ok")
    assert "dive 1 of 5" in answer
    assert "Next: 7 m" in answer


def test_an_open_question_bars_the_target_by_the_neutral_line():
    """In the group it is the one line; in private it is said what is open."""
    buoy = ready()
    buoy.says("mara", "8 ok?")
    answer = buoy.says("mara", "next")
    assert said_to(answer, "group") == "mara: no target today."
    assert "in doubt" in said_to(answer, "mara")


def test_a_missing_depth_is_asked_and_a_number_answers_it():
    """`exh ok` offers the depth that was briefed; any other number will do."""
    buoy = ready()
    assert "[exh 7 ok] [exh 6 ok] [exh 5 ok] [no dive]" in buoy.says("mara", "exh ok")
    buoy.says("mara", "6.5")
    assert buoy.dives("mara") == ["frc 6.5 clean"]


def test_no_dive_drops_the_question():
    """The button closes it, and the target is there again."""
    buoy = ready()
    buoy.says("mara", "exh 7 ok")
    buoy.later(minutes=6).says("mara", "8 ok?")
    assert "Next: 7 m" in buoy.presses("mara", "no dive")


def test_a_reply_to_somebodys_message_asks_whose_dive_it_is():
    """`[mine]` or theirs; theirs waits for their yes."""
    buoy = ready()
    buoy.says("ana", "coming up")
    answer = buoy.says("mara", "frc 7 ok", reply_to="ana")
    assert "[mine] [ana's]" in answer
    assert buoy.dives("mara") == []
    buoy.presses("mara", "mine")
    assert buoy.dives("mara") == ["frc 7 clean"]
    buoy.says("mara", "frc 8 ok", reply_to="ana")
    buoy.presses("mara", "ana's")
    assert buoy.dives("ana") == ["frc 8 clean waits"]
    assert buoy.dives("mara") == ["frc 7 clean"]


def test_presses_of_others_are_refused():
    """A button belongs to one diver."""
    buoy = ready()
    assert buoy.presses("ana", "7 ok") == "group: That button is mara's."
    assert buoy.dives("mara") == []


def test_a_used_button_does_nothing():
    """Pressed before, it records nothing."""
    buoy = ready()
    assert "used up" in buoy.presses("mara", "7 ok", fresh=False)
    assert buoy.dives("mara") == []


def test_an_edited_answer_mends_its_dive():
    """`ok` edited to `hard` makes the dive that it answered hard."""
    buoy = ready()
    buoy.says("mara", "exh 7")
    buoy.says("mara", "ok")
    assert "hard" in buoy.edits("mara", "hard")
    assert buoy.dives("mara") == ["frc 7 hard"]


def test_asked_in_the_group_is_asked_in_the_group():
    """A question goes where the line was said."""
    buoy = mara()
    buoy.says("mara", "exh 7")
    assert buoy.told[-1].to == GROUP
