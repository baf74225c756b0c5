"""What is left of a text without its words of harm: reports, and never a note that holds any."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from bot.shorthand.harm_found import Alike, Found, HarmReading
from bot.shorthand.harm_text import QUOTES
from bot.shorthand.lexicon import load_words
from bot.shorthand.names import fold, with_names
from planner.harm import harm_table

_PIECES = re.compile(r"\s*(?:[,;!?\n…]|[.](?!\d)|\bbut\b|\band\b)\s*")


def without_harm(
    text: str,
    reading: HarmReading,
    *,
    drop_lines: Collection[int] = (),
    names: Collection[str] = (),
) -> str:
    """What is left of a text without its words of harm, for reports: never a note that holds any.

    A piece between commas that speaks of harm goes as a whole, unless it holds a number: then only
    the words of harm go, so that no dive is lost.
    """
    left = lines_left(text, reading, drop_lines=drop_lines, names=names)
    return "\n".join(line.text for line in left if line.text.strip())


@dataclass(frozen=True, kw_only=True, slots=True)
class LineLeft:
    """A line as it was said, what is left of it without its words of harm, and whose they were."""

    said: str
    text: str
    found: tuple[Found, ...]


def lines_left(
    text: str,
    reading: HarmReading,
    *,
    drop_lines: Collection[int] = (),
    names: Collection[str] = (),
) -> Iterator[LineLeft]:
    """The lines of a text without their words of harm; those of `drop_lines` are left out."""
    folded = text.translate(QUOTES)
    begin = 0
    for n, line in enumerate(folded.split("\n")):
        end = begin + len(line)
        spans: list[tuple[int, int]] = []
        found: list[Found] = []
        for f in reading.found:
            mine = [(max(0, a - begin), b - begin) for a, b in f.spans if a < end and b > begin]
            spans += mine
            found += [f] if mine else []
        left = _line_without(line, spans) if spans else line
        alike = [a for a in reading.alike if a.span[0] == begin]
        if alike:
            left = _report_in(line, names)
            found += [_as_found(a) for a in alike]
        begin = end + 1
        if n not in drop_lines:
            yield LineLeft(said=line, text=left, found=tuple(found))


def _as_found(alike: Alike) -> Found:
    """What is like harm, by the row of what nobody can say."""
    row = harm_table().unanswered_row
    return Found(row=row, subject=alike.subject, spans=(alike.span,))


def _report_in(line: str, names: Collection[str]) -> str:
    """The longest run of words of a report in a line, where it holds a number; else nothing.

    Which word of a line is the one like harm nobody knows, so nothing else of it is kept.
    """
    parts = {part for name in names for part in fold(name).split()}
    words = load_words()
    known = words.meanings.keys() | words.commands.keys() | parts
    parts_of = with_names(_PARTS, parts)
    runs: list[list[str]] = [[]]
    for word in line.split("#")[0].split():
        if all(part[0].isdigit() or part in known for part in parts_of.findall(fold(word))):
            runs[-1].append(word.rstrip(",;:"))
        else:
            runs.append([])
        if word[-1] in ".!?;":
            runs.append([])
    told = [run for run in runs if len(run) > 1 and any(c.isdigit() for w in run for c in w)]
    told.sort(key=len)
    return " ".join(told[-1]) if told else ""


_PARTS = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+")


def _line_without(line: str, spans: list[tuple[int, int]]) -> str:
    note = line.find("#")
    if note >= 0 and any(b > note for _, b in spans):
        line = line[:note]
        spans = [s for s in spans if s[0] < note]
    pieces: list[str] = []
    at = 0
    for m in [*_PIECES.finditer(line), None]:
        end = m.start() if m is not None else len(line)
        mine = [(a - at, b - at) for a, b in spans if a < end and b > at]
        piece = line[at:end]
        if mine:
            piece = _cut(piece, mine)
        if piece.strip():
            pieces.append(piece.strip())
        at = m.end() if m is not None else end
    return ", ".join(pieces)


def _cut(piece: str, spans: list[tuple[int, int]]) -> str:
    """A piece without the stretch that its words of harm span; nothing if no number is left.

    A number within the stretch stays, and so does a `stop` that the piece begins with.
    """
    begin, end = max(0, min(a for a, _ in spans)), max(b for _, b in spans)
    within = " ".join(w for w in piece[begin:end].split() if w[0].isdigit())
    left = " ".join(f"{piece[:begin]} {within} {piece[end:]}".split())
    if any(c.isdigit() for c in left):
        return left
    stop = _STOP.match(piece)
    return stop[0].strip() if stop else ""


_STOP = re.compile(r"\s*stop(?:ped)?\b", re.IGNORECASE)
