"""What a text says of harm, as the two readers give it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """One row that a text speaks of. `subject` None is the writer, "" somebody without a name."""

    row: str
    subject: str | None
    spans: tuple[tuple[int, int], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Alike:
    """A line that is like harm, by no row: whom it seems to be about, and whether it is like a call."""

    subject: str | None
    is_call: bool
    span: tuple[int, int]


@dataclass(frozen=True, kw_only=True, slots=True)
class HarmReading:
    """What a text says of harm; `found` is of now, worst first.

    `feel` says that it begins with `feel`, `well` that nothing but well was said after it, and
    `unreadable` that something was that nobody can read. `asks_cold`: numb fingers, to ask about.
    `fear`: that somebody was scared and nothing else, which only counts of a dive. `alike`: lines
    that are like harm where no rule reads it, or like a call where the rules find less.
    """

    found: tuple[Found, ...] = ()
    denied: tuple[str, ...] = ()
    past: tuple[str, ...] = ()
    unsure: bool = False
    feel: bool = False
    well: bool = False
    unreadable: bool = False
    asks_cold: bool = False
    fear: bool = False
    alike: tuple[Alike, ...] = ()

    @property
    def rows(self) -> tuple[str, ...]:
        """The rows of now, worst first, each once."""
        return tuple(dict.fromkeys(f.row for f in self.found))


NO_HARM = HarmReading()
"""What most texts say."""
