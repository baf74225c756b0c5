"""Commands: a line that is one as a whole, with its arguments as values."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from bot.shorthand.arguments import Given, Misfit
from bot.shorthand.lexicon import CommandWords, Sort, Words
from bot.shorthand.pieces import PUNCTUATION
from bot.shorthand.reading import Command, Doubt, Unclear
from bot.shorthand.shapes import SHAPES

_SHORTEST_SLIP = 4
"""Letters of a command that stands alone and may still be misspelt: shorter words are near to too much."""

_SHORTEST_INNER = 3
_LONGEST_SLIP = 5
"""Words of a line that may still be a command with a slip behind its first word."""

_NAMED = frozenset({"name", "buddy", "answer or name", "name and depth", "name and task"})


@dataclass(frozen=True, kw_only=True, slots=True)
class Said:
    """A line that may be a command: its words as typed (quotes plain), and what is known around it."""

    number: int
    text: str
    chunks: Sequence[str]
    names: Collection[str]
    who: str | None = None
    is_question: bool = False
    note: str = ""


def read_command(said: Said, words: Words, *, slash: bool = False) -> Command | Unclear | None:
    """The command that the line is, asked about where it can't be read; None where it is none."""
    typed = [c.rstrip(PUNCTUATION) for c in said.chunks]
    typed = [c for c in typed if c]
    if not typed:
        return None
    low = [c.casefold() for c in typed]
    ways = (words.slash if slash else words.commands).get(low[0], ())
    if slash:
        # behind a slash word, its longer phrases count too: /next full
        ways = (*(w for w in words.commands.get(low[0], ()) if len(w.phrase) > 1), *ways)
    if " ".join(low[:2]) in words.idioms:
        return None
    for way in ways:
        if tuple(low[: len(way.phrase)]) == way.phrase:
            found = _take(way, said, typed, low, words, slash)
            if found is not None:
                return found
    return None


def slip_of_command(said: Said, words: Words) -> Unclear | None:
    """`nxet`, `udno`: a command one of whose words is one edit away, asked about; else None."""
    if not said.chunks or said.is_question:
        return None
    low = [chunk.rstrip(PUNCTUATION).casefold() for chunk in said.chunks]
    for offer in words.near_command.of(low[0]):
        asked = _as_slip(said, words, 0, offer)
        if asked is not None:
            return asked
    if low[0] in words.commands and len(low) <= _LONGEST_SLIP:
        for at, typed in enumerate(low[1:], start=1):
            if len(typed) < _SHORTEST_INNER or typed in said.names:
                continue
            for offer in words.near_inner.of(typed):
                asked = _as_slip(said, words, at, offer)
                if asked is not None:
                    return asked
    return None


def _as_slip(said: Said, words: Words, at: int, offer: str) -> Unclear | None:
    """The question whether a word was meant for one of ours; None where that makes no command."""
    chunks = [*said.chunks[:at], offer, *said.chunks[at + 1 :]]
    whole = Said(number=said.number, text=said.text, chunks=chunks, names=said.names, who=said.who)
    meant = read_command(whole, words)
    if not isinstance(meant, Command):
        return None
    first, *rest = (chunk.rstrip(PUNCTUATION).casefold() for chunk in chunks)
    takes = next(w.takes for w in words.commands[first] if w.name == meant.name)
    alone = not rest or takes in ("nothing", "anything", "feeling", "maybe a buddy")
    if at == 0 and alone and len(offer) < _SHORTEST_SLIP:
        return None
    if takes in _NAMED and not any(_bare(r) in said.names for r in rest):
        return None
    if meant.name == "emergency":
        return None  # the parser reads it as the command: help waits for no button
    return Unclear(
        line=said.number,
        text=said.text,
        doubt=Doubt.TYPO,
        word=said.chunks[at].rstrip(PUNCTUATION).casefold(),
        offer=offer,
        readings=(" ".join([*_for(said.who, words), *chunks]),),
        is_dive=False,
        who=said.who,
    )


def is_slip_of_emergency(chunks: Sequence[str], words: Words) -> bool:
    """Whether a line is the word for an emergency with a slip in it."""
    if len(chunks) != 1:
        return False
    offers = words.near_command.of(chunks[0].rstrip(PUNCTUATION + "?").casefold())
    return any(w.name == "emergency" for o in offers for w in words.commands.get(o, ()))


def _bare(name: str) -> str:
    return name.rstrip(PUNCTUATION).lstrip("@").casefold()


def _for(who: str | None, words: Words) -> list[str]:
    return [] if who is None else [words.write(Sort.WHOSE), who]


def _take(
    way: CommandWords,
    said: Said,
    typed: Sequence[str],
    low: Sequence[str],
    words: Words,
    slash: bool,
) -> Command | Unclear | None:
    skip = len(way.phrase)
    who = said.who
    end = len(typed)
    if who is None and end - skip >= 2 and low[end - 2] == words.write(Sort.WHOSE):
        # `allow ilse for noor`, `done for noor`
        name = typed[end - 1].lstrip("@")
        is_granting = way.name in ("allow", "disallow") and name.casefold() not in words.never_names
        if name.casefold() in said.names or is_granting:
            who, end = name, end - 2
    given = Given(
        name=way.name,
        first=low[0],
        typed=tuple(typed[skip:end]),
        low=tuple(low[skip:end]),
        names=said.names,
        is_question=said.is_question,
        words=words,
    )
    args = SHAPES[way.takes](given)
    if args is None:
        if not slash or given.low == ():
            return None
        args = Misfit(Doubt.ARGUMENT)
    said_for = _for(who, words)
    if isinstance(args, Misfit):
        return Unclear(
            line=said.number,
            text=said.text,
            doubt=args.doubt,
            word=args.word,
            offer=args.offer or way.example,
            readings=tuple(" ".join([*said_for, r]) for r in args.readings),
            is_dive=False,
            who=who,
        )
    if said.is_question and not way.asking:
        if not given.low or way.takes == "anything":
            return None  # `done?` is put to somebody
        if way.takes != "feeling" or args.get("ok"):
            line = " ".join([*said_for, *typed[:end]])
            return Unclear(
                line=said.number,
                text=said.text,
                doubt=Doubt.QUESTION,
                readings=(line,),
                is_dive=False,
                who=who,
            )
    return Command(line=said.number, text=said.text, name=way.name, args=args, who=who)
