"""Cries for help, what follows a call for help about somebody, and what no milder word takes back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from planner.agenda import DueKind, agenda
from planner.harm import unanswered, unwell_open
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
    assert "DIVER NOT UP" in text
    assert "eyes on the place" in text
    found = said_to(mara().says("ana", "mara is not breathing"), "group")
    assert "DIVER NOT UP" not in found


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
    assert "Did you black out, forget a moment, shake, or breathe in water" in said_to(
        answer, "mara"
    )
    (raised,) = (f for f in buoy.record("mara").facts if isinstance(f, Unwell))
    assert (raised.raised_by_other, raised.grave) == (True, True)


@pytest.mark.parametrize("word", ["yes", "ok", "all good", "no", "not sure"])
def test_a_bare_word_is_no_answer_to_a_call_for_help(word: str) -> None:
    """`yes` could mean yes, it happened: the buttons are shown again, and nothing is lifted."""
    buoy = called()
    answer = said_to(buoy.says("mara", word, private=True), "mara")
    assert "press a button" in answer
    assert "worried about you" in answer
    assert unwell_open(buoy.record("mara"), at=buoy.at)


def test_feel_ok_leaves_the_question_open_and_asks_it_again() -> None:
    """Feeling well is kept, and says nothing of a blackout."""
    buoy = called()
    answer = said_to(buoy.says("mara", "feel ok", private=True), "mara")
    assert "worried about you" in answer
    assert any(isinstance(f, Well) for f in buoy.record("mara").facts)
    assert unwell_open(buoy.record("mara"), at=buoy.at)


def test_nothing_of_it_ends_the_question_and_not_the_day() -> None:
    """No target before midnight, whatever is answered; the group reads the one line."""
    buoy = called()
    answer = said_to(buoy.presses("mara", "none of these", private=True), "mara")
    assert "no target before Wed 6 May, 00:00" in answer
    assert not unwell_open(buoy.record("mara"), at=buoy.at)
    assert said_to(buoy.later(minutes=5).says("mara", "next"), "group") == "mara: no target today."


def test_a_blackout_that_is_owned_up_to_is_row_2() -> None:
    """The text at once, for somebody awake, and the lock of row 2."""
    buoy = called()
    answer = said_to(
        buoy.presses("mara", "blackout, memory gap, shaking, water", private=True), "mara"
    )
    assert answer.startswith(FIRST)
    assert "Stay out of the water" in answer
    (harm,) = (f for f in buoy.record("mara").facts if isinstance(f, Harm))
    assert (harm.row, harm.days, harm.doctor) == ("2", 30.0, True)


@pytest.mark.parametrize("label", ["something else wrong", "not sure"])
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
    later = said_to(buoy.later(hours=30).says("mara", "feel ear pain", private=True), "mara")
    assert later.startswith("Your day is over")


def test_without_the_kept_row_it_is_the_text_for_all() -> None:
    """Who keeps no health check-ins reads the text that serves every call."""
    buoy = mara()
    buoy.says("mara", "coughed up blood", private=True)
    again = said_to(buoy.later(hours=1).says("mara", "feel hoarse", private=True), "mara")
    assert again.startswith(FIRST)
    assert "DIVER NOT UP" in again


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


# what an examiner found: ways round a call for help


@pytest.mark.parametrize("text", ["feel seasick", "a bit of a headache", "feel tired", "hoarse"])
def test_a_mild_word_is_no_answer_to_a_call_for_help(text: str) -> None:
    """Whatever milder the diver tells, the question of a blackout stays open, and is asked again."""
    buoy = called()
    answer = said_to(buoy.says("mara", text, private=True), "mara")
    assert "worried about you" in answer
    waits = unanswered(buoy.record("mara"), at=buoy.at)
    assert waits is not None
    assert waits.grave


def test_a_clearance_is_no_answer_to_what_it_was() -> None:
    """`cleared` of today gives no word on whether there was a blackout."""
    buoy = called()
    buoy.says("mara", "cleared 2026-05-05", private=True)
    assert unwell_open(buoy.record("mara"), at=buoy.at)


def test_a_samba_that_was_seen_is_asked_about_by_its_name() -> None:
    """What is over in seconds would be answered with all normal: the same question, the same day."""
    buoy = mara()
    answer = buoy.says("ana", "mara had a samba at the surface")
    assert "shake" in said_to(answer, "mara")
    buoy.presses("mara", "none of these", private=True)
    assert said_to(buoy.later(minutes=5).says("mara", "next"), "group") == "mara: no target today."


@pytest.mark.parametrize("hours", [0.5, 11])
def test_a_call_at_night_has_its_hours(hours: float) -> None:
    """At ten to midnight the day would be over in ten minutes: twelve hours are kept (H)."""
    night = datetime(2026, 5, 5, 22, 50, tzinfo=UTC)
    buoy = Buoy(at=night).join("mara", pb=32, goal=38).join("ana")
    buoy.says("ana", "mara blacked out at the surface")
    buoy.presses("mara", "none of these", private=True)
    buoy.later(hours=hours)
    assert said_to(buoy.says("mara", "next"), "group") == "mara: no target today."


def test_a_call_that_arrives_late_has_the_day_on_which_it_was_heard() -> None:
    """Yesterday's words, heard this morning: no target today either."""
    buoy = mara().later(hours=20)
    buoy.says("ana", "mara blacked out at the surface", sent_at=buoy.at - timedelta(hours=18))
    buoy.presses("mara", "none of these", private=True)
    assert said_to(buoy.later(minutes=5).says("mara", "next"), "group") == "mara: no target today."


