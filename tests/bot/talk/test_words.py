"""Every reason that the planner and the parser know has its words."""

from __future__ import annotations

import re
import tomllib
from importlib import resources

import pytest

from bot.shorthand.reading import Doubt
from bot.talk.dives import DEEPEST_M
from bot.texts.render import TextError, has, keys, say
from planner.reasons import NAMED_IN_GROUP, Because
from planner.record import Ending, Exercise, Reason

CAPS = {
    Because.OPENING, Because.AT_HELD, Because.FIRST_DEPTH, Because.STEP, Because.CEILING,
    Because.ONE_NEW_DEPTH, Because.AFTER_HARD, Because.AFTER_TECHNIQUE, Because.RETRY_AT_OPENING,
    Because.AFTER_PRESSURE, Because.AFTER_OTHER, Because.AFTER_LAYOFF, Because.AFTER_URGE,
    Because.NO_COACH, Because.COACH_DEPTH, Because.COACH_GAP, Because.INTERVAL, Because.DIVES,
    Because.FULL_STEP, Because.FULL_REPEAT, Because.SUPPORTED,
}  # fmt: skip


@pytest.mark.parametrize("because", sorted(set(Because) - CAPS))
def test_every_bar_has_words(because: Because):
    """What bars a target is named in the group, or told to the diver alone."""
    if because is Because.LOCK:
        return  # its words are of health, in their own file
    assert has(f"named.{because}" if because in NAMED_IN_GROUP else f"bar.{because}")


@pytest.mark.parametrize("doubt", list(Doubt))
def test_every_doubt_has_words(doubt: Doubt):
    """A line in doubt is asked about in words of its own, with name and quote where asked for."""
    assert say(f"doubt.{doubt}", name="mara", text="9 ok", word="okk", offer="ok").startswith(
        "mara"
    )


def test_every_outcome_has_words():
    """Exercises, endings and reasons are all named."""
    wanted = {
        *(f"exercise.{e}" for e in Exercise),
        *(f"ending.{e}" for e in Ending),
        *(f"reason.{r}" for r in Reason),
    }
    assert wanted <= keys()


def test_a_missing_text_is_an_error():
    """Neither a key nor a value may be missing in silence."""
    with pytest.raises(TextError, match=r"no text for bar\.nothing"):
        say("bar.nothing")
    with pytest.raises(TextError, match="asks for"):
        say("echo.count", done=1)


def test_group_texts_stay_short():
    """No single text of ours is longer than 300 characters, nor holds more than a line."""
    raw = tomllib.loads(resources.files("bot.texts").joinpath("en.toml").read_text("utf-8"))
    texts = {f"{s}.{k}": t for s, table in raw.items() for k, t in table.items()}
    assert texts
    assert [k for k, t in texts.items() if len(t) > 300 or "\n" in t] == []


def test_the_depth_limit_in_words_is_the_limit():
    """The text that turns a depth down names the depth that is turned down."""
    found = re.search(r"at most (\d+) m", say("doubt.depth-range", name="", text=""))
    assert found is not None
    assert float(found[1]) == DEEPEST_M
