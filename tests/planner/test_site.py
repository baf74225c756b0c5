"""A group's site reaches what it changes: salt or fresh, gauge or rope, the altitude."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planner.full import FullPlan, full_plan, lost_share, supported_of
from planner.ledger import ledger
from planner.plan import Plan, plan, standing
from planner.pressure import GAUGE_AT_SEA, ROPE_AT_SEA, Site
from planner.reach import reach_of
from planner.ready import ready
from planner.record import DiverRecord, Exercise
from planner.rules import RULES
from planner.support import BoundKind
from tests.planner.season import Season
from tests.planner.test_full import full, pia

HIGH_LAKE_BY_ROPE = Site(salt=False, gauge=False, altitude_m=1000)
HIGH = Site(altitude_m=1000)


def figures(site: Site) -> dict[str, float]:
    """What a diver of 17.5 m FRC is told at a site, figure by figure, metres or a ratio."""
    season = pia().morning("2026-07-04")
    record: DiverRecord = replace(season.record(), site=site)
    first = replace(Season(Exercise.FRC).profile(pb_m=32, goal_m=42).record(), site=site)
    fill_first = standing(first, rules=RULES, at=season.at).tracks[Exercise.FRC].first_m
    found = ready(record, rules=RULES, at=season.at)
    now = full_plan(record, rules=RULES, at=season.at)
    next_one = plan(record, rules=RULES, at=season.at)
    assert found is not None
    assert isinstance(now, FullPlan)
    assert isinstance(next_one, Plan)
    bounds = {b.kind: b.depth_m for b in found.bounds}
    lungs = standing(record, rules=RULES, at=season.at).lungs
    assert lungs is not None
    gas = ledger(lungs, exercise=Exercise.FRC, depth_m=17.5, fill_m=7, site=site)
    return {
        "first": fill_first,
        "fill": next_one.fill.high_m,
        "reach": reach_of(record, Exercise.FRC).ratio.value,
        "full fill, deep end": now.fill.high_m,
        "full fill, shallow end": now.fill.low_m,
        "rule": bounds[BoundKind.RULE],
        "chest": bounds[BoundKind.CHEST],
        "mouth": bounds[BoundKind.MOUTH],
        "compression": gas.compression.value,
        "latest fill": gas.latest_fill_m.value,
    }


def test_by_rope_in_a_lake_at_1000_m_the_figures_move_as_pressure_does() -> None:
    """Lungs reach RV at a lesser depth: fills come sooner, the chest is pressed more, a ratio is larger."""
    sea, lake = figures(GAUGE_AT_SEA), figures(HIGH_LAKE_BY_ROPE)
    for less in ("full fill, deep end", "compression", "latest fill"):
        assert lake[less] < sea[less], less
    for no_more in ("first", "fill"):
        assert lake[no_more] <= sea[no_more], no_more
    assert lake["reach"] > sea["reach"]
    assert lake["rule"] == sea["rule"] == 35  # common practice speaks of metres alone
    assert lake["chest"] != pytest.approx(sea["chest"], abs=0.1)
    assert lake["mouth"] != pytest.approx(sea["mouth"], abs=0.1)


def test_a_gauge_does_not_mind_the_water() -> None:
    """On a gauge a metre is a pressure: fresh water changes no figure, an altitude does."""
    assert figures(Site(salt=False)) == figures(GAUGE_AT_SEA)
    assert figures(HIGH) != figures(GAUGE_AT_SEA)


def test_by_rope_fresh_water_presses_less() -> None:
    """The same metres of rope ask a smaller ratio and press the chest less in fresh water."""
    salt, fresh = figures(ROPE_AT_SEA), figures(Site(salt=False, gauge=False))
    assert fresh["reach"] < salt["reach"]
    assert fresh["compression"] > salt["compression"]
    assert fresh["latest fill"] > salt["latest fill"]


def test_what_is_supported_and_lost_is_read_at_the_site() -> None:
    """The least of the bounds and the share lost are those of the site's own pressures."""
    season = full(pia().morning("2026-07-04"), 31, "empty")
    sea, lake = (replace(season.record(), site=site) for site in (GAUGE_AT_SEA, HIGH_LAKE_BY_ROPE))
    chests = [
        next(b.depth_m for b in found.bounds if b.kind is BoundKind.CHEST)
        for record in (sea, lake)
        if (found := supported_of(standing(record, rules=RULES, at=season.at))) is not None
    ]
    assert chests[0] != pytest.approx(chests[1], abs=0.1)
    losses = [lost_share(record, record.dives[-1]) for record in (sea, lake)]
    assert losses[0] is not None
    assert losses[1] is not None
    # what is asked of the mouth is more at altitude, so less of it was lost
    assert losses[1].value < losses[0].value
