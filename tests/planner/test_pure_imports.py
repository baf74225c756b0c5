"""The planner stays light and pure: what importing it may load."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("scipy.stats", "matplotlib", "pandas", "telegram", "pydantic", "sqlite3")


@pytest.mark.parametrize("module", ["planner.reach", "planner.support", "planner.ledger"])
def test_importing_the_planner_loads_nothing_heavy(module: str) -> None:
    """In a fresh interpreter the physics and the reach load neither scipy.stats nor any I/O."""
    code = f"import {module}, sys; print([m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"
