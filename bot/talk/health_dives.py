"""Dives in a line that speaks of harm: stops, whatever else the line says of them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from bot.shorthand import words
from bot.shorthand.lexicon import Sort
from bot.shorthand.reading import Command, Reading, Report, Unclear
from bot.talk.lines import is_bare, line_of, read
from planner.harm import harm_table
from planner.record import Ending, Exercise, Reason


@dataclass(frozen=True, kw_only=True, slots=True)
class HarmedLine:
    """What is left of a line that spoke of harm: of whom (None: the writer), and where it was felt.

    `is_practice_only`: no more than what ends the practice (row 21), which leaves a hard dive hard.
    """

    text: str
    subjects: frozenset[str | None]
    reason: Reason
    is_practice_only: bool


def harmed_line(left: str, said: str, about: Iterable[tuple[str, str | None]]) -> HarmedLine:
    """A line by what is left of it, what was said, and the rows it speaks of with their subjects."""
    about = tuple(about)
    table = harm_table().rows
    return HarmedLine(
        text=left.strip(),
        subjects=frozenset(s if s is None else s.casefold() for _, s in about),
        reason=_felt_at(said),
        is_practice_only=all(table[row].level == "practice-over" for row, _ in about),
    )


def _felt_at(said: str) -> Reason:
    """Breastbone, chest or throat where one of them is named; else something other."""
    meanings = words().meanings
    named = {meanings[w].value for w in _bare_words(said) if w in meanings and _is_reason(w)}
    pressure = (Reason.STERNUM, Reason.CHEST, Reason.THROAT)
    return next((r for r in pressure if r in named), Reason.OTHER)


def _bare_words(said: str) -> list[str]:
    return [w.strip(".,:;!?#()") for w in said.casefold().split()]


def _is_reason(word: str) -> bool:
    return words().meanings[word].sort is Sort.REASON


def stopped(
    readings: Iterable[Reading], lines: Collection[HarmedLine], names: Collection[str]
) -> tuple[Reading, ...]:
    """The readings of what is left, with the dives of harmed lines as stops; doubt is never clean."""
    by_text = {line.text: line for line in lines}
    return tuple(_stopped(r, by_text.get(r.text), names) for r in readings)


def _stopped(reading: Reading, line: HarmedLine | None, names: Collection[str]) -> Reading:
    if line is None:
        return reading
    if isinstance(reading, Report):
        return _as_stop(reading, line)
    if isinstance(reading, Command):
        parts = reading.args.get("parts")
        if not isinstance(parts, Report):
            return reading
        if parts.ending is None and not line.is_practice_only:
            # `fix 6 coughed blood`: whatever the dive was recorded as, it is a stop now
            mended = replace(parts, ending=Ending.STOP, reason=line.reason)
        else:
            mended = replace(_as_stop(replace(parts, who=reading.who), line), who=None)
        return replace(reading, args={**reading.args, "parts": mended})
    if isinstance(reading, Unclear) and reading.is_dive:
        return _one_stop(reading, line, names)
    return reading


def _one_stop(asked: Unclear, line: HarmedLine, names: Collection[str]) -> Reading:
    """A doubtful line: a stop where all that it may mean is the same one, else asked about."""
    meant = [read(text, names) for text in asked.readings]
    reports = [_as_stop(r, line) for r in meant if isinstance(r, Report)]
    if not reports or len(reports) < len(asked.readings):
        return asked
    stops = {line_of(r): r for r in reports}
    if len(stops) > 1:
        return replace(asked, readings=tuple(stops))
    only = next(iter(stops.values()))
    return replace(only, line=asked.line, text=asked.text, who=only.who or asked.who)


def _as_stop(report: Report, line: HarmedLine) -> Report:
    who = None if report.who is None else report.who.casefold()
    if line.subjects.isdisjoint({None, who}) or report.exercise is Exercise.DRY:
        return report
    if report.ending is not Ending.STOP and is_bare(report) and not _begins_with_depth(report):
        return report
    if report.ending is Ending.HARD and line.is_practice_only:
        return report
    reason = report.reason
    if line.reason is not Reason.OTHER or reason in (None, Reason.UNSTATED):
        reason = reason if reason is not None and reason.is_pressure else line.reason
        reason = line.reason if reason is Reason.UNSTATED else reason
    return replace(report, ending=Ending.STOP, reason=reason, asks=None)


def _begins_with_depth(report: Report) -> bool:
    return report.depth_m is not None and report.text[:1].isdigit()
