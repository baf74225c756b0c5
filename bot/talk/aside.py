"""Answers that only one person reads: in private, whatever room the words were said in."""

from __future__ import annotations

import re
from dataclasses import replace

from bot.shorthand import words
from bot.shorthand.lexicon import Sort
from bot.talk.turn import Scene
from bot.texts.render import say
from storage.outcome import Key, Letter


def privately(
    scene: Scene,
    text: str,
    *,
    keys: tuple[tuple[Key, ...], ...] = (),
    about: str | None = None,
) -> tuple[Letter, ...]:
    """A private answer to the sender; where a group heard them and they can't be reached, a
    neutral line there, which says nothing of what was asked."""
    if scene.in_private:
        return (scene.answer(text, keys=keys, about=about),)
    member = scene.member(scene.sender)
    if member is not None and member.can_dm:
        return (Letter(to=scene.private(scene.sender), text=text, keys=keys, about=about),)
    return (scene.answer(say("people.write-private")),)


def whose(scene: Scene, diver: str) -> str:
    """`noor · ` before an answer about somebody else, nothing before one's own."""
    return "" if diver == scene.sender else say("people.whose", name=scene.name_of(diver))


def line_for(scene: Scene, diver: str, line: str) -> str:
    """The line that a button says about a diver: with `for noor` where it isn't the sender."""
    return line if diver == scene.sender else f"for {scene.name_of(diver)} {line}"


_TYPED = re.compile(r"`([^`]+)`")

_SAID_BY_ANYBODY = frozenset({"help", "start", "emergency", "add", "zone", "site"})
"""Commands that are about nobody."""


def typed_for(scene: Scene, diver: str, text: str) -> str:
    """A text about a diver with what it says to type in the words of who types it.

    A diver without a phone is typed for by name: `pb 38` becomes `for noor pb 38`.
    """
    member = scene.member(diver)
    if member is None or member.has_phone:
        return text
    known = words()

    def named(match: re.Match[str]) -> str:
        line = match[1]
        first, *rest = line.split()
        meaning = known.meanings.get(first)
        is_report = rest and meaning is not None and meaning.sort is Sort.EXERCISE
        ways = () if first in _SAID_BY_ANYBODY else known.commands.get(first, ())
        is_command = any(tuple([first, *rest][: len(w.phrase)]) == w.phrase for w in ways)
        return f"`for {member.name} {line}`" if is_report or is_command else match[0]

    return _TYPED.sub(named, text)


def addressed(scene: Scene, letter: Letter) -> Letter:
    """A letter as whoever reads it has to type what it asks for."""
    if letter.about is None:
        return letter
    text = typed_for(scene, letter.about, letter.text)
    return letter if text == letter.text else replace(letter, text=text)
