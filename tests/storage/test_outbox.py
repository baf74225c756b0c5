"""The outbox: order, priority, lanes, and what each delivery class allows."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest

from storage.outcome import Delivery, Key, Letter
from storage.store import OutboxRow, Store
from tests.storage.scene import START, at, group_in, harm, open_store, write


def letter(
    text: str, to: str = "g:100", delivery: Delivery = Delivery.ANSWER, **more: object
) -> Letter:
    return Letter(to=to, text=text, delivery=delivery, **more)  # type: ignore[arg-type]


def texts(store: Store, minutes: float = 0) -> list[str]:
    return [row.letter.text for row in store.ready_letters(at=at(minutes))]


def first(store: Store, minutes: float = 0) -> OutboxRow:
    return store.ready_letters(at=at(minutes))[0]


def states(store: Store) -> list[tuple[str, str]]:
    connection = sqlite3.connect(store.path)
    try:
        return connection.execute("SELECT state, body FROM outbox ORDER BY id").fetchall()
    finally:
        connection.close()


def test_order_is_kept_in_a_chat_and_help_goes_first(tmp_path: Path) -> None:
    """Letters of one chat leave in order; between chats the more urgent first; help before all."""
    store = open_store(tmp_path)
    write(
        store,
        letters=(
            letter("r", "p:teo", Delivery.REMINDER),
            letter("d", "p:mara", Delivery.DEBRIEF),
            letter("a1"),
            letter("d2", delivery=Delivery.DEBRIEF),
            letter("a2"),
            letter("help", "p:mara", Delivery.HELP),
        ),
    )
    assert texts(store) == ["help", "a1", "d2", "a2", "d", "r"]
    store.close()


def test_a_letter_under_way_holds_its_chat_but_no_help_and_no_other_chat(tmp_path: Path) -> None:
    """While one answer is being sent, its chat waits; help in the same chat and other chats do not."""
    store = open_store(tmp_path)
    write(store, letters=(letter("a1"), letter("a2"), letter("other", "p:teo")))
    store.mark_sending(first(store).id)
    write(store, letters=(letter("help", delivery=Delivery.HELP),))
    assert texts(store) == ["help", "other"]
    store.close()


def test_a_letter_that_waits_for_its_next_try_holds_those_after_it(tmp_path: Path) -> None:
    """A refused letter comes again at the moment the messenger asks for, before the ones behind it."""
    store = open_store(tmp_path)
    write(store, letters=(letter("a1"), letter("a2")))
    row = first(store)
    store.mark_sending(row.id)
    assert store.mark_failed(row.id, at=at(0), retry_at=at(5))
    assert texts(store, 4) == []
    assert store.next_letter_at() is not None
    assert texts(store, 5) == ["a1", "a2"]
    store.close()


def test_a_sent_letter_is_done_and_its_body_is_empty(tmp_path: Path) -> None:
    """Once sent, a letter is not sent again, and its words are no longer in the outbox."""
    store = open_store(tmp_path)
    write(store, letters=(letter("a1"),))
    row = first(store)
    store.mark_sending(row.id)
    store.mark_sent(row.id, "77", at=at(1))
    assert texts(store, 99) == []
    assert states(store) == [("sent", "")]
    store.close()


@pytest.mark.parametrize(
    ("delivery", "times"),
    [(Delivery.HELP, 20), (Delivery.ANSWER, 2), (Delivery.DEBRIEF, 2), (Delivery.REMINDER, 1)],
)
def test_how_often_a_letter_goes_when_nobody_knows_whether_it_arrived(
    tmp_path: Path, delivery: Delivery, times: int
) -> None:
    """Help goes on without end (20 of 20 tries), an answer and a debrief twice, a reminder once."""
    store = open_store(tmp_path)
    write(store, letters=(letter("x", delivery=delivery),))
    sent = 0
    for minutes in range(0, 20 * 6, 6):
        for row in store.ready_letters(at=at(minutes)):
            store.mark_sending(row.id)
            sent += 1
            store.mark_unknown(row.id, at=at(minutes))
    assert sent == times
    store.close()


@pytest.mark.parametrize("delivery", list(Delivery))
def test_a_letter_that_surely_never_left_is_tried_again_whatever_its_class(
    tmp_path: Path, delivery: Delivery
) -> None:
    """Five refusals, then it arrives: every class of letter gets there."""
    store = open_store(tmp_path)
    write(store, letters=(letter("x", delivery=delivery),))
    for number in range(6):
        row = first(store, 6 * number)
        store.mark_sending(row.id)
        if number < 5:
            assert store.mark_failed(row.id, at=at(6 * number))
    store.mark_sent(row.id, at=at(40))
    assert states(store) == [("sent", "")]
    store.close()


def test_the_wait_between_tries_grows_to_five_minutes(tmp_path: Path) -> None:
    """Each refusal doubles the wait: 2 s, 4 s, 8 s, and never more than 300 s (house rule)."""
    store = open_store(tmp_path)
    write(store, letters=(letter("x"),))
    now, waits = START, []
    for _ in range(12):
        (row,) = store.ready_letters(at=now)
        store.mark_sending(row.id)
        store.mark_failed(row.id, at=now)
        again = store.next_letter_at()
        assert again is not None
        waits.append((again - now).total_seconds())
        now = again
    assert waits[:4] == [2, 4, 8, 16]
    assert max(waits) == waits[-1] == 300
    store.close()


def test_an_answer_nobody_could_be_given_for_a_day_is_dropped_and_help_is_not(
    tmp_path: Path,
) -> None:
    """After 24 hours of refusals an answer is given up and its words go; a help text goes on."""
    store = open_store(tmp_path)
    write(store, letters=(letter("a"), letter("help", delivery=Delivery.HELP)))
    for row in store.ready_letters(at=at(days=1.01)):
        store.mark_sending(row.id)
        store.mark_failed(row.id, at=at(days=1.01))
    assert [state for state, _ in states(store)] == ["dropped", "queued"]
    assert states(store)[0][1] == ""
    store.close()


def test_a_stale_letter_is_never_said(tmp_path: Path) -> None:
    """A reminder past its time is not ready any more, holds nobody back, and is dropped."""
    store = open_store(tmp_path)
    late = letter("ping", delivery=Delivery.REMINDER, stale_at=at(10))
    write(store, letters=(late, letter("a")))
    assert texts(store, 10) == ["ping", "a"]
    assert texts(store, 11) == ["a"]
    store.retire(at=at(11))
    assert states(store)[0] == ("dropped", "")
    store.close()


def test_what_was_under_way_at_a_crash_is_treated_by_its_class(tmp_path: Path) -> None:
    """After a start, letters left under way count as unknown: help and answers go again, reminders not."""
    store = open_store(tmp_path)
    write(
        store,
        letters=(
            letter("help", "p:mara", Delivery.HELP),
            letter("a"),
            letter("ping", "p:teo", Delivery.REMINDER),
        ),
    )
    store.mark_sending(*(row.id for row in store.ready_letters(at=at(0))))
    store.close()
    store = Store.open(tmp_path / "bot.sqlite")
    assert texts(store, 10) == []
    assert store.recover(at=at(0)) == 3
    assert texts(store, 10) == ["help", "a"]
    store.close()


def test_a_letter_of_a_slot_edits_the_last_one_that_was_sent(tmp_path: Path) -> None:
    """The second letter of a slot names the message of the first, and repeats without harm."""
    store = open_store(tmp_path)
    write(store, letters=(letter("order 1", slot="order"),))
    row = first(store)
    assert row.edits is None
    store.mark_sending(row.id)
    store.mark_sent(row.id, "501", at=at(0))
    write(store, letters=(letter("order 2", slot="order"),))
    row = first(store)
    assert row.edits == "501"
    for minutes in (0, 10, 20):
        store.mark_sending(row.id)
        assert store.mark_unknown(row.id, at=at(minutes))
    store.close()


def test_a_letter_of_a_slot_takes_the_place_of_one_that_has_not_left(tmp_path: Path) -> None:
    """Two orders in a row: only the newer one is said."""
    store = open_store(tmp_path)
    write(store, letters=(letter("order 1", slot="order"), letter("a")))
    write(store, letters=(letter("order 2", slot="order"),))
    assert texts(store) == ["a", "order 2"]
    store.close()


def keyed(*, slot: str | None = None) -> Letter:
    def key(label: str, *, sticky: bool = False) -> Key:
        return Key(
            label=label, says=f"frc {label}", diver="mara", may_press=("mara",), sticky=sticky
        )

    return letter(
        "next", keys=((key("12 ok"), key("12 hard")), (key("stop…", sticky=True),)), slot=slot
    )


def test_a_button_works_once_with_its_whole_letter(tmp_path: Path) -> None:
    """A press uses up all buttons of the letter, and what they said is gone; a sticky one and somebody
    else's press use none."""
    store = open_store(tmp_path)
    write(store, letters=(keyed(),))
    (ok, hard), (stop,) = first(store).tokens
    with store.turn(at=at(1)) as turn:
        for token, by in ((stop, "mara"), (ok, "teo"), (ok, "mara")):
            pressed = turn.press(token, by=by)
            assert pressed is not None
            assert not pressed.used
        again = turn.press(hard, by="mara")
        assert again is not None
        assert again.used
        assert (again.key.says, again.key.label) == ("", "12 hard")
    assert store.button("forged") is None
    store.close()


