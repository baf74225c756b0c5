"""Letters on their way out: pacing, lanes, and what follows each failure, by delivery class."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

import pytest

from bot.transport.carry import TEXT_MOST, split, units
from bot.transport.send import Limits, Pace
from bot.transport.telegram import CONNECTIONS
from tests.bot.transport.desk import GROUP, QUICK, mara, noor, running
from tests.loopback import Fault, Loopback

OTHER = -1002


async def test_429_is_obeyed_for_that_chat_only(server: Loopback, tmp_path: Path) -> None:
    """After `retry_after` of one chat the next message there waits so long; other chats don't."""
    server.group(OTHER)
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.faults.append(
            Fault("sendMessage", status=429, parameters={"retry_after": 1}, chat=GROUP)
        )
        began = time.monotonic()
        server.say(GROUP, mara(server), "one")
        await server.until(lambda: server.calls["sendMessage"] == 1)
        server.say(OTHER, noor(server), "two")
        await desk.told("heard two", OTHER)
        assert "heard one" not in desk.texts()
        await desk.told("heard one")
        assert time.monotonic() - began >= 1.0
    assert desk.texts() == ["heard one"]


@pytest.mark.parametrize(
    ("word", "text", "times"),
    [("help", "help text", 3), ("say", "heard say", 2), ("debrief", "debrief", 2),
     ("remind", "reminder", 1)],
)  # fmt: skip
async def test_an_answer_that_is_dropped_is_sent_again_by_class(
    server: Loopback, tmp_path: Path, word: str, text: str, times: int
) -> None:
    """Accepted and the reply lost: help again until it is known, others once more, a reminder never."""
    server.faults.append(Fault("sendMessage", times=2, accept=True, drop=True))
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), word)
        await server.until(lambda: len(server.said(GROUP)) == times, 20)
        server.faults.clear()
        server.say(GROUP, mara(server), "after")
        await desk.told("heard after", timeout_s=20)
    assert desk.texts() == [text] * times + ["heard after"]


@pytest.mark.parametrize("word", ["help", "say", "debrief"])
async def test_502_is_tried_again_until_it_works(
    server: Loopback, tmp_path: Path, word: str
) -> None:
    """While the messenger refuses, a letter waits and then goes out once, before what came later."""
    server.faults.append(Fault("sendMessage", status=502))
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), word)
        await server.until(lambda: server.calls["sendMessage"] >= 1)
        server.say(GROUP, mara(server), "later")
        await desk.told("heard later", timeout_s=20)
        await server.until(lambda: len(desk.texts()) == 2, 20)
    assert len(desk.texts()) == 2
    assert word == "help" or desk.texts()[1] == "heard later"


async def test_401_while_sending_recovers(server: Loopback, tmp_path: Path) -> None:
    """A token that is refused for a while costs no answer."""
    server.faults.append(Fault("sendMessage", status=401, description="Unauthorized"))
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "one")
        await desk.told("heard one", timeout_s=20)
    assert desk.texts() == ["heard one"]


async def test_a_hanging_answer_delays_nobody_elses_help(server: Loopback, tmp_path: Path) -> None:
    """With a send hanging in each of two chats, help texts leave at once in the same chats."""
    server.group(OTHER)
    server.faults.append(Fault("sendMessage", times=2, accept=True, delay_s=4))
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "slow")
        server.say(OTHER, noor(server), "slow")
        await server.until(lambda: server.calls["sendMessage"] == 2)
        server.say(GROUP, mara(server), "help")
        server.say(OTHER, noor(server), "help")
        await desk.told("help text")
        await desk.told("help text", OTHER)
        assert server.hanging == 2


async def test_more_hanging_answers_than_connections_delay_no_help(
    server: Loopback, tmp_path: Path
) -> None:
    """With every connection of the answers hanging, a help text still leaves at once."""
    server.faults.append(Fault("sendMessage", times=CONNECTIONS, accept=True, delay_s=6))
    others = [OTHER - i for i in range(CONNECTIONS)]
    async with running(server, tmp_path / "b.sqlite") as desk:
        for chat in others:
            server.group(chat)
            server.say(chat, noor(server), "slow")
        await server.until(lambda: server.hanging == CONNECTIONS)
        server.say(GROUP, mara(server), "help")
        await desk.told("help text")
        assert server.hanging == CONNECTIONS


