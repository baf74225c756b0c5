"""Who is spoken for, what is typed for them, and who can't be told in private."""

from __future__ import annotations

import pytest

from bot.talk.aside import typed_for
from bot.talk.turn import Scene
from planner.record import Buddy, Fit
from tests.bot.talk.buoy import Buoy, mara, ready, said_to


def _kept(**profile: float) -> Buoy:
    return mara().keep("noor", keeper="mara", **profile)


def test_a_keeper_reads_what_to_type_for_the_diver():
    """What is missing of Noor's is told with `for noor` before it, in the group and in private."""
    answer = _kept().says("mara", "for noor next")
    for line in ("`for noor pb 38`", "`for noor goal 45`", "`for noor buddy ana`"):
        assert line in said_to(answer, "mara")
    assert "`pb 38`" not in answer
    asked = _kept(pb=32, goal=38).says("mara", "for noor next")
    assert "`for noor buddy ana`" in said_to(asked, "group")
    assert "Else `for noor fit`" in said_to(asked, "group")


def test_ones_own_lines_stay_as_they_are():
    """Mara reads `buddy ana`, not `for mara buddy ana`."""
    assert "`buddy ana`" in mara().says("mara", "next")


def test_names_of_tasks_are_nothing_to_type():
    """`lock` and a single `shallow` are words, `help` and `zone` are about nobody."""
    buoy = _kept()
    scene = Scene(heard=None, room=buoy.room, records={}, at=buoy.at)  # type: ignore[arg-type]
    text = "`lock` and `shallow`: `help`, `zone Europe/Lisbon`, `for noor fit`."
    assert typed_for(scene, "noor", text) == text
    assert typed_for(scene, "noor", "`frc 12 ok`") == "`for noor frc 12 ok`"


@pytest.mark.parametrize("word", ["fit", "next", "Done", "emergency", "exh", "sternum", "buddy"])
def test_nobody_is_called_by_a_word_of_ours(word: str):
    """`add fit` would make `fit` unreadable: refused, and nobody is added."""
    buoy = mara()
    assert "Take another name" in buoy.says("mara", f"add {word}")
    assert set(buoy.members) == {"mara", "ana"}


def test_a_name_before_a_command_is_for_them():
    """`noor fit buddy mara`, `noor not fit`, `noor: done`, by her keeper."""
    buoy = _kept(pb=32, goal=38)
    assert "noor · FRC 7 m" in buoy.says("mara", "noor fit buddy mara")
    buoy.says("mara", "noor exh 7 ok")
    assert "noor: done" in buoy.says("mara", "noor: done")
    assert "noor: no target today." in buoy.says("mara", "noor not fit")
    assert [f.ok for f in buoy.record("noor").of(Fit)] == [True, False]


@pytest.mark.parametrize("line", ["noor not fit", "noor: done", "noor fit buddy mara"])
def test_who_may_not_speak_for_somebody_is_told(line: str):
    """Ana keeps no log of Noor's: a clear answer, and nothing is written."""
    buoy = _kept(pb=32, goal=38)
    before = list(buoy.facts)
    assert "Only noor, or who keeps their log" in buoy.says("ana", line)
    assert buoy.facts == before


def test_a_buddy_under_a_lock_or_watching_is_fine():
    """Ana's own state is nobody's business when she watches: the brief is the same."""
    plain = mara().says("mara", "fit buddy ana")
    watching = mara()
    watching.says("ana", "watching today")
    assert watching.says("mara", "fit buddy ana") == plain
    hurt = mara()
    hurt.says("ana", "feel pink spit", private=True)
    assert "no target" in hurt.says("ana", "next")
    assert hurt.says("mara", "fit buddy ana") == plain


def test_whoever_cant_be_told_why_is_asked_to_write_in_private():
    """The same bytes for somebody new, hurt, dry or at rest, while no private chat is open."""
    lines = set()
    for before in ((), ("not fit",), ("watching today",), ("coughed blood",)):
        buoy = mara().reachable("mara", dm=False)
        for line in before:
            buoy.says("mara", line)
        if not before:
            buoy.says("mara", "exh 12 ok")
            buoy.later(hours=20)
        lines.add(said_to(buoy.says("mara", "next"), "group"))
    new = Buoy().join("mara", dm=False)
    lines.add(said_to(new.says("mara", "next"), "group"))
    assert lines == {"mara: no target today. Write to me in private."}


