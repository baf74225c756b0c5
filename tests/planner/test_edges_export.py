"""What an exported file may hold, value by value, and what is said of one that can't be read."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import pytest

from planner.export import EXAMPLE, FORM, ExportError, read_export
from planner.record import Dive, Ending, Exercise, Fact, Fit, Reason, Sex

AT = "2026-05-07T09:00:00+01:00"
CARRIED = {"happened_at": AT, "said_at": "2026-05-07T09:05:00+01:00", "by": "ana"}


def told(facts: list[object], dives: list[object]) -> str:
    return json.dumps(
        {"form": FORM, "diver": "mara", "timezone": "Europe/Lisbon", "facts": facts, "dives": dives}
    )


def fact(kind: str, **values: object) -> dict[str, object]:
    return {"kind": kind, **CARRIED, "values": values}


def only(text: str) -> Fact:
    (one,) = read_export(text).facts
    return one


def refused(text: str) -> str:
    with pytest.raises(ExportError) as caught:
        read_export(text)
    return str(caught.value)


def test_a_fact_keeps_who_said_it_and_when() -> None:
    """Diver, sayer and both instants come back, in UTC; the file's order is the order of messages."""
    one, two = read_export(told([fact("Fit", ok=True), fact("Fit", ok=False)], [])).facts
    assert (one.diver, one.by) == ("mara", "ana")
    assert one.happened_at == datetime(2026, 5, 7, 8, tzinfo=UTC)
    assert one.happened_at.tzinfo is UTC
    assert one.said_at == datetime(2026, 5, 7, 8, 5, tzinfo=UTC)
    assert [fact.origin.message for fact in (one, two)] == [1, 2]
    assert {fact.origin.chat for fact in (one, two)} == {"export"}
    assert read_export(told([], [])).timezone.key == "Europe/Lisbon"


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (fact("Goal", depth_m=40), {"depth_m": 40.0, "by_on": None}),
        (fact("Goal", depth_m=40.5, by_on="2026-09-01"), {"by_on": date(2026, 9, 1)}),
        (fact("Goal", depth_m=40, by_on=None), {"by_on": None}),
        (fact("Fit", ok=False), {"ok": False}),
        (
            fact("Body", sex="f", age_y=34, height_m=1.72),
            {"sex": Sex.FEMALE, "age_y": 34, "height_m": 1.72},
        ),
        (
            fact("ReportedBase", exercise="rv", depth_m=9, on="2026-05-01"),
            {"exercise": Exercise.RV, "depth_m": 9.0, "on": date(2026, 5, 1)},
        ),
        (fact("Cleared", on="2026-06-01"), {"on": date(2026, 6, 1)}),
        (
            fact("Debriefed", session_at=AT),
            {"session_at": datetime(2026, 5, 7, 8, tzinfo=UTC)},
        ),
        (
            fact("Brief", exercise="frc", depth_m=12, fill_low_m=5, not_before_at=AT),
            {
                "exercise": Exercise.FRC,
                "fill_low_m": 5.0,
                "fill_high_m": None,
                "not_before_at": datetime(2026, 5, 7, 8, tzinfo=UTC),
            },
        ),
    ],
)
def test_each_kind_of_value_comes_back_as_it_was(
    row: dict[str, object], expected: dict[str, object]
) -> None:
    """Numbers, yes and no, dates, instants, names and what is missing keep kind and value."""
    one = only(told([row], []))
    assert type(one).__name__ == row["kind"]
    assert {name: getattr(one, name) for name in expected} == expected
    assert {name: type(getattr(one, name)) for name in expected} == {
        name: type(value) for name, value in expected.items()
    }


def test_a_dives_row_is_flat() -> None:
    """A dive has its values beside its times, and all of them come back."""
    row = {
        **CARRIED, "exercise": "frc", "depth_m": 14, "ending": "stop", "reason": "leak",
        "fill_m": 7, "dive_time_s": 65, "note": "cold", "waits": True,
    }  # fmt: skip
    one = only(told([], [row]))
    assert isinstance(one, Dive)
    assert (one.exercise, one.depth_m, one.ending, one.reason) == (
        Exercise.FRC, 14.0, Ending.STOP, Reason.LEAK,
    )  # fmt: skip
    assert (one.fill_m, one.dive_time_s, one.note, one.waits) == (7.0, 65, "cold", True)


def test_questions_and_strikes_are_left_out_and_what_follows_is_read() -> None:
    """What is tied to the line of a message says nothing without it; the rest of the file stands."""
    rows = [fact("Asked", any=1), fact("Strike", any=1), fact("Fit", ok=True)]
    assert isinstance(only(told(rows, [])), Fit)


def test_facts_of_one_instant_stand_before_its_dives() -> None:
    """What was answered comes before what was dived; else the earlier first, wherever it stands."""
    dive = {**CARRIED, "exercise": "frc", "depth_m": 7, "ending": "clean"}
    early = dive | {"happened_at": "2026-05-07T08:00:00+01:00", "depth_m": 6}
    facts = read_export(told([fact("Fit", ok=True)], [dive, early])).facts
    assert [type(one) for one in facts] == [Dive, Fit, Dive]
    assert [one.origin.message for one in facts] == [1, 2, 3]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[1, 2]", "the form is not buoyside-export-1"),
        ('{"form": "other"}', "the form is not buoyside-export-1"),
        (told([fact("Dive", depth_m=5)], []), "no such fact: Dive"),
        (told([fact("Goal") | {"values": 3}], []), "no such fact: Goal"),
        (told([fact("Spell")], []), "KeyError('Spell')"),
        (told([fact("Fit", ok=1)], []), "1 for <class 'bool'>"),
        (told([fact("Body", sex="f", age_y=True, height_m=1.7)], []), "True for <class 'int'>"),
        (told([fact("Body", sex="f", age_y=34.5, height_m=1.7)], []), "34.5 for <class 'int'>"),
        (told([fact("Goal", depth_m=True)], []), "True for <class 'float'>"),
        (told([fact("Goal", depth_m="deep")], []), "'deep' for <class 'float'>"),
        (told([fact("Goal", depth_m=None)], []), "None for <class 'float'>"),
        (told([fact("Goal", depth_m=40, wide=3)], []), "KeyError('wide')"),
        (
            told([fact("Fit", ok=True) | {"said_at": "2026-05-07T09:00:00"}], []),
            "a time without its offset: '2026-05-07T09:00:00'",
        ),
        (told([fact("Buddy", buddy=3)], []), "3 for <class 'str'>"),
    ],
)
def test_a_file_that_cant_be_read_says_where_it_fails(text: str, says: str) -> None:
    """Whoever holds the file reads which fact or value was meant."""
    assert says in refused(text)


def test_what_is_no_json_and_what_is_no_schema_are_told_apart() -> None:
    """The two errors begin differently, and each goes on with what went wrong."""
    assert refused("{").startswith("no JSON: Expecting property name")
    wrong = json.loads(EXAMPLE) | {"timezone": "Nowhere/At_All"}
    assert refused(json.dumps(wrong)).startswith("not as the schema says: ZoneInfoNotFoundError(")
    del wrong["timezone"]
    assert refused(json.dumps(wrong)) == "not as the schema says: KeyError('timezone')"
