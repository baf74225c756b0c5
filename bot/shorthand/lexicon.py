"""The words of a language, read from its file, and which of them a slip of the thumb may mean."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum, auto
from functools import lru_cache
from importlib import resources
from typing import Any, NamedTuple

from planner.record import Ending, Exercise, Reason


class LexiconError(ValueError):
    """A language's file that can't be used, with the word or table that is wrong."""


class Sort(IntEnum):
    """What kind of thing a word, or another piece of a line, is. (Ints, since they are looked up often.)"""

    EXERCISE = auto()
    ENDING = auto()
    REASON = auto()
    TROUBLE = auto()
    OF = auto()
    FILL = auto()
    THEN = auto()
    TIMES = auto()
    WHOSE = auto()
    METRES = auto()
    FEET = auto()
    SECONDS = auto()
    MINUTES = auto()
    OTHER_UNIT = auto()
    FILLER = auto()
    QUALIFIER = auto()
    NEGATOR = auto()
    NUMBER_WORD = auto()
    TASK = auto()
    # pieces that are no words of the file
    NUMBER = auto()
    TIME = auto()
    DATE = auto()
    BAD = auto()
    STRANGER = auto()


class Meaning(NamedTuple):
    """What a word means: its sort, and which one of that sort (an Exercise, a Reason, …)."""

    sort: Sort
    value: Any = None


@dataclass(frozen=True, kw_only=True, slots=True)
class CommandWords:
    """One way to begin a command: its words, the command's name, and what has to follow."""

    phrase: tuple[str, ...]
    name: str
    takes: str
    slash: bool
    asking: bool
    example: str


class Nearness:
    """Finds our words that are one edit away: a letter more, less, other, or two swapped."""

    def __init__(self, words: Iterable[str], slips: Mapping[str, str], strangers: frozenset[str]):
        self._words = frozenset(w for w in words if len(w) > 2 and w.isalpha())
        self._slips, self._strangers = slips, strangers
        shorter: dict[str, set[str]] = {}
        for word in self._words:
            for less in _one_less(word):
                shorter.setdefault(less, set()).add(word)
        self._shorter = {less: tuple(sorted(of)) for less, of in shorter.items()}

    def of(self, typed: str) -> tuple[str, ...]:
        """Our words that may have been meant, the likeliest first; none for a word of its own."""
        if typed in self._slips:
            return (self._slips[typed],)
        if not 2 <= len(typed) <= 20 or typed in self._strangers or not typed.isalpha():
            return ()
        if typed in self._words:
            return ()
        found = dict.fromkeys(self._shorter.get(typed, ()), 1)
        for less in _one_less(typed):
            if less in self._words:
                found.setdefault(less, 1)
            for word in self._shorter.get(less, ()):
                if len(word) == len(typed) and (cost := _cost(typed, word)):
                    found[word] = min(cost, found.get(word, cost))
        return tuple(sorted(found, key=lambda w: (found[w], w[0] != typed[0], w)))


def _one_less(word: str) -> Iterator[str]:
    return (word[:i] + word[i + 1 :] for i in range(len(word)))


def _cost(typed: str, word: str) -> int:
    """1 for two neighbours swapped, 2 for one other letter, 0 for anything else."""
    differing = [i for i, (a, b) in enumerate(zip(typed, word, strict=True)) if a != b]
    if len(differing) == 1:
        return 2
    if len(differing) == 2:
        i, j = differing
        if j == i + 1 and typed[i] == word[j] and typed[j] == word[i]:
            return 1
    return 0


@dataclass(frozen=True, kw_only=True, slots=True)
class Words:
    """The words of one language. `written` holds the word that we write for a meaning.

    `vocabulary` are all of them, which nobody can be called; `named` the commands that may stand
    behind a bare name (`noor not fit`), `fitness` the words of a line that denies being fit.
    """

    language: str
    meanings: Mapping[str, Meaning]
    written: Mapping[Meaning, str]
    everyday: frozenset[str]
    counted_tasks: frozenset[str]
    tasks: frozenset[str]
    near: Nearness
    near_command: Nearness
    near_inner: Nearness
    commands: Mapping[str, tuple[CommandWords, ...]]
    slash: Mapping[str, tuple[CommandWords, ...]]
    command_words: Mapping[str, str]
    idioms: frozenset[str]
    arguments: Mapping[str, frozenset[str]]
    self_words: frozenset[str]
    never_names: frozenset[str]
    vocabulary: frozenset[str]
    named: frozenset[str]
    fitness: Mapping[str, frozenset[str]]

    def write(self, sort: Sort, value: object = None) -> str:
        """The word that we write ourselves for a meaning."""
        return self.written[Meaning(sort, value)]

    def command_line(self, name: str) -> str:
        """The words that we write ourselves to begin a command."""
        return self.command_words[name]


