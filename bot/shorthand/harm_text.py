"""A text as sentences of words, each with what it carries, where it stood and how long ago it was."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from itertools import pairwise

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
_UNIT_MIN = {
    "s": 1 / 60, "sec": 1 / 60, "secs": 1 / 60, "second": 1 / 60, "seconds": 1 / 60,
    "min": 1.0, "mins": 1.0, "minute": 1.0, "minutes": 1.0,
    "h": 60.0, "hr": 60.0, "hrs": 60.0, "hour": 60.0, "hours": 60.0,
    "day": 1440.0, "days": 1440.0, "week": 10080.0, "weeks": 10080.0,
    "month": 43200.0, "months": 43200.0, "year": 525600.0, "years": 525600.0, "yr": 525600.0, "yrs": 525600.0,
}  # fmt: skip
_COUNTS = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "ten": 10,
    "twenty": 20, "thirty": 30, "half": 0.5, "few": 3, "couple": 2, "couples": 2, "some": 3,
    "several": 4, "many": 10, "last": 1, "past": 1,
}  # fmt: skip
_MONTHS = frozenset({
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
})  # fmt: skip
_LONG_AGO_DAYS = 3650.0
_TODAY = frozenset({"today", "just", "tonight", "session", "should"})
_LAST_DAYS = {
    "week": 7.0, "month": 30.0, "year": 365.0, "season": 180.0, "summer": 150.0, "winter": 150.0,
    "spring": 150.0, "autumn": 150.0, "night": 1.0, "weekend": 7.0,
}  # fmt: skip


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
        if word in ("a", "an", "of") and k and sentence.words[k - 1] in _COUNTS:
            continue
        if word in _COUNTS:
            return _COUNTS[word]
        if word != "of":
            break
    return None


def _add_durations(sentence: Sentence, words: HarmWords) -> None:
    """Give a unit of time what its length carries."""
    for i, word in enumerate(sentence.words):
        unit = _UNIT_MIN.get(word)
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
    if any("<before>" in carried for carried in sentence.atoms) and _TODAY.isdisjoint(said):
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
        if word in ("ago", "back") and i and said[i - 1] in _UNIT_MIN:
            count = _count_before(sentence, i - 1)
            unit = said[i - 1]
            if count is None:
                count = 3.0 if unit.endswith("s") else 1.0
            return count * _UNIT_MIN[unit] / 1440.0
        if before in ("last", "previous") and word in _LAST_DAYS:
            return _LAST_DAYS[word]
        if word == "yesterday":
            return 1.0
        if word in _MONTHS and before in ("in", "last", "since"):
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
