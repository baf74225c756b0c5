"""Questions that wait for an answer: Asked facts, found again by a bare word or a button.

A question about a line that could not be recorded has the line's own place. One about a dive that
is recorded already (its depth, its reason, whether it was clean) stands beside it, in a place of
its own, so that the dive is not taken for the answer. What is answered is struck.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from bot.shorthand.reading import Doubt, Report
from bot.talk.lines import is_bare, merged, read
from bot.talk.turn import Scene
from planner.record import Asked, Brief, Dive, DiverRecord, Ending, Fact, Origin, Reason, Strike

LINES = 1000
"""Lines of a message; what stands beside line n has n plus a multiple of it."""

BESIDE = {"allow": 3, "recheck": 4, "reason": 5, "depth": 6, "hard-why": 7, "answered": 8}
"""Questions about a dive that is recorded: which multiple each of them has."""

Place = tuple[str, int, int]


def beside(origin: Origin, question: str) -> Origin:
    """Where a question about a recorded line stands."""
    return replace(origin, line=base_line(origin.line) + BESIDE[question] * LINES)


def base_line(line: int) -> int:
    """The line of the message that a place is about."""
    return line % LINES


def base_of(place: Place) -> Place:
    """The place of the line that a question is about."""
    return (place[0], place[1], base_line(place[2]))


def dive_at(record: DiverRecord, place: Place) -> Dive | None:
    """The dive that a line was recorded as."""
    return next((d for d in record.dives if d.origin.place == place), None)


def next_version(record: DiverRecord, place: Place) -> Origin:
    """The next version of a line, after all that stand."""
    edits = [f.origin.edit for f in record.facts if f.origin.place == place]
    edit = 1 + max(edits, default=-1)
    return Origin(chat=place[0], message=place[1], line=place[2], edit=edit)


def is_open(scene: Scene, asked: Asked) -> bool:
    """Whether a question still waits: unanswered, not struck, and its session not over."""
    if asked.question == "answered":
        return False
    gap = scene.rules.session_gap
    # of a dive told late, the question is as young as the telling
    is_over = scene.at - max(asked.happened_at, asked.said_at) > gap
    if is_over and asked.question != "depth":
        return False
    record = scene.record(asked.diver)
    place = asked.origin.place
    if asked not in record.facts:
        return False
    if asked.origin.line < LINES:
        return not any(
            f.origin.place == place and not isinstance(f, (Asked, Brief)) for f in record.facts
        )
    dive = dive_at(record, base_of(place))
    if dive is None:
        return False
    if asked.question == "depth":
        # a pressure stop's depth is owed beyond its session
        return dive.depth_m is None and (dive.is_pressure_stop or not is_over)
    return True


def open_questions(scene: Scene, *, by: str | None = None) -> list[Asked]:
    """The open questions that somebody may answer, the newest first."""
    who = scene.sender if by is None else by
    found = [
        asked
        for diver in scene.room.members
        for asked in scene.record(diver).of(Asked)
        if who in asked.may_answer and is_open(scene, asked)
    ]
    return sorted(found, key=lambda a: (a.said_at, a.origin), reverse=True)


def at_place(scene: Scene, place: Place, diver: str) -> Asked | None:
    """The open question of a place, or None."""
    for whom in dict.fromkeys((diver, *scene.room.members)):
        for asked in scene.record(whom).of(Asked):
            if asked.origin.place == place and is_open(scene, asked):
                return asked
    return None


def strike(scene: Scene, fact: Fact, *, line: int = 0) -> Strike:
    """Takes a fact back: this message says so, now."""
    return Strike(
        diver=fact.diver,
        happened_at=scene.at,
        said_at=scene.at,
        by=scene.sender,
        origin=scene.origin(line),
        struck=fact.origin,
    )


def strikes_of(scene: Scene, dive: Dive) -> Iterator[Strike]:
    """Takes a dive back, with the questions beside it."""
    yield strike(scene, dive)
    place = dive.origin.place
    for asked in scene.record(dive.diver).of(Asked):
        if asked.origin.line >= LINES and base_of(asked.origin.place) == place:
            yield strike(scene, asked)


def report_of(dive: Dive) -> Report:
    """A recorded dive as the report that it was."""
    return Report(
        line=base_line(dive.origin.line),
        text="",
        exercise=dive.exercise,
        depth_m=dive.depth_m,
        target_m=dive.target_m,
        fill_m=dive.fill_m,
        ending=dive.ending,
        reason=dive.reason,
        dive_time_s=dive.dive_time_s,
        task=dive.task,
        amount=dive.amount,
        note=dive.note,
    )


def bases(scene: Scene, asked: Asked) -> Iterator[Report]:
    """What the line may be that a question is about: the dive as recorded, or each of its readings."""
    if asked.origin.line >= LINES:
        dive = dive_at(scene.record(asked.diver), base_of(asked.origin.place))
        if dive is not None:
            yield report_of(dive)
        return
    names = [m.name for m in scene.room.members.values()]
    for line in asked.readings:
        found = read(line, names)
        if isinstance(found, Report):
            yield found


def under(scene: Scene, asked: Asked) -> Report | None:
    """The first of what the line may be; a bare word changes a part of it."""
    return next(bases(scene, asked), None)


def answering(scene: Scene, said: Report, diver: str) -> tuple[Asked, Report] | None:
    """The newest open question that a report answers, and what the two say together."""
    for asked in open_questions(scene):
        if asked.diver != diver and (said.who or not is_bare(said)):
            continue
        if is_bare(said):
            base = under(scene, asked)
            if base is not None and _fits(asked.question, said):
                return asked, _joined(asked, said, base)
        elif scene.heard.sent_at - asked.said_at <= _SOON:
            known = list(bases(scene, asked))
            for base in known:
                if _is_same_dive(asked, said, base):
                    # what was doubtful lends nothing to what is said plainly now
                    is_recorded = asked.origin.line >= LINES
                    return asked, merged(said, base) if is_recorded else _of_exercise(said, base)
            if asked.diver == diver and _says_again(asked, known):
                return asked, said
    return None


def _of_exercise(said: Report, base: Report) -> Report:
    """A report with the exercise that was named before, where it names none."""
    if said.exercise is not None or base.exercise is None:
        return said
    return replace(said, exercise=base.exercise, any_exhale=False)


def _says_again(asked: Asked, known: Sequence[Report]) -> bool:
    """A whole report after one whose depth could not be read is that one, said again."""
    is_beside = asked.origin.line >= LINES
    return not is_beside and (not known or asked.question in _WANT_DEPTH)


_SOON = timedelta(minutes=3)
"""Within this a whole report of the same dive answers the question about it (house rule).

