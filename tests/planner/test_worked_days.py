"""The worked days: how the policy reads. Invented, not published."""

from __future__ import annotations

from datetime import date

import pytest

from planner.record import Exercise
from tests.planner.season import Season

Row = tuple[float, str, float, float | None]


def frc_12() -> Season:
    """Held 12 by a reported base of 15, last exhale day Mon 4 May, base 20, first depth 7."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(15, date(2026, 5, 3))
    return season.morning("2026-05-04").dive(9.5).dive(12)


def rv_6() -> Season:
    """Held 6, last exhale day Mon 4 May, base 12."""
    season = Season(Exercise.RV).profile(pb_m=54, goal_m=60).reported(9, date(2026, 4, 26))
    season.morning("2026-04-27").dive(5).dive(5.5).dive(5.5)
    season.morning("2026-04-30").dive(5.5).dive(6).dive(6)
    return season.morning("2026-05-04").dive(6)


def frc_15() -> Season:
    """Held 15 on Mon 4 May."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=40).reported(19, date(2026, 5, 3))
    return season.morning("2026-05-04").dive(12).dive(15)


def play(season: Season, days: dict[str, list[Row]]) -> None:
    for on, rows in days.items():
        season.morning(on)
        for number, (depth_m, ending, held_after, following) in enumerate(rows, 1):
            assert season.held_m() is not None
            season.dive(
                depth_m,
                ending,
                fill_m=6 if season.exercise is Exercise.FRC and ending == "leak" else None,
            )
            where = f"{on}, dive {number}: {depth_m} {ending}"
            assert season.held_m() == held_after, where
            assert season.next() == following, where


def test_frc_days() -> None:
    """An FRC fortnight with a leak and a pressure stop reads as the worked days do."""
    season = frc_12()
    assert season.held_m() == 12
    play(
        season,
        {
            "2026-05-07": [
                (9.5, "clean", 12, 12),
                (12, "clean", 12, 13),
                (13, "clean", 12, 13),
                (13, "clean", 13, 13),
            ]
        },
    )
    assert season.free_on() == "2026-05-11"
    play(
        season,
        {
            "2026-05-11": [
                (10, "clean", 13, 13),
                (11.5, "leak", 12, 10.5),
                (10.5, "clean", 12, 10.5),
            ]
        },
    )
    assert season.free_on() == "2026-05-14"
    play(
        season,
        {
            "2026-05-14": [
                (9.5, "clean", 12, 12),
                (12, "clean", 12, 13),
                (13, "clean", 13, 13),
                (10, "sternum", 8, 8),
                (8, "clean", 8, None),
            ]
        },
    )
    assert season.free_on() == "2026-05-18"
    season.morning("2026-05-18")
    assert season.next() == 7
    season.dive(7).dive(8).dive(8)
    assert season.held_m() == 10


def test_rv_days() -> None:
    """An RV fortnight with a swallow, a hard dive and a pressure stop reads as the worked days do."""
    season = rv_6()
    assert season.held_m() == 6
    play(
        season,
        {
            "2026-05-07": [
                (6, "clean", 6, 6.5),
                (6.5, "clean", 6, 6.5),
                (6.5, "clean", 6.5, 6.5),
            ]
        },
    )
    assert season.free_on() == "2026-05-11"
    play(
        season,
        {"2026-05-11": [(5, "swallow", 6.5, 4), (4, "clean", 6.5, 4)]},
    )
    assert season.free_on() == "2026-05-14"
    play(
        season,
        {
            "2026-05-14": [
                (6.5, "clean", 6.5, 7),
                (7, "hard", 6.5, 6.5),
                (6.5, "clean", 6.5, 6.5),
            ]
        },
    )
    assert season.free_on() == "2026-05-18"
    play(
        season,
        {"2026-05-18": [(6.5, "clean", 6.5, 7), (6, "sternum", 4.5, None)]},
    )
    assert season.free_on() == "2026-05-21"
    season.morning("2026-05-21")
    assert season.next() == 4.5
    season.dive(4.5).dive(4.5)
    assert season.held_m() == 5


def test_frc_after_twenty_days() -> None:
    """After 20 days away FRC opens on a share of held, nothing new, and two clean give it back."""
    season = frc_15()
    assert season.held_m() == 15
    season.morning("2026-05-24")
    assert season.next() == 9.5
    play(
        season,
        {
            "2026-05-24": [
                (9.5, "clean", 12, 12),
                (12, "clean", 12, 12),
                (12, "clean", 15, 12),
            ]
        },
    )
    assert season.free_on() == "2026-05-26"
    play(
        season,
        {
            "2026-05-26": [
                (12, "clean", 15, 15),
                (15, "clean", 15, 16),
                (16, "clean", 15, 16),
            ]
        },
    )
    assert season.free_on() == "2026-05-31"


@pytest.mark.parametrize(
    ("exercise", "pb_m", "goal_m", "base_m"),
    [
        (Exercise.FRC, 32, 40, 20),
        (Exercise.FRC, 45, 50, 25),
        (Exercise.RV, 52, 60, 12),
        (Exercise.FRC, 36, 42, 21),
        (Exercise.RV, 54, 65, 13),
    ],
)
def test_the_base_by_the_rule_of_practice(
    exercise: Exercise, pb_m: float, goal_m: float, base_m: float
) -> None:
    """The base is half the stage by FRC and a fifth by RV (common practice, no source)."""
    season = Season(exercise).profile(pb_m=pb_m, goal_m=goal_m)
    said = season.said()
    assert said.exercise is exercise
    assert said.base_m == base_m
