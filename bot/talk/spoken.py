"""What somebody wrote, line by line: reports and commands; and the buttons that stand for lines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from bot.heard import Button, Kind
from bot.shorthand.reading import Chatter, Command, Doubt, Reading, Report, Unclear
from bot.talk import asked as questions
from bot.talk import (
    called,
    coach,
    full_lung,
    people,
    profile,
    readiness,
    round_talk,
    session,
    views,
    why,
)
from bot.talk.age import told_of_age
from bot.talk.asked import LINES, at_place, base_line, base_of, dive_at, next_version, strike
from bot.talk.asking import (
    Line,
    Part,
    new_line,
    quoted,
    unclear,
    whose,
)
from bot.talk.dives import take
from bot.talk.following import what_next
from bot.talk.health_letters import help_letter
from bot.talk.keys import NO_DIVE, STOP_KEY, reason_keys
from bot.talk.lines import is_bare, merged
from bot.talk.reply import reply
from bot.talk.tell import Next, described, echo
from bot.talk.turn import Handler, Scene, both, said
from bot.talk.who import could_be_either, may_command, meant
from bot.texts.render import joined, say
from planner.record import PB, Asked, Brief, Ending, Fact
from storage.outcome import Letter, Outcome


def _emergency(command: Command, scene: Scene, diver: str) -> Outcome:
    """The help text, anywhere, for anyone, at once."""
    return said(help_letter(scene.heard.chat, "emergency", scene.room, about=None))


HANDLERS: Mapping[str, Handler] = {
    **views.HANDLERS,
    **readiness.HANDLERS,
    **why.HANDLERS,
    **full_lung.HANDLERS,
    **coach.HANDLERS,
    **round_talk.HANDLERS,
    **people.HANDLERS,
    **profile.HANDLERS,
    **session.HANDLERS,
    **called.HANDLERS,
    "emergency": _emergency,
}
"""Every command's handler, by the command's name."""

_YES = ("yes", "y")
_NO = ("no", "n")


def spoken(scene: Scene, said_: tuple[Reading, ...]) -> Outcome:
    """A message, line by line; each line knows what the ones above it came to."""
    now = scene
    parts: list[Part] = []
    outcomes: list[Outcome] = []
    for reading in map(dive_or_volume(scene), said_):
        age = told_of_age(now, reading)
        if age is not None:
            outcomes.append(age)
            scene, now = scene.after(age.facts), now.after(age.facts)
            if isinstance(reading, Chatter) or (
                isinstance(reading, Unclear) and not reading.is_dive
            ):
                continue
        match reading:
            case Command():
                # reports above a command are answered first, as they were said first
                outcomes += _flush(scene, now, parts)
                scene = now
                outcome = command(reading, now)
                outcomes.append(outcome)
                now = now.after(outcome.facts)
                scene, parts = now, []
            case Report() | Unclear():
                part = line_part(now, reading)
                if part is not None:
                    parts.append(part)
                    now = now.after(part.facts)
            case Chatter():
                part = _yes_or_no(now, reading)
                if part is not None:
                    parts.append(part)
                    now = now.after(part.facts)
    outcomes += _flush(scene, now, parts)
    whole = both(*outcomes)
    if scene.in_private and not (whole.letters or whole.facts or whole.changes) and said_:
        bare = any(isinstance(r, Report) for r in said_)
        return said(scene.answer(say("turn.nothing-waits" if bare else "turn.chatter")))
    return whole


LARGEST_L = 10.0
"""No lung volume is larger: `frc 12` is a dive wherever it is said."""


def dive_or_volume(scene: Scene) -> Callable[[Reading], Reading]:
    """`frc 7` may be a volume or a dive: a dive in a group, and where no lungs are so large."""

    def read(reading: Reading) -> Reading:
        if isinstance(reading, Command):
            dive = reading.args.get("dive")
            if isinstance(dive, Report) and (
                not scene.in_private or (dive.depth_m or 0.0) > LARGEST_L
            ):
                return dive
        return reading

    return read


def _flush(before: Scene, after: Scene, parts: list[Part]) -> list[Outcome]:
    return [reply(before, after, parts)] if parts else []


def command(said_: Command, scene: Scene) -> Outcome:
    """Hand a command to its room."""
    if said_.name == "emergency":
        return _emergency(said_, scene, scene.sender)  # for anyone, about anyone
    whom = meant(scene, said_)
    if whom.diver is None:
        return said(scene.answer(_unknown(whom.unknown, whom.close)))
    if not may_command(scene, said_.name, whom.diver):
        if said_.args.get("loose"):
            return Outcome()  # `ana is not fit` is talk, where it isn't for the sender to say
        name = scene.name_of(whom.diver)
        return said(scene.answer(say("turn.not-yours", name=name)))
    handler = HANDLERS.get(said_.name)
    if handler is None:
        return said(scene.answer(say("turn.unknown-command", word=quoted(said_.text, 20))))
    return handler(said_, scene, whom.diver)


def _unknown(name: str, close: tuple[str, ...]) -> str:
    who = quoted(name, 24)
    if close:
        return say("question.who-close", who=who, close=joined(close, " / "))
    return say("question.who", who=who)


def line_part(scene: Scene, reading: Report | Unclear) -> Part | None:
    """One report or unclear line; None where it is no dive."""
    whom = meant(scene, reading)
    if whom.diver is None:
        if isinstance(reading, Report) and is_bare(reading):
            return None
        return Part(diver=scene.sender, says=(_unknown(whom.unknown, whom.close),))
    at = new_line(scene, reading.line)
    if isinstance(reading, Unclear):
        return unclear(scene, reading, whom.diver, at)
    other = could_be_either(scene, reading)
    if other is not None and not is_bare(reading):
        return whose(scene, reading, other, at)
    if scene.heard.kind is Kind.MESSAGE or _is_offered(scene, reading):
        found = questions.answering(scene, reading, whom.diver)
        if found is not None:
            part = answered(scene, *found)
            return replace(part, facts=(*part.facts, _marker(scene, found[0], reading.line)))
    if other is not None and reading.ending is Ending.STOP:
        return whose(scene, reading, other, at)
    if is_bare(reading) and not (_ends_briefed(scene, reading, whom.diver)):
        return None
    return take(scene, reading, whom.diver, at)


def _is_offered(scene: Scene, report: Report) -> bool:
    """Whether it is a bare word that a button offered for a misspelt one."""
    return scene.heard.kind is Kind.PRESS and is_bare(report) and report.ending is not Ending.STOP


def _ends_briefed(scene: Scene, report: Report, diver: str) -> bool:
    """Whether a stop alone ends a dive: one was briefed, or dived, in the last hours.

    `stop sternum`, in so many words, does where the diver's exercise is known at all; a lone
    `cold` may be the weather.
    """
    if report.ending is not Ending.STOP:
        return False
    gap = scene.rules.session_gap
    record = scene.record(diver)
    known = (record.latest(Brief), record.dives[-1] if record.dives else None)
    if any(f is not None and scene.at - f.happened_at <= gap for f in known):
        return True
    in_words = len(report.text.split("#")[0].split()) > 1
    return in_words and any(record.of(PB))


# answers to questions


def answered(scene: Scene, asked: Asked, report: Report, *, by_button: bool = False) -> Part:
    """Record what a question and its answer say together, in the place of the line asked about."""
    record = scene.record(asked.diver)
    place = base_of(asked.origin.place)
    dive = dive_at(record, place) if asked.origin.line >= LINES else None
    whom = meant(scene, report).diver if report.who else None
    if dive is not None:
        if asked.question == "hard-why" and by_button:
            report = questions.why_hard(report, questions.report_of(dive))
        return session.mend(scene, dive, replace(report, asks=None))
    diver = whom or asked.diver
    # the place belongs to the line; in another diver's record nothing stands there yet
    origin = next_version(record, place)
    by = asked.by if diver == asked.diver and scene.may_log(asked.by, diver) else scene.sender
    line = Line(
        origin=origin,
        happened_at=asked.happened_at,
        by=by,
        instead_of=(asked,),
        is_confirmed=True,
    )
    return take(scene, replace(report, line=base_line(place[2]), asks=None), diver, line)


ANSWERED = "answered"


def _marker(scene: Scene, asked: Asked, line: int) -> Asked:
    """Remembers which line a typed answer was about, so that an edit of the answer mends it."""
    chat, message, about = base_of(asked.origin.place)
    return questions.asked_fact(
        scene,
        asked.diver,
        ANSWERED,
        origin=questions.beside(scene.origin(line), ANSWERED),
        happened_at=asked.happened_at,
        readings=(chat, str(message), str(about)),
        bars=False,
    )


def _yes_or_no(scene: Scene, chatter: Chatter) -> Part | None:
    """`yes` or `no` to the newest question that can be answered so."""
    word = chatter.text.strip().strip(".!").casefold()
    if word not in (*_YES, *_NO):
        return None
    yes = word in _YES
    for asked in questions.open_questions(scene):
        if asked.question == "allow":
            return _let(scene, asked, yes=yes)
        if asked.question == "recheck" and yes:
            return _dropped(scene, asked)  # it was as it is recorded
        if asked.question in _YES_OR_NO:
            meant = questions.under(scene, asked) if yes else None
            if meant is not None:
                return answered(scene, asked, meant)
            return None if yes or asked.question == Doubt.SHORT_OK else _dropped(scene, asked)
    return None


_YES_OR_NO = frozenset({"twice", Doubt.QUESTION, Doubt.TYPO, Doubt.SHORT_OK})
"""Questions whether a line is what its first reading says; a no drops it, but one that fell short was dived."""


def _let(scene: Scene, asked: Asked, *, yes: bool) -> Part:
    """A report that waited for its diver's yes: recorded, or left out."""
    dive = dive_at(scene.record(asked.diver), base_of(asked.origin.place))
    strikes: tuple[Fact, ...] = (strike(scene, asked),)
    if dive is None:
        return Part(diver=asked.diver, facts=strikes)
    strikes = (*strikes, strike(scene, dive))
    if not yes:
        words = say("waits.left-out", dive=described(scene, dive))
        return Part(diver=asked.diver, facts=strikes, says=(words,))
    origin = next_version(scene.record(asked.diver), dive.origin.place)
    is_timed = dive.happened_at < dive.said_at  # of now, the two are one
    let_in = replace(dive, waits=False, origin=origin, said_at=scene.carried(dive.diver)["said_at"])
    facts = (*strikes, let_in)
    letters: tuple[Letter, ...] = ()
    if scene.in_private and dive.origin.chat == scene.group:
        # where it was said that it waits, it is said that it does no more
        words = echo(scene.after(facts), let_in, is_timed=is_timed)
        letters = (scene.to_group(words, about=asked.diver),)
    return Part(diver=asked.diver, facts=facts, dive=let_in, is_timed=is_timed, letters=letters)


