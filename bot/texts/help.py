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


def help_key(key: str) -> str:
    """The words on a button."""
    return help_file().keys[key]
