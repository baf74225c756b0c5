"""How a dive went, by all that a line says of it: a stop beats an ok, and doubt is never clean."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from bot.shorthand.draft import Draft
from bot.shorthand.notes import Note
from planner.record import Ending, Reason


class Outcome(NamedTuple):
    """An ending with its reason, and whether the line contradicts itself about it."""

    ending: Ending | None
    reason: Reason | None = None
    is_contradictory: bool = False


def outcome_of(draft: Draft, note: Note) -> Outcome:
    """How it went, and why; a stop beats an ok, and pressure beats anything that is said of a hard."""
    endings = set(draft.endings)
    reason = worst(draft.reasons)
    several = len(set(draft.reasons)) > 1
    if Ending.STOP in endings:
        if reason is None and note.reason is not None and note.reason.is_pressure:
            reason = note.reason
        doubted = Ending.CLEAN in endings or (Ending.EARLY in endings and reason is None)
        return Outcome(Ending.STOP, reason, doubted or several)
    if reason is not None:
        if endings == {Ending.HARD} and not reason.is_pressure:
            return _by_note(Outcome(Ending.HARD, reason, several), note)
        return Outcome(Ending.STOP, reason, bool(endings) or several)
    if not endings:
        return Outcome(None)
    # early is a turn by choice with all well, so an ok beside it says nothing new
    order = (Ending.EARLY, Ending.HARD, Ending.CLEAN)
    return _by_note(Outcome(next(e for e in order if e in endings)), note)


def _by_note(outcome: Outcome, note: Note) -> Outcome:
    """A note that names a reason for a stop beside anything else makes a stop of it."""
    if note.reason is None or (outcome.ending is Ending.HARD and not note.reason.is_pressure):
        return outcome
    return Outcome(Ending.STOP, note.reason, True)


def worst(reasons: Sequence[Reason]) -> Reason | None:
    """The reason that weighs most: pressure before anything else."""
    return min(reasons, key=lambda r: not r.is_pressure, default=None)
