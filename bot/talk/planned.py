"""What the planner says of a diver, as this group may hear it today."""

from __future__ import annotations

from dataclasses import replace

from bot.talk.called import called_until, was_called_for
from bot.talk.turn import Scene
from planner.full import FullPlan, full_plan
from planner.plan import plan, standing
from planner.reasons import ASKED_IN_GROUP, Bar, Because, Plan, Refusal
from planner.record import Exercise


def planned(scene: Scene, diver: str) -> Plan | Refusal:
    """The plan of a diver in this group, which a call for help told to it may bar."""
    now = plan(scene.record(diver), rules=scene.rules, at=scene.at)
    bars = _barred_here(scene, diver, now)
    return now if not bars else _refusal(scene, diver, now, bars, now.exercise)


def planned_full(scene: Scene, diver: str) -> FullPlan | Refusal:
    """The full-lung line of a diver in this group, barred by the same."""
    now = full_plan(scene.record(diver), rules=scene.rules, at=scene.at)
    bars = _barred_here(scene, diver, now)
    return now if not bars else _refusal(scene, diver, now, bars, Exercise.FULL)


def _barred_here(scene: Scene, diver: str, now: Plan | FullPlan | Refusal) -> tuple[Bar, ...]:
    """What bars in place of what the record alone says; nothing where that stands.

    After a call for help nobody of the group dives, and nobody is asked who watches. Whom help was
    called for watches nobody for the rest of that day, as far as the group knows, or this diver
    said so in private.
    """
    others = now.bars if isinstance(now, Refusal) else ()
    if called_until(scene) is not None:
        called = Bar(because=Because.HELP_CALLED, figure="session.gap_h")
        return (called, *(b for b in others if b.because not in ASKED_IN_GROUP))
    buddy = None if isinstance(now, Refusal) else _buddy_here(scene, diver)
    if buddy is None:
        return ()
    if was_called_for(scene, buddy):
        return (Bar(because=Because.NO_BUDDY, figure="session.answer_holds_h"),)
    if was_called_for(scene, buddy, told_by=scene.own(diver)):
        # the group was not told, and learns nothing from this
        return (Bar(because=Because.BUDDY_CALLED, figure="session.answer_holds_h"),)
    return ()


def _refusal(
    scene: Scene,
    diver: str,
    now: Plan | FullPlan | Refusal,
    bars: tuple[Bar, ...],
    exercise: Exercise | None,
) -> Refusal:
    if isinstance(now, Refusal):
        return replace(now, bars=bars)
    state = standing(scene.record(diver), rules=scene.rules, at=scene.at)
    return Refusal(
        diver=diver,
        exercise=exercise,
        bars=bars,
        dives_done=state.dives_done,
        dives_allowed=state.dives_allowed(),
        held_m=state.held_m,
        base_m=state.base_m,
        free_on=None,
    )


def _buddy_here(scene: Scene, diver: str) -> str | None:
    """The member who watches this diver; None where nobody of this group does."""
    buddy = standing(scene.record(diver), rules=scene.rules, at=scene.at).buddy
    return buddy if buddy in scene.room.members else None
