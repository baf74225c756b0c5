"""Reading plain words for harm: every message, whatever else it is.

`read_harm` is total and knows no context: it says which rows of harm.toml a text speaks of, about
whom, and what was denied, long ago or in doubt. Unsure counts as yes.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from bot.shorthand.harm_lexicon import Element, HarmWords, Pattern
from planner.harm import harm_table

_TOKEN = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+|[.;!?\n…]|[,:()#/—–]")
_QUOTES = str.maketrans({"’": "'", "‘": "'", "`": "'", "´": "'", "\u200b": None, "\u00ad": None})
_SHORT = re.compile(r"'(?:s|m|re|ve|d)\b")
_SOMEBODY = frozenset({"<who>"})
_LONGEST_CHARS = 4096
_FARTHEST_WORDS = 14
_NEGATION_REACH = 5
_FEEL = frozenset({"feel", "feeling", "felt", "feels"})
_FEEL_LEADS = frozenset({"i", "im", "am", "still", "for", "today", "now", "not", "dont", "just"})


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """One row that a text speaks of. `subject` None is the writer, "" somebody without a name."""

    row: str
    subject: str | None
    span: tuple[int, int]


@dataclass(frozen=True, kw_only=True, slots=True)
class HarmReading:
    """What a text says of harm; `found` is of now, worst first.

    `feel` says that it begins with `feel`, `well` that nothing but well was said after it, and
    `unreadable` that something was that nobody can read. `asks_cold`: numb fingers, to ask about.
    """

    found: tuple[Found, ...] = ()
    denied: tuple[str, ...] = ()
    past: tuple[str, ...] = ()
    unsure: bool = False
    feel: bool = False
    well: bool = False
    unreadable: bool = False
    asks_cold: bool = False

    @property
    def rows(self) -> tuple[str, ...]:
        """The rows of now, worst first, each once."""
        return tuple(dict.fromkeys(f.row for f in self.found))


NO_HARM = HarmReading()
"""What most texts say."""


@dataclass(slots=True)
class _Sentence:
    words: list[str]
    atoms: list[frozenset[str]]
    spans: list[tuple[int, int]]
    chunks: list[int]
    question: bool
    after: str = ""
    ago_days: float | None = None


def read_harm(
    text: str,
    words: HarmWords,
    *,
    names: Collection[str] = (),
    today: date | None = None,
) -> HarmReading:
    """Read a text for harm. `names` are the members' names; `today` tells past years."""
    folded = [n.casefold() for n in names]
    sentences = _sentences(text[:_LONGEST_CHARS], words, folded)
    feel = bool(sentences) and _begins_with_feel(sentences[0], folded)
    table = harm_table().rows
    found: list[Found] = []
    denied: list[str] = []
    past: list[str] = []
    asks_cold = unsure = False
    told: list[tuple[_Sentence, frozenset[int]]] = []
    last_other: str | None = None
    for n, sentence in enumerate(sentences):
        if not _has_atoms(sentence):
            told.append((sentence, frozenset()))
            continue
        _take_out(sentence, words, feel=feel)
        read: set[int] = set()
        following = sentences[n + 1 : n + 2]
        for row, places, is_denied in _matches(sentence, words, feel=feel, following=following):
            read.update(places)
            if is_denied:
                denied.append(row)
                continue
            if _is_general(sentence, places, words, feel=feel):
                continue
            subject = _subject(sentence, places, words, folded)
            if row == "1" and subject is None:
                subject = last_other or ""
            if row == "ask-cold":
                asks_cold = asks_cold or subject is None
                continue
            ago = _ago_days(sentence, today)
            if ago is not None and (subject is not None or ago > max(table[row].days, 2.0)):
                past.append(row)
                continue
            span = (sentence.spans[min(places)][0], sentence.spans[max(places)][1])
            found.append(Found(row=row, subject=subject, span=span))
            unsure = unsure or any(w in words.lists["unsure"] for w in sentence.words)
        last_other = _last_name(sentence, words, folded) or last_other
        told.append((sentence, frozenset(read)))
    found = _combined(found, words)
    found.sort(key=lambda f: table[f.row].gravity)
    well = unreadable = False
    if feel and not found:
        well, unreadable = _what_is_felt(told, words, folded)
    if not (found or denied or past or feel or asks_cold):
        return NO_HARM
    return HarmReading(
        found=tuple(found),
        denied=tuple(dict.fromkeys(denied)),
        past=tuple(dict.fromkeys(past)),
        unsure=unsure,
        feel=feel,
        well=well,
        unreadable=unreadable,
        asks_cold=asks_cold,
    )


