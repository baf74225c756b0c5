"""Where a diver stands: the facts folded in the order in which they happened.

`Standing` is the state of the fold and what the checks read. The fold asks the same checks
before each dive which target stood for it, so that what a dive counts as never depends on what
had been told by then. Callers of the planner treat a Standing as read-only.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from math import inf
from typing import Any

from planner.bases import counted_bases
from planner.day import Day, ExhaleDay, caps_on_dives
from planner.effect import exhale_dive
from planner.gas import first_frc_depth_m
from planner.held import Track, up_half
from planner.ladder import Ladder
from planner.learning import Learning
from planner.limits import Limits
from planner.lungs import Lungs, lungs_of
from planner.of_health import OfHealth
from planner.reasons import Because
from planner.record import (
    PB,
    Accepted,
    Asked,
    Body,
    Brief,
    Buddy,
    Dive,
    DiverRecord,
    Done,
    Ending,
    Exercise,
    Fact,
    Fit,
    Goal,
    Harm,
    Limit,
    Reason,
    ReportedBase,
    TaskSet,
    UnderAge,
    Unwell,
    Volume,
    Watching,
    Well,
)
from planner.rules import Rules

Place = tuple[str, int, int]
_A_DAY = timedelta(days=1)
_NEVER_AT = datetime.max.replace(tzinfo=UTC)
Settle = Callable[["Standing", datetime], float | None]
"""Which target stands at an instant, or None: `plan.settled_m`."""


class Standing(OfHealth):
    """The fold's state. Depths in metres; `held_m` is of the exercise the diver is on."""

    def __init__(self, record: DiverRecord, rules: Rules) -> None:
        self.record = record
        self.rules = rules
        self.zone = record.timezone
        self.lungs: Lungs | None = None
        self.pb_m: float | None = None
        self.goal_m: float | None = None
        self.exercise: Exercise | None = None
        self.track: Track | None = None
        self.stage_m: float | None = None
        self.base_m: float | None = None
        self.gap = rules.session_gap
        self._holds = timedelta(hours=rules["session.answer_holds_h"])
        self.tracks: dict[Exercise, Track] = {
            Exercise.FRC: Track(Exercise.FRC, rules, rules["first.frc_low_m"]),
            Exercise.RV: Track(Exercise.RV, rules, rules["first.rv_m"]),
        }
        self.day_state = Day(0, 0)
        self.last_dive: Dive | None = None
        self.last_dive_at: datetime | None = None
        self.exhale_days: list[ExhaleDay] = []
        self.deep_full_day: int | None = None
        self.full_day: int | None = None
        self.urge_before: bool = False
        self.fit_until_at: datetime | None = None
        self.buddy: str | None = None
        self.buddy_until_at: datetime | None = None
        self.not_fit_day: int | None = None
        self.watching_day: int | None = None
        self.open_asked: list[Asked] = []
        self.unknown_depths: list[Dive] = []
        self.briefed: dict[Place, float | None] = {}
        self.base_dives: list[tuple[int, float, Exercise, bool, bool]] = []
        self.ladder = Ladder(rules)
        self.learning = Learning(rules)
        self.opens_lower = False
        self._full_brief_at: datetime | None = None
        self.checked_day = 0
        self.owes_check_at: datetime | None = None
        self.owes_check_day = 0
        self.shallow_days: list[int] = []
        self.has_harm = False
        self.is_under_age = False
        self.limits = Limits()
        self.most_dives = inf
        self.done_at: datetime | None = None
        self._body_facts: list[Fact] = []
        self._day_number = 0
        self._day = 0
        self._day_from_at = self._day_to_at = _NEVER_AT
        self._answered: frozenset[Place] = frozenset()

    # what the checks and the chat read

    def day_of(self, at: datetime) -> int:
        """The local day of an instant, as an ordinal."""
        if not self._day_from_at <= at < self._day_to_at:
            # midnights are found once a day: the change of zone is what costs
            local = at.astimezone(self.zone)
            midnight = datetime.combine(local.date(), time(), tzinfo=self.zone)
            self._day_from_at = midnight.astimezone(UTC)
            self._day_to_at = (midnight + _A_DAY).astimezone(UTC)
            self._day = local.toordinal()
        return self._day

    def _settle_goals(self) -> None:
        """PB or goal changed: the exercise, the stage on the way to the goal, and its base."""
        r = self.rules
        if self.pb_m is None:
            return
        deep = self.pb_m >= r["exercise.rv_from_pb_m"]
        self.exercise = Exercise.RV if deep else Exercise.FRC
        self.track = self.tracks[self.exercise]
        if self.goal_m is None:
            return
        stage = min(self.goal_m, self.pb_m + r["stage.over_pb_m"])
        if not deep:
            stage = min(stage, r["stage.first_m"])
        self.stage_m = stage
        self.base_m = up_half(
            stage * r["exercise.rv_base_share" if deep else "exercise.frc_base_share"]
        )

    @property
    def is_goal_reached(self) -> bool:
        """Whether the personal best is as deep as the goal: the next one is the diver's choice."""
        return self.goal_m is not None and self.pb_m is not None and self.pb_m >= self.goal_m

    @property
    def held_m(self) -> float | None:
        """The held depth of that exercise today."""
        track = self.track
        return None if track is None else track.held_m(self.day_state.last_day)

    @property
    def first_m(self) -> float:
        """The first depth ever of that exercise."""
        track = self.track
        return self.rules["first.rv_m"] if track is None else track.first_m

    @property
    def opening_m(self) -> float | None:
        """Where a session opens with what is held now."""
        track = self.track
        return None if track is None else track.opening_m(self.held_m)

    @property
    def session(self) -> tuple[Dive, ...]:
        """The dives of the open session."""
        return tuple(self.day_state.dives)

    @property
    def dives_done(self) -> int:
        """Exhale dives of the open session that count toward the cap."""
        return self.day_state.exhale_count

    def dives_allowed(self, depth_m: float | None = None) -> int:
        """The cap on exhale dives today, by the deepest reached and a target's own depth."""
        return self.allowed_at(max(self.day_state.deepest_m, depth_m or 0.0))

    def allowed_at(self, deepest_m: float) -> int:
        """The cap on exhale dives of a session whose deepest reaches a depth."""
        deep_from_m, deep, mid_from_m, mid, most = caps_on_dives(
            self.rules, self.exercise is Exercise.RV
        )
        if deepest_m >= deep_from_m:
            most = deep
        elif deepest_m >= mid_from_m:
            most = mid
        return most if most <= self.most_dives else int(self.most_dives)

    @property
    def is_fit(self) -> bool:
        """Whether the fitness yes holds (at the instant of this standing)."""
        return self.fit_until_at is not None

    @property
    def free_on(self) -> date:
        """The first day on which rest allows an exhale day after the days so far."""
        return date.fromordinal(max(self.rest_free_day(), self.day_state.last_day))

    def rest_free_day(self) -> int:
        """The first day (an ordinal) that rest allows after the exhale days so far."""
        r = self.rules
        days = self.exhale_days
        free = 0
        if days:
            last = days[-1]
            nights = r["rest.nights_after_new"] if last.long_rest else r["rest.nights"]
            free = last.day + int(nights)
            most = int(r["rest.days_most"])
            if len(days) >= most:
                free = max(free, days[-most].day + int(r["rest.days_in"]))
        if self.deep_full_day is not None:
            free = max(free, self.deep_full_day + int(r["rest.full_nights"]))
        return free

    # the fold

    def copy(self) -> Standing:
        """An independent copy, for looking ahead."""
        new = Standing.__new__(Standing)
        new.__dict__.update(self.__dict__)
        new.tracks = {e: t.copy() for e, t in self.tracks.items()}
        new.track = None if self.exercise is None else new.tracks[self.exercise]
        new.day_state = self.day_state.copy()
        for name in ("exhale_days", "open_asked", "base_dives", "shallow_days", "_body_facts"):
            setattr(new, name, list(getattr(self, name)))
        new.exhale_days = [ExhaleDay(d.day, d.long_rest) for d in self.exhale_days]
        new.unknown_depths = list(self.unknown_depths)
        new.briefed = dict(self.briefed)
        new.ladder = self.ladder.copy()
        new.limits = self.limits.copy()
        new.learning = self.learning.copy()
        return new

    def extended(
        self, record: DiverRecord, more: tuple[Fact, ...], settle: Settle
    ) -> Standing | None:
        """This standing gone on with by later facts; None where one of them changes what counted before.

        That is an answer to a question of before, a base, and harm that a base was told after.
        """
        if any(type(f) in (Harm, ReportedBase) for f in more) and any(record.of(ReportedBase)):
            return None
        asked = {a.origin.place for a in self.open_asked}
        if asked and any(f.origin.place in asked for f in more if type(f) is not Asked):
            return None
        new = self.copy()
        new.record = record
        new._answered = _answered(record)
        for fact in more:
            new.apply(fact, settle)
        return new

    def apply(self, fact: Fact, settle: Settle) -> None:
        """Fold one more fact in; facts come in the order in which they happened."""
        handler = _HANDLERS.get(type(fact))
        if handler is not None:
            handler(self, fact, settle)

    def arrive(self, at: datetime) -> None:
        """Time has come to `at`: a session may have ended, answers may have lapsed."""
        last = self.last_dive_at
        if last is None or (at - last) > self.gap:
            self._begin_session(at)
        else:
            self.day_state.last_day = self.day_of(at)
        if self.fit_until_at is not None and at > self.fit_until_at:
            self.fit_until_at = None
        if self.buddy_until_at is not None and at > self.buddy_until_at:
            self.buddy_until_at = None
            self.buddy = None
        self.most_dives = self.limits.dives(at)

    def _begin_session(self, at: datetime) -> None:
        day = self.day_of(at)
        state = self.day_state
        if state.dives or state.number == 0:
            self.urge_before = Because.URGE in state.over or (
                self.urge_before and state.exhale_count == 0
            )
            self._day_number += 1
            if state.exhale_count:
                self.opens_lower = False
            self.opens_lower = self.opens_lower or self.ladder.pressure_day == state.last_day
            if any(d.exercise in _CHECKED for d in state.dives):
                self.owes_check_at = self.last_dive_at
                self.owes_check_day = state.last_day
        self.day_state = state = Day(self._day_number, day)
        state.free_day = self.rest_free_day()
        share = self.restart_share_at(at)
        if share < 1.0:
            # the other exercise is no way round it either
            for one in self.tracks.values():
                if one is not self.track:
                    one.come_back(day, share=share)
        track = self.track
        if track is not None:
            track.opens_most = self.rules["full.opening_share"] if self.opens_lower else inf
            state.after_layoff = track.come_back(day, share=share)
            state.start_m = track.held_m(day)

    def _pb(self, fact: PB, _: Settle) -> None:
        self.ladder.stated(fact.depth_m)
        self.pb_m = self.ladder.pb_m
        self._settle_goals()

    def _goal(self, fact: Goal, _: Settle) -> None:
        goal = fact.depth_m
        if self.is_goal_reached and self.last_dive is not None:
            assert self.pb_m is not None
            goal = min(goal, self.pb_m + self.rules["goal.further_m"])
        self.goal_m = goal
        self._settle_goals()

    def _brief(self, fact: Brief, _: Settle) -> None:
        # a full-lung dive whose fill isn't stated was filled as briefed
        if fact.exercise is Exercise.FULL and fact.fill_high_m is not None:
            self._full_brief_at = fact.happened_at

    def _body(self, fact: Body | UnderAge | Volume, _: Settle) -> None:
        self.is_under_age = type(fact) is UnderAge or (self.is_under_age and type(fact) is not Body)
        self._body_facts.append(fact)
        lungs = lungs_of(
            DiverRecord(diver=self.record.diver, timezone=self.zone, facts=tuple(self._body_facts))
        )
        self.lungs = lungs
        r = self.rules
        first = first_frc_depth_m(lungs, site=self.record.site, rules=r)
        self.tracks[Exercise.FRC].first_m = max(
            r["first.frc_low_m"], min(first, r["first.frc_high_m"])
        )

    def _reported(self, fact: ReportedBase, _: Settle) -> None:
        track = self.tracks.get(fact.exercise)
        if track is not None and fact in counted_bases(self.record):
            track.reported(fact.on.toordinal(), fact.depth_m)

    def _fit(self, fact: Fit, _: Settle) -> None:
        if fact.ok:
            self.fit_until_at = fact.happened_at + self._holds
        else:
            self.fit_until_at = None
            self.not_fit_day = self.day_of(fact.happened_at)

    def _buddy(self, fact: Buddy, _: Settle) -> None:
        self.buddy = fact.buddy or None  # NOBODY takes back who was named
        self.buddy_until_at = fact.happened_at + self._holds

    def _watching(self, fact: Watching, _: Settle) -> None:
        self.watching_day = self.day_of(fact.happened_at)

    def _done(self, fact: Done, _: Settle) -> None:
        self.done_at = fact.happened_at

    def _harm(self, fact: Harm | Unwell, _: Settle) -> None:
        self.has_harm = True
        if not isinstance(fact, Unwell) or not fact.raised_by_other:
            self.checked_day = self.day_of(fact.happened_at)

    def _task_set(self, fact: TaskSet, _: Settle) -> None:
        self.learning.by_coach(fact.task, day=self.day_of(fact.happened_at))

    def _well(self, fact: Well, _: Settle) -> None:
        self.checked_day = self.day_of(fact.happened_at)

    def _asked(self, fact: Asked, _: Settle) -> None:
        if fact.bars and fact.origin.place not in self._answered:
            self.open_asked.append(fact)

    def _dive(self, dive: Dive, settle: Settle) -> None:
        at = dive.happened_at
        if dive.exercise is Exercise.DRY:
            self.learning.practised(dive, day=self.day_of(at))
            return
        self.arrive(at)
        day = self.day_state.last_day
        if dive.exercise.is_exhale:
            exhale_dive(self, dive, day, settle(self, at))
        elif dive.exercise is Exercise.FULL:
            self._full_dive(dive, day)
        elif dive.exercise is Exercise.DIP:
            # a watcher's dip is one to meet a diver; deeper it is a full-lung dive like any other
            if dive.depth_m is not None and dive.depth_m > self.rules["dip.most_m"]:
                self.full_day = day
                if dive.depth_m > self.rules["rest.full_from_m"]:
                    self.deep_full_day = day
        elif dive.exercise is Exercise.SHALLOW:
            self.full_day = day
            self.shallow_days.append(day)
            self.learning.shallow(dive, day=day)
        self.day_state.dives.append(dive)
        self.last_dive = dive
        self.last_dive_at = at
        until = at + self._holds
        if self.fit_until_at is not None:
            self.fit_until_at = max(self.fit_until_at, until)
        if self.buddy_until_at is not None:
            self.buddy_until_at = max(self.buddy_until_at, until)

    def _full_dive(self, dive: Dive, day: int) -> None:
        self.full_day = day
        depth = dive.depth_m
        if depth is None or depth > self.rules["rest.full_from_m"]:
            self.deep_full_day = day
        if dive.ending is Ending.STOP and dive.reason is Reason.URGE:
            self.day_state.over.append(Because.URGE)
        elif dive.ending is Ending.STOP and dive.reason is Reason.COLD:
            self.day_state.over.append(Because.COLD)
        if self._is_filled(dive):
            self.ladder.dived(dive, day=day)
            self.learning.full(dive, day=day)
            if self.ladder.pb_m != self.pb_m:
                self.pb_m = self.ladder.pb_m
                self._settle_goals()

    def _is_filled(self, dive: Dive) -> bool:
        """Whether a full-lung dive was one with a mouthfill: as stated or briefed, or by how it ended."""
        if dive.fill_m is not None or dive.is_pressure_stop:
            return True
        if dive.reason in _OF_A_FILL:
            return True
        told_at = self._full_brief_at
        return told_at is not None and dive.happened_at - told_at <= self.gap


