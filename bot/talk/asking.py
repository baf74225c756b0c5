"""What is asked about a line, and the buttons that answer it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime

from bot.shorthand.reading import Doubt, Report, Unclear
from bot.talk.asked import answering, asked_fact, strike
from bot.talk.keys import STOP_KEY, Keys, last_target_m, reading_keys, short_label
from bot.talk.lines import line_of, read
from bot.talk.turn import Scene
from bot.texts.render import has, metres, say
from planner.record import Asked, Dive, Ending, Fact, Origin
from storage.outcome import Letter


@dataclass(frozen=True, kw_only=True)
class Part:
    """What one line came to: facts, the dive it was recorded as, what is asked and said of it."""

    diver: str
    facts: tuple[Fact, ...] = ()
    dive: Dive | None = None
    asks: tuple[str, ...] = ()
    keys: Keys = ()
    letters: tuple[Letter, ...] = ()
    says: tuple[str, ...] = ()
    typed: str = ""  # a depth that was not said in metres
    is_timed: bool = False  # when it was stands in the line


@dataclass(frozen=True, kw_only=True)
class Line:
    """Where a line stands and how it came: for a new one, or in place of an earlier version."""

    origin: Origin
    happened_at: datetime
    by: str
    instead_of: tuple[Fact, ...] = field(default=())
    is_confirmed: bool = False


def new_line(scene: Scene, number: int) -> Line:
    """A line of this very message."""
    return Line(origin=scene.origin(number), happened_at=scene.heard.sent_at, by=scene.sender)


def ask_ending(scene: Scene, report: Report, diver: str, at: Line) -> Part:
    """`exh 12`: how did it go? One that fell short of its target was turned: by choice, or a stop."""
    target = report.target_m or 0.0
    is_short = (report.depth_m or 0.0) < target
    endings = (Ending.EARLY,) if is_short else (Ending.CLEAN, Ending.HARD, Ending.EARLY)
    readings = tuple(line_of(replace(report, ending=e)) for e in endings)
    fact = asked_of(scene, diver, at, "ending", readings)
    depth = metres(report.depth_m or 0.0)
    place = fact.origin.place
    keys = (
        *(
            scene.key(f"{depth} {'ok' if e is Ending.CLEAN else e}", line, diver, answers=place)
            for e, line in zip(endings, readings, strict=True)
        ),
        scene.key(STOP_KEY, STOP_KEY, diver, answers=place, sticky=True),
    )
    text = say(
        "question.ending-short" if is_short else "question.ending",
        name=scene.name_of(diver),
        what=say(f"exercise.{report.exercise}"),
        depth=depth,
        target=metres(target),
    )
    return Part(diver=diver, facts=(*struck(scene, at), fact), asks=(text,), keys=(keys,))


def struck(scene: Scene, at: Line) -> Iterator[Fact]:
    """Takes back what a line comes in place of."""
    return (strike(scene, fact) for fact in at.instead_of)


def asked_of(
    scene: Scene,
    diver: str,
    at: Line,
    question: str,
    readings: tuple[str, ...],
    *,
    bars: bool = True,
) -> Asked:
    """The fact that a line is asked about, in the line's own place.

    Who may not log for a diver bars nothing of theirs.
    """
    return asked_fact(
        scene,
        diver,
        question,
        origin=at.origin,
        happened_at=min(at.happened_at, scene.at),
        readings=readings,
        bars=bars and scene.may_log(scene.sender, diver),
    )


def ask(
    scene: Scene,
    report: Report,
    diver: str,
    at: Line,
    question: str,
    readings: tuple[str, ...],
) -> Part:
    """Ask about a report that can't be recorded as it stands.

    A dive that stands already stays as it is: it is told what can't be, and nothing is struck.
    """
    if question == Doubt.SHORT_OK:
        readings = (line_of(replace(report, ending=Ending.EARLY)),)
    fact = asked_of(scene, diver, at, question, readings)
    key = f"question.{question}" if has(f"question.{question}") else f"doubt.{question}"
    text = say(
        key,
        name=scene.name_of(diver),
        text=quoted(report.text or line_of(report)),
        word="",
        offer="",
    )
    if any(isinstance(f, Dive) for f in at.instead_of):
        return Part(diver=diver, asks=(text,))
    return Part(
        diver=diver,
        facts=(*struck(scene, at), fact),
        asks=(text,),
        keys=reading_keys(scene, fact),
    )


def unclear(scene: Scene, said: Unclear, diver: str, at: Line) -> Part:
    """A line that can't be read for sure: its readings become buttons."""
    question = str(said.doubt)
    as_typed = said.doubt is Doubt.ARGUMENT and bool(said.offer)
    text = say(
        "doubt.argument-as" if as_typed else f"doubt.{question}",
        name=scene.name_of(diver),
        text=quoted(said.text),
        word=quoted(said.word),
        offer=quoted(said.offer),
    )
    is_number = said.doubt is Doubt.TWO_NUMBERS and _may_be_a_dive(scene, said, diver)
    if not (said.is_dive or is_number):
        keys = tuple(scene.key(short_label(r), r, diver) for r in said.readings[:4])
        return Part(diver=diver, asks=(text,), keys=(keys,) if keys else ())
    readings = said.readings
    if said.doubt is Doubt.NO_DEPTH and not readings:
        readings = tuple(_with_depths(scene, said, diver))
    # two numbers and nothing else may be no dive
    fact = asked_of(scene, diver, at, question, readings, bars=said.is_dive)
    return Part(diver=diver, facts=(fact,), asks=(text,), keys=reading_keys(scene, fact))


def _may_be_a_dive(scene: Scene, said: Unclear, diver: str) -> bool:
    """Whether two numbers are neither parts for a command (`fix 12, 5`) nor the answer to a question."""
    names = [m.name for m in scene.room.members.values()]
    found = [r for r in (read(line, names) for line in said.readings) if isinstance(r, Report)]
    return bool(found) and all(answering(scene, r, diver) is None for r in found)


def _with_depths(scene: Scene, said: Unclear, diver: str) -> Iterator[str]:
    """`exh ok`: the line with the depth that was briefed, and two less."""
    deepest = last_target_m(scene, diver)
    head = said.text.partition("#")[0]
    names = [m.name for m in scene.room.members.values()]
    for depth in (deepest, deepest - 1, deepest - 2):
        found = read(f"{head} {metres(depth)}m", names) if depth > 0 else None
        if isinstance(found, Report):
            yield line_of(found)


def whose(scene: Scene, report: Report, other: str, at: Line) -> Part:
    """A reply to somebody's message that names nobody: whose dive is it?"""
    me, name = scene.sender, scene.name_of(other)
    line = line_of(report)
    readings = (line, f"for {name} {line}")
    fact = asked_of(scene, me, at, "whose", readings)
    place = fact.origin.place
    keys = (
        scene.key(say("key.mine"), readings[0], me, answers=place, may_press=(me,)),
        scene.key(say("key.theirs", name=name), readings[1], me, answers=place, may_press=(me,)),
    )
    text = say("question.whose", name=scene.name_of(me), text=quoted(line))
    return Part(diver=me, facts=(fact,), asks=(text,), keys=(keys,))


def quoted(text: str, most: int = 60) -> str:
    """What somebody wrote, made fit to be shown: one line, nothing hidden, not too long."""
    shown = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    shown = " ".join(shown.split())
    return shown if len(shown) <= most else shown[: most - 1] + "…"
