"""Lines as they are typed, through the shorthand and the whole talk, to these rooms and back."""

from dataclasses import replace

import pytest

from planner.record import (
    PB,
    Body,
    Consent,
    Fact,
    Goal,
    Grant,
    Kept,
    Ping,
    ReportedBase,
    Volume,
)
from storage.outcome import AddMember, SetRoom
from tests.bot.talk_views.stage import GROUP, Stage, text_to


@pytest.fixture
def stage() -> Stage:
    stage = Stage()
    stage.members["mara"] = replace(stage.members["mara"], is_admin=True)
    stage.types("mara", "me f 34y 172cm")
    return stage


@pytest.mark.parametrize(
    ("line", "kind", "said"),
    [
        ("me m 41y 180cm", Body, "TLC 7.30 L"),
        ("tlc 5.6", Volume, "TLC 5.60 L measured"),
        ("frc 2.9", Volume, "FRC 2.90 L measured"),
        ("RV 1,4", Volume, "RV 1.40 L measured"),
        ("vc 4.2", Volume, "VC 4.20 L measured"),
        ("mouth 90ml", Volume, "90 ml"),
        ("mask 120ml", Volume, "120 ml"),
        ("noseclip", Volume, "Nose clip"),
        ("pb 38", PB, "PB 38 m"),
        ("goal 45", Goal, "Goal 45 m"),
        ("goal 45 by 2026-09-12", Goal, "12 Sep 2026"),
        ("base frc 18 2026-05", ReportedBase, "counts as 14 m"),
        ("share on", Consent, "Kept from now on"),
        ("share off", Consent, "No category and nothing of how you feel is kept"),
        ("allow ilse", Grant, "ilse may log"),
        ("disallow ilse", Grant, "ilse no longer"),
        ("add noor", Kept, "noor is on the roster"),
    ],
)
def test_a_line_becomes_its_fact_and_its_answer(
    stage: Stage, line: str, kind: type[Fact], said: str
) -> None:
    """Each line of the profile and the roster writes one fact of its kind and is answered."""
    outcome = stage.types("mara", line)
    assert [type(f) for f in outcome.facts] == [kind]
    assert said in text_to(outcome, "p:mara")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("/start", "not medical advice"),
        ("/help", "exh 12 ok"),
        ("week", "Week from Mon 4 May"),
        ("log", "No dives yet"),
        ("ready", "`pb 38`"),
        ("why", "house rule"),
        ("forget", "forget health"),
        ("forget all", "protection goes with it"),
        ("export", "every fact"),
        ("rv 9.9", "TLC"),
        ("forecast", "I need your PB"),
        ("board", "coach alone"),
        ("tell coach", "No coach here"),
    ],
)
def test_a_line_that_only_asks_writes_nothing(stage: Stage, line: str, said: str) -> None:
    """Each line that asks, or that can't be kept, is answered and leaves no fact."""
    outcome = stage.types("mara", line)
    assert (outcome.facts, outcome.changes) == ((), ())
    assert said in text_to(outcome, "p:mara")


def test_the_groups_zone_and_site_are_set_by_what_an_admin_types(stage: Stage) -> None:
    """`zone` and `site` as typed change the room."""
    (zone,) = stage.types("mara", "zone Europe/Berlin", private=False).changes
    assert zone == SetRoom(timezone="Europe/Berlin")
    (site,) = stage.types("mara", "site fresh, rope, 430 m", private=False).changes
    assert isinstance(site, SetRoom)
    assert site.site is not None
    assert (site.site.salt, site.site.gauge, site.site.altitude_m) == (False, False, 430.0)
    (number,) = stage.types("mara", "site emergency 112", private=False).changes
    assert isinstance(number, SetRoom)
    assert number.site is not None
    assert number.site.emergency_number == "112"


def test_somebody_elses_figures_are_not_theirs_to_say(stage: Stage) -> None:
    """A grantee may log dives and nothing else: a PB said for another is refused."""
    stage.types("mara", "allow ilse")
    assert stage.types("ilse", "for mara pb 60").facts == ()
    assert stage.types("ilse", "for mara export").letters[0].document is None


def test_a_diver_without_a_phone_is_set_up_by_typing(stage: Stage) -> None:
    """`add noor` and lines for her, as typed, make her ready for a first session."""
    added = stage.types("mara", "add noor", private=False)
    assert isinstance(added.changes[0], AddMember)
    stage.types("mara", "for noor me f 28y 165cm")
    stage.types("mara", "for noor pb 36")
    text = text_to(stage.types("mara", "for noor goal 42"), "p:mara")
    assert "noor · Goal 42 m" in text
    assert "base 21 m" in text
    granted = stage.types("mara", "allow ilse for noor", private=False)
    assert [type(f) for f in granted.facts] == [Grant]
    assert "noor" in text_to(granted, GROUP)


def test_a_private_word_in_the_group_leaves_the_group_out(stage: Stage) -> None:
    """`week`, `log`, a PB or a body typed in the group reach nobody else."""
    for line in ("week", "log", "pb 38", "me f 34y 172cm", "ready", "export"):
        outcome = stage.types("mara", line, private=False)
        assert text_to(outcome, GROUP) == ""
        assert text_to(outcome, "p:mara")


def test_an_interval_reminder_is_switched_by_typing(stage: Stage) -> None:
    """`ping on` and `ping off` are each one fact."""
    assert [type(f) for f in stage.types("mara", "ping off").facts] == [Ping]
    assert [type(f) for f in stage.types("mara", "ping on").facts] == [Ping]
