"""A group of invented divers at one buoy, what a round must keep, and the best round by exhaustion.

Both read depths, times and stops from the facts and the plans; their figures are those of our rules
of the round (H).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import pairwise, permutations, product
from math import inf
from typing import Any

from planner.order import Line, Round, Turn, order
from planner.plan import Plan, plan, standing
from planner.record import (
    PB,
    Dive,
    DiverRecord,
    Ending,
    Exercise,
    Fact,
    Fit,
    Origin,
    Reason,
    Watching,
    record_of,
)
from planner.rules import RULES, Rules
from tests.planner.season import ZONE, Season

FRC, RV = Exercise.FRC, Exercise.RV
TODAY = date(2026, 5, 7)
NINE = datetime(2026, 5, 7, 9, tzinfo=ZONE).astimezone(UTC)
MINUTE, SECOND = timedelta(minutes=1), timedelta(seconds=1)


@cache
def morning_of(exercise: Exercise, held_m: float | None, pb_m: float, goal_m: float) -> list[Fact]:
    """The facts of a diver who holds a depth, up to the morning of the day: fit, with a buddy."""
    if exercise is FRC:
        season = Season(exercise).profile(pb_m=pb_m, goal_m=goal_m)
        if held_m is not None:
            season.reported(held_m / 0.8 + 0.1, date(2026, 5, 1))
        return season.morning(TODAY.isoformat()).facts
    first = date(2026, 1, 5)
    last = _trained(held_m, pb_m, goal_m, first).at.date()
    season = _trained(held_m, pb_m, goal_m, first + (TODAY - last) - timedelta(days=4))
    return season.morning(TODAY.isoformat()).facts


def _trained(held_m: float | None, pb_m: float, goal_m: float, day: date) -> Season:
    season = Season(RV).profile(pb_m=pb_m, goal_m=goal_m)
    if held_m is not None:
        season.reported(min(held_m, 5) / 0.6 + 0.1, day - timedelta(days=4))
    season.morning(day.isoformat())
    season.at -= timedelta(minutes=1)
    while held_m is not None and (season.held_m() or 0) < held_m:
        season.morning(day.isoformat())
        while (target := season.next()) is not None:
            season.dive(target)
        day = date.fromisoformat(season.free_on())
    return season


@dataclass
class Buoy:
    """Everybody at the site, and where the clock stands; `add` comes before all else."""

    at: datetime = NINE
    rules: Rules = RULES
    facts: dict[str, list[Fact]] = field(default_factory=dict)
    number: int = 1000

    def add(
        self,
        name: str,
        held_m: float | None = None,
        exercise: Exercise = FRC,
        *,
        pb_m: float | None = None,
        goal_m: float | None = None,
        silent: bool = False,
    ) -> Buoy:
        """Somebody comes; silent: not heard of today, and in nobody's words."""
        frc = exercise is FRC
        pb_m = pb_m or (45 if frc else 60)
        facts = morning_of(exercise, held_m, pb_m, goal_m or (50 if frc else 75))
        self.facts[name] = [replace(f, diver=name, by=name) for f in facts]
        if silent:
            self.facts[name] = [f for f in self.facts[name] if f.happened_at.date() < TODAY]
        return self

    def say(self, name: str, kind: type[Fact], **fields: Any) -> Buoy:
        self.number += 1
        fields.setdefault("happened_at", self.at)
        origin = Origin(chat="g:1", message=self.number)
        said = kind(diver=name, said_at=self.at, by=name, origin=origin, **fields)
        self.facts[name].append(said)
        return self

    def watching(self, *names: str) -> Buoy:
        for name in names:
            self.say(name, Watching)
        return self

    def dive(self, name: str, depth_m: float | None, ending: str = "clean", **fields: Any) -> Buoy:
        """A dive that has just surfaced."""
        if ending in ("clean", "hard", "early"):
            how, why = Ending(ending), None
        else:
            how, why = Ending.STOP, Reason(ending)
        state = standing(self.record(name), rules=self.rules, at=self.at)
        fields = {"exercise": state.exercise} | fields
        return self.say(name, Dive, depth_m=depth_m, ending=how, reason=why, **fields)

    def follow(self, ending: str = "clean", share: float = 1.0, late_s: float = 0) -> Turn | None:
        """The next turn is dived, a minute long; the clock stands where it has surfaced."""
        turn = self.order().next
        if turn is not None:
            self.at = turn.starts_at + MINUTE + late_s * SECOND
            self.dive(turn.diver, round(turn.line_m * share, 1), ending)
        return turn

    def record(self, name: str) -> DiverRecord:
        return record_of(name, self.facts[name], timezone=ZONE)

    def records(self) -> list[DiverRecord]:
        return [self.record(name) for name in self.facts]

    def order(self, **wish: int) -> Round:
        return order(self.records(), rules=self.rules, at=self.at, **wish)

    def told(self, **wish: int) -> list[str]:
        """The round as the chat says it, a line a list: `mara (ilse) 9.5`."""
        return [
            ", ".join(f"{t.diver} ({t.watcher}) {t.line_m:g}" for t in line.turns)
            for line in self.order(**wish).lines
        ]

    def said(self, name: str) -> Plan | None:
        found = plan(self.record(name), rules=self.rules, at=self.at)
        return found if isinstance(found, Plan) else None