def test_a_slip_on_the_buttons_can_be_mended() -> None:
    """None of these, then the blackout after all: the later, worse answer counts."""
    buoy = called()
    buoy.presses("mara", "none of these", private=True)
    answer = said_to(
        buoy.presses("mara", "blackout, memory gap, shaking, water", private=True), "mara"
    )
    assert answer.startswith(FIRST)
    assert any(isinstance(f, Harm) for f in buoy.record("mara").facts)


@pytest.mark.parametrize(
    "text", ["mara and zoe blacked out", "zoe & mara blacked out", "zoe, mara: both not breathing"]
)
def test_two_names_are_two_divers(text: str) -> None:
    """Each is asked, and neither has a target."""
    buoy = mara().join("zoe")
    answer = buoy.says("ana", text)
    for name in ("mara", "zoe"):
        assert "worried about you" in said_to(answer, name)
        assert unwell_open(buoy.record(name), at=buoy.at)


def test_my_buddy_is_whom_one_watches() -> None:
    """Ana is Mara's buddy today: `my buddy blacked out` is about Mara, and asks her."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    assert "worried about you" in said_to(
        buoy.later(minutes=2).says("ana", "my buddy blacked out"), "mara"
    )
    nobody = mara().join("zoe")
    assert unwell_open(nobody.record("mara"), at=nobody.at) is False
    nobody.says("zoe", "my buddy blacked out")
    assert not any(isinstance(f, Unwell) for d in ("mara", "ana") for f in nobody.record(d).facts)


def test_next_brings_the_buttons_back() -> None:
    """Whoever has lost the letter asks for a target in private, and can answer there."""
    buoy = called()
    buoy.told.clear()
    buoy.says("mara", "next", private=True)
    buoy.presses("mara", "none of these", private=True)
    assert not unwell_open(buoy.record("mara"), at=buoy.at)


def test_the_four_questions_after_a_call_have_their_evening() -> None:
    """Something else, and then silence: that evening the doctor's text comes, as for any such silence."""
    buoy = called()
    buoy.presses("mara", "something else wrong", private=True)
    (due,) = (
        d
        for d in agenda(buoy.record("mara"), rules=RULES, at=buoy.at)
        if d.kind is DueKind.UNANSWERED
    )
    buoy.later(hours=12)
    assert "See a doctor today" in said_to(buoy.falls_due(due), "mara")


def test_one_typed_yes_answers_no_question_of_health_beside_another() -> None:
    """Two questions of one moment: a bare yes never says that all is normal."""
    buoy = mara()
    buoy.says("ana", "for mara exh 9 stop # spat blood")
    buoy.later(minutes=1).says("mara", "yes", private=True)
    assert not any(isinstance(f, Well) for f in buoy.record("mara").facts)
    assert unwell_open(buoy.record("mara"), at=buoy.at)


