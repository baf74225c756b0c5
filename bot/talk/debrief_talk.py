"""What is said by itself: debrief, check on the next morning, eve, the interval's end."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from itertools import takewhile

from bot.talk.full_lung import left_by_full, offered
from bot.talk.health import check_keys, unanswered_letters
from bot.talk.planned import planned
from bot.talk.tasks import dose_words, is_learning, tasks_open
from bot.talk.turn import Scene, said
from bot.talk.views import paused
from bot.texts.render import clock, down, joined, say
from planner.agenda import Due, DueKind, agenda, is_checked
from planner.debrief import Debrief, debrief
from planner.harm import LEVELS, lock_of
from planner.plan import standing
from planner.reasons import Plan
from planner.record import (
    Debriefed,
    Dive,
    DiverRecord,
    Ending,
    Exercise,
    Harm,
    Origin,
    Reason,
    Unwell,
    Well,
    latest_session,
)
from storage.outcome import Delivery, Key, Letter, Outcome, Picture

LATE_AFTER = timedelta(minutes=2)
"""A debrief said this much after it was due is marked late."""


def say_due(due: Due, scene: Scene) -> Outcome:
    """What to write and say now that something is due."""
    match due.kind:
        case DueKind.DEBRIEF:
            return _debrief(due, scene)
        case DueKind.MORNING | DueKind.EVENING:
            return _check_again(due, scene)
        case DueKind.EVE:
            return _eve(due, scene)
        case DueKind.PING:
            return _ping(due, scene)
        case DueKind.FOLLOW_UP:
            return _follow_up(due, scene)
        case DueKind.UNANSWERED:
            return Outcome(
                letters=unanswered_letters(
                    due.diver, room=scene.room, records=scene.records, heard=scene.heard
                )
            )


# the debrief

_WAITS = "waits"
"""In the picture, the ending of a dive whose report is not allowed yet."""


def _debrief(due: Due, scene: Scene) -> Outcome:
    record = scene.record(due.diver)
    found = debrief(record, rules=scene.rules, at=scene.at)
    if found is None:
        return Outcome()
    written = Debriefed(
        diver=due.diver,
        happened_at=scene.at,
        said_at=scene.at,
        by=due.diver,
        origin=_origin(due),
        session_at=found.lines[-1].dive.happened_at,
    )
    whom = scene.confidant(due.diver)
    if whom is None:
        text = say("debrief.neutral", name=scene.name_of(due.diver), dives=_dives(found, kept=True))
        letter = replace(scene.to_group(text, about=due.diver), delivery=Delivery.DEBRIEF)
        return Outcome(facts=(written,), letters=(letter,))
    pause = paused(scene, due.diver)
    quiet = bool(pause) or _harmed(record, found)
    lines = [*_head(due, scene, found)]
    lines += _quiet(scene, found, pause) if quiet else _whole(scene, found)
    lines.append(_no_flying(record, found, scene))
    asks = not _answered(record, found)
    lines.append(say("debrief.ask") if asks else say("debrief.worse"))
    letter = Letter(
        to=scene.private(whom),
        text="\n".join(lines),
        keys=_keys(scene, due.diver) if asks else (),
        delivery=Delivery.DEBRIEF,
        picture=None if quiet else _picture(scene, found),
        about=due.diver,
    )
    return Outcome(facts=(written,), letters=(letter,))


def _no_flying(record: DiverRecord, found: Debrief, scene: Scene) -> str:
    lock = lock_of(record, at=scene.at)
    if lock is not None and lock.doctor:
        return say("debrief.no-flying-doctor")
    return say(
        "debrief.no-flying",
        on=record.local_day(found.no_flying_until_at),
        time=clock(found.no_flying_until_at, scene.zone),
    )


def _origin(due: Due) -> Origin:
    """Not a message's line: the row that fell due."""
    return Origin(chat=f"due:{due.kind}", message=int(due.at.timestamp()))


def _harmed(record: DiverRecord, found: Debrief) -> bool:
    """Whether anything of health was reported since the session began."""
    began_at = found.lines[0].dive.happened_at
    return any(isinstance(f, Harm | Unwell) and f.happened_at >= began_at for f in record.facts)


def _answered(record: DiverRecord, found: Debrief) -> bool:
    """Whether the check needs no asking any more: something was said after the last dive."""
    last = found.lines[-1].dive
    since = takewhile(lambda f: f != last, reversed(record.facts))
    return any(isinstance(f, Well) for f in since) or any(
        isinstance(f, Harm | Unwell) and f.happened_at >= last.happened_at for f in record.facts
    )


