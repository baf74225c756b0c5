"""The round at the buoy: `order`, its message edited in place, and who is next after each report.

Only what was said in the group moves it, so that nothing told in private shows there.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from bot.heard import Kind
from bot.shorthand.reading import Command
from bot.talk.turn import Handler, Scene
from bot.texts.render import down, joined, say
from planner.order import Line, Round, order
from planner.plan import standing
from planner.record import Buddy, Dive, Done, Fit, Ordered, Strike, Watching
from storage.outcome import Letter, Outcome

GROUP_LINES = 4
"""How many lines an answer in the group has at most; who is next stands behind the last of them."""

_MOVE_IT = (Dive, Fit, Buddy, Watching, Done, Strike)
"""What said in the group changes the round."""


def ask(command: Command, scene: Scene, diver: str) -> Outcome:
    """`order`: the coming round. In the group it is one message that later reports edit."""
    text = _text(scene, _round(scene))
    if scene.in_private:
        return Outcome(letters=(scene.answer(text),))
    asked = Ordered(**scene.carried(scene.sender, command.line), group=scene.group)
    letter = replace(scene.to_group(text), slot=_slot(asked))
    return Outcome(facts=(asked,), letters=(letter,))


def _slot(asked: Ordered) -> str:
    """The slot of a round's message: later ones edit it; asked for anew it is a new message."""
    return f"order/{asked.origin.message}"


def with_round(scene: Scene, outcome: Outcome) -> Outcome:
    """An outcome with the round kept up to date, and who is next behind its answer in the group.

    Where no round was asked for in this session, or nothing was said that moves it, as it was.
    """
    if scene.in_private or scene.silent or scene.heard.kind is Kind.JOINED:
        return outcome
    asked = _asked(scene)
    if asked is None or not any(isinstance(f, _MOVE_IT) for f in outcome.facts):
        return outcome
    after = scene.after(outcome.facts)
    coming = _round(after)
    text = _text(after, coming)
    answered = [n for n, x in enumerate(outcome.letters) if x.to == scene.group and x.text]
    letters = list(outcome.letters)
    if answered and coming.next is not None:
        letters[answered[-1]] = _with_next(after, letters[answered[-1]], coming)
    if text != _text(scene, _round(scene)):
        letters.append(Letter(to=scene.group, text=text, slot=_slot(asked)))
    return replace(outcome, letters=tuple(letters))


def _asked(scene: Scene) -> Ordered | None:
    """The last that asked for a round in this group, where it is no longer ago than a session lasts."""
    since = scene.at - timedelta(hours=scene.rules["session.gap_h"])
    asked = [
        fact
        for key in scene.room.members
        for fact in scene.record(key).of(Ordered)
        if fact.group == scene.group and since <= fact.happened_at
    ]
    return max(asked, key=lambda f: f.origin.message, default=None)


def _round(scene: Scene) -> Round:
    """The coming round of everybody on the roster; a coach may ask for more lines."""
    records = [scene.record(key) for key in scene.room.members]
    wished = max(
        (standing(r, rules=scene.rules, at=scene.at).limits.lines(scene.at) for r in records),
        default=0,
    )
    return order(records, rules=scene.rules, at=scene.at, lines=wished or None)


def _text(scene: Scene, coming: Round) -> str:
    """`mara (ilse) 9.5`, a line for each line in the water; nobody is listed as missing."""
    if not coming.lines:
        return say("round.nobody")
    many = len(coming.lines) > 1
    rows = [
        say("round.line", number=n, turns=_turns(scene, line)) if many else _turns(scene, line)
        for n, line in enumerate(coming.lines, 1)
    ]
    if coming.unwatched:
        names = joined(scene.name_of(d) for d in coming.unwatched)
        rows.append(say("round.unwatched", names=names))
    return "\n".join(rows)


def _turns(scene: Scene, line: Line) -> str:
    return joined(
        (
            say(
                "round.turn",
                diver=scene.name_of(turn.diver),
                watcher=scene.name_of(turn.watcher),
                depth=down(turn.line_m),
            )
            for turn in line.turns
        ),
        " · ",
    )


def _with_next(scene: Scene, letter: Letter, coming: Round) -> Letter:
    turn = coming.next
    assert turn is not None
    words = say(
        "round.next",
        diver=scene.name_of(turn.diver),
        watcher=scene.name_of(turn.watcher),
        depth=down(turn.line_m),
    )
    between = "\n" if letter.text.count("\n") + 1 < GROUP_LINES else " "
    return replace(letter, text=f"{letter.text}{between}{words}")


HANDLERS: dict[str, Handler] = {"order": ask}
"""What this room answers, by the command's name."""
