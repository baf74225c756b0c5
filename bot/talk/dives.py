"""From a report to a dive: recorded as it was said, or asked about where it is in doubt.

Recording is never refused. Doubt never yields clean: what is doubtful is recorded on the careful
side and asked about, or asked about first.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

from bot.shorthand.reading import Clock, Doubt, Report
from bot.talk.asked import asked_fact, beside
from bot.talk.asking import (
    Line,
    Part,
    ask,
    ask_ending,
    struck,
)
from bot.talk.keys import depth_keys, hard_keys, reading_keys, reason_keys
from bot.talk.lines import line_of
from bot.talk.tell import described, outcome_words
from bot.talk.turn import Scene
from bot.texts.render import say
from planner.plan import standing
from planner.record import PB, Asked, Brief, Dive, DiverRecord, Ending, Exercise, Reason
from storage.outcome import Key, Letter

DEEPEST_M = 200.0
_SKEW = timedelta(minutes=2)
_TWICE = timedelta(minutes=1)
_NOON_H = 12


def take(scene: Scene, report: Report, diver: str, at: Line) -> Part:
    """Record a report, or ask about it where something is missing or can't be."""
    happened_at = at.happened_at
    if report.clock is not None:
        told = clock_time(scene, report.clock)
        if told is None:
            return ask(scene, report, diver, at, "clock", ())
        happened_at = told
    exercise = report.exercise or _exercise(scene, report, diver, happened_at)
    if exercise is None and report.ending is Ending.STOP:
        exercise = _FRC  # a stop counts at once; below a PB of 50 m the practice is FRC
    if exercise is None:
        options = [replace(report, exercise=e, any_exhale=False) for e in (_FRC, _RV)]
        return ask(scene, report, diver, at, "exercise", tuple(line_of(o) for o in options))
    report = replace(report, exercise=exercise, any_exhale=False)
    doubt = _doubt(report)
    if doubt is not None:
        return ask(scene, report, diver, at, doubt, ())
    ending = report.ending
    if ending is None:
        if exercise in (Exercise.DIP, Exercise.DRY):
            ending = Ending.CLEAN
        else:
            return ask_ending(scene, report, diver, at)
    dive = Dive(
        diver=diver,
        happened_at=happened_at,
        said_at=scene.carried(diver)["said_at"],
        by=at.by,
        origin=at.origin,
        exercise=exercise,
        depth_m=report.depth_m,
        ending=ending,
        reason=_reason(report, ending),
        target_m=report.target_m,
        fill_m=report.fill_m,
        dive_time_s=report.dive_time_s,
        task=report.task,
        amount=report.amount,
        note=report.note,
        waits=not scene.may_log(at.by, diver),
    )
    if not at.is_confirmed and not at.instead_of and _is_twice(scene, dive, report.clock):
        return ask(scene, report, diver, at, "twice", (line_of(report),))
    return _recorded(scene, report, dive, at)


_FRC, _RV = Exercise.FRC, Exercise.RV


def _reason(report: Report, ending: Ending) -> Reason | None:
    if ending is Ending.STOP:
        return report.reason or Reason.UNSTATED
    return report.reason if ending is Ending.HARD else None


def _doubt(report: Report) -> str | None:
    """What can't be, however it was put together (the parser has looked at single lines)."""
    depth = report.depth_m
    if depth is None:
        if report.exercise in (Exercise.DRY, Exercise.DIP) or report.ending is Ending.STOP:
            return None
        return Doubt.NO_DEPTH
    if not 0 < depth <= DEEPEST_M:
        return Doubt.DEPTH_RANGE
    if report.fill_m is not None and report.fill_m > depth:
        return Doubt.FILL_DEEPER
    if report.target_m is not None and depth > report.target_m:
        return Doubt.PAST_TARGET
    if report.target_m is not None and depth < report.target_m and report.ending is Ending.CLEAN:
        return Doubt.SHORT_OK
    return None


# when, and which exercise


def clock_time(scene: Scene, said: Clock) -> datetime | None:
    """A stated time as an instant, in the group's zone; None where it can't be meant.

    A future one in the first twelve hours of a day means yesterday.
    """
    sent = scene.heard.sent_at
    local = sent.astimezone(scene.zone)
    try:
        day = date.fromisoformat(said.on) if said.on else local.date()
        told = datetime(day.year, day.month, day.day, said.hour, said.minute, tzinfo=scene.zone)
    except ValueError:
        return None
    told = told.astimezone(sent.tzinfo)
    if told <= sent:
        return told
    if told <= sent + _SKEW:
        return sent  # two clocks never agree to the minute
    if said.on is None and local.hour < _NOON_H:
        before = day - timedelta(days=1)
        yesterday = datetime(
            before.year, before.month, before.day, said.hour, said.minute, tzinfo=scene.zone
        )
        return yesterday.astimezone(sent.tzinfo)
    return None


def _exercise(scene: Scene, report: Report, diver: str, at: datetime) -> Exercise | None:
    """`exh`: the exhale exercise the diver was on then. Nothing named: the one last briefed."""
    record = scene.record(diver)
    brief = record.latest(Brief)
    if brief is not None:
        if not report.any_exhale:
            return brief.exercise
        if brief.happened_at <= at and not _changed_since(record, brief):
            return brief.exercise
    then = standing(record, rules=scene.rules, at=at).exercise
    # a dive from before the PB was said: by what is known now
    return then or standing(record, rules=scene.rules, at=scene.at).exercise


