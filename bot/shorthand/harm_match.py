"""Where a pattern stands in a sentence, and the concepts that take several words to say."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bot.shorthand.english import DENIES
from bot.shorthand.harm_lexicon import SCOPES, Element, HarmWords, Pattern
from bot.shorthand.harm_text import Sentence

_A_COMMA_WORDS = 2


def places_of(part: tuple[Element, ...], sentence: Sentence) -> Iterator[tuple[int, ...]]:
    """Where a part stands in a sentence: the first way for each place it may begin at."""
    first = part[0].atoms
    for i, carried in enumerate(sentence.atoms):
        if not first.isdisjoint(carried):
            rest = _follow(part, 1, i, sentence)
            if rest is not None:
                yield (i, *rest)


def _follow(
    part: tuple[Element, ...], k: int, i: int, sentence: Sentence
) -> tuple[int, ...] | None:
    if k == len(part):
        return ()
    element, chunks = part[k], sentence.chunks
    for j in range(i + 1, min(len(chunks), i + 2 + element.gap)):
        if j - i - 1 + _A_COMMA_WORDS * (chunks[j] - chunks[i]) > element.gap:
            return None
        if not element.atoms.isdisjoint(sentence.atoms[j]):
            rest = _follow(part, k + 1, j, sentence)
            if rest is not None:
                return (j, *rest)
    return None


def stands(pattern: Pattern, sentence: Sentence, carried: set[str]) -> bool:
    """Whether a pattern stands in a sentence, whoever and whatever is denied."""
    return may_stand(pattern, carried) and all(
        next(places_of(part, sentence), None) is not None for part in pattern.parts
    )


def may_stand(pattern: Pattern, carried: set[str]) -> bool:
    """Whether a sentence carries something for each place of a pattern, wherever it stands."""
    return not any(need.isdisjoint(carried) for need in pattern.needs)


def carried_by(sentence: Sentence) -> set[str]:
    """All that the words of a sentence carry."""
    return set().union(*sentence.atoms)


def with_phrases(sentence: Sentence, words: HarmWords) -> None:
    """Give the words of each phrase what it means together: `went out like a light`."""
    carried = carried_by(sentence)
    wanted = {i for atom in carried for i in words.phrase_index.get(atom, ())}
    for i in sorted(wanted):
        phrase = words.phrases[i]
        if not may_stand(phrase.said, carried):
            continue
        ways = [list(places_of(part, sentence)) for part in phrase.said.parts]
        if not all(ways):
            continue
        ways = _undenied(ways, sentence)
        if not all(ways):
            continue
        group = frozenset(p for way in ways for places in way for p in places)
        for place in group:
            sentence.atoms[place] = sentence.atoms[place] | phrase.means
        if phrase.means.isdisjoint(SCOPES):
            sentence.groups.append(group)
        carried |= phrase.means


def _undenied(ways: list[list[tuple[int, ...]]], sentence: Sentence) -> list[list[tuple[int, ...]]]:
    """Those ways in which no word stands right behind a `no` that is none of the phrase's own.

    `coughing for 20 minutes, no blood` is no coughing up of blood.
    """
    own = {p for way in ways for p in way[0]}
    denied = {
        p
        for p in {p for way in ways for places in way for p in places}
        if _is_right_behind_a_no(sentence, p, own)
    }
    if not denied:
        return ways
    return [[places for places in way if denied.isdisjoint(places)] for way in ways]


def _is_right_behind_a_no(sentence: Sentence, p: int, own: set[int]) -> bool:
    """`no pain`, `no chest pain`: with at most one word between that is none of the phrase's."""
    said, chunks = sentence.words, sentence.chunks
    for q in (p - 1, p - 2):
        if q < 0 or chunks[q] != chunks[p] or q in own:
            return False
        if said[q] in DENIES:
            return True
    return False


def whole(places: Iterable[int], sentence: Sentence) -> frozenset[int]:
    """Places with the rest of the phrases that they belong to."""
    found = set(places)
    for group in sentence.groups:
        if not group.isdisjoint(found):
            found |= group
    return frozenset(found)
