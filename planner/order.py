"""The order at the buoy: who dives when in the coming round, on which line depth, watched by whom.

One dive each a round, shallow to deep, the line up once a round: sorted, then checked; no solver.
RV openers come first, then who is still to dive on the line's way down, then the others once it
has gone up; in each of these, shallow to deep. Only the coming round is promised: it is computed
anew after each report. All of it is house rule (H), `[order]` in rules.toml.

Who watches is chosen by what the group itself knows: depths, and the stops of today. Whoever has no
target for a reason that nobody may tell from another (a lock, rest, not fit) watches only after
`watching today`, so a round tells nothing of which it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain, compress, groupby, pairwise, permutations, product
from math import ceil, inf
from operator import attrgetter, itemgetter
from typing import NamedTuple

from planner.plan import plan, standing
from planner.present import is_here, is_out, was_stopped
from planner.reasons import Plan
from planner.record import (
    Dive,
    DiverRecord,
    Ending,
    Exercise,
)
from planner.rules import Rules
from planner.standing import Standing

__all__ = ["Line", "Round", "Turn", "order"]

_GRID_M = 0.5  # depths are told in these steps


@dataclass(frozen=True, kw_only=True, slots=True)
class Turn:
    """One dive of the round. The line hangs at `line_m`, never deeper than the diver's target.

    `starts_at` is the earliest moment, by the dives as they are reckoned before it.
    """

    diver: str
    watcher: str
    line_m: float
    target_m: float
    starts_at: datetime


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """The turns on one line, in order. `was_m` is where it hung at its last dive, None before any."""

    turns: tuple[Turn, ...]
    was_m: float | None

    @property
    def raises(self) -> int:
        """How often the line goes up."""
        return _moved([turn.line_m for turn in self.turns], self.was_m)[0]

    @property
    def changes(self) -> int:
        """How often the line is moved."""
        return _moved([turn.line_m for turn in self.turns], self.was_m)[1]


@dataclass(frozen=True, kw_only=True, slots=True)
class Round:
    """The coming round: at most five divers a line, the shallower line first.

    `unwatched` have a target, but nobody at the site may watch them, so they have no turn.
    """

    lines: tuple[Line, ...]
    unwatched: tuple[str, ...]

    @property
    def turns(self) -> tuple[Turn, ...]:
        """The turns of all lines, as they start."""
        return tuple(sorted(chain(*(line.turns for line in self.lines)), key=lambda t: t.starts_at))

    @property
    def next(self) -> Turn | None:
        """Who dives next, on which line depth, watched by whom."""
        return next(iter(self.turns), None)


def order(
    records: Iterable[DiverRecord] | Mapping[str, DiverRecord],
    *,
    rules: Rules,
    at: datetime,
    lines: int | None = None,
) -> Round:
    """The coming round of everybody at the site, whoever of them dives, watches or rests.

    `lines` asks for more lines than the number of divers does; each keeps two divers at least.
    The same people in any order give the same round.
    """
    given = records.values() if isinstance(records, Mapping) else records
    states = [standing(r, rules=rules, at=at) for r in sorted(given, key=attrgetter("diver"))]
    named = {state.buddy for state in states}
    people = [_person(state, named, rules, at) for state in states]
    divers = sorted((p for p in people if p.lines_m), key=lambda p: (p.target_m, p.name))
    # whoever came to watch before others without a dive
    ashore = sorted((p for p in people if not p.lines_m), key=lambda p: not p.came_to_watch)
    groups = _split(divers, lines, most=int(rules["order.line_most"]))
    laid: list[Line] = []
    unwatched: list[str] = []
    for group in reversed(groups):
        best, was_m = _best(group, ashore, rules)
        turns = tuple(
            Turn(
                diver=seat.diver.name,
                watcher=seat.watcher,
                line_m=seat.line_m,
                target_m=seat.diver.target_m,
                starts_at=at + timedelta(seconds=seat.start_s),
            )
            for seat in best.seats
        )
        unwatched += best.left
        if turns:
            laid.append(Line(turns=turns, was_m=was_m))
        watching = {turn.watcher for turn in turns}  # at one line only; at the deeper one fewer may
        left = [p for p in group if p.name in best.left]
        ashore = [p for p in (*ashore, *left) if p.name not in watching]
    return Round(lines=tuple(reversed(laid)), unwatched=tuple(sorted(unwatched)))


# everybody at the site, as far as a round asks


@dataclass(frozen=True, kw_only=True, slots=True)
class _Person:
    """Somebody at the site. Moments are seconds from the moment of asking.

    `lines_m` is where the line may hang for them, the deepest first; none without a target.
    `watches_to_m` is the deepest line of others that they may watch. `opens`: on RV, with the
    opening dive of the day still to come. `only` is the one person who may watch them, if so.
    """

    name: str
    watches_to_m: float
    up_s: float
    opens: bool
    target_m: float
    lines_m: tuple[float, ...]
    ready_s: float
    only: str | None
    came_to_watch: bool
    dives: tuple[_Dived, ...]


class _Dived(NamedTuple):
    """A dive on the line in the open session: when it surfaced, whose, and where the line hung."""

    at_s: float
    name: str
    line_m: float | None
    is_opening: bool


def _person(state: Standing, named: set[str | None], rules: Rules, at: datetime) -> _Person:
    def seconds(moment: datetime) -> float:
        return (moment - at).total_seconds()

    name, here = state.record.diver, is_here(state.record, rules, at)
    said = plan(state.record, rules=rules, at=at)
    target = said if isinstance(said, Plan) and here else None
    ready_at = target.not_before_at if target else None
    dives = [d for d in state.session if d.exercise is not Exercise.DIP]
    opening = next((d for d in dives if d.exercise.is_exhale), None)
    is_dry = state.day_of(at) in (state.watching_day, state.not_fit_day)
    may_watch = here or (here is None and name in named)
    if state.pb_m is None or was_stopped(state, at) or is_out(said, state, at):
        may_watch = False
    return _Person(
        name=name,
        watches_to_m=(state.pb_m or 0.0) - rules["order.watcher_over_m"] if may_watch else -inf,
        up_s=max((seconds(d.happened_at) for d in state.session), default=-inf),
        opens=state.exercise is Exercise.RV and opening is None and not is_dry,
        target_m=target.depth_m if target else 0.0,
        lines_m=_lines_m(target, state, rules) if target else (),
        ready_s=seconds(ready_at) if ready_at else 0.0,
        came_to_watch=state.day_of(at) == state.watching_day,
        only=state.buddy if target and _is_coachs(target, rules) else None,
        dives=tuple(
            _Dived(
                at_s=seconds(dive.happened_at),
                name=name,
                line_m=_hung_m(dive, state),
                is_opening=dive is opening and dive.exercise is Exercise.RV,
            )
            for dive in dives
        ),
    )


def _lines_m(said: Plan, state: Standing, rules: Rules) -> tuple[float, ...]:
    """Where the line may hang for a target: at it; for most targets also a little above it, to be shared."""
    went = [max(d.depth_m or 0, state.briefed.get(d.origin.place) or 0) for d in state.session]
    is_repeat = said.is_new_depth and max(went, default=0) >= said.depth_m
    if is_repeat or (said.is_opening and said.exercise is Exercise.RV):
        return (said.depth_m,)
    steps = int(rules["order.line_above_m"] / _GRID_M)
    depths = (said.depth_m - _GRID_M * step for step in range(steps + 1))
    return tuple(d for d in depths if d == said.depth_m or d >= rules["held.least_m"])


def _is_coachs(said: Plan, rules: Rules) -> bool:
    """Whether a target waits for the diver's coach: then whoever was named watches, nobody else."""
    past = said.depth_m > rules["step.rv_coach_past_m"]
    return past and said.is_new_depth and said.exercise is Exercise.RV


