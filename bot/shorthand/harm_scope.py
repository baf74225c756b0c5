"""The scope of words of harm: what is denied, and what is general talk."""

from __future__ import annotations

from bot.shorthand.english import DETERMINERS, THIRD
from bot.shorthand.harm_lexicon import HarmWords
from bot.shorthand.harm_match import whole
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
            if q == 0 and said[q] in lists["says_no"] and said[q + 1] in lists["after_a_no"]:
                break  # `no my chest hurts` is an answer, and then what is
            is_denied = said[q + 1] not in lists["not_negating_before"] or said[q + 1 : q + 3] == [
                "a",
                "single",
            ]
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
        near = near[:8]
        if (
            not lists["past_words"].isdisjoint(near)
            and not lists["affirms"].isdisjoint(near)
            and lists["negators"].isdisjoint(near)
        ):
            return True
    return False


def is_general(
    sentence: Sentence, places: frozenset[int], words: HarmWords, names: list[str], *, feel: bool
) -> bool:
    """Talk about harm rather than of one: a question to others, a condition, a drill, a film."""
    if feel:
        return False
    lists, said = words.lists, sentence.words
    places = whole(places, sentence)
    begin = min(places)
    nobody = (
        _is_of_a_thing(sentence, begin, words, names)
        or _is_everyday(sentence, places, words, names)
        or _is_bare(sentence, places, words, names)
    )
    if nobody:
        return True
    asks_others = not lists["you_words"].isdisjoint(said)
    mine = not lists["self_words"].isdisjoint(said)
    if _is_idle_question(sentence, places, words, names):
        return not (mine and not asks_others)
    if said[1:2] == ["to"] and said[0] in lists["asks_how"] and said[2:3] != ["do"] and not mine:
        return True
    supposed = [i for i in range(begin) if _supposes(sentence, i, words)]
    if supposed and _in_one_clause(sentence, supposed[-1], begin) and (asks_others or not mine):
        return True
    return _is_elsewhere(sentence, begin, words, names) or _is_told(sentence, places, words, names)


def _supposes(sentence: Sentence, i: int, words: HarmWords) -> bool:
    """`if she is numb`, `should she faint`; not `i should say`."""
    first = i == 0 or not _in_one_clause(sentence, i - 1, i)
    return sentence.words[i] in words.lists["conditions"] and (
        sentence.words[i] != "should" or first
    )


def _is_elsewhere(sentence: Sentence, begin: int, words: HarmWords, names: list[str]) -> bool:
    """`the whole office is coughing`: people who are not at the water, and nothing of a dive."""
    lists, said = words.lists, sentence.words
    who = [i for i in range(begin) if said[i] in lists["elsewhere"]]
    between = said[who[-1] + 1 : begin] if who else []
    ours = any(w in names or w in lists["self_words"] for w in between)
    return bool(who) and not ours and not any("<divepart>" in a for a in sentence.atoms)


def _in_one_clause(sentence: Sentence, i: int, j: int) -> bool:
    return sentence.chunks[i] == sentence.chunks[j]


def _is_told(
    sentence: Sentence, places: frozenset[int], words: HarmWords, names: list[str]
) -> bool:
    """Whether a film, a lesson, a drill or a rule is spoken of, and not the writer or a member.

    A drill is one whoever plays in it; what a film shows is told unless somebody of ours comes
    between: `after the film ana coughed blood`.
    """
    lists, said, atoms = words.lists, sentence.words, sentence.atoms
    begin, end = min(places), max(places)
    for i in range(len(said)):
        if i in places or "<told>" not in atoms[i]:
            continue
        if _is_a_time(sentence, i, words) or not lists["negators"].isdisjoint(
            said[max(0, i - 2) : i]
        ):
            continue
        if "<drill>" in atoms[i]:
            if lists["self_words"].isdisjoint(said[:begin]):
                return True
            continue
        between = said[i + 1 : begin + 2] if i < begin else said[: end + 1]
        ours = any(w in names or w in lists["self_words"] for w in between)
        is_asked = said[0] in lists["asks_first"]
        if not ours and (i < begin or is_asked or _in_one_clause(sentence, end, i)):
            return True
    return False


def _is_idle_question(
    sentence: Sentence, places: frozenset[int], words: HarmWords, names: list[str]
) -> bool:
    """A question to others, and none that tells of somebody: `what do we do, ana isn't waking?`."""
    lists, said = words.lists, sentence.words
    opens = 1 if said[0] in names and len(said) > 1 else 0
    if said[opens] in lists["asks_at"] and said[opens + 1 : opens + 2] in (["what"], ["which"]):
        opens += 1  # `at what depth`
    if said[opens] not in lists["asks_first"]:
        return False
    to_do = said[opens + 1 : opens + 2] == ["it"] and "to" in said[opens + 2 : opens + 5]
    if (not to_do or "normal" in said) and not lists["means_it"].isdisjoint(said):
        return False
    if any(w in names or w in THIRD for w in said[opens : max(places) + 1]):
        return False
    mine = not lists["self_words"].isdisjoint(said)
    asks_others = not lists["you_words"].isdisjoint(said)
    if sentence.question:
        return asks_others or not mine
    # without a question mark only what can't be told of anybody: `how do you handle it`
    if mine or any(w in names or w in THIRD for w in said):
        return False
    you = not lists["you_words"].isdisjoint(said[opens + 1 : opens + 4])
    general = not lists["asks_in_general"].isdisjoint(said[opens + 1 : opens + 3])
    return (said[opens] in lists["asks_how"] and (you or general)) or (
        said[opens] in lists["asks_first"] and (you or said[opens + 1 : opens + 2] == ["it"])
    )


