"""What a line may mean: the parser's answers. They hold words, not decisions."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from planner.record import Ending, Exercise, Reason


@dataclass(frozen=True, kw_only=True, slots=True)
class Clock:
    """When a dive was, as written: a local clock time, with a date where one was given (ISO)."""

    hour: int
    minute: int
    on: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Report:
    """A dive as written. None is what the line did not say.

    `exercise` None with `any_exhale` True is `exh`: the exhale exercise the diver is on.
    `who` is a name as written (`for noor`, a leading name), None for the sender.
    `ending` None with a depth is `exh 12`: it has to be asked.
    """

    line: int
    text: str
    exercise: Exercise | None = None
    any_exhale: bool = False
    depth_m: float | None = None
    depth_text: str = ""
    target_m: float | None = None
    fill_m: float | None = None
    ending: Ending | None = None
    reason: Reason | None = None
    dive_time_s: int | None = None
    clock: Clock | None = None
    task: str | None = None
    amount: int | None = None
    who: str | None = None
    note: str = ""
    asks: Doubt | None = None  # recorded on the careful side and asked about
    or_else: tuple[tuple[Ending, Reason | None], ...] = ()  # what else the line may have meant


@dataclass(frozen=True, kw_only=True, slots=True)
class Command:
    """A line that is a command: its name (the canonical word) and its arguments by name, as values.

    Names: next, plan, next-full, order, done, undo, fix, feel, fit, not-fit, buddy, no-buddy, watching, add,
    allow, disallow, me, volume, mouth, mask, pb, goal, base, cleared, ready, week, log, why,
    forecast, export, forget, share, ping, coach, tell-coach, zone, site, board, trim, rest, cap,
    gap, lines, seen, task, help, start, emergency, mask-or-clip…
    """

    line: int
    text: str
    name: str
    args: dict[str, object] = field(default_factory=dict)
    who: str | None = None


class Doubt(StrEnum):
    """Why a line is asked about. The wording lives in texts, by this key."""

    QUESTION = "question"  # it has a question mark
    STRANGER = "stranger"  # words nobody knows
    TYPO = "typo"  # a word one edit away from ours
    CONTRADICTION = "contradiction"  # 9 ok throat
    TWO_NUMBERS = "two-numbers"  # 12, 5
    NUMBER_FORM = "number-form"  # 1e1, 8², nan
    HIDDEN = "hidden"  # control, zero-width or bidirectional characters
    DEPTH_RANGE = "depth-range"  # 0 or less, beyond 200 m
    PAST_TARGET = "past-target"  # 12 of 9
    FILL_DEEPER = "fill-deeper"  # fill below the dive
    SHORT_OK = "short-ok"  # 9/14 ok: early?
    NO_ENDING = "no-ending"  # exh 12
    DIVE_TIME = "dive-time"  # over five minutes
    CLOCK = "clock"  # a time that is no time, or far ahead
    TOO_MANY = "too-many"  # 9x8 ok
    TOO_LONG = "too-long"
    TROUBLE_WORD = "trouble-word"  # ok with tight, sore, pressure, scared
    NO_DEPTH = "no-depth"  # exh ok
    ARGUMENT = "argument"  # a command with an argument that can't be read
    RANGE = "range"  # a command's value outside what it can be


@dataclass(frozen=True, kw_only=True, slots=True)
class Unclear:
    """A line that is ours but can't be recorded as it stands.

    `readings` are whole lines it may mean, most likely first, each of which parses to a Report or
    Command; `word` is the word in doubt and `offer` the word offered for it. `careful` is what the
    line counts as meanwhile (a stop, say), if anything. `is_dive`: a dive may have happened.
    """

    line: int
    text: str
    doubt: Doubt
    readings: tuple[str, ...] = ()
    word: str = ""
    offer: str = ""
    is_dive: bool = True
    who: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Chatter:
    """A line that is none of ours."""

    line: int
    text: str


Reading = Report | Command | Unclear | Chatter
