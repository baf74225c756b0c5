"""Reading plain words for harm by rules: the first of the two readers of `harm_reading`.

`read_by_rules` is total and knows no context: it says which rows of harm.toml a text speaks of,
about whom, and what was denied, long ago or in doubt. Unsure counts as yes.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import replace
from datetime import date

from bot.shorthand.harm_felt import begins_with_feel, may_be_a_state, what_is_felt
from bot.shorthand.harm_found import NO_HARM, Alike, Found, HarmReading
from bot.shorthand.harm_lexicon import HarmWords, Pattern
from bot.shorthand.harm_match import carried_by, may_stand, places_of, stands, whole, with_phrases
from bot.shorthand.harm_scope import asks_of_a_dive, is_general, reaches
from bot.shorthand.harm_subject import (
    is_of_a_person,
    is_said_of_you,
    last_name,
    named_beside,
    spoken_to,
    subject_of,
    who_is_meant,
)
from bot.shorthand.harm_text import Sentence, ago_days, sentences_of
from bot.shorthand.harm_trade import take_out
from bot.shorthand.names import fold
from planner.harm import harm_table

LONGEST_CHARS = 4096
"""What stands behind this is not read."""
_FARTHEST_WORDS = 14
_A_DAY = 1.0
_TOLD_BY_OTHERS = ("1", "1-missing")
_ASK_COLD = "ask-cold"
_BY_NO_ROW = {"call": True, "ask": False}
"""What rules know to be like harm without knowing the row, and whether it is like a call for help."""


def read_by_rules(
    text: str,
    words: HarmWords,
    *,
    names: Collection[str] = (),
    today: date | None = None,
) -> HarmReading:
    """Read a text for harm by its words. `names` are the members' names; `today` tells past years."""
    reader = _ByRules(text[:LONGEST_CHARS], words, names=names, today=today)
    for n in range(len(reader.sentences)):
        reader.read(n)
    return reader.reading()


class _ByRules:
    """A text that is being read, and what its sentences said so far."""

    def __init__(
        self, text: str, words: HarmWords, *, names: Collection[str], today: date | None
    ) -> None:
        self._words, self._today = words, today
        self._text = _as_harm(text, names, words)
        self._names, self._whole_names = names_said(self._text, names, words)
        found = sentences_of(self._text, words, self._names)
        self.sentences = _with_what_follows_a_sting(found)
        self._feel = bool(self.sentences) and begins_with_feel(self.sentences[0], self._names)
        self._found: list[Found] = []
        self._alike: list[Alike] = []
        self._denied: list[str] = []
        self._past: list[str] = []
        self._asks_cold = self._unsure = False
        self._last_other: str | None = None
        self._spoken_to: str | None = None
        self._told: list[tuple[Sentence, frozenset[int]]] = []

    def read(self, n: int) -> None:
        """Read one sentence, with the one behind it."""
        sentence = self.sentences[n]
        before = self.sentences[n - 1] if n else None
        self._spoken_to = spoken_to(sentence, before, self._words, self._names)
        places = self._places_read(sentence, self.sentences[n + 1 : n + 2])
        self._told.append((sentence, places))

    def _places_read(self, sentence: Sentence, following: list[Sentence]) -> frozenset[int]:
        words = self._words
        if not self._feel and (fears := _fears_alone(sentence, words)):
            self._found.append(Found(row="21", subject=None, spans=_spans(sentence, fears)))
            return fears
        if words.triggers.isdisjoint(carried_by(sentence)):
            return frozenset()
        take_out(sentence, words, feel=self._feel)
        with_phrases(sentence, words)
        read: set[int] = set()
        met = len(self._found)
        matches = _matches(sentence, words, feel=self._feel, following=following)
        for row, places, is_denied in matches:
            read.update(whole(places, sentence))
            if is_denied:
                self._denied.append(row)
            else:
                self._take(row, places, sentence, following)
        self._found[met:] = _of_one(self._found[met:], sentence, words)
        self._last_other = last_name(sentence, self._names) or self._last_other
        return frozenset(read)

    def _take(
        self, row: str, places: frozenset[int], sentence: Sentence, following: list[Sentence]
    ) -> None:
        """Keep what a match says, unless it is long ago or said in general."""
        words, table = self._words, harm_table().rows
        row, subject = self._row_and_subject(row, places, sentence, following)
        ago = ago_days(sentence, self._today)
        if row in table and _is_past(ago, subject, table[row].days):
            self._past.append(row)
        elif is_general(sentence, places, words, self._names, feel=self._feel) and not (
            self._spoken_to is not None and asks_of_a_dive(sentence, places, words)
        ):
            return
        elif row == _ASK_COLD:
            self._asks_cold = self._asks_cold or subject is None
        elif row in _BY_NO_ROW:
            span = _line_at(self._text, sentence.spans[min(places)][0])
            for whom in self._all_named(self._called(subject, sentence), sentence):
                self._alike.append(Alike(subject=whom, is_call=_BY_NO_ROW[row], span=span))
        else:
            spans = _spans(sentence, whole(places, sentence))
            for whom in self._all_named(subject, sentence):
                self._found.append(Found(row=row, subject=whom, spans=spans))
            self._unsure = self._unsure or any(w in words.lists["unsure"] for w in sentence.words)

    def _row_and_subject(
        self, row: str, places: frozenset[int], sentence: Sentence, following: list[Sentence]
    ) -> tuple[str, str | None]:
        """Whom a match is about; and its row, which is another where nobody can tell it of themselves."""
        words, names, feel = self._words, self._names, self._feel
        if self._spoken_to is not None and is_said_of_you(sentence, places, words, names):
            return row, self._spoken_to
        subject = subject_of(sentence, places, words, names)
        if subject is None and words.lists["self_words"].isdisjoint(sentence.words):
            subject = subject_of(sentence, whole(places, sentence), words, names)
        if row in _TOLD_BY_OTHERS and subject is None:
            if _speaks_of_self(sentence, places):
                return "2", None  # nobody tells it while it lasts
            subject = ""
        elif subject is None and not feel and is_of_a_person(sentence, words, following):
            subject = ""
        if subject == "":
            last = self._last_other
            subject = who_is_meant(sentence, words, following, names, last, feel=feel)
            if row in _TOLD_BY_OTHERS:
                subject = subject or last or ""
        return row, subject

    def _called(self, subject: str | None, sentence: Sentence) -> str | None:
        """Whom a call by no row is about: who is named, and the writer only in words of theirs."""
        is_own = self._feel or not self._words.lists["self_words"].isdisjoint(sentence.words)
        if subject or (subject is None and is_own):
            return subject
        return last_name(sentence, self._names) or ""

    def _all_named(self, subject: str | None, sentence: Sentence) -> tuple[str | None, ...]:
        """A name with those beside it, each as the roster has it; or who has no name."""
        if not subject:
            return (subject,)
        named = named_beside(subject, sentence, self._names)
        return tuple(self._whole_names.get(name, name) for name in named)

    def reading(self) -> HarmReading:
        """What all sentences come to."""
        found, told, feel = self._found, self._told, self._feel
        fear = len(found) == 1 and all(
            _fears_alone(s, self._words) == read for s, read in told if read
        )
        found = _combined(found, self._words)
        found.sort(key=lambda f: harm_table().rows[f.row].gravity)
        well = unreadable = False
        if feel and not found:
            well, unreadable = what_is_felt(told, self._words, self._names)
            unreadable = unreadable and may_be_a_state(self.sentences[0], self._words)
        if not (found or self._denied or self._past or feel or self._asks_cold or self._alike):
            return NO_HARM
        return HarmReading(
            found=tuple(found),
            denied=tuple(dict.fromkeys(self._denied)),
            past=tuple(dict.fromkeys(self._past)),
            unsure=self._unsure,
            feel=feel,
            well=well,
            unreadable=unreadable,
            asks_cold=self._asks_cold,
            fear=fear and not feel,
            alike=tuple(dict.fromkeys(self._alike)),
        )


