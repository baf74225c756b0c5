"""The trade's own words and idioms among those of harm: they are taken out before anything is read."""

from __future__ import annotations

from bot.shorthand.harm_lexicon import HarmWords
from bot.shorthand.harm_match import carried_by, may_stand, places_of
from bot.shorthand.harm_text import Sentence


def take_out(sentence: Sentence, words: HarmWords, *, feel: bool) -> None:
    """Take out the words of idioms, of a reason after `stop`, and of harmless causes in chatter."""
    carried = carried_by(sentence)
    lists = words.lists
    kept = len(words.idioms) if feel else len(words.idioms) + len(words.causes)
    patterns = words.idioms + words.causes
    wanted = {i for atom in carried for i in words.idiom_index.get(atom, ()) if i < kept}
    gone: set[int] = set()
    for i in sorted(wanted):
        pattern = patterns[i]
        if not may_stand(pattern, carried):
            continue
        ways = [list(places_of(part, sentence)) for part in pattern.parts]
        if all(ways):
            gone.update(p for way in ways for places in way for p in places)
    for i, word in enumerate(sentence.words):
        if word in lists["stops"] and not feel:
            gone |= _reasons_of_a_stop(sentence, i, words)
        if word in ("bloody", "bleeding") and _is_swearing(sentence, i, words):
            gone.add(i)
    if not feel and (full := _full_lungs(sentence)) is not None:
        gone.add(full)
    for i in gone:
        sentence.atoms[i] = frozenset()


def _reasons_of_a_stop(sentence: Sentence, i: int, words: HarmWords) -> set[int]:
    """Where the reasons of a stop stand; none if it is said to hurt: `early, chest sore`."""
    end = i + 1
    while end < len(sentence.words) and sentence.words[end] in words.lists["stop_reasons"]:
        end += 1
    negators = words.lists["negators"]
    if any(
        not _HURTS.isdisjoint(sentence.atoms[k]) and negators.isdisjoint(sentence.words[k - 2 : k])
        for k in range(end, len(sentence.words))
    ):
        return set()
    return set(range(i + 1, end))


def _is_swearing(sentence: Sentence, i: int, words: HarmWords) -> bool:
    """`bloody parking meters`: before a plain word that is nothing of the body."""
    after = sentence.words[i + 1 : i + 2]
    return bool(
        after
        and after[0] not in words.lists["after_bloody"]
        and _OF_A_BODY.isdisjoint(sentence.atoms[i + 1])
        and words.is_ordinary(after[0])
    )


_OF_A_BODY = frozenset({"<spit>", "<cough>", "<face>", "<ears>", "<lungs>", "<chest>", "<throat>"})
_HURTS = frozenset({"<pain>", "<sore>"})


def _full_lungs(sentence: Sentence) -> int | None:
    """Where `full` begins a report: `full 25 ears`, `noor full 25 ears`, `for noor full 25 ears`."""
    said = sentence.words
    i = 2 if said[0] == "for" else 1 if said[0] not in ("full", "ears", "ear", "both", "my") else 0
    is_report = said[i : i + 1] == ["full"] and said[i + 1 : i + 2] != []
    return i if is_report and said[i + 1][0].isdigit() else None
