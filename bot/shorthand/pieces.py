"""A line in pieces: words with their meaning, numbers with their form, and what is neither."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any, NamedTuple

from bot.shorthand.lexicon import Sort, Words

PUNCTUATION = ",:;.!"
"""What may follow a word without meaning anything."""

_LOOKALIKES = str.maketrans(
    {
        **dict.fromkeys("‘’‚‛′ʼ´`", "'"),
        **dict.fromkeys("“”„‟″", '"'),
        "×": "x",
        "−": "-",
        "…": ".",
        # the colour of a thumb
        **dict.fromkeys("🏻🏼🏽🏾🏿", None),
    }
)
_HIDDEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\xad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200f"
    "\u2028-\u202e\u2060-\u206f\u3164\ufe00-\ufe0f\ufeff\uffa0\ufff0-\ufffb\ud800-\udfff\ue000-\uf8ff"
    "\U000e0000-\U000e0fff]"
)
# Joiners and selectors right behind a pictograph belong to it and hide nothing.
_JOINED = re.compile("(?<=[\u2190-\u2bff\U0001f000-\U0001faff])[\u200d\ufe0e\ufe0f]+")
_NUMBER = re.compile(r"[0-9]{1,6}(?:[.,][0-9]{1,3})?")
_PIECE = re.compile(
    r"(?P<date>[0-9]{4}-[0-9]{2}-[0-9]{2}(?![0-9]))"
    r"|(?P<time>[0-9]{1,2}:[0-9]{2}(?![0-9]))"
    r"|(?P<number>-?[0-9]+(?:[.,][0-9]+)?)"
    r"|(?P<word>[^\W\d_]+(?:'[^\W\d_]+)*)"
    r"|(?P<mark>[,:;.!]+)"
    r"|(?P<other>.)",
    re.DOTALL,
)
_LONGEST_CHUNK = 64
"""Longer runs of characters are nothing that anybody ran together."""
# What may stand right before or behind a digit without a space.
_RUN_TOGETHER = frozenset(
    {
        Sort.EXERCISE, Sort.ENDING, Sort.REASON, Sort.TROUBLE, Sort.OF, Sort.FILL, Sort.THEN, Sort.TASK,
        Sort.TIMES, Sort.METRES, Sort.FEET, Sort.SECONDS, Sort.MINUTES, Sort.OTHER_UNIT,
    }
)  # fmt: skip


class Piece(NamedTuple):
    """One piece: its sort, its value, how it was typed; `comma` when one came right behind it."""

    sort: Sort
    value: Any
    text: str
    comma: bool = False


def plain_marks(text: str) -> str:
    """The text with typographic quotes, crosses and minus signs as the ones on a keyboard."""
    return text.translate(_LOOKALIKES) if not text.isascii() else text


def hides_something(text: str) -> bool:
    """Whether there are control, zero-width or bidirectional characters, or the like, in it."""
    return _HIDDEN.search(_JOINED.sub("", text)) is not None


def without_hidden(text: str) -> str:
    """The text as it looks; only ever offered, never recorded."""
    return _HIDDEN.sub("", text)


def without_joiners(text: str) -> str:
    """The text without the joiners and selectors that belong to pictographs."""
    return _JOINED.sub("", text)


def pieces(chunks: Iterable[str], words: Words) -> list[Piece]:
    """The pieces of a line's chunks (which hold no space), in order."""
    found: list[Piece] = []
    meanings = words.meanings
    for chunk in chunks:
        meaning = meanings.get(chunk)
        if meaning is not None:
            found.append(Piece(meaning[0], meaning[1], chunk))
            continue
        bare = chunk.rstrip(PUNCTUATION)
        if not bare:
            continue
        comma = "," in chunk[len(bare) :]
        meaning = meanings.get(bare)
        if meaning is not None:
            found.append(Piece(meaning[0], meaning[1], bare, comma))
        elif _NUMBER.fullmatch(bare):
            found.append(_number(bare, comma))
        else:
            found.extend(_taken_apart(bare, comma, words))
    return found