# what a round must keep (H), read anew


def today(record: DiverRecord, at: datetime) -> list[Dive]:
    """The dives of a day; no test has a session over midnight in its rounds."""
    on = record.local_day(at)
    return [
        d for d in record.dives if record.local_day(d.happened_at) == on and d.happened_at <= at
    ]


def exhaled(record: DiverRecord, at: datetime) -> list[Dive]:
    return [d for d in today(record, at) if d.exercise.is_exhale]


def counts(dive: Dive) -> bool:
    """Toward the cap: all but turns above 3 m without pressure."""
    if dive.ending in (Ending.CLEAN, Ending.HARD) or dive.is_pressure_stop:
        return True
    return dive.depth_m is None or dive.depth_m >= 3


def pb_of(record: DiverRecord) -> float:
    return max((f.depth_m for f in record.of(PB)), default=-inf)


def is_stopped(record: DiverRecord, at: datetime) -> bool:
    bad = {Reason.STERNUM, Reason.CHEST, Reason.THROAT, Reason.UNSTATED, Reason.URGE, Reason.COLD}
    return any(d.ending is Ending.STOP and d.reason in bad for d in today(record, at))


def is_dry(record: DiverRecord, at: datetime) -> bool:
    """Said today that no dive will come; why is nobody's business."""
    return any(
        record.local_day(f.happened_at) == record.local_day(at)
        for f in record.facts
        if isinstance(f, Watching) or (isinstance(f, Fit) and not f.ok)
    )


def is_out(record: DiverRecord, at: datetime) -> bool:
    """Not fit today, without a word of watching; these groups have no lock and nobody resting."""
    said = [
        f
        for f in record.facts
        if isinstance(f, Watching | Fit) and record.local_day(f.happened_at) == record.local_day(at)
    ]
    unfit = any(isinstance(f, Fit) and not f.ok for f in said)
    return unfit and not any(isinstance(f, Watching) for f in said)


def may_open(record: DiverRecord, at: datetime) -> bool:
    """An RV diver whose opening dive of the day may still come."""
    is_rv = pb_of(record) >= 50
    return is_rv and not exhaled(record, at) and not is_dry(record, at)


def move(from_m: float | None, to_m: float) -> timedelta:
    if from_m is None or from_m == to_m:
        return timedelta(0)
    return 90 * SECOND if to_m < from_m else 30 * SECOND


def may_hang(said: Plan, record: DiverRecord, at: datetime) -> list[float]:
    """Where the line may hang for a target."""
    briefed = standing(record, rules=RULES, at=at).briefed
    tried = any(
        (d.depth_m or 0) >= said.depth_m or (briefed[d.origin.place] or 0) >= said.depth_m
        for d in exhaled(record, at)
    )
    opens = said.exercise is RV and said.is_opening
    if opens or (said.is_new_depth and tried) or said.depth_m == 2:
        return [said.depth_m]
    return [said.depth_m, said.depth_m - 0.5]