def asks_of_a_dive(sentence: Sentence, places: frozenset[int], words: HarmWords) -> bool:
    """`did you black out?`, `was that a samba?`: a question whether it was, not one about its kind."""
    lists, said = words.lists, sentence.words
    begin = min(places)
    if any(_supposes(sentence, i, words) for i in range(begin)) or any(
        "<told>" in carried for i, carried in enumerate(sentence.atoms) if i not in places
    ):
        return False
    return any(
        said[i] in _WHETHER_IT_WAS
        and (said[i + 1] in lists["addressed"] or said[i + 1] in ("that", "this"))
        and _A_FEW_WORDS >= begin - i - 2 >= 0
        and _OF_ITS_KIND.isdisjoint(said)
        for i in range(begin - 1)
    )


_WHETHER_IT_WAS = frozenset({"did", "were", "are", "was", "have", "had", "is"})
_OF_ITS_KIND = frozenset(
    {"ever", "read", "see", "watch", "hear", "heard", "seen", "normally", "usually", "often"}
)


def _is_of_a_thing(sentence: Sentence, begin: int, words: HarmWords, names: list[str]) -> bool:
    """`the pump is running hot and coughing`: the nearest noun before the words is a thing.

    Not where it is only a place or a reason: `in the van`, `after the boat`.
    """
    lists, said, atoms = words.lists, sentence.words, sentence.atoms
    if said[begin] in names or "<human>" in atoms[begin]:
        return False
    for q in range(begin - 1, -1, -1):
        if not _in_one_clause(sentence, q, begin) or said[q] in lists["thing_ends"]:
            return False
        if said[q] in names or said[q] in lists["self_words"] or "<human>" in atoms[q]:
            return False
        if said[q] in lists["things"] or "<everyday>" in atoms[q]:
            return _may_act(sentence, q, words)
    return False


def _is_everyday(
    sentence: Sentence, places: frozenset[int], words: HarmWords, names: list[str]
) -> bool:
    """`dizzy prices in that shop`: an everyday thing between the same commas, and nobody."""
    lists, said, atoms = words.lists, sentence.words, sentence.atoms
    near = {sentence.chunks[i] for i in places}
    beside = [i for i in range(len(said)) if sentence.chunks[i] in near]
    somebody = any(
        said[i] in names or said[i] in lists["self_words"] or "<human>" in atoms[i] for i in beside
    )
    return not somebody and any(
        "<everyday>" in atoms[i] and i not in places and not _is_where(said, i, words)
        for i in beside
    )


def _is_bare(
    sentence: Sentence, places: frozenset[int], words: HarmWords, names: list[str]
) -> bool:
    """`droopy sunflower`: a word or two, nobody, nothing of a dive, and a thing or two besides."""
    if len(places) > _A_FEW_WORDS or any(w in words.lists["plainly"] for w in sentence.words):
        return False
    strange = 0
    is_attribute = False
    for i, word in enumerate(sentence.words):
        carried = sentence.atoms[i]
        if i in places:
            continue
        if word in names or word[0].isdigit() or not _TELLING.isdisjoint(carried):
            return False
        if word in words.lists["self_words"] or word in words.lists["context"]:
            return False
        is_other = not carried and len(word) > 3 and not words.is_listed(word)
        if is_other and words.is_ordinary(word):
            strange += 1
            is_attribute = is_attribute or (len(places) == 1 and i - 1 in places)
    return (is_attribute or strange >= _SOME_OTHER_THINGS) and not any(
        "<human>" in sentence.atoms[i] for i in places
    )


_A_FEW_WORDS = 3
_SOME_OTHER_THINGS = 2
_TELLING = frozenset(
    {"<human>", "<person>", "<divepart>", "<surface>", "<brief>", "<keeps>", "<little>", "<lots>"}
    | {"<cant>", "<isnt>", "<feel>", "<pain>", "<sore>", "<strong>", "<gear>"}
)


def _is_where(said: list[str], i: int, words: HarmWords) -> bool:
    return any(w in words.lists["places_before"] for w in said[max(0, i - 2) : i])


def _may_act(sentence: Sentence, i: int, words: HarmWords) -> bool:
    """Whether a thing begins its clause, and is not where or by what something happened."""
    lists, said = words.lists, sentence.words
    first = next(k for k in range(i + 1) if _in_one_clause(sentence, k, i))
    return not any(
        w in lists["places_before"] or w in lists["persons_do"] or w.endswith(("ed", "ing"))
        for w in said[max(first, i - 4) : i]
    )


def _is_a_time(sentence: Sentence, i: int, words: HarmWords) -> bool:
    """`in training`, `after the film`: when it happened, and not what the talk is about."""
    said = sentence.words
    k = i - 2 if i and said[i - 1] in DETERMINERS else i - 1
    is_shown = "<media>" in sentence.atoms[i]
    return k >= 0 and said[k] in words.lists["after_when" if is_shown else "when_before"]
