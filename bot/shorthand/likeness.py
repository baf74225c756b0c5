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
from array import array
from bisect import bisect_left
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import islice, pairwise
from math import exp, sqrt
from zlib import crc32

from bot.shorthand.english import SINGULAR
from bot.shorthand.names import fold, with_names

CALL = 0.5
"""More than so like a call for help, a line counts as one (house rule, as those below)."""
SURE_CALL = 0.8
"""More than so like one, it does though a rule read something milder, denied or long ago in it."""
SENTENCE_CALL = 0.6
"""More than so, one sentence of several does by itself."""
FELT_CALL = 0.4
"""More than so, what is said after `feel` does."""
HARM = 0.85
"""More than so like harm, a line that no rule reads is asked about."""
CHATTER = 0.1
"""Less than so like harm, a sentence is chatter, whatever a rule makes of a word in it."""
NEAR_CHATTER = 0.2
"""And only where that word with its neighbours is less than so like harm."""

_WORD = re.compile(r"[^\W\d_]+|\d+(?:[.,:]\d+)?|[!?]")
APOSTROPHES = str.maketrans("", "", "'’‘`´")
"""What is dropped before a line is weighed, and of a name."""
_BREATHE_UP = re.compile(r"(?<!not )(?<!nt )\bbreath\w*[\s-]+up\b")
"""The trade's word for getting ready: neither breath nor up is what it is like."""
_SOMEBODY = "@"
_NUMBER = "0"
_BEGIN, _END = "^", "$"
_LETTERS = 4
_UNSAID = 50
_AT_A_TIME = 4096
_FEWEST_WORDS = 2
_LONGEST_WORDS = 120


def words_of(line: str, names: Collection[str]) -> list[str]:
    """The words of a line as they are weighed: who and how many are no matter.

    >>> words_of("Teo's 5 min overdue!", names=["teo"])
    ['@', '0', 'min', 'overdue', '!']
    """
    told = _BREATHE_UP.sub("breatheup", fold(line).translate(APOSTROPHES))
    words = with_names(_WORD, names).findall(told)[:_LONGEST_WORDS]
    return [_weighed(word, names) for word in words]


def _weighed(word: str, names: Collection[str]) -> str:
    if word in SINGULAR or word in names or word.removesuffix("s") in names:
        return _SOMEBODY
    return _NUMBER if word[0].isdigit() else word


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


class Weights:
    """What each piece weighs towards a call, and towards harm; the empty piece is where all begin.

    Kept by numbers of 32 bits instead of words, in a twentieth of the memory of a dictionary. That two
    pieces share a number is rare, and then one weighs a little wrong.

    >>> weights = Weights([("", "-100", "-50"), ("blood", "25", "150")])
    >>> weights.base, weights.get("blood"), weights.get("buoy")
    ((-1.0, -0.5), (0.25, 1.5), None)
    """

    __slots__ = ("_calls", "_harms", "_keys", "base")

    def __init__(self, rows: Iterable[Sequence[str]]) -> None:
        """Take the rows of the file: a piece and its two weights in hundredths."""
        keys, calls, harms = array("I"), array("h"), array("h")
        left = iter(rows)
        # some at a time: a list of all rows would take thirty times the room
        while some := list(islice(left, _AT_A_TIME)):
            pieces, told_calls, told_harms = zip(*some, strict=True)
            keys.extend(map(crc32, map(str.encode, pieces)))
            calls.extend(map(int, told_calls))
            harms.extend(map(int, told_harms))
        order = sorted(range(len(keys)), key=keys.__getitem__)
        self._keys = array("I", map(keys.__getitem__, order))
        self._calls = array("h", map(calls.__getitem__, order))
        self._harms = array("h", map(harms.__getitem__, order))
        self.base: tuple[float, float] = self.get("") or (0.0, 0.0)

    def get(self, piece: str) -> tuple[float, float] | None:
        """The two weights of a piece; None where it is not known."""
        key = crc32(piece.encode())
        i = bisect_left(self._keys, key)
        if i == len(self._keys) or self._keys[i] != key:
            return None
        return self._calls[i] / 100, self._harms[i] / 100


def share_of(pieces: int) -> float:
    """How much one of so many pieces counts: less in a long line, and little in a very short one.

    The root of the number keeps a long line from being sure of itself, and what is added to it a
    short one that says hardly anything.
    """
    return 1 / sqrt(pieces + _UNSAID)


def weigh(pieces: Iterable[str], weights: Weights) -> Likeness:
    """The logistic of what the known pieces weigh together, each by its share."""
    known = [w for p in pieces if (w := weights.get(p)) is not None]
    share = share_of(len(known))
    base_call, base_harm = weights.base
    call, harm = sum(c for c, _ in known), sum(h for _, h in known)
    return Likeness(
        call=1 / (1 + exp(-(base_call + share * call))),
        harm=1 / (1 + exp(-(base_harm + share * harm))),
    )


def likeness(line: str, *, names: Collection[str] = (), weights: Weights | None = None) -> Likeness:
    """How like harm one line is; one word with no mark beside it is like nothing.

    `names` are folded and without apostrophes; `weights` are others than the learned ones.
    """
    if sum(1 for _ in _WORD.finditer(line)) < _FEWEST_WORDS:
        return NOTHING
    return weigh(pieces_of(line, names), learned() if weights is None else weights)


@lru_cache(maxsize=4)
def learned(language: str = "en") -> Weights:
    """The weights as they were learned, from their file."""
    path = resources.files("bot.shorthand").joinpath(f"likeness.{language}.tsv")
    with path.open("r", encoding="utf-8") as lines:
        return Weights(line.rstrip("\n").split("\t") for line in lines if line[:2] != "# ")
