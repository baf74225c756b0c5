"""How a dive went, by all that a line says of it: a stop beats an ok, and doubt is never clean."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from bot.shorthand.draft import Draft
from bot.shorthand.notes import Note
from planner.record import Ending, Reason


class Outcome(NamedTuple):
    """An ending with its reason, and what else the line may have meant where it says two things."""

    ending: Ending | None
    reason: Reason | None = None
    or_else: tuple[tuple[Ending, Reason | None], ...] = ()


def outcome_of(draft: Draft, note: Note) -> Outcome:
    """How it went, and why; a stop beats an ok, and pressure beats anything that is said of a hard."""
    endings = set(draft.endings)
    reason = worst(draft.reasons)
    # other reasons are other readings; a clean or early that somebody wrote is one, and no other is
    others = tuple((Ending.STOP, r) for r in dict.fromkeys(draft.reasons) if r is not reason)
    said = tuple((e, None) for e in _MILDER if e in endings)
    if Ending.STOP in endings:
        if reason is None and note.reason is not None and note.reason.is_pressure:
            reason = note.reason
        if reason is not None:
            said = tuple(x for x in said if x[0] is Ending.CLEAN)
        return Outcome(Ending.STOP, reason, (*others, *said))
    if reason is not None:
        if endings == {Ending.HARD} and not reason.is_pressure:
            return _by_note(Outcome(Ending.HARD, reason, others), note)
        hard = ((Ending.HARD, None),) if Ending.HARD in endings else ()
        return Outcome(Ending.STOP, reason, (*others, *said, *hard))
    if not endings:
        return Outcome(None)
    # early is a turn by choice with all well, so an ok beside it says nothing new
    order = (Ending.EARLY, Ending.HARD, Ending.CLEAN)
    return _by_note(Outcome(next(e for e in order if e in endings)), note)


_MILDER = (Ending.EARLY, Ending.CLEAN)


def _by_note(outcome: Outcome, note: Note) -> Outcome:
    """A note that names a reason for a stop beside anything else makes a stop of it."""
    if note.reason is None or (outcome.ending is Ending.HARD and not note.reason.is_pressure):
        return outcome
    assert outcome.ending is not None
    return Outcome(Ending.STOP, note.reason, ((outcome.ending, outcome.reason), *outcome.or_else))


def worst(reasons: Sequence[Reason]) -> Reason | None:
    """The reason that weighs most: pressure before anything else."""
    return min(reasons, key=lambda r: not r.is_pressure, default=None)