def _changed_since(record: DiverRecord, brief: Brief) -> bool:
    """Whether anything that decides the exercise has happened since a target was told."""
    for fact in reversed(record.facts):
        if fact.happened_at < brief.happened_at:
            return not brief.exercise.is_exhale
        if type(fact) is PB or (type(fact) is Dive and fact.exercise is Exercise.FULL):
            return True
    return False


def _is_twice(scene: Scene, dive: Dive, stated: Clock | None) -> bool:
    """Whether another message reported the same dive within the last minute.

    One that was asked about happened when it was asked, and was said when that was answered.
    """
    for other in reversed(scene.record(dive.diver).dives):
        if other.origin.chat == dive.origin.chat and other.origin.message == dive.origin.message:
            continue
        if (
            abs(other.said_at - dive.said_at) < _TWICE
            and (stated is None or abs(other.happened_at - dive.happened_at) < _TWICE)
            and _told(other) == _told(dive)
        ):
            return True
        if dive.happened_at - other.happened_at > timedelta(days=2):
            return False
    return False


def _told(dive: Dive) -> tuple[object, ...]:
    return (dive.exercise, dive.depth_m, dive.ending, dive.reason, dive.task, dive.amount)


# recorded, and what is asked beside it


def _recorded(scene: Scene, report: Report, dive: Dive, at: Line) -> Part:
    asked: list[Asked] = []
    asks: list[str] = []
    keys: list[tuple[Key, ...]] = []
    letters: list[Letter] = []
    if dive.waits:
        fact, sent = _ask_leave(scene, dive, is_timed=report.clock is not None)
        return Part(
            diver=dive.diver,
            facts=(*struck(scene, at), dive, fact),
            dive=dive,
            letters=sent,
            says=(_waits_words(scene, dive),),
            is_timed=report.clock is not None,
        )
    if report.asks is not None:
        readings = _recheck(report)
        fact = _beside(scene, dive, "recheck", readings)
        asked.append(fact)
        asks.append(say("question.recheck", outcome=outcome_words(dive)))
        keys += reading_keys(scene, fact)
    elif dive.ending is Ending.STOP and dive.reason is Reason.UNSTATED:
        fact = _beside(scene, dive, "reason", ())
        asked.append(fact)
        asks.append(say("question.reason"))
        keys += reason_keys(scene, dive.diver, fact.origin.place)
    in_water = dive.exercise is not Exercise.DRY
    if dive.ending is Ending.STOP and dive.depth_m is None and in_water:
        fact = _beside(scene, dive, "depth", ())
        asked.append(fact)
        asks.append(say("question.depth"))
        keys += depth_keys(scene, dive, fact.origin.place)
    if (
        dive.ending is Ending.HARD
        and dive.reason is None
        and report.asks is None
        and not scene.is_late
    ):
        fact = _beside(scene, dive, "hard-why", ())
        asked.append(fact)
        asks.append(say("question.hard-why"))
        keys.append(hard_keys(scene, dive.diver, fact.origin.place))
    return Part(
        diver=dive.diver,
        facts=(*struck(scene, at), dive, *asked),
        dive=dive,
        typed=report.depth_text if _is_in_feet(report.depth_text) else "",
        is_timed=report.clock is not None,
        asks=tuple(asks),
        keys=tuple(keys),
        letters=tuple(letters),
    )


def _is_in_feet(typed: str) -> bool:
    return typed.endswith(("ft", "feet", "foot", "'"))


def _beside(scene: Scene, dive: Dive, question: str, readings: tuple[str, ...]) -> Asked:
    return asked_fact(
        scene,
        dive.diver,
        question,
        origin=beside(dive.origin, question),
        happened_at=dive.happened_at,
        readings=readings,
        bars=False,
    )


def _recheck(report: Report) -> tuple[str, ...]:
    """What was recorded, and what else the line says, in the line's own words: never milder ones."""
    others = (replace(report, ending=e, reason=r) for e, r in report.or_else)
    return tuple(dict.fromkeys(line_of(one) for one in (report, *others)))[:3]


def _ask_leave(scene: Scene, dive: Dive, *, is_timed: bool) -> tuple[Asked, tuple[Letter, ...]]:
    """Ask the diver, or who keeps their log, whether somebody's report is right."""
    may = scene.own(dive.diver)
    fact = asked_fact(
        scene,
        dive.diver,
        "allow",
        origin=beside(dive.origin, "allow"),
        happened_at=dive.happened_at,
        may_answer=may,
        bars=False,
    )
    place = fact.origin.place
    keys = (
        (
            scene.key("yes", "yes", dive.diver, answers=place, may_press=may),
            scene.key("no", "no", dive.diver, answers=place, may_press=may),
        ),
    )
    text = say(
        "question.allow", by=scene.name_of(dive.by), dive=described(scene, dive, is_timed=is_timed)
    )
    letters = scene.tell(dive.diver, text, keys=keys)
    if not letters:
        # nobody can be reached in private: better asked before all than never
        letters = (scene.to_group(text, keys=keys, about=dive.diver),)
    return fact, letters


def _waits_words(scene: Scene, dive: Dive) -> str:
    whom = scene.keeper_of(dive.diver) or dive.diver
    return say("waits.kept", whom=scene.name_of(whom))
