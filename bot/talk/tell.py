"""What is next: the one place that asks the planner and says what it answered.

Every target that is told is a Brief fact in the same outcome as the letter. The new plan is
compared with the last Brief here, and what a late report, an edit or an undo changed is said.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import takewhile

from bot.talk.called import called_until
from bot.talk.health_letters import lock_words
from bot.talk.keys import Keys, briefed, depth_keys_again, next_keys, open_keys
from bot.talk.planned import planned
from bot.talk.tasks import tasks_open
from bot.talk.turn import Scene
from bot.texts.render import clock, down, has, joined, metres, say
from planner.dose import interval_min
from planner.full import FullPlan, supported_of
from planner.harm import alarm_until, unanswered
from planner.plan import plan, standing
from planner.reasons import (
    ASKED_IN_GROUP,
    LIKE_A_LOCK,
    NAMED_IN_GROUP,
    Bar,
    Because,
    FillWindow,
    Plan,
    Refusal,
)
from planner.record import Brief, Dive, DiverRecord, Ending, Exercise, Fact, Reason
from planner.rules import Rules
from planner.support import FullFill
from storage.outcome import Letter

BRIEF_LINE = 2000
"""Briefs stand beside the line they answer, so that none is taken for an answer to a question."""


@dataclass(frozen=True, kw_only=True)
class Next:
    """What is said after an echo: lines and buttons where it was said, and letters in private."""

    lines: tuple[str, ...] = ()
    keys: Keys = ()
    facts: tuple[Fact, ...] = ()
    letters: tuple[Letter, ...] = ()
    plan: Plan | None = None
    named: Because | None = None
    is_open: bool = False  # a target was told, or would be once it is answered who and whether


def next_exhale(
    scene: Scene, diver: str, *, line: int = 0, before: DiverRecord | None = None
) -> Next:
    """The next exhale target of a diver or why there is none, as may be said where it was asked.

    `before` is the record before a late report, an edit or an undo: what had been told by then
    is compared with what holds now.
    """
    now = planned(scene, diver)
    was = None if before is None else standing_brief(before, scene.record(diver))
    if isinstance(now, Refusal):
        if was is not None and before is not None:
            # a target that had been withdrawn before is not withdrawn again
            stood = plan(before, rules=scene.rules, at=scene.at)
            was = was if isinstance(stood, Plan) else None
        return refused(scene, now, was=was)
    if scene.silent:
        return Next()
    brief = brief_of(scene, now, line=line)
    text = target_line(scene, now)
    if was is not None and (was.depth_m, was.exercise) != (now.depth_m, now.exercise):
        text = say("next.changed", line=text, was=down(was.depth_m))
    return Next(
        lines=(text,), keys=(next_keys(scene, now),), facts=(brief,), plan=now, is_open=True
    )


def standing_brief(before: DiverRecord, after: DiverRecord) -> Brief | None:
    """The target that had been told and not dived yet."""
    brief = before.latest(Brief)
    if brief is None:
        return None
    known = {d.origin.place for d in before.dives}
    for dive in reversed(after.dives):
        if dive.happened_at < brief.happened_at:
            break
        is_new = dive.origin.place not in known
        if dive.exercise is not Exercise.DRY and (is_new or dive.happened_at > brief.happened_at):
            return None
    return brief


def brief_of(scene: Scene, now: Plan | FullPlan, *, line: int = 0) -> Brief:
    """The fact that this target was told."""
    carried = scene.carried(now.diver, line + BRIEF_LINE, happened_at=scene.at)
    exercise, depth_m = briefed(now)
    return replace(
        Brief(
            **carried,
            exercise=exercise,
            depth_m=depth_m,
            fill_low_m=now.fill.low_m,
            fill_high_m=now.fill.high_m,
            not_before_at=now.not_before_at,
        ),
        said_at=scene.at,
    )


def target_line(scene: Scene, now: Plan) -> str:
    """The line of the next target: depth, fill and moment, or the condition after pressure."""
    moment = moment_words(scene, now.not_before_at)
    if now.on_condition:
        return say("next.on-condition", depth=down(now.depth_m), moment=moment)
    return say("next.target", depth=down(now.depth_m), fill=fill_words(now.fill), moment=moment)


def moment_words(scene: Scene, not_before_at: datetime | None) -> str:
    """`, not before 09:31`, or nothing."""
    if not_before_at is None:
        return ""
    return say("next.not-before", time=clock(not_before_at, scene.zone))


def fill_words(fill: FillWindow | FullFill) -> str:
    """Where to take the fill: `fill 5–7 m`."""
    if fill.high_m is None:
        return say("next.fill-surface")
    if fill.low_m is None or fill.low_m == fill.high_m:
        return say("next.fill-at", depth=metres(fill.high_m))
    return say("next.fill-between", low=metres(fill.low_m), high=metres(fill.high_m))


# no target


def is_confidential(scene: Scene, diver: str) -> bool:
    """Whether what is said now reaches nobody but the diver, or who keeps their log."""
    if not scene.in_private:
        return False
    return scene.sender == diver or scene.is_keeper(scene.sender, diver)


def refused(scene: Scene, refusal: Refusal, *, was: Brief | None = None) -> Next:
    """Why there is no target: what the group saw is named, two things are asked, the rest is silence."""
    diver, name = refusal.diver, scene.name_of(refusal.diver)
    none = none_words(scene, refusal)
    kinds = [b.because for b in refusal.bars]
    if is_confidential(scene, diver):
        asked = asked_for(scene, diver, kinds) if set(kinds) <= ASKED_IN_GROUP else Next()
        lines = asked.lines or (none, *reason_words(scene, refusal))
        keys = asked.keys or open_keys(scene, refusal)
        return Next(lines=_withdrawn(was, lines), keys=keys)
    named = [k for k in kinds if k in NAMED_IN_GROUP]
    if named and not _is_like_a_lock(scene, refusal):
        text = named_words(scene, refusal, named[0])
        is_all = set(kinds) <= NAMED_IN_GROUP | ASKED_IN_GROUP
        is_called = named[0] is Because.HELP_CALLED  # what is missing besides can wait
        return Next(
            named=named[0],
            keys=_end_keys(scene, diver, named[0]),
            lines=_withdrawn(was, (say("named.line", name=name, text=text),)),
            letters=() if is_all or is_called else _in_private(scene, refusal),
        )
    if set(kinds) <= ASKED_IN_GROUP:
        return asked_for(scene, diver, kinds)
    # one line, byte for byte, whatever the reason
    return Next(
        lines=(none,),
        letters=_in_private(scene, refusal),
    )


def none_words(scene: Scene, refusal: Refusal) -> str:
    """The one line for no target, whatever the reason."""
    key = "bar.none-full" if refusal.exercise is Exercise.FULL else "bar.none"
    return neutral(scene, refusal.diver, key)


def neutral(scene: Scene, diver: str, key: str = "bar.none") -> str:
    """The one line for no target; whoever can't be told why in private is asked to write there."""
    line = say(key, name=scene.name_of(diver))
    if scene.confidant(diver) is not None or is_confidential(scene, diver):
        return line
    return joined((line, say("bar.write")), " ")


