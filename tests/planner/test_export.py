"""An exported file, read back by the planner alone, says what the bot would say."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest

from bot.talk.export import as_json, export_of
from planner import plan, read_export
from planner.export import EXAMPLE, ExportError
from planner.full import full_plan
from planner.harm import alarmed, locks_of, unanswered
from planner.plan import standing
from planner.pressure import Site
from planner.ready import ready
from planner.record import (
    Accepted,
    Exercise,
    Harm,
    Limit,
    LimitKind,
    Ordered,
    Unwell,
    Volume,
    VolumeKind,
    Well,
)
from planner.rules import RULES
from tests.planner.season import Season


def long_season() -> Season:
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=42).reported(19, date(2026, 5, 1))
    season.facts.append(Volume(**season._carried(), volume=VolumeKind.MASK, value=0))  # type: ignore[arg-type]
    season.morning("2026-05-04").dive(12, fill_m=6).dive(15, fill_m=7).dive(13, "leak", fill_m=7)
    season.morning("2026-05-08").other(Exercise.DRY, task="lock", amount=10)
    season.other(Exercise.FULL, 31, fill_m=18)
    return season.morning("2026-05-11").dive(11)


def test_the_plan_of_an_export_is_the_bots() -> None:
    """Plan, full-lung step and readiness of a record and of its export are the same, at any time."""
    season = long_season()
    record = season.record()
    text = as_json(export_of(record, name=str, at=season.at))
    back = read_export(text)
    assert len(back.facts) == len(record.facts)
    for hours in (0, 1, 30, 300):
        at = season.at + timedelta(hours=hours)
        assert plan(back, rules=RULES, at=at) == plan(record, rules=RULES, at=at)
        assert full_plan(back, rules=RULES, at=at) == full_plan(record, rules=RULES, at=at)
        assert ready(back, rules=RULES, at=at) == ready(record, rules=RULES, at=at)


def test_what_was_said_later_can_be_left_out() -> None:
    """With `known_at` the export tells what was known then."""
    season = long_season()
    text = as_json(export_of(season.record(), name=str, at=season.at))
    early = read_export(text, known_at=season.at - timedelta(days=5))
    assert [d.depth_m for d in early.dives] == [12, 15, 13]


def test_locks_come_back() -> None:
    """Harm and open checks bar in the record that is read as in the bot."""
    season = long_season()
    season.facts.append(
        Harm(**season._carried(), row="23", level="doctor-today", days=14, doctor=True)  # type: ignore[arg-type]
    )
    season.facts.append(Unwell(**season._carried()))  # type: ignore[arg-type]
    text = as_json(export_of(season.record(), name=str, at=season.at))
    said = plan(read_export(text), rules=RULES, at=season.at)
    assert said == season.said()
    assert "lock" in {bar.because.value for bar in getattr(said, "bars", ())}


@pytest.mark.parametrize(
    "change",
    [
        {"form": "buoyside-export-0"},
        {"timezone": "Nowhere/At_All"},
        {"facts": [{"kind": "Dive", "values": {}}]},
        {"facts": [{"kind": "Spell", "values": {}}]},
        {"dives": [{"depth_m": "deep"}]},
        {"dives": None},
    ],
)
def test_another_file_is_refused(change: dict[str, object]) -> None:
    """Another form, zone, kind of fact or value is an error, never half a record."""
    with pytest.raises(ExportError):
        read_export(json.dumps(json.loads(EXAMPLE) | change))


@pytest.mark.parametrize("key", ["exercise", "ending", "happened_at"])
def test_a_dive_needs_its_values(key: str) -> None:
    """A dive without its exercise, ending or time, or with a time without offset, is an error."""
    told = json.loads(EXAMPLE)
    for value in (None, 1.5, "2026-05-07T09:00:00"):
        told["dives"][0][key] = value
        with pytest.raises(ExportError):
            read_export(json.dumps(told))
    for text in ("", "[]", "{", "null"):
        with pytest.raises(ExportError):
            read_export(text)


def test_the_site_comes_back_and_an_older_file_is_of_a_gauge_at_sea() -> None:
    """A lake at 1000 m by rope is read back as that; without a site it is a gauge at sea."""
    season = long_season()
    lake = Site(salt=False, gauge=False, altitude_m=1000)
    record = replace(season.record(), site=lake)
    text = as_json(export_of(record, name=str, at=season.at))
    assert read_export(text).site == lake
    told = json.loads(text)
    del told["site"]
    assert read_export(json.dumps(told)).site == Site()
    with pytest.raises(ExportError):
        read_export(json.dumps(told | {"site": {"salt": "yes"}}))
    with pytest.raises(ExportError):
        read_export(json.dumps(told | {"site": {"altitude_m": 90000}}))


NAMES = {"mara": "Mara", "t9": "Ana", "t5": "Ilse"}


def shown(key: str) -> str:
    return NAMES.get(key, "somebody")


def called_and_coached() -> Season:
    """Ana (t9) called for help about Mara, who answered; Ilse (t5) is her coach and trims."""
    season = long_season()
    carried = season._carried

    def tell(kind: type, by: str = "mara", **fields: object) -> None:
        season.facts.append(kind(**carried() | {"by": by}, **fields))

    tell(Accepted, coach="t5", given=True)
    end = season.at + timedelta(hours=10)
    tell(Limit, by="t5", what=LimitKind.DEPTH, value=5.0, until_at=end, group="g:-100")
    tell(Ordered, group="g:-100")
    tell(Unwell, by="t9", raised_by_other=True, grave=True)
    asked = season.facts[-1].origin
    season.facts.append(Well(**carried() | {"origin": asked}))
    return season


def test_an_export_names_no_key_no_chat_and_not_who_asked() -> None:
    """Names for members, somebody for who called for help, and nothing of the messenger's numbers."""
    season = called_and_coached()
    text = as_json(export_of(season.record(), name=shown, at=season.at))
    for hidden in ("t9", "t5", "g:-100", "Ana"):
        assert f'"{hidden}"' not in text
    assert '"Ilse"' in text
    assert '"somebody"' in text


