"""Members' names among the words of a text, whatever they are written with: Ana, ana2, Anne-Marie."""

from __future__ import annotations

import re
from collections.abc import Collection
from functools import lru_cache


def fold(text: str) -> str:
    """A text in lower case, letter for letter: what is folded stands where it stood.

    >>> fold("COUGHED BLOOD IN İZMİR")
    'coughed blood in izmir'
    """
    lowered = text.lower()
    if len(lowered) == len(text):
        return lowered
    return "".join(c.lower()[:1] for c in text)


def with_names(pattern: re.Pattern[str], names: Collection[str]) -> re.Pattern[str]:
    """A pattern of words that takes no name apart. `names` are folded.

    >>> words = re.compile(r"[a-z]+")
    >>> with_names(words, ["ana2", "anne-marie"]).findall("ana2 and anne-marie, not ana")
    ['ana2', 'and', 'anne-marie', 'not', 'ana']
    """
    return _with(pattern, frozenset(n for n in names if not n.isalpha()))


@lru_cache(maxsize=256)
def _with(pattern: re.Pattern[str], odd: frozenset[str]) -> re.Pattern[str]:
    taken_apart = [n for n in odd if " " not in n and not pattern.fullmatch(n)]
    if not taken_apart:
        return pattern
    longest_first = sorted(taken_apart, key=lambda n: (-len(n), n))
    either = "|".join(map(re.escape, longest_first))
    return re.compile(rf"(?<!\w)(?:{either})(?!\w)|{pattern.pattern}", pattern.flags)
