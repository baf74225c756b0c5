"""The next full-lung step: how deep, where the fill is taken, and what must be so before it.

What an exhale dive supports becomes a line: 2 m over the personal best once that much is
supported, two clean dives on two days at a step before the next, a day of its own. All of it is
house rule (H) but the rule of practice behind what is supported (CP).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import exp
from typing import cast

from planner import dose, progress
from planner.figure import Figure, Mark
from planner.gas import fill_window_m, share_lost
from planner.held import down_half
from planner.plan import standing
from planner.reasons import Bar, Because, Cap, Refusal
from planner.record import Brief, Dive, DiverRecord, Ending, Exercise, Reason
from planner.rules import RULES, Rules
from planner.spaces import spaces_of
from planner.standing import Standing
from planner.support import Bound, FullFill, binding, full_fill_window, supports

TURNS = (Reason.STERNUM, Reason.CHEST, Reason.THROAT, Reason.EARS, Reason.EMPTY, Reason.URGE)
"""What turns a full-lung dive at once (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Supported:
    """The full-lung depth that is supported, metres: by which exercise, held depth and its fill.

    The better of both exercises in the window, each lowered by its own chest and mouth; `binding`
    is the bound that is least.
    """

    depth_m: float
    exercise: Exercise
    held_m: float
    fill_m: float
    bounds: tuple[Bound, ...]
    binding: Bound


@dataclass(frozen=True, kw_only=True, slots=True)
class FullPlan:
    """The next full-lung line of one diver, metres, with every cap that spoke, the least first.

    The fill is taken within `fill`, once, and then the throat stays shut; any of `turns` turns
    the dive. `is_step` says that it is deeper than what was clean; else it is the last clean depth
    again, clean on `clean_days` of `days_needed` days so far. `lost` is the share of the charge
    that the last dive which ran out had lost, with its band; None where no such dive is open.
    """

    diver: str
    line_m: float
    fill: FullFill
    pb_m: float
    goal_m: float
    supported: Supported
    is_step: bool
    clean_days: int
    days_needed: int
    not_before_at: datetime | None
    turns: tuple[Reason, ...]
    lost: Figure | None
    caps: tuple[Cap, ...]


def supported_of(state: Standing) -> Supported | None:
    """What the held depths support where the diver stands; None where nothing is held.

    FRC credit stays in the window while RV builds, so both exercises are asked and the better wins.
    """
    best: Supported | None = None
    for exercise, track in state.tracks.items():
        held = track.held_m(state.day_state.last_day)
        if held is None:
            continue
        fill = held_fill_m(state, exercise, held)
        bounds = bounds_at(state, exercise, clean_m=held, fill_m=fill)
        least = binding(bounds)
        assert least is not None
        depth = down_half(least.depth_m)
        if best is None or depth > best.depth_m:
            best = Supported(
                depth_m=depth, exercise=exercise, held_m=held, fill_m=fill, bounds=bounds,
                binding=least,
            )  # fmt: skip
    return best


def bounds_at(
    state: Standing, exercise: Exercise, *, clean_m: float, fill_m: float
) -> tuple[Bound, ...]:
    """What a clean dive of this diver speaks for, by rule, chest and mouth: own lungs, own spaces.

    Depths are read as they are at the record's site.
    """
    return supports(
        exercise=exercise,
        clean_m=clean_m,
        fill_m=fill_m,
        lungs=state.lungs,
        own=spaces_of(state.record),
        site=state.record.site,
        rules=state.rules,
    )


def held_fill_m(state: Standing, exercise: Exercise, held_m: float) -> float:
    """The fill that the held dives were made with: the deepest stated, else the window's deep end.

    A deeper fill asks less of the mouth, so the deeper one speaks for less.
    """
    if exercise is Exercise.RV:
        return 0.0
    oldest = state.day_state.last_day - state.rules["held.window_d"]
    stated = [
        d.fill_m
        for d in state.record.dives
        if d.exercise is exercise
        and d.fill_m is not None
        and d.depth_m is not None
        and d.depth_m >= held_m
        and d.ending is Ending.CLEAN
        and state.day_of(d.happened_at) >= oldest
    ]
    window = fill_window_m(state.lungs, target_m=held_m, site=state.record.site, rules=state.rules)
    return min(max(stated, default=window.high_m), held_m)


# what bars a full-lung step, whatever its depth


def exhaled_today(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """A full-lung step has a day of its own."""
    days = standing.exhale_days
    if days and days[-1].day == standing.day_of(at):
        return (Bar(because=Because.EXHALE_DIVE, figure="rest.full_nights"),)
    return ()


def troubled_today(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """After a troubled full-lung dive the day brings no further one."""
    if standing.ladder.trouble_day == standing.day_of(at):
        return (Bar(because=Because.FULL_TROUBLE, figure="full.clean_days"),)
    return ()


def full_depth_told(standing: Standing, rules: Rules, at: datetime) -> Sequence[Bar]:
    """No line until the depth of a full-lung pressure stop is known."""
    if standing.ladder.unknown:
        return (Bar(because=Because.DEPTH_UNKNOWN, figure="full.pressure_share"),)
    return ()


FULL_BARS: tuple[Callable[[Standing, Rules, datetime], Sequence[Bar]], ...] = (
    dose.of_age,
    dose.goals_known,
    dose.unharmed,
    dose.day_over,
    exhaled_today,
    troubled_today,
    dose.depth_told,
    full_depth_told,
    dose.questions_answered,
    dose.check_answered,
    dose.today_dry,
    dose.coach_rest,
    dose.answers_given,
)
"""The bars of exhale dives as far as they hold for full lungs, and those of a full-lung day."""


def full_plan(record: DiverRecord, *, rules: Rules, at: datetime) -> FullPlan | Refusal:
    """The next full-lung line with its fill window, or a refusal with every bar that stands.

    `at` is the moment of asking.
    """
    state = standing(record, rules=rules, at=at)
    bars = [bar for check in FULL_BARS for bar in check(state, rules, at)]
    supported = supported_of(state)
    goal, pb, ladder = state.goal_m, state.pb_m, state.ladder
    line = None if goal is None else ladder.next_m(goal)
    if line is None or goal is None or pb is None or state.is_goal_reached:
        return _refused(state, bars)
    bars += _line_bars(state, rules, at, line)
    too_little = list(_support_bars(state, rules, line, supported))
    bars += too_little
    if supported is None:
        return _refused(state, bars)
    if not too_little:
        line = down_half(min(line, supported.depth_m, state.limits.depth_m(at)))
    own = spaces_of(record, at)
    fill = None
    if state.lungs is None:
        bars.append(Bar(because=Because.NO_VOLUMES, figure="full.fill_margin_m"))
    elif supported.held_m > supported.fill_m:
        fill = full_fill_window(
            state.lungs, line_m=line, clean_m=supported.held_m, fill_m=supported.fill_m, own=own,
            site=record.site, rules=rules,
        )  # fmt: skip
    if state.lungs is not None and (fill is None or fill.is_empty):
        bars.append(Bar(because=Because.EMPTY_WINDOW, figure="full.fill_margin_m"))
    if bars or fill is None:
        return _refused(state, bars)
    moments = [*dose.interval(state, rules, at), *dose.coach_gap(state, rules, at)]
    until = max((cast(datetime, c.not_before_at) for c in moments), default=None)
    is_step = not ladder.owed
    return FullPlan(
        diver=record.diver,
        line_m=line,
        fill=fill,
        pb_m=pb,
        goal_m=goal,
        supported=supported,
        is_step=is_step,
        clean_days=len(ladder.clean_days),
        days_needed=int(rules["full.clean_days"]),
        not_before_at=until if until is not None and until > at else None,
        turns=TURNS,
        lost=lost_share(record, ladder.last_empty) if ladder.owed else None,
        caps=(
            *progress.coach_depth(state, rules, at),
            *_caps(line, supported, is_step=is_step),
            *moments,
        ),
    )


def _caps(line: float, supported: Supported, *, is_step: bool) -> list[Cap]:
    step = Cap(because=Because.FULL_STEP, figure="full.step_m", depth_m=line)
    again = Cap(because=Because.FULL_REPEAT, figure="full.clean_days", depth_m=line)
    share = "rv_base_share" if supported.exercise is Exercise.RV else "frc_base_share"
    most = Cap(because=Because.SUPPORTED, figure=f"exercise.{share}", depth_m=supported.depth_m)
    return sorted([step if is_step else again, most], key=lambda cap: cap.depth_m or 0.0)


def _line_bars(state: Standing, rules: Rules, at: datetime, line: float) -> Iterator[Bar]:
    """What the line's own depth forbids: the night from an exhale day, and anything new."""
    days = state.exhale_days
    today = state.day_of(at)
    if days and line > rules["rest.full_from_m"]:
        free = days[-1].day + int(rules["rest.full_nights"])
        if days[-1].day < today < free:
            until = date.fromordinal(free)
            yield Bar(because=Because.REST, figure="rest.full_nights", until_on=until)
    if state.ladder.owed:
        return
    if state.ladder.last_day == today:
        yield Bar(because=Because.ONE_FULL_STEP, figure="full.clean_days")
    if state.learning.open:
        yield Bar(because=Because.LEARNING, figure="learn.task_days")
    if state.urge_before or state.bars_new_by_harm(at):
        yield Bar(because=Because.AFTER_URGE, figure="trouble.most")


def _support_bars(
    state: Standing, rules: Rules, line: float, supported: Supported | None
) -> Iterator[Bar]:
    """A step over the best asks for a whole step's support, anything else for its own depth's."""
    pb, ladder = cast(float, state.pb_m), state.ladder
    over_best = not ladder.owed and (ladder.level_m or 0.0) >= down_half(pb)
    asked = pb + rules["full.step_m"] if over_best else line
    if supported is None or supported.depth_m < asked:
        is_rv = state.exercise is Exercise.RV
        figure = "exercise.rv_base_share" if is_rv else "exercise.frc_base_share"
        yield Bar(because=Because.NOT_SUPPORTED, figure=figure)


def lost_share(record: DiverRecord, dive: Dive | None) -> Figure | None:
    """The share of its charge that a full-lung dive which ran out had lost, 0 to 1, with a band.

    What the mouth would have given is the reach of the diver's own dives before it: charge and
    spaces cancel, and 1 - (R(d, f) - 1) / (R - 1) is left, where nothing stays in the mouth.
    Before there are any, published volumes stand for it (`source` names them), with their band.
    None where its depth or fill is not known, or it did not go below its fill.
    """
    if dive is None or dive.depth_m is None:
        return None
    fill_m = _fill_m(record, dive)
    if fill_m is None or dive.depth_m <= fill_m:
        return None
    from planner.reach import asked, reach_of  # numpy is loaded with the first reach

    own = reach_of(record, dive.exercise, at=dive.happened_at - timedelta(microseconds=1))
    if own.trials:
        gave = exp(asked(depth_m=dive.depth_m, fill_m=fill_m, site=record.site))
        ratio = own.ratio
        about, low, high = (
            max(0.0, 1 - gave / (given - 1))
            for given in (ratio.value, ratio.low_or_value, ratio.high_or_value)
        )
        return Figure(value=about, unit="", mark=Mark.HOUSE, low=low, high=high, name="share_lost")
    return _lost_by_volumes(record, dive.depth_m, fill_m)


def _lost_by_volumes(record: DiverRecord, depth_m: float, fill_m: float) -> Figure:
    spaces = spaces_of(record)
    charge, rigid = spaces.charge_ml, spaces.rigid_ml

    def share(charge_ml: float, rigid_ml: float) -> float:
        return share_lost(
            charge_ml=charge_ml, empty_at_m=depth_m, fill_m=fill_m, rigid_ml=rigid_ml,
            residue_ml=spaces.residue_ml, site=record.site,
        )  # fmt: skip

    return Figure(
        value=share(charge.value, rigid.value), unit="", mark=Mark.HOUSE, source=rigid.source,
        low=share(charge.low_or_value, rigid.high_or_value),
        high=share(charge.high_or_value, rigid.low_or_value), name="share_lost",
    )  # fmt: skip


def _fill_m(record: DiverRecord, dive: Dive) -> float | None:
    """Where a full-lung dive's fill was: as stated, else the deep end of what was briefed for it."""
    if dive.fill_m is not None:
        return dive.fill_m
    gap = RULES.session_gap
    told = [
        b.fill_high_m
        for b in record.of(Brief)
        if b.exercise is dive.exercise and b.happened_at <= dive.happened_at <= b.happened_at + gap
    ]
    return told[-1] if told else None


def _refused(state: Standing, bars: list[Bar]) -> Refusal:
    days = state.exhale_days
    last = days[-1].day + int(state.rules["rest.full_nights"]) if days else 0
    return Refusal(
        diver=state.record.diver,
        exercise=Exercise.FULL,
        bars=tuple(bars),
        dives_done=state.dives_done,
        dives_allowed=state.dives_allowed(),
        held_m=state.held_m,
        base_m=state.base_m,
        free_on=date.fromordinal(max(last, state.day_state.last_day)),
    )
