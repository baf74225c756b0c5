"""A question about a line, with the whole lines that it may mean."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import product
from typing import NamedTuple

from bot.shorthand.doubts import DEEPEST_M, LONGEST_S, Line, clock_of, time_s
from bot.shorthand.draft import Depth, Draft
from bot.shorthand.lexicon import Sort, Words
from bot.shorthand.notes import NO_NOTE, Note
from bot.shorthand.outcomes import Outcome, outcome_of, worst
from bot.shorthand.pieces import likely_numbers
from bot.shorthand.reading import Clock, Doubt, Report, Unclear
from planner.record import Ending, Exercise, Reason

MOST_READINGS = 4
LONGEST_WORD = 40


class Depths(NamedTuple):
    """A depth with its target and fill, as one of several ways to read a line."""

    depth_m: float | None
    target_m: float | None = None
    fill_m: float | None = None


def report_of(line: Line, draft: Draft, outcome: Outcome) -> Report:
    """The dive that a line reports, as it stands."""
    depth = draft.depths[0] if draft.depths else None
    exercise = next((e for e in draft.exercises if e is not None), None)
    ending = outcome.ending
    if ending is None and exercise is Exercise.DIP:
        ending = Ending.CLEAN
    return Report(
        line=line.number,
        text=line.text,
        exercise=exercise,
        any_exhale=exercise is None and bool(draft.exercises),
        depth_m=None if depth is None else depth.m,
        depth_text="" if depth is None else depth.text,
        target_m=draft.targets[0].m if draft.targets else None,
        fill_m=draft.fills[0].m if draft.fills else None,
        ending=ending,
        reason=outcome.reason,
        dive_time_s=time_s(draft),
        clock=clock_of(draft),
        who=line.who,
        note=line.note.text,
        asks=Doubt.CONTRADICTION if outcome.or_else else None,
        or_else=outcome.or_else,
    )


def asked_about(line: Line, draft: Draft, doubt: tuple[Doubt, str], words: Words) -> Unclear:
    """The question about a line, with the lines that it may mean."""
    outcome = outcome_of(draft, line.note)
    kind, word = doubt
    plain = report_of(replace(line, note=NO_NOTE), draft, outcome)
    readings = []
    ways = product(
        _options(draft, outcome, kind, line.note), _exercises(draft), _depths(draft, kind)
    )
    for how, exercise, where in ways:
        for clock, seconds in _moments(draft, kind):
            how = _short(how, where)
            reading = replace(
                plain,
                exercise=exercise,
                any_exhale=exercise is None and bool(draft.exercises),
                depth_m=where.depth_m,
                target_m=where.target_m,
                fill_m=where.fill_m,
                ending=how.ending,
                reason=how.reason,
                clock=clock,
                dive_time_s=seconds,
            )
            readings.append(written(reading, words))
    offer = words.write(Sort.ENDING, Ending.EARLY) if kind is Doubt.SHORT_OK else ""
    return unclear(line, kind, word=word, offer=offer, readings=readings)


def unclear(
    line: Line, doubt: Doubt, *, word: str = "", offer: str = "", readings: Iterable[str] = ()
) -> Unclear:
    """A question about a line, with at most a few readings, each once."""
    return Unclear(
        line=line.number,
        text=line.text,
        doubt=doubt,
        readings=tuple(dict.fromkeys(readings))[:MOST_READINGS],
        word=word[:LONGEST_WORD],
        offer=offer,
        who=line.who,
    )


def _short(how: Outcome, where: Depths) -> Outcome:
    """A target that was not reached was turned from: by choice after an ok, else because of something."""
    if where.depth_m is None or where.target_m is None or where.depth_m >= where.target_m:
        return how
    turned = {Ending.CLEAN: Ending.EARLY, Ending.HARD: Ending.STOP}
    return how._replace(ending=turned[how.ending]) if how.ending in turned else how


def _exercises(draft: Draft) -> Sequence[Exercise | None]:
    stated = [e for e in draft.exercises if e is not None]
    return stated or [None]


def _depths(draft: Draft, doubt: Doubt) -> Iterable[Depths]:
    """The depths, targets and fills that a doubtful line may mean."""
    depth = draft.depths[0].m if draft.depths else None
    target = draft.targets[0].m if draft.targets else None
    fill = draft.fills[0].m if draft.fills else None
    if doubt is Doubt.NUMBER_FORM:
        runs = dict.fromkeys(m for bad in draft.bad for m in likely_numbers(bad))
        return [Depths(run, target, fill) for run in runs if 0 < run <= DEEPEST_M]
    if doubt is Doubt.TWO_NUMBERS:
        found = [Depths(d.m, target, fill) for d in draft.depths]
        if len(draft.depths) == 2 and (joined := _joined(*draft.depths)) is not None:
            found.insert(0, Depths(joined, target, fill))
        return found
    if doubt is Doubt.DEPTH_RANGE and depth is not None:
        positive = [-depth] if depth < 0 else [depth / 10, depth / 100]
        return [Depths(round(m, 2), target, fill) for m in positive if 1 <= m <= DEEPEST_M]
    if doubt is Doubt.PAST_TARGET:
        swapped = [Depths(target, depth, fill)]
        is_whole = draft.exercises or draft.has_outcome
        return [*swapped, Depths(depth, None, fill)] if is_whole else swapped
    if doubt is Doubt.FILL_DEEPER:
        return [Depths(depth, target, None), Depths(fill, target, depth)]
    return [Depths(depth, target, fill)]


def _joined(first: Depth, second: Depth) -> float | None:
    """`12, 5` may be 12.5."""
    if first.comma and first.text.isdigit() and len(second.text) == 1 and second.text.isdigit():
        return float(f"{first.text}.{second.text}")
    return None


def _moments(draft: Draft, doubt: Doubt) -> Iterable[tuple[Clock | None, int | None]]:
    clock = clock_of(draft)
    seconds = time_s(draft)
    if doubt is Doubt.DIVE_TIME:
        meant = [(Clock(hour=h, minute=m), None) for h, m in draft.colons if m < 60]
        return [*meant[:1], (clock, None)]
    if doubt is Doubt.CLOCK and draft.dates:
        return []  # without its time it would be taken for a dive of now
    if seconds is not None and not 0 < seconds <= LONGEST_S:
        seconds = None
    return [(clock, seconds)]


def _options(draft: Draft, outcome: Outcome, doubt: Doubt, note: Note) -> Iterable[Outcome]:
    """The outcomes that a doubtful line may mean, the careful ones first."""
    stop = Outcome(Ending.STOP, outcome.reason or note.reason)
    said = [Outcome(e) for e in (Ending.HARD, Ending.EARLY, Ending.CLEAN) if e in draft.endings]
    if draft.negates_ok:
        said = [o for o in said if o.ending is not Ending.CLEAN] or [Outcome(Ending.HARD)]
    # what may be anything is left open: a stop without a reason counts as one for pressure
    troubles = [r for _, r in draft.troubles if r is not Reason.OTHER]
    if note.trouble is not None and note.trouble is not Reason.OTHER:
        troubles.append(note.trouble)
    if draft.troubles or note.trouble is not None:
        if Ending.STOP in draft.endings:
            return [stop]
        if stop.reason is None:
            stop = Outcome(Ending.STOP, worst(troubles))
        return [stop, Outcome(Ending.HARD), *said]
    if outcome.ending is Ending.STOP:
        return [stop, *said]
    if outcome.ending is None:
        return [outcome]
    if doubt is Doubt.SHORT_OK:
        first = Ending.EARLY if outcome.ending is Ending.CLEAN else Ending.STOP
        second = Ending.STOP if first is Ending.EARLY else Ending.EARLY
        return [Outcome(first), Outcome(second)]
    if outcome.reason is not None:
        return [stop, outcome]
    if draft.strangers or draft.qualifiers:
        return (
            [stop, Outcome(Ending.HARD), *said] if Ending.CLEAN in draft.endings else [stop, *said]
        )
    return said


def written(report: Report, words: Words) -> str:
    """A report as a line of shorthand, without its note."""
    parts: list[str] = []
    if report.who is not None:
        parts += [words.write(Sort.WHOSE), report.who]
    if report.exercise is not None or report.any_exhale:
        parts.append(words.write(Sort.EXERCISE, report.exercise))
    if report.exercise is Exercise.DRY:
        if report.dive_time_s is not None:
            parts.append(f"{report.dive_time_s / 60:g}")
        if report.task is not None:
            parts.append(report.task)
        if report.amount is not None:
            parts.append(str(report.amount))
    if report.depth_m is not None:
        parts.append(f"{report.depth_m:g}")
    if report.target_m is not None:
        parts += [words.write(Sort.OF), f"{report.target_m:g}"]
    if report.ending is not None:
        parts.append(words.write(Sort.ENDING, report.ending))
    if report.reason is not None and report.reason is not Reason.UNSTATED:
        parts.append(words.write(Sort.REASON, report.reason))
    if report.fill_m is not None:
        parts += [words.write(Sort.FILL), f"{report.fill_m:g}"]
    if report.dive_time_s is not None and report.exercise is not Exercise.DRY:
        parts.append(f"{report.dive_time_s}{words.write(Sort.SECONDS)}")
    if report.clock is not None:
        if report.clock.on is not None:
            parts.append(report.clock.on)
        parts.append(f"{report.clock.hour:02d}:{report.clock.minute:02d}")
    return " ".join(parts)