Shorter than any interval, so that the next dive is never taken for an answer."""


def _fits(question: str, said: Report) -> bool:
    """Whether a bare word can answer a question at all."""
    if question in _BY_BUTTON:
        return False
    if question == "depth" or question in _WANT_DEPTH:
        return said.depth_m is not None
    if question == "hard-why":
        return _is_reason_alone(said)
    if question == "reason":
        return said.ending is Ending.STOP and said.reason not in (None, Reason.UNSTATED)
    if question == Doubt.SHORT_OK:
        return said.ending in (Ending.EARLY, Ending.STOP)
    return said.ending is not None


_BY_BUTTON = frozenset(
    {"allow", "whose", "twice", "exercise", Doubt.PAST_TARGET, Doubt.FILL_DEEPER}
    | {Doubt.CLOCK, Doubt.DIVE_TIME, Doubt.TOO_MANY, Doubt.TOO_LONG}
)
"""Questions that no bare word answers."""

_WANT_DEPTH = frozenset(
    {Doubt.NO_DEPTH, Doubt.TWO_NUMBERS, Doubt.NUMBER_FORM, Doubt.DEPTH_RANGE, Doubt.HIDDEN}
)
"""Questions that a bare number answers."""


def _is_reason_alone(said: Report) -> bool:
    """`ears`, and not `stop ears`: that one ends the next dive."""
    named = said.ending is Ending.STOP and said.reason not in (None, Reason.UNSTATED)
    return named and len(said.text.split("#")[0].split()) == 1


def _joined(asked: Asked, said: Report, base: Report) -> Report:
    if asked.question == "hard-why":
        return why_hard(said, base)
    if asked.question not in ("depth", "reason") and said.ending is None and said.depth_m is None:
        return base
    return merged(said, base)


def why_hard(said: Report, base: Report) -> Report:
    """A hard dive with its reason; pressure makes it a stop, since stop beats hard."""
    reason = said.reason
    if reason is not None and reason.is_pressure:
        return replace(base, ending=Ending.STOP, reason=reason)
    return replace(base, reason=reason)


def _is_same_dive(asked: Asked, said: Report, base: Report) -> bool:
    """A whole report about the dive that is asked about: of the same depth, or the depth itself.

    One that doesn't say how it went answers no question about a dive that stands.
    """
    if asked.origin.line >= LINES and said.ending is None:
        return False
    if asked.question in ("allow", "whose", "twice", "hard-why"):
        return False
    if asked.question == "exercise" and said.exercise is None:
        return False
    named = said.exercise is not None and base.exercise is not None
    if named and said.exercise is not base.exercise:
        return False
    if asked.question == "depth":
        return (
            said.ending is Ending.STOP
            and said.depth_m is not None
            and not said.any_exhale
            and said.exercise is None
            and said.reason in (None, Reason.UNSTATED, base.reason)
        )
    return (
        said.depth_m is not None
        and base.depth_m is not None
        and abs(said.depth_m - base.depth_m) < 0.05
    )


def asked_fact(
    scene: Scene,
    diver: str,
    question: str,
    *,
    origin: Origin,
    happened_at: datetime,
    readings: tuple[str, ...] = (),
    may_answer: tuple[str, ...] | None = None,
    bars: bool = True,
) -> Asked:
    """The fact that something was asked."""
    who = scene.pressers(diver) if may_answer is None else may_answer
    if may_answer is None and scene.sender not in who:
        who = (*who, scene.sender)
    return Asked(
        diver=diver,
        happened_at=happened_at,
        # what came late is asked about when it came, and answered after that
        said_at=scene.at if scene.is_late else scene.carried(diver)["said_at"],
        by=scene.sender,
        origin=origin,
        question=question,
        readings=readings,
        may_answer=who,
        bars=bars,
    )