def test_still_there_is_read_in_the_days_after() -> None:
    """`still there` next morning: hoarse for a day is a doctor's matter; without a row it is asked."""
    buoy = mara()
    buoy.says("mara", "share on", private=True)
    buoy.says("mara", "hoarse", private=True)
    answer = said_to(buoy.later(hours=25).says("mara", "still there", private=True), "mara")
    assert answer.startswith("See a doctor today")
    unkept = mara()
    unkept.says("mara", "hoarse", private=True)
    assert "1 of 4" in said_to(
        unkept.later(hours=20).says("mara", "still there", private=True), "mara"
    )


def test_the_morning_question_stays_where_somebody_else_raised_one() -> None:
    """A witnessed event takes no question away: the check after the session is asked all the same."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    buoy.later(minutes=2).says("mara", "exh 7 ok")
    buoy.later(minutes=5).says("ana", "mara is a bit hoarse")
    kinds = {d.kind for d in agenda(buoy.record("mara"), rules=RULES, at=buoy.at)}
    assert {DueKind.MORNING, DueKind.EVENING} <= kinds


@pytest.mark.parametrize("text", ["emergency 112", "emergency boat 3", "emergency mara 2 min"])
def test_a_number_leaves_a_cry_a_cry(text: str) -> None:
    """Whatever figure stands behind it."""
    assert said_to(mara().says("ana", text), "group").startswith(FIRST)


def after_a_dive(text: str) -> Buoy:
    """Mara has dived in the morning, and types something on the next one."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    buoy.later(minutes=2).says("mara", "exh 7 ok")
    buoy.later(hours=22).says("mara", text, private=True)
    return buoy


@pytest.mark.parametrize("text", ["no", "no my chest hurts", "no hoarse voice since last night"])
def test_a_typed_no_answers_the_mornings_check(text: str) -> None:
    """Whatever follows it: nobody is let in on a no that was read as nothing wrong."""
    record = after_a_dive(text).record("mara")
    at = datetime(2026, 5, 6, 6, tzinfo=UTC)
    assert unwell_open(record, at=at) or any(isinstance(f, Harm) for f in record.facts)
    assert not any(isinstance(f, Well) for f in record.facts)


@pytest.mark.parametrize("text", ["yes", "feel ok"])
def test_a_typed_yes_answers_the_mornings_check(text: str) -> None:
    """All normal: kept, and nothing is asked again."""
    buoy = after_a_dive(text)
    assert any(isinstance(f, Well) for f in buoy.record("mara").facts)
    assert not unwell_open(buoy.record("mara"), at=buoy.at)


def test_nobody_is_watched_by_somebody_for_whom_help_was_called() -> None:
    """Mara blacked out: Ilse, whose buddy she was, is asked for another one, once diving goes on."""
    buoy = mara().join("ilse", pb=32, goal=38)
    buoy.says("ilse", "fit buddy mara")
    assert "7 m" in buoy.says("ilse", "next")
    buoy.later(minutes=1).says("ana", "mara blacked out at the surface")
    buoy.later(hours=5).says("ilse", "fit buddy mara")
    assert "buddy" in said_to(buoy.says("ilse", "next"), "group")
    assert " m" not in said_to(buoy.says("ilse", "next"), "group")
    buoy.says("ilse", "buddy ana")
    assert "7 m" in buoy.says("ilse", "next")


def test_my_buddy_is_who_was_named_and_all_who_may_be_meant() -> None:
    """`my buddy is not breathing right`: the named buddy is asked; without one, whoever is watched."""
    buoy = mara().join("ilse", pb=32, goal=38)
    buoy.says("mara", "fit buddy ana")
    buoy.says("ilse", "fit buddy ana")
    said = buoy.later(minutes=1).says("ana", "my buddy blacked out")
    assert said_to(said, "mara")
    assert said_to(said, "ilse")
    one = mara().join("ilse", pb=32, goal=38)
    one.says("mara", "fit buddy ana")
    one.says("ana", "fit buddy ilse")
    said = one.later(minutes=1).says("ana", "my buddy blacked out")
    assert said_to(said, "ilse")
    assert not said_to(said, "mara")
