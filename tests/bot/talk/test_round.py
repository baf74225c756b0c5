"""The round in the chat: one message, kept up to date by what the group was told, and by nothing else."""

from __future__ import annotations

from storage.outcome import Letter
from tests.bot.talk.buoy import GROUP, Buoy, said_to


def three() -> Buoy:
    """Mara, Ilse and Teo, fit and with buddies; the round was asked for."""
    buoy = Buoy().join("mara", pb=40, goal=44).join("ilse", pb=41, goal=45)
    buoy.join("teo", pb=46, goal=48)
    for diver, buddy in (("mara", "teo"), ("ilse", "teo"), ("teo", "mara")):
        buoy.says(diver, f"fit buddy {buddy}")
    buoy.says("mara", "order")
    return buoy


def slots(buoy: Buoy, since: int) -> list[Letter]:
    return [x for x in buoy.told[since:] if x.slot is not None]


def test_the_round_names_diver_watcher_and_line() -> None:
    """Each diver once, with somebody else as watcher, and the line's depth."""
    text = said_to(three().says("teo", "order"), "group")
    rows = text.split(" · ")
    assert sorted(row.split(" ")[0] for row in rows) == ["ilse", "mara", "teo"]
    for row in rows:
        diver, watcher, depth = row.replace("(", "").replace(")", "").split(" ")
        assert diver != watcher
        assert float(depth) > 0


def test_a_report_in_the_group_edits_the_rounds_message() -> None:
    """The same slot as the message that was asked for, and who is next behind the answer."""
    buoy = three()
    (asked,) = slots(buoy, 0)
    since = len(buoy.told)
    answer = said_to(buoy.later(minutes=1).says("mara", "exh 7 ok"), "group")
    assert "On the line next:" in answer
    (edited,) = slots(buoy, since)
    assert (edited.to, edited.slot) == (GROUP, asked.slot)
    assert edited.text != asked.text


def test_what_is_told_in_private_moves_nothing() -> None:
    """A dive and a word of harm in a private chat change neither message nor answer in the group."""
    buoy = three()
    since = len(buoy.told)
    buoy.says("mara", "feel pink spit", private=True)
    buoy.says("ilse", "exh 7 ok", private=True)
    assert slots(buoy, since) == []
    assert not any("On the line" in x.text for x in buoy.told[since:])


def test_a_word_of_harm_in_the_group_moves_nothing_either() -> None:
    """The group sees a reaction, and the round as it was."""
    buoy = three()
    since = len(buoy.told)
    buoy.says("mara", "hoarse")
    assert slots(buoy, since) == []


def test_a_round_that_stays_as_it_is_is_edited_with_the_same_words() -> None:
    """A second yes to the same question: the message that is shown is the round of now, whatever was shown."""
    buoy = three()
    (asked,) = slots(buoy, 0)
    since = len(buoy.told)
    buoy.says("mara", "fit buddy teo")
    (edited,) = slots(buoy, since)
    assert (edited.slot, edited.text) == (asked.slot, asked.text)


def test_asked_for_anew_it_is_a_new_message() -> None:
    """At the end of the chat, and from then on the one that is edited."""
    buoy = three()
    since = len(buoy.told)
    buoy.later(minutes=1).says("teo", "order")
    buoy.says("mara", "exh 7 ok")
    first, second = slots(buoy, since)
    assert first.slot == second.slot
    assert first.slot != slots(buoy, 0)[0].slot


def test_asked_for_in_private_it_is_told_there_and_kept_nowhere() -> None:
    """No message in the group follows reports."""
    buoy = Buoy().join("mara", pb=40, goal=44).join("teo", pb=46, goal=48)
    buoy.says("mara", "fit buddy teo")
    assert said_to(buoy.says("mara", "order", private=True), "mara").startswith("mara (teo)")
    buoy.says("mara", "exh 7 ok")
    assert slots(buoy, 0) == []


def test_after_a_session_it_is_over() -> None:
    """Five hours later a report is answered as if no round had been asked for."""
    buoy = three().later(hours=5)
    since = len(buoy.told)
    buoy.says("mara", "fit buddy teo")
    assert slots(buoy, since) == []


def test_nobody_ready_says_what_to_do() -> None:
    """An empty round lists nobody, and tells what comes before it."""
    text = said_to(Buoy().join("mara", pb=40, goal=44).says("mara", "order"), "group")
    assert text.startswith("Nobody is ready")
    assert "mara" not in text


def test_who_has_no_watcher_is_said_so() -> None:
    """A diver whom nobody may watch has no turn, and is not lost."""
    buoy = Buoy().join("mara", pb=40, goal=44).join("teo", pb=12, goal=20)
    buoy.says("mara", "fit buddy teo")
    text = said_to(buoy.says("mara", "order"), "group")
    assert text == "No watcher yet for: mara."


def test_a_call_for_help_stops_the_round() -> None:
    """Its message says so at once, no answer names a next diver, and asking again says the same."""
    buoy = three()
    (asked,) = slots(buoy, 0)
    since = len(buoy.told)
    buoy.later(minutes=1).says("ilse", "mara blacked out at the surface")
    (edited,) = slots(buoy, since)
    assert (edited.slot, edited.names) == (asked.slot, ())
    assert edited.text.startswith("Somebody called for help in this group")
    answer = buoy.later(minutes=5).says("teo", "exh 7 ok")
    assert "On the line next" not in answer
    assert "no round for now" in said_to(buoy.says("ilse", "order"), "group")
    assert "no round for now" not in buoy.later(hours=5).says("ilse", "order")


def test_a_round_after_the_last_dive_is_over() -> None:
    """Who has dived and is done reads that no turn is left, not how to begin a round."""
    buoy = three()
    for name in ("mara", "ilse", "teo"):
        buoy.later(minutes=3).says(name, "exh 7 ok")
        buoy.says(name, "done")
    assert (
        said_to(buoy.says("teo", "order"), "group") == "No turn for now. Whoever goes on: `next`."
    )
