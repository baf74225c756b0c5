"""From a message to what its lines may mean. Total: any text has an answer, in linear time."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import NamedTuple

from bot.shorthand.arguments import one_edit_apart
from bot.shorthand.commands import Said, is_slip_of_emergency, read_command, slip_of_command
from bot.shorthand.dives import is_bare, read_dives, read_parts
from bot.shorthand.doubts import Line
from bot.shorthand.lexicon import Sort, Words
from bot.shorthand.not_fit import denies_fit
from bot.shorthand.notes import NO_NOTE, Note, read_note
from bot.shorthand.pieces import (
    PUNCTUATION,
    Piece,
    hides_something,
    pieces,
    plain_marks,
    without_hidden,
    without_joiners,
)
from bot.shorthand.questions import written
from bot.shorthand.reading import Chatter, Command, Doubt, Reading, Report, Unclear
from planner.record import Exercise

MOST_LINES = 40
"""Lines of one message that are read; a longer one is asked for in parts."""
MOST_WORDS = 40
"""Words of a line, before its note."""

_QUESTION_MARKS = "?？؟¿"
_WITHOUT_QUESTION_MARKS = str.maketrans(dict.fromkeys(_QUESTION_MARKS, " "))
_FIX_MARK = "*"
NOT_FIT = "not-fit"


class Whom(NamedTuple):
    """Whom a line is about, as written, and the rest of it; `is_named` without a `for`."""

    who: str | None
    rest: Sequence[str]
    is_named: bool = False


def parse(
    text: str,
    words: Words,
    *,
    names: Collection[str] = (),
    our_name: str | None = None,
) -> tuple[Reading, ...]:
    """What each line of a message may mean, numbered from 0. Never raises.

    `names` are the members' names; one of them as the first word is whose dive it is. `our_name` is
    the bot's name in the messenger: a slash word that is addressed to any other is chatter.

    A bare depth or outcome (`12`, `hard`, `sternum`) is a Report without an exercise: whether it
    answers anything is for who knows what was asked. `frc 2.9` and `rv 1.4` alone may be a volume
    or a dive without an outcome: a Command `volume` whose argument `dive` is the Report.
    """
    known = frozenset(n.casefold() for n in names)
    reader = _Reader(words, known, our_name)
    found: list[Reading] = []
    whose: str | None = None
    count = 0
    for raw in text.split("\n"):
        line = raw.strip()
        if not line:
            continue
        count += 1
        if count > MOST_LINES:
            found.append(_cut_off(line, found))
            break
        heading = reader.heading(line)
        if heading is not None:
            whose = heading
            found.append(Chatter(line=len(found), text=line))
            continue
        found.extend(reader.read(line, len(found), whose))
    return tuple(found) or (Chatter(line=0, text=text),)


def says_not_fit(line: str, words: Words, *, names: Collection[str] = ()) -> bool:
    """Whether a line denies that its sender, or whom it names, is fit: it is the command `not fit`.

    >>> from bot.shorthand import words
    >>> lines = ("dont feel fit", "noor is not fit", "the suit does not fit")
    >>> [says_not_fit(line, words(), names=["noor"]) for line in lines]
    [True, True, False]
    """
    return any(
        isinstance(r, Command) and r.name == NOT_FIT for r in parse(line, words, names=names)
    )


def _cut_off(line: str, found: Sequence[Reading]) -> Reading:
    if any(isinstance(r, (Report, Unclear)) for r in found):
        return Unclear(line=len(found), text=line, doubt=Doubt.TOO_LONG)
    return Chatter(line=len(found), text=line)


class _Reader:
    """Reads the lines of one message."""

    def __init__(self, words: Words, names: frozenset[str], our_name: str | None) -> None:
        self._words, self._names, self._our_name = words, names, our_name

    def heading(self, line: str) -> str | None:
        """`for noor:` on a line of its own: whose the lines below are."""
        chunks = line.split(None, 3)
        if len(chunks) == 2 and chunks[0].casefold() == self._words.write(Sort.WHOSE):
            name = chunks[1].rstrip(PUNCTUATION)
        elif len(chunks) == 1 and chunks[0].endswith(":"):
            name = chunks[0].rstrip(PUNCTUATION)
            if name.lstrip("@").casefold() not in self._names:
                return None
        else:
            return None
        bare = name.lstrip("@")
        return bare if self._is_name(bare.casefold()) else None

    def read(self, line: str, number: int, whose: str | None = None) -> list[Reading]:
        """The readings of one line."""
        plain = plain_marks(line)
        if not plain.isascii() or not plain.isprintable():
            plain = without_joiners(plain.replace("\t", " "))
            if hides_something(plain):
                return [self._hidden(line, plain, number, whose)]
        found = self._line(line, plain, number, whose)
        return [self._offering(r) if isinstance(r, Unclear) else r for r in found]

    def _hidden(self, line: str, plain: str, number: int, whose: str | None) -> Reading:
        """A line with characters that can't be seen: what it looks like is offered, nothing more."""
        shown = without_hidden(plain)
        meant = self._line(shown, shown, number, whose) if shown.strip() else []
        ours = [r for r in meant if not isinstance(r, Chatter)]
        if not ours:
            return Chatter(line=number, text=line)
        first = ours[0]
        head = shown.partition("#")[0].strip()
        readings = first.readings if isinstance(first, Unclear) else (head,)
        return self._offering(
            Unclear(
                line=number,
                text=line,
                doubt=Doubt.HIDDEN,
                readings=readings if len(ours) == 1 else (),
                is_dive=not isinstance(first, Command)
                and not (isinstance(first, Unclear) and not first.is_dive),
                who=first.who if not isinstance(first, Chatter) else None,
            )
        )

    def _offering(self, asked: Unclear) -> Unclear:
        """The question with those of its readings that say one plain thing, whoever reads them."""
        kept = tuple(line for line in asked.readings if self._is_plain(line))
        return asked if kept == asked.readings else replace(asked, readings=kept)

    def _is_plain(self, line: str) -> bool:
        found = self._line(line, line, 0, None)
        if len(found) != 1:
            return False
        only = found[0]
        return isinstance(only, Command) or (isinstance(only, Report) and only.asks is None)

    def _line(self, line: str, plain: str, number: int, whose: str | None) -> list[Reading]:
        if not plain.strip():
            return [Chatter(line=number, text=line)]
        if plain[0] == "/":
            return self._slash(line, plain, number, whose)
        if plain[0] == _FIX_MARK and plain[1:2].strip():
            return [self._fix(line, plain[1:], number, whose)]
        head, note, asking = self._head(line, plain)
        chunks = head.split(None, MOST_WORDS)
        is_long = len(chunks) > MOST_WORDS
        chunks = chunks[:MOST_WORDS]
        if not chunks:
            return [Chatter(line=number, text=line)]
        if is_slip_of_emergency(chunks, self._words):
            return [Command(line=number, text=line, name="emergency")]
        whom = self._whom(chunks)
        who = whom.who if whom.who is not None else whose
        if not is_long and denies_fit(whom.rest, self._words):
            args: dict[str, object] = {}
            if not self._says_command(NOT_FIT, whom.rest):
                args["loose"] = True
            return [Command(line=number, text=line, name=NOT_FIT, args=args, who=who)]
        is_fix = whom.rest[0].casefold() == self._words.command_line("fix")
        is_command = (is_fix or not note.text) and not is_long
        said = Said(
            number=number,
            text=line,
            chunks=whom.rest,
            names=self._names,
            who=who,
            is_question=asking,
            note=note.text,
        )
        if is_command:
            command = self._command(said)
            if command is not None and (not whom.is_named or self._may_be_of(command, asking)):
                return [command]
        shared = Line(number=number, text=line, who=who, is_question=asking, note=note)
        found = self._dives(shared, whom.rest)
        if is_long:
            if any(_is_dive(r) for r in found):
                return [Unclear(line=number, text=line, doubt=Doubt.TOO_LONG, who=who)]
            found = []
        if not found and is_command and not whom.is_named:
            slip = slip_of_command(said, self._words)
            if slip is not None:
                return [slip]
        if not whom.is_named and self._hangs_on(found, chunks[0]):
            found = self._slip_of_name(shared, chunks) or found
        return list(found) or [Chatter(line=number, text=line)]

    def _says_command(self, name: str, chunks: Sequence[str]) -> bool:
        """Whether a line begins with the words that we write ourselves for a command."""
        ours = self._words.command_line(name).split()
        return [c.rstrip(PUNCTUATION).casefold() for c in chunks[: len(ours)]] == ours

    def _may_be_of(self, command: Command | Unclear, asking: bool) -> bool:
        """Whether a command behind a bare name is meant: `noor done`, not `noor done?` of a friend."""
        return isinstance(command, Command) and command.name in self._words.named and not asking

    def _head(self, line: str, plain: str) -> tuple[str, Note, bool]:
        """What stands before the note, the note, and whether a question is asked outside it."""
        head, mark, note_text = plain.partition("#")
        note = NO_NOTE
        if mark:
            note = read_note(line.partition("#")[2].strip(), note_text, self._words)
        asked = head.translate(_WITHOUT_QUESTION_MARKS)
        return asked, note, asked != head

    # whose it is

    def _is_name(self, low: str) -> bool:
        """Whether a word can be somebody's name behind a `for`."""
        words = self._words
        return low in self._names or bool(
            low
            and low[0].isalpha()
            and low not in words.never_names
            and low not in words.meanings
            and low.replace("-", "").replace("_", "").isalnum()
        )

    def _whom(self, chunks: Sequence[str]) -> Whom:
        """`for noor …`, a mention, or a member's name as the first word."""
        words = self._words
        first = chunks[0]
        low = first.casefold().rstrip(PUNCTUATION)
        if low == words.write(Sort.WHOSE) and len(chunks) > 2:
            name = chunks[1].rstrip(PUNCTUATION).lstrip("@")
            bare = _owner(name.casefold())
            if bare in words.self_words:
                return Whom(None, chunks[2:])
            if self._is_name(bare):
                inner = self._whom(chunks[2:]) if len(chunks) > 4 else Whom(None, chunks[2:])
                if inner.who is not None and inner.who.casefold() == bare and not inner.is_named:
                    return inner
                return Whom(name[: len(bare)], chunks[2:])
            return Whom(None, chunks)
        if low not in words.meanings or first[0] == "@":
            name = low.lstrip("@")
            bare = _owner(name)
            if len(chunks) > 1 and (bare in self._names or (first[0] == "@" and bare)):
                typed = first.rstrip(PUNCTUATION).lstrip("@")[: len(bare)]
                return Whom(typed, chunks[1:], is_named=True)
        return Whom(None, chunks)

    @staticmethod
    def _hangs_on(found: Sequence[Reading], first: str) -> bool:
        """Whether the line is nothing yet, or asked about for its first word."""
        if not found:
            return True
        asked = found[0]
        return (
            isinstance(asked, Unclear)
            and asked.doubt is Doubt.STRANGER
            and asked.word == first.casefold().rstrip(PUNCTUATION)
        )

    def _slip_of_name(self, line: Line, chunks: Sequence[str]) -> list[Report | Unclear]:
        """`nor exh 8 ok`, with a Noor in the group: a member's name with a slip in it."""
        words = self._words
        low = chunks[0].casefold().rstrip(PUNCTUATION)
        if len(chunks) < 2 or low in words.meanings:
            return []
        length = len(low)
        near = sorted(n for n in self._names if -2 < len(n) - length < 2 and one_edit_apart(low, n))
        if not near:
            return []
        found = self._dives(replace(line, who=near[0]), chunks[1:])
        return [_about_name(r, low, near[0], words) for r in found]

    # what it is

    def _command(self, said: Said, *, slash: bool = False) -> Command | Unclear | None:
        command = read_command(said, self._words, slash=slash)
        if not isinstance(command, Command):
            return command
        if command.name == "fix":
            # with its commas, which the arguments of other commands do without
            end = len(said.chunks) if command.who == said.who else -2
            rest = " ".join(said.chunks[1:end])
            rest += f" # {said.note}" if said.note else ""
            fixed = self._fix(said.text, rest, said.number, command.who, asking=said.is_question)
            if isinstance(fixed, Chatter):
                return self._misfixed(said)
            assert isinstance(fixed, (Command, Unclear))
            return fixed
        if command.name == "volume" and said.chunks[0].casefold() in {e.value for e in Exercise}:
            dives = self._dives(Line(number=said.number, text=said.text, who=said.who), said.chunks)
            if len(dives) == 1 and isinstance(dives[0], Report):
                return replace(command, args={**command.args, "dive": dives[0]})
        return command

    def _misfixed(self, said: Said) -> Unclear | None:
        """`fix banana`: asked for; `fix the rope` is talk."""
        if len(said.chunks) != 2 or said.is_question:
            return None
        word = said.chunks[1].casefold()
        if not word.isalpha() or word in self._words.vocabulary:
            return None
        return Unclear(
            line=said.number,
            text=said.text,
            doubt=Doubt.ARGUMENT,
            word=word,
            is_dive=False,
            who=said.who,
        )

    def _fix(
        self, line: str, rest: str, number: int, who: str | None, *, asking: bool = False
    ) -> Reading:
        """`fix 11.5`, `*11.5`: parts of a dive in place of those of the last report."""
        head, note, is_asking = self._head(rest, rest)
        chunks = head.split(None, MOST_WORDS)
        if len(chunks) > MOST_WORDS:
            return Chatter(line=number, text=line)
        shared = Line(number=number, text=line, who=who, is_question=asking or is_asking, note=note)
        parts = read_parts(shared, self._pieces(chunks), self._words)
        if parts is None:
            return Chatter(line=number, text=line)
        if isinstance(parts, Report):
            return Command(
                line=number,
                text=line,
                name="fix",
                args={"text": rest.strip(), "parts": replace(parts, who=None)},
                who=who,
            )
        fix = self._words.command_line("fix")
        whose = "" if who is None else f"{self._words.write(Sort.WHOSE)} {who} "
        return replace(
            parts,
            readings=tuple(f"{whose}{fix} {r.removeprefix(whose)}" for r in parts.readings),
            is_dive=False,
        )

    def _slash(self, line: str, plain: str, number: int, whose: str | None) -> list[Reading]:
        """`/next`, `/log exh 12 ok`; another bot's words and unknown ones are left alone."""
        chunks = plain[1:].split(None, MOST_WORDS + 1)
        chatter: list[Reading] = [Chatter(line=number, text=line)]
        if not chunks or plain[1].isspace():
            return chatter
        word, at, bot = chunks[0].rstrip(PUNCTUATION + _QUESTION_MARKS).partition("@")
        if at and bot.casefold() != (self._our_name or "").casefold():
            return chatter
        low = word.casefold()
        ways = self._words.slash.get(low, ())
        if not ways:
            return chatter
        name = ways[0].name
        if name == "emergency" or (name == "start" and len(chunks) > 1):
            return [Command(line=number, text=line, name=name)]
        rest = plain[1:].split(None, 1)[1:]
        if name == "log" and rest:
            meant = self._line(line, rest[0], number, whose) if rest[0][0] != "/" else chatter
            if not isinstance(meant[0], Chatter):
                return meant
        said = Said(
            number=number,
            text=line,
            chunks=[low, *(c.strip(_QUESTION_MARKS) for c in chunks[1:])],
            names=self._names,
            who=whose,
        )
        command = self._command(said, slash=True)
        return chatter if command is None else [command]

    def _pieces(self, chunks: Sequence[str]) -> list[Piece]:
        return pieces([c.casefold() for c in chunks], self._words)

    def _dives(self, line: Line, chunks: Sequence[str]) -> list[Report | Unclear]:
        found = self._pieces(chunks)
        if line.who is None:
            for i in range(len(found) - 1):
                name = found[i + 1]
                if found[i].sort is Sort.WHOSE and name.text.lstrip("@") in self._names:
                    line = replace(line, who=name.text.lstrip("@"))
                    found = [*found[:i], *found[i + 2 :]]
                    break
        return read_dives(line, found, self._words)


def _is_dive(reading: Report | Unclear) -> bool:
    return reading.is_dive if isinstance(reading, Unclear) else not is_bare(reading)


def _owner(name: str) -> str:
    """`ana's` is Ana's."""
    return name[:-2] if name.endswith("'s") else name


def _about_name(reading: Report | Unclear, typed: str, name: str, words: Words) -> Report | Unclear:
    """A dive under a name that was not quite anybody's is asked about, whatever else it is."""
    readings = reading.readings if isinstance(reading, Unclear) else (written(reading, words),)
    return Unclear(
        line=reading.line,
        text=reading.text,
        doubt=Doubt.TYPO,
        word=typed,
        offer=name,
        readings=readings,
        who=name,
    )
