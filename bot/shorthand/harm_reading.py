"""Reading plain words for harm: every message, whatever else it is.

Two readers that make different mistakes. The rules know what is said, about whom, and what is
denied or long ago; they miss what nobody thought of. The second reader knows only how like harm a
line is, and gives the rules a second look, both ways:

- where no rule finds a call for help and a line is like one, it counts as one, by no row: help, and
  a question;
- where no rule finds anything and a line is like harm, it is asked about;
- what a rule finds in a sentence that is like nothing but chatter is chatter, unless it was said
  after `feel`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import replace
from datetime import date
from functools import partial

from bot.shorthand.harm_found import NO_HARM, Alike, Found, HarmReading
from bot.shorthand.harm_lexicon import HarmWords
from bot.shorthand.harm_words import read_by_rules
from bot.shorthand.likeness import (
    CALL,
    CHATTER,
    HARM,
    NEAR_CHATTER,
    SURE_CALL,
    Likeness,
    Weights,
    likeness,
)
from planner.harm import LEVELS, harm_table

_SAID_ALONE_WORDS = 4
_BESIDE_WORDS = 3
_LONGEST_CHARS = 4096
_SENTENCE = re.compile(r"[^.;!?\n…]+")

_Likens = Callable[[str], Likeness]


def read_harm(
    text: str,
    words: HarmWords,
    *,
    names: Collection[str] = (),
    today: date | None = None,
    weights: Weights | None = None,
) -> HarmReading:
    """Read a text for harm. `names` are the members' names; `today` tells past years.

    `weights` are what the second reader knows, where that is not what it has learned.
    """
    reading = read_by_rules(text, words, names=names, today=today)
    folded = frozenset(part for name in names for part in name.casefold().split())
    like = partial(likeness, names=folded, weights=weights)
    table = harm_table().rows
    if reading.found and not reading.feel:
        reading = _without_chatter(text, reading, like)
    if any(table[f.row].level == LEVELS[0] for f in reading.found):
        return reading
    alike = tuple(_alike(text, reading, words, folded, like))
    return replace(reading, alike=alike) if alike else reading


def _lines(text: str) -> Iterator[tuple[str, int]]:
    """The lines of a text, each with where it begins."""
    at = 0
    for line in text[:_LONGEST_CHARS].split("\n"):
        yield line, at
        at += len(line) + 1


def _without_chatter(text: str, reading: HarmReading, like: _Likens) -> HarmReading:
    """What the rules found, but for what stands in sentences that are like nothing but chatter."""
    kept = tuple(f for f in reading.found if not _is_in_chatter(text, f, like))
    if len(kept) == len(reading.found):
        return reading
    left = replace(reading, found=kept, fear=reading.fear and bool(kept))
    return left if (kept or left.denied or left.past or left.asks_cold) else NO_HARM


def _is_in_chatter(text: str, found: Found, like: _Likens) -> bool:
    """Whether the sentence of a row's words, and these with their neighbours, are like chatter.

    The neighbours by themselves, since much chatter beside it hides a word of harm. What is said in
    a few words, or over several sentences, is never chatter.
    """
    begin, end = found.spans[0][0], max(b for _, b in found.spans)
    for m in _SENTENCE.finditer(text[:_LONGEST_CHARS]):
        if not m.start() <= begin < end <= m.end():
            continue
        said = [w.span() for w in re.finditer(r"\S+", m[0])]
        begin, end = begin - m.start(), end - m.start()
        mine = [i for i, (a, b) in enumerate(said) if b > begin and a < end]
        first, last = max(0, mine[0] - _BESIDE_WORDS), min(len(said) - 1, mine[-1] + _BESIDE_WORDS)
        beside = m[0][said[first][0] : said[last][1]]
        return (
            len(said) > _SAID_ALONE_WORDS
            and like(m[0]).harm < CHATTER
            and like(beside).harm < NEAR_CHATTER
        )
    return False


def _alike(
    text: str, reading: HarmReading, words: HarmWords, names: frozenset[str], like: _Likens
) -> Iterator[Alike]:
    """The lines that are like harm where the rules are silent, or like a call where they find less."""
    table = harm_table().rows
    denied = any(row in table and table[row].level == LEVELS[0] for row in reading.denied)
    least = SURE_CALL if reading.found or reading.past or denied else CALL
    heard = bool(
        reading.rows or reading.denied or reading.asks_cold or reading.well or reading.unreadable
    )
    for line, at in _lines(text):
        likened = like(line)
        is_call = likened.call > least
        if is_call or (likened.harm > HARM and not heard):
            span = (at, at + len(line))
            yield Alike(subject=_whom(line, words, names), is_call=is_call, span=span)


_OTHERS = frozenset({"we", "us", "our", "nobody", "noone", "everyone", "safety", "both"})
_ME = frozenset({"me", "my", "myself", "mine"})
_TELLS = frozenset({"says", "said", "told", "tells", "reckons", "thinks", "did", "had"})
_A_FEW_WORDS = 5


def _whom(line: str, words: HarmWords, names: frozenset[str]) -> str | None:
    """Whom a line seems to be about: who is named, "" for somebody else, or None for the writer.

    Who tells of the writer or helps them is not whom it is about: `jun says my eyes were open`.
    """
    said = [w.strip(".,;:!?()#") for w in line.casefold().replace("'", "").split()]
    helps = words.lists["acts_on_me"] | _TELLS
    for i, word in enumerate(said):
        name = word if word in names else word.removesuffix("s")
        near = said[i + 1 : i + 1 + _A_FEW_WORDS]
        if name in names and (helps.isdisjoint(near) or _ME.isdisjoint(near)):
            return name
    kin, others = words.lists["kin"], words.lists["other_words"] | words.lists["kin"] | _OTHERS
    mine = any(
        w in _ME and said[i + 1 : i + 2] not in ([k] for k in kin) for i, w in enumerate(said)
    )
    return "" if not mine and any(w in others for w in said) else None
