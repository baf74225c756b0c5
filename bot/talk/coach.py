"""The coach: named for a group, accepted by each diver alone, and able to tighten for a day.

What a coach reads of a diver is one line (`board`): exercise, depths, dives left, the last fault,
the task; or `no target today`, which is the same line whatever the reason.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from bot.shorthand.reading import Command
from bot.talk.aside import privately, whose
from bot.talk.people import may_set, who_is
from bot.talk.planned import planned
from bot.talk.tasks import DRILLED, task
from bot.talk.tell import outcome_words
from bot.talk.turn import Handler, Scene, said
from bot.texts.render import clock, down, joined, say
from planner.plan import Plan, standing
from planner.progress import new_depth_m
from planner.reasons import ASKED_IN_GROUP, Refusal
from planner.record import (
    Accepted,
    Brief,
    Dive,
    Exercise,
    Fact,
    Limit,
    LimitKind,
    Named,
    Seen,
    TaskSet,
    day_begins_at,
)
from planner.rules import Loosened, Rules
from planner.standing import Standing
from storage.outcome import Key, Letter, Outcome

# who is coach


def coach_of(scene: Scene) -> str | None:
    """The coach of this group: whom an admin named last."""
    named = [
        fact
        for key in scene.room.members
        for fact in scene.record(key).of(Named)
        if fact.group == scene.group
    ]
    last = max(named, key=lambda f: (f.said_at, f.origin), default=None)
    return last.diver if last is not None and last.given else None


def has_accepted(scene: Scene, diver: str, coach: str) -> bool:
    """Whether this diver takes somebody as coach now."""
    last = scene.record(diver).latest(Accepted)
    return last is not None and last.given and last.coach == coach


def _accepted_by(scene: Scene, coach: str) -> tuple[str, ...]:
    return tuple(d for d in scene.room.members if d != coach and has_accepted(scene, d, coach))


def coach(command: Command, scene: Scene, diver: str) -> Outcome:
    """`coach ilse`, an admin's word; `coach yes` and `coach no`, each diver's own."""
    answer = command.args.get("answer")
    if answer is not None:
        return _answered(command, scene, diver, given=answer == "yes")
    if not may_set(scene):
        return said(scene.answer(say("people.admin-only")))
    if scene.room.chat == scene.private(scene.sender):
        return said(scene.answer(say("people.no-group-yet")))
    if "nobody" in command.args:
        return _unnamed(command, scene)
    name = str(command.args["name"])
    found = scene.room.named(name)
    if found is None:
        return said(scene.answer(who_is(scene, name)))
    if not found.has_phone:
        return said(scene.answer(say("coach.no-phone", name=found.name)))
    if not found.can_dm:
        return said(scene.answer(say("coach.no-chat", name=found.name)))
    fact = Named(**scene.carried(found.key, command.line), group=scene.group, given=True)
    letters = [scene.to_group(say("coach.named", name=found.name))]
    for member in scene.room.members.values():
        if member.key != found.key and not has_accepted(scene, member.key, found.key):
            letters += scene.tell(
                member.key,
                _asked(scene, member.key, found.name),
                keys=_keys(scene, member.key, found.name),
            )
    return Outcome(facts=(fact,), letters=tuple(letters))


def _unnamed(command: Command, scene: Scene) -> Outcome:
    """`coach nobody`: the group has no coach from now on; limits of today stand."""
    whom = coach_of(scene)
    if whom is None:
        return said(scene.answer(say("coach.none")))
    fact = Named(**scene.carried(whom, command.line), group=scene.group, given=False)
    return Outcome(
        facts=(fact,), letters=(scene.to_group(say("coach.unnamed", name=scene.name_of(whom))),)
    )


def _asked(scene: Scene, diver: str, coach: str) -> str:
    kept = scene.keeper_of(diver) is not None
    key = "coach.ask-for" if kept else "coach.ask"
    return say(key, name=coach, diver=scene.name_of(diver))


def _keys(scene: Scene, diver: str, coach: str) -> tuple[tuple[Key, ...], ...]:
    """A yes and a no to this coach: pressed when somebody else is coach they say so, no more."""
    return (
        tuple(
            scene.key(label, f"{label} {coach}", diver, may_press=scene.own(diver))
            for label in ("coach yes", "coach no")
        ),
    )


def _answered(command: Command, scene: Scene, diver: str, *, given: bool) -> Outcome:
    whom = coach_of(scene)
    meant = command.args.get("name")
    if whom is None:
        return Outcome(letters=privately(scene, say("coach.nobody")))
    if meant is not None and scene.name_of(whom).casefold() != str(meant).casefold():
        text = say("coach.another", meant=str(meant)[:24], name=scene.name_of(whom))
        return Outcome(letters=privately(scene, text))
    if whom == diver:
        return Outcome(letters=privately(scene, say("coach.yourself")))
    carried = scene.carried(diver, command.line)
    facts: list[Fact] = [Accepted(**carried, coach=whom, given=given)]
    name = scene.name_of(whom)
    text = whose(scene, diver) + say("coach.yes" if given else "coach.no", name=name)
    letters = list(privately(scene, text, about=diver))
    if given and not has_accepted(scene, diver, whom):
        facts += _todays(scene, whom, diver, command.line)
        letters += scene.tell(whom, say("coach.joined", name=scene.name_of(diver)))
    return Outcome(facts=tuple(facts), letters=tuple(letters))


def _todays(scene: Scene, coach: str, diver: str, line: int) -> Iterator[Limit]:
    """What the coach has said today for the whole group, for somebody who says yes later."""
    for limit in scene.record(coach).of(Limit):
        if limit.by == coach and limit.group == scene.group and scene.at < limit.until_at:
            yield _limit(scene, coach, diver, limit.what, limit.value, line)


# what a coach sees


def board(command: Command, scene: Scene, diver: str) -> Outcome:
    """`board`: a line for each diver who said yes, in private."""
    if coach_of(scene) != scene.sender:
        return Outcome(letters=privately(scene, say("coach.only")))
    divers = _accepted_by(scene, scene.sender)
    lines = [_board_line(scene, d) for d in divers] or [say("coach.empty")]
    return Outcome(letters=privately(scene, "\n".join(lines)))


def _board_line(scene: Scene, diver: str) -> str:
    name = scene.name_of(diver)
    now = planned(scene, diver)
    if isinstance(now, Refusal) and not {b.because for b in now.bars} <= ASKED_IN_GROUP:
        return say("bar.none", name=name)
    state = standing(scene.record(diver), rules=scene.rules, at=scene.at)
    assert state.exercise is not None
    held = state.held_m
    return joined(
        (
            name,
            say(f"exercise.{state.exercise}"),
            say("coach.held-none", first=state.first_m)
            if held is None
            else say("coach.held", held=held, opens=down(state.opening_m or held)),
            say("coach.left", nights=0, dives=_left(now, state)),
            _last_fault(scene, diver),
            say("coach.task", tasks=joined(state.learning.open)) if state.learning.open else "",
        ),
        " · ",
    )


def _left(now: Plan | Refusal, state: Standing) -> int:
    allowed = state.dives_allowed(now.depth_m if isinstance(now, Plan) else None)
    return max(0, allowed - state.dives_done)


def _last_fault(scene: Scene, diver: str) -> str:
    record = scene.record(diver)
    troubled = (d for d in reversed(record.dives) if d.exercise.is_exhale and d.is_troubled)
    dive = next((d for d in troubled if not d.waits), None)
    if dive is None:
        return ""
    depth = "?" if dive.depth_m is None else dive.depth_m
    on = record.local_day(dive.happened_at)
    return say("coach.fault", how=outcome_words(dive), depth=depth, on=on)


# what a coach tightens


def until_at(at: datetime, *, zone: ZoneInfo, rules: Rules) -> datetime:
    """When a limit ends: the next local midnight (H `people.coach_days`).

    >>> from datetime import UTC
    >>> from planner.rules import RULES
    >>> nine = datetime(2026, 5, 5, 9, tzinfo=UTC)
    >>> until_at(nine, zone=ZoneInfo("Europe/Lisbon"), rules=RULES).isoformat()
    '2026-05-05T23:00:00+00:00'
    """
    on = at.astimezone(zone).date() + timedelta(days=int(rules["people.coach_days"]))
    return day_begins_at(on, timezone=zone)


def _limit(scene: Scene, coach: str, diver: str, what: LimitKind, value: float, line: int) -> Limit:
    carried = scene.carried(diver, line)
    carried["by"] = coach
    end = until_at(carried["happened_at"], zone=scene.zone, rules=scene.rules)
    return Limit(**carried, what=what, value=value, until_at=end, group=scene.group)


def _mine(scene: Scene, name: str) -> tuple[str | None, Outcome]:
    """The diver of that name who said yes to the sender; else what to answer."""
    if coach_of(scene) != scene.sender:
        return None, Outcome(letters=privately(scene, say("coach.only")))
    found = scene.room.named(name)
    if found is None:
        return None, Outcome(letters=privately(scene, who_is(scene, name)))
    if not has_accepted(scene, found.key, scene.sender):
        # the same for a no, and for who has not answered
        return None, Outcome(letters=privately(scene, say("coach.not-yours", name=found.name)))
    return found.key, Outcome()


def trim(command: Command, scene: Scene, diver: str) -> Outcome:
    """`trim teo 14`: no target deeper than that until midnight."""
    whom, no = _mine(scene, str(command.args["name"]))
    if whom is None:
        return no
    depth = command.args["depth_m"]
    assert isinstance(depth, float)
    name = scene.name_of(whom)
    if depth < scene.rules["held.least_m"]:
        least = scene.rules["held.least_m"]
        return Outcome(letters=privately(scene, say("coach.too-shallow", name=name, least=least)))
    limit = _limit(scene, scene.sender, whom, LimitKind.DEPTH, depth, command.line)
    after = scene.after((limit,)).record(whom)
    now = standing(after, rules=scene.rules, at=scene.at)
    stands = now.limits.depth_m(scene.at)
    outcome = _tightened(scene, whom, limit, "trim", depth=stands)
    if now.track is None or stands < (most := new_depth_m(now)):
        return outcome
    loose = say("coach.trim-loose", most=down(most))
    first, *rest = outcome.letters
    return replace(outcome, letters=(replace(first, text=f"{first.text} {loose}"), *rest))


def rest(command: Command, scene: Scene, diver: str) -> Outcome:
    """`rest ana`: no target until midnight."""
    whom, no = _mine(scene, str(command.args["name"]))
    if whom is None:
        return no
    limit = _limit(scene, scene.sender, whom, LimitKind.REST, 0.0, command.line)
    return _tightened(scene, whom, limit, "rest", depth=0.0)


def _tightened(scene: Scene, diver: str, limit: Limit, key: str, *, depth: float) -> Outcome:
    """The coach's answer, and the diver's letter: what was told before may stand no longer."""
    name = scene.name_of(diver)
    letters = list(privately(scene, say(f"coach.{key}", name=name, depth=depth), about=diver))
    told = _told(scene, diver, say(f"coach.told-{key}", depth=depth))
    if told:
        letters += told
    elif _has_target(scene, diver):
        letters.append(scene.to_group(say("coach.ask-again", name=name), about=diver))
    return Outcome(facts=(limit,), letters=tuple(letters))


def _told(scene: Scene, diver: str, text: str) -> tuple[Letter, ...]:
    """What a diver reads of it; a keeper reads whom it is about."""
    kept = scene.keeper_of(diver) is not None
    return scene.tell(
        diver, say("people.whose", name=scene.name_of(diver)) + text if kept else text
    )


def _has_target(scene: Scene, diver: str) -> bool:
    """Whether a target may stand that was told today."""
    brief = scene.record(diver).latest(Brief)
    return brief is not None and scene.at - brief.happened_at <= scene.rules.session_gap


_OF_ALL = {
    "cap": (LimitKind.DIVES, "dives", "cap.most"),
    "gap": (LimitKind.GAP, "minutes", "interval.frc_min"),
    "lines": (LimitKind.LINES, "lines", None),
}
"""What is said for the whole group: its limit, the argument's name, and the figure it tightens."""


