"""The first message, the roster, grants, zone, site, export, forget, and doors not open yet."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest

from bot.heard import Kind
from bot.shorthand import words
from bot.talk import people
from bot.talk.export import Export, as_csv, export_of, schema
from bot.talk.spoken import HANDLERS
from planner.record import Exercise, Grant, Kept
from storage.outcome import AddMember, SetRoom
from tests.bot.talk_views.stage import GROUP, Stage, text_to
from tests.planner.season import Season

SCHEMA = Path(people.__file__).with_name("export.schema.json")


@pytest.fixture
def stage() -> Stage:
    stage = Stage()
    stage.members["mara"] = replace(stage.members["mara"], is_admin=True)
    return stage


def noor_of(stage: Stage) -> str:
    stage.says("mara", "add", name="noor", private=False)
    return next(key for key, m in stage.members.items() if m.name == "noor")


@pytest.mark.parametrize(
    "said",
    [
        "trained divers with a trained buddy",
        "not medical advice",
        "Local rules, site rules, local emergency services",
        "instructors and physicians outrank it",
        "emergency",
        "share on",
        "The chat service keeps messages",
        "pb 38",
    ],
)
def test_the_first_message_says_what_this_is_and_is_not(stage: Stage, said: str) -> None:
    """The first message holds all that must be read before the first dive."""
    assert said in text_to(stage.says("mara", "start"), "p:mara")


def test_consent_is_asked_with_two_equal_buttons(stage: Stage) -> None:
    """Health data needs an explicit yes: both answers are one touch, and none is stored by itself."""
    outcome = stage.says("mara", "start")
    assert outcome.facts == ()
    keys = outcome.letters[-1].keys[0]
    assert [k.says for k in keys] == ["share on", "share off"]
    assert {k.may_press for k in keys} == {("mara",)}


def test_the_group_gets_the_short_forms(stage: Stage) -> None:
    """In the group, start and help take four lines at most, and name the help text."""
    for word in ("start", "help"):
        text = text_to(stage.says("mara", word, private=False), GROUP)
        assert len(text.splitlines()) <= 4
        assert "emergency" in text


def test_add_makes_the_sender_the_keeper(stage: Stage) -> None:
    """`add noor` puts a diver without a phone on the roster, kept by who said it."""
    outcome = stage.says("mara", "add", name="noor", private=False)
    change, fact = outcome.changes[0], outcome.facts[0]
    assert isinstance(change, AddMember)
    assert isinstance(fact, Kept)
    assert (change.member.name, change.member.has_phone, change.member.can_dm) == (
        "noor",
        False,
        False,
    )
    assert (fact.diver, fact.keeper) == (change.member.key, "mara")
    assert "noor" in text_to(outcome, GROUP)


def test_one_name_in_two_groups_is_two_people(stage: Stage) -> None:
    """A Noor of another group has another key, so that nobody's dives count for somebody else."""
    here = noor_of(stage)
    other = Stage()
    other.room = replace(other.room, chat="g:2")
    assert noor_of(other) != here
    assert here.startswith("n-noor")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("ilse", "Take another name"),
        ("ILSE", "Take another name"),
        ("7", "one word of letters"),
        ("x" * 25, "one word of letters"),
        ("=cmd", "one word of letters"),
    ],
)
def test_a_name_that_can_not_be_added_is_refused(stage: Stage, name: str, said: str) -> None:
    """A taken or unusable name adds nobody, and the answer says why."""
    outcome = stage.says("mara", "add", name=name, private=False)
    assert (outcome.changes, outcome.facts) == ((), ())
    assert said in text_to(outcome, GROUP)


def test_a_kept_name_is_refused_with_its_keeper(stage: Stage) -> None:
    """Adding a diver who is kept already names the keeper."""
    noor_of(stage)
    outcome = stage.says("ilse", "add", name="Noor", private=False)
    assert outcome.changes == ()
    assert "mara keeps that log" in text_to(outcome, GROUP)