def test_tokens_are_unguessable_and_fit_into_callback_data(tmp_path: Path) -> None:
    """Every button has a token of its own of 16 random bytes, at most 64 bytes long on the wire."""
    store = open_store(tmp_path)
    write(store, letters=(keyed(), keyed()))
    tokens = [t for row in store.ready_letters(at=at(0)) for line in row.tokens for t in line]
    assert len(set(tokens)) == 6
    assert all(len(token.encode()) == 22 for token in tokens)
    store.close()


def test_buttons_of_a_replaced_letter_are_used_up(tmp_path: Path) -> None:
    """When a slot shows a newer letter, the older one's buttons no longer count."""
    store = open_store(tmp_path)
    write(store, letters=(keyed(slot="next"),))
    (ok, _), _ = first(store).tokens
    write(store, letters=(keyed(slot="next"),))
    stored = store.button(ok)
    assert stored is not None
    assert (stored.used, stored.key.says) == (True, "")
    store.close()


def test_what_tells_of_earlier_answers_is_gone_with_its_question(tmp_path: Path) -> None:
    """Two days after it left, a button whose line holds answers is used up and empty; others stay."""
    store = open_store(tmp_path)
    passing = Key(label="no", says="x four 23 nun", diver="mara", may_press=("mara",), passing=True)
    write(store, letters=(letter("4 of 4", keys=((passing,),)), keyed()))
    four, dive = store.ready_letters(at=at(0))
    (token,), (ok, _) = four.tokens[0], dive.tokens[0]
    store.retire(at=at(days=1.9))
    before = store.button(token)
    assert before is not None
    assert (before.used, before.key.says) == (False, "x four 23 nun")
    store.retire(at=at(days=2.1))
    after, other = store.button(token), store.button(ok)
    assert after is not None
    assert other is not None
    assert (after.used, after.key.says) == (True, "")
    assert (other.used, other.key.says) == (False, "frc 12 ok")
    store.close()


