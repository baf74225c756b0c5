"""What the planner says of a diver, as this group may hear it today."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from bot.talk.turn import Scene
from planner.harm import LEVELS, alarms_of
from planner.plan import plan, standing
from planner.reasons import Bar, Because, Plan, Refusal
from planner.record import Harm, Unwell


def planned(scene: Scene, diver: str) -> Plan | Refusal:
    """The plan of a diver in this group: nobody is watched by whom help was called for today."""
    now = plan(scene.record(diver), rules=scene.rules, at=scene.at)
    if isinstance(now, Refusal) or not _is_buddy_out(scene, diver):
        return now
    return Refusal(
        diver=diver,
        exercise=now.exercise,
        bars=(Bar(because=Because.NO_BUDDY, figure="session.answer_holds_h"),),
        dives_done=now.dive_number - 1,
        dives_allowed=now.dives_allowed,
        held_m=now.held_m,
        base_m=now.base_m,
        free_on=None,
    )


def _is_buddy_out(scene: Scene, diver: str) -> bool:
    """Whether the group was told of a call for help about this diver's buddy, and its day lasts."""
    buddy = standing(scene.record(diver), rules=scene.rules, at=scene.at).buddy
    if buddy is None or buddy not in scene.room.members:
        return False
    record = scene.record(buddy)
    alarms, today = alarms_of(record, at=scene.at), record.local_day(scene.at)
    return any(
        call in alarms or (isinstance(call, Harm) and record.local_day(call.happened_at) == today)
        for call in calls_here(scene, buddy)
    )


def calls_here(scene: Scene, diver: str) -> Iterator[Harm | Unwell]:
    """What this group was told of a diver that calls for help at once, by whomever."""
    record = scene.record(diver)
    graves: Iterator[Harm | Unwell] = (u for u in record.of(Unwell) if u.grave)
    harms = (h for h in record.of(Harm) if h.level == LEVELS[0])
    yield from (call for call in chain(graves, harms) if call.origin.chat == scene.group)
