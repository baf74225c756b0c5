"""What a message of health comes to: facts, help first, and nothing that the group can read."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from bot.heard import Button, Heard, Kind
from bot.talk.health import HealthTurn, check_keys, hear
from bot.texts.help import help_file, help_text
from planner.harm import harm_table, lock_of, unwell_open
from planner.record import (
    Cleared,
    Consent,
    DiverRecord,
    Fact,
    Harm,
    Kept,
    Origin,
    Unwell,
    Well,
    record_of,
)
from storage.outcome import Delivery, Letter, Member, Room, Site

BEGIN = datetime(2026, 5, 5, 9, 0, tzinfo=UTC)
GROUP = "g:1"
MEMBERS = {
    "m1": Member(key="m1", name="Mara", can_dm=True),
    "a1": Member(key="a1", name="Ana", can_dm=True),
    "t1": Member(key="t1", name="Teo", can_dm=False),
    "n1": Member(key="n1", name="Noor", has_phone=False),
}
SITE = Site(emergency_number="112", oxygen="in the van", meeting_point="slipway")


class Talk:
    """A group in which things are said one after another; it keeps the facts."""

    def __init__(self, *, site: Site | None = None, consent: bool = True) -> None:
        self.room = Room(
            chat=GROUP,
            title="Tuesday line",
            timezone="Europe/Lisbon",
            members=MEMBERS,
            site=site or Site(),
        )
        self.now = BEGIN
        self.message = 0
        self.facts: list[Fact] = []
        origin = Origin(chat=GROUP, message=0)
        self.facts.append(
            Kept(diver="n1", happened_at=BEGIN, said_at=BEGIN, by="a1", origin=origin, keeper="a1")
        )
        if consent:
            self.facts.append(
                Consent(
                    diver="m1", happened_at=BEGIN, said_at=BEGIN, by="m1", origin=origin, given=True
                )
            )

    def records(self) -> dict[str, DiverRecord]:
        zone = ZoneInfo("Europe/Lisbon")
        return {k: record_of(k, self.facts, timezone=zone) for k in MEMBERS}

    def say(
        self,
        text: str,
        *,
        by: str = "m1",
        private: bool = True,
        reply_to: str | None = None,
        button: Button | None = None,
    ) -> HealthTurn | None:
        self.message += 1
        self.now += timedelta(minutes=5)
        heard = Heard(
            kind=Kind.PRESS if button else Kind.MESSAGE,
            chat=f"p:{by}" if private else GROUP,
            private=private,
            sender=by,
            message=self.message,
            sent_at=self.now,
            now=self.now,
            text=text,
            reply_to_sender=reply_to,
            button=button,
        )
        turn = hear(
            heard,
            room=self.room,
            records=self.records(),
            names=[m.name for m in MEMBERS.values()],
        )
        self.facts += turn.facts if turn else ()
        return turn

    def press(
        self, label: str, letters: Iterable[Letter], *, private: bool = True
    ) -> HealthTurn | None:
        key = next(
            k for letter in letters for row in letter.keys for k in row if k.label.startswith(label)
        )
        by = key.may_press[0]
        button = Button(
            says=key.says, diver=key.diver, may_press=key.may_press, answers=None, fresh=True
        )
        return self.say(key.says, by=by, private=private, button=button)

    def lock(self, who: str = "m1", **later: int) -> object:
        return lock_of(self.records()[who], at=self.now + timedelta(**later))


def said(turn: HealthTurn | None) -> HealthTurn:
    assert turn is not None
    return turn


def harms(turn: HealthTurn) -> list[str | None]:
    return [f.row for f in turn.facts if isinstance(f, Harm)]


def in_group(turn: HealthTurn) -> list[Letter]:
    return [x for x in turn.letters if x.to == GROUP]


def to(turn: HealthTurn, member: str) -> str:
    return "\n".join(x.text for x in turn.letters if x.to == f"p:{member}")


def test_blood_in_private_gets_help_first_then_the_bare_date() -> None:
    """The fixed text goes before everything, then until when there is no target."""
    talk = Talk()
    turn = said(talk.say("feel some blood when I spat, fine otherwise"))
    assert harms(turn) == ["6"]
    assert turn.silences_rest
    assert turn.rest == ""
    assert turn.letters[0].delivery is Delivery.HELP
    assert "doctor today" in turn.letters[0].text
    assert "No target before Sat 4 Jul" in to(turn, "m1")
    assert "`cleared YYYY-MM-DD`" in to(turn, "m1")
    assert talk.lock(days=59) is not None


def test_call_now_begins_with_the_emergency_number() -> None:
    """Coughed blood: the first line names the emergency number, and the site's where it is set."""
    first = said(Talk().say("I am coughing blood")).letters[0].text.splitlines()[0]
    assert "your local emergency number" in first
    with_site = said(Talk(site=SITE).say("I am coughing blood")).letters[0].text
    assert "112" in with_site.splitlines()[0]
    assert "in the van" in with_site
    assert "slipway" in with_site


