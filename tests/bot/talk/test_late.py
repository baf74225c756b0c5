"""Messages that were under way for hours, and a PB that a dive raises."""

from __future__ import annotations

from datetime import timedelta

import pytest

from planner.record import Fit
from tests.bot.talk.buoy import Buoy, ready, said_to


def _back_after_fourteen_hours() -> Buoy:
    return ready().later(hours=14)


def _late(buoy: Buoy, text: str) -> str:
    return buoy.says("mara", text, sent_at=buoy.at - timedelta(hours=13, minutes=50))


@pytest.mark.parametrize("line", ["fit w ana", "fit", "buddy ana", "next", "exh 7 ok", "not fit"])
def test_a_message_of_an_earlier_session_brings_no_question(line: str):
    """Fourteen hours later it is kept and answered in one line, with no question and no target."""
    answer = _late(_back_after_fourteen_hours(), line)
    assert len(answer.splitlines()) == 1
    assert "?" not in answer
    assert "Next:" not in answer


def test_what_came_late_is_kept_as_it_was_said():
    """The dive and the yes stand at the time when they were said."""
    buoy = _back_after_fourteen_hours()
    _late(buoy, "fit w ana")
    _late(buoy, "exh 7 hard")
    (dive,) = buoy.record("mara").dives
    said_at = buoy.at - timedelta(hours=13, minutes=50)
    assert dive.happened_at == said_at
    assert buoy.record("mara").latest(Fit).happened_at == said_at  # type: ignore[union-attr]


def test_what_came_late_and_in_doubt_is_asked_with_buttons_that_work():
    """A stop's reason and a slip are asked about when they come, and answered then."""
    buoy = _back_after_fourteen_hours()
    _late(buoy, "exh 7 okk")
    buoy.presses("mara", "exh 7 ok")
    _late(buoy, "exh 6 stop")
    buoy.presses("mara", "ears")
    assert sorted(buoy.dives("mara")) == ["frc 6 stop ears", "frc 7 clean"]


def test_a_late_report_still_changes_the_target_that_stands():
    """Where a target was told since, a stop told late is answered with what holds now."""
    buoy = _back_after_fourteen_hours()
    assert "FRC 7 m" in buoy.says("mara", "fit buddy ana")
    answer = _late(buoy, "exh 6 stop throat")
    assert "mara: no target today." in said_to(answer, "group")
    assert "Rest: exhale dives again" in said_to(answer, "mara")


def test_a_pb_that_a_dive_raises_is_said_with_what_changes():
    """51 m with a fill: the new PB, and that the practice is RV from 50 m on; 40 m says nothing."""
    buoy = ready()
    answer = said_to(buoy.says("mara", "full 51 ok fill 22"), "group")
    assert "PB 51 m. From a PB of 50 m the practice is RV dives" in answer
    assert "PB" not in said_to(buoy.later(hours=30).says("mara", "full 40 ok fill 20"), "group")


def test_a_pb_below_the_change_names_no_exercise():
    """34 m after 32 m is a new PB, and the practice stays FRC."""
    answer = said_to(ready().says("mara", "full 34 ok fill 15"), "group")
    assert "PB 34 m." in answer
    assert "RV" not in answer
