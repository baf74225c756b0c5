"""A connection that dies at a statement of one's choice, as a process that is killed there would."""

from __future__ import annotations

import sqlite3
from typing import Any


class Killed(BaseException):
    """The process is gone; no handler of ours may catch it and go on."""


class DyingConnection(sqlite3.Connection):
    """Counts statements; dies before, or after, number `dies_at`, and does nothing from then on."""

    counted = 0
    dies_at: int | None = None
    dies_after = False
    is_dead = False

    def execute(self, sql: str, parameters: Any = (), /) -> sqlite3.Cursor:
        if self.is_dead:
            raise Killed(sql)
        self.counted += 1
        if self.counted == self.dies_at and not self.dies_after:
            self.is_dead = True
            raise Killed(sql)
        cursor = super().execute(sql, parameters)
        if self.counted == self.dies_at:
            self.is_dead = True
            raise Killed(sql)
        return cursor

    def fuse(self, number: int | None, *, after: bool = False) -> None:
        """Count anew from here, and die there."""
        self.counted, self.dies_at, self.dies_after = 0, number, after


class Connector:
    """Connects, and remembers the connection, so that a test can set its fuse."""

    made: DyingConnection

    def __call__(self, path: str) -> sqlite3.Connection:
        self.made = sqlite3.connect(path, factory=DyingConnection)
        return self.made
