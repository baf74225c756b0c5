"""Whoever begins with anything but `/start` is told once, in short, for whom this is and what it is not."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from bot.texts.render import say
from storage.store import Store
from tests.bot.whole.test_privacy import ANA, MARA, NOOR, Group

SHORT = say("start.short")


@pytest.fixture
def group(tmp_path: Path) -> Iterator[Group]:
    store = Store.open(tmp_path / "b.sqlite")
    yield Group(store)
    store.close()


def test_the_short_line_holds_what_every_first_message_says() -> None:
    """Trained divers, trained buddy, no medical advice, and what outranks it."""
    for words in (
        "trained divers", "trained buddy", "Not medical advice", "local rules", "site rules",
        "emergency services", "instructors", "physicians",
    ):  # fmt: skip
        assert words in SHORT


@pytest.mark.parametrize("private", [True, False])
def test_the_first_answer_has_the_short_line_once(group: Group, private: bool) -> None:
    """Where it was said, behind the answer; and never again, there or elsewhere."""
    where = {"chat": MARA} if private else {}
    first = group.says("pb 32" if private else "fit buddy ana", **where)
    assert first[-1] == SHORT
    assert len(first) > 1
    later = [*group.says("next"), *group.says("goal 38", chat=MARA), *group.says("help")]
    assert SHORT not in later


def test_each_member_is_told(group: Group) -> None:
    """Once to Mara, once to Ana, whoever was told before."""
    assert group.says("next").count(SHORT) == 1
    assert group.says("next", user=ANA).count(SHORT) == 1
    assert group.says("next", user=NOOR, chat=NOOR).count(SHORT) == 1


def test_start_says_it_at_length(group: Group) -> None:
    """After `/start` in private the short line is not said."""
    assert any("trained buddy in the water" in text for text in group.says("/start", chat=MARA))
    assert SHORT not in group.says("next", chat=MARA)


def test_chatter_in_a_group_is_left_alone_all_the_same(group: Group) -> None:
    """No answer, no line; it comes with the first answer."""
    assert group.says("nice weather") == []
    assert group.says("next")[-1] == SHORT


@pytest.mark.parametrize("text", ["emergency", "ana is not breathing"])
def test_beside_help_nothing_else_is_read(group: Group, text: str) -> None:
    """A cry for help as the first words is answered with help alone; the line comes later."""
    group.says("hello", user=ANA)
    assert SHORT not in group.says(text)
    assert group.says("help", chat=MARA)[-1] == SHORT


def test_a_reaction_stays_a_reaction(group: Group) -> None:
    """A symptom as the first words brings no line: not in the group, nor beside the text in private."""
    assert SHORT not in group.says("hoarse")
    assert SHORT not in group.says("feel hoarse", chat=MARA)
    assert group.says("pb 32", chat=MARA)[-1] == SHORT


def test_who_was_forgotten_is_new_again(group: Group) -> None:
    """Nothing is kept of them, nor that they were told."""
    group.says("pb 32", chat=MARA)
    group.says("forget all", chat=MARA)
    group.presses(group.buttons[f"p:t{MARA} erase everything"], chat=MARA)
    assert group.says("pb 32", chat=MARA)[-1] == SHORT