def _sentences(text: str, words: HarmWords, names: list[str]) -> list[_Sentence]:
    """The words of a text in sentences, each with what it carries and where it stood."""
    folded = text.translate(_QUOTES)
    lowered = folded.lower()
    if len(lowered) != len(folded):
        lowered = folded
    if "'" in lowered:
        lowered = _SHORT.sub(lambda m: " " * len(m.group()), lowered)
        lowered = lowered.replace("n't", "nt ").replace("'ll", "   ")
    out: list[_Sentence] = []
    at = _Sentence(words=[], atoms=[], spans=[], chunks=[], question=False)
    chunk = 0
    for m in _TOKEN.finditer(lowered):
        word = m.group()
        if word in ".;!?\n…":
            if at.words:
                at.question = word == "?"
                out.append(at)
                at = _Sentence(words=[], atoms=[], spans=[], chunks=[], question=False)
            continue
        if word in ",:()#/—–":
            chunk += 1
            continue
        at.words.append(word)
        at.spans.append(m.span())
        at.chunks.append(chunk)
        at.atoms.append(_SOMEBODY if word in names else words.atoms(word))
    if at.words:
        out.append(at)
    for sentence in out:
        _add_durations(sentence, words)
    for before, after in pairwise(out):
        before.after = after.words[0]
    return out


_UNIT_MIN = {
    "s": 1 / 60, "sec": 1 / 60, "secs": 1 / 60, "second": 1 / 60, "seconds": 1 / 60,
    "min": 1.0, "mins": 1.0, "minute": 1.0, "minutes": 1.0,
    "h": 60.0, "hr": 60.0, "hrs": 60.0, "hour": 60.0, "hours": 60.0,
    "day": 1440.0, "days": 1440.0, "week": 10080.0, "weeks": 10080.0,
    "month": 43200.0, "months": 43200.0, "year": 525600.0, "years": 525600.0,
}  # fmt: skip
_COUNTS = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "ten": 10,
    "twenty": 20, "thirty": 30, "half": 0.5, "few": 3, "couple": 2, "couples": 2, "some": 3,
    "several": 4, "many": 10, "last": 1, "past": 1,
}  # fmt: skip


def _count_before(sentence: _Sentence, i: int) -> float | None:
    """The number that a unit of time follows: `20 min`, `half an hour`, `a couple of weeks`."""
    for k in (i - 1, i - 2, i - 3):
        if k < 0:
            break
        word = sentence.words[k]
        if word[0].isdigit():
            return float(word.replace(",", "."))
        if word in ("a", "an", "of") and k and sentence.words[k - 1] in _COUNTS:
            continue
        if word in _COUNTS:
            return _COUNTS[word]
        if word != "of":
            break
    return None


def _add_durations(sentence: _Sentence, words: HarmWords) -> None:
    """Give a unit of time what its length carries."""
    for i, word in enumerate(sentence.words):
        unit = _UNIT_MIN.get(word)
        if unit is None:
            continue
        count = _count_before(sentence, i)
        if count is None:
            if len(word) < 3:
                continue
            count = 3.0 if word.endswith("s") else 1.0
        minutes = count * unit
        names = ["dur-brief"] if minutes <= 10 else ["dur-long"]
        if unit >= 1:
            names.append("dur-min")
        if minutes > 15:
            names.append("dur-min15")
        if minutes >= 1440:
            names.append("dur-day")
        if minutes >= 2880:
            names.append("dur-2days")
        carried = sentence.atoms[i]
        for name in names:
            carried = carried | words.duration(name)
        sentence.atoms[i] = carried


def _has_atoms(sentence: _Sentence) -> bool:
    return any(sentence.atoms)


