"""Lung volumes: bands, what measuring does to them, and what can't be true."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.figure import Mark, OutOfRange
from planner.lungs import Implausible, Lungs, Oddity, lungs_of, predict, with_measured
from planner.record import Body, DiverRecord, Fact, Origin, Sex, Volume, VolumeKind, record_of

WOMAN_50 = predict(sex=Sex.FEMALE, age_y=50, height_m=1.60)
AT = datetime(2026, 7, 6, 9, 0, tzinfo=UTC)

people = st.one_of(
    st.builds(
        lambda age, cm: predict(sex=Sex.MALE, age_y=age, height_m=cm / 100),
        st.integers(18, 70),
        st.integers(155, 195),
    ),
    st.builds(
        lambda age, cm: predict(sex=Sex.FEMALE, age_y=age, height_m=cm / 100),
        st.integers(18, 70),
        st.integers(145, 180),
    ),
)


def facts_record(*said: tuple[type[Fact], dict[str, object]]) -> DiverRecord:
    """A record of facts said a minute apart, in order."""
    facts = []
    for number, (kind, values) in enumerate(said):
        at = AT + timedelta(minutes=number)
        origin = Origin(chat="p", message=number)
        facts.append(
            kind(diver="rosa", happened_at=at, said_at=at, by="rosa", origin=origin, **values)  # type: ignore[arg-type]
        )
    return record_of("rosa", facts, timezone=ZoneInfo("Europe/Madrid"))


def body(age_y: int = 50, height_m: float = 1.60) -> tuple[type[Fact], dict[str, object]]:
    return Body, {"sex": Sex.FEMALE, "age_y": age_y, "height_m": height_m}


def volume(kind: VolumeKind, value: float) -> tuple[type[Fact], dict[str, object]]:
    return Volume, {"volume": kind, "value": value}


@given(people)
def test_predicted_volumes_are_ordered_bands(lungs: Lungs) -> None:
    """Everybody in the valid range has RV < FRC afloat <= FRC < TLC, each inside its own band."""
    rv, afloat, frc, tlc = lungs.rv_l, lungs.frc_afloat_l, lungs.frc_l, lungs.tlc_l
    assert 0 < rv.value < afloat.value <= frc.value < tlc.value
    for figure in (rv, afloat, frc, tlc, lungs.vc_l):
        assert figure.is_band
        assert figure.low_or_value < figure.value < figure.high_or_value
    assert afloat.high == frc.high


@pytest.mark.parametrize(
    ("sex", "age_y", "height_m", "what"),
    [
        (Sex.FEMALE, 9, 1.30, "age"),
        (Sex.MALE, 17, 1.80, "age"),
        (Sex.MALE, 71, 1.80, "age"),
        (Sex.MALE, 30, 1.54, "height"),
        (Sex.MALE, 30, 1.96, "height"),
        (Sex.FEMALE, 30, 1.44, "height"),
        (Sex.FEMALE, 30, 1.81, "height"),
        (Sex.FEMALE, 30, float("nan"), "height"),
    ],
)
def test_outside_the_valid_range_is_an_error(
    sex: Sex, age_y: int, height_m: float, what: str
) -> None:
    """A body that the equations don't cover raises OutOfRange naming what is outside."""
    with pytest.raises(OutOfRange) as error:
        predict(sex=sex, age_y=age_y, height_m=height_m)
    assert error.value.what == what


def test_an_extrapolation_is_stated_and_has_its_own_limits() -> None:
    """On request a tall woman is extrapolated and flagged; a child or a giant never is."""
    tall = predict(sex=Sex.FEMALE, age_y=72, height_m=1.86, extrapolate=True)
    assert tall.extrapolated == ("age", "height")
    for age_y, height_m in ((17, 1.70), (86, 1.70), (30, 2.20), (30, 1.30)):
        with pytest.raises(OutOfRange):
            predict(sex=Sex.FEMALE, age_y=age_y, height_m=height_m, extrapolate=True)


@given(people, st.floats(0.8, 1.2))
def test_a_measured_volume_replaces_and_narrows(lungs: Lungs, share: float) -> None:
    """A measured TLC stands as it is, without a band, and VC's band gets narrower."""
    measured_l = lungs.tlc_l.value * share
    if not lungs.frc_l.value < measured_l:
        return
    own = with_measured(lungs, tlc_l=measured_l)
    assert own.tlc_l.value == measured_l
    assert not own.tlc_l.is_band
    assert own.tlc_l.mark is Mark.MEASURED
    assert own.rv_l.value == lungs.rv_l.value
    assert own.rv_l.mark is Mark.QUOTED
    before = lungs.vc_l.high_or_value - lungs.vc_l.low_or_value
    assert own.vc_l.high_or_value - own.vc_l.low_or_value < before


def test_a_measured_vc_moves_and_narrows_both_its_ends() -> None:
    """VC alone shifts predicted TLC up and RV down by their variances until they differ by it."""
    own = with_measured(WOMAN_50, vc_l=3.6)
    off = 3.6 - (4.77 - 1.696)
    a, b = 0.60**2, 0.35**2
    assert own.tlc_l.value == pytest.approx(4.77 + off * a / (a + b))
    assert own.rv_l.value == pytest.approx(1.696 - off * b / (a + b))
    assert own.tlc_l.value - own.rv_l.value == pytest.approx(3.6)
    half = 1.64 * (a * b / (a + b)) ** 0.5
    assert own.tlc_l.high_or_value - own.tlc_l.value == pytest.approx(half)
    assert own.tlc_l.mark is Mark.QUOTED


