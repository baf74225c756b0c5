"""What the planner says of a diver, as this group may hear it today."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from itertools import chain

from bot.talk.turn import Scene
from planner.full import FullPlan, full_plan
from planner.harm import LEVELS, alarms_of
from planner.plan import plan, standing
from planner.reasons import ASKED_IN_GROUP, Bar, Because, Plan, Refusal
from planner.record import Exercise, Harm, Unwell


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
    called for watches nobody for the rest of that day.
    """
    others = now.bars if isinstance(now, Refusal) else ()
    if called_until(scene) is not None:
        called = Bar(because=Because.HELP_CALLED, figure="session.gap_h")
        return (called, *(b for b in others if b.because not in ASKED_IN_GROUP))
    if not isinstance(now, Refusal) and _is_buddy_out(scene, diver):
        return (Bar(because=Because.NO_BUDDY, figure="session.answer_holds_h"),)
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


def called_until(scene: Scene) -> datetime | None:
    """Until when this group's diving stops for a call for help that it was told of; None: it doesn't."""
    if scene.room.called_at is None:
        return None
    until = scene.room.called_at + scene.rules.session_gap
    return until if scene.at <= until else None


def _is_buddy_out(scene: Scene, diver: str) -> bool:
    """Whether the group was told of a call for help about this diver's buddy, and its day lasts."""
    buddy = standing(scene.record(diver), rules=scene.rules, at=scene.at).buddy
    if buddy is None or buddy not in scene.room.members:
        return False
    record = scene.record(buddy)
    alarms, today = alarms_of(record, at=scene.at), record.local_day(scene.at)
    return any(
        call in alarms or (isinstance(call, Harm) and record.local_day(call.happened_at) == today)
        for call in _calls_here(scene, buddy)
    )


def _calls_here(scene: Scene, diver: str) -> Iterator[Harm | Unwell]:
    """What this group was told of a diver that calls for help at once, by whomever."""
    record = scene.record(diver)
    graves: Iterator[Harm | Unwell] = (u for u in record.of(Unwell) if u.grave)
    harms = (h for h in record.of(Harm) if h.level == LEVELS[0])
    yield from (call for call in chain(graves, harms) if call.origin.chat == scene.group)
