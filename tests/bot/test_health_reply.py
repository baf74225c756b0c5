"""Harm in an answer to somebody's message: whom `you` and `that` are about; and who is rescued."""

from __future__ import annotations

import pytest

from planner.harm import alarm_until, lock_of, unanswered
from planner.record import Harm, Unwell
from tests.bot.talk.buoy import mara, said_to


@pytest.mark.parametrize(
    "told",
    [
        "you blacked out",
        "your lips were blue",
        "you were out for two seconds",
        "that was a samba",
        "i saw you shake at the surface",
        "looked like a blackout",
        "you're coughing blood",
    ],
)
def test_in_an_answer_you_are_whose_message_it_answers(told: str) -> None:
    """Ana answers Mara's dive: Mara is asked and has no target, and Ana is locked by nothing."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    buoy.says("mara", "exh 5 ok")
    answer = buoy.says("ana", told, reply_to="mara")
    assert unanswered(buoy.record("mara"), at=buoy.at) is not None
    assert said_to(answer, "mara") != ""
    assert [f for f in buoy.facts if isinstance(f, Harm)] == []
    assert "Next:" not in buoy.says("mara", "next", private=True)
    assert lock_of(buoy.record("ana"), at=buoy.at) is None


@pytest.mark.parametrize(
    "told", ["hoarse", "i coughed blood", "you guys, i blacked out", "i feel dizzy, you too?"]
)
def test_in_an_answer_ones_own_is_ones_own(told: str) -> None:
    """Ana answers the question how she is: her report is hers, and Mara is asked nothing."""
    buoy = mara()
    buoy.says("mara", "all ok?")
    buoy.says("ana", told, reply_to="mara")
    assert {f.diver for f in buoy.facts if isinstance(f, Harm)} == {"ana"}
    assert not any(isinstance(f, Unwell) and f.diver == "mara" for f in buoy.facts)


def test_without_an_answer_you_is_nobody_else() -> None:
    """`you blacked out` on its own is the writer's, as ever: unsure counts."""
    buoy = mara()
    buoy.says("mara", "you blacked out", private=True)
    assert {f.diver for f in buoy.facts if isinstance(f, Harm)} == {"mara"}


@pytest.mark.parametrize(
    "told",
    [
        "feel was rescued by my buddy",
        "my buddy fished me out",
        "ana held my airway up, i was gone for a bit",
        "my buddy dragged me to the buoy",
        "he held my airway up",
        "got rescued by ana at the surface",
    ],
)
def test_who_is_rescued_is_who_tells_it(told: str) -> None:
    """Whoever is fished out, held up or carried is the one with the report, not who did it."""
    buoy = mara()
    answer = said_to(buoy.says("mara", told, private=True), "mara")
    assert answer.startswith("Call your local emergency number now")
    assert {f.diver for f in buoy.facts if isinstance(f, Harm)} == {"mara"}
    assert not any(isinstance(f, Unwell) and f.diver == "ana" for f in buoy.facts)


def test_of_a_stranger_face_down_one_text_goes_out_and_nobody_is_locked() -> None:
    """All that one sentence says of somebody unknown is about them, `doesnt move` too."""
    buoy = mara()
    answer = said_to(buoy.says("mara", "zed floats face down and doesnt move"), "group")
    assert answer.count("Call your local emergency number now") == 1
    assert [f for f in buoy.facts if isinstance(f, Harm | Unwell)] == []


@pytest.mark.parametrize(
    "told",
    [
        "ana needs help",
        "please help ana",
        "ana is in trouble",
        "something happened to ana",
        "ana had an accident",
        "bring ana to hospital",
        "someone call a doctor for ana",
        "ana went black",
        "ana is white as a sheet",
    ],
)
def test_a_call_that_says_no_more_is_a_call(told: str) -> None:
    """Help for ana, whatever it is: the text of all kinds to the group, and her day is over."""
    buoy = mara()
    answer = buoy.says("mara", told)
    assert said_to(answer, "group").startswith("Call your local emergency number now")
    assert alarm_until(buoy.record("ana"), at=buoy.at) is not None


@pytest.mark.parametrize(
    "told",
    [
        "there has been an accident",
        "need help at the buoy",
        "someone get a doctor",
        "we need a doctor here now",
        "get the oxygen",
        "get the boat, quick",
        "anyone know cpr",
    ],
)
def test_a_call_that_names_nobody_is_help_and_locks_nobody(told: str) -> None:
    """The group reads what to do, and no fact is kept of whoever wrote it."""
    buoy = mara()
    answer = said_to(buoy.says("mara", told), "group")
    assert answer.startswith("Call your local emergency number now")
    assert [f for f in buoy.facts if isinstance(f, Harm | Unwell)] == []


@pytest.mark.parametrize("told", ["all normal except my voice", "all good apart from my ear"])
def test_an_exception_to_all_normal_is_asked_about(told: str) -> None:
    """`all normal except …` is no yes: it is asked about, and no target follows."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    assert "all normal?" in said_to(buoy.says("mara", told, private=True), "mara")
    assert "Next:" not in buoy.says("mara", "next", private=True)


def test_a_well_with_a_question_mark_is_none() -> None:
    """`feel ok?` is asked about: doubt is never taken for well."""
    buoy = mara()
    assert "1 of 4." in said_to(buoy.says("mara", "feel ok?", private=True), "mara")


def test_after_no_feel_ok_brings_the_questions_again_and_no_target() -> None:
    """The answers choose the row: nothing but the buttons of the four questions answers a no."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    buoy.says("mara", "feel gloopy", private=True)
    answer = said_to(buoy.later(minutes=2).says("mara", "feel ok", private=True), "mara")
    assert "1 of 4." in answer
    assert "Next:" not in buoy.says("mara", "next", private=True)


def test_numb_fingers_bar_until_they_are_answered() -> None:
    """The cold is asked about, and until then there is no target; the cold alone leaves nothing."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    buoy.says("mara", "my fingers are numb", private=True)
    assert "Next:" not in buoy.says("mara", "next", private=True)
    buoy.later(minutes=1).presses("mara", "both hands, cold, all else normal", private=True)
    assert unanswered(buoy.record("mara"), at=buoy.at) is None


@pytest.mark.parametrize(
    "told",
    [
        "noor restarted me. rescue breaths at the buoy",
        "they say i had a seizure in the water, ana kept my face up",
        "opened my eyes and ana was blowing on my face saying breathe",
    ],
)
def test_in_doubt_whom_a_rescue_was_of_the_writer_is_asked_too(told: str) -> None:
    """Something done to `me` in a call about another: the writer has no target until it is answered."""
    buoy = mara()
    buoy.says("mara", told)
    record = buoy.record("mara")
    assert lock_of(record, at=buoy.at) is not None or unanswered(record, at=buoy.at) is not None


def test_who_only_tells_of_another_is_asked_nothing() -> None:
    """`ana is not answering me` is about ana."""
    buoy = mara()
    buoy.says("mara", "ana is not answering me, she is limp")
    assert {f.diver for f in buoy.facts if isinstance(f, Harm | Unwell)} == {"ana"}
