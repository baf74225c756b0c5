"""The fixed texts of help: read from their file, with what the site has set."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from storage.outcome import Site


@dataclass(frozen=True, kw_only=True, slots=True)
class HelpText:
    """One text as it stands in the file. `reviewed_on` is empty until a physician has read it."""

    key: str
    level: str
    mark: str
    source: str
    reviewed_on: str
    text: str


@dataclass(frozen=True, kw_only=True, slots=True)
class HelpFile:
    """All texts of help in one language, the small lines round them, and the words of answers."""

    texts: Mapping[str, HelpText]
    lines: Mapping[str, str]
    kept: Mapping[str, str]
    keys: Mapping[str, str]
    typed: Mapping[str, frozenset[str]]
    harmless: frozenset[str]


@lru_cache(maxsize=4)
def help_file(language: str = "en") -> HelpFile:
    """The file of a language."""
    raw = tomllib.loads(
        resources.files("bot.texts").joinpath(f"help.{language}.toml").read_text("utf-8")
    )
    return HelpFile(
        texts={key: HelpText(key=key, **fields) for key, fields in raw["help"].items()},
        lines=raw["lines"],
        kept=raw["kept"],
        keys=raw["keys"],
        typed={answer: frozenset(words) for answer, words in raw["typed"].items()},
        harmless=frozenset(raw["beside_emergency"]["harmless"]),
    )


_BY_LEVEL = {"call-now": "emergency"}


def help_text(level_or_key: str, site: Site) -> str:
    """The text of a key, or of a level, with what the site has set."""
    found = help_file()
    text = found.texts[_BY_LEVEL.get(level_or_key, level_or_key)].text
    number = site.emergency_number.strip()
    lines = []
    if site.oxygen.strip():
        lines.append(found.lines["oxygen"].replace("{oxygen}", site.oxygen.strip()))
    if site.meeting_point.strip():
        place = site.meeting_point.strip()
        lines.append(found.lines["meeting_point"].replace("{meeting_point}", place))
    own = "".join(f"{line}\n" for line in lines)
    # Replaced, not formatted: what a site sets may hold braces.
    said = text.replace("{site}", own)
    shown = found.lines["number"].replace("{number}", number) if number else ""
    return said.replace("{number}", shown).strip()


def level_of(key: str) -> str:
    """What the person must do who reads a text, by the text's key or the level itself."""
    return help_file().texts[_BY_LEVEL.get(key, key)].level


def help_line(key: str, /, **fields: str) -> str:
    """A small line round the texts, with its fields put in."""
    text = help_file().lines[key]
    for name, value in fields.items():
        text = text.replace("{" + name + "}", value)
    return text


def typed_answer(text: str) -> str | None:
    """What a whole typed text says: `alarm`, or to the check `yes`, `no` or `not_sure`; or None."""
    said = re.sub(r"[\s\-.!,]+", " ", text.replace("’", "'").casefold()).strip()
    found = (answer for answer, words in help_file().typed.items() if said in words)
    return next(found, None)


def harmless_beside_emergency() -> frozenset[str]:
    """What makes of a line that begins with `emergency` one about gear, plans and lessons."""
    return help_file().harmless


@lru_cache(maxsize=4)
def _spoken_to(language: str = "en") -> tuple[tuple[re.Pattern[str], str], ...]:
    """Each line that speaks to the diver, and the form of it that speaks of them."""
    lines = help_file(language).lines
    return tuple(
        (re.compile(re.sub(r"\\{(\w+)\\}", r"(?P<\1>.*?)", re.escape(lines[key]))), lines[of])
        for of in lines
        if (key := of.removesuffix("_for")) != of and key in lines
    )


def of_another(text: str) -> str:
    """A text as a keeper reads it: its lines that speak to the diver speak of them.

    >>> of_another("Noted: you feel well. Feeling well is not healed.")
    'Noted: well again, by your word. Feeling well is not healed.'
    """
    return "\n".join(map(_line_of_another, text.split("\n")))


def _line_of_another(line: str) -> str:
    if line in help_file().kept:
        return help_file().kept[line]
    for pattern, other in _spoken_to():
        found = pattern.fullmatch(line)
        if found is not None:
            for name, value in found.groupdict().items():
                other = other.replace("{" + name + "}", value)
            return other
    return line


def help_key(key: str) -> str:
    """The words on a button."""
    return help_file().keys[key]
