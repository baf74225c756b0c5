"""Every figure of `[order]` in rules.toml is held by a check: loosened by its step, the round changes.

A figure that has no scenario here, or whose scenario doesn't notice, fails.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from planner.record import PB
from planner.rules import RULES, Rules
from tests.planner.buoy import MINUTE, NINE, Buoy
from tests.planner.test_loosened import loosened

Scenario = Callable[[Rules], Any]


def told(rules: Rules, **held_m: float | None) -> list[str]:
    made = Buoy(rules=rules)
    for name, held in held_m.items():
        made.add(name, held)
    return made.told()


def starts(rules: Rules, dived: str | None = None) -> list[float]:
    """Minutes until each turn of four divers, after a dive at 16 m or before any."""
    made = Buoy(rules=rules).add("ana", 12).add("bo", 15).add("cleo", 17.5).add("dan", 20)
    if dived is not None:
        made.dive(dived, 16)
    return [(turn.starts_at - NINE) / MINUTE for turn in made.order().turns]


def two(rules: Rules) -> list[float]:
    made = Buoy(rules=rules).add("ana", 12).add("bo", 15)
    return [(turn.starts_at - NINE) / MINUTE for turn in made.order().turns]


def lines(rules: Rules) -> list[int]:
    made = Buoy(rules=rules)
    for number, name in enumerate("abcdef"):
        made.add(name, 10 + 2 * number)
    return [len(line.turns) for line in made.order().lines]


def next_may(rules: Rules) -> list[str]:
    """Four divers, of whom only one, the first, may watch the deepest, who is the last."""
    made = Buoy(rules=rules).add("ana", 12).add("bo", 15).add("cleo", 17.5).add("dan", 20)
    for name in ("bo", "cleo", "dan"):
        made.say(name, PB, depth_m=22)
    return made.told()


def short_best(rules: Rules) -> tuple[str, ...]:
    made = Buoy(rules=rules).add("ana", 20).add("bo", 12, pb_m=22, goal_m=32).watching("bo")
    return made.order().unwatched


def long_gap(rules: Rules) -> list[str]:
    made = Buoy(rules=rules).add("ana").add("bo").dive("bo", 7)
    made.at += 7 * MINUTE
    made.dive("ana", 7)
    made.at += 6 * MINUTE
    return made.told()


SCENARIOS: dict[str, tuple[Scenario, Any]] = {
    "order.line_most": (lines, [3, 3]),
    "order.line_above_m": (
        lambda r: told(r, ana=12, bo=12.5, cleo=13.5),
        ["ana (bo) 9.5, bo (cleo) 10, cleo (ana) 10"],
    ),
    "order.line_down_min": (starts, [0, 2.5, 5, 7.5]),
    "order.line_up_min": (lambda r: starts(r, "dan")[0], 2.5),
    "order.watch_s": (starts, [0, 2.5, 5, 7.5]),
    "order.dive_min": (starts, [0, 2.5, 5, 7.5]),
    "order.watcher_up_min": (two, [0, 3]),
    "order.watcher_over_m": (short_best, ("ana",)),
    "order.next_from": (next_may, ["ana (dan) 9.5, cleo (ana) 14, dan (ana) 16, bo (cleo) 12"]),
    "order.turns_before": (
        lambda r: told(r, ana=12, bo=15, cleo=17.5, dan=20),
        ["ana (cleo) 9.5, bo (dan) 12, cleo (ana) 14, dan (bo) 16"],
    ),
    "order.gap_most_min": (long_gap, ["bo (ana) 7, ana (bo) 7"]),
}


def test_every_figure_of_the_order_has_its_scenario() -> None:
    """The table names each figure of `[order]`, and no other."""
    assert set(SCENARIOS) == {name for name in RULES if name.startswith("order.")}


@pytest.mark.parametrize("name", SCENARIOS)
def test_loosening_a_figure_of_the_order_is_noticed(name: str) -> None:
    """The scenario comes out as our rules say, and differently once its figure is loosened."""
    scenario, expected = SCENARIOS[name]
    said = scenario(RULES)
    assert said == expected
    assert scenario(loosened(name)) != said
