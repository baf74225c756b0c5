"""Groups and the people in them: edits, buttons, rights, topics, moves, closed doors."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

import pytest

from bot.heard import Kind
from bot.transport.telegram import menus
from bot.transport.update import start_link
from tests.bot.transport.desk import GROUP, Desk, mara, noor, running
from tests.loopback import TOKEN, Json, Loopback

ROOT = Path(__file__).resolve().parents[3]


def keyboard(server: Loopback) -> Json:
    return next(m for m in server.messages.values() if "reply_markup" in m)


async def heard(desk: Desk, number: int) -> None:
    await desk.server.until(lambda: len(desk.talk.heard) >= number)


async def test_an_edit_is_heard_as_a_new_version(server: Loopback, tmp_path: Path) -> None:
    """Each change of a text counts on from 0; unchanged text (a reaction, a preview) is dropped."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        number = server.say(GROUP, mara(server), "exh 11 ok")
        for text in ("exh 11 ok", "exh 11.5 ok", "exh 11.5 ok", "exh 12 ok"):
            server.edit(GROUP, number, text)
        await desk.told("heard exh 12 ok")
    assert [(h.kind, h.text, h.edit) for h in desk.talk.heard] == [
        (Kind.MESSAGE, "exh 11 ok", 0),
        (Kind.EDIT, "exh 11.5 ok", 1),
        (Kind.EDIT, "exh 12 ok", 2),
    ]
    assert len({(h.chat, h.message) for h in desk.talk.heard}) == 1
    assert len({h.sent_at for h in desk.talk.heard}) == 1


async def test_an_edit_of_what_was_never_heard_is_nothing(server: Loopback, tmp_path: Path) -> None:
    """A message from before the bot came does not become a report by being edited."""
    server.say(GROUP, mara(server), "exh 11 ok")
    server.updates.clear()
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.edit(GROUP, 1, "exh 30 ok")
        server.say(GROUP, mara(server), "after")
        await desk.told("heard after")
    assert [h.text for h in desk.talk.heard] == ["after"]


async def test_a_button_says_its_line_once_and_for_its_diver(
    server: Loopback, tmp_path: Path
) -> None:
    """Another's press uses nothing up; the diver's works once and clears the row; forged ones never."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "keys")
        await desk.told("next")
        message = keyboard(server)
        number = message["message_id"]
        token = message["reply_markup"]["inline_keyboard"][0][0]["callback_data"]
        server.press(GROUP, noor(server), number, data=token)
        await heard(desk, 2)
        assert message["reply_markup"]["inline_keyboard"]
        server.press(GROUP, mara(server), number, data=token)
        await server.until(lambda: not message["reply_markup"]["inline_keyboard"])
        server.press(GROUP, mara(server), number, data=token)
        server.press(GROUP, mara(server), number, data="exh 40 ok")
        server.press(GROUP, mara(server), number, data="'; DROP TABLE fact; --")
        await heard(desk, 6)
        await server.until(lambda: server.calls["answerCallbackQuery"] == 5)
    presses = [h for h in desk.talk.heard if h.kind is Kind.PRESS]
    seen = [(h.sender, h.text, h.button.fresh, h.button.known) for h in presses if h.button]
    assert seen == [
        ("t8", "exh 12 ok", True, True),
        ("t7", "exh 12 ok", True, True),
        ("t7", "", False, True),
        ("t7", "", False, False),
        ("t7", "", False, False),
    ]
    assert {h.button.diver for h in presses[:3] if h.button} == {"t7"}
    assert len({h.message for h in desk.talk.heard}) == 6
    assert all(server._queries.values())


async def test_a_button_of_another_chat_is_not_known(server: Loopback, tmp_path: Path) -> None:
    """A token that was made for one chat counts as forged in another."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "keys")
        await desk.told("next")
        token = keyboard(server)["reply_markup"]["inline_keyboard"][0][0]["callback_data"]
        number = server.say(7, mara(server), "hello")
        server.press(7, mara(server), number, data=token)
        await heard(desk, 3)
    button = desk.talk.heard[-1].button
    assert button is not None
    assert not button.known