def _head(due: Due, scene: Scene, found: Debrief) -> Iterator[str]:
    yield say("debrief.head", name=scene.name_of(due.diver), on=found.on)
    if scene.at - due.at > LATE_AFTER:
        local_on = due.at.astimezone(scene.zone).date()
        yield say("debrief.late", on=local_on, time=clock(due.at, scene.zone))
    if found.replaces:
        yield say("debrief.replaces")


def _quiet(scene: Scene, found: Debrief, pause: tuple[str, ...]) -> Iterator[str]:
    """After harm, or while health bars targets: what was dived, and no figure of progress."""
    yield _dives(found, kept=True)
    yield from pause


def _whole(scene: Scene, found: Debrief) -> Iterator[str]:
    """Dives, what held, limits, the fault's pattern, the next session, the base so far."""
    yield _dives(found, kept=False)
    if found.exercise is not None:
        yield _held(scene, found)
    yield from left_by_full(scene, found.diver)
    yield _limits(found)
    if found.pattern is not None and found.task is not None:
        fault = say(f"reason.{found.pattern}")
        yield say(
            "debrief.pattern",
            fault=fault[:1].upper() + fault[1:],
            task=found.task,
            drill=say(f"drill.{found.task}"),
            dose=dose_words(scene),
        )
    yield from tasks_open(scene, found.diver)
    if found.free_on is not None and found.opens_m is not None:
        far_m = found.far_m
        if far_m is not None and found.held_after_m is not None and is_learning(scene, found.diver):
            far_m = min(far_m, found.held_after_m)
        deeper = far_m is not None and far_m > found.opens_m
        yield say(
            "debrief.next" if deeper else "debrief.next-same",
            on=_free_on(found, found.free_on),
            opens=down(found.opens_m),
            far=down(found.opens_m if far_m is None else far_m),
        )
    yield from _base(found)
    yield from offered(scene, found.diver)


def _free_on(found: Debrief, free_on: date) -> date:
    """The next exhale day: never the day of full-lung dives, which stand alone."""
    kinds = {line.dive.exercise for line in found.lines}
    if kinds & {Exercise.FULL, Exercise.SHALLOW}:
        return max(free_on, found.on + timedelta(days=1))
    return free_on


def _dives(found: Debrief, *, kept: bool) -> str:
    """`5 FRC dives: 3 clean, 2 stopped (sternum, throat)`; `kept` leaves out how they went."""
    dives = [line.dive for line in found.lines if line.dive.exercise is not Exercise.DIP]
    kinds = {d.exercise for d in dives}
    what = f"{say(f'exercise.{dives[0].exercise}')} " if len(kinds) == 1 else ""
    number = "one" if len(dives) == 1 else "many"
    if kept:
        return say(f"debrief.kept-{number}", count=len(dives), what=what)
    return say(
        f"debrief.dives-{number}", count=len(dives), what=what, endings=", ".join(_endings(dives))
    )


def _endings(dives: list[Dive]) -> Iterator[str]:
    for ending in (Ending.CLEAN, Ending.EARLY, Ending.HARD, Ending.STOP):
        those = [d for d in dives if d.ending is ending and not d.waits]
        if not those:
            continue
        reasons = ", ".join(say(f"reason.{d.reason or Reason.UNSTATED}") for d in those)
        yield say(f"debrief.count-{ending}", count=len(those), reasons=reasons)
    waiting = sum(d.waits for d in dives)
    if waiting:
        yield say("debrief.count-waits", count=waiting)


def _held(scene: Scene, found: Debrief) -> str:
    before, after = found.held_before_m, found.held_after_m
    if after is None and before is None:
        track = standing(scene.record(found.diver), rules=scene.rules, at=scene.at).track
        count = say(f"number.{int(scene.rules['held.clean_dives'])}").capitalize()
        if track is None:
            return say("debrief.held-nothing")
        return say("debrief.held-none", count=count, first=track.first_m)
    if after is None:
        assert before is not None
        return say("debrief.held-lost", before=before)
    if before is None:
        return say("debrief.held-first", after=after)
    key = "debrief.held-same" if before == after else "debrief.held-moved"
    return say(key, before=before, after=after)


def _limits(found: Debrief) -> str:
    if not found.passed:
        return say("debrief.limits-kept")
    passed = joined(say(f"debrief.passed-{because}") for because in found.passed)
    return say("debrief.limits-passed", limits=passed)


