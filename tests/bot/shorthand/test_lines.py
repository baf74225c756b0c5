"""Lines as wet thumbs write them, and what each means."""

import tomllib
from pathlib import Path

import pytest

from bot.shorthand import Command, Doubt, Report, Unclear, parse
from planner.record import Ending
from tests.bot.shorthand.telling import WORDS, read, told

TABLE = tomllib.loads((Path(__file__).parent / "lines.toml").read_text("utf-8"))
LINES = [(says, means) for part in TABLE.values() for says, means in part.items()]


@pytest.mark.parametrize(("says", "means"), LINES, ids=[repr(says) for says, _ in LINES])
def test_a_line_means_what_the_table_says(says: str, means: str | list[str]):
    """Each line of the table is read as it says there, reading by reading."""
    expected = [means] if isinstance(means, str) else means
    assert [told(r) for r in read(says)] == expected


def test_readings_are_numbered_over_the_whole_message():
    """Every reading of a message has a number of its own, counted from 0 over all its lines."""
    found = read("hello\n2x8 ok\n\n9 ok then 12 hard\nnext\n8 ok?")
    assert [r.line for r in found] == list(range(len(found))) == list(range(7))


def test_each_line_keeps_what_was_typed():
    """A reading holds its own line as typed, case and all, and a note keeps its case."""
    first, second = read("EXH 8 ok # Nice Wall\nfor Noor me F 28y 165cm")
    assert (first.text, second.text) == ("EXH 8 ok # Nice Wall", "for Noor me F 28y 165cm")
    assert isinstance(first, Report)
    assert first.note == "Nice Wall"
    assert isinstance(second, Command)
    assert second.who == "Noor"


@pytest.mark.parametrize(
    ("says", "depth_m", "depth_text"),
    [
        ("40ft ok", 12.2, "40ft"),
        ("41' ok", 12.5, "41ft"),
        ("12,5m ok", 12.5, "12,5"),
        ("frc12 ok", 12.0, "12"),
    ],
)
def test_a_depth_is_in_metres_and_keeps_its_text(says: str, depth_m: float, depth_text: str):
    """Feet become metres to the nearest tenth (one foot is 0.3048 m), and the text stays as typed."""
    (found,) = read(says)
    assert isinstance(found, Report)
    assert (found.depth_m, found.depth_text) == (depth_m, depth_text)


def test_without_a_roster_any_word_may_be_a_name_behind_for():
    """`for` takes any word as a name, and a first word without it only a member's."""
    (found,) = parse("for zoe 8 ok", WORDS)
    assert isinstance(found, Report)
    assert found.who == "zoe"
    (asked,) = parse("zoe 8 ok", WORDS)
    assert isinstance(asked, Unclear)
    assert asked.doubt is Doubt.STRANGER


def test_a_command_that_cannot_be_read_is_no_dive():
    """A command in doubt never counts as a dive that may have happened."""
    for says in ("goal 450", "goal 45?", "fit but tired", "nxet", "fix 12, 5", "base frc 18"):
        (found,) = read(says)
        assert isinstance(found, Unclear), says
        assert not found.is_dive, says


def test_a_bare_doubt_is_no_dive_by_itself():
    """A doubtful word without depth or exercise can only answer something."""
    for says, is_dive in (
        ("ok hard", False),
        ("12, 5", False),
        ("9 ok hard", True),
        ("exh ok", True),
    ):
        (found,) = read(says)
        assert isinstance(found, Unclear), says
        assert found.is_dive is is_dive, says


def test_what_is_mended_comes_as_parts_too():
    """`fix` hands over the parts of the dive that it names, also those that are no report alone."""
    (found,) = read("fix mf7 hard")
    assert isinstance(found, Command)
    parts = found.args["parts"]
    assert isinstance(parts, Report)
    assert (parts.fill_m, parts.ending, parts.depth_m) == (7.0, Ending.HARD, None)


def test_another_bot_is_left_alone_and_so_is_ours_until_its_name_is_known():
    """A slash word addressed to a bot counts only when the address is ours."""
    assert [told(r) for r in parse("/next@OurBot", WORDS, our_name="ourbot")] == ["command next"]
    assert [told(r) for r in parse("/next@OurBot", WORDS)] == ["chatter"]
