"""What has lasted, what has passed, and what a date can't clear: words of health as time goes on."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from bot.texts.help import help_file, of_another
from planner.agenda import DueKind, agenda
from planner.record import Cleared, Harm
from planner.rules import RULES
from tests.bot.talk.buoy import Buoy, mara, said_to


def kept() -> Buoy:
    """Mara, who keeps health check-ins."""
    buoy = mara()
    buoy.says("mara", "share on", private=True)
    return buoy


def rows(buoy: Buoy) -> list[str | None]:
    return [f.row for f in buoy.record("mara").facts if isinstance(f, Harm)]


# what has lasted


@pytest.mark.parametrize(
    ("first", "again", "hours", "row"),
    [
        ("feel ear pain", "feel ear still hurts", 51, "17-long"),
        ("feel ear pain", "my ear is muffled", 47, "17"),
        ("feel hoarse", "voice still not back", 27, "11-long"),
        ("feel hoarse", "feel hoarse", 23, "11"),
    ],
)
def test_a_report_that_has_lasted_is_a_doctors_matter(
    first: str, again: str, hours: float, row: str
) -> None:
    """An ear past two days and a voice past one: told in whatever words, it is a doctor today."""
    buoy = kept()
    buoy.says("mara", first, private=True)
    answer = said_to(buoy.later(hours=hours).says("mara", again, private=True), "mara")
    assert rows(buoy)[-1] == row
    assert answer.startswith("See a doctor today") is row.endswith("long")


def test_it_counts_from_the_first_report() -> None:
    """Told each day, it is two days old on the third; and it stays so when it is told once more."""
    buoy = kept()
    for _ in range(4):
        buoy.says("mara", "feel ear pain", private=True)
        buoy.later(hours=25)
    assert rows(buoy) == ["17", "17", "17-long", "17-long"]


def test_feeling_well_begins_anew() -> None:
    """Between two colds of the voice all was well: the second is a day old at most."""
    buoy = kept()
    buoy.says("mara", "feel hoarse", private=True)
    buoy.later(hours=20).says("mara", "feel ok", private=True)
    buoy.later(hours=20).says("mara", "feel hoarse", private=True)
    assert rows(buoy) == ["11", "11"]


def test_exhale_dives_begin_anew() -> None:
    """After another session it may be of that session."""
    buoy = kept()
    buoy.says("mara", "feel hoarse", private=True)
    buoy.later(hours=20).says("mara", "exh 5 ok")
    buoy.later(hours=20).says("mara", "feel hoarse", private=True)
    assert rows(buoy) == ["11", "11"]


def test_none_of_these_after_a_call_is_no_feeling_well() -> None:
    """The answer to somebody's call for help leaves a hoarse voice as old as it is."""
    buoy = kept()
    buoy.says("mara", "feel hoarse", private=True)
    buoy.later(hours=20).says("ana", "mara blacked out")
    buoy.presses("mara", "none of these", private=True)
    buoy.later(hours=20).says("mara", "feel hoarse", private=True)
    assert rows(buoy)[-1] == "11-long"


def test_without_the_row_nobody_knows_that_it_is_the_same() -> None:
    """Who keeps no health check-ins is told the same as at first."""
    buoy = mara()
    buoy.says("mara", "feel hoarse", private=True)
    answer = buoy.later(hours=30).says("mara", "feel hoarse", private=True)
    assert rows(buoy) == [None, None]
    assert "Your day is over" in said_to(answer, "mara")


# what has passed


def test_a_date_that_has_passed_is_said_no_more() -> None:
    """When the days are over and a doctor's word is owed, that alone is said to stand."""
    buoy = kept()
    buoy.says("mara", "feel coughed up blood", private=True)
    assert "No target before Sat 4 Jul." in said_to(buoy.says("mara", "next", private=True), "mara")
    buoy.later(hours=24 * 158)
    for text in ("feel ok", "next"):
        answer = said_to(buoy.says("mara", text, private=True), "mara")
        assert "No target until a clinician's word" in answer
        assert "before" not in answer


def test_no_moment_is_named_at_that_very_moment() -> None:
    """A lock without days ends as it is said; what is owed is the word."""
    buoy = Buoy(at=datetime(2026, 5, 5, 8, tzinfo=UTC)).join("mara", pb=32, goal=38)
    buoy.says("mara", "feel jellyfish sting, my lips are swelling", private=True)
    answer = said_to(buoy.later(hours=25).says("mara", "feel ok", private=True), "mara")
    assert "before" not in answer
    assert "No target until a clinician's word" in answer


# what a date can't clear


