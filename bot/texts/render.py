"""Words by key, and figures as a diver reads them. Rounding happens here and nowhere else.

Depths are shown to 0.1 m, targets rounded down to half a metre, what is needed rounded up.
Times are local, 24 hours.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from functools import lru_cache
from importlib import resources
from math import ceil, floor
from zoneinfo import ZoneInfo

Value = str | int | float | date

COLUMNS = " │ "
"""Between the columns of a table: lines that hold it are shown in letters of one width."""

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


class TextError(KeyError):
    """A text that nobody has written, or one that asks for a value it was not given."""


@lru_cache(maxsize=1)
def _texts() -> Mapping[str, str]:
    """All texts of this room's `*.toml` files, as `section.name`; a key stands in one file only."""
    found: dict[str, str] = {}
    for file in sorted(resources.files("bot.texts").iterdir(), key=lambda f: f.name):
        if not file.name.endswith("en.toml") or file.name == "help.en.toml":
            continue  # what is read in an emergency is reviewed as a whole, and read by `help`
        for section, table in tomllib.loads(file.read_text(encoding="utf-8")).items():
            for name, text in table.items():
                key = f"{section}.{name}"
                if key in found:
                    raise TextError(f"{key} stands in two files")
                found[key] = text
    return found


def say(key: str, /, **values: Value) -> str:
    """The text of a key with its values in place; floats are depths, dates are days.

    >>> say("echo.count", done=2, allowed=5)
    'dive 2 of 5'
    """
    try:
        template = _texts()[key]
    except KeyError:
        raise TextError(f"no text for {key}") from None
    try:
        return template.format(**{name: _shown(value) for name, value in values.items()})
    except KeyError as missing:
        raise TextError(f"{key} asks for {missing}") from None


def has(key: str) -> bool:
    """Whether there is a text of that key."""
    return key in _texts()


def keys() -> frozenset[str]:
    """The keys of all texts."""
    return frozenset(_texts())


def _shown(value: Value) -> str:
    if isinstance(value, float):
        return metres(value)
    if isinstance(value, date) and not isinstance(value, datetime):
        return day(value)
    return str(value)


def metres(depth_m: float) -> str:
    """A depth to 0.1 m, without a needless zero.

    >>> metres(7.0), metres(12.25), metres(12.192)
    ('7', '12.2', '12.2')
    """
    return f"{depth_m:.1f}".removesuffix(".0")


def down(depth_m: float) -> str:
    """A target: down to half a metre.

    >>> down(6.4), down(9.5)
    ('6', '9.5')
    """
    return metres(floor(depth_m * 2 + 1e-9) / 2)


def up(depth_m: float) -> str:
    """What is needed: up to half a metre.

    >>> up(12.8)
    '13'
    """
    return metres(ceil(depth_m * 2 - 1e-9) / 2)


def clock(at: datetime, zone: ZoneInfo) -> str:
    """A local time as `09:31`."""
    local = at.astimezone(zone)
    return f"{local:%H:%M}"


def day(on: date) -> str:
    """A day as `Thu 7 May`.

    >>> day(date(2026, 5, 7))
    'Thu 7 May'
    """
    return f"{_WEEKDAYS[on.weekday()]} {on.day} {_MONTHS[on.month - 1]}"


def joined(words: Iterable[str], between: str = ", ") -> str:
    """Those of the words that say something, with something between."""
    return between.join(word for word in words if word)
