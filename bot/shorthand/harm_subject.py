"""Whom words of harm are about: the writer, a member, or somebody without a name."""

from __future__ import annotations

from collections.abc import Iterator

from bot.shorthand.english import (
    ALL_OF_THEM,
    ANSWERS,
    IT_IS,
    KEPT_UP,
    ME,
    ME_OR_THEM,
    NO_NAME_ENDINGS,
    PLURAL,
    POSSESSIVES,
    SINGULAR,
    THIRD,
    TOGETHER,
    TOWARDS,
    WRONG,
)
from bot.shorthand.harm_lexicon import HarmWords
from bot.shorthand.harm_text import Sentence
from bot.shorthand.lexicon import load_words as trade_words


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


_LONGEST_NICKNAME = 4


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
        or word.endswith(NO_NAME_ENDINGS)
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
            whom = ME_OR_THEM if last_name and last_name != name else ME
            acts = after in lists["acts_on_me"] and not whom.isdisjoint(near)
            if not acts:
                last_name = name
            if acts and lists["negators"].isdisjoint(said[i + 1 : i + 4]):
                continue  # `ilse was holding me`
            if _helps_me(said, i, words):
                continue
            is_it = before not in lists["no_subject_after"] or _is_wrong_with(said, i)
            if is_it and after not in lists["no_subject_before"]:
                yield i, name
        elif (word == "me" and before in TOWARDS) or _helps_me(said, i, words):
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
            before not in lists["no_subject_after"] or word in POSSESSIVES
        ):
            yield i, last_name


def is_of_a_person(sentence: Sentence, words: HarmWords, following: list[Sentence]) -> bool:
    """`haemoptysis in one diver`, `weak arm. Diver feels well`: somebody, and nothing of the writer."""
    lists = words.lists
    told = [*sentence.words, *(following[0].words if following else ())]
    if not lists["self_words"].isdisjoint(told):
        return False
    said = sentence.words
    if not SINGULAR.isdisjoint(said):
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
        if said[i - 1] in IT_IS and (i + 1 == len(said) or i == 1):
            return word
        if said[i - 1] in ("from", "on") and not ANSWERS.isdisjoint(said[max(0, i - 4) : i]):
            return word
    if following and following[0].words[0] in names and not any(w in names for w in said):
        return following[0].words[0]
    if following and following[0].words[:1] in (["its"], ["is"]) and len(following[0].words) == 2:
        named = following[0].words[1]
        if named in names:
            return named
    somebody = {*words.lists["other_words"], *words.lists["kin"]} - PLURAL
    if feel and somebody.isdisjoint(said):
        return None
    if named_before is not None and not SINGULAR.isdisjoint(said):
        return named_before
    return ""


def _is_wrong_with(said: list[str], i: int) -> bool:
    """`something is wrong with teo`, `what happened to ana`."""
    return i > 1 and said[i - 1] in ("with", "to") and said[i - 2] in WRONG


def _helps_me(said: list[str], i: int, words: HarmWords) -> bool:
    """`my buddy fished me out`, `he held my airway up`, `rescued by ana`: who helps is not meant."""
    acts = words.lists["acts_on_me"] - words.lists["auxiliaries"] - {"had", "has"}
    if i > 1 and said[i - 1] == "by" and not acts.isdisjoint(said[max(0, i - 3) : i - 1]):
        return True
    act = i + 2 if said[i] == "my" else i + 1
    if said[act : act + 1] == [] or said[act] not in acts:
        return False
    return "me" in said[act + 1 : act + 3] or (
        said[act + 1 : act + 2] == ["my"] and said[act + 2 : act + 3][:1] in KEPT_UP
    )


def _acts_on_me(said: list[str], i: int, words: HarmWords) -> bool:
    """`someone is blowing on my face`: who helps is not whom it is about."""
    near = said[i + 2 : i + 5]
    return (
        said[i + 1 : i + 2] != []
        and said[i + 1] in words.lists["acts_on_me"]
        and ("me" in near or "my" in near)
    )


def spoken_to(
    sentence: Sentence, before: Sentence | None, words: HarmWords, names: list[str]
) -> str | None:
    """The member whom a sentence is said to: `mara you shook`, `mara are you ok? you looked grey`."""
    own = [i for i, word in enumerate(sentence.words) if word in names]
    at = [i for i in own if _is_called(sentence, i, words)]
    if at or own or before is None:
        return sentence.words[at[0]] if at else None
    called = (i for i, word in enumerate(before.words) if word in names)
    return next((before.words[i] for i in called if _is_called(before, i, words)), None)


def _is_called(sentence: Sentence, i: int, words: HarmWords) -> bool:
    """Whether a name is called out: it begins or ends what stands between commas, or goes with `you`."""
    lists, said, chunks = words.lists, sentence.words, sentence.chunks
    begins = i == 0 or chunks[i - 1] != chunks[i] or said[i - 1] in lists["greets"]
    if i + 1 == len(said):
        return begins or not {"you", "that", "u"}.isdisjoint(said[:i])
    asks = said[i + 1] in lists["asks_first"] and said[i + 2 : i + 3] != []
    to_you = said[i + 1] in lists["addressed"] or (
        asks and said[i + 2] in lists["addressed"] | _POINTS
    )
    return begins and (chunks[i + 1] != chunks[i] or to_you)


_POINTS = frozenset({"that", "this", "it"})


def is_said_of_you(
    sentence: Sentence, places: frozenset[int], words: HarmWords, names: list[str]
) -> bool:
    """Whether it is said of whom it is said to: `you`, or `was that`, nobody else behind, and no `i`."""
    lists, so_far = words.lists, sentence.words[: max(places)]
    at = next((i for i in reversed(range(len(so_far))) if _means_you(so_far, i, words)), None)
    if at is None or not lists["self_words"].isdisjoint(sentence.words):
        return False
    others = lists["other_words"] | lists["kin"] | THIRD
    behind = sentence.words[at + 1 : max(places) + 1]
    return not any(w in names or w.removesuffix("s") in names or w in others for w in behind)


def _means_you(said: list[str], i: int, words: HarmWords) -> bool:
    pointed = said[i] in _POINTS and said[i - 1 : i] in (["was"], ["is"])
    return said[i] in words.lists["addressed"] or pointed


def named_beside(name: str, sentence: Sentence, names: list[str]) -> tuple[str, ...]:
    """A name with those it is named together with: `mara and nils`, `nils, mara: both`."""
    said, chunks = sentence.words, sentence.chunks
    at = [i for i, word in enumerate(said) if word in names]
    all_meant = not ALL_OF_THEM.isdisjoint(said)
    runs: list[list[int]] = []
    for i in at:
        last = runs[-1][-1] if runs else -2
        between = said[last + 1 : i]
        together = all(w in TOGETHER for w in between) and (
            bool(between) or chunks[i] == chunks[last] or all_meant
        )
        if last >= 0 and together:
            runs[-1].append(i)
        else:
            runs.append([i])
    mine = next((run for run in runs if any(said[i] == name for i in run)), [])
    return tuple(dict.fromkeys(said[i] for i in mine)) or (name,)


def last_name(sentence: Sentence, names: list[str]) -> str | None:
    """The member who is named last in a sentence."""
    found = [w if w in names else w.removesuffix("s") for w in sentence.words]
    return next((w for w in reversed(found) if w in names), None)
