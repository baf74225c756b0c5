"""The fixed texts of help: what each must say, in which order, and how short."""

from __future__ import annotations

import re

import pytest

from bot.texts.help import help_file, help_text
from planner.harm import LEVELS, harm_table
from storage.outcome import Site

SITE = Site(emergency_number="112", oxygen="in the van", meeting_point="slipway")

# What each text has to say, worked out apart from the texts. CP and H as marked in harm.toml.
NEEDS = {
    "breathing-or-blood": (
        "your local emergency number", "everyone out", "no swimming back", "however breathing is easiest",
        "oxygen, if someone is trained", "never alone", "nothing to eat or drink", "don't drive",
        "rescue breaths and cpr as trained", "breath-hold dive, depth, time, symptoms", "can't assess you",
        "say where you are", "hospital all the same",
    ),
    "unconscious": (
        "your local emergency number", "mask off", "mouth and nose out of the water", "tow in",
        "get them out", "rescue breaths and cpr as trained", "aed", "oxygen", "on the side", "hospital",
        "awake again", "say where you are",
    ),
    "unconscious-self": (
        "your local emergency number", "stay out of the water", "somebody beside you", "hospital now",
        "even if all feels fine", "on the side", "rescue breaths and cpr as trained",
    ),
    "missing": (
        "your local emergency number", "diver not up", "time and place", "eyes on the place", "mask off",
        "rescue breaths and cpr as trained", "on the side", "hospital, even when awake again",
    ),
    "neurological": (
        "your local emergency number", "lie flat", "oxygen, if someone is trained", "note the time",
        "hospital, even if it has gone", "nothing to eat or drink", "never alone",
    ),
    "doctor-today": (
        "diving is over", "doctor today", "breath-hold diving injury", "diving-medicine advice",
        "no hard exercise", "no flying", "gets worse", "call your local emergency number",
    ),
    "doctor-today-ear": ("doctor today", "no equalising", "no flying", "ear specialist", "gets worse"),
    "doctor-today-dry": ("doctor today", "keep the ear dry", "no flying", "gets worse"),
    "day-over": (
        "day is over", "rest", "warm", "don't be alone", "blood, hard to breathe, chest pain",
        "tomorrow: tell me here", "no target until you are clear",
    ),
    "practice-over": ("practice is over", "24 hours", "no new depth next time"),
    "emergency": (
        "your local emergency number", "swimming back", "won't wake", "mask off",
        "mouth and nose out of the water", "rescue breaths and cpr as trained", "aed",
        "on the side", "however breathing is easiest", "lie flat", "note the time", "hospital",
        "diver not up", "breath-hold dive, depth, time, symptoms",
    ),
}  # fmt: skip


@pytest.mark.parametrize("key", NEEDS)
def test_each_text_says_all_that_the_safety_page_asks(key: str) -> None:
    """Call, out, position, oxygen, not alone, what to tell: nothing of it is missing."""
    shown = help_text(key, Site()).lower()
    assert [words for words in NEEDS[key] if words not in shown] == []


def test_every_text_is_asked_of() -> None:
    """No text of the file stands outside the table of what it must say, but the short ones of a long."""
    long = {k.removesuffix("-short") for k in help_file().texts}
    assert long == set(NEEDS)


ACT = r"(call|see|your day is over|exhale practice is over)"


@pytest.mark.parametrize("key", list(help_file().texts))
def test_the_first_line_says_what_to_do_and_the_second_goes_on(key: str) -> None:
    """Five seconds: the first line begins with the act and is read at a glance, and so is the second."""
    first, second, *_ = help_text(key, Site()).splitlines()
    assert re.match(ACT, first.lower()), first
    assert len(first.split()) <= 17, first
    assert len(second.split()) <= 30, second
    # no line is longer than a screen shows at a look
    assert all(len(line.split()) <= 30 for line in help_text(key, Site()).splitlines())


@pytest.mark.parametrize("site", [Site(), SITE])
def test_a_site_changes_no_line_but_its_own(site: Site) -> None:
    """Its number stands in the emergency line, its places in lines of their own, nothing is preset."""
    for key, text in help_file().texts.items():
        shown = help_text(key, site)
        assert ("112" in shown) == (site is SITE and "{number}" in text.text)
        assert ("Oxygen here: in the van." in shown) == (site is SITE and "{site}" in text.text)
        assert ("Meet the responders at: slipway." in shown) == (
            site is SITE and "{site}" in text.text
        )
        if text.level == "call-now":
            assert "{number}" in text.text.splitlines()[0], key
            assert "{site}" in text.text, key


@pytest.mark.parametrize("key", ["unconscious", "unconscious-short"])
def test_the_text_for_the_unconscious_says_what_can_not_wait_first(key: str) -> None:
    """Call, out of the water, breath; who is awake again is found by capitals, and goes to hospital."""
    shown = help_text(key, Site())
    assert "emergency number" in shown.splitlines()[0]
    marks = [shown.index(m) for m in ("IN THE WATER", "NOT BREATHING", "BREATHING:", "AWAKE AGAIN")]
    assert marks == sorted(marks)
    assert "ospital now, even if all feels fine" in shown[marks[-1] :]


@pytest.mark.parametrize("key", list(help_file().texts))
def test_nobody_is_told_to_resuscitate_who_only_breathes_badly(key: str) -> None:
    """Rescue breaths and CPR stand behind no breath or gasps, in the same line, never behind bad breath."""
    lines = help_text(key, Site()).splitlines()
    for n, line in enumerate(lines):
        if "CPR" in line:
            before = line.partition("CPR")[0]
            assert re.search(r"not breathing, or only gasps", before, re.IGNORECASE), line
            assert "normal" not in line.lower(), line
            assert n, key


def test_a_milder_text_names_no_other_level() -> None:
    """Day over and practice over send nobody to a doctor or hospital, and doctor today calls nobody now."""
    for key, text in help_file().texts.items():
        shown = help_text(key, Site()).lower()
        if LEVELS.index(text.level) >= LEVELS.index("day-over"):
            assert not re.search("doctor|hospital", shown), key
        if text.level != "call-now":
            assert "number now" not in shown, key
            # the emergency number stands only behind a condition
            for line in shown.splitlines():
                assert not line.startswith("call"), key


def test_every_row_reads_its_own_kind_of_text() -> None:
    """Breath, blood, chest, neck and sting sit up; awareness is unconscious; nerves lie flat; ears have theirs."""
    texts = {key: row.text for key, row in harm_table().rows.items()}
    call_now = {k: t for k, t in texts.items() if harm_table().rows[k].level == "call-now"}
    assert call_now == {
        "1": "unconscious", "1-missing": "missing", "2": "unconscious", "3-now": "unconscious", "4": "breathing-or-blood",
        "5": "breathing-or-blood", "7": "breathing-or-blood", "10": "breathing-or-blood",
        "12": "neurological", "22-now": "breathing-or-blood", "24": "breathing-or-blood",
    }  # fmt: skip
    assert {k for k, t in texts.items() if t == "doctor-today-ear"} == {"14", "17-long"}
    assert {k for k, t in texts.items() if t == "doctor-today-dry"} == {"16"}