def test_the_time_of_a_late_report_is_shown():
    """`09:40` said at 08:30 was yesterday, and the answer says so; `fix 08:20` shows its time."""
    buoy = ready()
    assert "mara · FRC 12 m · clean · Mon 4 May 09:40 · dive 1 of 5" in buoy.says(
        "mara", "exh 12 ok 09:40"
    )
    buoy = ready()
    assert "clean · 08:25 · dive 1" in buoy.says("mara", "exh 7 ok 08:25")
    assert "clean · 08:20 · dive 1" in buoy.says("mara", "fix 08:20")
    assert "clean · dive 2" in buoy.later(minutes=9).says("mara", "exh 7 ok")


def test_undo_takes_back_what_the_last_message_reported():
    """`2x7 ok` is one message: `undo` strikes both; the next one strikes the message before."""
    buoy = ready()
    buoy.says("mara", "exh 6 ok")
    buoy.later(minutes=9).says("mara", "2x7 ok")
    answer = buoy.later(minutes=1).says("mara", "undo")
    assert answer.count("FRC 7 m · clean") == 2
    assert buoy.dives("mara") == ["frc 6 clean"]
    buoy.says("mara", "undo")
    assert buoy.dives("mara") == []


def test_an_edit_says_what_is_no_longer_counted():
    """Three lines become one: the two that are gone are named; a mended one is not."""
    buoy = ready()
    buoy.says("mara", "exh 6 ok\nexh 7 ok\nexh 7 hard")
    answer = buoy.edits("mara", "exh 7 ok")
    assert "No longer counted: mara · FRC 6 m · clean; mara · FRC 7 m · hard." in answer
    assert buoy.dives("mara") == ["frc 7 clean"]
    assert "No longer counted" not in buoy.edits("mara", "exh 7 hard")
    assert buoy.dives("mara") == ["frc 7 hard"]


@pytest.mark.parametrize("line", ["site lava", "fix banana", "allow nobody", "zone"])
def test_an_argument_that_fits_nothing_gets_one_line(line: str):
    """Said what can't be read and how it goes; nothing is written."""
    buoy = ready()
    before = list(buoy.facts)
    answer = buoy.says("mara", line)
    assert f"I can't read “{line}”" in answer
    assert len(answer.splitlines()) == 1
    assert buoy.facts == before


def test_undo_leaves_what_somebody_else_said_of_themselves():
    """Ana reports her dive and Mara's in one message; Mara's `undo` takes back only her own."""
    buoy = ready().grants("mara", to="ana").profile("ana", pb=32, goal=38)
    buoy.says("ana", "exh 6 ok\nfor mara exh 7 ok")
    buoy.later(minutes=2).says("mara", "undo")
    assert buoy.dives("mara") == []
    assert buoy.dives("ana") == ["frc 6 clean"]


def test_a_name_before_emergency_brings_the_help_text():
    """`noor emergency` and `for kim emergency`, by anyone, about anyone."""
    assert "emergency number" in _kept().says("ana", "noor emergency")
    assert "emergency number" in _kept().says("ana", "for kim emergency")


def test_no_word_of_ours_is_taken_for_a_buddy():
    """`buddy next` and `fit buddy done` name nobody: asked, and no buddy is kept."""
    for line in ("buddy next", "fit buddy done"):
        buoy = mara()
        assert buoy.says("mara", line) != ""
        assert buoy.record("mara").latest(Buddy) is None


def test_undo_of_two_divers_names_whose_target_is_whose():
    """One message about Mara and Noor, taken back as one: a line for each, with the name."""
    buoy = _kept(pb=32, goal=38)
    buoy.says("mara", "fit buddy ana")
    buoy.says("mara", "for noor fit buddy mara")
    buoy.says("mara", "exh 7 ok\nfor noor exh 7 ok")
    answer = buoy.later(minutes=1).says("mara", "undo")
    assert "mara · Next: 7 m" in answer
    assert "noor · Next: 7 m" in answer
    assert buoy.dives("noor") == buoy.dives("mara") == []


def test_a_stated_time_is_shown_when_a_report_is_let_in():
    """What Ana reported of 08:10 still says so after Mara's yes."""
    buoy = ready()
    assert "08:10" in buoy.says("ana", "for mara exh 7 ok 08:10")
    assert "FRC 7 m · clean · 08:10 · dive 1 of 5" in buoy.says("mara", "yes", private=True)
