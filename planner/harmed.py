"""One harm as its lock is worked out from it: what it may be, and what was told after it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from planner.harm_table import HarmRow, harm_table
from planner.record import Cleared, ReportedBase, Unwell, Well


@dataclass(frozen=True, kw_only=True, slots=True)
class Harmed:
    """A Harm fact, or an unanswered check read as one, and the time it counts from."""

    at: datetime
    said_at: datetime
    said_place: tuple[str, int, int]
    row: str | None
    level: str
    days: float
    doctor: bool
    since_well: bool
    exhale: bool = False
    evening_at: datetime | None = None


def is_after(word: Well | Cleared, what: Harmed | Unwell) -> bool:
    """Whether the diver's word was said after what it is about.

    In the same instant the later line of a chat is later, and between two chats what was said
    later; a question that somebody else raised is never later than its answer.
    """
    if isinstance(what, Harmed):
        at, place, asked = what.at, what.said_place, False
    else:
        at, place, asked = what.happened_at, what.origin.place, what.raised_by_other
    if word.happened_at != at:
        return word.happened_at > at
    if word.origin.chat == place[0]:
        return word.origin.place > place
    return asked or word.said_at > what.said_at


def is_told_since(base: ReportedBase, h: Harmed) -> bool:
    """Whether a base was told after a harm; in the same instant, unless its line is an earlier one."""
    if base.said_at != h.at:
        return base.said_at > h.at
    return base.origin.chat != h.said_place[0] or base.origin.place > h.said_place


def may_be(h: Harmed, row: HarmRow) -> bool:
    """Whether a harm is of a row; one kept without its row is, where its figures are the row's."""
    if h.row is not None:
        return h.row == row.key
    return (h.level, h.days, h.doctor, h.since_well) == (
        row.level,
        row.days,
        row.doctor,
        row.since_well,
    )


def counts_as_exhale_harm(h: Harmed) -> bool:
    """Rows 4-10; kept without its row, any that asks a doctor and the days of those rows.

    And what is told to: of a report that was forgotten no more is known.
    """
    table = harm_table()
    if h.exhale:
        return True
    if h.row is not None and h.row in table.rows:
        return table.rows[h.row].exhale
    least = min(r.days for r in table.rows.values() if r.exhale)
    return h.doctor and h.days >= least
