"""A report as a line of shorthand: what buttons say, and what a question may be read as."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from bot.shorthand import parse, words
from bot.shorthand.questions import written
from bot.shorthand.reading import Command, Report, Unclear


def line_of(report: Report) -> str:
    """The parts of a report as one line, in the order in which people write them."""
    return written(report, words())


def read(line: str, names: Collection[str]) -> Report | Command | None:
    """What a line that we wrote ourselves says; None where it no longer says anything."""
    for one in parse(line, words(), names=names):
        if isinstance(one, (Report, Command)):
            return one
        if isinstance(one, Unclear):
            return None
    return None


def merged(over: Report, under: Report) -> Report:
    """What `over` says, and for the rest what `under` said. A new ending takes its reason along."""
    ending, reason = (
        (over.ending, over.reason) if over.ending is not None else (under.ending, under.reason)
    )
    is_known = under.exercise is not None and under.exercise.is_exhale
    named = over.exercise is not None or (over.any_exhale and not is_known)
    return replace(
        under,
        text="",  # neither's words say what the two say together
        exercise=over.exercise if named else under.exercise,
        any_exhale=over.any_exhale if named else under.any_exhale,
        depth_m=under.depth_m if over.depth_m is None else over.depth_m,
        depth_text=over.depth_text or under.depth_text,
        target_m=under.target_m if over.target_m is None else over.target_m,
        fill_m=under.fill_m if over.fill_m is None else over.fill_m,
        ending=ending,
        reason=reason,
        dive_time_s=under.dive_time_s if over.dive_time_s is None else over.dive_time_s,
        clock=over.clock or under.clock,
        task=over.task or under.task,
        amount=under.amount if over.amount is None else over.amount,
        note=over.note or under.note,
        asks=over.asks,
        or_else=over.or_else,
    )


def is_bare(report: Report) -> bool:
    """Whether it is only a part of a report: a depth, or how it went, and no exercise."""
    if report.exercise is not None or report.any_exhale:
        return False
    return report.depth_m is None or (report.ending is None and report.target_m is None)