def _is_like_a_lock(scene: Scene, refusal: Refusal) -> bool:
    """Whether what bars must not be told from a lock.

    Rest from exhale dives bars no full-lung step, so it is asked for apart: else a locked diver's
    answer would differ from a resting one's.
    """
    kinds = {b.because for b in refusal.bars}
    if refusal.exercise is Exercise.FULL:
        exhale = plan(scene.record(refusal.diver), rules=scene.rules, at=scene.at)
        if isinstance(exhale, Refusal):
            kinds |= {b.because for b in exhale.bars}
    return bool(LIKE_A_LOCK & kinds)


def _in_private(scene: Scene, refusal: Refusal) -> tuple[Letter, ...]:
    """Why there is no target, to the diver or their keeper alone."""
    if scene.silent:
        return ()  # the words of health that were just sent say it
    diver = refusal.diver
    text = "\n".join((none_words(scene, refusal), *reason_words(scene, refusal)))
    keys = open_keys(scene, refusal)
    return scene.tell(diver, text, keys=keys)


def _end_keys(scene: Scene, diver: str, because: Because) -> Keys:
    """`[done]`, where the day's dives are over; the depths, where one is still to be told."""
    if because is Because.DEPTH_UNKNOWN:
        return depth_keys_again(scene, diver)
    if not standing_session(scene, diver):
        return ()
    return ((scene.key("done", "done", diver),),)


