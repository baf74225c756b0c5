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
from itertools import pairwise

from bot.shorthand.english import OF_ME, OTHERS, TELLS
from bot.shorthand.harm_found import NO_HARM, Alike, Found, HarmReading
from bot.shorthand.harm_lexicon import HarmWords
from bot.shorthand.harm_text import QUOTES
from bot.shorthand.harm_words import LONGEST_CHARS, names_said, read_by_rules
from bot.shorthand.lexicon import load_words
from bot.shorthand.likeness import (
    APOSTROPHES,
    CALL,
    CHATTER,
    FELT_CALL,
    HARM,
    NEAR_CHATTER,
    SENTENCE_CALL,
    SURE_CALL,
    Likeness,
    Weights,
    likeness,
)
from bot.shorthand.names import fold, with_names
from planner.harm import LEVELS, harm_table

_SAID_ALONE_WORDS = 4
_BESIDE_WORDS = 3

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
    text = text.translate(QUOTES)[:LONGEST_CHARS]
    reading = read_by_rules(text, words, names=names, today=today)
    said, whole_names = names_said(text, names, words)
    unmarked = frozenset(n.translate(APOSTROPHES) for n in said)
    like = partial(likeness, names=unmarked, weights=weights)
    if reading.found and not reading.feel:
        reading = _without_chatter(text, reading, like)
    alike = [a for a in reading.alike if like(text[slice(*a.span)]).harm >= CHATTER]
    for line, at in _lines(text):
        span = (at, at + len(line))
        if any(a.span == span and a.is_call for a in alike):
            continue
        of_line = reading
        if len(line) < len(text):
            if not _may_be_alike(line, like):
                continue
            of_line = read_by_rules(line, words, names=names, today=today)
        found = tuple(f for f in reading.found if _meets(f, span))
        is_call = _is_like_a_call(line, of_line, found, like)
        if is_call or (_is_unread(of_line, found) and _is_like_harm(line, like)):
            for whom in _whom(line, words, said):
                subject = whole_names.get(whom or "", whom)
                alike.append(Alike(subject=subject, is_call=is_call, span=span))
    alike += _calls_of_mine(text, reading, alike, words)
    return replace(reading, alike=tuple(alike)) if alike or reading.alike else reading


def _calls_of_mine(
    text: str, reading: HarmReading, alike: list[Alike], words: HarmWords
) -> list[Alike]:
    """Calls about another that something was done to the writer in: whom it is about is in doubt.

    `noor restarted me`, `kofi had my chin`: who helps is taken for whom it is about, so both count.
    """
    table = harm_table().rows
    found: list[Alike] = []
    for line, at in _lines(text):
        span = (at, at + len(line))
        calls = [
            f.subject for f in reading.found if table[f.row].level == LEVELS[0] and _meets(f, span)
        ]
        calls += [a.subject for a in alike if a.is_call and a.span == span]
        if calls and None not in calls and _is_done_to_me(line, words):
            found.append(Alike(subject=None, is_call=True, span=span))
    return found


def _is_done_to_me(line: str, words: HarmWords) -> bool:
    """Whether a line holds `me` that something is done to, or `my` with what a rescuer holds."""
    said = _WORDS.findall(fold(line))
    held = words.lists["held_of_me"]
    return any(
        (word == "me" and before not in words.lists["no_deed_before_me"])
        or (word == "my" and behind in held)
        for before, word, behind in zip(["", *said], said, [*said[1:], ""], strict=False)
    )


def _meets(found: Found, span: tuple[int, int]) -> bool:
    return any(a < span[1] and b > span[0] for a, b in found.spans)


def _lines(text: str) -> Iterator[tuple[str, int]]:
    """The lines of a text, each with where it begins."""
    at = 0
    for line in text.split("\n"):
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
    """Whether a row's words stand in what is like nothing but chatter.

    The sentence, the clause and the words with their neighbours must each be: much chatter beside
    it hides a word of harm. What is said in a few words, over several sentences or in a report is
    never chatter.
    """
    begin, end = found.spans[0][0], max(b for _, b in found.spans)
    line = text[text.rfind("\n", 0, begin) + 1 :].split("\n")[0]
    first = line.split()[0].casefold() if line.strip() else ""
    if first[:1].isdigit() or first in load_words().vocabulary:
        return False
    sentence = _between(_SENTENCE_ENDS, text, begin, end)
    clause = _between(_CLAUSE_ENDS, text, begin, end)
    if "\n" in text[begin:end] or len(clause.split()) <= _SAID_ALONE_WORDS:
        return False
    before = text[:begin].split()[-_BESIDE_WORDS:]
    after = text[end:].split()[:_BESIDE_WORDS]
    beside = " ".join((*before, text[begin:end], *after))
    return (
        like(sentence).harm < CHATTER
        and like(clause).harm < CHATTER
        and like(beside).harm < NEAR_CHATTER
    )


_SENTENCE_ENDS = re.compile(r"[.;!?\n…]")
_CLAUSE_ENDS = re.compile(r"[.;!?\n…,#:()/—–]|\b(?:and|but|so)\b")


