"""The examples in the planner's docstrings, run: what a reader copies into a notebook has to hold."""

from __future__ import annotations

import doctest
from importlib import import_module
from pathlib import Path

import pytest

import planner

FOLDER = Path(planner.__file__).parent
SHOWN = sorted(path.stem for path in FOLDER.glob("*.py") if ">>> " in path.read_text("utf-8"))


@pytest.mark.parametrize("name", SHOWN)
def test_the_examples_of_a_docstring_hold(name: str) -> None:
    """Every `>>>` of a module gives what is printed below it."""
    module = import_module("planner" if name == "__init__" else f"planner.{name}")
    found = doctest.testmod(module)
    assert found.attempted > 0
    assert found.failed == 0
