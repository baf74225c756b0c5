"""The examples of the developers' page run, and say what they say there."""

from __future__ import annotations

import doctest
import re
from pathlib import Path

import planner

PAGE = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"


def test_the_notebook_of_the_developers_page_runs() -> None:
    """Its examples, one after the other in one session, give what is printed under them."""
    blocks = re.findall(r"^```pycon\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.M | re.S)
    assert len(blocks) == 2
    test = doctest.DocTestParser().get_doctest("\n".join(blocks), {}, PAGE.name, PAGE.name, 0)
    assert len(test.examples) > 20
    found: list[str] = []
    result = doctest.DocTestRunner().run(test, out=found.append)
    assert (result.failed, "".join(found)) == (0, "")


def test_the_planner_has_ten_public_names() -> None:
    """Ten names, each of which the package has."""
    assert len(planner.__all__) == 10
    assert all(hasattr(planner, name) for name in planner.__all__)