async def test_help_goes_before_the_answer_of_the_same_turn(
    server: Loopback, tmp_path: Path
) -> None:
    """Of two letters written together the help text leaves first."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "help+")
        await desk.told("heard help+")
    assert desk.texts() == ["help text", "heard help+"]


async def test_a_chat_is_paced_and_lines_that_wait_are_joined(
    server: Loopback, tmp_path: Path
) -> None:
    """Messages to one chat keep their distance, and what waits meanwhile leaves as one message."""
    limits = Limits(chat_s=0.3, group_a_minute=1000, all_a_second=1000)
    async with running(server, tmp_path / "b.sqlite", limits=limits) as desk:
        for i in range(6):
            server.say(GROUP, mara(server), f"n{i}")
            await asyncio.sleep(0.05)
        await desk.told("heard n5")
    assert desk.texts() == [f"heard n{i}" for i in range(6)]
    assert 2 <= len(server.said(GROUP)) < 6


async def test_buttons_are_never_joined_away(server: Loopback, tmp_path: Path) -> None:
    """A letter with buttons ends a joined message, and its buttons work."""
    limits = Limits(chat_s=0.4, group_a_minute=1000, all_a_second=1000)
    async with running(server, tmp_path / "b.sqlite", limits=limits) as desk:
        for word in ("one", "two", "keys", "three"):
            server.say(GROUP, mara(server), word)
        await desk.told("part 2")
        with_keys = [m for m in server.messages.values() if "reply_markup" in m]
        assert [m["text"].split("\n\n")[-1] for m in with_keys] == ["next"]
        server.press(GROUP, mara(server), with_keys[0]["message_id"], "12 ok")
        await desk.told("heard exh 12 ok")
    assert desk.texts() == [
        "heard one", "heard two", "next", "part 0", "part 1", "part 2", "heard exh 12 ok"
    ]  # fmt: skip


def test_pace_keeps_all_three_limits() -> None:
    """A second between messages of a chat, 20 a minute in a group, 30 a second overall."""
    pace = Pace()
    assert pace.wait_s(-1, now_s=100.0) == 0
    pace.gone(-1, now_s=100.0)
    assert pace.wait_s(-1, now_s=100.25) == pytest.approx(0.75)
    assert pace.wait_s(-2, now_s=100.25) == 0
    for i in range(1, 20):
        pace.gone(-1, now_s=100.0 + i)
    assert pace.wait_s(-1, now_s=121.0) == pytest.approx(39.0)
    assert pace.wait_s(-1, now_s=160.5) == 0
    for user in range(20):
        pace.gone(7, now_s=200.0 + user)
    assert pace.wait_s(7, now_s=221.0) == 0  # a private chat has no limit a minute
    for user in range(30):
        pace.gone(50 + user, now_s=300.0)
    assert pace.wait_s(-9, now_s=300.4) == pytest.approx(0.6)


async def test_a_slot_is_edited_and_sent_anew_when_it_is_gone(
    server: Loopback, tmp_path: Path
) -> None:
    """A second letter of a slot edits the first; unchanged is fine; after a deletion it is sent."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        for text in ("slot 1", "slot 2", "slot 2"):
            before = server.calls["sendMessage"] + server.calls["editMessageText"]
            server.say(GROUP, mara(server), text)
            await server.until(
                lambda before=before: (
                    server.calls["sendMessage"] + server.calls["editMessageText"] > before
                )
            )
            await asyncio.sleep(0.1)
        assert desk.texts() == ["round 1"]
        number = next(k for k, m in server.messages.items() if m.get("text") == "round 2")
        del server.messages[number]
        server.say(GROUP, mara(server), "slot 3")
        await desk.told("round 3")
        server.say(GROUP, mara(server), "slot 4")
        await server.until(
            lambda: any(m.get("text") == "round 4" for m in server.messages.values())
        )
    assert desk.texts() == ["round 1", "round 3"]
    assert server.calls["editMessageText"] == 4


