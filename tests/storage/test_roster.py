"""Groups, members and message numbers."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from storage.outcome import (
    AddMember,
    CallOver,
    Delivery,
    Letter,
    Member,
    Met,
    Outcome,
    SetRoom,
    Site,
)
from storage.schema import StorageError
from storage.store import Address, Store
from tests.storage.scene import START, at, group_in, open_store, write


def test_a_group_is_known_by_its_key_and_its_messenger_id(tmp_path: Path) -> None:
    """Zone, site and title are kept; a later title is noted, a stated zone is not overwritten."""
    store = open_store(tmp_path)
    site = Site(salt=False, gauge=False, altitude_m=430.0, meeting_point="the jetty")
    write(store, changes=(SetRoom(timezone="Europe/Athens", site=site),))
    with store.turn(at=START) as turn:
        again = turn.ensure_room(
            messenger="paper", external_id="100", title="Wednesday", timezone="UTC"
        )
    store.close()
    store = Store.open(tmp_path / "bot.sqlite")
    (room,) = store.rooms()
    assert room == again
    assert (room.chat, room.title, room.timezone) == ("g:100", "Wednesday", "Europe/Athens")
    assert room.zone_stated
    assert room.site == site
    assert store.address("g:100") == Address(messenger="paper", external_id="100")
    store.close()


def test_a_diver_without_a_phone_is_on_the_roster_and_has_no_address(tmp_path: Path) -> None:
    """`add noor` puts n-noor into the group; nothing can be sent to her."""
    store = open_store(tmp_path)
    write(store, changes=(AddMember(member=Member(key="n-noor", name="noor", has_phone=False)),))
    room = store.room_of("n-noor")
    assert room is not None
    found = room.named("NOOR")
    assert found is not None
    assert (found.key, found.has_phone) == ("n-noor", False)
    assert store.address("p:n-noor") is None
    assert store.address("p:mara") == Address(messenger="paper", external_id="u-mara")
    store.close()


def test_a_name_that_is_taken_gets_a_number_and_keeps_it(tmp_path: Path) -> None:
    """Names are unique in a group, whatever their case, and a second Mara stays mara2."""
    store = open_store(tmp_path)
    for _ in range(3):
        with store.turn(at=START) as turn:
            other = turn.ensure_member(key="t77", name="Mara", room="g:100")
    assert other.name == "Mara2"
    room = store.room("g:100")
    assert room is not None
    assert [m.name for m in room.members.values()] == ["mara", "teo", "Mara2"]
    store.close()


def test_home_is_the_group_last_spoken_in_and_a_room_of_ones_own_without_any(
    tmp_path: Path,
) -> None:
    """A stranger in private has an own room until they speak in a group; then the last group counts."""
    store = open_store(tmp_path)

    def home() -> str:
        room = store.room_of("ilse")
        assert room is not None
        assert "ilse" in room.members
        return room.chat

    with store.turn(at=START) as turn:
        turn.ensure_member(key="ilse", name="ilse", can_dm=True)
    assert home() == "p:ilse"
    with store.turn(at=START) as turn:
        turn.ensure_room(messenger="paper", external_id="200", title="Friday")
        for group in ("g:100", "g:200"):
            turn.ensure_member(key="ilse", name="ilse", room=group)
    assert home() == "g:200"
    with store.turn(at=START) as turn:
        member = turn.ensure_member(key="ilse", name="ilse")  # in private: the group stays
    assert home() == "g:200"
    assert member.can_dm
    with store.turn(at=START) as turn:
        turn.set_can_dm("ilse", False)
        turn.ensure_member(key="ilse", name="ilse", room="g:100")
    room = store.room_of("ilse")
    assert room is not None
    assert not room.members["ilse"].can_dm
    store.close()


def test_a_flag_stays_until_it_is_said_otherwise(tmp_path: Path) -> None:
    """Who is an admin of one group is none of another, and stays one when nothing is said of it."""
    store = open_store(tmp_path)
    with store.turn(at=START) as turn:
        turn.ensure_room(messenger="paper", external_id="200")
        turn.ensure_member(key="mara", name="mara", room="g:100", is_admin=True)
        turn.ensure_member(key="mara", name="mara", room="g:200")
        turn.ensure_member(key="mara", name="mara", room="g:100")
    one, two = store.room("g:100"), store.room("g:200")
    assert one is not None
    assert two is not None
    assert one.members["mara"].is_admin
    assert not two.members["mara"].is_admin
    store.close()


@pytest.mark.parametrize("key", ["", "p:mara", "m" * 70])
def test_a_key_that_fits_into_no_private_chat_is_refused(tmp_path: Path, key: str) -> None:
    """A member's key is what stands behind `p:`: not empty, no colon, not too long."""
    store = open_store(tmp_path)
    with pytest.raises(StorageError), store.turn(at=START) as turn:
        turn.ensure_member(key=key, name="x", room="g:100")
    store.close()


