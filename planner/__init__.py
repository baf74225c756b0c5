"""Buoyside's planner: pressure, lungs, the mouthfill, and what an exhale dive supports. Pure.

Facts go in, a plan or a refusal comes out; every figure carries its unit, mark and source. Nothing
here reads a clock or a file: the instant is always an argument.

A diver's export is enough to ask what the bot would say, or would have said at any time:

>>> from datetime import UTC, datetime
>>> from planner.export import EXAMPLE
>>> at = datetime(2026, 5, 7, 8, 20, tzinfo=UTC)
>>> record = read_export(EXAMPLE, known_at=at)
>>> said = plan(record, rules=RULES, at=at)
>>> said.depth_m, said.dive_number, [cap.because.value for cap in said.caps][:1]
(5.0, 2, ['first-depth'])

Ten minutes later a hard dive is known, and the target is a step shallower:

>>> at = datetime(2026, 5, 7, 8, 40, tzinfo=UTC)
>>> plan(read_export(EXAMPLE, known_at=at), rules=RULES, at=at).depth_m
4.0

What is asked of readiness, of the next full-lung step and of the weeks to come:

>>> ready(record, rules=RULES, at=at).base_m
20.0
>>> [bar.because.value for bar in full_plan(record, rules=RULES, at=at).bars]
['exhale-dive', 'not-supported']
>>> forecast(record, rules=RULES, at=at).because.value
'too-few'
>>> [due.kind.value for due in agenda(record, rules=RULES, at=at)][:3]
['debrief', 'morning', 'evening']
>>> debrief(record, rules=RULES, at=at).lines[0].dive.depth_m
5.0

A plan is a `Plan` or a `Refusal`; a record is made of facts with `record_of`:

>>> from zoneinfo import ZoneInfo
>>> nobody = record_of("nils", [], timezone=ZoneInfo("Europe/Lisbon"))
>>> isinstance(plan(nobody, rules=RULES, at=at), Plan)
False
"""

from planner.agenda import agenda
from planner.debrief import debrief
from planner.export import read_export
from planner.forecast import forecast
from planner.full import full_plan
from planner.plan import plan
from planner.ready import ready
from planner.reasons import Plan
from planner.record import record_of
from planner.rules import RULES

__all__ = [
    "RULES",
    "Plan",
    "agenda",
    "debrief",
    "forecast",
    "full_plan",
    "plan",
    "read_export",
    "ready",
    "record_of",
]