def for_all(command: Command, scene: Scene, diver: str) -> Outcome:
    """`cap 3`, `gap 6`, `lines 2`: until midnight, for every diver who said yes."""
    if coach_of(scene) != scene.sender:
        return Outcome(letters=privately(scene, say("coach.only")))
    what, argument, figure = _OF_ALL[command.name]
    value = command.args[argument]
    assert isinstance(value, int)
    if figure is not None:
        try:
            scene.rules.tightened({figure: value})
        except Loosened:
            usual = int(scene.rules[figure])
            return Outcome(
                letters=privately(scene, say(f"coach.{command.name}-loose", usual=usual))
            )
    divers = (scene.sender, *_accepted_by(scene, scene.sender))
    facts = tuple(_limit(scene, scene.sender, d, what, float(value), command.line) for d in divers)
    stands = _strictest(scene, what, value)
    text = say(f"coach.{command.name}", count=stands, name=scene.name_of(scene.sender))
    letters = [scene.to_group(text)]
    if scene.in_private:
        letters.append(scene.answer(text))
    return Outcome(facts=facts, letters=tuple(letters))


def _strictest(scene: Scene, what: LimitKind, value: int) -> int:
    """What stands of a limit for the group: a looser second one changes nothing."""
    said = [
        int(x.value)
        for x in scene.record(scene.sender).of(Limit)
        if (x.what, x.group, x.by) == (what, scene.group, scene.sender) and scene.at < x.until_at
    ]
    return (min if what is LimitKind.DIVES else max)([value, *said])


