"""Cries for help, what follows a call for help about somebody, and what no milder word takes back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from planner.agenda import DueKind, agenda
from planner.harm import unwell_open
from planner.record import Harm, Unwell, Well
from planner.rules import RULES
from storage.outcome import Site
from tests.bot.talk.buoy import Buoy, mara, said_to

FIRST = "Call your local emergency number now"


@pytest.mark.parametrize(
    "text",
    [
        "emergency", "Emergency!", "emergency mara", "emergency, mara", "emergency: mara down",
        "this is an emergency", "it's an emergency", "emergency number?", "emergency please",
        "help us", "cpr", "how do I do CPR", "oxygen quick", "hilfe", "ayuda", "au secours",
    ],
)  # fmt: skip
@pytest.mark.parametrize("private", [False, True])
def test_a_cry_for_help_brings_the_text_at_once(text: str, private: bool) -> None:
    """Whatever it is in, the whole message is a cry, and the emergency line is the first answer."""
    answer = mara().says("ana", text, private=private)
    assert said_to(answer, "ana" if private else "group").startswith(FIRST)


@pytest.mark.parametrize(
    "text",
    [
        "emergency blanket is in the van", "emergency exit row, nice", "the emergency plan is on page 3",
        "who has the oxygen kit", "bring oxygen and the towels", "cpr course on saturday", "boat at nine",
        "emergency contact form please", "help yourself to the soup",
    ],
)  # fmt: skip
def test_talk_of_emergencies_is_no_cry(text: str) -> None:
    """Gear, plans, courses and soup leave the group in peace."""
    assert said_to(mara().says("ana", text), "group") == ""


def test_whoever_is_missing_brings_the_text_for_those_who_search() -> None:
    """Not come up: time and place, eyes on it; nobody is told to take a mask off who can't be seen."""
    text = said_to(mara().says("ana", "mara hasn't come up"), "group")
    assert text.startswith(FIRST)
    assert "NOT COME UP" in text
    assert "eyes on the place" in text
    found = said_to(mara().says("ana", "mara is not breathing"), "group")
    assert "NOT COME UP" not in found


def called() -> Buoy:
    """Ana has called for help about Mara, in the group."""
    buoy = mara()
    buoy.says("mara", "share on", private=True)
    buoy.later(minutes=1).says("ana", "mara blacked out at the surface")
    return buoy.later(minutes=3)


def test_a_witnessed_blackout_is_asked_about_in_its_own_words() -> None:
    """The diver is asked for a blackout, a gap, shaking, water; nothing of what Ana said is kept."""
    buoy = mara()
    answer = buoy.says("ana", "mara blacked out at the surface")
    assert "Blackout, gap in memory, shaking, or water breathed in" in said_to(answer, "mara")
    (raised,) = (f for f in buoy.record("mara").facts if isinstance(f, Unwell))
    assert (raised.raised_by_other, raised.grave) == (True, True)


@pytest.mark.parametrize("word", ["yes", "ok", "all good", "no", "not sure"])
def test_a_bare_word_is_no_answer_to_a_call_for_help(word: str) -> None:
    """`yes` could mean yes, it happened: the buttons are shown again, and nothing is lifted."""
    buoy = called()
    answer = said_to(buoy.says("mara", word, private=True), "mara")
    assert "press a button" in answer
    assert "called for help about you" in answer
    assert unwell_open(buoy.record("mara"), at=buoy.at)


def test_feel_ok_leaves_the_question_open_and_asks_it_again() -> None:
    """Feeling well is kept, and says nothing of a blackout."""
    buoy = called()
    answer = said_to(buoy.says("mara", "feel ok", private=True), "mara")
    assert "called for help about you" in answer
    assert any(isinstance(f, Well) for f in buoy.record("mara").facts)
    assert unwell_open(buoy.record("mara"), at=buoy.at)


def test_nothing_of_it_ends_the_question_and_not_the_day() -> None:
    """No target for the rest of the day, whatever is answered; the group reads the one line."""
    buoy = called()
    answer = said_to(buoy.presses("mara", "nothing of it", private=True), "mara")
    assert "no target for the rest of the day" in answer
    assert not unwell_open(buoy.record("mara"), at=buoy.at)
    assert said_to(buoy.later(minutes=5).says("mara", "next"), "group") == "mara: no target today."


def test_a_blackout_that_is_owned_up_to_is_row_2() -> None:
    """The text at once, for somebody awake, and the lock of row 2."""
    buoy = called()
    answer = said_to(buoy.presses("mara", "blackout, gap, shaking, water", private=True), "mara")
    assert answer.startswith(FIRST)
    assert "Stay out of the water" in answer
    (harm,) = (f for f in buoy.record("mara").facts if isinstance(f, Harm))
    assert (harm.row, harm.days, harm.doctor) == ("2", 30.0, True)


@pytest.mark.parametrize("label", ["something else", "not sure"])
def test_anything_else_opens_the_four_questions(label: str) -> None:
    """What it was is asked in four steps; targets stay barred."""
    buoy = called()
    assert "1 of 4" in said_to(buoy.presses("mara", label, private=True), "mara")
    assert unwell_open(buoy.record("mara"), at=buoy.at)