def _spans(sentence: Sentence, places: Collection[int]) -> tuple[tuple[int, int], ...]:
    return tuple(sentence.spans[p] for p in sorted(places))


def _of_one(found: list[Found], sentence: Sentence, words: HarmWords) -> list[Found]:
    """What one sentence says, of whom it says what only others can tell: `floats face down, limp`."""
    of = next(
        (f.subject for f in found if f.row in _TOLD_BY_OTHERS and f.subject is not None), None
    )
    if of is None or not words.lists["self_words"].isdisjoint(sentence.words):
        return found
    return [replace(f, subject=of) if f.subject is None else f for f in found]


def _line_at(text: str, place: int) -> tuple[int, int]:
    """Where the line begins and ends that a place of a text is in."""
    end = text.find("\n", place)
    return text.rfind("\n", 0, place) + 1, end if end >= 0 else len(text)


_STINGS = frozenset({"<sting>", "<stung>"})
_A_SENTENCE = 3
"""A sentence that is read on counts as so many commas."""


def _with_what_follows_a_sting(sentences: list[Sentence]) -> list[Sentence]:
    """A sting reads on: `stung by a jellyfish. Her lips are swollen.` is one report."""
    out: list[Sentence] = []
    for sentence in sentences:
        if out and not _STINGS.isdisjoint(carried_by(out[-1])):
            last = out[-1]
            chunk = last.chunks[-1] + _A_SENTENCE
            last.owners |= {len(last.words) + i for i in sentence.owners}
            last.words += sentence.words
            last.atoms += sentence.atoms
            last.spans += sentence.spans
            last.chunks += [chunk + c for c in sentence.chunks]
            last.question = last.question or sentence.question
        else:
            out.append(sentence)
    return out


def _by_first_name(names: Collection[str], words: HarmWords) -> dict[str, str]:
    """Names of several words by their first, unless it is a plain word."""
    several = {fold(n).split()[0]: n.casefold() for n in names if " " in n}
    return {first: n for first, n in several.items() if not words.is_ordinary(first)}


