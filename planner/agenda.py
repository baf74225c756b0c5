"""What falls due and when: all that is wanted; storage reconciles by (kind, diver, about)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class DueKind(StrEnum):
    """What falls due."""

    DEBRIEF = "debrief"  # after a session, with the check question
    MORNING = "morning"  # the check, next morning
    EVENING = "evening"  # the check, once more
    PING = "ping"  # the interval is over, for who wants it
    EVE = "eve"  # the evening before a planned exhale day


@dataclass(frozen=True, kw_only=True, slots=True)
class Due:
    """One due thing. `about` tells two of a kind apart; it is not said after `stale_at`."""

    kind: DueKind
    diver: str
    about: str
    at: datetime
    stale_at: datetime
