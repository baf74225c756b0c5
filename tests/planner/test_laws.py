"""The laws of the policy, as properties over random seasons of invented divers."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.agenda import agenda
from planner.debrief import debrief
from planner.plan import CHECKS, Plan, plan, settled_m, standing
from planner.reasons import Because
from planner.record import Dive, Ending, Exercise, Fact, Harm, Origin, Reason, Strike, record_of
from planner.rules import RULES, Loosened
from planner.standing import Standing, folded
from tests.planner.season import DIVER, ZONE, Season

HARD = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
ENDINGS = ("clean",) * 8 + (
    "hard", "early", "leak", "empty", "swallow", "ears", "stuck", "sternum", "throat", "urge",
    "cold", "other", "unstated",
)  # fmt: skip


def play(
    seed: int, *, days: int, exercise: Exercise | None = None, obedient: bool = False
) -> tuple[Season, list[datetime]]:
    """A season of a diver who mostly follows the targets; and the instant after each dive."""
    rng = random.Random(seed)
    exercise = exercise or rng.choice([Exercise.FRC, Exercise.RV])
    frc = exercise is Exercise.FRC
    season = Season(exercise).profile(
        pb_m=36 if frc else 54, goal_m=rng.choice([40, 46]) if frc else 65
    )
    if rng.random() < 0.5:
        season.reported(rng.uniform(8, 18) if frc else rng.uniform(4, 9), date(2026, 1, 2))
    day = date(2026, 1, 5)
    moments = []
    for _ in range(days):
        season.morning(day.isoformat())
        for _ in range(rng.randint(1, 6)):
            target = season.next()
            ending = rng.choice(ENDINGS)
            if target is None:
                if obedient or rng.random() < 0.8:
                    break
                target = rng.uniform(2, 10)
            depth = target
            if ending not in ("clean", "hard"):
                depth = target * rng.uniform(0.3, 1)
            elif not obedient and rng.random() < 0.1:
                depth = target + rng.choice([-2, -0.5, 0.4, 2])
            season.dive(round(max(depth, 0.5), 1), ending)
            moments.append(season.at + timedelta(seconds=1))
        season.at += timedelta(minutes=1)
        free = date.fromisoformat(season.free_on())
        skip = rng.choice([0, 0, 0, 1, 5, 16, 30])
        day = max(free, day + timedelta(days=1)) + timedelta(days=skip)
    return season, moments


def opening_m(facts: list[Fact], at: datetime) -> float:
    """Where the next session would open, on a day with nothing in its way."""
    known = [f for f in facts if f.happened_at <= at]
    state = standing(record_of(DIVER, known, timezone=ZONE), rules=RULES, at=at)
    ahead = state.copy()
    ahead.arrive(datetime.combine(state.free_on, at.timetz()) + timedelta(hours=6))
    assert ahead.track is not None
    return ahead.track.opening_m(ahead.day_state.start_m)


@HARD
@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_any_order_of_arrival(seed: int, shuffle: int) -> None:
    """The same facts in any order of arrival give the same plan, agenda and debrief."""
    season, _ = play(seed, days=4)
    at = season.at
    facts = list(season.facts)
    random.Random(shuffle).shuffle(facts)
    one = season.record()
    other = record_of(DIVER, facts, timezone=ZONE)
    assert one.facts == other.facts
    assert plan(one, rules=RULES, at=at) == plan(other, rules=RULES, at=at)
    assert agenda(one, rules=RULES, at=at) == agenda(other, rules=RULES, at=at)
    assert debrief(one, rules=RULES, at=at) == debrief(other, rules=RULES, at=at)


@HARD
@given(st.integers(0, 10**6))
def test_undo_is_never_said(seed: int) -> None:
    """A struck line leaves the record as if it had never been said."""
    season, _ = play(seed, days=3)
    dives = [f for f in season.facts if isinstance(f, Dive)]
    gone = dives[seed % len(dives)]
    without = [f for f in season.facts if f is not gone]
    strike = Strike(
        diver=DIVER, happened_at=season.at, said_at=season.at, by=DIVER,
        origin=Origin(chat="g:1", message=10**6), struck=gone.origin,
    )  # fmt: skip
    struck = record_of(DIVER, [*season.facts, strike], timezone=ZONE)
    assert struck.facts == record_of(DIVER, without, timezone=ZONE).facts


@HARD
@given(
    st.integers(0, 10**6),
    st.sampled_from(["hard", "leak", "sternum", "other", "unstated"]),
    st.floats(0.3, 1),
)
def test_a_fault_never_raises(seed: int, fault: str, share: float) -> None:
    """A stop or hard dive in place of a clean one never raises held, an opening, or a target that both leave."""
    season, _ = play(seed, days=4)
    clean = [
        i for i, f in enumerate(season.facts) if isinstance(f, Dive) and f.ending is Ending.CLEAN
    ]
    if not clean:
        return
    which = clean[seed % len(clean)]
    dive = season.facts[which]
    assert isinstance(dive, Dive)
    assert dive.depth_m is not None
    if fault == "hard":
        worse = replace(dive, ending=Ending.HARD)
    else:
        worse = replace(
            dive, ending=Ending.STOP, reason=Reason(fault), depth_m=round(dive.depth_m * share, 1)
        )
    facts = list(season.facts)
    facts[which] = worse
    before = season.record()
    after = record_of(DIVER, facts, timezone=ZONE)
    # later faults are held against what each of the two held by then, and a later dive that falls
    # short of one target may reach the other: the law speaks of what follows before either
    for number, fact in enumerate(season.facts[which:]):
        later_fault = isinstance(fact, Dive) and (fact.is_troubled or fact.ending is Ending.EARLY)
        if number and (later_fault or not _same_day(fact, dive)):
            break
        at = fact.happened_at + timedelta(seconds=1)
        one, other = standing(before, rules=RULES, at=at), standing(after, rules=RULES, at=at)
        if one.held_m is not None and other.held_m is not None:
            assert other.held_m <= one.held_m
        assert (other.held_m or 0) <= (one.held_m or other.first_m)
        assert opening_m(facts, at) <= opening_m(season.facts, at)
        a, b = plan(before, rules=RULES, at=at), plan(after, rules=RULES, at=at)
        if isinstance(a, Plan) and isinstance(b, Plan):
            assert b.depth_m <= a.depth_m
            if a.not_before_at is not None and not number:
                assert b.not_before_at is not None
                assert b.not_before_at >= a.not_before_at
        if isinstance(b, Plan):
            bars = () if isinstance(a, Plan) else {bar.because for bar in a.bars}
            assert set(bars) <= {Because.CAP, Because.TOO_DEEP, Because.UNDER_TWO}


def _same_day(one: Fact, other: Fact) -> bool:
    return one.happened_at.date() == other.happened_at.date()


@HARD
@given(st.integers(0, 10**6))
def test_every_plan_keeps_the_limits(seed: int) -> None:
    """Every target keeps the ceiling, the cap, the floor, one new depth a session (two shallow ones for RV) and rest."""
    season, moments = play(seed, days=5, obedient=True)
    record = season.record()
    new_depths: dict[tuple[date, float | None], set[float]] = {}
    for at in moments:
        said = plan(record, rules=RULES, at=at)
        if not isinstance(said, Plan):
            continue
        state = standing(record, rules=RULES, at=at)
        assert state.base_m is not None
        assert RULES["held.least_m"] <= said.depth_m <= state.base_m
        assert state.dives_done < state.dives_allowed(said.depth_m) <= RULES["cap.most"]
        assert said.dive_number == state.dives_done + 1
        start = state.day_state.start_m
        if said.is_new_depth:
            new_depths.setdefault((record.local_day(at), start), set()).add(said.depth_m)
        assert all(c.depth_m is None or c.depth_m >= said.depth_m for c in said.caps)
    for (_, start), depths in new_depths.items():
        both_shallow = (
            season.exercise is Exercise.RV and max(depths) < RULES["step.rv_two_new_above_m"]
        )
        assert len(depths) <= (2 if both_shallow else 1), (start, depths)


@HARD
@given(st.integers(0, 10**6))
def test_exhale_days_keep_their_rest(seed: int) -> None:
    """A diver who follows the targets never has more than two exhale days in seven, nor two without two nights."""
    season, _ = play(seed, days=6, obedient=True)
    state = standing(season.record(), rules=RULES, at=season.at)
    days = [d.day for d in state.exhale_days]
    for one, two in pairwise(days):
        assert two - one >= RULES["rest.nights"]
    for one, three in zip(days, days[2:], strict=False):
        assert three - one >= RULES["rest.days_in"]


@HARD
@given(st.integers(0, 10**6), st.sampled_from(sorted(RULES)))
def test_tightened_rules_never_permit_more(seed: int, name: str) -> None:
    """One figure moved to its careful side never gives a deeper target, or a target where there was none."""
    rule = RULES.rule(name)
    if rule.careful == "fixed" or name in {"session.no_flying_h"}:
        return
    season, moments = play(seed, days=2, obedient=True)
    value = RULES[name] + (-rule.step if rule.careful == "lower" else rule.step)
    tight = RULES.tightened({name: value})
    record = season.record()
    at = moments[0] if moments else season.at
    loose_says, tight_says = plan(record, rules=RULES, at=at), plan(record, rules=tight, at=at)
    if isinstance(tight_says, Plan):
        assert isinstance(loose_says, Plan)
        assert tight_says.depth_m <= loose_says.depth_m


@pytest.mark.parametrize("name", sorted(RULES))
def test_loosening_raises(name: str) -> None:
    """A figure moved to its careless side, or a fixed one moved at all, is an error."""
    rule = RULES.rule(name)
    worse = RULES[name] + (rule.step if rule.careful == "lower" else -rule.step)
    with pytest.raises(Loosened):
        RULES.tightened({name: worse})


@HARD
@given(st.integers(0, 10**6))
def test_no_target_while_a_bar_stands(seed: int) -> None:
    """Whenever any check bars, the planner refuses and names it."""
    season, moments = play(seed, days=3)
    record = season.record()
    for at in moments:
        state = standing(record, rules=RULES, at=at)
        barred = [b for c in CHECKS for b in c(state, RULES, at) if not hasattr(b, "depth_m")]
        said = plan(record, rules=RULES, at=at)
        if barred:
            assert not isinstance(said, Plan)
            assert set(barred) <= set(said.bars)


@HARD
@given(
    st.integers(0, 10**6),
    st.sampled_from(["doctor-today", "call-now", "day-over", "practice-over"]),
)
def test_one_more_harm_never_helps(seed: int, level: str) -> None:
    """One more report of harm never gives a target where there was none, nor a deeper one."""
    season, moments = play(seed, days=3)
    if not moments:
        return
    at = moments[seed % len(moments)]
    harm = Harm(
        diver=DIVER, happened_at=at, said_at=at, by=DIVER, origin=Origin(chat="p:mara", message=10**6),
        row="6", level=level, days=7, doctor=level in ("doctor-today", "call-now"),
    )  # fmt: skip
    hurt = record_of(DIVER, [*season.facts, harm], timezone=ZONE)
    for moment in [at, *moments]:
        a, b = plan(season.record(), rules=RULES, at=moment), plan(hurt, rules=RULES, at=moment)
        if isinstance(b, Plan):
            assert isinstance(a, Plan)
            assert b.depth_m <= a.depth_m


@HARD
@given(st.integers(0, 10**6))
def test_a_fold_gone_on_with_is_a_fold_afresh(seed: int) -> None:
    """Going on with a kept fold gives what folding every fact afresh gives."""
    season, _ = play(seed, days=3)
    for count in range(4, len(season.facts) + 1):
        grown = record_of(DIVER, season.facts[:count], timezone=ZONE)
        at = grown.facts[-1].happened_at
        kept = standing(grown, rules=RULES, at=at)
        afresh = folded(grown, rules=RULES, until_at=at, settle=settled_m)
        afresh.arrive(at)
        assert kept.briefed == afresh.briefed
        assert kept.held_m == afresh.held_m
        assert kept.free_on == afresh.free_on
        assert settled_m(kept, at) == settled_m(afresh, at)


@HARD
@given(st.integers(0, 10**6), st.lists(st.integers(-300, 300), min_size=2, max_size=12))
def test_what_was_asked_before_changes_no_answer(seed: int, hours: list[int]) -> None:
    """Where a diver stands at an instant is what a fold afresh says, whichever instants were asked before."""
    season, _ = play(seed, days=3)
    record = season.record()
    for at in (season.at + timedelta(hours=h) for h in hours):
        afresh = folded(record, rules=RULES, until_at=at, settle=settled_m)
        afresh.arrive(at)
        kept = standing(record, rules=RULES, at=at)
        assert kept.briefed == afresh.briefed
        assert (kept.held_m, kept.free_on) == (afresh.held_m, afresh.free_on)
        assert settled_m(kept, at) == settled_m(afresh, at)


def test_a_plan_is_the_same_at_another_clock() -> None:
    """The same instant in another zone gives the same plan."""
    season, _ = play(7, days=2)
    at = season.at
    assert plan(season.record(), rules=RULES, at=at) == plan(
        season.record(), rules=RULES, at=at.astimezone(UTC)
    )


@given(
    zone=st.sampled_from(
        ["Europe/Lisbon", "America/Sao_Paulo", "Asia/Beirut", "Pacific/Apia", "America/Havana"]
    ),
    hours=st.lists(st.integers(0, 24 * 365 * 20), min_size=1, max_size=40),
)
def test_a_local_day_is_the_calendars_whatever_was_asked_before(
    zone: str, hours: list[int]
) -> None:
    """The local day of an instant is the zone's calendar day, in any order of asking and at any change of clocks."""
    where = ZoneInfo(zone)
    fold = Standing(record_of("mara", [], timezone=where), RULES)
    for at in (datetime(2005, 1, 1, tzinfo=UTC) + timedelta(hours=h) for h in hours):
        assert fold.day_of(at) == at.astimezone(where).toordinal()