def test_who_told_of_it_alone_is_not_asked_again() -> None:
    """Mara wrote it first; Ana's words bring the text to the group, and no question to Mara."""
    buoy = mara()
    buoy.says("mara", "I blacked out", private=True)
    answer = buoy.later(minutes=2).says("ana", "mara blacked out at the surface")
    assert said_to(answer, "group").startswith(FIRST)
    assert said_to(answer, "mara") == ""


def test_a_milder_word_takes_no_call_back() -> None:
    """Within a day of a report of call now the same text answers a milder one; the next day its own."""
    buoy = mara()
    buoy.says("mara", "share on", private=True)
    buoy.says("mara", "coughed up blood", private=True)
    again = said_to(buoy.later(hours=3).says("mara", "feel hoarse", private=True), "mara")
    assert again.startswith(FIRST)
    assert "Your day is over" not in again
    later = said_to(buoy.later(hours=30).says("mara", "feel hoarse", private=True), "mara")
    assert later.startswith("Your day is over")


def test_without_the_kept_row_it_is_the_text_for_all() -> None:
    """Who keeps no health check-ins reads the text that serves every call."""
    buoy = mara()
    buoy.says("mara", "coughed up blood", private=True)
    again = said_to(buoy.later(hours=1).says("mara", "feel hoarse", private=True), "mara")
    assert again.startswith(FIRST)
    assert "NOT COME UP" in again


@pytest.mark.parametrize(
    ("told", "words"),
    [("coughed up blood", "hospital all the same"), ("pink spit", "a doctor all the same")],
)
def test_feeling_well_sends_nobody_home(told: str, words: str) -> None:
    """`feel ok` after harm: noted, and the hospital or the doctor all the same."""
    buoy = mara()
    buoy.says("mara", told, private=True)
    answer = said_to(buoy.later(minutes=20).says("mara", "feel ok", private=True), "mara")
    assert "Feeling well is not healed" in answer
    assert words in answer


@pytest.mark.parametrize("word", ["yes", "no", "a little", "spots", "not sure"])
def test_a_word_typed_at_the_four_questions_shows_the_buttons_again(word: str) -> None:
    """`feel a squeeze`, and then a word that could answer any of the four: nothing is thrown away."""
    buoy = mara()
    buoy.says("mara", "feel a squeeze", private=True)
    answer = said_to(buoy.later(minutes=1).says("mara", word, private=True), "mara")
    assert "press a button" in answer
    assert "1 of 4" in answer


def test_the_morning_after_asks_for_the_doctor() -> None:
    """A report that asks for a doctor is followed up at eight; a clearance meanwhile ends that."""
    buoy = Buoy(at=datetime(2026, 5, 5, 15, tzinfo=UTC)).join("mara", pb=32, goal=38).join("ana")
    buoy.says("mara", "pink spit", private=True)
    dues = agenda(buoy.record("mara"), rules=RULES, at=buoy.at)
    (due,) = (d for d in dues if d.kind is DueKind.FOLLOW_UP)
    assert due.at.isoformat() == "2026-05-06T08:00:00+01:00"
    buoy.later(hours=17)
    assert "Has a doctor seen you?" in said_to(buoy.falls_due(due), "mara")
    buoy.says("mara", "cleared 2026-05-06", private=True)
    assert buoy.falls_due(due) == ""
    assert DueKind.FOLLOW_UP not in {
        d.kind
        for d in agenda(buoy.record("mara"), rules=RULES, at=due.stale_at + timedelta(minutes=1))
    }


def test_a_second_samba_says_that_it_is_one() -> None:
    """Day over twice within thirty days: the second sends to a doctor, in words."""
    buoy = mara()
    buoy.says("mara", "share on", private=True)
    buoy.says("mara", "had a samba", private=True)
    buoy.later(hours=24 * 9)
    answer = said_to(buoy.says("mara", "had a samba", private=True), "mara")
    assert "second in 30 days: see a doctor" in answer


def test_whoever_cannot_be_reached_is_not_promised_a_question() -> None:
    """The teller learns that nobody asks, and what to ask; nothing is said to be sent."""
    buoy = mara().join("zoe", dm=False)
    answer = said_to(buoy.says("mara", "zoe is hoarse", private=True), "mara")
    assert "I can't reach zoe" in answer


def test_a_name_that_is_a_word_takes_no_report_away() -> None:
    """With May on the roster, `i may have blacked out` is the writer's own."""
    buoy = mara().join("may")
    buoy.says("mara", "i may have blacked out", private=True)
    assert [type(f) for f in buoy.record("may").facts] == []
    assert any(isinstance(f, Harm) for f in buoy.record("mara").facts)


def test_under_a_lock_nothing_else_is_asked_for() -> None:
    """A diver without PB and goal who has coughed blood reads of the lock, and of no PB."""
    buoy = Buoy().join("zoe").join("ana")
    buoy.says("zoe", "coughed up blood", private=True)
    answer = said_to(buoy.later(minutes=5).says("zoe", "next", private=True), "zoe")
    assert "No target before" in answer
    assert "pb" not in answer.lower()


def test_no_number_is_preset_and_the_site_has_its_own() -> None:
    """Without a site's number the line names none; with one it stands in the first line."""
    assert "112" not in mara().says("ana", "emergency")
    assert Site().emergency_number == ""
