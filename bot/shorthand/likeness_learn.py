"""Learning the weights of `likeness` from lines that people have read: deploy/learn writes the file.

A logistic regression over the pieces of a line, one line at a time, each weight with a step of its
own (J Duchi, E Hazan, Y Singer, J Mach Learn Res 2011;12:2121-2159). The order of the lines is
shuffled by a fixed seed, so the same lines give the same file.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import exp, sqrt
from random import Random

from bot.shorthand.likeness import pieces_of, share_of

ROUNDS = 24
EVERY_SO_MANY = 4
STEP = 0.3
FEWEST_LINES = 2
_LEAST_WRONG = 0.1
"""A line that is right by more than the rest teaches nothing more."""
_SOFTENS = 1e-8
_SEED = 1
_HEAD = """\
# What likeness.py weighs a line by: a piece, what it weighs towards a call for help, and towards harm
# of any kind, in hundredths. Written by deploy/learn from the lines in tests/bot/harm_*.tsv; not by hand.
"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Example:
    """A line that somebody has read, and whether it is a call for help, or harm of any kind."""

    text: str
    is_call: bool
    is_harm: bool


def learn(examples: Iterable[Example], *, names: Collection[str]) -> dict[str, tuple[float, float]]:
    """What each piece weighs, from lines that were read. Takes some seconds for ten thousand.

    >>> up, fine = (Example(text=t, is_call=c, is_harm=c) for t, c in (("not up", True), ("ok up", False)))
    >>> weights = learn([up, fine] * 9, names=[])
    >>> weights["not"][0] > 0 > weights["ok"][0]
    True
    """
    told = [(sorted(pieces_of(e.text, names)), e) for e in examples]
    seen = Counter(piece for pieces, _ in told for piece in pieces)
    kept = [([p for p in pieces if seen[p] >= FEWEST_LINES], e) for pieces, e in told]
    call = _descend([(pieces, float(e.is_call)) for pieces, e in kept if pieces])
    harm = _descend([(pieces, float(e.is_harm)) for pieces, e in kept if pieces])
    return {piece: (call[piece], harm[piece]) for piece in sorted(call.keys() & harm.keys())}


def _descend(told: list[tuple[list[str], float]]) -> dict[str, float]:
    """The weights that make the lines most likely, and where all begin under the empty piece."""
    numbers = {p: n for n, p in enumerate(dict.fromkeys(p for pieces, _ in told for p in pieces))}
    numbered = [(tuple(numbers[p] for p in pieces), y) for pieces, y in told]
    weights = [0.0] * len(numbers)
    moved = [_SOFTENS] * len(numbers)
    base, base_moved = 0.0, _SOFTENS
    random = Random(_SEED)
    teaching = numbered
    for n in range(ROUNDS):
        # what taught nothing any more is only looked at again now and then
        visited = list(numbered) if n % EVERY_SO_MANY == 0 else teaching
        random.shuffle(visited)
        teaching = []
        for line in visited:
            pieces, y = line
            share = share_of(len(pieces))
            total = base + share * sum([weights[p] for p in pieces])
            wrong = 1 / (1 + exp(-max(-30.0, total))) - y
            if abs(wrong) < _LEAST_WRONG:
                continue
            teaching.append(line)
            slope = wrong * share
            steep = slope * slope
            for p in pieces:
                moved[p] += steep
                weights[p] -= STEP * slope / sqrt(moved[p])
            base_moved += wrong * wrong
            base -= STEP * wrong / sqrt(base_moved)
    return {"": base, **dict(zip(numbers, weights, strict=True))}


def as_rows(weights: Mapping[str, tuple[float, float]]) -> Iterator[tuple[str, str, str]]:
    """The weights as the rows of the file, in hundredths, by the alphabet.

    What weighs nothing stands there too: a piece that is known counts in a line's share.
    """
    for piece, (call, harm) in sorted(weights.items()):
        yield piece, str(round(call * 100)), str(round(harm * 100))


def as_file(weights: Mapping[str, tuple[float, float]]) -> str:
    """The text of the file."""
    return _HEAD + "".join("\t".join(row) + "\n" for row in as_rows(weights))
