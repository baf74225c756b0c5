"""Who may say what of a coach, and what everybody reads of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planner.record import Accepted, Limit, LimitKind, Named, Seen, TaskSet
from tests.bot.talk.buoy import Buoy, said_to


def coached() -> Buoy:
    """Ilse is named coach by Nils, the group's admin; Mara has said yes, Teo has not answered."""
    buoy = Buoy()
    for name in ("nils", "ilse", "mara", "teo"):
        buoy.join(name, pb=40, goal=44)
    buoy.members["nils"] = replace(buoy.members["nils"], is_admin=True)
    buoy.says("nils", "coach ilse")
    buoy.later(minutes=1).says("mara", "coach yes", private=True)
    return buoy.later(minutes=1)


def limits(buoy: Buoy, diver: str) -> list[tuple[LimitKind, float]]:
    return [(f.what, f.value) for f in buoy.record(diver).facts if isinstance(f, Limit)]


def test_only_an_admin_names_a_coach() -> None:
    """A member's word names nobody; an admin's does, and asks each diver alone."""
    buoy = Buoy().join("mara").join("ilse")
    assert "Only an admin" in buoy.says("mara", "coach ilse")
    assert not any(isinstance(f, Named) for f in buoy.record("ilse").facts)
    named = coached()
    assert any(isinstance(f, Named) for f in named.record("ilse").facts)


@pytest.mark.parametrize("line", ["coach zed", "coach noor"])
def test_a_coach_is_a_member_with_a_phone(line: str) -> None:
    """Nobody's name, and a diver without a phone, are answered, and nothing is kept."""
    buoy = coached().keep("noor", keeper="mara")
    buoy.says("nils", line)
    assert not any(isinstance(f, Named) for f in buoy.record("noor").facts)


def test_no_and_no_answer_look_the_same_to_the_coach() -> None:
    """What the coach reads of a diver who said no is what she reads of one who has not answered."""
    silent = coached().says("ilse", "trim teo 7", private=True)
    buoy = coached()
    buoy.says("teo", "coach no", private=True)
    assert buoy.says("ilse", "trim teo 7", private=True) == silent
    assert said_to(silent, "teo") == ""


@pytest.mark.parametrize(
    "line",
    [
        "trim mara 7",
        "rest mara",
        "cap 3",
        "gap 9",
        "lines 2",
        "seen mara",
        "task mara lock",
        "board",
    ],
)
def test_nobody_else_has_a_coachs_words(line: str) -> None:
    """A member, and a coach who was replaced, are told whose word it is; nothing is kept of anybody."""
    buoy = coached()
    assert "coach alone" in buoy.says("teo", line, private=True)
    buoy.says("nils", "coach teo")
    assert "coach alone" in buoy.later(minutes=1).says("ilse", line, private=True)
    facts = buoy.record("mara").facts
    assert not any(isinstance(f, Limit | Seen | TaskSet) for f in facts)


def test_what_is_said_for_all_reaches_who_says_yes_later() -> None:
    """`cap 3` at nine counts for Teo, who says yes at ten; it was never his before."""
    buoy = coached()
    buoy.says("ilse", "cap 3", private=True)
    assert limits(buoy, "mara") == [(LimitKind.DIVES, 3.0)]
    assert limits(buoy, "teo") == []
    buoy.later(hours=1).says("teo", "coach yes", private=True)
    assert limits(buoy, "teo") == [(LimitKind.DIVES, 3.0)]


@pytest.mark.parametrize(("line", "usual"), [("cap 6", "5"), ("gap 3", "4")])
def test_a_looser_word_is_turned_down_with_what_stands(line: str, usual: str) -> None:
    """A coach only tightens: the answer says so, with the figure as it is, and nothing is kept."""
    buoy = coached()
    answer = said_to(buoy.says("ilse", line, private=True), "ilse")
    assert "only tighten" in answer
    assert usual in answer
    assert limits(buoy, "mara") == []


