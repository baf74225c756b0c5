"""A season of an invented diver, written day by day, for the tests of the policy."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from planner.plan import Plan, Refusal, plan, standing
from planner.record import (
    PB,
    Body,
    Buddy,
    Dive,
    DiverRecord,
    Ending,
    Exercise,
    Fact,
    Fit,
    Goal,
    Origin,
    Reason,
    ReportedBase,
    Sex,
    Well,
    day_begins_at,
    record_of,
)
from planner.rules import RULES, Rules

ZONE = ZoneInfo("Europe/Lisbon")
DIVER = "mara"


@dataclass
class Season:
    """Facts in the order in which they are told; times move by themselves."""

    exercise: Exercise
    facts: list[Fact] = field(default_factory=list)
    at: datetime = datetime(2026, 1, 1, 9, tzinfo=UTC)
    message: int = 0
    rules: Rules = RULES

    def _carried(self) -> dict[str, object]:
        self.message += 1
        return {
            "diver": DIVER,
            "happened_at": self.at,
            "said_at": self.at,
            "by": DIVER,
            "origin": Origin(chat="g:1", message=self.message),
        }

    def profile(self, *, pb_m: float, goal_m: float) -> Season:
        self.facts.append(Body(**self._carried(), sex=Sex.FEMALE, age_y=34, height_m=1.72))  # type: ignore[arg-type]
        self.facts.append(PB(**self._carried(), depth_m=pb_m))  # type: ignore[arg-type]
        self.facts.append(Goal(**self._carried(), depth_m=goal_m))  # type: ignore[arg-type]
        return self

    def reported(self, depth_m: float, on: date) -> Season:
        carried = self._carried() | {"happened_at": day_begins_at(on, timezone=ZONE)}
        self.facts.append(
            ReportedBase(**carried, exercise=self.exercise, depth_m=depth_m, on=on)  # type: ignore[arg-type]
        )
        return self

    def morning(self, on: str) -> Season:
        """A dive day begins: everybody well, a buddy, fit."""
        day = date.fromisoformat(on)
        self.at = datetime(day.year, day.month, day.day, 8, tzinfo=ZONE).astimezone(UTC)
        self.facts.append(Well(**self._carried()))  # type: ignore[arg-type]
        self.at += timedelta(minutes=30)
        self.facts.append(Buddy(**self._carried(), buddy="ana"))  # type: ignore[arg-type]
        self.facts.append(Fit(**self._carried(), ok=True))  # type: ignore[arg-type]
        return self

    def dive(
        self, depth_m: float | None, ending: str = "clean", *, fill_m: float | None = None
    ) -> Season:
        self.at += timedelta(minutes=12)
        if ending in ("clean", "hard", "early"):
            how, why = Ending(ending), None
        else:
            how, why = Ending.STOP, Reason(ending)
        self.facts.append(
            Dive(
                **self._carried(),  # type: ignore[arg-type]
                exercise=self.exercise,
                depth_m=depth_m,
                ending=how,
                reason=why,
                fill_m=fill_m,
            )
        )
        return self

    def other(
        self,
        exercise: Exercise,
        depth_m: float | None = None,
        ending: str = "clean",
        *,
        fill_m: float | None = None,
        task: str | None = None,
        amount: int | None = None,
    ) -> Season:
        """A dive of another kind, or a dry exercise, a while later."""
        mine, self.exercise = self.exercise, exercise
        self.dive(depth_m, ending, fill_m=fill_m)
        self.exercise = mine
        self.facts[-1] = replace(self.facts[-1], task=task, amount=amount)  # type: ignore[call-arg]
        return self

    def record(self) -> DiverRecord:
        return record_of(DIVER, self.facts, timezone=ZONE)

    def held_m(self) -> float | None:
        return standing(self.record(), rules=self.rules, at=self.at).held_m

    def next(self) -> float | None:
        said = plan(self.record(), rules=self.rules, at=self.at)
        return said.depth_m if isinstance(said, Plan) else None

    def said(self) -> Plan | Refusal:
        return plan(self.record(), rules=self.rules, at=self.at)

    def free_on(self) -> str:
        day = standing(self.record(), rules=self.rules, at=self.at).free_on
        return day.isoformat()
