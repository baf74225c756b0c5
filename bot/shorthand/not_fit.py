"""A line that denies being fit, in whatever words: `not really fit`, `dont feel fit`, `fit? no`.

The careful side: where it is in doubt whether somebody is fit, they are not. How such a line is
built is English; its words are in the language's file.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from bot.shorthand.arguments import one_edit_apart
from bot.shorthand.lexicon import Words
from bot.shorthand.pieces import PUNCTUATION

_MARKS = PUNCTUATION + "-–—()\"'…/"

_ALNUM = re.compile(r"\w")

_LETTER_OF = {
    "not": "n",
    "nope": "o",
    "do": "d",
    "dont": "v",
    "feel": "e",
    "self": "s",
    "degree": "a",
    "greeting": "g",
    "later": "t",
    "thing": "x",
    "fit": "f",
    "unfit": "u",
}
"""A word of each list as one letter, so that a line is a word of these letters; others are `.`."""

_SLIPS = {"not": "N", "dont": "V", "fit": "F", "unfit": "u"}
"""The lists of whose words a slip counts as well, and its letter."""

_DENIES = re.compile(
    r"[goast]*(?:"
    # not really fit; i am not feeling fit; not sure i'm fit to dive. Not: not sure i fit in it
    r"[sea]*[nN][aes]*f(?!x).*"
    # i don't feel fit, do not think i'm fit. Not: does not fit, won't fit
    r"|[sa]*(?:[vV]|d[nN])[as]*e[aes]*f(?!x).*"
    r"|o+a*f[tagos]*"
    # with a slip in the word itself nothing else may be strange
    r"|[sea]*n[aes]*F[tagos]*"
    r"|[sa]*(?:v|dn)[as]*e[aes]*F[tagos]*"
    r"|[sea]*u.*"
    # fit? no; fit - not really; fit? dont think so
    r"|f[sagt]*(?:[noN]|va*e)[aegsno]*"
    r")"
)


def denies_fit(chunks: Sequence[str], words: Words) -> bool:
    """Whether the words of a line, without whom it is about, deny that somebody is fit.

    >>> from bot.shorthand import words
    >>> lines = ("not really fit", "nott fit", "fit? no", "fins dont fit", "im fit")
    >>> [denies_fit(line.split(), words()) for line in lines]
    [True, True, True, False, False]
    """
    said = [c.strip(_MARKS + "?").casefold() for c in chunks]
    return (
        _DENIES.fullmatch("".join(_letter(w, words) for w in said if _ALNUM.search(w))) is not None
    )


def _letter(word: str, words: Words) -> str:
    of = words.fitness
    for name, letter in _LETTER_OF.items():
        if word in of[name]:
            return letter
    if word not in of["no_slips"]:
        for name, letter in _SLIPS.items():
            if _is_slip(word, of[name]):
                return letter
    return "."


def _is_slip(word: str, of: Collection[str]) -> bool:
    return any(one_edit_apart(word, ours) for ours in of)
