"""The scope of words of harm: what is denied, what is general talk, and whom it is about."""

from __future__ import annotations

from collections.abc import Iterator

from bot.shorthand.harm_lexicon import HarmWords
from bot.shorthand.harm_match import whole
from bot.shorthand.harm_text import Sentence
from bot.shorthand.lexicon import load_words as trade_words

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
    supposed = [i for i in range(begin) if said[i] in lists["conditions"]]
    if supposed and _in_one_clause(sentence, supposed[-1], begin) and (asks_others or not mine):
        return True
    return _is_elsewhere(sentence, begin, words, names) or _is_told(sentence, places, words, names)


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
    if any(w in names or w in _THIRD for w in said[opens : max(places) + 1]):
        return False
    mine = not lists["self_words"].isdisjoint(said)
    asks_others = not lists["you_words"].isdisjoint(said)
    if sentence.question:
        return asks_others or not mine
    # without a question mark only what can't be told of anybody: `how do you handle it`
    if mine or any(w in names or w in _THIRD for w in said):
        return False
    you = not lists["you_words"].isdisjoint(said[opens + 1 : opens + 4])
    general = not lists["asks_in_general"].isdisjoint(said[opens + 1 : opens + 3])
    return (said[opens] in lists["asks_how"] and (you or general)) or (
        said[opens] in lists["asks_first"] and (you or said[opens + 1 : opens + 2] == ["it"])
    )


_TOWARDS = frozenset({"through", "at", "past", "to"})
_POSSESSIVES = frozenset({"his", "her", "hers", "their"})
_THIRD = frozenset({"he", "hes", "she", "shes", "him", "they", "theyre", "them"})
_DETERMINERS = frozenset({"my", "the", "our", "your", "his", "her", "their", "a", "this", "that"})


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
    k = i - 2 if i and said[i - 1] in _DETERMINERS else i - 1
    is_shown = "<media>" in sentence.atoms[i]
    return k >= 0 and said[k] in words.lists["after_when" if is_shown else "when_before"]


def subject_of(
    sentence: Sentence, places: frozenset[int], words: HarmWords, names: list[str]
) -> str | None:
    """Whom a match is about: None the writer, a name, or "" for somebody without one."""
    begin, end = min(places), max(places)
    stranger = _person_unknown(sentence, begin, words, names)
    seen = stranger is not None
    subject: str | None = "" if seen else None
    for i, mark in _marks(sentence, words, names):
        if stranger is not None and i < stranger:
            continue  # `i think zoe has`
        if i > end + 2 or (i > end and seen):
            break
        if i > begin and seen and mark is None and sentence.words[i] != "me":
            continue
        subject, seen = mark, True
    return subject


_ME = frozenset({"me"})
_HER = frozenset({"me", "her", "him", "them"})
_LONGEST_NICKNAME = 4
_NO_NAME_ENDINGS = ("ing", "tion", "ness", "ment", "ache", "ly")


def _person_unknown(
    sentence: Sentence, before: int, words: HarmWords, names: list[str]
) -> int | None:
    """Where it begins with somebody nobody knows: `zoe has`, `6 ok # sam blacked`; None: nowhere.

    A word that is none of the trade's, none of ours and no plain English, and does what people do.
    """
    lists, said, chunks = words.lists, sentence.words, sentence.chunks
    begins = (
        i
        for i in range(min(before, len(said) - 1) - 1, -1, -1)
        if i == 0 or chunks[i] != chunks[i - 1] or said[i - 1] in lists["before_person"]
    )
    acts = (
        i
        for i in begins
        if _does(sentence, i + 1, words)
        or (_may_be_a_name(sentence, i + 1, words, names) and _does(sentence, i + 2, words))
        or (i in sentence.owners and "<human>" in sentence.atoms[i + 1])
    )
    return next((i for i in acts if _may_be_a_name(sentence, i, words, names)), None)


def _does(sentence: Sentence, i: int, words: HarmWords) -> bool:
    """Whether a word is what people do, misspelt or not."""
    if i >= len(sentence.words):
        return False
    does = words.lists["persons_do"]
    return sentence.words[i] in does or not does.isdisjoint(sentence.atoms[i])


def _may_be_a_name(sentence: Sentence, i: int, words: HarmWords, names: list[str]) -> bool:
    word = sentence.words[i]
    if word in names:
        return False
    if word in words.lists["names_too"]:
        return True
    is_known = (
        words.is_ours(word)
        or (len(word) > _LONGEST_NICKNAME and bool(sentence.atoms[i]))
        or words.is_ordinary(word)
        or any(word in known for known in words.lists.values())
        or word in trade_words().vocabulary
        or word.endswith(_NO_NAME_ENDINGS)
    )
    return not is_known and len(word) > 1 and word.isalpha()