def standing_session(scene: Scene, diver: str) -> tuple[Dive, ...]:
    """The dives of the session that is open now."""
    return standing(scene.record(diver), rules=scene.rules, at=scene.at).session


def _withdrawn(was: Brief | None, lines: tuple[str, ...]) -> tuple[str, ...]:
    if was is None:
        return lines
    return (*lines, say("next.withdrawn", was=down(was.depth_m)))


def named_words(scene: Scene, refusal: Refusal, because: Because) -> str:
    """A reason that the group saw happen, without whose it is."""
    if because is Because.HELP_CALLED:
        until = called_until(scene)
        return say("named.help-called", time=clock(until or scene.at, scene.zone))
    made = refusal.dives_done
    count = say(f"number.{made}") if has(f"number.{made}") else str(made)
    return say(f"named.{because}", count=count)


def asked_for(scene: Scene, diver: str, kinds: list[Because]) -> Next:
    """Buddy and fitness, as far as they are open, asked where it was said."""
    name = scene.name_of(diver)
    lines, keys = [], []
    if Because.NO_BUDDY in kinds:
        lines.append(say("ask.buddy", name=name))
    if Because.NO_FIT in kinds:
        lines.append(say("ask.fit", name=name))
        own = scene.own(diver)  # a grant is for dives, not for this
        keys.append(scene.key("fit", "fit", diver, may_press=own))
        keys.append(scene.key("not fit", "not fit", diver, may_press=own))
    return Next(lines=tuple(lines), keys=(tuple(keys),) if keys else (), is_open=True)


def reason_words(scene: Scene, refusal: Refusal) -> Iterator[str]:
    """Every bar that stands, in words for the diver alone."""
    # beside these nothing else matters yet: neither a PB that is missing nor what comes after
    first = [bar for bar in refusal.bars if bar.because in _BEFORE_ALL]
    # who said not today is asked neither for fitness nor for a buddy
    is_dry = any(bar.because in _DRY for bar in refusal.bars)
    for bar in first or refusal.bars:
        if not (is_dry and bar.because in ASKED_IN_GROUP):
            yield _reason(scene, refusal, bar)


_BEFORE_ALL = frozenset({Because.LOCK, Because.UNDER_AGE})
_DRY = frozenset({Because.NOT_FIT, Because.WATCHING})