async def test_a_reply_names_whose_message_it_answers(server: Loopback, tmp_path: Path) -> None:
    """A reply to a member is marked with the member; one to the bot or to a topic's head is none."""
    server.group(-1009, forum=True)
    server.topics[-1009][5] = True
    async with running(server, tmp_path / "b.sqlite") as desk:
        first = server.say(GROUP, mara(server), "exh 9 ok")
        await desk.told("heard exh 9 ok")
        of_mara = server.messages[(GROUP, first)]
        of_bot = server.messages[(GROUP, first + 1)]
        server.say(GROUP, noor(server), "stop sternum", reply_to_message=of_mara)
        server.say(GROUP, noor(server), "thanks", reply_to_message=of_bot)
        head = of_mara | {"forum_topic_created": {"name": "Exhale", "icon_color": 0}}
        server.say(
            -1009, noor(server), "hello", reply_to_message=head,
            message_thread_id=5, is_topic_message=True,
        )  # fmt: skip
        await desk.told("heard hello", -1009)
    assert [h.reply_to_sender for h in desk.talk.heard] == [None, "t7", None, None]


@pytest.mark.parametrize(
    ("extra", "problem"),
    [
        ({"sender_chat": {"id": GROUP, "type": "supergroup", "title": "x"}}, "anonymous"),
        ({"sender_chat": {"id": -5, "type": "channel", "title": "x"}}, "channel"),
        ({"via_bot": {"id": 9, "is_bot": True, "first_name": "b"}}, "via-bot"),
        (
            {"forward_origin": {"type": "hidden_user", "date": 1, "sender_user_name": "x"}},
            "forward",
        ),
        ({"from": {"id": 9, "is_bot": True, "first_name": "b"}}, "bot"),
    ],
)
async def test_what_no_diver_said_is_never_heard_as_a_report(
    server: Loopback, tmp_path: Path, extra: Json, problem: str
) -> None:
    """Anonymous admins, channels, bots and forwards are marked as ignored, with the reason, no words."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        message = server._message(GROUP, mara(server), text="exh 30 ok", **extra)
        server.push("message", message)
        await desk.told(f"ignored {problem}")
    assert [(h.kind, h.problem, h.text) for h in desk.talk.heard] == [(Kind.IGNORED, problem, "")]


async def test_channel_posts_and_other_kinds_are_nothing(server: Loopback, tmp_path: Path) -> None:
    """Channel posts, service notices and stickers in a group bring no word and no entry."""
    server.chats[-77] = {"id": -77, "type": "channel", "title": "x"}
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.push("message", server._message(-77, mara(server), text="exh 3 ok"))
        server.push("channel_post", server._message(-77, mara(server), text="exh 4 ok"))
        server.push("message", server._message(GROUP, mara(server), new_chat_title="x"))
        server.push("message", server._message(GROUP, mara(server)))
        server.say(GROUP, mara(server), "after")
        await desk.told("heard after")
    assert [h.text for h in desk.talk.heard] == ["after"]


async def test_privacy_mode_is_said_when_the_bot_joins(server: Loopback, tmp_path: Path) -> None:
    """Added as a plain member with privacy on: a problem; made admin, or privacy off: none."""
    server.me["can_read_all_group_messages"] = False
    server.members[(GROUP, 7)] = "creator"
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.status(GROUP, mara(server), "member")
        await desk.told("joined privacy")
        server.status(GROUP, mara(server), "administrator")
        await desk.told("joined")
        server.me["can_read_all_group_messages"] = True
        server.status(GROUP, mara(server), "member")
        await heard(desk, 3)
        room = desk.store.room("g:-1001")
        assert room is not None
        assert room.members["t7"].is_admin
    assert [h.problem for h in desk.talk.heard] == ["privacy", "", ""]


async def test_admins_are_known_at_their_first_message(server: Loopback, tmp_path: Path) -> None:
    """Who is admin of a group is asked before its first message is worked off."""
    server.members[(GROUP, 7)] = "administrator"
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "zone Europe/Lisbon")
        server.say(GROUP, noor(server), "hello")
        await desk.told("heard hello")
        room = desk.store.room("g:-1001")
        assert room is not None
    assert {m.key: m.is_admin for m in room.members.values()} == {"t7": True, "t8": False}


async def test_a_closed_private_chat_is_remembered(server: Loopback, tmp_path: Path) -> None:
    """Forbidden clears `can_dm` and drops the letter; writing to the bot sets it again."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(7, mara(server), "hello")
        await desk.told("heard hello", 7)
        member = desk.store.member_by_external("telegram", "7")
        assert member is not None
        assert member.can_dm
        server.gone[7] = "Forbidden: bot was blocked by the user"
        server.say(GROUP, mara(server), "private")
        await server.until(lambda: not _reachable(desk))
        server.gone.clear()
        server.say(7, mara(server), "again")
        await desk.told("heard again", 7)
        assert _reachable(desk)
        server.status(7, mara(server), "kicked")
        await server.until(lambda: not _reachable(desk))
    assert desk.talk.heard[-1].kind is Kind.BLOCKED
    assert "only to you" not in desk.texts(7)


