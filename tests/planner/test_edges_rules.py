"""The figures of policy as data: what a file says is what a figure carries, and none can be changed."""

from __future__ import annotations

import pytest

from planner.figure import Figure, Mark
from planner.rules import RULES, Loosened, read_rules
from planner.sources import SOURCES, UnknownSource, cited, read_sources, source

TEXT = """
[cap]
most = { value = 5, unit = "dives", mark = "CP", careful = "lower", step = 1, says = "a session" }
[rest]
nights = { value = 2, unit = "nights", mark = "H", careful = "higher", step = 1, says = "between" }
[exercise]
share = { value = 0.5, unit = "", mark = "P", source = "iso-2533", careful = "fixed", step = 0.1, says = "of it" }
"""


def test_a_figure_carries_what_its_row_says() -> None:
    """Value, unit, mark, source and name; beside it the careful side, the step and the words."""
    rules = read_rules(TEXT)
    assert dict(rules) == {"cap.most": 5, "rest.nights": 2, "exercise.share": 0.5}
    assert rules.figure("cap.most") == Figure(
        value=5, unit="dives", mark=Mark.COMMON_PRACTICE, source=None, name="cap.most"
    )
    assert rules.figure("exercise.share") == Figure(
        value=0.5, unit="", mark=Mark.PUBLISHED, source="iso-2533", name="exercise.share"
    )
    rule = rules.rule("rest.nights")
    assert (rule.careful, rule.step, rule.says, rule.figure.value) == ("higher", 1, "between", 2)


@pytest.mark.parametrize(
    ("name", "value", "allowed"),
    [
        ("cap.most", 4, True), ("cap.most", 5, True), ("cap.most", 6, False),
        ("rest.nights", 3, True), ("rest.nights", 2, True), ("rest.nights", 1, False),
        ("exercise.share", 0.5, True), ("exercise.share", 0.4, False), ("exercise.share", 0.6, False),
    ],
)  # fmt: skip
def test_a_figure_is_tightened_to_its_careful_side_only(
    name: str, value: float, allowed: bool
) -> None:
    """Lower or higher, as the row says; the same value always; a fixed one never."""
    rules = read_rules(TEXT)
    if not allowed:
        with pytest.raises(Loosened) as caught:
            rules.tightened({name: value})
        assert str(caught.value) == f"{name}: {value:g} is looser than {rules[name]:g}"
        return
    strict = rules.tightened({name: value})
    assert strict[name] == value
    old, new = rules.rule(name), strict.rule(name)
    assert new.figure == Figure(
        value=value, unit=old.figure.unit, mark=old.figure.mark, source=old.figure.source, name=name
    )
    assert (new.careful, new.step, new.says) == (old.careful, old.step, old.says)
    assert {k: v for k, v in strict.items() if k != name} == {
        k: v for k, v in rules.items() if k != name
    }


def test_rules_refuse_every_change() -> None:
    """As a dict they are looked up in, not written to; two sets are told apart, one is itself."""
    rules = read_rules(TEXT)
    for change in (
        lambda: rules.__setitem__("cap.most", 9), lambda: rules.__delitem__("cap.most"),
        lambda: rules.update({"cap.most": 9}), lambda: rules.pop("cap.most"),
        lambda: rules.setdefault("x", 1.0), rules.popitem, rules.clear,
    ):  # fmt: skip
        with pytest.raises(
            TypeError, match=r"^rules don't change; `tightened` gives stricter ones$"
        ):
            change()
    assert rules["cap.most"] == 5
    assert len({rules, rules, read_rules(TEXT)}) == 2


def test_a_source_is_its_row_and_an_unknown_one_an_error() -> None:
    """Key, short name, where, what is taken and a note; a key that nobody knows is named."""
    (one,) = read_sources('[a]\nshort = "A"\nwhere = "B"\ntakes = "C"\nnote = "D"').values()
    assert (one.key, one.short, one.where, one.takes, one.note) == ("a", "A", "B", "C", "D")
    with pytest.raises(UnknownSource, match="nowhere"):
        source("nowhere")
    assert source("quanjer-1993") is SOURCES["quanjer-1993"]


def test_every_figure_of_the_rules_can_be_cited() -> None:
    """Mark in words, and the source in short where there is one."""
    for name in RULES:
        figure = RULES.figure(name)
        said = cited(figure)
        assert said.startswith(figure.mark.words)
        assert (": " in said) is (figure.source is not None)


def test_marks_are_told_in_words() -> None:
    """What `why` shows of each mark."""
    assert {mark.value: mark.words for mark in Mark} == {
        "P": "published",
        "P?": "published, quoted from memory or a transcription",
        "CP": "common practice, no source",
        "H": "house rule",
        "M": "measured by the diver",
    }


def test_a_band_is_one_that_has_two_ends() -> None:
    """Low and high apart are a band; one end, none or both alike are a value."""
    plain = {"value": 2.0, "unit": "m", "mark": Mark.HOUSE}
    band = Figure(**plain, low=1, high=3)
    assert (band.is_band, band.low_or_value, band.high_or_value) == (True, 1, 3)
    for ends in ({}, {"low": 1}, {"high": 3}, {"low": 2, "high": 2}):
        figure = Figure(**plain, **ends)
        assert not figure.is_band
        assert figure.low_or_value == ends.get("low", 2)
        assert figure.high_or_value == ends.get("high", 2)
