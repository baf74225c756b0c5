"""Who is meant by a line, and who may speak for whom."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches

from bot.shorthand.reading import Command, Report, Unclear
from bot.talk.turn import Scene

GRANTEE_TOO = frozenset(
    {"next", "plan", "next-full", "buddy", "no-buddy", "done", "undo", "fix", "watching", "order"}
)
"""What somebody with a grant may say for a diver beside reports; the rest is the diver's own."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Meant:
    """Whom a line is about: a member's key, or a name that is nobody's here and what is close."""

    diver: str | None
    unknown: str = ""
    close: tuple[str, ...] = ()


def meant(scene: Scene, reading: Report | Command | Unclear) -> Meant:
    """The diver a line is about: as named, as the button says, or the sender."""
    if reading.who:
        found = scene.room.named(reading.who)
        if found is not None:
            return Meant(diver=found.key)
        names = {m.name.casefold(): m.name for m in scene.room.members.values()}
        close = get_close_matches(reading.who.casefold(), names, n=2)
        return Meant(diver=None, unknown=reading.who, close=tuple(names[c] for c in close))
    button = scene.heard.button
    if button is not None and button.diver:
        return Meant(diver=button.diver)
    return Meant(diver=scene.sender)


def could_be_either(scene: Scene, report: Report) -> str | None:
    """The member whose dive it may be instead: a reply to their message that names nobody."""
    other = scene.heard.reply_to_sender
    if report.who or other is None or other == scene.sender or other not in scene.room.members:
        return None
    return other


def may_command(scene: Scene, name: str, diver: str) -> bool:
    """Whether the sender may say this command about a diver."""
    if diver == scene.sender or scene.is_keeper(scene.sender, diver):
        return True
    return name in GRANTEE_TOO and scene.is_granted(scene.sender, diver)