def broken(said: Round, buoy: Buoy, lines: int = 1) -> Iterator[str]:
    """The hard rules that a round doesn't keep."""
    at = buoy.at
    records = {r.diver: r for r in buoy.records()}
    plans = {name: found for name in records if (found := buoy.said(name)) is not None}
    divers = [t.diver for line in said.lines for t in line.turns]
    if sorted(divers + list(said.unwatched)) != sorted(plans):
        yield "one dive each, of those with a target"
    if any(len(line.turns) > 5 for line in said.lines) or not all(x.turns for x in said.lines):
        yield "at most five divers a line"
    for one, other in pairwise(said.lines):
        if max(t.target_m for t in one.turns) > min(t.target_m for t in other.turns):
            yield "lines split by depth"
    for line in said.lines:
        elsewhere = {
            name
            for x in said.lines
            if x is not line
            for t in x.turns
            for name in (t.diver, t.watcher)
        }
        if lines > 1 or len(plans) > 5:
            # lines are split anew each time; who has no turn may have dived on any of them
            elsewhere |= set(said.unwatched) - {t.watcher for t in line.turns}
        yield from _broken_on(line, records, plans, at, elsewhere)


def _broken_on(
    line: Line,
    records: dict[str, DiverRecord],
    plans: dict[str, Plan],
    at: datetime,
    elsewhere: set[str],
) -> Iterator[str]:
    surfaced_at: dict[str, datetime] = {}
    count = len(line.turns)
    on_line = [
        d.happened_at
        for name, r in records.items()
        if name not in elsewhere
        for d in exhaled(r, at)
    ]
    free_at, hung_m = max(on_line, default=at - timedelta(hours=1)), line.was_m
    for number, turn in enumerate(line.turns):
        found, watcher = plans[turn.diver], records[turn.watcher]
        if turn.target_m != found.depth_m:
            yield "the target is the plan's"
        if turn.line_m not in may_hang(found, records[turn.diver], at):
            yield "line depth"
        if turn.starts_at < max(at, found.not_before_at or at):
            yield "own interval"
        if turn.starts_at < free_at + 60 * SECOND + move(hung_m, turn.line_m):
            yield "sixty seconds and the line's move"
        if len([d for d in exhaled(records[turn.diver], at) if counts(d)]) >= found.dives_allowed:
            yield "caps"
        if turn.watcher == turn.diver:
            yield "nobody watches themselves"
        if count >= 4 and turn.watcher == line.turns[(number + 1) % count].diver:
            yield "not the next diver"
        ups = [d.happened_at for d in today(watcher, at)]
        if turn.watcher in surfaced_at:
            ups.append(surfaced_at[turn.watcher])
        if ups and turn.starts_at < max(ups) + 2 * MINUTE:
            yield "the watcher has been up for two minutes"
        if pb_of(watcher) < turn.line_m + 10:
            yield "the watcher's personal best"
        if is_stopped(watcher, at):
            yield "no stop of the watcher's today"
        if is_out(watcher, at):
            yield "nobody watches who has no target and doesn't say that they watch"
        if may_open(watcher, at) and turn.watcher not in surfaced_at:
            yield "an RV diver opens before watching"
        if turn.watcher in elsewhere:
            yield "a watcher is at one line"
        surfaced_at[turn.diver] = free_at = turn.starts_at + MINUTE
        hung_m = turn.line_m


# the best round of one line, by exhaustion


def way_down(buoy: Buoy) -> tuple[float | None, set[str]]:
    """Where the line hangs, and who dived since it last went up for the round to begin again.

    Raised for an RV opener alone, the way down goes on; who dives twice has begun a new one.
    """
    dives: list[tuple[datetime, str, float, bool]] = []
    for record in buoy.records():
        own = exhaled(record, buoy.at)
        briefed = standing(record, rules=RULES, at=buoy.at).briefed
        for dive in own:
            reached = dive.ending in (Ending.CLEAN, Ending.HARD)
            depth_m = dive.depth_m if reached else briefed[dive.origin.place]
            hung_m = depth_m or dive.depth_m or 0
            opens = dive is own[0] and dive.exercise is RV
            dives.append((dive.happened_at, record.diver, hung_m, opens))
    dives.sort(reverse=True)
    down: set[str] = set()
    deepest = inf
    for _, name, hung_m, opens in dives:
        if name in down or (hung_m > deepest and not opens):
            break
        deepest = deepest if opens else hung_m
        down.add(name)
    return (dives[0][2] if dives else None), down


Cost = tuple[float, ...]


