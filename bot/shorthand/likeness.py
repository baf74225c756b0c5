"""How like harm a line is, judged by lines that people have read before: the second reader.

The rules of harm.en.toml know the ways of saying that somebody thought of; this reader knows none
of them. It weighs the pieces of a line (its words, neighbouring words, runs of four letters) by how
often they stood in lines of harm, and how often in chatter (`likeness_learn`). What it finds alone
is help and a question, never a row (`harm_reading`).

>>> likeness("someone get down there for teo now, hes not coming", names=["teo"]).call > CALL
True
>>> likeness("teo, can you bring the coffee", names=["teo"]).call > CALL
False
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import pairwise
from math import exp, sqrt

CALL = 0.5
"""More than so like a call for help, a line counts as one (house rule, as those below)."""
SURE_CALL = 0.8
"""More than so like one, it does though a rule read something milder, denied or long ago in it."""
HARM = 0.9
"""More than so like harm, a line that no rule reads is asked about."""
CHATTER = 0.1
"""Less than so like harm, a line is chatter, whatever a rule makes of a word in it."""

_WORD = re.compile(r"[^\W\d_]+|\d+(?:[.,:]\d+)?|[!?]")
_DROPPED = str.maketrans("", "", "'’‘`´")
_SOMEBODY = "@"
_NUMBER = "0"
_BEGIN, _END = "^", "$"
_PERSONS = frozenset({"he", "hes", "him", "his", "she", "shes", "her", "hers"})
_LETTERS = 4
_FEWEST_WORDS = 2
_LONGEST_WORDS = 120


def words_of(line: str, names: Collection[str]) -> list[str]:
    """The words of a line as they are weighed: who and how many are no matter.

    >>> words_of("Teo's 5 min overdue!", names=["teo"])
    ['@', '0', 'min', 'overdue', '!']
    """
    words = _WORD.findall(line.casefold().translate(_DROPPED))[:_LONGEST_WORDS]
    return [_weighed(word, names) for word in words]


def _weighed(word: str, names: Collection[str]) -> str:
    if word[0].isdigit():
        return _NUMBER
    is_somebody = word in _PERSONS or word in names or word.removesuffix("s") in names
    return _SOMEBODY if is_somebody else word


def pieces_of(line: str, names: Collection[str]) -> set[str]:
    """What a line is weighed by: words, pairs of words with at most one between, runs of letters.

    >>> sorted(pieces_of("not up", names=[]))
    ['^ not', '^_up', '_not', '_up_', 'not', 'not $', 'not up', 'not_', 'not_$', 'up', 'up $']
    """
    words = words_of(line, names)
    edged = [_BEGIN, *words, _END]
    pieces = set(words)
    pieces.update(f"{a} {b}" for a, b in pairwise(edged))
    pieces.update(f"{a}_{b}" for a, b in zip(edged, edged[2:], strict=False))
    for word in words:
        if len(word) > 1:
            held = f"_{word}_"
            pieces.update(held[i : i + _LETTERS] for i in range(len(held) - _LETTERS + 1))
    return pieces


@dataclass(frozen=True, kw_only=True, slots=True)
class Likeness:
    """How like a call for help a line is, and how like harm of any kind; 0 to 1."""

    call: float
    harm: float


NOTHING = Likeness(call=0.0, harm=0.0)
"""Of what is too short to be like anything."""

Weights = Mapping[str, tuple[float, float]]
"""What each piece weighs towards a call, and towards harm; the empty piece is where each begins."""


def weigh(pieces: Iterable[str], weights: Weights) -> Likeness:
    """The logistic of what the known pieces weigh together, by the root of how many they are."""
    known = [weights[p] for p in pieces if p in weights]
    share = 1 / sqrt(max(1, len(known)))
    base_call, base_harm = weights[""]
    call, harm = sum(c for c, _ in known), sum(h for _, h in known)
    return Likeness(
        call=1 / (1 + exp(-(base_call + share * call))),
        harm=1 / (1 + exp(-(base_harm + share * harm))),
    )


def likeness(line: str, *, names: Collection[str] = ()) -> Likeness:
    """How like harm one line is; a single word is like nothing. `names` in lower case."""
    if sum(1 for _ in _WORD.finditer(line)) < _FEWEST_WORDS:
        return NOTHING
    return weigh(pieces_of(line, names), learned())


@lru_cache(maxsize=4)
def learned(language: str = "en") -> Weights:
    """The weights as they were learned, from their file, which holds hundredths."""
    text = resources.files("bot.shorthand").joinpath(f"likeness.{language}.tsv").read_text("utf-8")
    rows = (line.split("\t") for line in text.splitlines() if not line.startswith("# "))
    return {piece: (int(call) / 100, int(harm) / 100) for piece, call, harm in rows}