def _reachable(desk: Desk) -> bool:
    member = desk.store.member_by_external("telegram", "7")
    return member is not None and member.can_dm


async def test_nobody_can_be_written_to_first(server: Loopback, tmp_path: Path) -> None:
    """A private letter to somebody who never wrote is dropped, and the group goes on."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "private")
        server.say(GROUP, mara(server), "after")
        await desk.told("heard after")
        await asyncio.sleep(0.1)
    assert desk.texts(7) == []
    assert server.calls["sendMessage"] >= 2


@pytest.mark.parametrize("said", [True, False])
async def test_a_group_that_moves_keeps_its_key(
    server: Loopback, tmp_path: Path, said: bool
) -> None:
    """After a migration, told by a message or only by the error on sending, it is the same group."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "before")
        await desk.told("heard before")
        server.migrate(GROUP, -100555, said=said)
        if said:
            server.say(-100555, mara(server), "after")
            await desk.told("heard after", -100555)
        else:
            desk.due_in(0, "t7", "the debrief")
            server.say(7, mara(server), "quiet")
            await desk.told("due the debrief", -100555)
            server.say(-100555, mara(server), "after")
            await desk.told("heard after", -100555)
    keys = [(h.chat, h.message) for h in desk.talk.heard if not h.private]
    assert {chat for chat, _ in keys} == {"g:-1001"}
    assert len(set(keys)) == 2  # numbers that begin anew are not the old messages


async def test_answers_stay_in_their_topic(server: Loopback, tmp_path: Path) -> None:
    """An answer goes into the topic of its message, General by leaving it out, closed without it."""
    forum = server.group(-1009, forum=True)
    server.topics[forum] |= {5: True, 6: False}
    async with running(server, tmp_path / "b.sqlite") as desk:
        topic = {"message_thread_id": 5, "is_topic_message": True}
        server.say(forum, mara(server), "in topic", **topic)
        await desk.told("heard in topic", forum)
        server.say(forum, mara(server), "in general", message_thread_id=1)
        await desk.told("heard in general", forum)
        server.say(forum, mara(server), "in closed", **(topic | {"message_thread_id": 6}))
        await desk.told("heard in closed", forum)
    threads = [a.params.get("message_thread_id") for a in server.said(forum)]
    assert threads == ["5", None, None]


async def test_a_deep_link_brings_a_diver_home(server: Loopback, tmp_path: Path) -> None:
    """`/start` with a sealed payload joins the group it came from; a forged payload joins none."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "link")
        await server.until(lambda: len(server.said(GROUP)) == 1)
        link = keyboard(server)["reply_markup"]["inline_keyboard"][0][0]["url"]
        assert link == start_link("OurBot", GROUP, TOKEN)
        payload = link.rpartition("=")[2]
        server.say(8, noor(server), f"/start {payload}")
        await desk.told("heard /start", 8)
        other = server.person(9, "Ilse")
        server.say(9, other, f"/start {payload[:-1]}x")
        await desk.told("heard /start", 9)
        homes = {k: desk.store.room_of(k) for k in ("t8", "t9")}
    assert homes["t8"] is not None
    assert homes["t8"].chat == "g:-1001"
    assert homes["t9"] is not None
    assert homes["t9"].chat == "p:t9"
    assert len(payload) <= 64


async def test_something_without_words_in_private_is_marked(
    server: Loopback, tmp_path: Path
) -> None:
    """A voice note in private is heard as ignored, so that help can be offered."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        voice = {"file_id": "f", "file_unique_id": "u", "duration": 1}
        server.say(7, mara(server), "hello")
        server.push("message", server._message(7, mara(server), voice=voice))
        await heard(desk, 2)
    assert (desk.talk.heard[1].kind, desk.talk.heard[1].problem) == (Kind.IGNORED, "no-text")


async def test_the_messengers_time_is_the_time_it_was_said(
    server: Loopback, tmp_path: Path
) -> None:
    """A message worked off late carries the moment it was sent."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "late", date=int(time.time()) - 7200)
        await desk.told("heard late")
    late = desk.talk.heard[0]
    assert 7195 < (late.now - late.sent_at).total_seconds() < 7300


def test_the_texts_that_ask_for_a_private_chat_get_the_link() -> None:
    """The words that bring the link stand in the bot's texts; without them it would never show."""
    below = menus()["link"]["below"].casefold()
    texts = "".join(p.read_text("utf-8") for p in (ROOT / "bot" / "texts").glob("*.toml"))
    assert below in texts.casefold()
