"""Buoyside's planner: pressure, lungs, the mouthfill, and what an exhale dive supports. Pure.

Facts go in, a plan or a refusal comes out; every figure carries its unit, mark and source.

>>> from datetime import UTC, datetime
>>> from zoneinfo import ZoneInfo
>>> record = record_of("mara", [], timezone=ZoneInfo("Europe/Lisbon"))
>>> said = plan(record, rules=RULES, at=datetime(2026, 5, 5, 8, tzinfo=UTC))
>>> [bar.because.value for bar in said.bars]
['no-pb', 'no-goal', 'no-buddy', 'no-fit']
"""

from planner.agenda import agenda
from planner.debrief import debrief
from planner.plan import plan, standing
from planner.ready import ready
from planner.reasons import Plan, Refusal
from planner.record import DiverRecord, record_of
from planner.rules import RULES

__all__ = [
    "RULES",
    "DiverRecord",
    "Plan",
    "Refusal",
    "agenda",
    "debrief",
    "plan",
    "ready",
    "record_of",
    "standing",
]
