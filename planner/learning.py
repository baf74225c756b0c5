"""Learning the mouthfill: which task a repeated fault sets, and when a new depth opens again (H).

A task is set against a technique fault (common practice, no source) and never moves a target. While
one is open no new depth is tried: it is done once it was clean on so many days and so many clean
`shallow` dives were logged since; its faults are counted anew afterwards. Days are ordinals.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum

from planner.record import Dive, DiverRecord, Ending, Exercise, Reason
from planner.rules import Rules

TASKS: dict[Reason, str] = {
    Reason.SWALLOW: "hold",
    Reason.LEAK: "lock",
    Reason.STUCK: "palate",
    Reason.EMPTY: "count",
    Reason.EARS: "frenzel",
}
"""The task that is set against a technique fault (common practice, no source)."""

FETCH = "fetch"
"""The task that is set when the way of filling changed, to the surface or away from it."""

SHALLOW = "shallow"
"""The task in the water; only a coach sets it."""

COUNT = TASKS[Reason.EMPTY]
"""The task whose log says how often the ears were equalised from one fill."""


@dataclass(frozen=True, kw_only=True, slots=True)
class OpenTask:
    """A task that is set: against which fault (None: another reason), and how far it is.

    `by_coach`: the diver's coach set it; else without a fault the way of filling changed.
    """

    task: str
    reason: Reason | None
    since_day: int
    days: frozenset[int] = frozenset()
    shallows: int = 0
    by_coach: bool = False


class Learning:
    """What the technique faults of a record have set, folded dive by dive."""

    __slots__ = ("_fulls", "_recent", "_surface", "open", "rules")

    def __init__(self, rules: Rules) -> None:
        self.rules = rules
        self.open: dict[str, OpenTask] = {}
        self._recent: tuple[tuple[int, Reason | None], ...] = ()
        self._fulls: tuple[Reason | None, ...] = ()
        self._surface: dict[Exercise, bool] = {}

    def copy(self) -> Learning:
        """An independent copy."""
        new = Learning.__new__(Learning)
        new.rules = self.rules
        new.open = dict(self.open)
        new._recent, new._fulls, new._surface = self._recent, self._fulls, dict(self._surface)
        return new

    def exhale(self, dive: Dive, *, session: int, day: int) -> None:
        """An exhale dive: its fault beside those of the last ones and of the session."""
        r = self.rules
        fault = _fault(dive)
        keep = int(r["learn.alike_in"])
        self._recent = (*self._recent, (session, fault))[-keep:]
        if fault is not None:
            alike = sum(reason is fault for _, reason in self._recent)
            today = sum(reason is fault and of == session for of, reason in self._recent)
            if alike >= r["learn.alike"] or today >= r["learn.session_alike"]:
                self._set(TASKS[fault], fault, day)
        if dive.fill_m is not None:
            surface = dive.fill_m == 0
            if self._surface.get(dive.exercise, surface) != surface:
                self._set(FETCH, None, day)
            self._surface[dive.exercise] = surface

    def full(self, dive: Dive, *, day: int) -> None:
        """A full-lung dive with a mouthfill: its fault beside those of the last ones."""
        r = self.rules
        fault = _fault(dive)
        self._fulls = (*self._fulls, fault)[-int(r["learn.full_alike_in"]) :]
        if fault is not None:
            alike = sum(reason is fault for reason in self._fulls)
            if alike >= r["learn.full_alike"]:
                self._set(TASKS[fault], fault, day)

    def practised(self, dive: Dive, *, day: int) -> None:
        """A task was logged on land: `dry 10 lock ok`, or `dry 8 count 14`."""
        few = (
            dive.task == COUNT
            and dive.amount is not None
            and dive.amount < self.rules["learn.count_least"]
        )
        if few:
            self._set(COUNT, Reason.EMPTY, day)
        task = self.open.get(dive.task or "")
        if task is None or few or dive.ending is not Ending.CLEAN or dive.waits:
            return
        self._further(task, days=task.days | {day}, shallows=task.shallows)

    def shallow(self, dive: Dive, *, day: int) -> None:
        """A clean `shallow` dive counts for every task that is open; it is the task `shallow` itself."""
        if dive.ending is not Ending.CLEAN or dive.waits:
            return
        for task in tuple(self.open.values()):
            days = task.days | {day} if task.task == SHALLOW else task.days
            self._further(task, days=days, shallows=task.shallows + 1)

    def by_coach(self, task: str, *, day: int) -> None:
        """The diver's coach set a task."""
        self._set(task, None, day, by_coach=True)

    def _set(self, task: str, reason: Reason | None, day: int, *, by_coach: bool = False) -> None:
        if task not in self.open:
            self.open[task] = OpenTask(task=task, reason=reason, since_day=day, by_coach=by_coach)

    def _further(self, task: OpenTask, *, days: frozenset[int], shallows: int) -> None:
        r = self.rules
        if len(days) < r["learn.task_days"] or shallows < r["learn.shallow_dives"]:
            self.open[task.task] = replace(task, days=days, shallows=shallows)
            return
        del self.open[task.task]
        self._recent = tuple((of, None if r is task.reason else r) for of, r in self._recent)
        self._fulls = tuple(None if r is task.reason else r for r in self._fulls)


def _fault(dive: Dive) -> Reason | None:
    """The technique fault of a stop, or of a dive that was hard because of it."""
    reason = dive.reason
    if dive.ending in (Ending.STOP, Ending.HARD) and reason is not None and reason.is_technique:
        return reason
    return None


class DosePassed(StrEnum):
    """How a task on land went beyond its dose; a caution follows, nothing else."""

    LONG = "long"  # more minutes than a task takes
    OFTEN = "often"  # on more days of the week
    BEFORE = "before"  # shortly before a session


def dose_passed(record: DiverRecord, dry: Dive, *, rules: Rules) -> Iterator[DosePassed]:
    """In which ways a task that was logged is beyond the dose (H: `task`)."""
    if dry.dive_time_s is not None and dry.dive_time_s > rules["task.most_min"] * 60:
        yield DosePassed.LONG
    last = record.local_day(dry.happened_at)
    first = last - timedelta(days=rules["task.days_in"] - 1)
    days = {
        on
        for d in record.dives
        if d.exercise is Exercise.DRY and first <= (on := record.local_day(d.happened_at)) <= last
    }
    if len(days) > rules["task.days_most"]:
        yield DosePassed.OFTEN
    rest = timedelta(minutes=rules["task.before_session_min"])
    if any(
        d.exercise in (Exercise.FRC, Exercise.RV, Exercise.FULL)
        and dry.happened_at <= d.happened_at < dry.happened_at + rest
        for d in record.dives
    ):
        yield DosePassed.BEFORE