def test_without_consent_no_row_is_kept_but_the_lock_is_the_same() -> None:
    """A Harm without category carries the same numbers."""
    kept, bare = Talk(), Talk(consent=False)
    kept.say("blood in spit")
    turn = said(bare.say("blood in spit"))
    assert harms(turn) == [None]
    assert bare.lock(days=59) == kept.lock(days=59)
    assert "No target before Sat 4 Jul" in to(turn, "m1")


def test_a_lesser_symptom_in_the_group_is_a_reaction_there_and_text_in_private() -> None:
    """The group sees the same reaction for a chest that is sore as for `feel ok`."""
    talk = Talk()
    sore = said(talk.say("my chest is sore", private=False))
    well = said(Talk().say("feel ok", private=False))
    shown = [[(x.text, x.reaction) for x in in_group(t)] for t in (sore, well)]
    assert shown[0] == shown[1] == [("", "✍")]
    assert "doctor today" in to(sore, "m1")


def test_who_cannot_be_written_to_gets_one_neutral_line() -> None:
    """Not reachable in private: `write to me in private`, whatever was said, and the lock stands."""
    texts = []
    for text in ("my chest is sore", "feel ok", "feel gloopy", "hoarse"):
        talk = Talk()
        turn = said(talk.say(text, by="t1", private=False))
        assert all(x.to == GROUP for x in turn.letters)
        texts.append([x.text for x in turn.letters])
        assert turn.facts
    assert all(t == texts[0] for t in texts)
    assert texts[0] == ["Teo, please write to me in private."]


def test_call_now_about_another_helps_in_the_group_and_keeps_no_symptom() -> None:
    """The short text at once; for the diver only a question that bars targets."""
    talk = Talk()
    turn = said(
        talk.say("mara is coughing up a lot of blood and can't get air", by="a1", private=False)
    )
    assert "emergency number" in in_group(turn)[0].text.splitlines()[0]
    assert in_group(turn)[0].delivery is Delivery.HELP
    assert harms(turn) == []
    raised = turn.facts[0]
    assert isinstance(raised, Unwell)
    assert raised.diver == "m1"
    assert raised.raised_by_other
    assert raised.grave
    assert unwell_open(talk.records()["m1"], at=talk.now)
    # the question is the same whatever was told, so it says nothing of it
    other = said(Talk().say("mara is not waking up", by="a1", private=False))
    assert to(turn, "m1") == to(other, "m1")
    assert "worried about you" in to(turn, "m1")


def test_a_lesser_symptom_of_another_is_asked_in_private_and_silent_in_the_group() -> None:
    """The group reads nothing at all."""
    turn = said(Talk().say("mara is a bit hoarse", by="a1", private=False))
    assert in_group(turn) == []
    assert "all normal?" in to(turn, "m1")
    assert isinstance(turn.facts[0], Unwell)


def test_about_nobody_on_the_roster_help_is_given_and_nothing_kept() -> None:
    """A stranger who can't breathe: text, no fact; a stranger who is hoarse: nothing."""
    turn = said(Talk().say("some guy on the pier can't breathe", by="a1", private=False))
    assert "emergency number" in turn.letters[0].text
    assert turn.facts == ()
    assert Talk().say("my friend is hoarse", by="a1", private=False) is None


def test_he_in_a_reply_is_the_member_replied_to() -> None:
    """A reply to a member's message says who is meant."""
    turn = said(Talk().say("he blacked out", by="a1", private=False, reply_to="t1"))
    assert [f.diver for f in turn.facts if isinstance(f, Unwell)] == ["t1"]
    assert {f.diver for f in turn.facts} == {"t1"}


def test_feel_ok_says_what_stands_while_a_lock_does() -> None:
    """`feel ok` under a lock gives the date again and nothing of a target; without one it is noted."""
    talk = Talk()
    talk.say("blood in spit")
    turn = said(talk.say("feel ok"))
    assert isinstance(turn.facts[0], Well)
    assert "No target before Sat 4 Jul" in to(turn, "m1")
    assert not re.search(r"next:? \d", to(turn, "m1").lower())
    assert to(said(Talk().say("feel ok")), "m1").startswith("Noted: you say all is normal.")