def test_a_reply_knows_the_message_and_the_topic_it_belongs_to(tmp_path: Path) -> None:
    """A reply goes to the topic of its message; anything else to the topic last spoken in."""
    store = open_store(tmp_path)
    with store.turn(at=START) as turn:
        group_in(turn)
        common = {"sender": "mara", "sent_at": START}
        asked = turn.hear("g:100", "31", text="next", thread="5", **common)  # type: ignore[arg-type]
        turn.hear("g:100", "32", text="hello", thread="6", **common)  # type: ignore[arg-type]
    write(store, letters=(letter("reply", reply_to=asked.number), letter("news")))
    reply, news = store.ready_letters(at=at(0))
    assert (reply.reply_to, reply.thread) == ("31", "5")
    assert (news.reply_to, news.thread) == (None, "6")
    store.close()


def test_a_letter_that_can_never_arrive_is_dropped_with_its_words(tmp_path: Path) -> None:
    """A closed chat: the letter is dropped, emptied, and the next one of the chat is ready."""
    store = open_store(tmp_path)
    write(store, letters=(letter("a1"), letter("a2")))
    store.drop(first(store).id, at=at(0) + timedelta(seconds=1), error="forbidden")
    assert texts(store) == ["a2"]
    assert states(store)[0] == ("dropped", "")
    store.close()


def test_a_word_of_harm_withdraws_what_waits_to_be_said_about_that_diver(tmp_path: Path) -> None:
    """An answer with a target that has not left is dropped, one under way goes no second time; help stays."""
    store = open_store(tmp_path)
    write(store, letters=(Letter(to="g:100", text="under way", about="mara"),))
    (row,) = store.ready_letters(at=at(0))
    store.mark_sending(row.id)
    write(
        store,
        letters=(
            Letter(to="g:100", text="Next: 8 m", about="mara"),
            Letter(to="g:100", text="Next: 9 m", about="teo"),
            Letter(to="p:mara", text="call", about="mara", delivery=Delivery.HELP),
        ),
    )
    write(
        store,
        harm("6", at(2), days=60.0, doctor=True),
        letters=(Letter(to="p:mara", text="new", about="mara"),),
        when=at(2),
    )
    assert not store.mark_unknown(row.id, at=at(3))
    left = {r.letter.text for r in store.ready_letters(at=at(4))}
    assert left == {"call", "Next: 9 m", "new"}
    store.close()


def test_a_target_that_stands_in_somebody_elses_letter_is_withdrawn_with_its_diver(
    tmp_path: Path,
) -> None:
    """Who is next behind Teo's answer, and a round that lists Mara, are gone with her word of harm."""
    store = open_store(tmp_path)
    tail = " On the line next: mara (teo), line 8 m."
    write(
        store,
        letters=(
            Letter(to="g:100", text="Logged." + tail, about="teo", tail=tail, names=("mara",)),
            Letter(to="g:100", text="mara (teo) 8", names=("mara", "ilse")),
            Letter(to="g:100", text="ilse (teo) 9", names=("ilse",)),
        ),
    )
    write(store, harm("6", at(2), days=60.0, doctor=True), when=at(2))
    assert texts(store, 4) == ["Logged.", "ilse (teo) 9"]
    store.close()