def names_said(
    text: str, names: Collection[str], words: HarmWords
) -> tuple[list[str], dict[str, str]]:
    """What in a text stands for a member, folded, and the whole names that it is not itself.

    Those are names of several words by their first, and what case-folding writes in other letters.
    """
    whole_names = _by_first_name(names, words)
    folded = [*map(fold, names), *whole_names]
    whole_names |= {fold(n): n.casefold() for n in names if fold(n) != n.casefold()}
    return [n for n in folded if not _is_a_plain_word(n, text, words)], whole_names


def _as_harm(text: str, names: Collection[str], words: HarmWords) -> str:
    """A text with the abbreviations of harm that are a member's name told from that name.

    `a BO`, `surface bo` and, in a text that is not all shouted, `BO`: with a q for its last letter,
    which the file of words takes for the abbreviation.
    """
    for name in set(map(fold, names)) & words.lists["names_and_harm"]:
        stands_for = f"{name[:-1]}q"
        said = rf"\b(?:(?<=\ba )|(?<=\bsurface )){name}\b(?! is| was| has)"
        text = re.sub(said, stands_for, text, flags=re.IGNORECASE)
        if not text.isupper():
            text = re.sub(rf"\b{name.upper()}\b", stands_for, text)
    return text


def _is_a_plain_word(name: str, text: str, words: HarmWords) -> bool:
    """`i may have blacked out`: the word, where somebody is called May."""
    if not words.is_ordinary(name):
        return False
    before, after = "i|you|we|he|she|it|they|that|this|who", "have|be|not|never|need"
    as_a_word = rf"\b(?:{before})\s+{name}\b|\b{name}\s+(?:{after})\b"
    return re.search(as_a_word, text, re.IGNORECASE) is not None


def _speaks_of_self(sentence: Sentence, places: frozenset[int]) -> bool:
    """`they say i was unconscious`: the writer stands right before the words."""
    begin = min(places)
    return not {"i", "im"}.isdisjoint(sentence.words[max(0, begin - 3) : begin + 1])


def _is_past(ago: float | None, subject: str | None, lock_days: float) -> bool:
    """Whether it is long over: of somebody else before yesterday, of the writer longer than the lock."""
    if ago is None or ago <= _A_DAY:
        return False
    return subject is not None or ago > max(lock_days, 2.0)


def _fears_alone(sentence: Sentence, words: HarmWords) -> frozenset[int]:
    """Where a report says that its diver was scared, and nothing besides: `12 scared`, `scared`."""
    lists, said = words.lists, sentence.words
    fears = frozenset(i for i, word in enumerate(said) if word in lists["fears"])
    is_report = all(
        i in fears or word[0].isdigit() or word in lists["beside_fears"]
        for i, word in enumerate(said)
    )
    return fears if is_report and not sentence.question else frozenset()


def _matches(
    sentence: Sentence, words: HarmWords, *, feel: bool, following: list[Sentence]
) -> list[tuple[str, frozenset[int], bool]]:
    """The rows a sentence speaks of, with the places of their words and whether all is denied."""
    carried = carried_by(sentence)
    wanted = {pair for atom in carried for pair in words.said_index.get(atom, ())}
    best: dict[str, tuple[frozenset[int], bool]] = {}
    for i, k in sorted(wanted):
        rule = words.rules[i]
        if rule.only_feel and not feel:
            continue
        known = best.get(rule.row)
        if known is not None and not known[1]:
            continue
        pattern = rule.said[k]
        if not may_stand(pattern, carried):
            continue
        match = _affirmed(pattern, sentence, words, following)
        if match is None:
            continue
        taken = rule.unless if feel else rule.unless + rule.unless_chat
        if any(stands(u, sentence, carried) for u in taken):
            continue
        best[rule.row] = match
    return [(row, places, is_denied) for row, (places, is_denied) in best.items()]


def _affirmed(
    pattern: Pattern, sentence: Sentence, words: HarmWords, following: list[Sentence]
) -> tuple[frozenset[int], bool] | None:
    """The places of a pattern that stands, and whether it is denied in every way it stands."""
    all_ways: list[list[tuple[int, ...]]] = []
    for part in pattern.parts:
        ways = list(places_of(part, sentence))
        if not ways:
            return None
        all_ways.append(ways)
    # A negation that is itself a word of the pattern (`can't`) denies no other part of it.
    own = set(whole((p for ways in all_ways for p in ways[0]), sentence))
    places: set[int] = set()
    denied = False
    for ways in all_ways:
        said = [w for w in ways if not reaches(w, own, sentence, words, following)]
        denied = denied or not said
        places.update((said or ways)[0])
    if max(places) - min(places) > _FARTHEST_WORDS:
        return None
    return frozenset(places), denied


def _combined(found: list[Found], words: HarmWords) -> list[Found]:
    """Add the graver rows that several of one person's come to together."""
    out = list(found)
    for combination in words.combinations:
        for subject in {f.subject for f in found}:
            mine = [f for f in found if f.subject == subject]
            rows = {f.row for f in mine}
            if all(not need.isdisjoint(rows) for need in combination.rows):
                spans = tuple(sorted({x for f in mine for x in f.spans}))
                out.append(Found(row=combination.gives, subject=subject, spans=spans))
    return out
