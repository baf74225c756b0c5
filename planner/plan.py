"""Plan or Refusal: gathers every check over a diver's record. There is no other way to make a Plan."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import cast

from planner import dose, progress
from planner.gas import fill_window_m
from planner.held import down_half
from planner.reasons import (
    ASKED_IN_GROUP,
    NAMED_IN_GROUP,
    Bar,
    Because,
    Cap,
    FillWindow,
    Plan,
    Refusal,
)
from planner.record import DiverRecord, Exercise
from planner.rules import Rules
from planner.standing import Standing, folded

__all__ = [
    "ASKED_IN_GROUP",
    "CHECKS",
    "NAMED_IN_GROUP",
    "Bar",
    "Because",
    "Cap",
    "Check",
    "FillWindow",
    "Plan",
    "Refusal",
    "plan",
    "standing",
]

Check = Callable[[Standing, Rules, datetime], Sequence[Cap | Bar]]

BARS: tuple[Check, ...] = (
    dose.of_age,
    dose.goals_known,
    dose.unharmed,
    dose.day_over,
    dose.alone_in_the_day,
    dose.depth_told,
    dose.questions_answered,
    dose.check_answered,
    dose.today_dry,
    dose.coach_rest,
    dose.rested,
    dose.not_away_too_long,
    dose.answers_given,
)

CAPS: tuple[Check, ...] = (
    progress.order_of_targets,
    progress.nothing_new,
    progress.at_most_held,
    progress.after_faults,
    progress.retry,
    progress.ceiling,
    progress.coach_watches,
    progress.coach_depth,
)

MOMENTS: tuple[Check, ...] = (dose.interval, dose.coach_gap)

CHECKS: tuple[Check, ...] = BARS + CAPS + MOMENTS
"""Every rule. The smallest cap wins, one bar is enough, and all that spoke are kept."""


def _depth_bars(standing: Standing, rules: Rules, depth_m: float) -> Sequence[Bar]:
    """What the settled depth itself forbids; a shallower target is never offered instead."""
    is_shallow = depth_m < rules["held.least_m"]
    is_full = standing.day_state.exhale_count >= standing.dives_allowed(depth_m)
    if not is_shallow and not is_full:
        return ()
    bars = []
    if is_shallow:
        bars.append(Bar(because=Because.UNDER_TWO, figure="held.least_m"))
    if is_full:
        bars.append(Bar(because=Because.CAP, figure=dose.cap_figure(standing, depth_m)))
    return bars


def settled_m(standing: Standing, at: datetime) -> float | None:
    """The target that stands at an instant, or None: what a dive at that instant is held against."""
    rules = standing.rules
    for check in BARS:
        if check(standing, rules, at):
            return None
    depth_m = 1000.0
    for check in CAPS:
        for cap in check(standing, rules, at):
            if cap.depth_m < depth_m:  # type: ignore[union-attr, operator]
                depth_m = cap.depth_m  # type: ignore[union-attr, assignment]
    depth_m = down_half(depth_m)
    return None if _depth_bars(standing, rules, depth_m) else depth_m


class _Kept:
    """A record, its fold (made when first asked for), and where the diver stood at the instants asked for."""

    __slots__ = ("_whole", "arrived", "record")

    def __init__(self, record: DiverRecord) -> None:
        self.record = record
        self.arrived: dict[datetime, Standing] = {}
        self._whole: Standing | None = None

    def whole(self, rules: Rules, others: Sequence[_Kept]) -> Standing:
        """All of the record folded, from the longest kept first part of it on."""
        if self._whole is None:
            facts = self.record.facts
            for old in sorted(others, key=lambda k: -len(k.record.facts)):
                before, count = old._whole, len(old.record.facts)
                if before is not None and old.is_begin_of(self.record):
                    self._whole = before.extended(self.record, facts[count:], settled_m)
                    break
            if self._whole is None:
                until_at = facts[-1].happened_at
                self._whole = folded(self.record, rules=rules, until_at=until_at, settle=settled_m)
        return self._whole

    def is_begin_of(self, record: DiverRecord) -> bool:
        """Whether these facts, in this place, are the first of the other's."""
        mine = self.record
        return (
            mine.timezone is record.timezone
            and mine.site == record.site
            and record.facts[: len(mine.facts)] == mine.facts
        )


