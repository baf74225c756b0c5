"""How facts become a record: order within an instant, versions that are struck, what was known when."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import permutations

import pytest

from planner.facts import Fact, Fit, Goal, Harm, Strike
from planner.pressure import GAUGE_AT_SEA, ROPE_AT_SEA
from planner.record import (
    Body,
    Dive,
    Ending,
    Exercise,
    Origin,
    Reason,
    Sex,
    Volume,
    VolumeKind,
    day_begins_at,
    record_of,
)
from planner.spaces import Spaces, spaces, spaces_of
from tests.planner.season import DIVER, ZONE

AT = datetime(2026, 5, 7, 9, tzinfo=UTC)


def fact(kind: type, *, chat: str = "g:1", message: int = 1, line: int = 0, edit: int = 0,
         minutes: float = 0, diver: str = DIVER, **fields: object) -> Fact:  # fmt: skip
    at = AT + timedelta(minutes=minutes)
    return kind(
        diver=diver, by=diver, happened_at=at, said_at=at,
        origin=Origin(chat=chat, message=message, line=line, edit=edit), **fields,
    )  # fmt: skip


def strike(of: Fact, *, edit: int, minutes: float = 5, message: int = 99) -> Fact:
    return fact(Strike, minutes=minutes, message=message, struck=replace(of.origin, edit=edit))


def test_of_one_instant_what_was_heard_first_comes_first() -> None:
    """Facts of one second stand by message, chat, line and version, however they arrive; else by time alone."""
    ordered = [
        fact(Fit, ok=True, chat="z:9", message=9, minutes=-1),
        fact(Fit, ok=True, chat="p:1", message=1, line=7),
        fact(Fit, ok=True, chat="a:1", message=2, line=3),
        fact(Fit, ok=True, chat="g:1", message=2, line=1),
        fact(Fit, ok=True, chat="g:1", message=2, line=2),
        fact(Fit, ok=True, chat="a:1", message=1, minutes=1),
    ]
    for mixed in permutations(ordered):
        assert list(record_of(DIVER, mixed, timezone=ZONE).facts) == ordered
    versions = [fact(Fit, ok=True, line=n // 2, edit=n % 2) for n in range(4)]
    for mixed in permutations(versions):
        assert list(record_of(DIVER, mixed, timezone=ZONE).facts) == versions


@pytest.mark.parametrize(("struck", "stands"), [(-1, [0, 1, 2]), (0, [1, 2]), (1, [2]), (2, [])])
def test_a_strike_takes_back_what_a_line_said_up_to_its_version(
    struck: int, stands: list[int]
) -> None:
    """Versions up to the one named are gone, later ones stand, other lines are left alone."""
    versions = [fact(Fit, ok=True, edit=n, minutes=n) for n in range(3)]
    other = fact(Fit, ok=False, line=1)
    told = [*versions, other, *([strike(versions[0], edit=struck)] if struck >= 0 else [])]
    record = record_of(DIVER, told, timezone=ZONE)
    assert [f.origin.edit for f in record.facts if f.origin.line == 0] == stands
    assert other in record.facts
    assert not any(isinstance(f, Strike) for f in record.facts)


def test_of_two_strikes_the_later_version_counts_in_either_order() -> None:
    """Striking version 0 after version 1 brings nothing back."""
    versions = [fact(Fit, ok=True, edit=n, minutes=n) for n in range(3)]
    one = strike(versions[0], edit=1, minutes=5, message=98)
    two = strike(versions[0], edit=0, minutes=6)
    for strikes in ([one, two], [two, one]):
        record = record_of(DIVER, [*versions, *strikes], timezone=ZONE)
        assert [f.origin.edit for f in record.facts] == [2]


def test_harm_is_never_struck() -> None:
    """A report of harm stands whatever is taken back on its line; what else it said goes."""
    harm = fact(Harm, row="8", level="doctor-today", days=1.0, doctor=True)
    fit = fact(Fit, ok=True)
    record = record_of(DIVER, [harm, fit, strike(harm, edit=0)], timezone=ZONE)
    assert record.facts == (harm,)


def test_what_was_said_by_an_instant_is_known_then() -> None:
    """`known_at` takes the instant itself in, and leaves out a strike that came later."""
    one = fact(Fit, ok=True)
    told = [one, strike(one, edit=0, minutes=5)]
    known = {
        minutes: len(record_of(DIVER, told, timezone=ZONE, known_at=AT + timedelta(minutes=minutes)).facts)
        for minutes in (-1, 0, 4, 5)
    }  # fmt: skip
    assert known == {-1: 0, 0: 1, 4: 1, 5: 0}


def test_a_record_is_of_one_diver_at_one_site() -> None:
    """Somebody else's facts are no part of it; zone and site are the group's; until keeps all of them."""
    mine, later = fact(Goal, depth_m=40.0), fact(Goal, depth_m=42.0, minutes=2, message=2)
    theirs = fact(Goal, depth_m=50.0, diver="noor")
    record = record_of(DIVER, [later, theirs, mine], timezone=ZONE, site=ROPE_AT_SEA)
    assert (record.diver, record.facts, record.site) == (DIVER, (mine, later), ROPE_AT_SEA)
    early = record.until(AT)
    assert (early.diver, early.facts, early.site, early.timezone) == (
        DIVER, (mine,), ROPE_AT_SEA, ZONE,
    )  # fmt: skip
    assert record.until(later.happened_at) is record
    assert record_of(DIVER, [], timezone=ZONE).site == GAUGE_AT_SEA
    assert record.latest(Goal) == later
    assert list(record.of(Goal)) == [mine, later]
    assert record.latest(Fit) is None


def test_a_local_day_begins_at_its_midnight() -> None:
    """Lisbon in May is an hour ahead of UTC, in January it isn't."""
    begins = day_begins_at(AT.date(), timezone=ZONE)
    assert begins == datetime(2026, 5, 6, 23, tzinfo=UTC)
    assert begins.tzinfo is UTC
    assert day_begins_at(datetime(2026, 1, 7, tzinfo=UTC).date(), timezone=ZONE) == datetime(
        2026, 1, 7, tzinfo=UTC
    )
    record = record_of(DIVER, [], timezone=ZONE)
    assert record.local_day(begins) == AT.date()
    assert record.local_day(begins - timedelta(seconds=1)) == AT.date() - timedelta(days=1)


