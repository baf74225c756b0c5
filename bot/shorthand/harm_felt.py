"""What is said after `feel` that is no harm: well, a mood, or what nobody can read."""

from __future__ import annotations

from bot.shorthand.english import BEFORE_FEEL, FEEL
from bot.shorthand.harm_lexicon import HarmWords
from bot.shorthand.harm_text import Sentence

_SHORT_STATE_WORDS = 5


def begins_with_feel(sentence: Sentence, names: list[str]) -> bool:
    """Whether a sentence is said of how somebody feels: `feel`, `still feeling`, `for ana feels`."""
    for word in sentence.words[:5]:
        if word in FEEL:
            return True
        if word not in BEFORE_FEEL and word not in names:
            return False
    return False


def may_be_a_state(sentence: Sentence, words: HarmWords) -> bool:
    """Whether it is said of how one feels: `feel`, or `feeling` with a few words.

    `I don't feel like diving` is a wish.
    """
    said = sentence.words
    if said[:2] == ["feels", "like"]:
        return False
    if "feel" in said[:5]:
        i = said.index("feel")
        is_denied = not words.lists["negators"].isdisjoint(said[:i])
        return not (is_denied and said[i + 1 : i + 2] == ["like"])
    return len(said) <= _SHORT_STATE_WORDS


def what_is_felt(
    told: list[tuple[Sentence, frozenset[int]]], words: HarmWords, names: list[str]
) -> tuple[bool, bool]:
    """After `feel` without harm: whether it says well, or what nobody can read."""
    lists = words.lists
    well = stranger = mood = False
    for sentence, read in told:
        slept = "slept" in sentence.words
        for i, word in enumerate(sentence.words):
            if i in read or word in names or (slept and word[0].isdigit()):
                continue
            before = sentence.words[i - 1] if i else ""
            if _is_said_of_a_part(sentence, i, words) or _is_no_complaint(sentence, i, words):
                continue
            if word in lists["well"]:
                if sentence.question or (before in lists["negators"] and before != "no"):
                    stranger = True
                else:
                    well = True
            elif word in lists["negators"]:
                continue
            elif word in lists["moods"] and before not in lists["negators"]:
                mood = True
            elif word not in lists["filler"] and word not in FEEL and word != "for":
                stranger = True
    return well and not stranger, stranger or not (well or mood)


def _is_said_of_a_part(sentence: Sentence, i: int, words: HarmWords) -> bool:
    """`chest fine`, `breathing easy`: a part and that it is well, between the same commas."""
    lists, said = words.lists, sentence.words
    if said[i] not in lists["felt_parts"] and said[i] not in lists["felt_easy"]:
        return False
    beside = [w for w, c in zip(said, sentence.chunks, strict=True) if c == sentence.chunks[i]]
    is_good = [w in lists["well"] or w in lists["felt_easy"] for w in beside]
    if any(good and beside[k - 1] in lists["negators"] for k, good in enumerate(is_good) if k):
        return False
    freed = not {"no", "nothing", "without"}.isdisjoint(said[:i]) and "but" not in said
    return any(w in lists["felt_parts"] for w in beside) and (any(is_good) or freed)


def _is_no_complaint(sentence: Sentence, i: int, words: HarmWords) -> bool:
    """`no pain anywhere`: a complaint right behind a negation."""
    lists, said = words.lists, sentence.words
    if said[i] not in lists["complaints"] or not i:
        return False
    near = said[max(0, i - 2) : i]
    return not {"no", "not", "without", "zero", "never", "nothing", "nor"}.isdisjoint(near)