def test_what_a_coach_set_and_a_call_that_was_answered_come_back() -> None:
    """The limit counts in the record that is read, and the answered question is answered."""
    season = called_and_coached()
    back = read_export(as_json(export_of(season.record(), name=shown, at=season.at)))
    for hours in (0, 1, 30):
        at = season.at + timedelta(hours=hours)
        mine, theirs = (standing(r, rules=RULES, at=at) for r in (season.record(), back))
        assert theirs.limits.depth_m(at) == mine.limits.depth_m(at)
        assert unanswered(back, at=at) is None
        assert alarmed(back, at=at) == alarmed(season.record(), at=at)


@pytest.mark.parametrize("answered", [0, 1])
def test_of_two_calls_the_one_that_was_answered_is_the_answered_one(answered: int) -> None:
    """Two people called for help: the question that is open in the record is open in its export."""
    season = Season(Exercise.FRC).profile(pb_m=32, goal_m=42).reported(19, date(2026, 5, 1))
    season.morning("2026-05-04")
    calls = [Unwell(**season._carried(), raised_by_other=True, grave=True) for _ in range(2)]  # type: ignore[arg-type]
    season.at += timedelta(minutes=5)
    carried = season._carried() | {"origin": calls[answered].origin}
    season.facts += [*calls, Well(**carried)]  # type: ignore[arg-type]
    back = read_export(as_json(export_of(season.record(), name=shown, at=season.at)))
    stands = [
        [locks_of(r).is_open(u, season.at) for u in r.of(Unwell)] for r in (season.record(), back)
    ]
    assert stands == [[answered == 1, answered == 0]] * 2
