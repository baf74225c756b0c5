"""A clinician's word, as the diver says it: a date, in private."""

from __future__ import annotations

import re
from datetime import date

from bot.talk import health_letters as letters_of
from bot.talk.health_scene import HealthScene, Said
from bot.texts.help import help_line
from bot.texts.render import day
from planner.harm import lock_of
from planner.record import Cleared, Fact

CLEARED = re.compile(
    r"\s*(?:for\s+)?(?:(?P<name>\S+?)[:,]?\s+)?cleared\b\s*[:,]?\s*(?P<on>.*?)\s*[.!]?\s*",
    re.IGNORECASE,
)


def cleared(scene: HealthScene, said: re.Match[str]) -> Said | None:
    """`cleared 2026-08-01`, in private: a date, never ahead; one before the last symptom clears nothing."""
    heard = scene.heard
    diver = heard.sender
    if said["name"]:
        member = scene.room.named(said["name"].lstrip("@"))
        if member is None or not scene.speaks_for(member.key):
            return None
        diver = member.key
    record = scene.record(diver)
    today = record.local_day(heard.sent_at)
    whom = scene.addressee(diver)
    try:
        on = date.fromisoformat(said["on"])
    except ValueError:
        # `cleared my ears on every metre` is chatter.
        if not heard.private or len(said["on"].split()) > 2:
            return None
        on = None
    facts: list[Fact] = []
    if not heard.private:
        text = help_line("cleared_private", begins=whom.begins)
    elif on is None:
        text = help_line("cleared_unread", begins=whom.begins)
    elif on > today:
        text = help_line("cleared_ahead", begins=whom.begins)
    else:
        facts = [
            Cleared(
                diver=diver,
                happened_at=heard.sent_at,
                said_at=heard.now,
                by=heard.sender,
                origin=scene.origin(diver, answers=False),
                on=on,
            )
        ]
        record = scene.with_facts(diver, facts)
        lock = lock_of(record, at=scene.at)
        # a word is owed all the same: this one is older than what it was to be about
        key = "cleared_before" if lock is not None and lock.doctor else "cleared"
        after = letters_of.bar_text(record, whom, at=scene.at)
        text = "\n".join(filter(None, (help_line(key, date=day(on)), after)))
    letters = letters_of.quiet(heard, whom)
    if letters_of.reachable(heard, whom):
        letters.append(letters_of.private_letter(whom, text))
    return facts, letters