def _marks(
    sentence: Sentence, words: HarmWords, names: list[str]
) -> Iterator[tuple[int, str | None]]:
    """The words that say whom a sentence is about, with whom they mean."""
    lists, said = words.lists, sentence.words
    kin = lists["kin"]
    last_name = ""
    skip = -1
    for i, word in enumerate(said):
        if i == skip:
            continue
        name = word if word in names else word.removesuffix("s")
        before = said[i - 1] if i else ""
        after = said[i + 1] if i + 1 < len(said) else ""
        if name in names:
            near = said[i + 2 : i + 5]
            whom = _HER if last_name and last_name != name else _ME
            acts = after in lists["acts_on_me"] and not whom.isdisjoint(near)
            if not acts:
                last_name = name
            if acts and lists["negators"].isdisjoint(said[i + 1 : i + 4]):
                continue  # `ilse was holding me`
            is_it = before not in lists["no_subject_after"] or _is_wrong_with(said, i)
            if is_it and after not in lists["no_subject_before"]:
                yield i, name
        elif word == "me" and before in _TOWARDS:
            continue
        elif word in lists["self_words"]:
            if word == "my" and (after.removesuffix("s") in kin or after in lists["my_own"]):
                skip = i + 1
                yield i, ""
            else:
                yield i, None
        elif word in ("someone", "somebody") and _acts_on_me(said, i, words):
            continue
        elif word in lists["kin"] and before in ("a", "the", "our", "his", "her"):
            yield i, ""
        elif word in lists["other_words"] and (
            # `from his mouth` says whose, `from him` does not
            before not in lists["no_subject_after"] or word in _POSSESSIVES
        ):
            yield i, last_name


_IT_IS = ("its", "is", "was")
_ANSWERS = frozenset(
    {"response", "answer", "reply", "sign", "reaction", "movement", "sound", "breath", "cpr"}
)
_SINGULAR = frozenset({"he", "hes", "she", "shes", "his", "her", "him", "hers"})
_PLURAL = frozenset({"they", "theyre", "them", "their"})


def is_of_a_person(sentence: Sentence, words: HarmWords, following: list[Sentence]) -> bool:
    """`haemoptysis in one diver`, `weak arm. Diver feels well`: somebody, and nothing of the writer."""
    lists = words.lists
    told = [*sentence.words, *(following[0].words if following else ())]
    if not lists["self_words"].isdisjoint(told):
        return False
    said = sentence.words
    if not _SINGULAR.isdisjoint(said):
        return True
    if any(
        word in lists["people"]
        and i
        and said[i - 1] in ("one", "a", "the", "our", "another", "this")
        for i, word in enumerate(said)
    ):
        return True
    first = said[0], said[1] if len(said) > 1 else ""
    return (first[0] in lists["kin"] and first[1] in lists["auxiliaries"]) or bool(
        following and following[0].words[0] in lists["people"]
    )


def who_is_meant(
    sentence: Sentence,
    words: HarmWords,
    following: list[Sentence],
    names: list[str],
    named_before: str | None,
    *,
    feel: bool,
) -> str | None:
    """Who somebody without a name is, where the text says it elsewhere; "" where it doesn't.

    `its ilse` behind it, `no response from ana`, or a name in a sentence before and `she` in this
    one. After `feel`, `they` is what the writer feels: `feel palpitations, they are still going`.
    """
    said = sentence.words
    for i, word in enumerate(said):
        if word not in names or not i:
            continue
        if said[i - 1] in _IT_IS and (i + 1 == len(said) or i == 1):
            return word
        if said[i - 1] in ("from", "on") and not _ANSWERS.isdisjoint(said[max(0, i - 4) : i]):
            return word
    if following and following[0].words[:1] in (["its"], ["is"]) and len(following[0].words) == 2:
        named = following[0].words[1]
        if named in names:
            return named
    somebody = {*words.lists["other_words"], *words.lists["kin"]} - _PLURAL
    if feel and somebody.isdisjoint(said):
        return None
    if named_before is not None and not _SINGULAR.isdisjoint(said):
        return named_before
    return ""


_WRONG = frozenset({"wrong", "matter", "happened", "happening", "problem", "off", "odd"})


def _is_wrong_with(said: list[str], i: int) -> bool:
    """`something is wrong with teo`, `what happened to ana`."""
    return i > 1 and said[i - 1] in ("with", "to") and said[i - 2] in _WRONG


def _acts_on_me(said: list[str], i: int, words: HarmWords) -> bool:
    """`someone is blowing on my face`: who helps is not whom it is about."""
    near = said[i + 2 : i + 5]
    return (
        said[i + 1 : i + 2] != []
        and said[i + 1] in words.lists["acts_on_me"]
        and ("me" in near or "my" in near)
    )


def last_name(sentence: Sentence, names: list[str]) -> str | None:
    """The member who is named last in a sentence."""
    found = [w if w in names else w.removesuffix("s") for w in sentence.words]
    return next((w for w in reversed(found) if w in names), None)
