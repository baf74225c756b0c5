"""Answers to the check in words, by the diver and by a keeper; and whom a report without a name is about."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planner.harm import lock_of, unanswered, unwell_open
from planner.record import Debriefed, Harm, Unwell
from tests.bot.talk.buoy import Buoy, mara, said_to


def checked(*divers: str) -> Buoy:
    """After a session, each of these was asked whether all is normal."""
    buoy = mara()
    if "noor" in divers:
        buoy.keep("noor", keeper="mara", pb=30, goal=36)
        buoy.says("mara", "for noor fit buddy ana")
    buoy.says("mara", "fit buddy ana")
    for diver in divers:
        buoy.says("mara", "exh 5 ok" if diver == "mara" else f"for {diver} exh 5 ok")
    buoy.later(minutes=40)
    for diver in divers:
        at = buoy.record(diver).dives[-1].happened_at
        common = buoy.record(diver).dives[-1]
        buoy.facts.append(
            Debriefed(
                diver=diver,
                happened_at=buoy.at,
                said_at=buoy.at,
                by=diver,
                origin=common.origin,
                session_at=at,
            )
        )
    return buoy.later(minutes=1)


@pytest.mark.parametrize(
    "told",
    [
        "no",
        "not sure",
        "no, throat",
        "no my voice isnt",
        "ears not",
        "not all normal",
        "nothing is normal",
        "yes and no",
        "yes but a bit off",
        "mostly",
        "almost all",
        "not quite",
        "👎",
    ],
)
def test_what_is_no_clear_yes_is_a_no(told: str) -> None:
    """The check waits: a no, a doubt or a part of the body brings the four questions, and no target."""
    buoy = checked("mara")
    assert "1 of 4." in said_to(buoy.says("mara", told, private=True), "mara")
    assert unwell_open(buoy.record("mara"), at=buoy.at)


@pytest.mark.parametrize("told", ["yes", "all good", "fine", "all normal", "no pain, all fine"])
def test_a_yes_in_words_opens_no_question(told: str) -> None:
    """What says that all is well, or only denies beside it, brings no four questions."""
    buoy = checked("mara")
    assert "1 of 4." not in said_to(buoy.says("mara", told, private=True), "mara")
    assert not unwell_open(buoy.record("mara"), at=buoy.at)


@pytest.mark.parametrize("told", ["next", "week", "no buddy", "frc 5 ok # not deep", "help"])
def test_a_command_at_the_check_is_no_answer(told: str) -> None:
    """Whoever asks for something else has not answered."""
    buoy = checked("mara")
    buoy.says("mara", told, private=True)
    assert not any(isinstance(f, Unwell) for f in buoy.facts)


@pytest.mark.parametrize("told", ["for noor no", "noor no", "for noor not sure", "noor: no"])
def test_a_keeper_says_no_for_the_kept_diver_by_name(told: str) -> None:
    """Both were asked: the named one has the question, the keeper none."""
    buoy = checked("mara", "noor")
    assert "1 of 4." in said_to(buoy.says("mara", told, private=True), "mara")
    assert unwell_open(buoy.record("noor"), at=buoy.at)
    assert not unwell_open(buoy.record("mara"), at=buoy.at)


def test_a_bare_no_counts_for_all_who_were_asked_at_once() -> None:
    """A keeper who dived too says `no`: whose it is nobody knows, so no target for either."""
    buoy = checked("mara", "noor")
    buoy.says("mara", "no", private=True)
    assert unwell_open(buoy.record("noor"), at=buoy.at)
    assert unwell_open(buoy.record("mara"), at=buoy.at)


@pytest.mark.parametrize("told", ["she is hoarse", "she spat a bit of blood"])
@pytest.mark.parametrize("private", [True, False])
def test_she_in_a_keepers_words_is_the_diver_whose_log_it_is(told: str, private: bool) -> None:
    """Right after Noor's dive, what her keeper says of `her` is her report."""
    buoy = checked("noor")
    buoy.says("mara", told, private=private)
    assert {f.diver for f in buoy.facts if isinstance(f, Harm)} == {"noor"}


def test_a_no_behind_a_yes_counts() -> None:
    """Ten seconds after `yes`, `no` brings the questions; so does the yes that is edited into it."""
    said, edited = checked("mara"), checked("mara")
    for buoy in (said, edited):
        buoy.says("mara", "yes", private=True)
        assert not unwell_open(buoy.record("mara"), at=buoy.at)
        buoy.later(minutes=0.2)
    said.says("mara", "no", private=True)
    edited.edits("mara", "no")
    assert unwell_open(said.record("mara"), at=said.at)
    assert unwell_open(edited.record("mara"), at=edited.at)


def test_a_slip_on_the_buttons_is_mended_by_the_worse_one() -> None:
    """`normal in 1 minute`, then `longer`: call now, whichever was pressed first."""
    buoy = mara()
    buoy.says("mara", "had a samba", private=True)
    buoy.presses("mara", "normal in 1 minute, no water", private=True)
    buoy.later(minutes=1)
    answer = buoy.presses("mara", "longer, or water breathed in", private=True)
    assert "Call your local emergency number now" in answer


@pytest.mark.parametrize("told", ["samba!", "spat blood", "blacked out", "coughing?"])
def test_under_a_dive_a_word_without_whose_asks_both(told: str) -> None:
    """Ana answers Mara's dive with one word: nobody is locked, both are asked, neither has a target."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    buoy.says("mara", "exh 5 ok")
    buoy.says("ana", told, reply_to="mara")
    assert [f for f in buoy.facts if isinstance(f, Harm)] == []
    for diver in ("mara", "ana"):
        assert unanswered(buoy.record(diver), at=buoy.at) is not None
    assert "Next:" not in buoy.says("mara", "next", private=True)


@pytest.mark.parametrize("hours", [0, 5])
@pytest.mark.parametrize("told", ["that was a samba", "she blacked out", "you blacked out"])
def test_an_answer_to_a_keepers_report_is_about_who_dived(told: str, hours: int) -> None:
    """Mara logs for Noor: what Ana says under it asks about Noor, and Mara only where she dived too."""
    buoy = mara().keep("noor", keeper="mara", pb=30, goal=36)
    buoy.says("mara", "for noor fit buddy ana")
    buoy.says("mara", "for noor exh 5 ok")
    buoy.later(hours=hours).says("ana", told, reply_to="mara")
    assert unanswered(buoy.record("noor"), at=buoy.at) is not None
    assert unanswered(buoy.record("mara"), at=buoy.at) is None


@pytest.mark.parametrize("told", ["you blacked out", "your lips are blue"])
def test_you_in_the_group_is_whom_the_writer_watches(told: str) -> None:
    """Ana watches Mara and answers nothing: `you` is Mara, and Ana has no lock."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    buoy.says("ana", told)
    assert unanswered(buoy.record("mara"), at=buoy.at) is not None
    assert lock_of(buoy.record("ana"), at=buoy.at + timedelta(minutes=1)) is None


def test_feel_ok_while_questions_wait_claims_nothing() -> None:
    """Nothing is noted as normal: the first question comes once more, and says that it must."""
    buoy = mara()
    buoy.says("mara", "feel gloopy", private=True)
    answer = said_to(buoy.later(minutes=1).says("mara", "feel ok", private=True), "mara")
    assert "Noted" not in answer
    assert "That alone is no answer" in answer
