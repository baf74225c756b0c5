"""Messages that no rule reads and that are like harm: help, a question, and nothing more kept."""

from __future__ import annotations

import pytest

from bot.shorthand.harm_lexicon import harm_words
from bot.shorthand.harm_reading import read_harm
from planner.harm import alarm_until, lock_of, unanswered, unwell_open
from planner.record import Dive, Ending, Harm, Unwell
from tests.bot.talk.buoy import mara, said_to

GONE = "has {name} been picked up by you guys? not on ours, not in the water as far as we can see"
HERE = "counted heads twice. one short. everyone stop diving and look"


def test_a_line_like_a_call_brings_help_first_and_bars_whom_it_names() -> None:
    """The group reads the emergency line first; ana is asked in private and has no target that day."""
    buoy = mara()
    answer = buoy.says("mara", GONE.format(name="ana"))
    assert said_to(answer, "group").startswith("Call your local emergency number now")
    assert "Somebody is worried about you. Did you black out" in said_to(answer, "ana")
    told = buoy.facts[-1]
    assert isinstance(told, Unwell)
    assert (told.diver, told.grave) == ("ana", True)
    assert alarm_until(buoy.record("ana"), at=buoy.at) is not None
    assert not any(isinstance(f, Harm) for f in buoy.facts)


def test_about_nobody_known_help_goes_out_and_nothing_is_kept() -> None:
    """A head count that is short brings help to the group; no fact is stored of anybody."""
    buoy = mara()
    before = len(buoy.facts)
    answer = buoy.says("mara", HERE)
    assert said_to(answer, "group").startswith("Call your local emergency number now")
    assert len(buoy.facts) == before


def test_the_writers_own_is_asked_about_in_their_own_words() -> None:
    """`no air no air help` in private: help, then a question that says why it is asked, and no lock."""
    buoy = mara()
    answer = said_to(buoy.says("mara", "no air no air help", private=True), "mara")
    assert answer.startswith("Call your local emergency number now")
    assert "What you wrote reads as if something is wrong. Did you black out" in answer
    waits = unanswered(buoy.record("mara"), at=buoy.at)
    assert waits is not None
    assert waits.grave
    assert lock_of(buoy.record("mara"), at=buoy.at) is None


def test_what_is_like_harm_and_no_call_is_asked_in_private() -> None:
    """A pictorial chest in the group: a reaction there, the check in private, no target until then."""
    buoy = mara()
    answer = buoy.says(
        "mara", "feels like a hand on my chest, mild, been there since the second dive"
    )
    assert said_to(answer, "group") == "(reaction ✍)"
    assert "About what you wrote. Voice, breath, cough" in said_to(answer, "mara")
    assert unwell_open(buoy.record("mara"), at=buoy.at)
    buoy.presses("mara", "yes", private=True)
    assert not unwell_open(buoy.record("mara"), at=buoy.at)


def test_what_is_like_harm_of_another_is_asked_there_and_said_to_who_wrote_it() -> None:
    """In private about ana: she is asked, mara is told so; in the group nothing is seen of it."""
    told = "ana says her chest feels kind of snug since dive 3, no pain"
    buoy = mara()
    assert said_to(buoy.says("mara", told), "group") == ""
    assert "all normal?" in said_to(answer := buoy.says("mara", told, private=True), "ana")
    assert "I ask ana in private." in said_to(answer, "mara")


def test_a_dive_beside_it_is_kept_as_a_stop() -> None:
    """`frc 6 ok` and something like harm: the dive stands, not as a clean one, without a note."""
    buoy = mara()
    buoy.says("mara", "frc 6 ok but i have not air. i sit and have not air. please", private=True)
    dives = [f for f in buoy.facts if isinstance(f, Dive)]
    assert [(d.depth_m, d.ending, d.note) for d in dives] == [(6, Ending.STOP, "")]


@pytest.mark.parametrize(
    "text",
    [
        "buddy ana",
        "exh 6 ok",
        "ana 6 ok",
        "next",
        "plan",
        "watching today",
        "ana not fit",
        "for noor not fit",
    ],
)
def test_a_command_is_never_like_harm(text: str) -> None:
    """Whatever a command's words are like, it is one: no help, and no question."""
    buoy = mara()
    answer = buoy.says("mara", text)
    assert "emergency number" not in said_to(answer, "group") + said_to(answer, "mara")
    assert not any(isinstance(f, Unwell) for f in buoy.facts)


def test_the_last_of_those_is_like_a_call_to_the_reader_itself() -> None:
    """`ana not fit` is like one: that it is a command is what keeps it from being read so."""
    read = read_harm("ana not fit", harm_words(), names=["Ana", "Noor"])
    assert any(alike.is_call for alike in read.alike)


@pytest.mark.parametrize("text", ["feel no air no air help", "scared! no air no air help"])
def test_a_word_in_front_hides_no_call(text: str) -> None:
    """After `feel`, and beside `scared`, what is like a call brings the help of one."""
    answer = said_to(mara().says("mara", text, private=True), "mara")
    assert answer.startswith("Call your local emergency number now")


def test_what_is_written_over_and_over_is_answered_once() -> None:
    """Five lines like a call are one text to the group and one question."""
    buoy = mara()
    answer = buoy.says("mara", "\n".join(["no air no air help"] * 5))
    assert said_to(answer, "group").count("emergency number") == 1
    assert sum(isinstance(f, Unwell) for f in buoy.facts) == 1


def test_a_note_like_harm_in_a_mended_report_makes_it_a_stop() -> None:
    """`fix 6 # …` keeps none of the words, and the dive is clean no more."""
    buoy = mara()
    buoy.says("mara", "frc 6 ok")
    buoy.says(
        "mara", "fix 6 # feels like a hand on my chest, mild, been there since the second dive"
    )
    last = [f for f in buoy.facts if isinstance(f, Dive)][-1]
    assert (last.ending, last.note) == (Ending.STOP, "")


def test_who_was_told_of_in_the_group_watches_nobody_whatever_they_wrote_in_private() -> None:
    """Ana's own open question takes no part in what the group was told of her."""
    buoy = mara()
    own = "feels like a hand on my chest, mild, been there since the second dive"
    buoy.says("ana", own, private=True)
    buoy.says("teo", GONE.format(name="ana"))
    answer = said_to(buoy.later(hours=4.1).says("mara", "fit buddy ana"), "group")
    assert "who is your buddy?" in answer
    assert "Next:" not in answer


def test_the_same_words_without_a_call_make_ana_the_buddy() -> None:
    """What the test above asks for: nothing but the call keeps ana from being named."""
    assert "who is your buddy?" not in said_to(mara().says("mara", "fit buddy ana"), "group")


def test_a_call_beside_a_milder_row_is_asked_about_all_the_same() -> None:
    """A headache told in one breath with what is like a blackout: the row's lock, and the question."""
    buoy = mara()
    told = "passed oit at teh top. ok now, bit of hedache"
    answer = said_to(buoy.says("mara", told, private=True), "mara")
    assert "Did you black out" in answer
    assert alarm_until(buoy.record("mara"), at=buoy.at) is not None
    assert lock_of(buoy.record("mara"), at=buoy.at) is not None


def test_a_call_about_another_beside_a_milder_row_is_a_call() -> None:
    """Ana slumped over and cannot be roused: she is barred as after a call, whatever row was read."""
    buoy = mara()
    told = "ana slumped over in the sand after she peeled her suit off, we cannot rouse her"
    answer = buoy.says("mara", told)
    assert said_to(answer, "group").startswith("Call your local emergency number now")
    assert alarm_until(buoy.record("ana"), at=buoy.at) is not None