def _meanings(data: Mapping[str, Any]) -> dict[str, Meaning]:
    """Every word of a report, with its meaning; a word that means two things is an error."""
    found: dict[str, Meaning] = {}

    def put(words: Iterable[str], meaning: Meaning, *, unless_known: bool = False) -> None:
        for word in words:
            if word in found and unless_known:
                continue
            if found.get(word, meaning) != meaning:
                raise LexiconError(f"a word that means two things: {word}")
            if word != word.casefold() or " " in word:
                raise LexiconError(f"not a single word in small letters: {word}")
            found[word] = meaning

    for name, words in data["exercises"].items():
        if name != "everyday":
            exercise = None if name == "exh" else Exercise(name)
            put(words, Meaning(Sort.EXERCISE, exercise))
    for name, words in data["endings"].items():
        put(words, Meaning(Sort.ENDING, Ending(name)))
    for name, words in data["reasons"].items():
        put(words, Meaning(Sort.REASON, Reason(name)))
    for name, words in data["trouble"].items():
        put(words, Meaning(Sort.TROUBLE, Reason(name)))
    for name, words in data["parts"].items():
        put(words, Meaning(Sort[name.upper()]))
    for name, words in data["units"].items():
        sort = Sort.OTHER_UNIT if name == "others" else Sort[name.upper()]
        put(words, Meaning(sort))
    fillers = data["fillers"]
    put(fillers["words"], Meaning(Sort.FILLER), unless_known=True)
    put(fillers["qualifiers"], Meaning(Sort.QUALIFIER))
    put(fillers["negators"], Meaning(Sort.NEGATOR))
    put(fillers["number_words"], Meaning(Sort.NUMBER_WORD))
    for word in data["tasks"]["words"]:
        put([word], Meaning(Sort.TASK, word))
    return found


def _commands(data: Mapping[str, Any]) -> list[CommandWords]:
    return [
        CommandWords(
            phrase=tuple(words.split()),
            name=name,
            takes=about["takes"],
            slash=about.get("slash", False),
            asking=about.get("asking", False),
            example=about.get("example", ""),
        )
        for name, about in data["commands"].items()
        for words in about["words"]
    ]


def _by_first(commands: Iterable[CommandWords]) -> dict[str, tuple[CommandWords, ...]]:
    """By the first word; of several, the longest phrase first."""
    found: dict[str, list[CommandWords]] = {}
    for command in commands:
        found.setdefault(command.phrase[0], []).append(command)
    return {
        first: tuple(sorted(ways, key=lambda c: -len(c.phrase))) for first, ways in found.items()
    }


def _words(data: Mapping[str, Any], language: str) -> Words:
    meanings = _meanings(data)
    commands = _commands(data)
    slips = {slip: ours for ours, of in data["typing"]["slips"] for slip in of}
    strangers = frozenset(data["typing"]["no_slips"])
    ours = {
        Sort.EXERCISE, Sort.ENDING, Sort.REASON, Sort.TROUBLE, Sort.FILL, Sort.OF, Sort.TASK,
    }  # fmt: skip
    taken = {word for word, meaning in meanings.items() if meaning.sort is not Sort.FILLER}
    for slip in slips:
        if slip in taken:
            raise LexiconError(f"a slip that is a word: {slip}")
    firsts = {c.phrase[0] for c in commands}
    tasks = data["tasks"]
    arguments = {name: frozenset(of) for name, of in data["arguments"].items()}
    return Words(
        language=language,
        meanings=meanings,
        written={meaning: word for word, meaning in reversed(meanings.items())},
        everyday=frozenset(data["exercises"]["everyday"]),
        counted_tasks=frozenset(tasks["counted"]),
        tasks=frozenset(tasks["words"]) | frozenset(tasks["set_too"]),
        near=Nearness((w for w, m in meanings.items() if m.sort in ours), slips, strangers),
        near_command=Nearness(firsts, slips, strangers | taken),
        near_inner=Nearness(
            firsts.union(
                (word for command in commands for word in command.phrase),
                arguments["buddy"],
                arguments["watches"],
            ),
            slips,
            strangers | taken,
        ),
        commands=_by_first(commands),
        slash=_by_first(c for c in commands if c.slash and len(c.phrase) == 1),
        command_words={c.name: " ".join(c.phrase) for c in reversed(commands)},
        idioms=frozenset(i for about in data["commands"].values() for i in about.get("idioms", ())),
        arguments=arguments,
        self_words=frozenset(data["names"]["self"]),
        never_names=frozenset(data["names"]["never"]),
        vocabulary=frozenset(meanings).union(
            (word for command in commands for word in command.phrase),
            (word for of in arguments.values() for word in of),
            tasks["words"],
            tasks["set_too"],
            data["names"]["self"],
            data["names"]["never"],
        ),
        named=frozenset(data["names"]["said_of"]),
        fitness={name: frozenset(of) for name, of in data["not_fit"].items()},
    )


@lru_cache(maxsize=8)
def load_words(language: str = "en") -> Words:
    """The words of a language, from its file beside this module; read once."""
    try:
        raw = (resources.files("bot.shorthand") / f"{language}.toml").read_text("utf-8")
    except OSError:
        raise LexiconError(f"no words for the language {language!r}") from None
    try:
        return _words(tomllib.loads(raw), language)
    except (KeyError, ValueError) as error:
        if isinstance(error, LexiconError):
            raise
        raise LexiconError(f"{language}.toml can't be used: {error!r}") from error