def test_under_two_metres_the_word_is_rest() -> None:
    """A trim that leaves no target says how a rest is asked for."""
    buoy = coached()
    assert "`rest mara`" in buoy.says("ilse", "trim mara 1.5", private=True)
    assert limits(buoy, "mara") == []


def test_a_limit_is_told_to_the_diver_alone() -> None:
    """Typed in the group by the coach, it is answered in private, and the group reads nothing."""
    buoy = coached()
    answer = buoy.says("ilse", "trim mara 7")
    assert said_to(answer, "group") == ""
    assert "at most 7 m until midnight" in said_to(answer, "mara")
    assert "at most 7 m until midnight" in said_to(answer, "ilse")


def test_a_diver_who_cannot_be_reached_is_asked_to_ask_again() -> None:
    """With a target told already, the group reads one neutral line and no reason."""
    buoy = coached()
    buoy.says("teo", "coach yes", private=True)
    buoy.says("teo", "fit buddy mara")
    buoy.reachable("teo", dm=False)
    answer = said_to(buoy.later(minutes=1).says("ilse", "rest teo", private=True), "group")
    assert answer == "teo: `next` once more before the next dive."


def test_seen_is_of_todays_last_dive() -> None:
    """Without one there is nothing to have watched; with one it stands in the diver's log."""
    buoy = coached()
    assert "No dive of mara" in buoy.says("ilse", "seen mara", private=True)
    buoy.says("mara", "fit buddy ilse")
    buoy.later(minutes=1).says("mara", "exh 7 ok")
    buoy.says("ilse", "seen mara", private=True)
    assert "seen by ilse" in buoy.says("mara", "log", private=True)


def test_the_fixed_line_to_the_coach_is_for_who_said_yes() -> None:
    """Mara's line arrives; Teo, who has not said yes, is told that nobody is his coach."""
    buoy = coached()
    assert "mara asks you to call" in said_to(buoy.says("mara", "tell coach", private=True), "ilse")
    answer = buoy.says("teo", "tell coach", private=True)
    assert said_to(answer, "ilse") == ""
    assert "No coach here" in said_to(answer, "teo")
    buoy.reachable("ilse", dm=False)
    assert "can't reach ilse" in buoy.says("mara", "tell coach", private=True)


def test_a_coach_answers_no_question_meant_for_divers() -> None:
    """`coach yes` by the coach is said to be the divers', and kept nowhere."""
    buoy = coached()
    assert "You are the coach" in buoy.says("ilse", "coach yes", private=True)
    assert not any(isinstance(f, Accepted) for f in buoy.record("ilse").facts)


def test_without_a_coach_yes_says_how_there_is_one() -> None:
    """In a group without a coach the answer says who names one."""
    assert "An admin of the group names one" in Buoy().join("mara").says(
        "mara", "coach yes", private=True
    )


def test_a_new_coach_needs_a_new_yes() -> None:
    """Teo is named after Ilse: Mara's yes was to Ilse, and Teo's board is empty."""
    buoy = coached()
    buoy.says("nils", "coach teo")
    board = said_to(buoy.later(minutes=1).says("teo", "board", private=True), "teo")
    assert "Nobody has said yes" in board


def test_a_yes_is_to_the_coach_whose_letter_it_is() -> None:
    """The button under Ilse's letter, pressed when Teo is coach, is no yes to Teo."""
    buoy = coached()
    buoy.says("nils", "coach mara")
    older = next(
        key
        for letter in buoy.told
        for row in letter.keys
        for key in row
        if letter.to == "p:teo" and key.says == "coach yes ilse"
    )
    assert older.says == "coach yes ilse"
    answer = said_to(buoy.later(minutes=1).says("teo", older.says, private=True), "teo")
    assert "That was about ilse. The coach here is mara" in answer
    assert not any(isinstance(f, Accepted) for f in buoy.record("teo").facts)