def cost_of(line: Line | None, unwatched: int, buoy: Buoy) -> Cost:
    """What our rules of the round prefer, in their order: all in seconds, metres or counts; less is better."""
    if line is None:
        return (unwatched, 0.0, 0, 0, 0, 0.0)
    records = {r.diver: r for r in buoy.records()}
    depths = [t.line_m for t in line.turns]
    moves = list(pairwise(depths if line.was_m is None else [line.was_m, *depths]))
    waits = gaps = 0.0
    for turn in line.turns:
        dives = exhaled(records[turn.diver], buoy.at)
        if may_open(records[turn.diver], buoy.at):
            waits += (turn.starts_at - buoy.at).total_seconds()
        if dives and turn.starts_at > dives[-1].happened_at + 15 * MINUTE:
            gaps += 1
    end = (line.turns[-1].starts_at - buoy.at).total_seconds()
    raises = sum(b < a for a, b in moves)
    return (unwatched, waits, raises, gaps, sum(a != b for a, b in moves), end)


def best_cost(buoy: Buoy) -> tuple[Cost, bool]:
    """The least cost of any round: every choice of divers, order, line depth and watcher.

    Only that stands which makes it a round: shallow to deep, and whoever has dived on this way down,
    or is above the line, after those still to come; RV openers may come anywhere. Where somebody
    is left out of every such order, any order will do: then the second value is False.
    """
    at = buoy.at
    was_m, down = way_down(buoy)
    records = {r.diver: r for r in buoy.records()}
    plans = {name: found for name in records if (found := buoy.said(name)) is not None}
    opening = {name for name in plans if may_open(records[name], at)}
    hung = max((plans[n].depth_m for n in opening), default=was_m or 0.0)
    options = {n: may_hang(p, records[n], at) for n, p in plans.items()}
    up = {n: max((d.happened_at for d in today(r, at)), default=None) for n, r in records.items()}
    able = {
        n: pb_of(r)
        for n, r in records.items()
        if not is_stopped(r, at) and not is_out(r, at) and not (n not in plans and may_open(r, at))
    }
    last = max((d.happened_at for r in records.values() for d in exhaled(r, at)), default=None)
    late = {n for n in plans if n not in opening and (n in down or plans[n].depth_m < hung)}

    def is_round(way: tuple[str, ...], depths: tuple[float, ...]) -> bool:
        ranked = [
            (n in late, line_m) for n, line_m in zip(way, depths, strict=True) if n not in opening
        ]
        return ranked == sorted(ranked)

    for count in range(len(plans), -1, -1):
        found: dict[bool, Cost] = {}
        for way in permutations(sorted(plans), count):
            for depths in product(*(options[n] for n in way)):
                line = _started(way, depths, plans, able, up, opening, at, last, was_m)
                if line is not None or not way:
                    cost = cost_of(line, len(plans) - count, buoy)
                    kind = is_round(way, depths)
                    found[kind] = min(cost, found.get(kind, cost))
        if found:
            # rather out of the order than left out
            return (found[True], True) if True in found else (found[False], False)
    raise AssertionError("nobody at all is a round too")


def _started(
    way: tuple[str, ...],
    depths: tuple[float, ...],
    plans: dict[str, Plan],
    able: dict[str, float],
    up: dict[str, datetime | None],
    opening: set[str],
    at: datetime,
    last: datetime | None,
    was_m: float | None,
) -> Line | None:
    """The order with the earliest starts, or None where somebody in it has no watcher."""
    turns: list[Turn] = []
    ups = dict(up)
    done: set[str] = set()
    hung_m = was_m
    for number, (name, line_m) in enumerate(zip(way, depths, strict=True)):
        begin = max(at, plans[name].not_before_at or at)
        if last is not None:
            begin = max(begin, last + 60 * SECOND + move(hung_m, line_m))
        follows = way[(number + 1) % len(way)] if len(way) >= 4 else None
        starts = [
            (max(begin, begin if ups[other] is None else ups[other] + 2 * MINUTE), other)  # type: ignore[operator]
            for other, pb_m in able.items()
            if other not in (name, follows)
            and pb_m >= line_m + 10
            and (other not in opening or other in done)
        ]
        if not starts:
            return None
        start, watcher = min(starts)
        turns.append(
            Turn(
                diver=name, watcher=watcher, line_m=line_m, target_m=plans[name].depth_m,
                starts_at=start,
            )
        )  # fmt: skip
        ups[name] = last = start + MINUTE
        hung_m = line_m
        done.add(name)
    return Line(turns=tuple(turns), was_m=was_m) if turns else None
