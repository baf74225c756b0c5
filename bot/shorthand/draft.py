"""The parts of one dive, as they stand in a line: gathered, not yet judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from bot.shorthand.lexicon import Sort, Words
from bot.shorthand.pieces import Piece
from planner.record import Ending, Exercise, Reason

FEET_M = 0.3048
"""One foot in metres, exactly (P: the international foot of 1959)."""


class Depth(NamedTuple):
    """A depth in metres, as typed, and whether a comma came right behind it."""

    m: float
    text: str
    comma: bool = False


@dataclass(slots=True)
class Draft:
    """What a line says, part by part. `beside`: an exercise stands right beside a number or outcome."""

    exercises: list[Exercise | None] = field(default_factory=list)
    is_everyday: bool = True
    is_beside: bool = False
    depths: list[Depth] = field(default_factory=list)
    targets: list[Depth] = field(default_factory=list)
    fills: list[Depth] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    colons: list[tuple[int, int]] = field(default_factory=list)
    minutes: list[float] = field(default_factory=list)
    clocks: list[tuple[int, int]] = field(default_factory=list)
    dates: list[date | None] = field(default_factory=list)
    endings: list[Ending] = field(default_factory=list)
    reasons: list[Reason] = field(default_factory=list)
    troubles: list[tuple[str, Reason]] = field(default_factory=list)
    qualifiers: list[str] = field(default_factory=list)
    tasks: list[str] = field(default_factory=list)
    amounts: list[float] = field(default_factory=list)
    bad: list[str] = field(default_factory=list)
    strangers: list[str] = field(default_factory=list)
    fillers: int = 0
    negates_ok: bool = False

    @property
    def is_dry(self) -> bool:
        """Whether it is a task on land."""
        return Exercise.DRY in self.exercises

    @property
    def has_outcome(self) -> bool:
        """Whether it says how it went; a reason is one."""
        return bool(self.endings or self.reasons)

    @property
    def has_number(self) -> bool:
        """Whether there is a depth in it, if only one that can't be read."""
        return bool(self.depths or any(b[0].isnumeric() or b[0] in "-+." for b in self.bad))

    @property
    def is_report(self) -> bool:
        """The rule that tells a report from chatter.

        Words of everyday talk (`full`) need a number or an outcome right beside them, and some
        company of words that we know. A depth with its target (`9/14`) is a dive by itself.
        """
        strangers = len(self.strangers)
        if not self.exercises:
            if self.depths and self.targets and not (strangers or self.fillers):
                return True
            return self.has_number and self.has_outcome and strangers <= 1
        if self.is_dry and self.tasks and not strangers:
            return True
        if not self.has_number and (not self.has_outcome or (strangers and not self.is_beside)):
            return False
        if self.is_beside:
            return strangers <= (3 if self.is_everyday else 12)
        return strangers <= (1 if self.is_everyday else 3)


def gathered(line: Sequence[Piece], words: Words) -> Draft:
    """The parts of a line's pieces. Order counts only for what a word and a number say together."""
    draft = Draft()
    role: Piece | None = None  # a word that the next number belongs to: of, fill, count
    last = ""  # what stood before, fillers left out: an exercise or a value
    negated = False
    i, n = 0, len(line)
    while i < n:
        piece = line[i]
        sort = piece.sort
        i += 1
        now = ""
        if sort is Sort.NUMBER:
            unit = line[i] if i < n and line[i].sort in _UNITS else None
            if unit is not None:
                i += 1
            now = _place(draft, piece, unit, role)
            role = None
        elif sort is Sort.EXERCISE:
            if piece.value not in draft.exercises:
                draft.exercises.append(piece.value)
            draft.is_everyday = draft.is_everyday and piece.text in words.everyday
            draft.is_beside = draft.is_beside or last == "value"
            now = "exercise"
        elif sort is Sort.ENDING:
            draft.endings.append(piece.value)
            draft.negates_ok = draft.negates_ok or (negated and piece.value is Ending.CLEAN)
            now = "value"
        elif sort is Sort.REASON:
            draft.reasons.append(piece.value)
            now = "value"
        elif sort is Sort.FILLER or sort in _METRES_OR_SECONDS:
            draft.fillers += 1
            continue
        elif sort in _ROLES and (sort is not Sort.TASK or piece.text in words.counted_tasks):
            if role is not None:
                draft.strangers.append(role.text)
            role = piece
            if sort is Sort.TASK:
                draft.tasks.append(piece.value)
            continue
        else:
            now = _other(draft, piece)
        if sort is not Sort.QUALIFIER:
            negated = sort is Sort.NEGATOR
        if now == "value" and last == "exercise":
            draft.is_beside = True
        last = now
        if role is not None:
            _dangling(draft, role)
            role = None
    if role is not None:
        _dangling(draft, role)
    if not draft.is_dry:
        draft.strangers.extend(draft.tasks)
    return draft


_UNITS = frozenset({Sort.METRES, Sort.FEET, Sort.SECONDS, Sort.MINUTES, Sort.OTHER_UNIT})
_METRES_OR_SECONDS = frozenset({Sort.METRES, Sort.SECONDS})
_ROLES = frozenset({Sort.OF, Sort.FILL, Sort.TASK})


def _dangling(draft: Draft, role: Piece) -> None:
    """A word that wants a number and has none; `count` is a task all the same."""
    if role.sort is not Sort.TASK:
        draft.strangers.append(role.text)


def _place(draft: Draft, piece: Piece, unit: Piece | None, role: Piece | None) -> str:
    """Put a number where it belongs; says what it was."""
    value: float = piece.value
    kind = Sort.METRES if unit is None else unit.sort
    if kind is Sort.OTHER_UNIT:
        assert unit is not None
        draft.strangers.append(f"{piece.text} {unit.text}")
        return ""
    if kind is Sort.SECONDS:
        draft.times.append(value)
        return ""
    if kind is Sort.MINUTES:
        draft.minutes.append(value)
        return "value" if draft.is_dry else ""
    text = piece.text
    if kind is Sort.FEET:
        value = round(value * FEET_M, 1)
        text += "ft"
    comma = piece.comma if unit is None else unit.comma
    depth = Depth(value, text, comma)
    if role is None:
        draft.depths.append(depth)
        return "value"
    if role.sort is Sort.TASK:
        draft.amounts.append(piece.value)
    else:
        (draft.targets if role.sort is Sort.OF else draft.fills).append(depth)
    return "value" if role.sort is Sort.OF else ""


def _other(draft: Draft, piece: Piece) -> str:
    """Put anything that is neither a number nor one of the main words; says what it was."""
    match piece.sort:
        case Sort.TIME:
            hour, minute, two_digits = piece.value
            if two_digits:
                draft.clocks.append((hour, minute))
            else:
                draft.colons.append((hour, minute))
                draft.times.append(hour * 60.0 + minute if minute < 60 else -1.0)
        case Sort.DATE:
            draft.dates.append(piece.value)
        case Sort.TROUBLE:
            draft.troubles.append((piece.text, piece.value))
        case Sort.QUALIFIER:
            draft.qualifiers.append(piece.text)
        case Sort.TASK:
            draft.tasks.append(piece.value)
        case Sort.NUMBER_WORD:
            draft.bad.append(piece.text)
        case Sort.BAD:
            draft.bad.append(piece.text)
            return "value"
        case _:
            draft.strangers.append(piece.text)
    return ""
