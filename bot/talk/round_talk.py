"""The round at the buoy: `order`, its message edited in place, and who is next after each report.

Only what was said in the group moves it, so that nothing told in private shows there.
"""

from __future__ import annotations

from dataclasses import replace

from bot.heard import Kind
from bot.shorthand.reading import Command
from bot.talk.called import called_until
from bot.talk.turn import Handler, Scene
from bot.texts.render import down, joined, say
from planner.order import Line, Round, order
from planner.plan import standing
from planner.record import (
    Buddy,
    Dive,
    Done,
    Fit,
    Harm,
    Limit,
    LimitKind,
    Ordered,
    Strike,
    Unwell,
    Watching,
)
from storage.outcome import Delivery, Letter, Outcome

GROUP_LINES = 4
"""How many lines an answer in the group has at most; who is next stands behind the last of them."""

_MOVE_IT = (Dive, Fit, Buddy, Watching, Done, Strike, Limit)
"""What said in the group changes the round."""


def ask(command: Command, scene: Scene, diver: str) -> Outcome:
    """`order`: the coming round. In the group it is one message that later reports edit."""
    coming = _round(scene)
    text = _text(scene, coming)
    if scene.in_private:
        return Outcome(letters=(scene.answer(text),))
    asked = Ordered(**scene.carried(scene.sender, command.line), group=scene.group)
    letter = replace(scene.to_group(text), slot=_slot(asked), names=_named(coming))
    return Outcome(facts=(asked,), letters=(letter,))


def _slot(asked: Ordered) -> str:
    """The slot of a round's message: later ones edit it; asked for anew it is a new message."""
    return f"order/{asked.origin.message}"


def with_round(scene: Scene, outcome: Outcome) -> Outcome:
    """An outcome with the round kept up to date, and who is next behind its answer in the group.

    Where no round was asked for in this session, or nothing was said that moves it, as it was. A
    call for help in the group stops the round.
    """
    if scene.in_private or scene.heard.kind is Kind.JOINED:
        return outcome
    asked = _asked(scene)
    if asked is None:
        return outcome
    after = scene.after(outcome.facts)
    if any(x.to == scene.group and x.delivery is Delivery.HELP for x in outcome.letters):
        stop = Letter(to=scene.group, text=say("round.stopped"), slot=_slot(asked))
        return replace(outcome, letters=(*outcome.letters, stop))
    harmed = any(isinstance(f, Harm | Unwell) for f in outcome.facts)
    if harmed or not any(isinstance(f, _MOVE_IT) for f in outcome.facts):
        return outcome
    coming = _round(after)
    answered = [n for n, x in enumerate(outcome.letters) if x.to == scene.group and x.text]
    letters = list(outcome.letters)
    if answered and coming.next is not None:
        letters[answered[-1]] = _with_next(after, letters[answered[-1]], coming)
    # said again although it may read the same: what was told in private may have moved it since
    text = _text(after, coming)
    kept = Letter(to=scene.group, text=text, slot=_slot(asked), names=_named(coming))
    return replace(outcome, letters=(*letters, kept))


def _named(coming: Round) -> tuple[str, ...]:
    return tuple(turn.diver for turn in coming.turns)


def _asked(scene: Scene) -> Ordered | None:
    """The last that asked for a round in this group, where its session still lasts."""
    gap = scene.rules.session_gap
    records = [scene.record(key) for key in scene.room.members]
    mine = [f for r in records for f in r.of(Ordered) if f.group == scene.group]
    asked = max(mine, key=lambda f: f.origin.message, default=None)
    if asked is None:
        return None
    last = asked.happened_at
    for at in sorted(d.happened_at for r in records for d in r.dives):
        if last <= at <= last + gap:
            last = at
    return asked if scene.at - last <= gap else None


def _round(scene: Scene) -> Round:
    """The coming round of everybody on the roster; a coach may ask for more lines."""
    if called_until(scene) is not None:
        return Round(lines=(), unwatched=())
    records = [scene.record(key) for key in scene.room.members]
    wished = [
        int(x.value)
        for r in records
        for x in r.of(Limit)
        if x.what is LimitKind.LINES and x.group == scene.group and scene.at < x.until_at
    ]
    return order(records, rules=scene.rules, at=scene.at, lines=max(wished, default=None))


def _text(scene: Scene, coming: Round) -> str:
    """`mara (ilse) 9.5`, a line for each line in the water; nobody is listed as missing."""
    if called_until(scene) is not None:
        return say("round.stopped")
    if not coming.lines and not coming.unwatched:
        return say("round.over" if _has_dived(scene) else "round.nobody")
    many = len(coming.lines) > 1
    rows = [
        say("round.line", number=n, turns=_turns(scene, line)) if many else _turns(scene, line)
        for n, line in enumerate(coming.lines, 1)
    ]
    if coming.unwatched:
        names = joined(scene.name_of(d) for d in coming.unwatched)
        rows.append(say("round.unwatched", names=names))
    return "\n".join(rows)


def _has_dived(scene: Scene) -> bool:
    """Whether anybody has dived in the session that is open."""
    return any(
        standing(scene.record(key), rules=scene.rules, at=scene.at).dives_done
        for key in scene.room.members
    )


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
    number = next(n for n, line in enumerate(coming.lines, 1) if turn in line.turns)
    words = say(
        "round.next-of" if len(coming.lines) > 1 else "round.next",
        number=number,
        diver=scene.name_of(turn.diver),
        watcher=scene.name_of(turn.watcher),
        depth=down(turn.line_m),
    )
    between = "\n" if letter.text.count("\n") + 1 < GROUP_LINES else " "
    tail = f"{between}{words}"
    return replace(letter, text=f"{letter.text}{tail}", tail=tail, names=(turn.diver,))


HANDLERS: dict[str, Handler] = {"order": ask}
"""What this room answers, by the command's name."""
