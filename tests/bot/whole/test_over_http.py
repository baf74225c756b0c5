"""The whole bot as it is started, against a Bot API server over real HTTP: nothing is replaced."""

from __future__ import annotations

import asyncio
import os
import signal
import sqlite3
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from tests.loopback import TOKEN, Json, Loopback

ROOT = Path(__file__).resolve().parents[3]
GROUP = -1001


@pytest.fixture
async def server() -> AsyncIterator[Loopback]:
    loopback = await Loopback().start()
    loopback.group(GROUP)
    yield loopback
    await loopback.stop()


@asynccontextmanager
async def bot(server: Loopback, data: Path) -> AsyncIterator[asyncio.subprocess.Process]:
    """`python -m bot telegram` in a process of its own, ended by SIGTERM."""
    environment = os.environ | {
        "BUOYSIDE_TELEGRAM_TOKEN": TOKEN,
        "BUOYSIDE_TELEGRAM_BASE_URL": server.url,
        "BUOYSIDE_DATA": str(data),
        "PTB_TIMEDELTA": "true",
    }
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "bot", "telegram", cwd=ROOT, env=environment,
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT,
    )  # fmt: skip
    assert process.stdout is not None
    try:
        yield process
    finally:
        killed = process.returncode is not None
        if not killed:
            process.send_signal(signal.SIGTERM)
        said = (await process.stdout.read()).decode()
        status = await process.wait()
    assert status == (-signal.SIGKILL if killed else 0), said
    assert TOKEN not in said


def told(server: Loopback, chat: int, words: str) -> bool:
    return any(words in a.text for a in server.said(chat))


async def profile(server: Loopback, person: Json) -> None:
    for text, answered in (
        ("/start", "not medical advice"),
        ("me f 34y 172cm", "TLC"),
        ("pb 32", "PB 32 m"),
        ("goal 38", "base 19 m"),
    ):
        server.say(int(person["id"]), person, text)
        await server.until(lambda said=answered: told(server, int(person["id"]), said), 20)


async def test_from_a_text_to_a_debrief_with_its_picture(server: Loopback, tmp_path: Path) -> None:
    """A diver says who they are, dives, presses a button and `done`; the debrief comes with a PNG."""
    mara = server.person(7, "Mara")
    async with bot(server, tmp_path):
        await profile(server, mara)
        server.say(GROUP, mara, "fit buddy ana")
        await server.until(lambda: told(server, GROUP, "Turn at any chest"), 20)
        server.say(GROUP, mara, "exh 7 ok")
        await server.until(lambda: told(server, GROUP, "FRC 7 m · clean · dive 1 of 5"), 20)
        number = next(
            n for (chat, n), m in server.messages.items()
            if chat == GROUP and "dive 1 of 5\nNext" in m.get("text", "")
        )  # fmt: skip
        server.press(GROUP, mara, number, "7 hard")
        await server.until(lambda: told(server, GROUP, "dive 2 of 5"), 20)
        server.say(GROUP, mara, "done")
        await server.until(lambda: told(server, 7, "2 FRC dives: 1 clean, 1 hard"), 30)
    assert [a.method for a in server.said(7)][-1] == "sendPhoto"
    assert server.files
    assert server.files[-1][1].startswith(b"\x89PNG\r\n")
    assert server.calls["answerCallbackQuery"] == 1


async def test_killed_and_started_again_nothing_is_lost_or_said_twice(
    server: Loopback, tmp_path: Path
) -> None:
    """Killed between dives: what was said meanwhile is recorded once, and answered once."""
    mara = server.person(7, "Mara")
    async with bot(server, tmp_path) as process:
        await profile(server, mara)
        server.say(GROUP, mara, "fit buddy ana")
        await server.until(lambda: told(server, GROUP, "Turn at any chest"), 20)
        process.kill()
        await process.wait()
    server.say(GROUP, mara, "exh 7 ok")
    server.say(GROUP, mara, "exh 6.5 hard")
    async with bot(server, tmp_path):
        await server.until(lambda: told(server, GROUP, "dive 2 of 5"), 20)
    assert sum(a.text.count("FRC 7 m · clean") for a in server.said(GROUP)) == 1
    assert sum(a.text.count("FRC 6.5 m · hard") for a in server.said(GROUP)) == 1
    rows = sqlite3.connect(next(tmp_path.rglob("*.sqlite*")))
    try:
        dives = rows.execute("select count(*) from fact where kind = 'Dive'").fetchone()[0]
    finally:
        rows.close()
    assert dives == 2
