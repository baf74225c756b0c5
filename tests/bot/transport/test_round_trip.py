"""From a message over real HTTP to a sent answer, and everything that may happen on the way in."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import sqlite3
import sys
from pathlib import Path

from bot.heard import Kind
from tests.bot.transport.desk import GROUP, Talk, mara, noor, running
from tests.loopback import TOKEN, Fault, Loopback

ROOT = Path(__file__).resolve().parents[3]


async def test_a_report_is_answered_where_it_was_said(server: Loopback, tmp_path: Path) -> None:
    """A message in the group is answered there, as a reply; one in private, in private."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        number = server.say(GROUP, mara(server), "exh 7 ok")
        await desk.told("heard exh 7 ok")
        assert server.said(GROUP)[0].params["reply_parameters"]["message_id"] == number
        server.say(7, mara(server), "log")
        await desk.told("heard log", chat=7)
    heard = desk.talk.heard
    assert [(h.kind, h.chat, h.sender, h.private) for h in heard] == [
        (Kind.MESSAGE, "g:-1001", "t7", False),
        (Kind.MESSAGE, "p:t7", "t7", True),
    ]


async def test_kill_9_between_receiving_and_working_off_loses_nothing(
    server: Loopback, tmp_path: Path
) -> None:
    """200 updates confirmed by a process that is then killed: the next one answers each once."""
    path = tmp_path / "b.sqlite"
    for i in range(200):
        server.say(server.group(-3000 - i), mara(server), f"exh {i} ok")
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tests.bot.transport.deaf", server.url, str(path), cwd=ROOT
    )
    await server.until(lambda: len(server.polls) > 1 and not server.updates, 20)
    os.kill(process.pid, signal.SIGKILL)
    await process.wait()
    assert not any(server.said(-3000 - i) for i in range(200))
    async with running(server, path):
        await server.until(lambda: all(server.said(-3000 - i) for i in range(200)), 20)
    assert [server.said(-3000 - i)[0].text for i in range(200)] == [
        f"heard exh {i} ok" for i in range(200)
    ]
    assert [len(server.said(-3000 - i)) for i in range(200)] == [1] * 200


async def test_a_redelivery_changes_nothing(server: Loopback, tmp_path: Path) -> None:
    """An update that comes twice, under its own number or a new one, is heard once."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "exh 7 ok")
        update = server.updates[0]
        await desk.told("heard exh 7 ok")
        server.updates.append(update)
        server.push("message", update["message"])
        server.say(GROUP, mara(server), "exh 8 ok")
        await desk.told("heard exh 8 ok")
    assert [h.text for h in desk.talk.heard] == ["exh 7 ok", "exh 8 ok"]


async def test_an_unreadable_update_holds_nobody_back(server: Loopback, tmp_path: Path) -> None:
    """Updates that the library can't parse are set aside; those round them are answered."""
    path = tmp_path / "b.sqlite"
    async with running(server, path) as desk:
        server.say(GROUP, mara(server), "exh 1 ok")
        server.push("message", {"message_id": "x", "chat": 5, "date": "blood"})
        server.push("message", "blood")
        server.push("callback_query", {"id": "1"})
        server.push("my_chat_member", {"chat": {"id": GROUP}})
        server.say(GROUP, mara(server), "exh 2 ok")
        await desk.told("heard exh 2 ok")
    assert desk.texts() == ["heard exh 1 ok", "heard exh 2 ok"]
    db = sqlite3.connect(path)
    states = db.execute("SELECT state, count(*) FROM inbox GROUP BY state").fetchall()
    errors = db.execute("SELECT DISTINCT error FROM inbox WHERE state = 'aside'").fetchall()
    db.close()
    assert dict(states) == {"done": 2, "aside": 4}
    assert errors == [("Unreadable",)]


async def test_broken_code_says_sorry_and_goes_on(server: Loopback, tmp_path: Path) -> None:
    """A message on which the code breaks is answered with an apology, and the next one as usual."""
    talk = Talk(breaks_on="exh 1 ok")
    async with running(server, tmp_path / "b.sqlite", talk=talk) as desk:
        server.say(GROUP, mara(server), "exh 1 ok")
        server.say(GROUP, mara(server), "exh 2 ok")
        await desk.told("heard exh 2 ok")
    assert desk.texts() == ["sorry", "heard exh 2 ok"]


async def test_it_starts_while_the_messenger_is_down(server: Loopback, tmp_path: Path) -> None:
    """Refused at the start, with 502 and with 401, it keeps asking and then answers."""
    server.faults += [
        Fault("getMe", times=3, status=502),
        Fault("getMe", times=2, status=401, description="Unauthorized"),
        Fault("getUpdates", times=2, status=401, description="Unauthorized"),
    ]
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, mara(server), "exh 7 ok")
        await desk.told("heard exh 7 ok")
        await server.until((tmp_path / "health.json").exists)
        assert json.loads((tmp_path / "health.json").read_text())["trouble"] == ""
    assert server.calls["getMe"] >= 6


async def test_it_stops_while_the_messenger_is_down(server: Loopback, tmp_path: Path) -> None:
    """A stop during the attempts at the start is obeyed, and the health file tells the trouble."""
    server.faults.append(Fault("getMe", times=10_000, status=502))
    async with running(server, tmp_path / "b.sqlite"):
        await server.until((tmp_path / "health.json").exists)
    assert json.loads((tmp_path / "health.json").read_text())["trouble"] == "NetworkError"


