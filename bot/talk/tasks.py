"""Tasks against repeated faults: the drill and its dose, how far one is, when a new depth opens again."""

from __future__ import annotations

from collections.abc import Iterator

from bot.shorthand.reading import Command
from bot.talk.aside import privately, whose
from bot.talk.turn import Scene
from bot.texts.render import say
from planner.learning import TASKS, OpenTask, dose_passed
from planner.plan import standing
from planner.record import Dive, Ending, Exercise
from planner.rules import Rules
from storage.outcome import Outcome


def task(command: Command, scene: Scene, diver: str) -> Outcome:
    """`task`: what is set, its drill and how far it is; `task lock`: one drill.

    `task noor lock` is the coach's, and answered there.
    """
    named = command.args.get("task")
    if named is not None:
        lines = [_drill(str(named)), dose_words(scene)]
        set_one = _open(scene, diver).get(str(named))
        lines += [progress(scene, set_one)] if set_one is not None else []
    else:
        lines = list(task_lines(scene, diver)) or [say("task.none")]
    return Outcome(
        letters=privately(scene, whose(scene, diver) + "\n".join(lines), about=diver),
    )


def _open(scene: Scene, diver: str) -> dict[str, OpenTask]:
    state = standing(scene.record(diver), rules=scene.rules, at=scene.at)
    return state.learning.open


def _drill(name: str) -> str:
    return say("task.drill", task=name, drill=say(f"drill.{name}"))


def task_lines(scene: Scene, diver: str) -> Iterator[str]:
    """Each task that is set, against what, with its drill, and how far it is; then the dose."""
    tasks = _open(scene, diver)
    for name, one in tasks.items():
        if one.by_coach:
            why = say("task.by-coach")
        else:
            why = say("task.against-fill") if one.reason is None else say(f"reason.{one.reason}")
        yield say("task.set", task=name, why=why, drill=say(f"drill.{name}"))
        yield progress(scene, one)
    if tasks:
        yield dose_words(scene)


def tasks_open(scene: Scene, diver: str) -> Iterator[str]:
    """How far each task is that is set."""
    return (progress(scene, one) for one in _open(scene, diver).values())


def is_learning(scene: Scene, diver: str) -> bool:
    """Whether a task is set, so that no new depth is tried."""
    return bool(_open(scene, diver))


def progress(scene: Scene, one: OpenTask) -> str:
    """How many of its days and `shallow` dives are done, and that a new depth waits for them."""
    return say(
        "task.progress",
        task=one.task,
        days=len(one.days),
        days_needed=int(scene.rules["learn.task_days"]),
        shallows=one.shallows,
        shallows_needed=int(scene.rules["learn.shallow_dives"]),
    )


def practised(before: Scene, after: Scene, dive: Dive) -> Iterator[str]:
    """What follows from a task or a `shallow` dive that was just logged, and a caution of the dose."""
    if dive.waits or after.silent or dive.exercise not in (Exercise.DRY, Exercise.SHALLOW):
        return
    was, now = _open(before, dive.diver), _open(after, dive.diver)
    ended = [name for name in was if name not in now]
    for name in ended:
        yield say("task.done", task=name)
    if ended and not now:
        yield say("task.opens")
    for name, one in now.items():
        if name not in was:
            yield say(
                "task.few", count=dive.amount or 0, least=int(after.rules["learn.count_least"])
            )
        if dive.exercise is Exercise.SHALLOW or name == dive.task:
            yield progress(after, one)
            if dive.ending is not Ending.CLEAN:
                yield say("task.only-clean")
    if dive.exercise is Exercise.DRY:
        for beyond in dose_passed(after.record(dive.diver), dive, rules=after.rules):
            r = after.rules
            yield say(
                f"task.too-{beyond}",
                minutes=int(r["task.most_min"]),
                days=_begun(say(f"number.{int(r['task.days_most'])}")),
                before=_before(r),
            )


def dose_words(scene: Scene) -> str:
    """How much of a task there is in a week at most, and when not."""
    r = scene.rules
    return say(
        "task.dose",
        minutes=int(r["task.most_min"]),
        days=say(f"number.{int(r['task.days_most'])}"),
        before=_before(r),
    )


def _before(rules: Rules) -> str:
    minutes = int(rules["task.before_session_min"])
    return say("task.an-hour") if minutes == 60 else say("task.so-long", minutes=minutes)


def newly_set(before: Scene, after: Scene, diver: str) -> Iterator[str]:
    """The tasks that a report has set: what they are, and that a new depth waits for them."""
    was = _open(before, diver)
    for name, one in _open(after, diver).items():
        if name in was or one.by_coach:
            continue
        if one.reason is None:
            yield say("task.now-set-fill", task=name, before=_before(after.rules))
        else:
            fault = _begun(say(f"reason.{one.reason}"))
            yield say("task.now-set", task=name, fault=fault, before=_before(after.rules))


def _begun(words: str) -> str:
    """Words as a sentence begins."""
    return words[:1].upper() + words[1:]


DRILLED = frozenset(TASKS.values()) | {"fetch", "shallow"}
"""Every task that has a drill."""
