"""Whom a word of harm is about: the sender, a name, whose message it answers, or the sender's buddy."""

from __future__ import annotations

import re
from datetime import timedelta

from bot.shorthand.harm_lexicon import harm_words
from bot.shorthand.harm_reading import is_of_oneself, is_said_to
from bot.talk.health_scene import HealthScene
from planner.record import Buddy, Dive
from planner.rules import RULES

_A_DAY = timedelta(days=1)
"""How long a report may be answered as one of a dive of that day (house rule)."""
_MY_BUDDY = re.compile(r"\bmy (?:dive )?(?:buddy|diver)\b", re.IGNORECASE)


def whom(scene: HealthScene, subject: str | None, span: tuple[int, int]) -> tuple[str | None, ...]:
    """The members whom a row may be about, all of whom are asked; None for somebody unknown.

    Where the buddy may be one of several, or it stands under the report of a dive and may be about
    either of two (`samba!`), they all are.
    """
    heard = scene.heard
    answered = _answered(scene)
    if subject:
        member = scene.room.named(subject)
        return (member.key if member is not None else None,)
    if subject == "":
        mine = own_buddies(scene) if _MY_BUDDY.search(heard.text) else ()
        return answered or mine or _logged_by(scene, heard.sender) or (None,)
    is_to = is_said_to(heard.text, span, harm_words())
    if answered and is_to:
        return answered
    if is_to and not heard.private:
        return own_buddies(scene) or (heard.sender,)
    is_own = is_of_oneself(heard.text, span, harm_words())
    under_a_dive = () if is_own else tuple(d for d in answered if _has_dived(scene, d))
    return (heard.sender, *under_a_dive)


def _answered(scene: HealthScene) -> tuple[str, ...]:
    """Whose message it answers: its writer, or whose dives that writer logs."""
    other = scene.heard.reply_to_sender
    if other is None or other not in scene.room.members or other == scene.heard.sender:
        return ()
    logged = _logged_by(scene, other, within=_A_DAY)
    return (other, *logged) if _has_dived(scene, other, within=_A_DAY) or not logged else logged


def _logged_by(
    scene: HealthScene, keeper: str, *, within: timedelta = RULES.session_gap
) -> tuple[str, ...]:
    """The divers without a phone whose log somebody keeps and who dived in these hours."""
    kept = (d for d in sorted(scene.room.members) if scene.keeper(d) == keeper)
    return tuple(d for d in kept if _has_dived(scene, d, within=within))


def _has_dived(scene: HealthScene, diver: str, *, within: timedelta = RULES.session_gap) -> bool:
    last = scene.record(diver).latest(Dive)
    return last is not None and scene.at - last.happened_at <= within


def own_buddies(scene: HealthScene) -> tuple[str, ...]:
    """Who watches the sender today; else all whom the sender watches."""
    sender, since = scene.heard.sender, scene.at - RULES.session_gap
    watched = {
        diver
        for diver in scene.room.members
        if diver != sender
        and (last := scene.record(diver).latest(Buddy)) is not None
        and last.buddy == sender
        and last.happened_at >= since
    }
    mine = scene.record(sender).latest(Buddy)
    if mine is not None and mine.happened_at >= since and mine.buddy in scene.room.members:
        return (mine.buddy,)
    return tuple(sorted(watched))