def test_a_grant_is_given_and_taken(stage: Stage) -> None:
    """`allow` and `disallow` each write one fact of the diver's, and the last one counts."""
    given = stage.says("mara", "allow", name="Ilse").facts[0]
    assert isinstance(given, Grant)
    assert (given.diver, given.to, given.given) == ("mara", "ilse", True)
    assert stage.scene("mara").is_granted("ilse", "mara")
    stage.says("mara", "disallow", name="ilse")
    assert not stage.scene("mara").is_granted("ilse", "mara")


def test_a_keeper_grants_for_a_diver_without_a_phone(stage: Stage) -> None:
    """`allow ilse for noor`, said by her keeper, is noor's grant."""
    noor = noor_of(stage)
    outcome = stage.says("mara", "allow", about=noor, name="ilse", private=False)
    assert outcome.facts[0].diver == noor
    assert "ilse may log noor's dives" in text_to(outcome, GROUP)


def test_a_grant_to_nobody_writes_nothing(stage: Stage) -> None:
    """An unknown name, oneself or somebody without a phone gets no grant, and a near name is offered."""
    noor_of(stage)
    unknown = stage.says("mara", "allow", name="ilsa")
    assert unknown.facts == ()
    assert "Did you mean ilse?" in text_to(unknown, "p:mara")
    assert stage.says("mara", "allow", name="mara").facts == ()
    assert stage.says("mara", "allow", name="noor").facts == ()


def test_a_zone_is_an_admins_word(stage: Stage) -> None:
    """Only an admin sets the zone; the answer gives the local time to check it by."""
    assert stage.says("ilse", "zone", zone="Europe/Berlin", private=False).changes == ()
    outcome = stage.says("mara", "zone", zone="europe/berlin", private=False)
    assert outcome.changes == (SetRoom(timezone="Europe/Berlin"),)
    assert "10:00" in text_to(outcome, GROUP)


@pytest.mark.parametrize("wanted", ["lisbon", "Europe/Lisbom", "Lisboa", "Nowhereville"])
def test_a_zone_that_is_none_is_asked_about(stage: Stage, wanted: str) -> None:
    """A bad name sets nothing; where one is near, a button offers it."""
    outcome = stage.says("mara", "zone", zone=wanted, private=False)
    assert outcome.changes == ()
    offered = [key.says for row in outcome.letters[0].keys for key in row]
    assert offered == ([] if wanted == "Nowhereville" else ["zone Europe/Lisbon"])


def test_a_site_changes_what_is_said_and_keeps_the_rest(stage: Stage) -> None:
    """`site fresh, 430 m` leaves the gauge as it was; without words it is only shown."""
    assert stage.says("ilse", "site", private=False).changes == ()
    assert stage.says("ilse", "site", salt=False, private=False).changes == ()
    outcome = stage.says("mara", "site", salt=False, altitude_m=430.0, private=False)
    change = outcome.changes[0]
    assert isinstance(change, SetRoom)
    assert change.site is not None
    assert (change.site.salt, change.site.gauge, change.site.altitude_m) == (False, True, 430.0)
    assert "fresh water, depth by gauge, 430 m" in text_to(outcome, GROUP)


def test_joining_asks_for_the_zone_and_tells_what_is_not_heard(stage: Stage) -> None:
    """On joining, the zone is asked for until it is said; privacy mode is told when it is on."""

    def arrive(*, stated: bool, problem: str) -> str:
        stage.room = replace(stage.room, zone_stated=stated)
        scene = stage.scene("mara", private=False, kind=Kind.JOINED, problem=problem)
        return text_to(people.arrived(scene), GROUP)

    assert "zone Europe/Lisbon" in arrive(stated=False, problem="")
    assert "/log" in arrive(stated=True, problem="privacy")
    assert arrive(stated=True, problem="") == ""