@pytest.mark.parametrize(
    ("ending", "reason", "troubled", "pressure"),
    [
        (Ending.CLEAN, None, False, False),
        (Ending.EARLY, None, False, False),
        (Ending.HARD, None, True, False),
        (Ending.STOP, None, True, True),
        (Ending.STOP, Reason.UNSTATED, True, True),
        (Ending.STOP, Reason.THROAT, True, True),
        (Ending.STOP, Reason.LEAK, True, False),
        (Ending.STOP, Reason.URGE, True, False),
        (Ending.STOP, Reason.COLD, False, False),
    ],
)
def test_which_endings_are_trouble_and_which_are_pressure(
    ending: Ending, reason: Reason | None, troubled: bool, pressure: bool
) -> None:
    """Hard and every stop but cold is trouble; a stop without a reason counts as pressure."""
    dive = fact(Dive, exercise=Exercise.FRC, depth_m=9.0, ending=ending, reason=reason)
    assert isinstance(dive, Dive)
    assert (dive.is_troubled, dive.is_pressure_stop) == (troubled, pressure)


# what a mouth and a mask hold, by the facts


def volume(kind: VolumeKind, value: float, *, minutes: float = 0) -> Fact:
    return fact(Volume, minutes=minutes, message=int(minutes) + 10, volume=kind, value=value)


def of(*facts: Fact, at: datetime | None = None) -> Spaces:
    return spaces_of(record_of(DIVER, facts, timezone=ZONE), at)


def test_the_latest_mouth_and_mask_by_then_stand() -> None:
    """Each replaces the one before from the moment it happened, and a later sex as well."""
    facts = [
        fact(Body, sex=Sex.MALE, age_y=30, height_m=1.8),
        volume(VolumeKind.MOUTH, 90, minutes=1),
        volume(VolumeKind.MASK, 120, minutes=2),
        volume(VolumeKind.MOUTH, 80, minutes=3),
        volume(VolumeKind.MASK, 0, minutes=4),
        volume(VolumeKind.TLC, 7, minutes=5),
    ]
    expected = {
        -1: spaces(), 0: spaces(sex=Sex.MALE), 1: spaces(sex=Sex.MALE, charge_ml=90),
        2: spaces(sex=Sex.MALE, charge_ml=90, mask_ml=120),
        3: spaces(sex=Sex.MALE, charge_ml=80, mask_ml=120),
        4: spaces(sex=Sex.MALE, charge_ml=80), 5: spaces(sex=Sex.MALE, charge_ml=80),
    }  # fmt: skip
    for minutes, own in expected.items():
        assert of(*facts, at=AT + timedelta(minutes=minutes)) == own, minutes
    assert of(*facts) == expected[5]


@pytest.mark.parametrize(
    ("kind", "value", "taken"),
    [
        (VolumeKind.MOUTH, 0.9, False), (VolumeKind.MOUTH, 1, True), (VolumeKind.MOUTH, 500, True),
        (VolumeKind.MOUTH, 500.1, False), (VolumeKind.MASK, -0.1, False),
        (VolumeKind.MASK, 400, True), (VolumeKind.MASK, 400.1, False),
    ],
)  # fmt: skip
def test_a_space_that_nobody_has_is_left_out(kind: VolumeKind, value: float, taken: bool) -> None:
    """Outside the valid range it is as if it had not been said; at its ends it is taken."""
    assert (of(volume(kind, value)) != of()) is taken


def test_spaces_by_sex_and_what_is_measured() -> None:
    """Held water 71.2 and 55.4 ml; both ears 17.1 ml, with nose 31.0 and sinuses 90.1 or 72.5 at the upper end."""
    # Keys ears-2000-2003, nose-casts, kawarai-1999, held-water-2012; without a sex the smaller charge
    # and the larger sinuses (H).
    man, woman, nobody = spaces(sex=Sex.MALE), spaces(sex=Sex.FEMALE), spaces()
    assert [own.charge_ml.value for own in (man, woman, nobody)] == [71.2, 55.4, 55.4]
    assert [own.rigid_ml.value for own in (man, woman, nobody)] == [17.1] * 3
    assert [own.rigid_ml.low for own in (man, woman, nobody)] == [9.3] * 3
    assert [own.rigid_ml.high for own in (man, woman, nobody)] == pytest.approx(
        [138.2, 120.6, 138.2]
    )
    worn = spaces(sex=Sex.MALE, charge_ml=90, mask_ml=100)
    assert (worn.rigid_ml.low, worn.rigid_ml.value) == pytest.approx((109.3, 117.1))
    assert worn.rigid_ml.high == pytest.approx(238.2)
    charge = worn.charge_ml
    assert (charge.value, charge.low, charge.high, charge.unit, charge.name) == (
        90, 90, 90, "ml", "charge",
    )  # fmt: skip
    assert (charge.mark.value, charge.source) == ("M", None)
    rigid = worn.rigid_ml
    assert (rigid.unit, rigid.name, rigid.mark.value, rigid.source) == (
        "ml", "rigid", "P", "ears-2000-2003",
    )  # fmt: skip