async def test_an_edit_whose_answer_was_lost_is_done_again(
    server: Loopback, tmp_path: Path
) -> None:
    """An edit may be repeated without harm, so it is, until it is known to have been done."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "slot 1")
        await desk.told("round 1")
        server.faults.append(Fault("editMessageText", drop=True))
        server.say(GROUP, mara(server), "slot 2")
        await server.until(
            lambda: any(m.get("text") == "round 2" for m in server.messages.values()), 20
        )
    assert desk.texts() == ["round 1"]


async def test_reactions_and_a_group_that_forbids_them(server: Loopback, tmp_path: Path) -> None:
    """A reaction is set on the message it answers; where it is forbidden it is said as a message."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        number = server.say(GROUP, mara(server), "react")
        await server.until(lambda: server.messages[(GROUP, number)].get("reactions") == ["👍"])
        assert desk.texts() == []
        server.no_reactions.add(GROUP)
        server.say(GROUP, mara(server), "react")
        await desk.told("👍")


async def test_a_picture_is_drawn_when_it_is_sent(server: Loopback, tmp_path: Path) -> None:
    """A picture that can't be drawn costs the picture, not the words."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "draw nonsense")
        await desk.told("see")
    assert server.said(GROUP)[0].method == "sendMessage"


async def test_documents_arrive_with_their_words(server: Loopback, tmp_path: Path) -> None:
    """A document is sent as a file under its name, its text as the caption."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(7, mara(server), "file")
        await desk.told("yours", 7)
    assert server.files == [("dives.csv", b"a,b\n")]


async def test_a_long_text_is_cut_at_line_ends_and_goes_on_where_it_failed(
    server: Loopback, tmp_path: Path
) -> None:
    """More than 4096 units leave as several messages; after a 502 only what is missing follows."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.faults.append(Fault("sendMessage", accept=True))
        server.faults.append(Fault("sendMessage", status=502))
        server.say(7, mara(server), "long")
        await server.until(lambda: len(server.said(7)) == 3, 20)
        await asyncio.sleep(0.1)
    said = [a.text for a in server.said(7)]
    assert "\n".join(said).split() == ("line of the log\n" * 700).split()
    assert len(said) == 3
    assert server.calls["sendMessage"] == 4
    assert desk.texts(7)


def test_split_counts_as_the_messenger_does() -> None:
    """No part is longer than allowed in UTF-16 units, and nothing is lost."""
    text = "🐬" * 5000
    parts = split(text, TEXT_MOST)
    assert "".join(parts) == text
    assert max(map(units, parts)) <= TEXT_MOST
    assert split("a\n\nb", 2) == ["a", "b"]
    assert split("", 10) == []


async def test_a_send_under_way_is_finished_before_the_end(
    server: Loopback, tmp_path: Path
) -> None:
    """A stop waits for the answer of a slow send, so that nothing is repeated by the next start."""
    path = tmp_path / "b.sqlite"
    server.faults.append(Fault("sendMessage", accept=True, delay_s=0.7))
    async with running(server, path) as desk:
        server.say(GROUP, mara(server), "one")
        await server.until(lambda: server.calls["sendMessage"] == 1)
    async with running(server, path) as desk:
        server.say(GROUP, mara(server), "two")
        await desk.told("heard two")
    assert desk.texts() == ["heard one", "heard two"]


async def test_text_that_looks_like_markup_arrives_as_it_is(
    server: Loopback, tmp_path: Path
) -> None:
    """Letters are plain text: no parse mode, so names and notes can't become markup."""
    async with running(server, tmp_path / "b.sqlite", limits=QUICK) as desk:
        server.say(GROUP, mara(server), "<b>*_[x](y)")
        await desk.told("heard <b>*_[x](y)")
    assert all("parse_mode" not in a.params for a in server.said(GROUP))
