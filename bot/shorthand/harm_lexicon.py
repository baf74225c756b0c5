"""The words of harm, read once from their file: concepts, idioms and rules, ready to be matched.

A pattern is a row of elements; an element is a set of atoms, any of which a word may carry: a
literal (`spit`), a stem (`cough*`) or a concept (`<blood>`). What a word carries is worked out
once and remembered; a misspelt one carries what the word it is one edit away from does.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib import resources
from string import ascii_lowercase

from bot.shorthand.harm_sound import sound_of

_SHORTEST_TYPO = 4
_SHORTEST_SOUND = 6
_SHORTEST_HEARD = 3
_LONGEST_ENDING = 4
_SHORTEST_RUN = 9
_LONGEST_PART = 14
_LONGEST_RUN = 60
_REMEMBERED_WORDS = 20_000
_NOTHING: frozenset[str] = frozenset()
_ENDING_WORDS = """
s d y t n ed es er in ing ly ness iness ous al ion ity ies ied age le el ive able ment ring ping
ming ting
"""
_ENDINGS = frozenset(["", *_ENDING_WORDS.split()])
_MADE_BY = ("s", "er", "ers", "ness", "less", "ful", "ish", "man", "men", "like")
_FIGURES = frozenset({"<hundreds>", "<fevery>"})
_AS_WRITTEN = frozenset(
    {"everyday", "gear", "human", "person", "self", "divepart", "upout", "land", "part"}
)
_NEVER_HEARD = frozenset(f"<{name}>" for name in _AS_WRITTEN)
SCOPES = frozenset({"<told>", "<before>"})
"""What says how something is meant, and is no harm itself."""


class HarmWordsError(Exception):
    """A pattern in the file of words that can't be read."""


class PlainWords:
    """The plain words of a language: none of them is a misspelling of ours.

    Kept as text, by first letter, since a set of them would take ten times the memory.
    """

    def __init__(self, text: str, more: Iterable[str]) -> None:
        """Take the words, in the order of the alphabet, and more of them in any order."""
        line = f" {text.replace(chr(10), ' ').strip()} "
        begins = [(a, line.find(f" {a}")) for a in ascii_lowercase]
        begins = [(a, at) for a, at in begins if at >= 0]
        ends = [*(at + 1 for _, at in begins[1:]), len(line)][: len(begins)]
        self._by_letter = {a: line[at:end] for (a, at), end in zip(begins, ends, strict=True)}
        self._more = frozenset(more)

    def __contains__(self, word: str) -> bool:
        return word in self._more or f" {word} " in self._by_letter.get(word[:1], "")


