"""Harm about members whose names are not only letters: the roster makes such names itself."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from telegram import User

from bot.shorthand.harm_lexicon import harm_words
from bot.shorthand.harm_reading import read_harm
from bot.transport.update import name_of
from planner.record import Dive, Unwell, Well
from tests.bot.talk.buoy import Buoy, mara

NAMES = ["ana2", "Anne-Marie", "O'Neil", "diver123", "j.p", "x_y", "Weiß", "İlker"]


def buoy_with(name: str) -> Buoy:
    return mara().join(name)


def worried_about(buoy: Buoy) -> list[str]:
    return [f.diver for f in buoy.facts if isinstance(f, Unwell)]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("said", ["{} blacked out", "{}'s coughing blood", "{} can't breathe!"])
def test_a_call_is_about_whom_it_names(name: str, said: str) -> None:
    """Whatever a name is written with, a call about its diver raises the question to nobody else."""
    buoy = buoy_with(name)
    buoy.says("mara", said.format(name.lower() if name.isascii() else name))
    assert worried_about(buoy) == [name]


@pytest.mark.parametrize("name", NAMES)
def test_what_is_only_like_a_call_is_about_whom_it_names(name: str) -> None:
    """The second reader asks the same diver as the rules would."""
    buoy = buoy_with(name)
    buoy.says("mara", f"has {name} been picked up by you guys? not on ours, not in the water")
    assert worried_about(buoy) == [name]


@pytest.mark.parametrize("name", NAMES)
def test_a_name_within_another_is_not_that_one(name: str) -> None:
    """Ana is not meant where `ana2` stands, nor the other way round."""
    buoy = buoy_with(name)
    buoy.says("mara", "ana blacked out")
    assert worried_about(buoy) == ["ana"]


@given(st.text(alphabet=st.characters(categories=["L", "Nd", "Pd"]), min_size=1, max_size=12))
def test_any_name_that_a_roster_gives_is_read(first_name: str) -> None:
    """Letters of any script, figures and dashes: who blacked out is who is named."""
    name = name_of(User(id=7, first_name=first_name, is_bot=False))
    words = harm_words()
    if words.is_ordinary(name.casefold()) or words.is_listed(name.casefold()):
        return
    found = read_harm(f"{name} blacked out at the surface", words, names=[name, "ana"]).found
    assert {(f.row, f.subject) for f in found} == {("2", name.casefold())}


def test_scared_beside_a_feeling_hides_it_not() -> None:
    """`scared` on land is no report, and what follows `feel` is asked about all the same."""
    alone, beside = mara(), mara()
    alone.says("mara", "feel gloopy", private=True)
    beside.says("mara", "scared\nfeel gloopy", private=True)
    assert worried_about(alone) == worried_about(beside) == ["mara"]


@pytest.mark.parametrize("broken", ["\u2028", "\r", "\r\n", "\x0b", "\x0c", "\x85"])
def test_however_lines_are_broken_no_dive_is_lost(broken: str) -> None:
    """A report behind a line of feeling is kept, whatever the messenger breaks lines with."""
    buoy = mara()
    buoy.says("mara", f"hello{broken}feel fine{broken}frc 6 ok", private=True)
    assert [d.depth_m for d in buoy.facts if isinstance(d, Dive)] == [6]
    assert any(isinstance(f, Well) for f in buoy.facts)