def test_a_group_can_have_no_coach_again() -> None:
    """`coach nobody` by the admin: no board, no limits, and a yes names who could name one."""
    buoy = coached()
    assert "no coach here any more" in buoy.says("nils", "coach nobody")
    assert "coach alone" in buoy.later(minutes=1).says("ilse", "board", private=True)
    assert "No coach here" in buoy.says("mara", "tell coach", private=True)
    assert "There is no coach here" in buoy.says("nils", "coach nobody")


def test_who_reads_nothing_in_private_is_no_coach() -> None:
    """A coach's words come in private: without that chat nobody is named."""
    buoy = coached()
    buoy.reachable("teo", dm=False)
    assert "no private chat" in buoy.says("nils", "coach teo")
    assert not any(isinstance(f, Named) for f in buoy.record("teo").facts)


@pytest.mark.parametrize(
    ("first", "then"), [("cap 2", "cap 4"), ("gap 9", "gap 6"), ("lines 3", "lines 2")]
)
def test_the_answer_to_a_looser_limit_for_all_says_what_stands(first: str, then: str) -> None:
    """`cap 2`, then 4: the group reads again that it is 2 until midnight."""
    buoy = coached()
    said = said_to(buoy.says("ilse", first), "group")
    assert said_to(buoy.later(minutes=1).says("ilse", then), "group") == said


def test_a_trim_past_what_exhale_dives_reach_says_that_they_stay() -> None:
    """20 m holds full-lung dives back: taken, and no exhale target goes deeper for it."""
    buoy = coached()
    buoy.says("mara", "fit buddy teo")
    before = said_to(buoy.says("mara", "next"), "group")
    answer = buoy.later(minutes=1).says("ilse", "trim mara 20", private=True)
    text = said_to(answer, "ilse")
    assert "at most 20 m until midnight. Exhale dives stay as they are: at most" in text
    assert "makes no target deeper" in said_to(answer, "mara")
    assert said_to(buoy.says("mara", "next"), "group") == before
    assert "stay as they are" not in buoy.says("ilse", "trim mara 4", private=True)


def test_the_answer_to_a_looser_trim_says_what_stands() -> None:
    """`trim mara 4`, then 9: both read that 4 m stands."""
    buoy = coached()
    buoy.says("ilse", "trim mara 4", private=True)
    answer = buoy.says("ilse", "trim mara 9", private=True)
    assert "at most 4 m" in said_to(answer, "ilse")
    assert "at most 4 m" in said_to(answer, "mara")


def test_what_a_coach_said_in_another_group_counts_for_nobody_here() -> None:
    """A limit names its group, and who says yes here takes over what was said here."""
    buoy = coached()
    buoy.says("ilse", "cap 2", private=True)
    (limit,) = (f for f in buoy.record("ilse").facts if isinstance(f, Limit))
    buoy.facts.remove(limit)
    buoy.facts.append(replace(limit, group="g:elsewhere"))
    buoy.later(minutes=1).says("teo", "coach yes", private=True)
    assert limits(buoy, "teo") == []


def test_a_keeper_reads_whom_it_is_about() -> None:
    """Of Noor, who has no phone, her keeper reads her name in what the coach sets."""
    buoy = coached().keep("noor", keeper="mara", pb=36, goal=40)
    buoy.says("mara", "for noor coach yes", private=True)
    answer = said_to(buoy.later(minutes=1).says("ilse", "rest noor", private=True), "mara")
    assert answer.startswith("noor")


def test_whoever_is_left_without_a_keeper_gets_a_new_one() -> None:
    """Mara, who kept Noor's log, is gone: Teo adds Noor, and answers for her."""
    buoy = coached().keep("noor", keeper="mara", pb=36, goal=40)
    assert "mara" in buoy.says("teo", "add noor")
    del buoy.members["mara"]
    assert "who kept the log has left" in buoy.says("teo", "add noor")
    assert "teo" in buoy.presses("teo", "keep the log of noor")
    assert "Only noor" not in buoy.says("teo", "noor feel ok")
