"""A text as sentences of words, each with what it carries, where it stood and how long ago it was."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from itertools import pairwise

from bot.shorthand.english import COUNTS, LAST_DAYS, MONTHS, OF_TODAY, UNIT_MIN
from bot.shorthand.harm_lexicon import HarmWords
from bot.shorthand.names import fold, with_names

_TOKEN = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+|[.;!?\n…]|[,:()#/—–]")
QUOTES = str.maketrans({"’": "'", "‘": "'", "`": "'", "´": "'", "\u200b": None, "\u00ad": None})
_SHORT = re.compile(r"'(?:s|m|re|ve|d)\b")
_DOTTED = re.compile(r"\b[a-z](?:\.[a-z]){1,3}\b\.?")
_OWNS = re.compile(r"'s\b")
_SOMEBODY = frozenset({"<who>"})
_HUNDREDS = frozenset({"<hundreds>"})
_A_NOTE = 3
"""A note is farther from its report than what stands behind a comma."""
_FEVERY = frozenset({"<fevery>"})
_FEVER = re.compile(r"(?:37[.,][5-9]|(?:38|39|40|41)[.,][0-9])")
_LONG_AGO_DAYS = 3650.0


@dataclass(slots=True)
class Sentence:
    """The words of one sentence; `chunks` counts the commas before each.

    `groups` are the places of the phrases found in it, each of which means one thing; `owners` the
    words with an apostrophe and an s.
    """

    words: list[str]
    atoms: list[frozenset[str]]
    spans: list[tuple[int, int]]
    chunks: list[int]
    question: bool
    exclaimed: bool = False
    after: str = ""
    groups: list[frozenset[int]] = field(default_factory=list)
    owners: set[int] = field(default_factory=set)
    ago_days: float | None = None


def sentences_of(text: str, words: HarmWords, names: list[str]) -> list[Sentence]:
    """The words of a text in sentences, each with what it carries and where it stood.

    `names` are folded; each is one word, whatever it is written with.
    """
    folded = text.translate(QUOTES)
    lowered = fold(folded).replace("can not", "cannot ").replace(" - ", " , ")
    if "." in lowered:
        lowered = _DOTTED.sub(partial(_without_dots, names=names), lowered)
    owners: set[int] = set()
    if "'" in lowered:
        owners = {m.start() for m in _OWNS.finditer(lowered)}
        lowered = _SHORT.sub(lambda m: " " * len(m.group()), lowered)
        lowered = lowered.replace("n't", "nt ").replace("'ll", "   ")
    out: list[Sentence] = []
    at = Sentence(words=[], atoms=[], spans=[], chunks=[], question=False)
    chunk = 0
    for m in with_names(_TOKEN, names).finditer(lowered):
        word = m.group()
        if word in ".;!?\n…":
            if at.words:
                at.question = word == "?"
                at.exclaimed = word == "!"
                out.append(at)
                at = Sentence(words=[], atoms=[], spans=[], chunks=[], question=False)
            continue
        if word in ",:()#/—–":
            chunk += _A_NOTE if word == "#" else 1
            continue
        begin = m.start()
        for part in (word,) if word in names else words.pulled_apart(word):
            at.words.append(part)
            at.spans.append((begin, begin + len(part)))
            at.chunks.append(chunk)
            at.atoms.append(_SOMEBODY if word in names else words.atoms(part))
            begin += len(part)
        if m.end() in owners:
            at.owners.add(len(at.words) - 1)
    if at.words:
        out.append(at)
    for sentence in out:
        _add_durations(sentence, words)
        _add_edges(sentence, words, folded)
    for before, after in pairwise(out):
        before.after = after.words[0]
    return out


def _without_dots(dotted: re.Match[str], *, names: list[str]) -> str:
    """`c.p.r.` as `cpr`, in as much room; a name with dots stays."""
    said = dotted[0]
    return said if said.rstrip(".") in names else said.replace(".", "").ljust(len(said))


_FIGURE = re.compile(r"[0-9]{1,6}(?:[.,][0-9]{1,3})?")


def _count_before(sentence: Sentence, i: int) -> float | None:
    """The number that a unit of time follows: `20 min`, `half an hour`, `a couple of weeks`."""
    for k in (i - 1, i - 2, i - 3):
        if k < 0:
            break
        word = sentence.words[k]
        if figure := _FIGURE.match(word):
            return float(figure[0].replace(",", "."))
        if word in ("a", "an", "of") and k and sentence.words[k - 1] in COUNTS:
            continue
        if word in COUNTS:
            return COUNTS[word]
        if word != "of":
            break
    return None


def _add_durations(sentence: Sentence, words: HarmWords) -> None:
    """Give a unit of time what its length carries."""
    for i, word in enumerate(sentence.words):
        unit = UNIT_MIN.get(word)
        if unit is None:
            continue
        count = _count_before(sentence, i)
        if count is None:
            if len(word) < 3:
                continue
            count = 3.0 if word.endswith("s") else 1.0
        minutes = count * unit
        names = ["dur-brief"] if minutes <= 10 else ["dur-long"]
        if unit >= 1:
            names.append("dur-min")
        if minutes > 15:
            names.append("dur-min15")
        if minutes >= 1440:
            names.append("dur-day")
        if minutes >= 2880:
            names.append("dur-2days")
        carried = sentence.atoms[i]
        for name in names:
            carried = carried | words.duration(name)
        sentence.atoms[i] = carried


def _figure_class(word: str) -> frozenset[str]:
    """What a figure may count: beats a minute, or degrees of fever."""
    if len(word) == 3 and word.isdigit():
        return _HUNDREDS
    return _FEVERY if _FEVER.fullmatch(word) else frozenset()


def _add_edges(sentence: Sentence, words: HarmWords, folded: str) -> None:
    """Give a word what it means first or last between commas, or shouted: `^help!$`."""
    said, chunks = sentence.words, sentence.chunks
    for i, word in enumerate(said):
        if word[0].isdigit():
            sentence.atoms[i] = sentence.atoms[i] | _figure_class(word)
        if word not in words.at_edges:
            continue
        begin, end = sentence.spans[i]
        shouted = sentence.exclaimed or (len(word) > 1 and folded[begin:end].isupper())
        first = i == 0 or chunks[i - 1] != chunks[i]
        last = i + 1 == len(said) or chunks[i + 1] != chunks[i]
        meant = {
            f"{a}{word}{b}{c}"
            for a in ("", "^")[: 1 + first]
            for b in ("", "!")[: 1 + shouted]
            for c in ("", "$")[: 1 + last]
        }
        sentence.atoms[i] = sentence.atoms[i] | (meant & words.edges)


def ago_days(sentence: Sentence, today: date | None) -> float | None:
    """How many days ago a sentence puts what it tells, or None for now; in doubt it is now."""
    said = sentence.words
    if any("<before>" in carried for carried in sentence.atoms) and OF_TODAY.isdisjoint(said):
        return _LONG_AGO_DAYS
    for i, word in enumerate(said):
        before = said[i - 1] if i else ""
        is_year = (
            (i == 0 or before in ("in", "of", "from", "season", "since"))
            and len(word) == 4
            and word[:2] in ("19", "20")
        )
        if is_year and today is not None and word.isdigit() and int(word) < today.year:
            return 365.0 * (today.year - int(word)) - 182.0
    for i, word in enumerate(said):
        before = said[i - 1] if i else ""
        if word in ("ago", "back") and i and said[i - 1] in UNIT_MIN:
            count = _count_before(sentence, i - 1)
            unit = said[i - 1]
            if count is None:
                count = 3.0 if unit.endswith("s") else 1.0
            return count * UNIT_MIN[unit] / 1440.0
        if before in ("last", "previous") and word in LAST_DAYS:
            return LAST_DAYS[word]
        if word == "yesterday":
            return 1.0
        if word in MONTHS and before in ("in", "last", "since"):
            return 30.0
        if word in ("kid", "child", "teenager", "childhood") and (
            before in ("my", "in", "as") or said[max(0, i - 2) : i] == ["as", "a"]
        ):
            return 3650.0
        if word == "years" and "for" not in said:
            return 730.0
        if word == "used" and said[i + 1 : i + 2] == ["to"]:
            return 730.0
    return None
