"""Every figure of `[people]` in rules.toml is held by a check: off by its step, what comes out changes.

A figure that has no scenario here, or whose scenario doesn't notice, fails.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from bot.talk.age import is_under_age
from bot.talk.coach import until_at
from planner.rules import RULES, Rules
from tests.planner.test_loosened import loosened

NINE = datetime(2026, 5, 5, 9, tzinfo=UTC)
LISBON = ZoneInfo("Europe/Lisbon")

SCENARIOS: dict[str, tuple[Callable[[Rules], Any], Any]] = {
    "people.least_age_y": (lambda r: is_under_age(17, rules=r), True),
    "people.coach_days": (
        lambda r: until_at(NINE, zone=LISBON, rules=r),
        datetime(2026, 5, 5, 23, tzinfo=UTC),
    ),
}


def test_every_figure_of_people_has_its_scenario() -> None:
    """The table names each figure of `[people]`, and no other."""
    assert set(SCENARIOS) == {name for name in RULES if name.startswith("people.")}


@pytest.mark.parametrize("name", SCENARIOS)
def test_loosening_a_figure_of_people_is_noticed(name: str) -> None:
    """The scenario comes out as the policy says, and differently once its figure is off."""
    scenario, expected = SCENARIOS[name]
    assert scenario(RULES) == expected
    assert scenario(loosened(name)) != expected
