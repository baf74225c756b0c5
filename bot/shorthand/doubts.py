"""What has to be asked about a dive before it can be recorded: the first doubt, in one fixed order."""

from __future__ import annotations

from dataclasses import dataclass

from bot.shorthand.draft import Draft
from bot.shorthand.notes import NO_NOTE, Note
from bot.shorthand.outcomes import Outcome
from bot.shorthand.reading import Clock, Doubt
from planner.record import Ending

DEEPEST_M = 200.0
LONGEST_S = 300


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """What a line's dives have in common: where it stands, whose they are, its note, its doubt."""

    number: int
    text: str
    who: str | None = None
    is_question: bool = False
    note: Note = NO_NOTE


def doubt_of(
    draft: Draft, line: Line, outcome: Outcome, *, is_part: bool = False
) -> tuple[Doubt, str] | None:
    """The first thing to be asked about, with the word it hangs on; None when all is plain."""
    depth = draft.depths[0] if draft.depths else None
    target = draft.targets[0] if draft.targets else None
    fill = draft.fills[0] if draft.fills else None
    for text in draft.bad:
        return Doubt.NUMBER_FORM, text
    for several in (draft.depths, draft.targets, draft.fills):
        if len(several) > 1:
            return Doubt.TWO_NUMBERS, several[1].text
    if len({e for e in draft.exercises if e is not None}) > 1 or (
        None in draft.exercises and draft.exercises != [None]
        and not any(e is not None and e.is_exhale for e in draft.exercises)
    ):  # fmt: skip
        return Doubt.CONTRADICTION, ""
    for one in (depth, target):
        if one is not None and not 0 < one.m <= DEEPEST_M:
            return Doubt.DEPTH_RANGE, one.text
    if depth and target and depth.m > target.m:
        return Doubt.PAST_TARGET, depth.text
    if fill is not None and (fill.m < 0 or fill.m > (depth.m if depth else DEEPEST_M)):
        return Doubt.FILL_DEEPER, fill.text
    if draft.times or draft.minutes:
        seconds = time_s(draft)
        if seconds is None or not 0 < seconds <= LONGEST_S:
            return Doubt.DIVE_TIME, ""
    if (draft.clocks or draft.dates) and clock_of(draft) is None:
        return Doubt.CLOCK, ""
    if line.is_question:
        return Doubt.QUESTION, ""
    endings = set(draft.endings)
    if outcome.ending is not Ending.STOP and (
        Ending.HARD in endings and endings & {Ending.CLEAN, Ending.EARLY}
    ):
        return Doubt.CONTRADICTION, ""
    if (draft.troubles or line.note.trouble) and outcome.ending is not Ending.STOP:
        if draft.troubles:
            return Doubt.TROUBLE_WORD, draft.troubles[0][0]
        if outcome.ending in (Ending.CLEAN, Ending.EARLY):
            return Doubt.TROUBLE_WORD, line.note.trouble_word
    if draft.strangers:
        return Doubt.STRANGER, draft.strangers[0]
    if draft.qualifiers and outcome.ending in (Ending.CLEAN, Ending.EARLY, None):
        return Doubt.TROUBLE_WORD, draft.qualifiers[0]
    if depth and target and depth.m < target.m and outcome.ending in (Ending.CLEAN, Ending.HARD):
        return Doubt.SHORT_OK, ""
    if not is_part and depth is None and draft.exercises and outcome.ending is not Ending.STOP:
        return Doubt.NO_DEPTH, ""
    return None


def time_s(draft: Draft) -> int | None:
    """The dive time in whole seconds; None where it is stated twice or can't be one."""
    stated = [*draft.times, *(60 * m for m in draft.minutes)]
    if len(stated) != 1 or stated[0] != int(stated[0]):
        return None
    return int(stated[0])


def clock_of(draft: Draft) -> Clock | None:
    """When it was; None where that is stated twice, not wholly, or is no time."""
    if len(draft.clocks) != 1 or len(draft.dates) > 1 or None in draft.dates:
        return None
    hour, minute = draft.clocks[0]
    if hour > 23 or minute > 59:
        return None
    on = draft.dates[0] if draft.dates else None
    return Clock(hour=hour, minute=minute, on=None if on is None else on.isoformat())