def _number(text: str, comma: bool) -> Piece:
    whole, mark, part = text.partition("," if "," in text else ".")
    digits = whole.lstrip("-")
    # 09.42 may be a clock time, and 12,25 two numbers
    is_padded = len(digits) > 1 and digits[0] == "0"
    if len(digits) > 6 or len(part) > (1 if mark == "," or is_padded else 2):
        return Piece(Sort.BAD, text, text, comma)
    return Piece(Sort.NUMBER, float(f"{whole}.{part or 0}"), text, comma)


def _taken_apart(chunk: str, comma: bool, words: Words) -> list[Piece]:
    """A chunk that is neither a word nor a number: several run together, or a stranger."""
    has_digit = any(c.isnumeric() for c in chunk)
    if len(chunk) > _LONGEST_CHUNK:
        return [_whole(chunk, has_digit, comma)]
    if has_digit and len(chunk) == 2 and words.near.of(chunk):
        return [Piece(Sort.STRANGER, None, chunk, comma)]  # 0k
    found: list[Piece] = []
    before = ""
    for match in _PIECE.finditer(chunk):
        kind, text = match.lastgroup or "", match[0]
        piece: tuple[Piece, ...] | None
        if text == "/" and found and found[-1].sort in _DEPTH_BEFORE:
            kind, piece = "slash", (Piece(Sort.OF, None, text),)
        else:
            piece = _piece(kind, text, before, has_digit, words)
        if piece is None:
            return [_whole(chunk, has_digit, comma)]
        if kind != "mark":
            found.extend(piece)
        elif not before and chunk[len(text) :][:1].isnumeric():
            return [_whole(chunk, has_digit, comma)]  # .5
        elif found:
            found[-1] = found[-1]._replace(comma="," in text)
        before = "mark after digits" if kind == "mark" and before in _DIGITS else kind
    if comma and found:
        found[-1] = found[-1]._replace(comma=True)
    return found


_DIGITS = frozenset({"number", "time", "date"})
_DEPTH_BEFORE = frozenset({Sort.NUMBER, Sort.METRES, Sort.FEET})


def _piece(
    kind: str, text: str, before: str, has_digit: bool, words: Words
) -> tuple[Piece, ...] | None:
    """One piece inside a chunk; None when it spoils the whole chunk."""
    if kind in _DIGITS and (before in _DIGITS or before == "mark after digits"):
        return None  # 8-9, 12.5.3, 09:42:10
    match kind:
        case "date":
            try:
                return (Piece(Sort.DATE, date.fromisoformat(text), text),)
            except ValueError:
                return (Piece(Sort.DATE, None, text),)
        case "time":
            hour, _, minute = text.partition(":")
            return (Piece(Sort.TIME, (int(hour), int(minute), len(hour) == 2), text),)
        case "number":
            return (_number(text, False),)
        case "word":
            return _word(text, has_digit, words)
        case "mark":
            return ()
    if text == "'" and before == "number":
        return (Piece(Sort.FEET, None, text),)
    if text == "-" and before == "word" and not has_digit:
        return ()
    meaning = words.meanings.get(text)
    return None if meaning is None else (Piece(meaning.sort, meaning.value, text),)


def _word(text: str, has_digit: bool, words: Words) -> tuple[Piece, ...] | None:
    meaning = words.meanings.get(text)
    if meaning is not None and (not has_digit or meaning.sort in _RUN_TOGETHER):
        return (Piece(meaning.sort, meaning.value, text),)
    if any(c.isnumeric() for c in text) or (has_digit and not words.near.of(text)):
        return None  # 8², 1e1
    return (Piece(Sort.STRANGER, None, text),)


def _whole(chunk: str, has_digit: bool, comma: bool) -> Piece:
    return Piece(Sort.BAD if has_digit else Sort.STRANGER, chunk, chunk, comma)


def likely_numbers(text: str) -> Iterator[float]:
    """The numbers that somebody may have meant by one that can't be read, as long as they are short."""
    for source in dict.fromkeys((text.replace("_", ""), text)):
        for form in _LIKELY:
            for found in form.findall(source):
                yield float(found.replace(",", "."))


# Bounded on both sides: a run of four thousand digits must not be tried from each of them.
_LIKELY = (
    re.compile(r"(?<![0-9])[0-9]{1,3}[.,][0-9]{1,2}(?![0-9])"),
    re.compile(r"(?<![0-9])[0-9]{1,3}(?![0-9])"),
)
