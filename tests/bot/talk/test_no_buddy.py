"""A buddy that was named is taken back, and whom a diver called for watches nobody of theirs."""

from __future__ import annotations

import pytest

from tests.bot.talk.buoy import mara, said_to

ASKED = "mara: who is your buddy? Say `buddy ana`. No buddy, no target."


@pytest.mark.parametrize(
    "said", ["no buddy", "No buddy today", "buddy nobody", "buddy none", "without buddy", "for me no buddy"]
)  # fmt: skip
def test_a_buddy_is_taken_back(said: str) -> None:
    """The buddy is asked for as before the first dive, and another one brings the target again."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    assert said_to(buoy.later(minutes=1).says("mara", said), "group") == ASKED
    assert said_to(buoy.later(minutes=1).says("mara", "next"), "group") == ASKED
    assert "teo watches" in said_to(buoy.later(minutes=1).says("mara", "buddy teo"), "group")


def test_a_dive_without_a_buddy_has_no_target_after_it() -> None:
    """The dive is recorded, and the buddy is asked for in place of the next target."""
    buoy = mara()
    buoy.says("mara", "fit buddy ana")
    buoy.later(minutes=1).says("mara", "no buddy")
    answer = said_to(buoy.later(minutes=2).says("mara", "exh 5 ok"), "group")
    assert "who is your buddy" in answer
    assert "Next:" not in answer


def test_whom_a_diver_called_for_in_private_does_not_watch_them() -> None:
    """No target with that buddy; the group reads the neutral line, the reason comes in private."""
    buoy = mara().join("ilse").join("kim", pb=30, goal=36)
    buoy.says("ilse", "mara blacked out", private=True)
    answer = buoy.later(minutes=5).says("ilse", "pb 30", private=True)
    buoy.says("ilse", "goal 36", private=True)
    answer = buoy.says("ilse", "fit buddy mara")
    assert said_to(answer, "group") == "ilse: no target today."
    assert "who watches nobody today" in said_to(answer, "ilse")
    assert "ilse · FRC" in said_to(buoy.says("ilse", "buddy ana"), "group")
    # nobody else notices
    assert "mara watches" in said_to(buoy.says("kim", "fit buddy mara"), "group")
