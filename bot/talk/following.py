"""What follows a report, an edit or an undo: the exhale target, or the day's full-lung line."""

from __future__ import annotations

from dataclasses import replace

from bot.talk.full_lung import left_by_full, on_full_lungs
from bot.talk.tell import Next, next_exhale
from bot.talk.turn import Scene
from planner.record import DiverRecord


def what_next(
    scene: Scene, diver: str, *, line: int = 0, before: DiverRecord | None = None
) -> Next:
    """What is next for a diver, as may be said where it was asked.

    `before` is the record before a late report, an edit or an undo: what had been told by then
    is compared with what holds now.
    """
    full = on_full_lungs(scene, diver, line=line, before=before)
    if full is not None:
        return full
    told = next_exhale(scene, diver, line=line, before=before)
    return replace(told, lines=(*left_by_full(scene, diver), *told.lines))