# buttons


def refused_press(scene: Scene, button: Button) -> Outcome | None:
    """Why a press doesn't count: forged, somebody else's, or used up; None where it does."""
    if not button.known:
        return said(scene.answer(say("button.unknown")))
    if scene.sender not in button.may_press:
        name = scene.name_of(button.diver)
        return said(scene.answer(say("button.not-yours", name=name)))
    if not button.fresh:
        return said(scene.answer(say("button.used")))
    return None


def pressed(scene: Scene, button: Button, said_: tuple[Reading, ...]) -> Outcome:
    """A button: an answer to its question, the reasons of a stop, or a line like any other."""
    asked = None
    if button.answers is not None:
        asked = at_place(scene, button.answers, button.diver)
        if asked is None:
            return said(scene.answer(say("button.closed")))
    if button.says == STOP_KEY:
        text = say("button.no-reason-now", name=scene.name_of(button.diver))
        keys = reason_keys(scene, button.diver, button.answers)
        return said(scene.answer(text, keys=keys, about=button.diver))
    if asked is None:
        if _is_of_an_earlier_session(scene, button, said_):
            return said(scene.answer(say("button.old")))
        return spoken(scene, said_)
    part = _pressed_answer(scene, asked, button.says, said_)
    if part is None:
        return said(scene.answer(say("button.closed")))
    return reply(scene, scene.after(part.facts), [part])


