"""Answers that only one person reads: in private, whatever room the words were said in."""

from __future__ import annotations

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
