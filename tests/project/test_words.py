"""The words that people read: every reason has them, and none of them is out of place."""

import re
import tomllib
from pathlib import Path

import pytest

from bot.texts.render import keys
from planner.plan import ASKED_IN_GROUP, NAMED_IN_GROUP
from planner.reasons import Because

TEXTS = Path(__file__).resolve().parents[2] / "bot" / "texts"


@pytest.mark.parametrize("because", Because)
def test_every_reason_has_a_text(because: Because):
    """Each reason for a cap or a bar has words: named ones for the group, others by their own name."""
    names = {key.partition(".")[2] for key in keys()}
    if because in NAMED_IN_GROUP:
        assert f"named.{because}" in keys()
    elif because in ASKED_IN_GROUP:
        assert f"ask.{because.removeprefix('no-')}" in keys()
    else:
        assert because.value in names


def raw() -> dict[str, str]:
    """Every text as it stands in its file, with the places for values left in."""
    return {
        f"{section}.{name}": text
        for file in sorted(TEXTS.glob("*.toml"))
        for section, table in tomllib.loads(file.read_text(encoding="utf-8")).items()
        for name, text in table.items()
    }


@pytest.mark.parametrize(
    ("what", "pattern"),
    [
        ("praise", r"\b(?:well done|great|awesome|congrat\w*|amazing|perfect|bravo|nice one)\b"),
        ("a promise", r"\byou(?:'re| are) (?:safe|cleared|ready|fine)\b|\b(?:is|it's) safe\b"),
        ("advice never to give", r"\baspirin\b|\bdrink more\b|\bhyperventilat\w+|\bpacking\b"),
        ("a game", r"\b(?:badge|streak|score|level up|points?)\b"),
    ],
)
def test_no_text_holds_what_is_never_said(what: str, pattern: str):
    """No text praises, promises safety, plays, or gives the advice that is never to be given."""
    assert [key for key, text in raw().items() if re.search(pattern, text, re.IGNORECASE)] == []