def _hung_m(dive: Dive, state: Standing) -> float | None:
    """Where the line hung for a dive: where it ended, if it was reached, else at the target."""
    if dive.ending in (Ending.CLEAN, Ending.HARD) and dive.depth_m is not None:
        return dive.depth_m
    return dive.target_m or state.briefed.get(dive.origin.place) or dive.depth_m


# sort


class _Water(NamedTuple):
    """One line as it is: when the last diver surfaced, where it hangs, who dived, the last one first.

    `down` are those who dived on this way down.
    """

    surfaced_s: float
    line_m: float | None
    past: tuple[str, ...]
    down: frozenset[str]


def _split(divers: list[_Person], lines: int | None, *, most: int) -> list[list[_Person]]:
    """Sorted divers over the lines: as many to each, the shallower ones first."""
    count = max(ceil(len(divers) / most), min(lines or 1, len(divers) // 2), 1)
    size, more = divmod(len(divers), count)
    ends = [size * number + min(number, more) for number in range(count + 1)]
    return [divers[start:end] for start, end in pairwise(ends)]


def _water(people: Iterable[_Person]) -> _Water:
    """What these people's dives left: the way down lasts until somebody dives twice, or the line goes up.

    That it went up for an RV opener, who comes before the others, doesn't end it.
    """
    dives = sorted(chain(*(p.dives for p in people)), key=lambda d: (d.at_s, d.name))
    depths = [d.line_m for d in dives if d.line_m is not None]
    down: set[str] = set()
    least_m = inf
    for dive in reversed(dives):
        if dive.name in down:
            break
        if not dive.is_opening and dive.line_m is not None:
            if dive.line_m > least_m:
                break
            least_m = dive.line_m
        down.add(dive.name)
    surfaced_s, line_m = dives[-1].at_s if dives else -inf, depths[-1] if depths else None
    return _Water(surfaced_s, line_m, tuple(d.name for d in reversed(dives)), frozenset(down))


def _sorted(group: Sequence[_Person], water: _Water) -> list[list[_Person]]:
    """RV openers, who is still to dive on the way down, and the others; each shallow to deep."""

    def by_depth(p: _Person) -> tuple[float, bool, str]:
        return (p.target_m, len(p.lines_m) == 1, p.name)

    hangs_m = water.line_m or 0.0
    openers = sorted((p for p in group if p.opens), key=by_depth)
    first = sorted(openers, key=lambda p: p.target_m < hangs_m)
    if first:
        hangs_m = first[-1].target_m
    others = sorted((p for p in group if not p.opens), key=by_depth)
    to_come = [p for p in others if p.target_m >= hangs_m and p.name not in water.down]
    return [first, to_come, [p for p in others if p not in to_come]]


def _moved(depths: Sequence[float], was_m: float | None) -> tuple[int, int]:
    """How often the line goes up, and how often it is moved at all, from where it was."""
    hung = list(pairwise(depths if was_m is None else (was_m, *depths)))
    return sum(b < a for a, b in hung), sum(b != a for a, b in hung)


def _hung(seats: Sequence[_Person], was_m: float | None) -> tuple[float, ...]:
    """The line depths with the fewest raises and changes, and with these the nearest to the targets."""
    choices = product(*(p.lines_m for p in seats))
    return min(choices, key=lambda depths: (*_moved(depths, was_m), -sum(depths)))


# check


class _Seat(NamedTuple):
    """A turn that was found: who watches, where the line hangs, and the earliest start."""

    diver: _Person
    watcher: str
    line_m: float
    start_s: float


class _Laid(NamedTuple):
    """An order with watchers and starts; who is `left` could not be watched in it.

    Of two, the one that costs less is preferred: nobody left out, then as the policy lists it.
    """

    cost: tuple[float, ...]
    seats: Sequence[_Seat]
    left: frozenset[str]


_Order = list[tuple[_Person, float]]
"""Divers in order, each with the depth of the line."""


def _best(
    group: Sequence[_Person], ashore: Sequence[_Person], rules: Rules
) -> tuple[_Laid, float | None]:
    """What is preferred of the orders that the sort leaves open, and where the line hung before."""
    water = _water([*group, *ashore])
    able = [p for p in group if _is_watchable(p, group, ashore)]
    spare = [*ashore, *(p for p in group if p not in able)]
    found: list[_Laid] = []
    for orders in _orders(_sorted(able, water), water.line_m):
        laid = (_laid(one, spare, water, rules) for one in orders)
        found.append(min(laid, key=lambda one: one.cost))
        if not found[-1].left:
            break
    sorted_best = min(found[:2], key=lambda one: one.cost)
    best = min([sorted_best, *found[2:]], key=lambda one: len(one.left))
    never = {p.name for p in group if p not in able}
    return best._replace(left=best.left | never), water.line_m


def _orders(ranks: Sequence[Sequence[_Person]], was_m: float | None) -> Iterator[Iterable[_Order]]:
    """The orders that the sort leaves open; then more of them, for the case that somebody is left out.

    At one depth of the line anybody may come first. Next the same at every depth that is allowed,
    at last every order that goes down twice: rather one more raise than somebody without a dive.
    """
    divers = [p for rank in ranks for p in rank]
    depths = iter(_hung(divers, was_m))
    hung = [[(p, next(depths)) for p in rank] for rank in ranks]
    level = [list(one) for rank in hung for _, one in groupby(rank, key=itemgetter(1))]
    yield (list(chain(*one)) for one in product(*map(permutations, level)))
    yield _at_every_depth(divers)
    by_depth = sorted(divers, key=lambda p: (p.target_m, p.name))
    firsts = [list(compress(by_depth, one)) for one in product((True, False), repeat=len(divers))]
    ways = [first + [p for p in by_depth if p not in first] for first in firsts]
    yield chain(*map(_at_every_depth, ways))


def _at_every_depth(divers: Sequence[_Person]) -> Iterator[_Order]:
    depths = product(*(p.lines_m for p in divers))
    return (list(zip(divers, each, strict=True)) for each in depths)


def _is_watchable(diver: _Person, group: Sequence[_Person], ashore: Sequence[_Person]) -> bool:
    """Whether anybody at this line could ever watch this diver, whatever the order."""
    return any(
        p is not diver and p.watches_to_m >= diver.lines_m[-1] and diver.only in (None, p.name)
        for p in chain(group, (p for p in ashore if not p.opens))
    )


def _laid(divers: _Order, spare: Sequence[_Person], water: _Water, rules: Rules) -> _Laid:
    """Watchers and starts for an order; whoever has no watcher in it is left out, and may watch."""
    divers, left = list(divers), list[_Person]()
    seats = list[_Seat]()
    while len(seats) < len(divers):
        seat = _seat(divers, seats, [*spare, *left], water, rules)
        if seat is None:
            # the others' next ones and watchers may be different without this one
            left.append(divers.pop(len(seats))[0])
            seats.clear()
        else:
            seats.append(seat)
    raises, changes = _moved([seat.line_m for seat in seats], water.line_m)
    gap_s = 60 * rules["order.gap_most_min"]
    cost = (
        len(left),
        sum(s.start_s for s in seats if s.diver.opens),
        raises,
        sum(-inf < s.diver.up_s < s.start_s - gap_s for s in seats),
        changes,
        seats[-1].start_s if seats else 0.0,
        sum(s.diver.target_m - s.line_m for s in seats),
    )
    return _Laid(cost, seats, frozenset(p.name for p in left))


def _seat(
    divers: _Order, before: Sequence[_Seat], spare: Sequence[_Person], water: _Water, rules: Rules
) -> _Seat | None:
    """The turn after those before it, as early as may be; of equally early watchers the preferred."""
    dive_s, watcher_s = 60 * rules["order.dive_min"], 60 * rules["order.watcher_up_min"]
    diver, line_m = divers[len(before)]
    surfaced = {seat.diver.name: seat.start_s + dive_s for seat in before}
    last_s, hung_m = water.surfaced_s, water.line_m
    if before:
        last_s, hung_m = before[-1].start_s + dive_s, before[-1].line_m
    move_s = 0.0
    if hung_m is not None and hung_m != line_m:
        move_s = 60 * rules["order.line_up_min" if hung_m > line_m else "order.line_down_min"]
    begin_s = max(0.0, diver.ready_s, last_s + rules["order.watch_s"] + move_s)
    best: _Seat | None = None
    for other in _round_the_table(divers, len(before), spare, water.past, rules):
        if other.watches_to_m < line_m or diver.only not in (None, other.name):
            continue
        if other.opens and other.name not in surfaced:
            continue
        start_s = max(begin_s, surfaced.get(other.name, other.up_s) + watcher_s)
        if best is None or start_s < best.start_s:
            best = _Seat(diver, other.name, line_m, start_s)
    return best


def _round_the_table(
    divers: _Order, place: int, spare: Sequence[_Person], past: Sequence[str], rules: Rules
) -> Iterator[_Person]:
    """Who may watch a turn: from whoever dived two turns before backwards, then the one before.

    Further back than the first dive come the last of this round, then who doesn't dive in it.
    Where four and more dive, the next one is left out; after the last comes the first.
    """
    names = [p.name for p, _ in divers]
    mine, after = names[place], names[(place + 1) % len(names)]
    table = dict.fromkeys([*names[:place][::-1], *past, *names[place + 1 :][::-1]])
    back = [name for name in table if name != mine]
    turns = int(rules["order.turns_before"]) - 1
    people = {p.name: p for p in (*(p for p, _ in divers), *spare)}
    if len(names) >= rules["order.next_from"]:
        del people[after]
    for name in dict.fromkeys([*back[turns:], *back[:turns], *people]):
        if name in people and name != mine:
            yield people[name]