def _between(ends: re.Pattern[str], text: str, begin: int, end: int) -> str:
    """What stands round two places of a text, between the nearest ends before and behind."""
    return text[slice(*_bounds(ends, text, begin, end))]


def _bounds(ends: re.Pattern[str], text: str, begin: int, end: int) -> tuple[int, int]:
    low = max((m.end() for m in ends.finditer(text, 0, begin)), default=0)
    behind = ends.search(text, end)
    return low, behind.start() if behind else len(text)


def _is_like_a_call(
    line: str, of_line: HarmReading, found: tuple[Found, ...], like: _Likens
) -> bool:
    """Whether a line in which no rule finds a call for help is like one.

    Its sentences by themselves too, which have to be surer: chatter in front hides a call.
    """
    table = harm_table().rows
    if any(table[f.row].level == LEVELS[0] for f in found):
        return False
    denied = any(r in table and table[r].level == LEVELS[0] for r in of_line.denied)
    if found or of_line.past or of_line.asks_cold:
        least = SURE_CALL
    elif of_line.feel:
        least = FELT_CALL
    else:
        least = SURE_CALL if denied else CALL
    if like(line).call > least:
        return True
    return any(like(s).call > max(least, SENTENCE_CALL) for s in _sentences(line))


def _is_like_harm(line: str, like: _Likens) -> bool:
    return any(like(part).harm > HARM for part in (line, *_sentences(line)))


def _may_be_alike(line: str, like: _Likens) -> bool:
    """Whether the least of the thresholds is passed: most lines of a message are like nothing."""
    likened = [like(part) for part in (line, *_sentences(line))]
    return any(one.call > FELT_CALL or one.harm > HARM for one in likened)


def _sentences(line: str) -> list[str]:
    """What a line says in one sentence of several, or in two, but for what is very short."""
    told = [s.strip() for s in _SENTENCE_ENDS.split(line) if s.strip()]
    if len(told) == 1:
        return [_FEEL.sub("", line)] if _FEEL.match(line) else []
    pairs = [f"{a}. {b}" for a, b in pairwise(told)] if len(told) > 2 else []
    return [s for s in (*told, *pairs) if len(s.split()) >= _SAID_ALONE_WORDS]


_FEEL = re.compile(r"\W*(?:i\s+|im\s+)?feel(?:ing|s)?\s+", re.IGNORECASE)


def _is_unread(of_line: HarmReading, found: tuple[Found, ...]) -> bool:
    """Whether the rules find nothing in a line, nor anything that is asked about anyway."""
    return not (found or of_line.asks_cold or of_line.well or of_line.unreadable)


_A_FEW_WORDS = 5


def _whom(line: str, words: HarmWords, names: Collection[str]) -> tuple[str | None, ...]:
    """Whom a line seems to be about: all who are named, "" for somebody else, or None for the writer.

    Who tells of the writer or helps them is not whom it is about: `jun says my eyes were open`.
    """
    said = with_names(_WORDS, names).findall(fold(line))
    helps = words.lists["acts_on_me"] | TELLS
    named: list[str] = []
    for i, word in enumerate(said):
        name = word if word in names else word.removesuffix("s").removesuffix("'")
        near = said[i + 1 : i + 1 + _A_FEW_WORDS]
        if name in names and (helps.isdisjoint(near) or OF_ME.isdisjoint(near)):
            named.append(name)
    if named:
        return tuple(dict.fromkeys(named))
    kin, others = words.lists["kin"], words.lists["other_words"] | words.lists["kin"] | OTHERS
    mine = any(
        w in OF_ME and said[i + 1 : i + 2] not in ([k] for k in kin) for i, w in enumerate(said)
    )
    return ("",) if not mine and any(w.replace("'", "") in others for w in said) else (None,)


def is_said_to(text: str, span: tuple[int, int], words: HarmWords) -> bool:
    """Whether a place of a message is about whom it answers: `you blacked out`, `that was a samba`.

    >>> from bot.shorthand.harm_lexicon import harm_words
    >>> is_said_to("you blacked out", (4, 15), harm_words())
    True
    >>> is_said_to("i feel dizzy, you too?", (7, 12), harm_words())
    False
    """
    text = fold(text.translate(QUOTES))
    low, high = _bounds(_SENTENCE_ENDS, text, *span)
    addressed, of_self = words.lists["addressed"], words.lists["self_words"]
    begun = (word.split("'")[0] for word in _WORDS.findall(text[low : span[1]]))
    so_far = [w for w in begun if w in addressed or w in of_self]
    if so_far:
        return so_far[-1] in addressed
    told = _WORDS.findall(text[low:high])
    return told[:1] != [] and told[0] in words.lists["pointed_at"] and of_self.isdisjoint(told)


def is_of_oneself(text: str, span: tuple[int, int], words: HarmWords) -> bool:
    """Whether the sentence round a place says `i` or `my`: then it is the writer's own."""
    told = _WORDS.findall(fold(_between(_SENTENCE_ENDS, text.translate(QUOTES), *span)))
    return not words.lists["self_words"].isdisjoint(word.replace("'", "") for word in told)


_WORDS = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?")
