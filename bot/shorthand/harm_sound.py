"""How a word of harm sounds: what a phone hears and an ear spells is near to it, letters or not.

>>> sound_of("weekness") == sound_of("weakness"), sound_of("earake") == sound_of("earache")
(True, True)
"""

from __future__ import annotations

import re

_ALIKE = (
    (re.compile("^(?:kn|gn|pn)"), "n"),
    (re.compile("^wr"), "r"),
    (re.compile("ph"), "f"),
    (re.compile("tch|ch|ck|q"), "k"),
    (re.compile("c(?=[eiy])"), "s"),
    (re.compile("c"), "k"),
    (re.compile("x"), "ks"),
    (re.compile("z"), "s"),
    (re.compile("gh|h(?![aeiouy])"), ""),
    (re.compile("(?<=.)w"), "u"),
    (re.compile("[aeiouy]+"), "a"),
    (re.compile(r"(.)\1+"), r"\1"),
)


def sound_of(word: str) -> str:
    """A word by its sound: consonants that are heard alike are one, vowels are all one."""
    for pattern, heard in _ALIKE:
        word = pattern.sub(heard, word)
    return word
