"""A coach's limits: facts with an end, each of which only tightens (H: `people.coach_days`).

Who is coach is named for a group; each diver says yes alone. A limit counts where the diver had
accepted the coach who set it, then or since: taking the yes back ends no limit of the day.
"""

from __future__ import annotations

from datetime import datetime
from math import inf

from planner.facts import Accepted, Limit, LimitKind


class Limits:
    """The limits that were set for one diver, and whose yes there is. To be read at an instant."""

    __slots__ = ("_accepted", "_set", "coach")

    def __init__(self) -> None:
        self.coach: str | None = None
        self._accepted: frozenset[str] = frozenset()
        self._set: tuple[Limit, ...] = ()

    def copy(self) -> Limits:
        """An independent copy."""
        new = Limits()
        new.coach, new._accepted, new._set = self.coach, self._accepted, self._set
        return new

    def accepted(self, fact: Accepted) -> None:
        """The diver's yes or no to a coach."""
        if fact.given:
            self.coach = fact.coach
            self._accepted |= {fact.coach}
        else:
            self.coach = None

    def limited(self, fact: Limit) -> None:
        """A limit was set."""
        self._set = (*(x for x in self._set if x.until_at > fact.happened_at), fact)

    def _of(self, kind: LimitKind, at: datetime) -> list[Limit]:
        return [
            x
            for x in self._set
            if x.what is kind and x.happened_at <= at < x.until_at and x.by in self._accepted
        ]

    def depth_m(self, at: datetime) -> float:
        """No target is deeper than this, metres; infinite where nothing was said."""
        return min((x.value for x in self._of(LimitKind.DEPTH, at)), default=inf)

    def dives(self, at: datetime) -> float:
        """No more exhale dives a session than this."""
        return min((x.value for x in self._of(LimitKind.DIVES, at)), default=inf)

    def gap_min(self, at: datetime) -> float:
        """The interval is at least this long, minutes."""
        return max((x.value for x in self._of(LimitKind.GAP, at)), default=0.0)

    def rests(self, at: datetime) -> bool:
        """Whether the coach asked for a rest today."""
        return bool(self._of(LimitKind.REST, at))

    def lines(self, at: datetime) -> int:
        """How many lines the group's divers are spread over, at least; 0 where nothing was said."""
        return int(max((x.value for x in self._of(LimitKind.LINES, at)), default=0))
