"""Lines that deny being fit, in whatever words: read as `not fit`, of whom they are said."""

from __future__ import annotations

import pytest

from bot.shorthand import says_not_fit, words
from planner.record import Fit
from tests.bot.talk.buoy import mara, said_to

DENIED = [
    "not fit?", "nott fit", "nof fit", "nto fit", "not fir", "not really fit", "not feeling fit",
    "dont feel fit", "don’t feel fit", "dotn feel fit", "i am not feeling fit", "not feeling very fit",
    "fit? no", "fit - not really", "fit? dont think so", "fit no", "no fit", "sorry, not fit today",
    "not 100% fit", "not sure i'm fit", "I don't think I'm fit", "hardly fit", "im unfit today", "notfit",
    "not fit # slept badly", "i do not feel fit",
]  # fmt: skip
TALK = [
    "the suit does not fit", "fins dont fit", "does this not fit the van", "wont fit in the van",
    "not a good fit", "it does not fit", "not for me", "not it", "not a bit", "not far", "got fit",
    "fit, not tired", "never felt so fit", "who is not fit?", "not sure i fit in that suit",
    "no i'm fit", "no doubt i'm fit", "feel fit", "fit", "fit buddy ana", "fit no buddy", "now fit",
    "i want to be fit", "nothing fits", "9 ok not deep",
]  # fmt: skip


@pytest.mark.parametrize("said", DENIED)
def test_a_line_that_denies_it_is_the_command(said: str) -> None:
    """In any words, with a slip or a question mark: the line says not fit."""
    assert says_not_fit(said, words())


@pytest.mark.parametrize("said", TALK)
def test_suits_and_other_talk_deny_nothing(said: str) -> None:
    """A suit that does not fit, a good fit and a yes are no denial."""
    assert not says_not_fit(said, words())


@pytest.mark.parametrize("said", ["not fit?", "nott fit", "not fir", "not really fit", "fit? no"])
def test_it_takes_an_earlier_yes_back(said: str) -> None:
    """No target follows on that day, and the diver is told why, without the question once more."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    assert said_to(buoy.later(minutes=1).says("mara", said), "group") == "mara: no target today."
    told = buoy.later(minutes=1).says("mara", "next")
    assert said_to(told, "group") == "mara: no target today."
    assert said_to(told, "mara").endswith("You said not today. That holds for today.")


def test_a_keeper_says_it_of_whom_they_keep() -> None:
    """`noor is not fit` by her keeper is `for noor not fit`."""
    buoy = mara().keep("noor", keeper="mara", pb=30, goal=36)
    buoy.says("mara", "for noor fit buddy ana")
    assert (
        said_to(buoy.later(minutes=1).says("mara", "noor is not fit"), "group")
        == "noor: no target today."
    )
    last = buoy.record("noor").latest(Fit)
    assert last is not None
    assert not last.ok


def test_of_somebody_else_it_is_talk() -> None:
    """Whoever may not say it for Mara gets no answer, and nothing is kept."""
    buoy = mara()
    assert buoy.says("ana", "mara is not really fit") == ""
    assert not any(isinstance(f, Fit) for f in buoy.facts)