def _begins_with_feel(sentence: _Sentence, names: list[str]) -> bool:
    for word in sentence.words[:5]:
        if word in _FEEL:
            return True
        if word not in _FEEL_LEADS and word not in names:
            return False
    return False


def _places(part: tuple[Element, ...], atoms: list[frozenset[str]]) -> Iterator[tuple[int, ...]]:
    """Where a part stands in a sentence: the first way for each place it may begin at."""
    first = part[0].atoms
    for i, carried in enumerate(atoms):
        if not first.isdisjoint(carried):
            rest = _follow(part, 1, i, atoms)
            if rest is not None:
                yield (i, *rest)


def _follow(
    part: tuple[Element, ...], k: int, i: int, atoms: list[frozenset[str]]
) -> tuple[int, ...] | None:
    if k == len(part):
        return ()
    element = part[k]
    for j in range(i + 1, min(len(atoms), i + 2 + element.gap)):
        if not element.atoms.isdisjoint(atoms[j]):
            rest = _follow(part, k + 1, j, atoms)
            if rest is not None:
                return (j, *rest)
    return None


def _stands(pattern: Pattern, sentence: _Sentence, carried: set[str]) -> bool:
    """Whether a pattern stands in a sentence, whoever and whatever is denied."""
    return _may_stand(pattern, carried) and all(
        next(_places(part, sentence.atoms), None) is not None for part in pattern.parts
    )


def _may_stand(pattern: Pattern, carried: set[str]) -> bool:
    return all(not e.atoms.isdisjoint(carried) for part in pattern.parts for e in part)


def _carried(sentence: _Sentence) -> set[str]:
    return set().union(*sentence.atoms)


def _take_out(sentence: _Sentence, words: HarmWords, *, feel: bool) -> None:
    """Take out the words of idioms, of a reason after `stop`, and of harmless causes in chatter."""
    carried = _carried(sentence)
    lists = words.lists
    kept = len(words.idioms) if feel else len(words.idioms) + len(words.causes)
    patterns = words.idioms + words.causes
    todo = {i for atom in carried for i in words.idiom_index.get(atom, ()) if i < kept}
    gone: set[int] = set()
    for i in sorted(todo):
        pattern = patterns[i]
        if not _may_stand(pattern, carried):
            continue
        ways = [list(_places(part, sentence.atoms)) for part in pattern.parts]
        if all(ways):
            gone.update(p for way in ways for places in way for p in places)
    for i, word in enumerate(sentence.words):
        if word in lists["stops"] and not feel:
            for j in range(i + 1, len(sentence.words)):
                if sentence.words[j] not in lists["stop_reasons"]:
                    break
                gone.add(j)
    for i in gone:
        sentence.atoms[i] = frozenset()


def _matches(
    sentence: _Sentence, words: HarmWords, *, feel: bool, following: list[_Sentence]
) -> list[tuple[str, frozenset[int], bool]]:
    """The rows a sentence speaks of, with the places of their words and whether all is denied."""
    carried = _carried(sentence)
    todo = {pair for atom in carried for pair in words.said_index.get(atom, ())}
    best: dict[str, tuple[frozenset[int], bool]] = {}
    for i, k in sorted(todo):
        rule = words.rules[i]
        if rule.only_feel and not feel:
            continue
        known = best.get(rule.row)
        if known is not None and not known[1]:
            continue
        pattern = rule.said[k]
        if not _may_stand(pattern, carried):
            continue
        match = _affirmed(pattern, sentence, words, following)
        if match is None:
            continue
        taken = rule.unless if feel else rule.unless + rule.unless_chat
        if any(_stands(u, sentence, carried) for u in taken):
            continue
        best[rule.row] = match
    return [(row, places, is_denied) for row, (places, is_denied) in best.items()]