def test_messages_are_numbered_in_our_own_count_and_edits_counted(tmp_path: Path) -> None:
    """An edit keeps its number and counts on; an unchanged one says so; numbers are never reused."""
    store = open_store(tmp_path)
    with store.turn(at=START) as turn:
        group_in(turn)

        def hear(external: str, text: str) -> tuple[int, int, bool]:
            noted = turn.hear("g:100", external, sender="mara", text=text, sent_at=START)
            return noted.number, noted.edit, noted.changed

        assert hear("900", "exh 7 ok") == (1, 0, True)
        assert hear("905", "exh 7 ok") == (2, 0, True)
        assert turn.next_number("g:100") == 3
        assert hear("900", "exh 7 ok") == (1, 0, False)
        assert hear("900", "exh 8 ok") == (1, 1, True)
        assert hear("900", "exh 7 ok") == (1, 2, True)
        noted = turn.heard_of("g:100", "900")
        assert noted is not None
        assert (noted.number, noted.sender, noted.edit) == (1, "mara", 2)
        assert turn.heard_of("g:100", "901") is None
    store.retire(at=at(days=200))
    with store.turn(at=at(days=200)) as turn:
        assert turn.heard_of("g:100", "900") is None
        assert turn.next_number("g:100") == 4
    store.close()


def test_a_group_that_becomes_a_supergroup_stays_the_same_group(tmp_path: Path) -> None:
    """Old and new chat id mean one group, letters go to the new one, and message ids begin anew."""
    store = open_store(tmp_path)
    with store.turn(at=START) as turn:
        group_in(turn)
        first = turn.hear("g:100", "1", sender="mara", text="next", sent_at=START)
        # a message under the new id comes before anybody has told of the move
        stray = turn.ensure_room(messenger="paper", external_id="-100900")
        turn.ensure_member(key="ana", name="ana", room=stray.chat)
    with store.turn(at=START) as turn:
        for _ in range(2):  # told by the old chat and by the new one
            turn.move_room(messenger="paper", old_external_id="100", external_id="-100900")
        room = turn.ensure_room(messenger="paper", external_id="-100900")
        assert room.chat == "g:100"
        assert turn.ensure_room(messenger="paper", external_id="100").chat == "g:100"
        assert "ana" in room.members
        again = turn.hear("g:100", "1", sender="teo", text="order", sent_at=START)
    assert again.number != first.number
    assert again.edit == 0
    assert len(store.rooms()) == 1
    assert store.address("g:100") == Address(messenger="paper", external_id="-100900")
    ana = store.room_of("ana")
    assert ana is not None
    assert ana.chat == "g:100"
    store.close()


def test_an_unknown_group_or_member_is_none(tmp_path: Path) -> None:
    """Asking for what nobody has named gives None, and creates nothing."""
    store = open_store(tmp_path)
    assert store.room("g:1") is None
    assert store.room_of("nobody") is None
    assert store.member_by_external("paper", "nobody") is None
    assert store.chat_by_external("paper", "nobody") is None
    assert store.address("g:1") is None
    write(store, changes=())
    with store.turn(at=START) as turn:
        turn.move_room(messenger="paper", old_external_id="nobody", external_id="x")
        turn.write(Outcome(), room=group_in(turn))
    assert len(store.rooms()) == 1
    store.close()


def called_at(store: Store, chat: str = "g:100") -> datetime | None:
    room = store.room(chat)
    assert room is not None
    return room.called_at


def test_a_text_of_help_to_a_group_leaves_its_moment_and_nothing_else(tmp_path: Path) -> None:
    """The group's own row holds when, whomever it was about; help in private leaves nothing there."""
    store = open_store(tmp_path)
    help_to_mara = Letter(to="p:mara", text="x", delivery=Delivery.HELP, about="mara")
    write(store, letters=(help_to_mara,), when=at(1))
    write(store, letters=(Letter(to="g:100", text="mara: no target today."),), when=at(2))
    assert called_at(store) is None
    write(store, letters=(replace(help_to_mara, to="g:100"),), when=at(3))
    assert called_at(store) == at(3)
    write(store, changes=(CallOver(chat="g:100"),), when=at(4))
    assert called_at(store) is None
    store.close()


def test_a_call_for_help_moves_with_its_group(tmp_path: Path) -> None:
    """A group that got a new chat id goes on as called, by whichever of its two rows was told last."""
    store = open_store(tmp_path)
    help_to = Letter(to="g:200", text="x", delivery=Delivery.HELP)
    with store.turn(at=at(5)) as turn:
        stray = turn.ensure_room(messenger="paper", external_id="200")
        turn.write(Outcome(letters=(help_to,)), room=stray)
    with store.turn(at=at(6)) as turn:
        turn.move_room(messenger="paper", old_external_id="100", external_id="200")
    assert called_at(store) == at(5)
    store.close()


def test_a_member_is_new_until_they_were_told_for_whom_this_is(tmp_path: Path) -> None:
    """Told in one group, a member is new in no other; and nobody else is told with them."""
    store = open_store(tmp_path)
    write(store, changes=(Met(member="mara"),))
    with store.turn(at=START) as turn:
        turn.ensure_room(messenger="paper", external_id="200")
        turn.ensure_member(key="mara", name="mara", room="g:200")
    for chat, member, is_new in (
        ("g:100", "mara", False),
        ("g:200", "mara", False),
        ("g:100", "teo", True),
    ):
        room = store.room(chat)
        assert room is not None
        assert room.members[member].is_new is is_new
    store.close()
