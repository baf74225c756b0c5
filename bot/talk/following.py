"""What follows a report, an edit or an undo: the exhale target, or the day's full-lung line."""

from __future__ import annotations

from dataclasses import replace

from bot.talk.full_lung import left_by_full, on_full_lungs
from bot.talk.tell import Next, next_exhale
from bot.talk.turn import Scene
from planner.record import Brief, DiverRecord


def what_next(
    scene: Scene, diver: str, *, line: int = 0, before: DiverRecord | None = None
) -> Next:
    """What is next for a diver, as may be said where it was asked.

    `before` is the record before a late report, an edit or an undo: what had been told by then
    is compared with what holds now. A message of an earlier session brings no target and no
    question, unless a target stands that it may change.
    """
    if scene.is_late and not _is_in_course(scene, diver):
        return Next()
    full = on_full_lungs(scene, diver, line=line, before=before)
    if full is not None:
        return full
    told = next_exhale(scene, diver, line=line, before=before)
    return replace(told, lines=(*left_by_full(scene, diver), *told.lines))


def _is_in_course(scene: Scene, diver: str) -> bool:
    """Whether a target was told within the hours of a session."""
    brief = scene.record(diver).latest(Brief)
    gap = scene.rules.session_gap
    return brief is not None and scene.at - brief.happened_at <= gap