_MEMO: OrderedDict[tuple[str, Rules], list[_Kept]] = OrderedDict()
_MEMO_SIZE = 64
_KEPT_EACH = 4
"""A turn looks at a record before, while and after its facts are added, several times each."""


def _kept(record: DiverRecord, rules: Rules) -> tuple[_Kept, list[_Kept]]:
    """What is kept of a record, and the diver's others. Facts are immutable, so only speed depends on it."""
    key = (record.diver, rules)
    all_kept = _MEMO.setdefault(key, [])
    _MEMO.move_to_end(key)
    count = len(record.facts)
    for one in all_kept:
        if len(one.record.facts) == count and one.is_begin_of(record):
            return one, all_kept
    new = _Kept(record)
    all_kept.insert(0, new)
    del all_kept[_KEPT_EACH:]
    if len(_MEMO) > _MEMO_SIZE:
        _MEMO.popitem(last=False)
    return new, all_kept


def standing(record: DiverRecord, *, rules: Rules, at: datetime) -> Standing:
    """Where the diver stands at an instant, by the facts that had happened by then. To be read only."""
    kept, _ = _kept(record, rules)
    state = kept.arrived.get(at)
    if state is None:
        state = left_at(record, rules=rules, at=at)
        state.arrive(at)
        if len(kept.arrived) >= _KEPT_EACH:
            kept.arrived.clear()
        kept.arrived[at] = state
    return state


def left_at(record: DiverRecord, *, rules: Rules, at: datetime) -> Standing:
    """Where the diver was left by the last fact that had happened by an instant; the caller's own copy."""
    facts = record.facts
    if not facts or facts[-1].happened_at > at:
        return folded(record, rules=rules, until_at=at, settle=settled_m)
    kept, others = _kept(record, rules)
    return kept.whole(rules, others).copy()


def plan(record: DiverRecord, *, rules: Rules, at: datetime) -> Plan | Refusal:
    """The next target with every cap that spoke, or a refusal with every bar that stands.

    `at` is the moment of asking. Depths are metres, rounded down to half a metre.
    """
    state = standing(record, rules=rules, at=at)
    bars: list[Bar] = []
    caps: list[Cap] = []
    for check in CHECKS:
        for said in check(state, rules, at):
            if isinstance(said, Bar):
                bars.append(said)
            else:
                caps.append(said)
    exercise = state.exercise
    depth_caps = sorted(
        (c for c in caps if c.depth_m is not None), key=lambda c: cast(float, c.depth_m)
    )
    depth_m = 0.0
    if exercise is not None and depth_caps:
        depth_m = down_half(cast(float, depth_caps[0].depth_m))
        bars.extend(_depth_bars(state, rules, depth_m))
    if bars or exercise is None or not depth_caps or state.base_m is None:
        return Refusal(
            diver=record.diver,
            exercise=exercise,
            bars=tuple(bars),
            dives_done=state.dives_done,
            dives_allowed=state.dives_allowed(),
            held_m=state.held_m,
            base_m=state.base_m,
            free_on=state.free_on if exercise is not None else None,
        )
    moments = [c for c in caps if c.not_before_at is not None]
    not_before = max((cast(datetime, c.not_before_at) for c in moments), default=None)
    day = state.day_state
    start = day.start_m if day.start_m is not None else state.first_m
    return Plan(
        diver=record.diver,
        exercise=exercise,
        depth_m=depth_m,
        fill=_fill(state, depth_m),
        not_before_at=not_before if not_before is not None and not_before > at else None,
        dive_number=state.dives_done + 1,
        dives_allowed=state.dives_allowed(depth_m),
        on_condition=day.had_pressure,
        is_new_depth=depth_m > start,
        is_opening=not day.opened,
        held_m=state.held_m,
        base_m=state.base_m,
        caps=tuple(depth_caps + moments),
    )


def _fill(state: Standing, depth_m: float) -> FillWindow:
    if state.exercise is Exercise.RV:
        return FillWindow(low_m=None, high_m=None)
    low, high = fill_window_m(
        state.lungs, target_m=depth_m, site=state.record.site, rules=state.rules
    )[:2]
    return FillWindow(low_m=low, high_m=high)
