"""The bibliography: what a figure's `source` key stands for.

>>> source("quanjer-1993").short
'Quanjer, ECSC/ERS 1993'
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from types import MappingProxyType

from planner.figure import Figure, PlannerError


class UnknownSource(PlannerError, KeyError):
    """A key that the bibliography doesn't have."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """A source: in short, where to find it, what is taken from it, and how it reached us."""

    key: str
    short: str
    where: str
    takes: str
    note: str = ""


def read_sources(text: str) -> Mapping[str, Source]:
    """A bibliography from the text of a sources.toml.

    >>> read_sources('[a]\\nshort = "A"\\nwhere = "B"\\ntakes = "C"')["a"].where
    'B'
    """
    return MappingProxyType(
        {key: Source(key=key, **entry) for key, entry in tomllib.loads(text).items()}
    )


SOURCES = read_sources(
    resources.files("planner").joinpath("sources.toml").read_text(encoding="utf-8")
)
"""The house's bibliography."""


def source(key: str) -> Source:
    """The source of a key; raises `UnknownSource`."""
    try:
        return SOURCES[key]
    except KeyError:
        raise UnknownSource(key) from None


def cited(figure: Figure) -> str:
    """A figure's mark in words, and its source in short where it has one.

    >>> from planner.figure import Mark
    >>> cited(Figure(value=0.1, unit="bar/m", mark=Mark.QUOTED, source="en-13319"))
    'published, quoted from memory or a transcription: EN 13319'
    >>> cited(Figure(value=5, unit="dives", mark=Mark.COMMON_PRACTICE))
    'common practice, no source'
    """
    if figure.source is None:
        return figure.mark.words
    return f"{figure.mark.words}: {source(figure.source).short}"