def test_a_date_before_the_last_symptom_clears_nothing() -> None:
    """It is kept as said, answered as what it is, and a later word stays owed."""
    buoy = kept()
    buoy.says("mara", "feel coughed up blood", private=True)
    answer = said_to(buoy.says("mara", "cleared 2026-05-01", private=True), "mara")
    assert answer.startswith("Fri 1 May lies before the last symptom")
    assert "a doctor cleared you for diving on" not in answer
    assert "cleared YYYY-MM-DD" in answer
    assert any(isinstance(f, Cleared) for f in buoy.facts)


def test_a_date_after_one_report_and_before_another_clears_not_both() -> None:
    """The later report asks for a word of its own."""
    buoy = kept()
    buoy.says("mara", "feel pink spit", private=True)
    buoy.later(hours=24 * 20).says("mara", "feel pink spit", private=True)
    answer = buoy.later(hours=1).says("mara", "cleared 2026-05-20", private=True)
    assert "lies before the last symptom" in answer
    answer = buoy.later(hours=24).says("mara", "cleared 2026-05-26", private=True)
    assert said_to(answer, "mara").startswith("Noted: you say a doctor cleared you")


# as a keeper reads it


def noor() -> Buoy:
    """Noor has no phone; Mara keeps her log."""
    return mara().keep("noor", keeper="mara", pb=32, goal=38)


_YOU = re.compile(r"(?<!by )\byour?\b(?! say| local emergency)", re.IGNORECASE)
"""Whoever is spoken to; what a keeper says, and by whose word it is, is the keeper's."""


@pytest.mark.parametrize(
    "told",
    [
        ["noor had pink spit", "for noor feel ok"],
        ["noor coughed up blood", "for noor feel ok"],
        ["noor coughed up blood", "for noor cleared 2026-05-01"],
        ["noor coughed up blood", "for noor cleared 2026-05-05"],
        ["for noor feel gloopy", "for noor next"],
        ["noor blacked out", "for noor next"],
        ["for noor feel ok"],
        ["noor is hoarse"],
        ["noor has contractions at depth"],
        ["for noor not fit", "for noor next"],
        ["for noor watching today", "for noor next"],
    ],
)
def test_a_keeper_reads_of_another_person(told: list[str]) -> None:
    """What a keeper reads of how a diver is speaks to the keeper of her, never as if they were one."""
    buoy = noor()
    for text in told:
        answer = buoy.later(minutes=1).says("mara", text, private=True)
    assert said_to(answer, "mara")
    assert _YOU.findall(said_to(answer, "mara")) == []


def test_none_of_these_said_by_a_keeper_is_about_the_diver() -> None:
    """Who watched is to be asked, by the keeper."""
    buoy = noor()
    buoy.says("ana", "noor had a samba")
    answer = said_to(buoy.presses("mara", "none of these", private=True), "mara")
    assert answer.startswith("noor: Noted: none of these.")
    assert "ask who watched." in answer
    assert _YOU.findall(answer) == []


def test_every_form_for_a_keeper_asks_for_nothing_that_its_line_lacks() -> None:
    """A line and its form for a keeper have the same places to fill, but for the diver's name."""
    lines = help_file().lines
    pairs = [(k.removesuffix("_for"), k) for k in lines if k.removesuffix("_for") in lines]
    pairs = [(key, of) for key, of in pairs if key != of]
    assert len(pairs) > 10
    for key, of in pairs:
        places = [set(re.findall(r"{(\w+)}", lines[x])) - {"name"} for x in (key, of)]
        assert places[0] == places[1], key


def test_what_a_keeper_reads_of_a_help_text_stands_in_one() -> None:
    """Each line that a keeper reads otherwise is, to the letter, a line of a text of help."""
    lines = {line for text in help_file().texts.values() for line in text.text.split("\n")}
    assert len(help_file().kept) > 2
    assert set(help_file().kept) <= lines


def test_a_line_keeps_what_was_filled_into_it() -> None:
    """What to type is typed for the diver in either form."""
    line = "No target until you feel well again: then say `for noor feel ok` here, and the days count from then."
    assert "`for noor feel ok`" in of_another(line)
    assert "you" not in of_another(line)
    assert of_another("No target before Sat 4 Jul.") == "No target before Sat 4 Jul."


@pytest.mark.parametrize("words", ["noor had pink spit", "noor coughed up blood"])
def test_the_morning_after_a_keeper_is_asked_about_the_diver(words: str) -> None:
    """Whether a doctor has seen her, not the keeper."""
    buoy = noor()
    buoy.says("mara", words, private=True)
    dues = agenda(buoy.record("noor"), rules=RULES, at=buoy.at)
    (due,) = (d for d in dues if d.kind is DueKind.FOLLOW_UP)
    buoy.later(hours=24)
    answer = said_to(buoy.falls_due(due), "mara")
    assert answer.startswith("noor, the morning after. Seen ")
    assert "`for noor cleared YYYY-MM-DD`" in answer
    assert _YOU.findall(answer) == []
