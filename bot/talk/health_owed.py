"""Help that could not arrive: told as soon as the diver opens the private chat, before all else."""

from __future__ import annotations

from bot.heard import Kind
from bot.talk import health_letters as letters_of
from bot.talk.asked import LINES
from bot.talk.health_scene import HealthScene, Said
from planner.harm import LEVELS, harm_table, lock_of
from planner.record import Asked, DiverRecord, Harm, Origin

OPENED = "opened"
"""Marks that a private chat was opened and what was owed there is said; nobody answers it."""

_BESIDE = 9 * LINES


def owed(scene: HealthScene) -> Said:
    """The help that the sender, or a diver they keep, was never told, and the mark that it is now.

    It is owed where a report was made outside the private chat, its lock still stands, and nothing
    was ever said in that chat.
    """
    heard = scene.heard
    if not heard.private or heard.kind is not Kind.MESSAGE:
        return [], []
    if _has_spoken(scene.record(heard.sender), heard.chat):
        return [], []
    said: Said = ([], [])
    for diver in scene.spoken_for():
        record = scene.record(diver)
        harms = [f for f in record.of(Harm) if f.origin.chat != heard.chat]
        if not harms or _has_spoken(record, heard.chat) or lock_of(record, at=scene.at) is None:
            continue
        whom = scene.addressee(diver)
        table = harm_table().rows
        worst = min(harms, key=lambda h: LEVELS.index(h.level))
        known = (table.get(h.row or "") for h in harms)
        rows = sorted((r for r in known if r is not None), key=lambda r: r.gravity)
        # where no row is kept, the text of the level says it all
        is_known = bool(rows) and rows[0].level == worst.level
        key = rows[0].text if is_known else worst.level
        bar = letters_of.bar_text(record, whom, at=scene.at, rows=rows)
        said[1].append(letters_of.own_help(whom, key, scene.room))
        said[1].append(letters_of.private_letter(whom, bar))
        said[1].extend(letters_of.questions_of(whom, rows) if is_known else ())
        said[0].append(
            Asked(
                diver=diver,
                happened_at=heard.sent_at,
                said_at=heard.now,
                by=heard.sender,
                origin=Origin(chat=heard.chat, message=heard.message, line=_BESIDE),
                question=OPENED,
                readings=(),
                may_answer=(),
                bars=False,
            )
        )
    return said


def _has_spoken(record: DiverRecord, chat: str) -> bool:
    return any(f.origin.chat == chat for f in record.facts)
