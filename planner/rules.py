"""The figures of policy, read from rules.toml: value, unit, mark, and the side they err to.

A coach may tighten a figure, never loosen one:

>>> RULES["cap.most"]
5
>>> RULES.tightened({"cap.most": 3})["cap.most"]
3
>>> RULES.tightened({"cap.most": 7})
Traceback (most recent call last):
    ...
planner.rules.Loosened: cap.most: 7 is looser than 5
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from importlib import resources
from types import MappingProxyType
from typing import NoReturn

from planner.figure import Figure, Mark, PlannerError


class Loosened(PlannerError):
    """A figure of policy was asked to be less careful."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RuleFigure:
    """A figure of policy: what it says, the side that is careful, and the step that a test loosens it by."""

    figure: Figure
    careful: str
    step: float
    says: str


class Rules(dict[str, float]):
    """All figures of policy by name (`cap.most`). Immutable; `tightened` gives stricter ones.

    A dict, since a fold looks them up by the thousand; one that refuses every change.
    """

    __slots__ = ("_figures",)

    def __init__(self, figures: Mapping[str, RuleFigure]) -> None:
        super().__init__({name: rule.figure.value for name, rule in figures.items()})
        self._figures = MappingProxyType(dict(figures))

    def __hash__(self) -> int:  # type: ignore[override]  # a dict has none; this one never changes
        return id(self)

    def _refuse(self, *_: object, **__: object) -> NoReturn:
        raise TypeError("rules don't change; `tightened` gives stricter ones")

    __setitem__ = __delitem__ = __ior__ = _refuse
    update = setdefault = pop = popitem = clear = _refuse

    @property
    def session_gap(self) -> timedelta:
        """How long after a dive the next one is still of the same session (`session.gap_h`)."""
        return timedelta(hours=self["session.gap_h"])

    def rule(self, name: str) -> RuleFigure:
        """The figure with its mark, careful side and meaning."""
        return self._figures[name]

    def figure(self, name: str) -> Figure:
        """The figure as `why` shows it."""
        return self._figures[name].figure

    def tightened(self, changes: Mapping[str, float]) -> Rules:
        """These rules with stricter figures; raises `Loosened` where one is not stricter."""
        for name, value in changes.items():
            rule = self._figures[name]
            now = rule.figure.value
            stricter = value <= now if rule.careful == "lower" else value >= now
            if value != now and (rule.careful == "fixed" or not stricter):
                raise Loosened(f"{name}: {value:g} is looser than {now:g}")
        return self._changed(changes)

    def _changed(self, changes: Mapping[str, float]) -> Rules:
        figures = dict(self._figures)
        for name, value in changes.items():
            rule = figures[name]
            old = rule.figure
            figures[name] = RuleFigure(
                figure=Figure(
                    value=value, unit=old.unit, mark=old.mark, source=old.source, name=name
                ),
                careful=rule.careful,
                step=rule.step,
                says=rule.says,
            )
        return Rules(figures)


def read_rules(text: str) -> Rules:
    """Rules from the text of a rules.toml."""
    figures: dict[str, RuleFigure] = {}
    for section, table in tomllib.loads(text).items():
        for key, entry in table.items():
            name = f"{section}.{key}"
            figures[name] = RuleFigure(
                figure=Figure(
                    value=entry["value"],
                    unit=entry["unit"],
                    mark=Mark(entry["mark"]),
                    source=entry.get("source"),
                    name=name,
                ),
                careful=entry["careful"],
                step=entry["step"],
                says=entry["says"],
            )
    return Rules(figures)


RULES = read_rules(resources.files("planner").joinpath("rules.toml").read_text(encoding="utf-8"))
"""The house's rules."""
