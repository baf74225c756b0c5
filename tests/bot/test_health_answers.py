"""Typed answers to the check, help that is owed, and what a keeper reads."""

from __future__ import annotations

from datetime import timedelta

import pytest

from bot.heard import Heard, Kind
from planner.harm import lock_of, unwell_open
from planner.record import Debriefed, Harm, Origin, Unwell, Well
from storage.outcome import Delivery
from tests.bot.talk.buoy import Buoy, mara, ready, said_to


def asked_after(buoy: Buoy, diver: str, *, hours_later: float = 1) -> Buoy:
    """The buoy after a debrief that asked the diver how they are."""
    buoy.facts.append(
        Debriefed(
            diver=diver,
            happened_at=buoy.at + timedelta(minutes=30),
            said_at=buoy.at + timedelta(minutes=30),
            by=diver,
            origin=Origin(chat="p:due", message=len(buoy.facts)),
            session_at=buoy.at,
        )
    )
    return buoy.later(hours=hours_later)


@pytest.mark.parametrize("word", ["yes", "ok", "Fine!", "all good", "all normal."])
@pytest.mark.parametrize("hours", [1, 10, 22])
def test_all_good_typed_in_private_answers_the_check(word: str, hours: float) -> None:
    """After the debrief, in the evening and next morning a typed yes is Well."""
    buoy = asked_after(ready(), "mara", hours_later=hours)
    answer = buoy.says("mara", word, private=True)
    assert isinstance(buoy.facts[-1], Well)
    assert "Noted: you say all is normal." in said_to(answer, "mara")


def test_no_typed_in_private_opens_the_four_questions() -> None:
    """A typed no bars targets at once and asks the first of four."""
    buoy = asked_after(ready(), "mara")
    answer = buoy.says("mara", "no", private=True)
    assert unwell_open(buoy.record("mara"), at=buoy.at)
    assert "1 of 4" in said_to(answer, "mara")
    assert said_to(answer, "group") == ""


def test_not_sure_typed_in_private_is_unwell() -> None:
    """Not sure counts as no."""
    buoy = asked_after(ready(), "mara")
    buoy.says("mara", "not sure", private=True)
    assert isinstance(buoy.facts[-1], Unwell)


def test_a_typed_word_without_a_check_answers_none() -> None:
    """With no check open, or answered, or one word in the group, ok says nothing of health."""
    buoy = ready()
    buoy.says("mara", "ok", private=True)
    asked_after(buoy, "mara")
    buoy.says("mara", "ok")
    assert not any(isinstance(f, Well | Unwell) for f in buoy.facts)
    buoy.says("mara", "no", private=True)
    buoy.says("mara", "yes", private=True)
    assert not any(isinstance(f, Well) for f in buoy.facts)


def test_a_raised_question_is_answered_by_a_typed_word() -> None:
    """Somebody asked after her: yes, typed in private, answers it."""
    buoy = ready()
    buoy.says("ana", "mara coughs a bit")
    assert unwell_open(buoy.record("mara"), at=buoy.at)
    buoy.says("mara", "yes", private=True)
    assert not unwell_open(buoy.record("mara"), at=buoy.at)


def test_a_keeper_types_the_answer_for_a_diver_without_a_phone() -> None:
    """Where only the kept diver's check is open, the keeper's word is about her."""
    buoy = asked_after(ready().keep("noor", keeper="ana"), "noor")
    answer = buoy.says("ana", "no", private=True)
    assert isinstance(buoy.facts[-1], Unwell)
    assert buoy.facts[-1].diver == "noor"
    assert "noor: 1 of 4" in said_to(answer, "ana")


def test_two_checks_of_one_moment_are_not_guessed_at() -> None:
    """The keeper's own check and the kept diver's, asked at once: a bare yes is nobody's."""
    buoy = ready().keep("noor", keeper="mara")
    at = buoy.at
    asked_after(buoy, "mara", hours_later=0)
    asked_after(buoy, "noor")
    assert buoy.at > at
    buoy.says("mara", "yes", private=True)
    assert not any(isinstance(f, Well) for f in buoy.facts)


# owed


@pytest.mark.parametrize("first", ["/start", "hi there", "next"])
def test_help_owed_comes_first_when_the_private_chat_opens(first: str) -> None:
    """Tight in the chest, said in the group by somebody unreachable: told at the first word."""
    buoy = mara().join("zoe", dm=False)
    answer = buoy.says("zoe", "chest tight")
    assert "write to me in private" in answer
    assert said_to(answer, "zoe") == ""
    told = len(buoy.told)
    answer = buoy.reachable("zoe", dm=True).later(minutes=3).says("zoe", first, private=True)
    assert buoy.told[told].delivery is Delivery.HELP
    assert "See a doctor today" in said_to(answer, "zoe").splitlines()[0]
    assert "No target before" in said_to(answer, "zoe")
    again = buoy.later(minutes=1).says("zoe", first, private=True)
    assert "doctor" not in said_to(again, "zoe").split("\n")[0]