_OF_A_FILL = frozenset({Reason.EMPTY, Reason.LEAK, Reason.SWALLOW, Reason.STUCK})
"""Stops that only a dive with a mouthfill has."""
_CHECKED = frozenset({Exercise.FRC, Exercise.RV, Exercise.FULL})
"""Dives after which the check is owed."""

_HANDLERS: dict[type[Fact], Callable[[Standing, Any, Settle], None]] = {
    PB: Standing._pb,
    Goal: Standing._goal,
    Brief: Standing._brief,
    Body: Standing._body,
    UnderAge: Standing._body,
    Volume: Standing._body,
    ReportedBase: Standing._reported,
    Fit: Standing._fit,
    Buddy: Standing._buddy,
    Watching: Standing._watching,
    Done: Standing._done,
    Harm: Standing._harm,
    Accepted: lambda s, fact, _: s.limits.accepted(fact),
    Limit: lambda s, fact, _: s.limits.limited(fact),
    TaskSet: Standing._task_set,
    Unwell: Standing._harm,
    Well: Standing._well,
    Asked: Standing._asked,
    Dive: Standing._dive,
}


def folded(record: DiverRecord, *, rules: Rules, until_at: datetime, settle: Settle) -> Standing:
    """The record's facts that happened by an instant, folded in order."""
    standing = Standing(record, rules)
    standing._answered = _answered(record)
    handlers = _HANDLERS
    for fact in record.facts:
        if fact.happened_at > until_at:
            break
        if (handler := handlers.get(type(fact))) is not None:
            handler(standing, fact, settle)
    return standing


def _answered(record: DiverRecord) -> frozenset[Place]:
    """The lines that came to say something, whenever it happened: their questions are answered."""
    asked = {f.origin.place for f in record.facts if type(f) is Asked}
    if not asked:
        return frozenset()
    return frozenset(
        f.origin.place for f in record.facts if type(f) is not Asked and f.origin.place in asked
    )
