"""What a diver's health bars, as the fold and its checks ask for it; nothing where nothing was said."""

from __future__ import annotations

from datetime import date, datetime

from planner.harm import (
    Lock,
    alarmed,
    lock_of,
    new_depth_barred,
    recent_harm,
    restart_taken,
    unwell_open,
)
from planner.record import DiverRecord


class OfHealth:
    """The questions of health that are put to a standing. Costs nothing where `has_harm` is False."""

    record: DiverRecord
    has_harm: bool

    def lock_at(self, at: datetime) -> Lock | None:
        """The lock that stands at an instant."""
        return lock_of(self.record, at=at) if self.has_harm else None

    def recent_harm_until(self, at: datetime) -> date | None:
        """The day until which no exhale dive follows grave harm."""
        return recent_harm(self.record, at=at) if self.has_harm else None

    def restart_share_at(self, at: datetime) -> float:
        """The share of held to restart at after grave harm."""
        return restart_taken(self.record, at=at) if self.has_harm else 1.0

    def bars_new_by_harm(self, at: datetime) -> bool:
        """Whether a milder report bars a new depth this time."""
        return new_depth_barred(self.record, at=at) if self.has_harm else False

    def is_unwell(self, at: datetime) -> bool:
        """Whether a question about the diver's state is open, or somebody called for help today."""
        if not self.has_harm:
            return False
        return unwell_open(self.record, at=at) or alarmed(self.record, at=at)