def test_hoarse_is_open_until_feel_ok() -> None:
    """Seven days count from the first `feel ok`."""
    talk = Talk()
    first = to(said(talk.say("feel hoarse since the second one")), "m1")
    assert "day is over" in first
    assert "until you feel well" in first
    assert "No target before Tue 12 May" in to(said(talk.say("feel ok")), "m1")
    assert talk.lock(days=8) is None


def test_the_four_questions_choose_the_row() -> None:
    """Unreadable words bar and ask; each yes brings its row at once, the grave one ends the asking."""
    talk = Talk()
    turn = said(talk.say("feel gloopy"))
    assert isinstance(turn.facts[0], Unwell)
    assert unwell_open(talk.records()["m1"], at=talk.now)
    turn = said(talk.press("no", turn.letters))
    assert turn.facts == ()
    turn = said(talk.press("cough", turn.letters))
    assert harms(turn) == ["9"]
    assert not unwell_open(talk.records()["m1"], at=talk.now)
    turn = said(talk.press("strong", turn.letters))
    assert harms(turn) == ["7"]
    assert turn.letters[0].text.startswith("Call your local emergency number")
    assert not any(x.keys for x in turn.letters)


ANSWERS = [
    (0, "spots", "6"), (0, "coughed", "5"), (1, "cough", "9"), (1, "short", "4"),
    (2, "tight", "8"), (2, "strong", "7"), (3, "dizzy, sick, joints", "13"), (3, "weak", "12"),
    (0, "not sure", "6"), (1, "not sure", "9"), (2, "not sure", "8"), (3, "not sure", "13"),
]  # fmt: skip


@pytest.mark.parametrize(("place", "label", "row"), ANSWERS)
def test_each_answer_brings_its_row(place: int, label: str, row: str) -> None:
    """Blood 5 or 6, breath 4 or 9, chest 7 or 8, head and limbs 12 or 13; not sure counts as yes."""
    talk = Talk()
    turn = said(talk.say("feel gloopy"))
    for _ in range(place):
        turn = said(talk.press("no", [replace(x) for x in turn.letters]))
    assert harms(said(talk.press(label, turn.letters))) == [row]


def test_four_times_no_stays_doctor_today() -> None:
    """All no and still something else: row 23 with its text and 14 days."""
    talk = Talk()
    turn = said(talk.say("feel gloopy"))
    for label in ("no", "no", "no", "no", "something else"):
        turn = said(talk.press(label, [x for x in turn.letters if x.keys]))
    assert harms(turn) == ["23"]
    assert "doctor today" in turn.letters[0].text
    assert "No target before Tue 19 May" in to(turn, "m1")


def test_four_times_no_and_all_normal_leaves_nothing() -> None:
    """What nobody could read was nothing: no lock, and no question is open."""
    talk = Talk()
    turn = said(talk.say("feel gloopy"))
    told = [*turn.facts]
    for label in ("no", "no", "no", "no", "all normal"):
        turn = said(talk.press(label, [x for x in turn.letters if x.keys]))
        told += turn.facts
    assert [type(f) for f in told] == [Unwell, Well]
    assert told[0].origin.place == told[1].origin.place


def test_the_check_is_answered_by_button() -> None:
    """[yes] is well; [no] and [not sure] bar and ask the four questions."""
    for label, kind in (("yes", Well), ("no", Unwell), ("not sure", Unwell)):
        talk = Talk()
        heard = Heard(
            kind=Kind.MESSAGE,
            chat="p:m1",
            private=True,
            sender="m1",
            message=1,
            sent_at=BEGIN,
            now=BEGIN,
        )
        keys = check_keys("m1", room=talk.room, records=talk.records(), heard=heard)
        turn = said(talk.press(label, [Letter(to="p:m1", text="?", keys=keys)]))
        assert isinstance(turn.facts[0], kind)
        assert any(x.keys for x in turn.letters) == (kind is Unwell)


def test_nobody_answers_the_check_of_somebody_with_a_phone() -> None:
    """A forged `check mara yes` by another member says nothing."""
    button = Button(says="check Mara yes", diver="m1", may_press=("m1",), answers=None, fresh=True)
    assert Talk().say("check Mara yes", by="a1", button=button) is None


