"""The buttons under what is said: few, each with the line that a press of it stands for."""

from __future__ import annotations

from math import ceil

from bot.shorthand.reading import Doubt
from bot.talk import health
from bot.talk.asked import beside
from bot.talk.turn import Scene
from bot.texts.render import down, metres, say
from planner.full import FullPlan
from planner.plan import standing
from planner.reasons import Because, Plan, Refusal
from planner.record import Asked, Brief, Dive, Ending, Exercise, Reason
from storage.outcome import Key

STOP_KEY = "stop…"
"""What the button says that opens the reasons."""

NO_DIVE = "no dive"
"""What the button says that drops a question."""

Keys = tuple[tuple[Key, ...], ...]


def briefed(now: Plan | FullPlan) -> tuple[Exercise, float]:
    """The exercise and the depth of a plan, on exhale or on full lungs, metres."""
    if isinstance(now, FullPlan):
        return Exercise.FULL, now.line_m
    return now.exercise, now.depth_m


def next_keys(scene: Scene, now: Plan | FullPlan) -> tuple[Key, ...]:
    """Buttons that log the next dive in one touch."""
    what, depth_m = briefed(now)
    depth, diver = down(depth_m), now.diver
    return (
        scene.key(f"{depth} ok", f"{what} {depth}m ok", diver),
        scene.key(f"{depth} hard", f"{what} {depth}m hard", diver),
        scene.key(STOP_KEY, STOP_KEY, diver, sticky=True),
        scene.key("done", "done", diver),
    )


def reading_keys(scene: Scene, asked: Asked) -> Keys:
    """A button for each reading of a line, and one that says it was no dive."""
    place, diver = asked.origin.place, asked.diver
    keys = [scene.key(short_label(r), r, diver, answers=place) for r in asked.readings[:3]]
    if asked.question != "recheck":
        label = say("key.same-dive" if asked.question == "twice" else "key.no-dive")
        keys.append(scene.key(label, NO_DIVE, diver, answers=place))
    return (tuple(keys),) if keys else ()


def reason_keys(scene: Scene, diver: str, answers: tuple[str, int, int] | None) -> Keys:
    """The reasons of a stop, in rows: pressure, technique, the rest."""
    rows = (
        (Reason.STERNUM, Reason.CHEST, Reason.THROAT),
        (Reason.EARS, Reason.EMPTY, Reason.LEAK),
        (Reason.SWALLOW, Reason.STUCK, Reason.URGE),
        (Reason.COLD, Reason.OTHER),
    )
    return tuple(
        tuple(scene.key(say(f"reason.{r}"), f"stop {r}", diver, answers=answers) for r in row)
        for row in rows
    )


def last_target_m(scene: Scene, diver: str) -> float:
    """The target last told, or where this diver would begin."""
    record = scene.record(diver)
    brief = record.latest(Brief)
    if brief is not None:
        return brief.depth_m
    return standing(record, rules=scene.rules, at=scene.at).first_m


def depth_keys(scene: Scene, dive: Dive, place: tuple[str, int, int]) -> Keys:
    """Turn depths: the target itself, and whole metres above it."""
    target = dive.target_m or last_target_m(scene, dive.diver)
    highest = max(ceil(target) - 1, 0)
    depths = (target, *range(highest, max(highest - 7, 0), -1))
    keys = [scene.key(f"{metres(d)} m", f"{metres(d)}m", dive.diver, answers=place) for d in depths]
    return tuple(tuple(keys[i : i + 4]) for i in range(0, len(keys), 4))


def depth_keys_again(scene: Scene, diver: str) -> Keys:
    """The depths once more, for the last stop whose depth is not known."""
    for dive in reversed(scene.record(diver).dives):
        if dive.ending is Ending.STOP and dive.depth_m is None and not dive.waits:
            return depth_keys(scene, dive, beside(dive.origin, "depth").place)
    return ()


def hard_keys(scene: Scene, diver: str, place: tuple[str, int, int]) -> tuple[Key, ...]:
    """What made a dive hard."""
    return tuple(
        scene.key(say(f"key.hard-{label}"), says, diver, answers=place)
        for label, says in (
            ("empty", "stop empty"),
            ("throat", "stop throat"),
            ("ears", "stop ears"),
            ("nerves", NO_DIVE),
        )
    )


def question_keys(scene: Scene, refusal: Refusal) -> Keys:
    """The readings of the newest report in doubt, where that is what bars a target."""
    if all(b.because is not Because.QUESTION_OPEN for b in refusal.bars):
        return ()
    state = standing(scene.record(refusal.diver), rules=scene.rules, at=scene.at)
    newest = max(state.open_asked, key=lambda a: (a.said_at, a.origin))
    place, diver = newest.origin.place, refusal.diver
    own = scene.own(diver)
    keys = [scene.key(r, r, diver, answers=place, may_press=own) for r in newest.readings[:3]]
    if newest.question in ("ending", Doubt.NO_ENDING):
        stop = scene.key(STOP_KEY, STOP_KEY, diver, answers=place, sticky=True, may_press=own)
        keys.append(stop)
    label = say("key.no-dive")
    keys.append(scene.key(label, NO_DIVE, diver, answers=place, may_press=own))
    return (tuple(keys),)


def open_keys(scene: Scene, refusal: Refusal) -> Keys:
    """What answers the thing that bars a target: the check, a report in doubt, or a depth."""
    found = (
        called_keys(scene, refusal) or check_keys(scene, refusal) or question_keys(scene, refusal)
    )
    if not found and any(b.because is Because.DEPTH_UNKNOWN for b in refusal.bars):
        return depth_keys_again(scene, refusal.diver)
    return found


def called_keys(scene: Scene, refusal: Refusal) -> Keys:
    """The answers to a call for help, where that is what is open."""
    kinds = {b.because for b in refusal.bars}
    if Because.UNWELL not in kinds:
        return ()
    return health.called_keys(
        refusal.diver, room=scene.room, records=scene.records, heard=scene.heard
    )


def check_keys(scene: Scene, refusal: Refusal) -> Keys:
    """[yes] [no] [not sure], where the question after the last session is what is open."""
    kinds = {b.because for b in refusal.bars}
    if Because.CHECK_OPEN not in kinds or Because.LOCK in kinds:
        return ()
    return health.check_keys(
        refusal.diver, room=scene.room, records=scene.records, heard=scene.heard
    )


_LABEL_MOST = 30


def short_label(line: str) -> str:
    """A reading as it fits on a button."""
    words = line.split()
    if len(words) > 2 and words[0] == "for":
        words = words[2:]
    text = " ".join(words)
    return text if len(text) <= _LABEL_MOST else text[: _LABEL_MOST - 1] + "…"
