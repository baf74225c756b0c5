"""The note behind a `#`: free text, read only for what would make an ok none."""

from __future__ import annotations

import re
from typing import NamedTuple

from bot.shorthand.lexicon import Sort, Words
from planner.record import Reason

_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)*|[^\w\s,:;.!?]")
_LONG_ENOUGH = 6
"""Letters of a stranger in a note that is still taken for a slip (sternun)."""


class Note(NamedTuple):
    """The note as typed; the worst reason for a stop in it, and the first word of trouble."""

    text: str = ""
    reason: Reason | None = None
    trouble: Reason | None = None
    trouble_word: str = ""


NO_NOTE = Note()


def read_note(text: str, marks_plain: str, words: Words) -> Note:
    """Read a note; what is denied right there (`no throat`) is not in it. Cold, urge are no matter."""
    reason = trouble = None
    trouble_word = ""
    before = Sort.FILLER
    for word in _WORD.findall(marks_plain.casefold()):
        meaning = words.meanings.get(word)
        if meaning is None and len(word) >= _LONG_ENOUGH:
            meant = words.near.of(word)
            meaning = words.meanings[meant[0]] if meant else None
        if meaning is None:
            before = Sort.STRANGER
            continue
        sort, value = meaning
        if before is not Sort.NEGATOR:
            if sort is Sort.REASON and (value.is_pressure or value.is_technique):
                if reason is None or (value.is_pressure and not reason.is_pressure):
                    reason = value
            elif sort is Sort.TROUBLE and trouble is None:
                trouble, trouble_word = value, word
        if sort is not Sort.QUALIFIER and sort is not Sort.FILLER:
            before = sort
    return Note(text, reason, trouble, trouble_word)
