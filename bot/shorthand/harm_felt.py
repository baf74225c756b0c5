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

    `I don't feel like diving` is a wish, `feel free to` an offer, `feels good` is said of a thing.
    """
    said = sentence.words
    if said[:2] == ["feels", "like"] or _is_chatter(sentence, words):
        return False
    if "feel" in said[:5]:
        i = said.index("feel")
        is_denied = not words.lists["negators"].isdisjoint(said[:i])
        return not (is_denied and said[i + 1 : i + 2] == ["like"])
    return len(said) <= _SHORT_STATE_WORDS


def _is_chatter(sentence: Sentence, words: HarmWords) -> bool:
    """`good about thursday`, `like pizza`, `free to use it`, `sick on an empty stomach`: of no state.

    But for the last, none where anything of the body, a complaint or a `but` stands in it.
    """
    lists, said = words.lists, sentence.words
    if said[-4:] == ["on", "an", "empty", "stomach"]:
        return True
    of_a_state = lists["felt_parts"] | lists["complaints"] | {"but"}
    if not of_a_state.isdisjoint(said):
        return False
    i = next(k for k, word in enumerate(said) if word in FEEL) + 1
    while i < len(said) and said[i] in _BETWEEN:
        i += 1
    then = said[i : i + 2]
    if then == ["free", "to"]:
        return True
    if not lists["negators"].isdisjoint(said):
        return False
    good = lists["well"] | lists["moods"]
    if then[:1] == ["like"]:
        k = i + 2 if said[i + 1 : i + 2] in (["a"], ["an"], ["some"]) else i + 1
        return said[k : k + 1] != [] and said[k] in lists["craved"]
    if then == ["good", "about"] or (len(then) > 1 and then[0] in good and then[1] == "about"):
        return sentence.chunks[-1] == sentence.chunks[i]
    return then[:1] != [] and then[0] in lists["well"] and not _says_who(sentence)


def _says_who(sentence: Sentence) -> bool:
    """Whether it is clear who feels: `feels` says it with a name or `for` before it only."""
    first = next((i for i, word in enumerate(sentence.words) if word in FEEL), None)
    if first is None or sentence.words[first] != "feels":
        return True
    before = sentence.words[:first]
    return "for" in before or any(word not in BEFORE_FEEL for word in before)


_BETWEEN = frozenset(
    {"so", "very", "really", "quite", "pretty", "too", "that", "all", "just", "particularly"}
)
_BEHIND_A_DENIAL = _BETWEEN | {
    "at", "yet", "now", "today", "tonight", "much", "this", "morning", "again", "anymore", "any", "more",
    "longer",
}  # fmt: skip
_DENIES_A_THING = frozenset({"no", "without", "nothing", "zero", "none", "nobody", "free"})
"""Negators that deny the word behind them only: `no cough voice normal`."""
_SAYS_NO = frozenset({"no", "nope"})


def what_is_felt(
    told: list[tuple[Sentence, frozenset[int]]], words: HarmWords, names: list[str]
) -> tuple[bool, bool]:
    """After `feel` without harm: whether it says well, or what nobody can read."""
    lists = words.lists
    well = stranger = mood = False
    for sentence, read in told:
        slept = "slept" in sentence.words
        stranger = stranger or (well and _takes_back(sentence.words, words))
        for i, word in enumerate(sentence.words):
            if i in read or word in names or (slept and word[0].isdigit()):
                continue
            before = sentence.words[i - 1] if i else ""
            if _is_said_of_a_part(sentence, i, words) or _is_no_complaint(sentence, i, words):
                continue
            if word in lists["well"]:
                if sentence.words[i + 1 : i + 2] == ["to"]:
                    mood = True  # `feel good to be back` is no answer
                elif sentence.question or _is_denied(sentence, i, words):
                    stranger = True
                else:
                    well = True
            elif word in lists["negators"]:
                continue
            elif word in lists["moods"] and before not in lists["negators"]:
                mood = True
            elif word not in lists["filler"] and word not in FEEL and word != "for":
                stranger = True
    says_well = well and not stranger and _says_who(told[0][0])
    return says_well, stranger or not (well or mood)


def _is_denied(sentence: Sentence, i: int, words: HarmWords) -> bool:
    """Whether a `well` is denied before or behind: `not feeling very fit`, `feel well, not`."""
    negators, said, chunks = words.lists["negators"], sentence.words, sentence.chunks
    if said[i - 1 : i] == ["no"] and said[i] in ("good", "great") and chunks[i - 1] == chunks[i]:
        return True
    near = (q for q in range(i - 1, -1, -1) if said[q] not in _BETWEEN and said[q] not in FEEL)
    q = next((q for q in near if said[q] not in ("i", "im", "am")), -1)
    if q >= 0 and said[q] in negators - _DENIES_A_THING:
        return True
    return any(
        _takes_back(said[k:], words)
        or (said[k] in _SAYS_NO and words.lists["well"].issuperset(said[i:k] + said[k + 1 :]))
        for k in range(i + 1, len(said))
    )


def _takes_back(said: list[str], words: HarmWords) -> bool:
    """`not`, `not at all`: a denial with nothing behind it that it denies."""
    denies = said[0] in words.lists["negators"] - _DENIES_A_THING - _SAYS_NO
    return denies and _BEHIND_A_DENIAL.issuperset(said[1:])


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