def test_a_keepers_word_counts_as_the_divers() -> None:
    """For a diver without a phone the keeper reports, is answered in private, and clears."""
    talk = Talk()
    turn = said(talk.say("for noor feel blood in spit", by="a1", private=False))
    assert [f.diver for f in turn.facts] == ["n1"]
    assert harms(turn) == [None]
    assert [x.reaction for x in in_group(turn)] == ["✍"]
    assert "doctor today" in to(turn, "a1")
    well = said(talk.say("noor feel ok", by="a1"))
    assert [f.diver for f in well.facts if isinstance(f, Well)] == ["n1"]
    talk.now += timedelta(days=61)
    assert talk.lock("n1") is not None
    talk.say("for noor cleared 2026-06-10", by="a1")
    assert talk.lock("n1") is None


def test_another_member_is_no_keeper() -> None:
    """A word about a kept diver by somebody else asks the keeper."""
    turn = said(Talk().say("noor is a bit hoarse", by="m1", private=False))
    assert isinstance(turn.facts[0], Unwell)
    assert turn.facts[0].diver == "n1"
    assert "Noor" in to(turn, "a1")


def test_cleared_is_a_date_in_private_and_never_ahead() -> None:
    """In the group it is asked for in private; a date to come or no date is not taken."""
    talk = Talk()
    talk.say("blood in spit")
    for text in ("cleared 2026-05-06", "cleared yesterday", "cleared"):
        assert said(talk.say(text)).facts == ()
    assert said(talk.say("cleared 2026-05-05", private=False)).facts == ()
    turn = said(talk.say("cleared 2026-05-05"))
    assert isinstance(turn.facts[0], Cleared)
    assert turn.facts[0].on == date(2026, 5, 5)
    assert "No target before Sat 4 Jul" in to(turn, "m1")
    assert talk.say("cleared my ears on every metre", private=False) is None


def test_emergency_is_for_anyone_anywhere_at_once() -> None:
    """The short text of breathing, blood and unconscious, with the site's number."""
    for text in ("emergency", "/emergency", "EMERGENCY!", "/emergency@OurBot"):
        turn = said(Talk(site=SITE).say(text, by="t1", private=False))
        assert turn.facts == ()
        assert len(turn.letters) == 1
        letter = turn.letters[0]
        assert (letter.to, letter.delivery) == (GROUP, Delivery.HELP)
        assert "emergency number now: 112" in letter.text.splitlines()[0]
        for words in ("SHORT OF BREATH, BLOOD, CHEST", "WON'T WAKE", "in the van", "slipway"):
            assert words in letter.text


def test_a_report_with_harm_keeps_the_dive_and_silences_the_target() -> None:
    """The dive goes on to the reports without its words of harm."""
    turn = said(Talk().say("exh 9 ok, coughing blood", private=False))
    assert turn.rest == "exh 9 ok"
    assert turn.silences_rest
    assert in_group(turn)[0].text.startswith("Call your local emergency number")


def test_chatter_reports_and_commands_are_left_alone() -> None:
    """Nothing of health: None."""
    for text in ("exh 12 ok", "9 stop throat", "fit buddy ana", "no blood, no cough", "next", ""):
        assert Talk().say(text, private=False) is None


def test_numb_fingers_are_asked_about() -> None:
    """No target until it is answered: both and cold is left at that; otherwise it is row 12."""
    talk = Talk()
    turn = said(talk.say("numb fingers from cold"))
    assert [(type(f), f.unread) for f in turn.facts] == [(Unwell, True)]
    answered = said(talk.press("both hands", turn.letters))
    assert [type(f) for f in answered.facts] == [Well]
    assert answered.facts[0].origin.place == turn.facts[0].origin.place
    assert harms(said(talk.press("not sure", turn.letters))) == ["12"]


def test_a_bare_samba_has_its_two_questions() -> None:
    """Over within a minute and no water: the day; otherwise call now."""
    talk = Talk()
    turn = said(talk.say("had a samba"))
    assert harms(turn) == ["3"]
    assert turn.letters[0].keys, "what decides stands in the first message"
    later = said(talk.press("longer", [x for x in turn.letters if x.keys]))
    assert harms(later) == ["3-now"]
    assert later.letters[0].text.startswith("Call your local emergency number")


def test_a_covered_row_is_not_kept_beside_a_graver_one() -> None:
    """Of several symptoms those are kept that ask something the others don't."""
    turn = said(Talk().say("coughing blood, chest pain, very tired"))
    rows = harms(turn)
    assert rows[0] in ("5", "7")
    assert "6" not in rows
    assert "21" in rows


# the fixed texts