# what else a coach says


def seen(command: Command, scene: Scene, diver: str) -> Outcome:
    """`seen mara`: the coach watched her last dive of today."""
    whom, no = _mine(scene, str(command.args["name"]))
    if whom is None:
        return no
    dive = _last_today(scene, whom)
    name = scene.name_of(whom)
    if dive is None:
        return Outcome(letters=privately(scene, say("coach.no-dive", name=name)))
    fact = Seen(**scene.carried(whom, command.line), dived_at=dive.happened_at)
    text = say(
        "coach.seen",
        name=name,
        depth="?" if dive.depth_m is None else dive.depth_m,
        time=clock(dive.happened_at, scene.zone),
    )
    return Outcome(facts=(fact,), letters=privately(scene, text, about=whom))


def _last_today(scene: Scene, diver: str) -> Dive | None:
    record = scene.record(diver)
    today = record.local_day(scene.at)
    dives = (d for d in reversed(record.dives) if d.exercise is not Exercise.DRY)
    last = next(dives, None)
    return last if last is not None and record.local_day(last.happened_at) == today else None


def set_task(command: Command, scene: Scene, diver: str) -> Outcome:
    """`task`, one's own; `task noor lock`: one by the coach, and no new depth until it is done."""
    if "name" not in command.args:
        return task(command, scene, diver)
    whom, no = _mine(scene, str(command.args["name"]))
    if whom is None:
        return no
    named = str(command.args["task"])
    assert named in DRILLED
    name = scene.name_of(whom)
    fact = TaskSet(**scene.carried(whom, command.line), task=named)
    drill = say("task.drill", task=named, drill=say(f"drill.{named}"))
    letters = [
        *privately(scene, say("coach.task-set", name=name, task=named), about=whom),
        *_told(scene, whom, joined((say("coach.told-task"), drill), " ")),
    ]
    return Outcome(facts=(fact,), letters=tuple(letters))


def tell_coach(command: Command, scene: Scene, diver: str) -> Outcome:
    """`tell coach`: one fixed line to the coach: please call me."""
    whom = coach_of(scene)
    if whom is None or not has_accepted(scene, diver, whom):
        return Outcome(letters=privately(scene, say("coach.nobody")))
    letters: tuple[Letter, ...] = scene.tell(
        whom, say("coach.call-me", name=scene.name_of(scene.sender))
    )
    key = "coach.call-sent" if letters else "coach.call-not-sent"
    answer = privately(scene, say(key, name=scene.name_of(whom)), about=diver)
    return Outcome(letters=(*answer, *letters))


HANDLERS: dict[str, Handler] = {
    "coach": coach,
    "board": board,
    "trim": trim,
    "rest": rest,
    "cap": for_all,
    "gap": for_all,
    "lines": for_all,
    "seen": seen,
    "task": set_task,
    "tell-coach": tell_coach,
}
"""What this room answers, by the command's name."""
