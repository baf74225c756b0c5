"""The full-lung step: its brief, its refusals, and what a full-lung dive leaves for the next one."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.texts.render import say
from planner.agenda import agenda
from planner.full import TURNS
from planner.record import Exercise, Harm, Origin, Reason
from planner.rules import RULES
from tests.bot.talk.buoy import GROUP, Buoy, said_to


def supported(*, goal: float = 42) -> Buoy:
    """Mara, PB 32, with FRC 17.5 m held from before: 35 m on full lungs is supported."""
    buoy = Buoy().join("mara", pb=32, goal=goal).join("ana")
    buoy.says("mara", "base frc 22 2026-05", private=True)
    return buoy


def briefed() -> Buoy:
    """The full-lung line of 34 m was told in the group."""
    buoy = supported()
    buoy.says("mara", "fit buddy ana")
    buoy.says("mara", "next full")
    return buoy.later(minutes=10)


def next_day(buoy: Buoy) -> Buoy:
    """The next morning: everything normal, fit, a buddy."""
    buoy.later(hours=24).says("mara", "feel ok", private=True)
    buoy.says("mara", "fit buddy ana")
    return buoy


def test_the_brief_has_line_fill_turn_and_days():
    """Four lines in the group: line and fill window, once and what turns, who watches, own day."""
    buoy = supported()
    buoy.says("mara", "fit buddy ana")
    answer = buoy.says("mara", "next full")
    group = said_to(answer, "group").splitlines()
    assert len(group) == 5  # with the buttons
    # shallow end: p(34) p(6.5) / p(17.5) = 2.66 bar, 16.4 m, up to 16.5 (fill 6.5: her latest by FRC)
    assert group[0] == "mara · full lungs 34 m · fill 16.5–20.5 m · line 34 m"
    assert "throat stays shut" in group[1]
    assert group[2].startswith("ana watches")
    assert "no exhale dives beside it" in group[3]
    assert "two days before the next step" in group[3]
    assert group[4] == "[34 ok] [34 hard] [stop…] [done]"
    assert "speaks for 35 m on full lungs; the rule binds" in said_to(answer, "mara")


def test_whatever_turns_the_dive_is_named():
    """Each reason that the planner says turns a full-lung dive stands in the brief, in a word."""
    words = {
        Reason.STERNUM: "breastbone",
        Reason.CHEST: "chest",
        Reason.THROAT: "throat",
        Reason.EARS: "ears",
        Reason.EMPTY: "empty",
        Reason.URGE: "urge",
    }
    text = say("full.once").partition("Turn")[2]
    assert [reason for reason in TURNS if words[reason] not in text] == []


def test_the_brief_is_a_fact_that_a_bare_report_resolves_to():
    """`34 ok` after it is a full-lung dive, and so is the button."""
    buoy = briefed()
    brief = buoy.brief("mara")
    assert brief is not None
    assert (brief.exercise, brief.depth_m) == (Exercise.FULL, 34.0)
    assert (brief.fill_low_m, brief.fill_high_m) == (16.5, 20.5)
    buoy.says("mara", "34 ok")
    assert buoy.dives("mara") == ["full 34 clean"]
    pressed = briefed()
    pressed.presses("mara", "34 ok")
    assert pressed.dives("mara") == ["full 34 clean"]


def test_a_clean_step_is_counted_on_two_days():
    """The echo, the first of two days, and no exhale dive beside it; then the second day."""
    buoy = briefed()
    group = said_to(buoy.says("mara", "full 34 ok mf18"), "group").splitlines()
    assert group[0] == "mara · full 34 m · clean · fill 18 m"
    assert "34 m is clean on 1 of the 2 days" in group[1]
    assert "exhale days stand alone" in group[2]
    next_day(buoy)
    again = buoy.says("mara", "next full")
    assert "full lungs 34 m" in again
    assert "Clean on 1 of 2 days before the next step." in again
    assert "34 m is clean on 2 of the 2 days" in buoy.later(minutes=9).says("mara", "34 ok")


def test_a_mouth_that_ran_out_goes_back_and_shows_the_loss():
    """Back to where it ran out, clean on two days, with the share lost; and no deeper line follows."""
    buoy = briefed()
    answer = buoy.says("mara", "31 of 34 empty mf18")
    group = said_to(answer, "group").splitlines()
    assert group[0] == "mara · full 31 m of 34 m · stop, empty · fill 18 m"
    assert "back to 31 m, clean on two days" in group[1]
    assert "How much of the mouthful was lost can't be told from published volumes" in group[1]
    next_day(buoy)
    again = buoy.says("mara", "next full")
    assert "full lungs 31 m" in again
    assert "How much of the mouthful was lost can't be told" in said_to(again, "mara")


def test_the_loss_is_told_by_the_divers_own_dives():
    """After clean dives to 34 m, running out at 27 with the same fill is a share with its band."""
    buoy = briefed()
    buoy.says("mara", "34 ok mf18")
    buoy.later(minutes=12).says("mara", "full 34 ok mf18")
    next_day(buoy)
    buoy.says("mara", "next full")
    answer = said_to(buoy.later(minutes=9).says("mara", "27 of 34 empty mf18"), "group")
    said = re.search(r"About (\d+) % of the mouthful was lost on the way \((\d+)–(\d+) %\)", answer)
    assert said is not None, answer
    about, low, high = map(int, said.groups())
    assert 44 < low < about < high < 100
    assert "against what your own full-lung dives gave before" in answer


def test_pressure_on_full_lungs_limits_both():
    """At most 80 % of the turn, rounded down, and where the next exhale day opens."""
    group = said_to(briefed().says("mara", "full 31 of 34 stop chest mf18"), "group")
    # 0.8 x 31 = 24.8
    assert "24.5 m at most next" in group
    assert "opens at 80 % of what is held" in group


def test_a_stop_alone_ends_the_full_lung_dive():
    """`stop throat` is about the line that was told; its depth is asked, near the line."""
    buoy = briefed()
    answer = buoy.says("mara", "stop throat")
    assert buoy.dives("mara") == ["full ? stop throat"]
    assert "[33 m]" in answer
    buoy.says("mara", "30")
    assert buoy.dives("mara") == ["full 30 stop throat"]


def test_another_fault_ends_the_day_for_full_lungs():
    """After a leak the last clean depth comes first; asked again today, it is named."""
    buoy = briefed()
    assert "back to 32 m" in buoy.says("mara", "full 30 of 34 leak mf18")
    assert "a troubled full-lung dive" in said_to(
        buoy.later(minutes=20).says("mara", "next full"), "group"
    )


def test_an_exhale_day_bars_it_and_says_so():
    """What the group saw is named."""
    buoy = supported()
    buoy.says("mara", "fit buddy ana")
    buoy.says("mara", "exh 14 ok")
    answer = buoy.later(minutes=9).says("mara", "next full")
    assert "exhale dives were made" in said_to(answer, "group")


def test_what_is_not_supported_is_said_in_private():
    """The group reads one neutral line; the figures come in private."""
    buoy = Buoy().join("mara", pb=32, goal=42).join("ana")
    buoy.says("mara", "base frc 18 2026-05", private=True)
    buoy.says("mara", "fit buddy ana")
    answer = buoy.says("mara", "next full")
    assert said_to(answer, "group") == "mara: no target today on full lungs."
    assert "FRC 14 m is held, and speaks for 28 m" in said_to(answer, "mara")


def test_buddy_and_fitness_are_asked_first():
    """No buddy, no full-lung line."""
    answer = said_to(supported().says("mara", "next full"), "group")
    assert "who is your buddy" in answer
    assert "34 m" not in answer


def harmed(buoy: Buoy) -> Buoy:
    buoy.facts.append(
        Harm(
            diver="mara",
            happened_at=buoy.at,
            said_at=buoy.at,
            by="mara",
            origin=Origin(chat="p:mara", message=900),
            row="9",
            level="doctor-today",
            days=28,
            doctor=True,
        )
    )
    return buoy


@pytest.mark.parametrize("dives", [("exh 7 ok",), ("exh 7 ok", "exh 8 ok"), ()])
def test_a_lock_looks_like_rest_for_full_lungs_too(dives: tuple[str, ...]):
    """Asked for a full-lung line, a locked and a resting diver read the same in the group."""
    answers = []
    for lock in (False, True):
        buoy = Buoy().join("mara", pb=32, goal=42).join("ana")
        buoy.says("mara", "exh 7 ok")
        buoy.says("mara", "feel ok", private=True)
        buoy.at += timedelta(hours=25)
        if lock:
            harmed(buoy)
        for dive in dives:
            buoy.later(minutes=9).says("mara", dive)
        answers.append(said_to(buoy.later(minutes=9).says("mara", "next full"), "group"))
    assert answers[0] == answers[1] == "mara: no target today on full lungs."


def test_a_supported_step_is_offered_in_private():
    """`ready` says that a step is supported, and `next full` brings it."""
    answer = supported().says("mara", "ready", private=True)
    assert "A full-lung step is supported: 34 m" in answer


def test_nothing_is_offered_while_clean_days_are_owed():
    """After the first clean day the same line comes again: no step is offered."""
    buoy = briefed()
    buoy.says("mara", "34 ok")
    assert "step is supported" not in buoy.says("mara", "ready", private=True)


def test_undo_brings_the_line_back():
    """A full-lung dive taken back leaves the line that was told."""
    buoy = briefed()
    buoy.says("mara", "34 ok")
    assert "Next on full lungs: 34 m, fill 16.5–20.5 m." in buoy.later(minutes=1).says(
        "mara", "undo"
    )


def test_why_gives_the_full_lung_line_its_figures():
    """The caps of the line, its fill and what turns it, each with its mark."""
    answer = briefed().says("mara", "why", private=True)
    assert "full 34 m, told" in answer
    assert "at most 34 m: one full-lung step over what was clean [" in answer
    assert "at most 35 m: what the held exhale depth supports [" in answer
    assert "fill not above 16.5 m" in answer
    assert "common practice, no source" in answer


def test_a_reached_goal_asks_for_the_next():
    """Past the goal there is no further line; `ready` says whose choice the next one is."""
    buoy = supported(goal=34)
    buoy.says("mara", "fit buddy ana")
    buoy.says("mara", "next full")
    buoy.later(minutes=9).says("mara", "34 ok")
    next_day(buoy)
    assert "The goal is reached" in said_to(buoy.says("mara", "next full"), "mara")
    assert "39 m at most" in buoy.says("mara", "ready", private=True)


def test_the_debrief_of_a_full_lung_day_says_what_is_left():
    """The days so far stand in it."""
    buoy = briefed()
    buoy.says("mara", "34 ok")
    buoy.says("mara", "done")
    buoy.later(minutes=1)
    due = next(d for d in agenda(buoy.record("mara"), rules=RULES, at=buoy.at))
    answer = buoy.falls_due(due)
    assert "1 full dive: 1 clean" in answer
    assert "34 m is clean on 1 of the 2 days" in answer


def test_on_a_resting_day_the_step_is_offered_in_private():
    """After an exhale day, with a night between: the group reads the neutral line, the diver the offer."""
    buoy = supported()
    buoy.says("mara", "fit buddy ana")
    buoy.says("mara", "exh 14 ok")
    answer = next_day(buoy).says("mara", "next")
    assert said_to(answer, "group") == "mara: no target today."
    assert "A full-lung step is supported: 34 m" in said_to(answer, "mara")


@pytest.mark.parametrize(
    ("dive", "said"),
    [
        ("full 36 ok mf18", "Deeper than the line that was told, 34 m."),
        ("full 34.5 ok mf18", ""),
    ],
)
def test_deeper_than_the_line_is_said(dive: str, said: str):
    """Recorded all the same; within half a metre nothing is said."""
    answer = briefed().says("mara", dive)
    assert ("Deeper than the line" in answer) is bool(said)
    assert said in answer


def test_a_depth_without_a_line_is_called_that():
    """Past the PB without a line, a clean dive is counted, and that no line was told is said."""
    assert "No line was told for it." in supported().says("mara", "full 38 ok mf18")
    assert "No line" not in supported().says("mara", "full 30 ok mf18")
    assert "No line" not in briefed().says("mara", "full 34 ok mf18")


REPORTS = (
    "full 34 ok mf18", "full 31 of 34 empty mf18", "full 30 leak mf18", "full 30 stop chest mf18",
    "stop throat", "exh 14 ok", "exh 14 leak mf6", "shallow 8 ok", "dry 10 lock ok",
    "dry 8 count 7", "next", "fix 12", "task", "done", "20", "fit buddy ana",
    "full 38 ok mf20",
)  # fmt: skip


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.sampled_from(REPORTS), st.sampled_from((0.2, 5, 9, 25))), max_size=6))
def test_full_lungs_tell_nobody_a_lock_from_rest(said: list[tuple[str, float]]):
    """With a step supported, what a locked and a resting diver report reads the same in the group."""
    read = []
    for lock in (False, True):
        buoy = supported()
        buoy.says("mara", "fit buddy ana")
        buoy.says("mara", "exh 14 ok")
        buoy.later(hours=25).says("mara", "feel ok", private=True)
        if lock:
            harmed(buoy)
        told = len(buoy.told)
        for text, minutes in said:
            buoy.later(minutes=minutes).says("mara", text)
        read.append([(x.text, x.keys) for x in buoy.told[told:] if x.to == GROUP])
    assert read[0] == read[1]