def test_no_help_is_owed_without_a_lock() -> None:
    """Who reported nothing, or whose lock has ended, is told nothing of it."""
    buoy = mara().join("zoe", dm=False)
    assert "doctor" not in buoy.says("zoe", "hi there", private=True)
    buoy.says("zoe", "feel a bit scared")
    assert any(isinstance(f, Harm) for f in buoy.facts)
    buoy.later(hours=30)
    assert lock_of(buoy.record("zoe"), at=buoy.at) is None
    assert "practice" not in buoy.says("zoe", "hi there", private=True)


def test_who_was_asked_after_while_unreachable_is_asked_when_the_chat_opens() -> None:
    """A worry about somebody nobody can write to: the question waits, bars, and comes first."""
    buoy = mara().join("zoe", dm=False)
    assert said_to(buoy.says("mara", "zoe coughs a bit"), "zoe") == ""
    assert unwell_open(buoy.record("zoe"), at=buoy.at)
    answer = buoy.reachable("zoe", dm=True).later(minutes=3).says("zoe", "hi", private=True)
    assert "Somebody is worried about you." in said_to(answer, "zoe").splitlines()[0]
    buoy.presses("zoe", "yes", private=True)
    assert not unwell_open(buoy.record("zoe"), at=buoy.at)
    again = buoy.later(minutes=1).says("zoe", "hi", private=True)
    assert "worried about you" not in said_to(again, "zoe")


def test_words_nobody_can_read_are_asked_about_when_the_chat_opens() -> None:
    """`feel gloopy` in the group by somebody unreachable: the first of four at the first word."""
    buoy = mara().join("zoe", dm=False)
    buoy.says("zoe", "feel gloopy")
    answer = buoy.reachable("zoe", dm=True).later(minutes=3).says("zoe", "hi", private=True)
    assert said_to(answer, "zoe").startswith("1 of 4.")


def test_what_was_told_once_is_owed_again_only_after_a_new_closed_chat() -> None:
    """Told on opening; then blocked, and harm in the group: told anew, with what stands by then."""
    buoy = mara().join("zoe", dm=False)
    buoy.says("zoe", "hoarse")
    buoy.reachable("zoe", dm=True).later(minutes=3)
    assert "Your day is over." in said_to(buoy.says("zoe", "hi", private=True), "zoe")
    buoy.later(minutes=3)
    assert "day is over" not in said_to(buoy.says("zoe", "hi", private=True), "zoe")
    buoy.reachable("zoe", dm=False).later(minutes=3).says("zoe", "pink spit")
    buoy.reachable("zoe", dm=True).later(minutes=3)
    assert "See a doctor today" in said_to(buoy.says("zoe", "hi", private=True), "zoe")


def test_who_shut_the_chat_reads_the_help_when_it_is_open_again() -> None:
    """Blocked right after a report: what was under way may be lost, and comes with the next word."""
    buoy = mara()
    buoy.says("mara", "feel hoarse", private=True)
    shut = Heard(
        kind=Kind.BLOCKED, chat="p:mara", private=True, sender="mara", message=0,
        sent_at=buoy.at, now=buoy.at,
    )  # fmt: skip
    assert buoy.hears(shut) == ""
    buoy.later(minutes=3)
    assert "Your day is over." in said_to(buoy.says("mara", "log", private=True), "mara")
    buoy.later(minutes=3)
    assert "day is over" not in said_to(buoy.says("mara", "log", private=True), "mara")


def test_an_undo_leaves_what_is_owed() -> None:
    """The dive of the message is taken back, the harm and the help that is owed for it are not."""
    buoy = ready().join("zoe", dm=False, pb=32, goal=38)
    buoy.says("zoe", "fit buddy mara")
    buoy.says("zoe", "exh 7 ok, coughed blood")
    buoy.later(minutes=1).says("zoe", "undo")
    buoy.reachable("zoe", dm=True).later(minutes=3)
    answer = said_to(buoy.says("zoe", "hi", private=True), "zoe")
    assert answer.startswith("Call your local emergency number now")


def test_a_keeper_who_was_unreachable_reads_of_the_kept_diver() -> None:
    """Noor's hoarseness, told in the group by a keeper nobody can write to: told with her name."""
    buoy = mara().join("zoe", dm=False).keep("noor", keeper="zoe")
    buoy.says("zoe", "noor feel hoarse")
    buoy.reachable("zoe", dm=True).later(minutes=3)
    answer = said_to(buoy.says("zoe", "hi", private=True), "zoe")
    assert answer.startswith("noor: The day is over.")


# what a keeper reads


def test_a_keeper_reads_about_whom_and_what_to_type() -> None:
    """Below call now the name goes before; what to type begins with `for noor`."""
    buoy = mara().keep("noor", keeper="ana")
    answer = said_to(buoy.says("ana", "for noor feel hoarse", private=True), "ana")
    assert answer.startswith("noor: The day is over.")
    assert "`for noor feel ok`" in answer
    answer = said_to(buoy.says("ana", "for noor feel pink spit", private=True), "ana")
    assert "`for noor cleared YYYY-MM-DD`" in answer
    assert answer.startswith("noor: See a doctor today")