def _reason(scene: Scene, refusal: Refusal, bar: Bar) -> str:
    because = bar.because
    if because in NAMED_IN_GROUP:
        words = named_words(scene, refusal, because)
        return words[0].upper() + words[1:]
    if because is Because.LOCK:
        is_kept = scene.keeper_of(refusal.diver) is not None
        return lock_words(scene.record(refusal.diver), at=scene.at, is_kept=is_kept)
    if because is Because.UNWELL:
        record = scene.record(refusal.diver)
        waits, until = unanswered(record, at=scene.at), alarm_until(record, at=scene.at)
        if waits is None and until is not None:
            on = record.local_day(until)
            return say("bar.alarmed", day=on, time=clock(until, scene.zone))
        is_called = waits is not None and waits.grave
        return say("bar.called" if is_called else _bar_key(scene, refusal.diver, because))
    if because is Because.LEARNING:
        return " ".join((say("bar.learning"), *tasks_open(scene, refusal.diver)))
    if because is Because.NOT_SUPPORTED:
        return _support_words(scene, refusal.diver)
    if because is Because.EMPTY_WINDOW:
        # by RV the fill is at the surface already: there is no earlier one
        speaks = supported_of(standing(scene.record(refusal.diver), rules=scene.rules, at=scene.at))
        is_rv = speaks is not None and speaks.exercise is Exercise.RV
        return say("bar.empty-window-rv" if is_rv else "bar.empty-window")
    if bar.until_on is not None:
        return say(f"bar.{because}", until=bar.until_on)
    age_y = int(scene.rules["people.least_age_y"])
    return say(_bar_key(scene, refusal.diver, because), age=age_y)


def _bar_key(scene: Scene, diver: str, because: Because) -> str:
    """The words for a bar; for a diver without a phone those that a keeper reads, where they differ."""
    kept = f"bar.{because}-kept"
    is_kept = scene.keeper_of(diver) is not None
    return kept if is_kept and has(kept) else f"bar.{because}"


def _support_words(scene: Scene, diver: str) -> str:
    """What is held speaks for so much on full lungs, and the next step asks for more."""
    state = standing(scene.record(diver), rules=scene.rules, at=scene.at)
    speaks = supported_of(state)
    if speaks is None:
        return say("bar.not-supported")
    return say(
        "full.speaks-less",
        what=say(f"exercise.{speaks.exercise}"),
        held=speaks.held_m,
        depth=down(speaks.depth_m),
        kind=say(f"debrief.kind-{speaks.binding.kind}"),
    )


# the echo


def is_counted(dive: Dive, rules: Rules) -> bool:
    """Whether a dive is one of `dive 2 of 5`."""
    if not dive.exercise.is_exhale:
        return False
    turned = dive.ending is Ending.EARLY or (
        dive.ending is Ending.STOP and not dive.is_pressure_stop
    )
    return not (turned and dive.depth_m is not None and dive.depth_m < rules["held.shallow_turn_m"])


def described(scene: Scene, dive: Dive, *, typed: str = "", is_timed: bool = False) -> str:
    """Name, exercise, depth and outcome of a dive, with fill and time where they were said.

    `typed` is a depth as it was written, where that was not in metres. `is_timed`: when it was was
    said too. A dive of another day has its day and time in any case.
    """
    when = moment_of(scene, dive) if is_timed or not _is_today(scene, dive) else ""
    parts = (scene.name_of(dive.diver), *_parts(dive, typed), when)
    return " · ".join(part for part in parts if part)


def _is_today(scene: Scene, dive: Dive) -> bool:
    record = scene.record(dive.diver)
    return record.local_day(dive.happened_at) == record.local_day(scene.at)


def moment_of(scene: Scene, dive: Dive) -> str:
    """When a dive was: `09:40`, with the day where that is not today."""
    time = clock(dive.happened_at, scene.zone)
    if _is_today(scene, dive):
        return time
    on = scene.record(dive.diver).local_day(dive.happened_at)
    return say("echo.moment", day=on, time=time)


