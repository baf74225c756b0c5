"""One message for what was recorded: the echo, what is next, a caution; four lines in a group."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from bot.talk.aside import typed_for
from bot.talk.asked import base_line
from bot.talk.asking import Part
from bot.talk.following import what_next
from bot.talk.tasks import newly_set, practised
from bot.talk.tell import Next, caution, echo
from bot.talk.turn import Scene
from bot.texts.render import say
from planner.plan import standing
from planner.reasons import Because
from planner.record import Asked, Dive, Ending, Exercise
from storage.outcome import Key, Letter, Outcome

_NOT_ASKED = (Exercise.DRY, Exercise.DIP)
"""After a task on land or a watcher's dip nobody asked for a target."""

GROUP_LINES = 4
"""How many lines a message to the group has at most."""

PRIVATE_LINES = 12
"""In private there is more room (house rule)."""


def reply(
    before: Scene, after: Scene, parts: list[Part], *, first: tuple[str, ...] = ()
) -> Outcome:
    """What is written and said about the lines of one message.

    `before` and `after` are the turn without and with the facts of the parts; `first` comes before
    all (what an undo took back, say).
    """
    dives = [p.dive for p in parts if p.dive is not None]
    several = len(dives) > 1
    echoes: dict[str, list[str]] = {}
    for part in parts:
        if part.dive is not None:
            words = echo(
                after, part.dive, so_far=not several, typed=part.typed, is_timed=part.is_timed
            )
            echoes.setdefault(part.diver, []).append(words)
    # several hard dives in one message: the last one is asked about, it is fresh in mind
    asking = [p for n, p in enumerate(parts) if n == len(parts) - 1 or not _is_hard(p)]
    asks = list(dict.fromkeys(text for p in asking for text in p.asks))
    notes = [text for p in parts for text in p.says]
    notes += [text for dive in dives for text in practised(before, after, dive)]
    if not after.silent:
        notes += [text for dive in dives for text in _raised(before, after, dive)]
        divers = dict.fromkeys(d.diver for d in dives if d.exercise not in _NOT_ASKED)
        notes += [text for diver in divers for text in newly_set(before, after, diver)]
    told = {diver: _next(before, after, parts, diver) for diver in _told_divers(parts)}
    nexts = tuple(told.values())
    following = [
        f"{after.name_of(diver)} · {line}"
        if n.plan is not None and len(told) > 1
        else typed_for(after, diver, line)
        for diver, n in told.items()
        for line in n.lines
    ]
    cautions = [
        words
        for dive in dives
        if (words := caution(after, dive, is_open=told.get(dive.diver, Next()).is_open))
    ][:1]
    keys = [row for p in asking for row in p.keys] + [
        row if len(told) == 1 else tuple(_named(after, key) for key in row)
        for n in nexts
        for row in n.keys
    ]
    lines = fitted(
        list(first),
        echoes,
        following,
        [*notes, *asks, *cautions],
        most=PRIVATE_LINES if after.in_private else GROUP_LINES,
    )
    about = {p.diver for p in parts}
    letters = []
    if lines:
        whom = about.pop() if len(about) == 1 else None
        letters.append(after.answer("\n".join(lines), keys=tuple(keys), about=whom))
    return Outcome(
        facts=(*(f for p in parts for f in p.facts), *(f for n in nexts for f in n.facts)),
        letters=(
            *letters,
            *(letter for p in parts for letter in p.letters),
            *(letter for n in nexts for letter in n.letters),
        ),
    )


def _raised(before: Scene, after: Scene, dive: Dive) -> Iterator[str]:
    """A PB that a dive on full lungs has raised, and the practice that changes with it."""
    if dive.exercise is not Exercise.FULL:
        return
    was, now = (standing(s.record(dive.diver), rules=s.rules, at=s.at) for s in (before, after))
    if now.is_under_age or now.pb_m is None or now.pb_m <= (was.pb_m or 0.0):
        return
    yield say("full.pb", pb=now.pb_m)
    if now.exercise is not was.exercise and now.exercise is not None:
        what = say(f"exercise.{now.exercise}")
        yield say("full.pb-changes", what=what, from_m=after.rules["exercise.rv_from_pb_m"])


def _named(scene: Scene, key: Key) -> Key:
    return replace(key, label=f"{scene.name_of(key.diver)} {key.label}")


def _is_hard(part: Part) -> bool:
    return part.dive is not None and part.dive.ending is Ending.HARD


def _told_divers(parts: list[Part]) -> list[str]:
    """Whose next target is told: who has a new dive, and no question that bars about this message."""
    waiting = {f.diver for p in parts for f in p.facts if isinstance(f, Asked) and f.bars}
    divers = [
        p.diver
        for p in parts
        if p.dive is not None and not p.dive.waits and p.dive.exercise not in _NOT_ASKED
    ]
    return [d for d in dict.fromkeys(divers) if d not in waiting]


def _next(before: Scene, after: Scene, parts: list[Part], diver: str) -> Next:
    lines = [base_line(p.dive.origin.line) for p in parts if p.dive and p.diver == diver]
    told = what_next(after, diver, line=max(lines, default=0), before=before.record(diver))
    if told.named is Because.DEPTH_UNKNOWN and any(p.asks for p in parts if p.diver == diver):
        return Next(letters=told.letters)  # the question itself says so
    return told


def one_letter(scene: Scene, first: list[str], told: Next, *, about: str | None) -> Letter:
    """What was taken back, and what is next."""
    most = PRIVATE_LINES if scene.in_private else GROUP_LINES
    lines = fitted(first, {}, list(told.lines), [], most=most)
    return scene.answer("\n".join(lines), keys=told.keys, about=about)


def fitted(
    first: list[str],
    echoes: Mapping[str, list[str]],
    following: list[str],
    rest: list[str],
    *,
    most: int,
) -> list[str]:
    """The lines of one message, with those of a kind joined until there are no more than `most`.

    What was dived is joined first, one line a diver; then what is asked, what follows, and all
    that is left.
    """
    every = [line for lines in echoes.values() for line in lines]
    groups = [first, every, following, rest]
    shorter = (
        (1, ["; ".join(lines) for lines in echoes.values()]),
        (3, [" ".join(rest)] if rest else []),
        (2, [" ".join(following)] if following else []),
        (1, ["; ".join(every)] if every else []),
        (0, [" ".join(first)] if first else []),
    )
    for which, joined_lines in shorter:
        if sum(map(len, groups)) <= most:
            break
        groups[which] = joined_lines
    return [line for lines in groups for line in lines]