def test_a_keeper_reads_the_emergency_line_first_and_the_name_second() -> None:
    """Call now begins with the emergency line, also to a keeper."""
    buoy = mara().keep("noor", keeper="ana")
    answer = said_to(buoy.says("ana", "for noor feel numb on one side", private=True), "ana")
    first, second = answer.splitlines()[:2]
    assert first.startswith("Call your local emergency number now")
    assert second == "This is about noor."


def test_the_diver_reads_no_prefix() -> None:
    """One's own lines are typed without a name."""
    answer = said_to(mara().says("mara", "feel hoarse", private=True), "mara")
    assert "`feel ok`" in answer
    assert "mara:" not in answer


# in the group


def test_words_of_health_are_written_down_in_the_group() -> None:
    """The reaction says noted, not that all is well."""
    assert buoy_reaction("spat a bit of blood") == "✍"


def buoy_reaction(text: str) -> str | None:
    buoy = mara()
    buoy.says("mara", text)
    return next(x.reaction for x in buoy.told if x.to.startswith("g:"))


@pytest.mark.parametrize("text", ["sos", "help me", "Help me please!", "HELP! HELP!", "mayday"])
@pytest.mark.parametrize("private", [False, True])
def test_a_call_for_help_gets_the_emergency_text(text: str, private: bool) -> None:
    """The gravest plain words get the text at once, wherever they are written."""
    buoy = mara()
    answer = buoy.says("mara", text, private=private)
    to = "mara" if private else "group"
    assert said_to(answer, to).startswith("Call your local emergency number now")
    assert len(buoy.told) == 1
    assert buoy.facts == mara().facts


@pytest.mark.parametrize("text", ["sam blacked out", "zoe has chest pain"])
def test_a_strangers_harm_locks_nobody(text: str) -> None:
    """Somebody not on the roster: help in the group at once, and nothing is stored."""
    buoy = mara()
    before = len(buoy.facts)
    answer = buoy.says("mara", text)
    assert said_to(answer, "group").startswith("Call your local emergency number now")
    assert said_to(answer, "mara") == ""
    assert len(buoy.facts) == before


def test_a_strangers_lesser_harm_is_left_alone_and_kept_in_no_note() -> None:
    """A nosebleed of somebody unknown is nobody's lock, and no note of a dive."""
    buoy = ready()
    assert buoy.says("mara", "noor has a nosebleed") == ""
    buoy.says("mara", "exh 6 ok # zoe has a nosebleed")
    assert buoy.dives("mara") == ["frc 6 clean"]
    assert buoy.record("mara").dives[-1].note == ""


def test_scared_away_from_any_dive_is_talk() -> None:
    """Scared counts in a session; on a day without one it is chatter."""
    buoy = mara()
    assert buoy.says("mara", "scared") == ""
    assert buoy.facts == mara().facts
    buoy = ready()
    buoy.says("mara", "scared")
    assert [f.level for f in buoy.facts if isinstance(f, Harm)] == ["practice-over"]


def test_in_one_instant_feel_ok_after_feel_hoarse_is_later() -> None:
    """Simulated time stands still between two lines: the days of the lock count all the same."""
    buoy = mara()
    buoy.says("mara", "feel hoarse", private=True)
    answer = buoy.says("mara", "feel ok", private=True)
    lock = lock_of(buoy.record("mara"), at=buoy.at)
    assert lock is not None
    assert not lock.open
    assert "No target before" in said_to(answer, "mara")


def test_a_press_in_the_instant_of_the_question_answers_it() -> None:
    """Ana worries in the group; mara presses yes in the same second."""
    buoy = mara()
    buoy.says("ana", "mara coughs a bit")
    buoy.presses("mara", "yes", private=True)
    assert not unwell_open(buoy.record("mara"), at=buoy.at)
    assert isinstance(buoy.facts[-1], Well)


def test_not_breathing_is_read_as_unconscious() -> None:
    """Where two texts would do, the worst row's comes: rescue breaths before sitting comfortably."""
    answer = said_to(mara().says("ana", "mara is not breathing"), "group")
    assert answer.splitlines()[1].startswith(
        "IN THE WATER: face up, mask off, mouth and nose out of the water"
    )


@pytest.mark.parametrize("word", ["no", "yes"])
def test_a_bare_word_while_the_four_questions_wait_asks_them_again(word: str) -> None:
    """Which of the four it answers nobody knows: nothing is noted, the first is shown again."""
    buoy = asked_after(ready(), "mara")
    buoy.says("mara", "no", private=True)
    before = len(buoy.facts)
    answer = buoy.says("mara", word, private=True)
    assert len(buoy.facts) == before
    assert "1 of 4" in said_to(answer, "mara")


def test_acting_weird_is_asked_about_in_private() -> None:
    """Somebody acts strangely: the diver is asked in private, and the group reads nothing."""
    answer = mara().says("mara", "ana is acting weird")
    assert said_to(answer, "group") == ""
    assert "Somebody is worried about you." in said_to(answer, "ana")
    grave = mara().says("mara", "ana is talking weird")
    assert said_to(grave, "group").startswith("Call your local emergency number now")
