"""A report as a line of shorthand: what buttons say, and what a question may be read as."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from bot.shorthand import parse, words
from bot.shorthand.reading import Command, Report, Unclear
from bot.texts.render import metres
from planner.record import Dive, Ending, Exercise, Reason

Parts = Report | Dive

_ENDINGS = {Ending.CLEAN: "ok", Ending.HARD: "hard", Ending.EARLY: "early", Ending.STOP: "stop"}


def line_of(parts: Parts, *, who: str | None = None) -> str:
    """The parts of a report as one line, in the order in which people write them."""
    words_ = [f"for {who}"] if who else []
    if parts.exercise is not None:
        words_.append(parts.exercise.value)
    elif isinstance(parts, Report) and parts.any_exhale:
        words_.append("exh")
    if parts.exercise is Exercise.DRY:
        words_ += [str(w) for w in (parts.amount, parts.task) if w is not None]
    if parts.depth_m is not None:
        words_.append(f"{metres(parts.depth_m)}m")
        if parts.target_m is not None:
            words_.append(f"of {metres(parts.target_m)}")
    if parts.ending is not None:
        words_.append(_ENDINGS[parts.ending])
    if parts.reason not in (None, Reason.UNSTATED):
        words_.append(str(parts.reason))
    if parts.fill_m is not None:
        words_.append(f"fill {metres(parts.fill_m)}")
    if parts.dive_time_s is not None:
        words_.append(f"{parts.dive_time_s}s")
    if isinstance(parts, Report) and parts.clock is not None:
        if parts.clock.on:
            words_.append(parts.clock.on)
        words_.append(f"{parts.clock.hour:02d}:{parts.clock.minute:02d}")
    return " ".join(words_)


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
    named = over.exercise is not None or over.any_exhale
    return replace(
        under,
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
    )


def is_bare(report: Report) -> bool:
    """Whether it is only a part of a report: a depth, or how it went, and no exercise."""
    if report.exercise is not None or report.any_exhale:
        return False
    return report.depth_m is None or (report.ending is None and report.target_m is None)