def _base(found: Debrief) -> Iterator[str]:
    """How much of the base is held, and which of rule, chest and mouth binds."""
    so_far = found.readiness
    if so_far is None:
        return
    if so_far.held_m is None:
        yield say("debrief.base-none", base=so_far.base_m)
    else:
        yield say("debrief.base", held=so_far.held_m, base=so_far.base_m)
    if so_far.met:
        yield say("debrief.base-met", base=so_far.base_m)
    if so_far.bounds:
        least = min(so_far.bounds, key=lambda b: b.depth_m)
        yield say(
            "debrief.binds",
            depth=down(least.depth_m),
            kind=say(f"debrief.kind-{least.kind}"),
        )


def _picture(scene: Scene, found: Debrief) -> Picture:
    """The data of the picture: the dives against their targets, clean depth over the weeks."""
    dives = [line for line in found.lines if line.dive.exercise is not Exercise.DIP]
    data = {
        "dives": [
            {
                "n": n,
                "depth_m": line.dive.depth_m,
                "target_m": line.briefed_m,
                "ending": _WAITS if line.dive.waits else str(line.dive.ending),
            }
            for n, line in enumerate(dives, 1)
        ],
        "history": [[on.isoformat(), depth_m] for on, depth_m in found.history],
        "base_m": None if found.readiness is None else found.readiness.base_m,
        "exercise": None if found.exercise is None else say(f"exercise.{found.exercise}"),
        "diver": scene.name_of(found.diver),
        "on": found.on.isoformat(),
    }
    return Picture(kind="debrief", data=json.dumps(data))


# the check


def _keys(scene: Scene, diver: str) -> tuple[tuple[Key, ...], ...]:
    return check_keys(diver, room=scene.room, records=scene.records, heard=scene.heard)


def _check_again(due: Due, scene: Scene) -> Outcome:
    """The check on the next morning and in the evening; to nobody where nobody can be reached."""
    wanted = agenda(scene.record(due.diver), rules=scene.rules, at=scene.at)
    if not any((d.kind, d.about) == (due.kind, due.about) for d in wanted):
        return Outcome()  # answered meanwhile
    kind = "morning" if due.kind is DueKind.MORNING else "evening"
    text = say(
        f"debrief.ask-{kind}",
        name=scene.name_of(due.diver),
        time=f"{scene.rules['session.check_by_h']:02.0f}:00",
    )
    return _reminder(due, scene, text, _keys(scene, due.diver))


def _reminder(due: Due, scene: Scene, text: str, keys: tuple[tuple[Key, ...], ...] = ()) -> Outcome:
    letters = scene.tell(due.diver, text, keys=keys, delivery=Delivery.REMINDER)
    return said(*(replace(letter, stale_at=due.stale_at) for letter in letters))


def _follow_up(due: Due, scene: Scene) -> Outcome:
    """The morning after a report that asks for a doctor: whether one has seen the diver."""
    lock = lock_of(scene.record(due.diver), at=scene.at)
    if lock is None or not lock.doctor:
        return Outcome()  # cleared meanwhile
    since = scene.at - timedelta(days=2)
    told = [h for h in scene.record(due.diver).of(Harm) if h.happened_at >= since]
    is_grave = any(h.level == LEVELS[0] for h in told)
    key = "debrief.follow-up-grave" if is_grave else "debrief.follow-up"
    key += "-kept" if scene.keeper_of(due.diver) is not None else ""
    return _reminder(due, scene, say(key, name=scene.name_of(due.diver)))


# the eve, and the interval


def _eve(due: Due, scene: Scene) -> Outcome:
    """The evening before: where it opens, and what to do; nothing while health bars or is asked about."""
    record = scene.record(due.diver)
    opens_m = standing(record, rules=scene.rules, at=scene.at).opening_m
    last = latest_session(record, gap_h=scene.rules["session.gap_h"])
    is_asked = last is not None and not is_checked(record, last)
    if opens_m is None or is_asked or paused(scene, due.diver):
        return Outcome()
    text = say("debrief.eve", name=scene.name_of(due.diver), opens=down(opens_m))
    return _reminder(due, scene, text)


def _ping(due: Due, scene: Scene) -> Outcome:
    """The interval is over, where a target still stands."""
    now = planned(scene, due.diver)
    if not isinstance(now, Plan):
        return Outcome()
    return _reminder(due, scene, say("debrief.ping", name=scene.name_of(due.diver)))