def _is_of_an_earlier_session(scene: Scene, button: Button, said_: tuple[Reading, ...]) -> bool:
    """A dive's button under a brief that has long lapsed: what it would log is not what was meant."""
    if not any(isinstance(r, Report) for r in said_):
        return False
    brief = scene.record(button.diver).latest(Brief)
    gap = scene.rules.session_gap
    return brief is None or scene.at - brief.happened_at > gap


def _pressed_answer(
    scene: Scene, asked: Asked, says: str, said_: tuple[Reading, ...]
) -> Part | None:
    if asked.question == "allow":
        return _let(scene, asked, yes=says == "yes")
    if says == NO_DIVE:
        return _dropped(scene, asked)
    report = next((r for r in said_ if isinstance(r, Report)), None)
    if report is None:
        return None
    base = questions.under(scene, asked)
    is_part = is_bare(report) or asked.origin.line >= LINES
    if base is not None and is_part and asked.question != "hard-why":
        report = merged(report, base)
    return answered(scene, asked, report, by_button=True)


def _dropped(scene: Scene, asked: Asked) -> Part:
    """A question that came to nothing: it was no dive, or needs no reason."""
    facts = (strike(scene, asked),)
    if asked.origin.line >= LINES:
        return Part(diver=asked.diver, facts=facts)
    after = scene.after(facts)
    told = what_next(after, asked.diver) if _is_in_session(after, asked.diver) else Next()
    return Part(
        diver=asked.diver,
        facts=(*facts, *told.facts),
        says=told.lines or (say("session.dropped"),),
        keys=told.keys,
        letters=told.letters,
    )


def _is_in_session(scene: Scene, diver: str) -> bool:
    dives = scene.record(diver).dives
    gap = scene.rules.session_gap
    return bool(dives) and scene.at - dives[-1].happened_at <= gap
