"""From the pieces of a line to the dives it reports, or to what has to be asked about it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from bot.shorthand.doubts import Line, doubt_of
from bot.shorthand.draft import Draft, gathered
from bot.shorthand.lexicon import Sort, Words
from bot.shorthand.outcomes import Outcome, outcome_of
from bot.shorthand.pieces import Piece
from bot.shorthand.questions import MOST_READINGS, asked_about, report_of, unclear, written
from bot.shorthand.reading import Doubt, Report, Unclear
from planner.record import Ending, Exercise

MOST_DIVES = 5
"""Dives that one line may report (`2x8 ok`)."""
LONGEST_TASK_MIN = 120


def read_dives(line: Line, found: Sequence[Piece], words: Words) -> list[Report | Unclear]:
    """The dives that a line reports, in order; empty when it is no report."""
    parts = list(_split(found))
    if len(parts) > 1:
        several = _each(line, parts, words)
        if several is not None:
            return several
    counted = _counted(found)
    if counted is not None:
        count, rest = counted
        if not (count == int(count) and 1 <= count <= MOST_DIVES):
            return _too_many(line, rest, words)
        one = _read(line, rest, words)
        if one is None:
            return []
        return [replace(one, line=line.number + k) for k in range(int(count))]
    one = _read(line, found, words)
    return [] if one is None else [one]


def read_parts(line: Line, found: Sequence[Piece], words: Words) -> Report | Unclear | None:
    """The parts of a dive in a line that mends one (`fix 11.5`), asked about, or None for neither."""
    draft = gathered(found, words)
    outcome = outcome_of(draft, line.note)
    said = bool(
        draft.depths or draft.has_outcome or draft.exercises or draft.fills or draft.targets
        or draft.times or draft.clocks or draft.tasks
    )  # fmt: skip
    if draft.is_dry:
        return _dry(line, draft, outcome, words)
    if draft.strangers:
        variants = _with_slips(found, words)
        if variants:
            return unclear(
                line,
                Doubt.TYPO,
                word=variants[0].word,
                offer=variants[0].offer,
                readings=(" ".join(p.text for p in v.found) for v in variants),
            )
    doubt = doubt_of(draft, line, outcome, is_part=True)
    if doubt is not None:
        return asked_about(line, draft, doubt, words) if said or draft.bad else None
    return report_of(line, draft, outcome) if said or line.note.text else None


def is_bare(report: Report) -> bool:
    """Whether a report says too little to be a dive by itself: only a depth, or only an outcome."""
    return (
        report.exercise is None
        and not report.any_exhale
        and (report.depth_m is None or (report.ending is None and report.target_m is None))
    )


# several dives in a line


def _split(found: Sequence[Piece]) -> Iterator[list[Piece]]:
    part: list[Piece] = []
    for piece in found:
        if piece.sort is Sort.THEN:
            yield part
            part = []
        else:
            part.append(piece)
    yield part


def _each(line: Line, parts: Sequence[list[Piece]], words: Words) -> list[Report | Unclear] | None:
    """`9 ok then 12 hard`: each part a dive of its own, or None when some part is none."""
    readings: list[Report | Unclear] = []
    exercise: list[Piece] = []
    for part in parts:
        own = [p for p in part if p.sort is Sort.EXERCISE]
        exercise = own or exercise
        one = _read(line, part if own else [*exercise, *part], words)
        if one is None or (isinstance(one, Report) and is_bare(one)):
            return None
        readings.append(replace(one, line=line.number + len(readings)))
    if len(readings) > MOST_DIVES:
        return [unclear(line, Doubt.TOO_MANY, word=str(len(readings)))]
    return readings


def _counted(found: Sequence[Piece]) -> tuple[float, list[Piece]] | None:
    """`2x8`: how many, and the line without it."""
    for i in range(1, len(found) - 1):
        if (
            found[i].sort is Sort.TIMES
            and found[i - 1].sort is Sort.NUMBER
            and found[i + 1].sort is Sort.NUMBER
        ):
            return found[i - 1].value, [*found[: i - 1], *found[i + 1 :]]
    return None


def _too_many(line: Line, rest: Sequence[Piece], words: Words) -> list[Report | Unclear]:
    one = _read(line, rest, words)
    if one is None:
        return []
    readings = one.readings if isinstance(one, Unclear) else (written(one, words),)
    return [unclear(line, Doubt.TOO_MANY, word="x", readings=readings)]


# one dive


def _read(line: Line, found: Sequence[Piece], words: Words) -> Report | Unclear | None:
    draft = gathered(found, words)
    if not draft.strangers:
        return _judged(line, draft, words)
    slips = _with_slips(found, words)
    if slips:
        asked = _as_slips(line, slips, words)
        if asked is not None:
            return asked
    return _judged(line, draft, words)


def _judged(line: Line, draft: Draft, words: Words) -> Report | Unclear | None:
    outcome = outcome_of(draft, line.note)
    if not draft.is_report:
        return _bare(line, draft, outcome, words)
    if draft.is_dry:
        return _dry(line, draft, outcome, words)
    doubt = doubt_of(draft, line, outcome)
    if doubt is not None:
        return asked_about(line, draft, doubt, words)
    return report_of(line, draft, outcome)


def _bare(line: Line, draft: Draft, outcome: Outcome, words: Words) -> Report | Unclear | None:
    """A depth alone, or an outcome alone: it answers something, or it is nothing."""
    if (
        draft.strangers or draft.exercises or draft.bad or line.is_question
        or draft.has_outcome == draft.has_number
        or (draft.fillers and outcome.ending in (None, Ending.CLEAN))
        or draft.minutes
        or len(draft.depths) > 2
        or (len(draft.depths) == 2 and not draft.depths[0].comma)
    ):  # fmt: skip
        return None
    doubt = doubt_of(draft, line, outcome)
    if doubt is None:
        return report_of(line, draft, outcome)
    return replace(asked_about(line, draft, doubt, words), is_dive=False)


def _dry(line: Line, draft: Draft, outcome: Outcome, words: Words) -> Report | Unclear:
    """A task on land: minutes, and what `count` came to."""
    minutes = [*draft.minutes, *(t / 60 for t in draft.times), *(d.m for d in draft.depths)]
    amounts = list(draft.amounts)
    if (
        len(minutes) == 2
        and not amounts
        and draft.depths
        and set(draft.tasks) & words.counted_tasks
    ):
        amounts.append(minutes.pop())  # `dry 14 count 480s`: the minutes are said as such
    report = replace(
        report_of(line, draft, outcome),
        depth_m=None,
        depth_text="",
        dive_time_s=int(minutes[0] * 60)
        if minutes and 0 < minutes[0] <= LONGEST_TASK_MIN
        else None,
        task=draft.tasks[0] if draft.tasks else None,
        amount=int(amounts[0]) if amounts else None,
    )
    doubt: tuple[Doubt, str] | None = None
    if draft.bad:
        doubt = Doubt.NUMBER_FORM, draft.bad[0]
    elif len(minutes) > 1 or len(amounts) > 1 or len(draft.tasks) > 1:
        doubt = Doubt.TWO_NUMBERS, ""
    elif [e for e in draft.exercises if e is not Exercise.DRY]:
        doubt = Doubt.CONTRADICTION, ""
    elif minutes and not 0 < minutes[0] <= LONGEST_TASK_MIN:
        doubt = Doubt.RANGE, f"{minutes[0]:g}"
    elif amounts and not (0 < amounts[0] <= 999 and amounts[0] % 1 == 0):
        doubt = Doubt.RANGE, f"{amounts[0]:g}"
    elif draft.targets or draft.fills:
        doubt = Doubt.STRANGER, ""
    elif line.is_question:
        doubt = Doubt.QUESTION, ""
    elif {Ending.CLEAN, Ending.HARD} <= set(draft.endings):
        doubt = Doubt.CONTRADICTION, ""
    elif draft.troubles and outcome.ending is not Ending.STOP:
        doubt = Doubt.TROUBLE_WORD, draft.troubles[0][0]
    elif draft.strangers:
        doubt = Doubt.STRANGER, draft.strangers[0]
    if doubt is None:
        return report
    readings: tuple[str, ...] = ()
    if doubt[0] in (Doubt.QUESTION, Doubt.STRANGER, Doubt.TROUBLE_WORD):
        endings = dict.fromkeys((Ending.HARD, outcome.ending))
        readings = tuple(
            written(replace(report, ending=e), words)
            for e in (endings if doubt[0] is not Doubt.QUESTION else (outcome.ending,))
        )
    return unclear(line, doubt[0], word=doubt[1], readings=readings)


# slips of the thumb


class Variant(NamedTuple):
    """A line with words of ours in place of what may be slips; the first of them by name."""

    found: list[Piece]
    word: str
    offer: str


def _with_slips(found: Sequence[Piece], words: Words) -> list[Variant]:
    """The line with its strangers taken for slips; empty unless all of them, two at most, can be."""
    at = [i for i, p in enumerate(found) if p.sort is Sort.STRANGER]
    if not 1 <= len(at) <= 2:
        return []
    offers = [words.near.of(found[i].text) for i in at]
    if not all(offers):
        return []
    variants = []
    for chosen in [(o, *(x[0] for x in offers[1:])) for o in offers[0]][:MOST_READINGS]:
        line = list(found)
        for i, word in zip(at, chosen, strict=True):
            meaning = words.meanings[word]
            line[i] = Piece(meaning.sort, meaning.value, word, found[i].comma)
        variants.append(Variant(line, found[at[0]].text, chosen[0]))
    return variants


def _as_slips(line: Line, variants: Sequence[Variant], words: Words) -> Unclear | None:
    """`exh 7 okk`: the question with the word offered; None where that makes no report either."""
    readings: list[str] = []
    other: Unclear | None = None
    offered: Variant | None = None
    for variant in variants:
        draft = gathered(variant.found, words)
        if draft.strangers or not draft.is_report:
            continue
        offered = offered or variant
        meant = _judged(line, draft, words)
        if isinstance(meant, Unclear):
            other = other or meant
            readings.extend(meant.readings)
        elif meant is not None and meant.asks is not None:
            readings.append(written(replace(meant, asks=None), words))
        elif meant is not None:
            readings.append(written(meant, words))
    if offered is None:
        return None
    if other is not None and other.doubt is not Doubt.STRANGER:
        return replace(other, readings=tuple(dict.fromkeys(readings))[:MOST_READINGS])
    return unclear(line, Doubt.TYPO, word=offered.word, offer=offered.offer, readings=readings)
