"""What stands behind the words of a command: names, numbers with units, days."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from bot.shorthand.draft import FEET_M
from bot.shorthand.lexicon import Sort, Words
from bot.shorthand.reading import Doubt
from planner.rules import RULES, Rules

LONGEST_NAME = 32

_NUMBER = re.compile(r"(-?[0-9]{1,5}(?:[.,][0-9]{1,2})?)([^\W\d_]*|')")
NAME = re.compile(r"@?[^\W_][\w.-]*")
DAY = re.compile(r"([0-9]{4})-([0-9]{2})(?:-([0-9]{2}))?")

Args = dict[str, object]


class Misfit(NamedTuple):
    """Arguments that can't be read: why, which word, and the lines that may have been meant."""

    doubt: Doubt
    word: str = ""
    readings: tuple[str, ...] = ()
    offer: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Given:
    """What stands behind a command's words: as typed, and in small letters."""

    name: str
    first: str
    typed: tuple[str, ...]
    low: tuple[str, ...]
    names: Collection[str]
    is_question: bool
    words: Words

    def has(self, i: int, what: str) -> bool:
        """Whether the word at a place is one of some argument words."""
        return i < len(self.low) and self.low[i] in self.words.arguments[what]


Shape = Callable[[Given], "Args | Misfit | None"]


class Measure(NamedTuple):
    """A number with the unit that stands at it or behind it, as typed, and how many words that took."""

    value: float
    unit: str
    took: int


def measure_at(low: Sequence[str], i: int, units: Collection[str] = ()) -> Measure | None:
    """A number at a place, with its unit; a unit of its own word only where it is one of `units`."""
    if i >= len(low) or (match := _NUMBER.fullmatch(low[i])) is None:
        return None
    value, unit = float(match[1].replace(",", ".")), match[2]
    if not unit and i + 1 < len(low) and low[i + 1] in units:
        return Measure(value, low[i + 1], 2)
    return Measure(value, unit, 1)


def metres_at(given: Given, i: int) -> Measure | None:
    """A depth in metres; feet are turned into them, and no other unit will do."""
    meanings = given.words.meanings
    found = measure_at(
        given.low, i, [w for w, m in meanings.items() if m.sort in (Sort.METRES, Sort.FEET)]
    )
    if found is None or not found.unit:
        return found
    sort = Sort.FEET if found.unit == "'" else meanings.get(found.unit, (None,))[0]
    if sort is Sort.FEET:
        return Measure(round(found.value * FEET_M, 1), "m", found.took)
    return found if sort is Sort.METRES else None


def is_outside(value: float, limits: tuple[float, float]) -> bool:
    """Whether a value is outside its limits."""
    return not limits[0] <= value <= limits[1]


def out_of_range(line: str, value: float, limits: tuple[float, float]) -> Misfit:
    """Out of range; a decimal mark that was lost makes a line that may be meant."""
    meant = [value / 10, value / 100]
    return Misfit(
        Doubt.RANGE,
        f"{value:g}",
        tuple(f"{line} {m:g}" for m in meant if not is_outside(m, limits))[:1],
    )


def day_of(text: str, rules: Rules = RULES) -> date | None:
    """`2026-08-01`, or `2026-08` for its first day (H `reported.month_day`)."""
    match = DAY.fullmatch(text)
    if match is None:
        return None
    try:
        day = int(match[3] or rules["reported.month_day"])
        return date(int(match[1]), int(match[2]), day)
    except ValueError:
        return None


def is_name(given: Given, i: int) -> bool:
    """Whether the word at a place can be somebody's name: a member's, a mention, or no word of ours."""
    low = given.low[i].lstrip("@")
    if low in given.names or (given.low[i].startswith("@") and low):
        return True
    return (
        NAME.fullmatch(low) is not None
        and len(low) <= LONGEST_NAME
        and not low[0].isnumeric()
        and low not in given.words.never_names
        and low not in given.words.meanings
    )


def name_at(given: Given, i: int) -> str:
    """The name at a place, as typed."""
    return given.typed[i].lstrip("@")


def slip_of_name(given: Given, i: int) -> Misfit | None:
    """A name that nobody has, one edit away from somebody's."""
    low = given.low[i].lstrip("@")
    if low in given.names or given.name in ("add", "buddy", "fit"):
        return None
    near = [n for n in given.names if one_edit_apart(low, n)]
    if not near:
        return None
    line = [*given.low[:i], near[0], *given.low[i + 1 :]]
    return Misfit(Doubt.TYPO, low, (" ".join([given.first, *line]),), near[0])


def one_edit_apart(a: str, b: str) -> bool:
    """One letter more, less, other, or two neighbours swapped; short words are near to nothing."""
    if min(len(a), len(b)) < 3 or a == b or abs(len(a) - len(b)) > 1:
        return False
    if len(a) > len(b):
        a, b = b, a
    i = next((k for k, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), len(a))
    if len(a) < len(b):
        return a[i:] == b[i + 1 :]
    return a[i + 1 :] == b[i + 1 :] or (
        a[i + 2 :] == b[i + 2 :] and a[i : i + 2] == b[i : i + 2][::-1]
    )