def dived() -> Stage:
    season = (
        Season(Exercise.FRC)
        .profile(pb_m=32, goal_m=38)
        .morning("2026-05-05")
        .dive(7)
        .dive(8, "sternum")
    )
    facts = list(season.facts)
    facts[-1] = replace(facts[-1], note='=HYPERLINK("x")')
    return Stage(facts=facts, at=season.at)


def test_the_export_holds_every_fact_in_its_published_form() -> None:
    """The JSON file reads back by its model, with every fact of the record, times local."""
    stage = dived()
    whole, table = stage.says("mara", "export").letters
    assert whole.document is not None
    assert table.document is not None
    made = Export.model_validate_json(whole.document[1])
    record = stage.record("mara")
    assert len(made.dives) + len(made.facts) == len(record.facts)
    assert [d.depth_m for d in made.dives] == [7, 8]
    assert json.loads(whole.document[1])["dives"][0]["happened_at"].endswith("+01:00")
    assert {whole.to, table.to} == {"p:mara"}


def test_the_published_schema_is_the_one_that_is_written() -> None:
    """`export.schema.json` and the model are the same; a change shows in the diff."""
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == schema()


@pytest.mark.parametrize(
    "note", ["=1+1", "+49", "-1", "@x", "\t=1", " =1", "\uff1d1", "|cmd", "%0A"]
)
def test_no_cell_of_the_table_is_a_formula(note: str) -> None:
    """A note that a spreadsheet would run is defused in the CSV, and whole in the JSON."""
    stage = dived()
    stage.facts[-1] = replace(stage.facts[-1], note=note)
    made = export_of(stage.record("mara"), name=str, at=stage.at)
    written = as_csv(made)
    # as a spreadsheet reads it: the mark says UTF-8, commas divide, each line ends with CR LF
    assert written.encode().startswith(b"\xef\xbb\xbfhappened_at,")
    assert written.endswith("\r\n")
    rows = list(csv.DictReader(io.StringIO(written.removeprefix("\ufeff"))))
    assert rows[1]["note"] == f"'{note}"
    assert rows[1]["depth_m"] == "8.0"
    assert made.dives[1].note == note


def test_an_export_never_goes_to_the_group() -> None:
    """Asked for in the group, the files go to the private chat; where that is shut, nowhere."""
    stage = dived()
    assert {x.to for x in stage.says("mara", "export", private=False).letters} == {"p:mara"}
    stage.members["mara"] = replace(stage.members["mara"], can_dm=False)
    (letter,) = stage.says("mara", "export", private=False).letters
    assert letter.document is None
    assert letter.to == GROUP


@pytest.mark.parametrize("scope", ["health", "all"])
def test_forgetting_asks_once_and_erases_on_the_press(stage: Stage, scope: str) -> None:
    """Typed, `forget` only asks; its button, pressed, erases in that scope."""
    asked = stage.says("mara", "forget", scope=scope)
    assert asked.changes == ()
    key = asked.letters[0].keys[0][0]
    assert key.says == f"forget {scope}"
    stage.presses("mara", key, "forget", scope=scope)
    assert [(f.diver, f.scope) for f in stage.forgotten] == [("mara", scope)]


def test_forgetting_all_says_that_the_protection_goes_with_it(stage: Stage) -> None:
    """Before all is erased, the diver reads that a pause will be forgotten too."""
    text = text_to(stage.says("mara", "forget", scope="all"), "p:mara")
    assert "protection goes with it" in text
    assert "export" in text


def test_forgetting_without_a_scope_erases_nothing(stage: Stage) -> None:
    """`forget` alone explains both scopes."""
    outcome = stage.says("mara", "forget")
    assert outcome.changes == ()
    assert "forget health" in text_to(outcome, "p:mara")


def test_every_command_has_a_room_behind_it() -> None:
    """No word of the language's file leads nowhere; what is of health is answered before all else."""
    named = {way.name for ways in words().commands.values() for way in ways}
    assert named - set(HANDLERS) == {"feel", "cleared"}