def test_every_level_has_its_words_and_the_emergency_line_only_where_it_belongs() -> None:
    """Call now begins with the emergency number; a milder text never does, and names its level."""
    wanted = {
        "call-now": "emergency number",
        "doctor-today": "doctor today",
        "day-over": "day is over",
        "practice-over": "practice is over",
    }
    for key, text in help_file().texts.items():
        for site in (Site(), SITE):
            shown = help_text(key, site)
            first = shown.splitlines()[0]
            assert wanted[text.level] in shown, key
            assert ("your local emergency number" in first) == (text.level == "call-now"), key
            assert "{" not in shown


def test_no_text_says_what_is_never_said() -> None:
    """No advice of the forbidden kind, no target, no clearance, no praise."""
    never = r"aspirin|drink more|hyperventilat|pack(ing)?\b|go back in|\bsafe\b|hold your breath|next:? ?\d|well done|great|only a\b"
    found = help_file()
    for text in (*(t.text for t in found.texts.values()), *found.lines.values()):
        assert not re.search(never, text.lower()), text


def test_no_text_of_help_holds_a_target_a_figure_of_progress_or_forbidden_advice() -> None:
    """Texts, lines and buttons hold no depth, no count, no held or base, no hold time and no way back into the water."""
    found = help_file()
    every = (
        [t.text for t in found.texts.values()]
        + list(found.lines.values())
        + list(found.keys.values())
    )
    never = (
        r"\b\d+([.,]\d+)? ?m(etres?)?\b|\b\d+ of \d{2}|%|\bnext:|\bbase\b|\bfill\b|\bgoal\b|\bpb\b",
        r"aspirin|ibuprofen|painkiller|drink (more|plenty|water)|hyperventilat|\bpacking\b",
        r"(go|get|swim) back|try again|one more dive|keep diving|hold for|seconds?\b|you (are|re) (fine|ok|safe|healed|fit)",
        r"not serious|harmless|don't worry|nothing to worry|clears you|\bsafe\b",
    )
    for text in every:
        said = (
            text.lower()
            .replace("no swimming back", "")
            .replace("even for seconds", "")
            .replace("the second in", "")
            .replace("the way back", "")
        )
        for pattern in never:
            assert not re.search(pattern, said), (pattern, text)


def test_the_way_back_is_told_with_the_lock_and_after_it() -> None:
    """Rows 4 to 10: full lungs first, 28 days more, at most half; after another row not a word of it."""
    talk = Talk()
    grave = said(talk.say("coughing blood"))
    # under a text that says to call, one line; the rest is told when the diver comes back to it
    assert (
        to(grave, "m1").count("\n")
        == to(grave, "m1").count("\n", 0, to(grave, "m1").index("No target")) + 1
    )
    later = said(talk.say("feel ok"))
    assert "full lungs and shallow first" in to(later, "m1")
    assert "at most half" in to(later, "m1")
    mild = said(Talk().say("hoarse since the dive"))
    assert "way back" not in to(mild, "m1")


def test_every_row_has_its_text_and_every_text_its_origin() -> None:
    """Each row's text stands in the file; each text has a mark, a level and a place for its review."""
    texts = help_file().texts
    for row in harm_table().rows.values():
        assert texts[row.text].level == row.level, row.key
        if row.level == "call-now":
            assert f"{row.text}-short" in texts
    for text in texts.values():
        assert text.mark in ("P", "P?", "CP", "H")
        assert text.reviewed_on == ""
    for row in harm_table().rows.values():
        assert (row.source != "") == (row.mark == "P"), row.key


def test_short_texts_are_four_lines_and_few_words() -> None:
    """What stands in a group fits a wet screen."""
    for key in help_file().texts:
        if key.endswith("-short"):
            shown = help_text(key, Site())
            assert len(shown.splitlines()) <= 4
            assert len(shown) < 420


def test_a_sites_own_words_are_put_in_as_they_are() -> None:
    """Braces in what a site sets stay braces."""
    shown = help_text("breathing-or-blood", Site(oxygen="{number} box", meeting_point="{site}"))
    assert "{site}" in shown


def test_the_last_button_is_never_answered_with_silence() -> None:
    """The fourth no after a yes, and a samba that was over at once: what stands is said again."""
    talk = Talk()
    turn = said(talk.say("feel gloopy"))
    for label in ("no", "cough, rattle, can't breathe in fully", "no", "no"):
        turn = said(talk.press(label, [x for x in turn.letters if x.keys]))
    assert "noted" in to(turn, "m1").lower()
    assert "No target before" in to(turn, "m1")
    talk = Talk()
    turn = said(talk.say("little samba"))
    assert "No target before" in to(
        said(talk.press("normal in 1", [x for x in turn.letters if x.keys])), "m1"
    )