async def test_what_falls_due_is_said_when_it_falls_due(server: Loopback, tmp_path: Path) -> None:
    """A due row, woken by the real scheduler, is said once, and after downtime once too."""
    path = tmp_path / "b.sqlite"
    async with running(server, path, wake_every_s=0.5) as desk:
        server.say(GROUP, mara(server), "hello")
        await desk.told("heard hello")
        desk.due_in(0.3, "t7", "first")
        await desk.told("due first")
        desk.due_in(0.2, "t7", "second")
    await asyncio.sleep(0.3)
    async with running(server, path) as desk:
        await desk.told("due second")
        await asyncio.sleep(0.2)
    assert desk.texts() == ["heard hello", "due first", "due second"]


async def test_a_due_row_wakes_the_worker_by_itself(server: Loopback, tmp_path: Path) -> None:
    """With the regular wake far away, the nearest due row's own moment wakes the worker."""
    async with running(server, tmp_path / "b.sqlite", wake_every_s=3600) as desk:
        server.say(GROUP, mara(server), "hello")
        await desk.told("heard hello")
        desk.due_in(0.4, "t7", "first")
        server.say(GROUP, mara(server), "quiet")  # any turn looks up what is due next
        await desk.told("due first")


async def test_two_people_of_one_name_are_told_apart(server: Loopback, tmp_path: Path) -> None:
    """Names on a roster are one word each and unique."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        for user, first in ((7, "Mara"), (8, "mara 🐬 Lopes"), (9, "🐬"), (10, "<b>Jo</b>")):
            who = server.person(user, first) | {"username": f"name{user}"}
            server.say(GROUP, who, f"hello {user}")
        await desk.told("heard hello 10")
        room = desk.store.room("g:-1001")
        assert room is not None
        names = {m.key: m.name for m in room.members.values()}
    assert names == {"t7": "Mara", "t8": "mara2", "t9": "name9", "t10": "b"}


async def test_mentions_become_roster_names(server: Loopback, tmp_path: Path) -> None:
    """A mention, of either kind and after an emoji, is read as the member's name."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        server.say(GROUP, noor(server), "hello")
        await desk.told("heard hello")
        at = {"type": "mention", "offset": 3, "length": 7}
        server.say(GROUP, mara(server), "🐬 @Noor_x exh 8 ok", entities=[at])
        of = {"type": "text_mention", "offset": 4, "length": 6, "user": noor(server)}
        server.say(GROUP, mara(server), "for N. N.. exh 9 ok", entities=[of])
        server.say(GROUP, mara(server), "@nobody exh 9 ok", entities=[at | {"offset": 0}])
        server.say(GROUP, mara(server), "@ourbot exh 9 ok", entities=[at | {"offset": 0}])
        await desk.told("heard exh 9 ok")
    assert [h.text for h in desk.talk.heard[1:]] == [
        "🐬 Noor exh 8 ok",
        "for Noor exh 9 ok",
        "@nobody exh 9 ok",
        "exh 9 ok",
    ]


async def test_slash_words_of_other_bots_are_left_alone(server: Loopback, tmp_path: Path) -> None:
    """`/next@OurBot` is ours, without its name; `/next@OtherBot` is not heard."""
    async with running(server, tmp_path / "b.sqlite") as desk:
        for text in ("/next@OtherBot", "/next@ourbot", "/log exh 7 ok", "/next"):
            server.say(GROUP, mara(server), text)
        await desk.told("heard /next")
        await server.until(lambda: len(desk.talk.heard) == 3)
    assert [(h.text, h.is_command_for_us) for h in desk.talk.heard] == [
        ("/next", True),
        ("/log exh 7 ok", True),
        ("/next", True),
    ]


async def test_menus_are_set_by_scope(server: Loopback, tmp_path: Path) -> None:
    """Private commands are offered in private only."""
    async with running(server, tmp_path / "b.sqlite"):
        await server.until(lambda: len(server.commands) == 3)
    by_scope = {c["scope"]["type"]: {m["command"] for m in c["commands"]} for c in server.commands}
    assert "log" in by_scope["all_private_chats"]
    assert "log" not in by_scope["all_group_chats"]
    assert all("emergency" in commands for commands in by_scope.values())


async def test_sigterm_ends_the_process_and_a_second_start_repeats_nothing(
    server: Loopback, tmp_path: Path
) -> None:
    """A real process ends with 0 on SIGTERM, letting a slow send finish; nothing is said again."""
    path = tmp_path / "b.sqlite"
    server.faults.append(Fault("sendMessage", accept=True, delay_s=0.8))
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tests.bot.transport.deaf", server.url, str(path), "hears", cwd=ROOT
    )
    server.say(GROUP, mara(server), "exh 7 ok")
    await server.until(lambda: len(server.said(GROUP)) == 1, 20)
    process.terminate()
    assert await asyncio.wait_for(process.wait(), 10) == 0
    async with running(server, path) as desk:
        server.say(GROUP, mara(server), "exh 8 ok")
        await desk.told("heard exh 8 ok")
    assert desk.texts() == ["heard exh 7 ok", "heard exh 8 ok"]
    assert TOKEN not in path.with_name("health.json").read_text()
