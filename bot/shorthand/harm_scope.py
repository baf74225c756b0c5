"""The scope of words of harm: what is denied, what is general talk, and whom it is about."""

from __future__ import annotations

from collections.abc import Iterator

from bot.shorthand.harm_lexicon import HarmWords
from bot.shorthand.harm_text import Sentence

_NEGATION_REACH = 5


def reaches(
    places: tuple[int, ...],
    own: set[int],
    sentence: Sentence,
    words: HarmWords,
    following: list[Sentence],
) -> bool:
    """Whether a negation reaches these words, and nothing after it takes it back."""
    lists, said, chunks = words.lists, sentence.words, sentence.chunks
    begin, end = places[0], places[-1]
    joined = not lists["list_joiners"].isdisjoint(said)
    is_denied = False
    for q in range(begin - 1, max(-1, begin - 1 - _NEGATION_REACH), -1):
        if chunks[q] != chunks[begin] and not joined:
            break
        if said[q] in lists["negators"] and q not in own:
            is_denied = said[q + 1] not in lists["not_negating_before"]
            break
        if said[q] in lists["clause_ends"]:
            break
    for q in range(begin + 1, end):
        if q not in places and q not in own and said[q] in lists["negators"]:
            is_denied = is_denied or said[q + 1] not in lists["not_negating_before"]
    after = said[end + 1] if end + 1 < len(said) else ""
    if after in lists["answers_no"]:
        closes = end + 2 == len(said) or chunks[end + 2] != chunks[end + 1]
        is_denied = is_denied or closes
    elif not after and following and following[0].words[0] in lists["answers_no"]:
        is_denied = is_denied or (sentence.question and len(following[0].words) == 1)
    return is_denied and not _is_taken_back(end, sentence, words, following)


def _is_taken_back(
    end: int, sentence: Sentence, words: HarmWords, following: list[Sentence]
) -> bool:
    """`no blood today but yesterday yes`, `no blood anymore`: it was there."""
    lists, said = words.lists, sentence.words
    rest = said[end + 1 :]
    if any(w in lists["still_there"] for w in rest[:3]) or rest[:2] == ["any", "more"]:
        return True
    tails = [rest]
    if following:
        tails.append(following[0].words[:6])
    for tail in tails:
        near = tail[tail.index("but") + 1 :] if "but" in tail else tail
        near = near[:6]
        if (
            not lists["past_words"].isdisjoint(near)
            and not lists["affirms"].isdisjoint(near)
            and lists["negators"].isdisjoint(near)
        ):
            return True
    return False


def is_general(sentence: Sentence, places: frozenset[int], words: HarmWords, *, feel: bool) -> bool:
    """Talk about harm rather than of one: a question to others, a condition, a drill, a film."""
    if feel:
        return False
    lists, said = words.lists, sentence.words
    asks_others = not lists["you_words"].isdisjoint(said)
    mine = not lists["self_words"].isdisjoint(said)
    if sentence.question and said[0] in lists["asks_first"] and (asks_others or not mine):
        return not (mine and asks_others is False)
    if said[1:2] == ["to"] and said[0] in lists["asks_first"] and not mine:
        return True
    if not lists["conditions"].isdisjoint(said[: min(places)]) and (asks_others or not mine):
        return True
    near = said[max(0, min(places) - 5) : max(places) + 4]
    if lists["topics"].isdisjoint(near):
        return False
    return not mine or any(w in lists["topics"] for w in said[: min(places)])


def subject_of(
    sentence: Sentence, places: frozenset[int], words: HarmWords, names: list[str]
) -> str | None:
    """Whom a match is about: None the writer, a name, or "" for somebody without one."""
    begin, end = min(places), max(places)
    subject: str | None = None
    seen = False
    for i, mark in _marks(sentence, words, names):
        if i > end + 2 or (i > end and seen):
            break
        if i > begin and seen and mark is None and sentence.words[i] != "me":
            continue
        subject, seen = mark, True
    return subject


def _marks(
    sentence: Sentence, words: HarmWords, names: list[str]
) -> Iterator[tuple[int, str | None]]:
    """The words that say whom a sentence is about, with whom they mean."""
    lists, said = words.lists, sentence.words
    last_name = ""
    skip = -1
    for i, word in enumerate(said):
        if i == skip:
            continue
        name = word if word in names else word.removesuffix("s")
        before = said[i - 1] if i else ""
        after = said[i + 1] if i + 1 < len(said) else ""
        if name in names:
            last_name = name
            if before not in lists["no_subject_after"] and after not in lists["no_subject_before"]:
                yield i, name
        elif word in lists["self_words"]:
            if word == "my" and after in lists["kin"]:
                skip = i + 1
                yield i, ""
            else:
                yield i, None
        elif word in lists["kin"] and before in ("a", "the", "our", "his", "her"):
            yield i, ""
        elif word in lists["other_words"] and before not in lists["no_subject_after"]:
            yield i, last_name


def last_name(sentence: Sentence, names: list[str]) -> str | None:
    """The member who is named last in a sentence."""
    found = [w if w in names else w.removesuffix("s") for w in sentence.words]
    return next((w for w in reversed(found) if w in names), None)