def _affirmed(
    pattern: Pattern, sentence: _Sentence, words: HarmWords, following: list[_Sentence]
) -> tuple[frozenset[int], bool] | None:
    """The places of a pattern that stands, and whether it is denied in every way it stands."""
    all_ways: list[list[tuple[int, ...]]] = []
    for part in pattern.parts:
        ways = list(_places(part, sentence.atoms))
        if not ways:
            return None
        all_ways.append(ways)
    # A negation that is itself a word of the pattern (`can't`) denies no other part of it.
    own = {p for ways in all_ways for p in ways[0]}
    places: set[int] = set()
    denied = False
    for ways in all_ways:
        said = [w for w in ways if not _is_denied(w, own, sentence, words, following)]
        denied = denied or not said
        places.update((said or ways)[0])
    if max(places) - min(places) > _FARTHEST_WORDS:
        return None
    return frozenset(places), denied


def _is_denied(
    places: tuple[int, ...],
    own: set[int],
    sentence: _Sentence,
    words: HarmWords,
    following: list[_Sentence],
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
    end: int, sentence: _Sentence, words: HarmWords, following: list[_Sentence]
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


def _is_general(
    sentence: _Sentence, places: frozenset[int], words: HarmWords, *, feel: bool
) -> bool:
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


def _subject(
    sentence: _Sentence, places: frozenset[int], words: HarmWords, names: list[str]
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
    sentence: _Sentence, words: HarmWords, names: list[str]
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


def _last_name(sentence: _Sentence, words: HarmWords, names: list[str]) -> str | None:
    found = [w if w in names else w.removesuffix("s") for w in sentence.words]
    return next((w for w in reversed(found) if w in names), None)


def _ago_days(sentence: _Sentence, today: date | None) -> float | None:
    """How many days ago a sentence puts what it tells, or None for now; in doubt it is now."""
    said = sentence.words
    for i, word in enumerate(said):
        before = said[i - 1] if i else ""
        if word in ("ago", "back") and i and said[i - 1] in _UNIT_MIN:
            count = _count_before(sentence, i - 1)
            unit = said[i - 1]
            if count is None:
                count = 3.0 if unit.endswith("s") else 1.0
            return count * _UNIT_MIN[unit] / 1440.0
        if before in ("last", "previous") and word in _LAST_DAYS:
            return _LAST_DAYS[word]
        if word == "yesterday":
            return 1.0
        if word in ("kid", "child", "teenager", "childhood") and before in ("a", "my", "in", "as"):
            return 3650.0
        if word == "years" and "for" not in said:
            return 730.0
        is_year = before in ("in", "of") and len(word) == 4 and word[:2] in ("19", "20")
        if is_year and today is not None and word.isdigit() and int(word) < today.year:
            return 365.0 * (today.year - int(word)) - 182.0
        if word == "used" and said[i + 1 : i + 2] == ["to"]:
            return 730.0
    return None


_LAST_DAYS = {
    "week": 7.0, "month": 30.0, "year": 365.0, "season": 180.0, "summer": 150.0, "winter": 150.0,
    "spring": 150.0, "autumn": 150.0, "night": 1.0, "weekend": 7.0,
}  # fmt: skip


def _combined(found: list[Found], words: HarmWords) -> list[Found]:
    """Add the graver rows that several of one person's come to together."""
    out = list(found)
    for combination in words.combinations:
        for subject in {f.subject for f in found}:
            mine = [f for f in found if f.subject == subject]
            rows = {f.row for f in mine}
            if all(not need.isdisjoint(rows) for need in combination.rows):
                spans = [f.span for f in mine]
                span = (min(s[0] for s in spans), max(s[1] for s in spans))
                out.append(Found(row=combination.gives, subject=subject, span=span))
    return out


def _what_is_felt(
    told: list[tuple[_Sentence, frozenset[int]]], words: HarmWords, names: list[str]
) -> tuple[bool, bool]:
    """After `feel` without harm: whether it says well, or what nobody can read."""
    lists = words.lists
    well = stranger = False
    for sentence, read in told:
        for i, word in enumerate(sentence.words):
            if i in read or word in names:
                continue
            before = sentence.words[i - 1] if i else ""
            if word in lists["well"]:
                if before in lists["negators"] and before != "no":
                    stranger = True
                else:
                    well = True
            elif word in lists["negators"]:
                continue
            elif word not in lists["filler"] and word not in _FEEL and word != "for":
                stranger = True
    return well and not stranger, stranger or not well