@dataclass(frozen=True, kw_only=True, slots=True)
class Element:
    """One place of a pattern: any of these atoms, after at most so many other words."""

    atoms: frozenset[str]
    gap: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Pattern:
    """Parts in any order within a sentence, each a row of elements in order."""

    text: str
    parts: tuple[tuple[Element, ...], ...]
    needs: tuple[frozenset[str], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Rule:
    """A row of harm.toml, how it is said, and what takes it away."""

    row: str
    said: tuple[Pattern, ...]
    unless: tuple[Pattern, ...]
    unless_chat: tuple[Pattern, ...]
    only_feel: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Phrase:
    """A concept that is said in several words."""

    means: frozenset[str]
    said: Pattern


@dataclass(frozen=True, kw_only=True, slots=True)
class Combination:
    """Rows that together are a graver one."""

    rows: tuple[frozenset[str], ...]
    gives: str


def pattern_of(text: str) -> Pattern:
    """Read a pattern from its text."""
    parts: list[tuple[Element, ...]] = []
    for part in text.split(" & "):
        elements: list[Element] = []
        gap = 0
        for word in part.split():
            if word.startswith(".."):
                gap = int(word[2:])
                continue
            elements.append(Element(atoms=frozenset(word.split("|")), gap=gap))
            gap = 0
        if not elements:
            raise HarmWordsError(f"nothing in the pattern {text!r}")
        parts.append(tuple(elements))
    needs = sorted((e.atoms for part in parts for e in part), key=len)
    return Pattern(text=text, parts=tuple(parts), needs=tuple(needs))


def _is_one_edit(a: str, b: str) -> bool:
    """Whether a word becomes another by one letter more, less, other, or two swapped."""
    if abs(len(a) - len(b)) > 1:
        return False
    i = 0
    while i < len(a) and i < len(b) and a[i] == b[i]:
        i += 1
    rest_a, rest_b = a[i:], b[i:]
    if len(a) == len(b):
        swapped = rest_a[1:2] + rest_a[:1] + rest_a[2:] == rest_b
        return rest_a[1:] == rest_b[1:] or swapped
    return rest_a[1:] == rest_b or rest_a == rest_b[1:]


def _may_end(rest: str) -> bool:
    """Whether a word may end so, with one letter too many: `cougihng` has `ing` and an `h`."""
    less = (rest[:i] + rest[i + 1 :] for i in range(len(rest)))
    return rest in _ENDINGS or any(r in _ENDINGS for r in less)


class HarmWords:
    """The words of one language."""

    def __init__(self, raw: Mapping[str, object], plain: PlainWords) -> None:
        lists: dict[str, frozenset[str]] = {
            k: frozenset(v) for k, v in raw.items() if isinstance(v, list) and k not in _PATTERNS
        }
        self.lists = lists
        self._listed = frozenset().union(*lists.values())
        self.idioms = tuple(pattern_of(t) for t in _texts(raw, "idioms"))
        self.causes = tuple(pattern_of(t) for t in _texts(raw, "causes"))
        rules = raw.get("rule", [])
        assert isinstance(rules, list)
        self.rules = tuple(
            Rule(
                row=r["row"],
                said=tuple(pattern_of(t) for t in r["said"]),
                unless=tuple(pattern_of(t) for t in r.get("unless", ())),
                unless_chat=tuple(pattern_of(t) for t in r.get("unless_chat", ())),
                only_feel=r.get("only_feel", False),
            )
            for r in rules
        )
        combine = raw.get("combine", [])
        assert isinstance(combine, list)
        self.combinations = tuple(
            Combination(rows=tuple(frozenset(x.split("|")) for x in c["rows"]), gives=c["gives"])
            for c in combine
        )
        concepts = raw["concepts"]
        phrases = raw.get("phrases", {})
        assert isinstance(concepts, dict)
        assert isinstance(phrases, dict)
        self.phrases = tuple(
            Phrase(means=frozenset(f"<{n}>" for n in names.split()), said=pattern_of(t))
            for names, texts in phrases.items()
            for t in texts
        )
        self._plain = plain
        meant = raw.get("meant", {})
        assert isinstance(meant, dict)
        self._meant: dict[str, str] = {w: of for of, ws in meant.items() for w in ws}
        self._learn(concepts)
        self.idiom_index = _index(self.idioms + self.causes)
        self.phrase_index = _index(tuple(p.said for p in self.phrases))
        self.said_index = _index_rules(self.rules)
        self.triggers = self.said_index.keys() | _index(
            tuple(p.said for p in self.phrases if p.means.isdisjoint(SCOPES))
        )
        self._remembered: dict[str, frozenset[str]] = {}

    def _learn(self, concepts: Mapping[str, list[str]]) -> None:
        """What each literal and each stem carries, and the letters lost of what may be misspelt."""
        used = {
            atom
            for p in (
                *self.idioms,
                *self.causes,
                *(phrase.said for phrase in self.phrases),
                *_all_patterns(self.rules),
            )
            for part in p.parts
            for e in part
            for atom in e.atoms
        }
        carried: dict[str, set[str]] = {}
        for name, forms in concepts.items():
            for form in forms:
                carried.setdefault(form, set()).add(f"<{name}>")
        known = {f"<{name}>" for name in concepts} | _FIGURES
        known |= {atom for phrase in self.phrases for atom in phrase.means}
        edges = {atom for atom in used if not atom.isalnum() and atom.strip("^!$") != atom}
        for atom in used - edges:
            if atom.startswith("<"):
                if atom not in known and not atom.startswith("<dur-"):
                    raise HarmWordsError(f"no such concept as {atom}")
            else:
                carried.setdefault(atom, set()).add(atom)
        self.edges = frozenset(edges)
        self.at_edges = frozenset(atom.strip("^!$") for atom in edges)
        self._exact = {w: frozenset(c) for w, c in carried.items() if not w.endswith("*")}
        self._stems = {w[:-1]: frozenset(c) for w, c in carried.items() if w.endswith("*")}
        self._shortest_stem = min(map(len, self._stems))
        self._forms = {f for name, of in concepts.items() if name not in _AS_WRITTEN for f in of}

    @cached_property
    def _lost(self) -> dict[str, set[str]]:
        """What may be misspelt, by itself and by itself less one letter; made when first asked."""
        lost: dict[str, set[str]] = {}
        for form in self._lost_forms:
            stem = form.removesuffix("*")
            for less in (stem, *(stem[:i] + stem[i + 1 :] for i in range(len(stem)))):
                lost.setdefault(less, set()).add(form)
        return lost

    @cached_property
    def _lost_forms(self) -> frozenset[str]:
        """The words and stems of harm that may be misspelt."""
        said = (*(p.said for p in self.phrases), *_all_patterns(self.rules, said_only=True))
        in_rules = {a for p in said for part in p.parts for e in part for a in e.atoms}
        return frozenset(
            form
            for form in (self._forms | in_rules) - self.edges
            if not form.startswith("<") and len(form.removesuffix("*")) >= _SHORTEST_TYPO
        )

    def duration(self, name: str) -> frozenset[str]:
        """What a stated time carries, by the name of its class."""
        return self._exact.get(f"<{name}>", _NOTHING) | {f"<{name}>"}

    def is_ordinary(self, word: str) -> bool:
        """Whether a word is plain English of its own, and no misspelling of ours."""
        return word in self._plain

    def is_listed(self, word: str) -> bool:
        """Whether a word stands in one of the lists, and so says no thing of its own."""
        return word in self._listed

    def is_ours(self, word: str) -> bool:
        """Whether a word is one of ours as it is written."""
        return word in self._exact or any(
            word[:n] in self._stems for n in range(self._shortest_stem, len(word) + 1)
        )

    def pulled_apart(self, word: str) -> tuple[str, ...]:
        """A word that is several run together, one of them ours, in its parts: `paininthechest`."""
        if not _SHORTEST_RUN <= len(word) <= _LONGEST_RUN or word in self._exact:
            return (word,)
        if self._is_known(word):
            return (word,)
        if self._is_near_a_stem(word):
            return (word,)
        return self._parts(word) or (word,)

    def _parts(self, word: str) -> tuple[str, ...]:
        """The fewest parts of ours and of the small words between them; none: ()."""
        best: list[tuple[str, ...]] = [() for _ in range(len(word) + 1)]
        for end in range(1, len(word) + 1):
            for begin in range(max(0, end - _LONGEST_PART), end):
                part = word[begin:end]
                if begin and not best[begin]:
                    continue
                is_part = part in self.lists["run_on"] or (
                    len(part) >= _SHORTEST_TYPO and self._begins_ours(part)
                )
                if is_part and (not best[end] or len(best[begin]) + 1 < len(best[end])):
                    best[end] = (*best[begin], part)
        return best[len(word)]

    def _is_near_a_stem(self, word: str) -> bool:
        """Whether a word is one of our stems with no more than an ending."""
        least = max(_SHORTEST_TYPO, len(word) - _LONGEST_ENDING)
        return any(word[:n] in self._stems for n in range(least, len(word) + 1))

    def _begins_ours(self, word: str) -> bool:
        return word in self._exact or self._is_near_a_stem(word)

    def atoms(self, word: str) -> frozenset[str]:
        """What a word carries."""
        found = self._remembered.get(word)
        if found is None:
            found = self._atoms(word)
            if len(self._remembered) > _REMEMBERED_WORDS:
                self._remembered.clear()
            self._remembered[word] = found
        return found

    def _atoms(self, word: str) -> frozenset[str]:
        if word in self._meant:
            return self._exact.get(word, _NOTHING) | self._atoms(self._meant[word])
        found = set(self._exact.get(word, _NOTHING))
        is_exact = is_ours = bool(found)
        for n in range(self._shortest_stem, len(word) + 1):
            carried = self._stems.get(word[:n])
            if carried is not None:
                found |= carried
                # A short stem of a long word may be chance: `seeizure` is no `see`.
                is_ours = is_ours or len(word) - n <= min(_LONGEST_ENDING, n - 1)
        if is_exact or len(word) < _SHORTEST_TYPO or len(word) > 24:
            return frozenset(found)
        if not self._is_known(word):
            # `breathign` begins as `breath*` and is `breathing` as well.
            found |= self._as_misspelt(word, whole_only=is_ours)
        return frozenset(found) if is_ours else frozenset(found) | self._as_heard(word)

    def _as_heard(self, word: str) -> frozenset[str]:
        """What the words carry that sound so, with an ending or without one: `weekness`."""
        if len(word) < _SHORTEST_SOUND or word in self._plain or word in self._listed:
            return _NOTHING
        found: set[str] = set()
        for end in _ENDINGS:
            if not word.endswith(end) or len(word) - len(end) < _SHORTEST_TYPO:
                continue
            for form in self._sounds.get(sound_of(word.removesuffix(end)), ()):
                stem = form.removesuffix("*")
                if form.endswith("*") if end else len(stem) > _SHORTEST_TYPO:
                    found |= self._exact.get(form, _NOTHING)
                    found |= self._stems.get(stem, _NOTHING)
        return frozenset(found - _NEVER_HEARD)

    @cached_property
    def _sounds(self) -> dict[str, set[str]]:
        """What may be misspelt, by its sound; made when first asked."""
        sounds: dict[str, set[str]] = {}
        for form in self._lost_forms:
            heard = sound_of(form.removesuffix("*"))
            if len(heard) >= _SHORTEST_HEARD:
                sounds.setdefault(heard, set()).add(form)
        return sounds

    def _is_known(self, word: str) -> bool:
        if word in self._plain or word in self._listed:
            return True
        if word.endswith("s") and word[:-1] in self._exact:
            return True
        return any(word.endswith(end) and word[: -len(end)] in self._plain for end in _MADE_BY)

    def _as_misspelt(self, word: str, *, whole_only: bool) -> frozenset[str]:
        """What the words one edit away carry; the whole word first, then what it begins with."""
        found: set[str] = set()
        for n in range(len(word) if whole_only else max(3, len(word) - 6), len(word) + 1):
            if not _may_end(word[n:]):
                continue
            head = word[:n]
            tries = {head, *(head[:i] + head[i + 1 :] for i in range(n))}
            for lost in tries:
                for form in self._lost.get(lost, ()):
                    stem = form.removesuffix("*")
                    whole = n == len(word)
                    is_short = form.endswith("*") and len(stem) < len(word) - 1
                    if whole_only and (is_short or form[:3] != word[:3]):
                        continue
                    if not (whole or form.endswith("*")) or not _is_one_edit(head, stem):
                        continue
                    # A stem inside a longer word has to be long enough to be meant.
                    if whole or len(stem) > _SHORTEST_TYPO - (word[n:] in _ENDINGS):
                        found |= self._exact.get(form, _NOTHING)
                        found |= self._stems.get(stem, _NOTHING)
        return frozenset(found)


_PATTERNS = frozenset({"idioms", "causes", "rule", "combine"})


def _texts(raw: Mapping[str, object], key: str) -> list[str]:
    found = raw.get(key, [])
    assert isinstance(found, list)
    return found


def _all_patterns(rules: Iterable[Rule], *, said_only: bool = False) -> Iterable[Pattern]:
    for rule in rules:
        yield from rule.said
        if not said_only:
            yield from rule.unless
            yield from rule.unless_chat


_EVERYDAY_WORDS = """
a the i im my is are was to of in on at up no not it and so with for me him her them had has have
go get got getting out be very really still now just well good ok fine right line boat today about
if or by one two he she his they we all some this that there what back down more
com* need* need which says to do was were been gone went going anyone someone from like water see
full stop* stop hear* it$ up$ out$ in$
<not> <isnt> <cant> <feel> <who> <past> <fine> <surface> <lots> <little> <person> <self> <brief>
<land> <changed> <dur-min> <dur-brief> <dur-long> <nearly> <failing> <hold> <upout> <divepart> <part>
<everyday> <human> <nomemory> <bad> <strong> <mild> <keeps> <once>
"""
_EVERYDAY = frozenset(_EVERYDAY_WORDS.split())


def _anchor(pattern: Pattern) -> frozenset[str]:
    """The atoms of the element that is least often met by chance."""
    elements = [e for part in pattern.parts for e in part]
    return min(elements, key=lambda e: len(e.atoms & _EVERYDAY) * 100 + len(e.atoms)).atoms


def _index(patterns: tuple[Pattern, ...]) -> dict[str, tuple[int, ...]]:
    found: dict[str, list[int]] = {}
    for i, pattern in enumerate(patterns):
        for atom in _anchor(pattern):
            found.setdefault(atom, []).append(i)
    return {k: tuple(v) for k, v in found.items()}


def _index_rules(rules: tuple[Rule, ...]) -> dict[str, tuple[tuple[int, int], ...]]:
    found: dict[str, list[tuple[int, int]]] = {}
    for i, rule in enumerate(rules):
        for k, pattern in enumerate(rule.said):
            for atom in _anchor(pattern):
                found.setdefault(atom, []).append((i, k))
    return {a: tuple(v) for a, v in found.items()}


@lru_cache(maxsize=4)
def harm_words(language: str = "en") -> HarmWords:
    """The words of a language, from its files: rules and words, phrases, plain words."""
    raw, phrases, plain = (
        tomllib.loads(resources.files("bot.shorthand").joinpath(name).read_text("utf-8"))
        for name in (
            f"harm.{language}.toml",
            f"harm_phrases.{language}.toml",
            f"plain.{language}.toml",
        )
    )
    return HarmWords(raw | phrases, PlainWords(plain["words"], plain["more"]))