def test_two_of_three_give_the_third() -> None:
    """Measured TLC and VC give RV; RV and VC give TLC; TLC and RV give VC, all without a band."""
    assert with_measured(WOMAN_50, tlc_l=5, vc_l=3.5).rv_l.value == pytest.approx(1.5)
    assert with_measured(WOMAN_50, rv_l=1.5, vc_l=3.5).tlc_l.value == pytest.approx(5)
    own = with_measured(WOMAN_50, rv_l=1.5, tlc_l=5)
    assert own.vc_l.value == pytest.approx(3.5)
    assert not own.vc_l.is_band


def test_measuring_one_after_another_is_measuring_at_once() -> None:
    """TLC, then VC, then FRC gives the same lungs as all three together, in any order."""
    once = with_measured(WOMAN_50, tlc_l=5.2, vc_l=3.6, frc_l=2.7)
    in_turn = with_measured(with_measured(with_measured(WOMAN_50, vc_l=3.6), frc_l=2.7), tlc_l=5.2)
    assert in_turn == once


@pytest.mark.parametrize(
    ("said", "why", "kind"),
    [
        ({"rv_l": 9.9}, Oddity.RV_NOT_BELOW_TLC, VolumeKind.RV),
        ({"rv_l": 4.8}, Oddity.RV_NOT_BELOW_TLC, VolumeKind.RV),
        ({"tlc_l": 1.5}, Oddity.RV_NOT_BELOW_TLC, VolumeKind.TLC),
        ({"frc_l": 1.2}, Oddity.FRC_NOT_BETWEEN, VolumeKind.FRC),
        ({"frc_l": 5.0}, Oddity.FRC_NOT_BETWEEN, VolumeKind.FRC),
        ({"rv_l": 2.9}, Oddity.FRC_NOT_BETWEEN, VolumeKind.RV),
        ({"rv_l": 0.1}, Oddity.OUTSIDE_RANGE, VolumeKind.RV),
        ({"tlc_l": 13.0}, Oddity.OUTSIDE_RANGE, VolumeKind.TLC),
        ({"vc_l": 11.0}, Oddity.OUTSIDE_RANGE, VolumeKind.VC),
        ({"vc_l": 0.2}, Oddity.OUTSIDE_RANGE, VolumeKind.VC),
        ({"tlc_l": 5.0, "rv_l": 1.5, "vc_l": 4.2}, Oddity.VC_DISAGREES, VolumeKind.VC),
        ({"tlc_l": 5.0, "vc_l": 4.9}, Oddity.VC_DISAGREES, VolumeKind.VC),
        ({"rv_l": float("nan")}, Oddity.RV_NOT_BELOW_TLC, VolumeKind.RV),
    ],
)
def test_what_cant_be_true_is_refused_with_its_reason(
    said: dict[str, float], why: Oddity, kind: VolumeKind
) -> None:
    """An implausible volume raises Implausible with the reason, the volume and what was expected."""
    with pytest.raises(Implausible) as error:
        with_measured(WOMAN_50, **said)
    assert (error.value.why, error.value.kind) == (why, kind)
    assert error.value.low_l < error.value.high_l
    assert not error.value.low_l <= error.value.value_l < error.value.high_l


def test_facts_tell_the_lungs_by_the_latest_of_each() -> None:
    """A later body and a later volume replace earlier ones, and `at` looks back."""
    record = facts_record(
        body(), volume(VolumeKind.RV, 1.5), volume(VolumeKind.RV, 1.3), body(51, 1.61)
    )
    now = lungs_of(record)
    assert now is not None
    assert (now.rv_l.value, now.age_y) == (1.3, 51)
    then = lungs_of(record, AT + timedelta(minutes=1))
    assert then is not None
    assert (then.rv_l.value, then.age_y) == (1.5, 50)
    assert lungs_of(record, AT - timedelta(minutes=1)) is None


def test_no_body_no_lungs_unless_all_was_measured() -> None:
    """Without sex, age and height there are lungs only from measured TLC, RV and FRC."""
    assert lungs_of(facts_record(volume(VolumeKind.RV, 1.5))) is None
    own = lungs_of(
        facts_record(
            volume(VolumeKind.RV, 1.5), volume(VolumeKind.VC, 4.0), volume(VolumeKind.FRC, 2.9)
        )
    )
    assert own is not None
    assert own.tlc_l.value == pytest.approx(5.5)
    assert not own.frc_l.is_band


def test_of_contradicting_facts_the_newest_stand() -> None:
    """An old TLC that a newer RV contradicts is dropped and named, and nothing raises."""
    own = lungs_of(
        facts_record(
            body(),
            volume(VolumeKind.TLC, 2.3),
            volume(VolumeKind.FRC, 3.0),
            volume(VolumeKind.RV, 2.5),
        )
    )
    assert own is not None
    assert own.dropped == (VolumeKind.TLC,)
    assert (own.rv_l.value, own.frc_l.value) == (2.5, 3.0)


@given(
    st.lists(
        st.tuples(st.sampled_from(VolumeKind), st.floats(-5, 500, allow_nan=False)), max_size=8
    ),
    st.booleans(),
    st.integers(0, 120),
    st.floats(0.3, 3.0),
)
def test_lungs_of_never_raises(
    volumes: list[tuple[VolumeKind, float]], with_body: bool, age_y: int, height_m: float
) -> None:
    """Whatever was recorded, the fold gets lungs in order, or none."""
    said = [volume(kind, value) for kind, value in volumes]
    if with_body:
        said.insert(len(said) // 2, body(age_y, height_m))
    own = lungs_of(facts_record(*said))
    if own is not None:
        assert 0 < own.rv_l.value < own.frc_l.value < own.tlc_l.value