def _parts(dive: Dive, typed: str) -> Iterator[str]:
    what = say(f"exercise.{dive.exercise}")
    if dive.exercise is Exercise.DRY:
        yield joined((what, dive.task or "", "" if dive.amount is None else str(dive.amount)), " ")
        if dive.dive_time_s is not None:
            yield say("echo.dry-minutes", m=f"{dive.dive_time_s / 60:g}")
        yield outcome_words(dive)
        return
    if dive.depth_m is None:
        yield say("echo.no-depth", what=what) if dive.ending is Ending.STOP else what
    elif dive.target_m is not None and dive.target_m != dive.depth_m:
        yield say("echo.of-target", what=what, depth=dive.depth_m, target=dive.target_m)
    else:
        depth = say("echo.depth", what=what, depth=dive.depth_m)
        yield f"{depth} ({typed})" if typed else depth
    yield outcome_words(dive)
    if dive.fill_m is not None:
        yield (
            say("next.fill-at", depth=metres(dive.fill_m))
            if dive.fill_m
            else say("next.fill-surface")
        )
    if dive.dive_time_s is not None:
        minutes, seconds = divmod(dive.dive_time_s, 60)
        yield (
            say("echo.minutes", m=minutes, s=f"{seconds:02d}")
            if minutes
            else say("echo.seconds", s=seconds)
        )


def outcome_words(dive: Dive) -> str:
    """How a dive ended, with its reason."""
    ending = say(f"ending.{dive.ending}")
    reason = dive.reason
    if dive.ending is Ending.STOP and reason in (None, Reason.UNSTATED):
        return say("echo.no-reason", ending=ending)
    return ending if reason is None else f"{ending}, {say(f'reason.{reason}')}"


def echo(
    scene: Scene, dive: Dive, *, so_far: bool = True, typed: str = "", is_timed: bool = False
) -> str:
    """What was recorded, so that a mistake is seen, with its count."""
    words = described(scene, dive, typed=typed, is_timed=is_timed)
    if dive.waits:
        return words
    return joined((words, count_words(scene, dive, so_far=so_far)), " · ")


def count_words(scene: Scene, dive: Dive, *, so_far: bool = True) -> str:
    """`dive 2 of 5`, as of the session that the dive belongs to, and how many there are by now."""
    if not dive.exercise.is_exhale:
        return ""
    record, rules = scene.record(dive.diver), scene.rules
    state = standing(record, rules=rules, at=scene.at)
    now = plan(record, rules=rules, at=scene.at)
    allowed = now.dives_allowed
    session = state.session
    if not any(d.origin == dive.origin for d in session):
        # a dive of an earlier session: as things stood when that one ended
        gap = rules.session_gap
        end = dive.happened_at
        for d in record.dives:
            if end < d.happened_at <= end + gap:
                end = d.happened_at
        state = standing(record, rules=rules, at=end)
        session, allowed = state.session, state.dives_allowed()
    counted = [d for d in session if is_counted(d, rules)]
    if not is_counted(dive, rules):
        return say("echo.not-counted", done=len(counted), allowed=allowed)
    number = next((n for n, d in enumerate(counted, 1) if d.origin == dive.origin), len(counted))
    words = say("echo.count", done=number, allowed=allowed)
    if so_far and number < len(counted):
        words = say("echo.so-far", count=words, total=len(counted))
    return words


def caution(scene: Scene, dive: Dive, *, is_open: bool) -> str:
    """One caution about a dive that was just recorded, or nothing.

    `is_open`: the diver has a target now or could have; with none, its reason says enough.
    """
    if dive.waits or scene.silent:
        return ""
    state = standing(scene.record(dive.diver), rules=scene.rules, at=scene.at)
    if dive.exercise is Exercise.DIP and state.exercise is Exercise.RV and not state.dives_done:
        return say("caution.dip-first")
    if not dive.exercise.is_exhale:
        return ""
    place = dive.origin.place
    has_none = place in state.briefed and state.briefed[place] is None
    if is_open and has_none and is_counted(dive, scene.rules):
        return say("caution.no-target")
    until = takewhile(lambda d: d.origin != dive.origin, state.session)
    earlier = [d for d in until if d.exercise is not Exercise.DIP]
    if not earlier:
        return ""
    last = max(earlier, key=lambda d: d.happened_at)
    due_min = interval_min(last, rules=scene.rules)
    minutes = int((dive.happened_at - last.happened_at).total_seconds() // 60)
    if minutes < due_min:
        return say("caution.interval", minutes=minutes, due=due_min)
    return ""
