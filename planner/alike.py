"""Whether two records of a diver leave them standing alike, so that no later target tells them apart."""

from __future__ import annotations

from datetime import datetime

from planner.harm import restart_share
from planner.held import Track
from planner.plan import left_at
from planner.record import DiverRecord
from planner.rules import Rules
from planner.standing import Standing


def stands_alike(record: DiverRecord, other: DiverRecord, *, rules: Rules, at: datetime) -> bool:
    """Whether both leave the same held depths, base and rest, by the exercise the diver is on."""
    one, two = (_left(left_at(r, rules=rules, at=at), at) for r in (record, other))
    return one == two


def _left(standing: Standing, at: datetime) -> tuple[object, ...]:
    """What the exhale dives so far leave for targets to come."""
    day = standing.day_of(at)
    oldest = day - int(standing.rules["held.window_d"])
    resting = day - int(standing.rules["rest.days_in"])
    may_restart = restart_share(standing.record, at=at) < 1.0
    tracks = [t for t in standing.tracks.values() if standing.track in (None, t)]
    return (
        *(_held(t, day, may_restart=may_restart) for t in tracks),
        [dive for dive in standing.base_dives if dive[0] >= oldest],
        [(d.day, d.long_rest) for d in standing.exhale_days if d.day >= resting],
    )


def _held(track: Track, day: int, *, may_restart: bool) -> tuple[object, ...]:
    """All that what is held on later days is worked out from; little where that is to start over.

    Not where half of what was held is still to be taken.
    """
    last_day = day if track.last_day is None else track.last_day
    if not may_restart and day - last_day >= track.size.over_d:
        return (last_day, track.over_since, track.owed_share)
    oldest = last_day - track.size.window_d
    is_frozen = track.frozen is not None and track.frozen[0] == track.last_day
    return (
        sorted((c.day, c.depth_m, c.before_m or 0.0) for c in track.credits if c.day >= oldest),
        (track.off, track.cut, track.layoff),
        (track.last_day, track.last_reported, track.over_since),
        (track.below_first, track.reported_m, track.owed_share),
        track.frozen if is_frozen else None,
    )
