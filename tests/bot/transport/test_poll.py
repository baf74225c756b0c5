"""The poller against a Bot API server over real HTTP."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from datetime import UTC, datetime

import pytest
from telegram import Bot

from bot.transport.poll import ALLOWED_UPDATES, Backoff, Json, Poller, QuietRequest
from tests.loopback import TOKEN, Fault, Loopback

GROUP = -1001


class Inbox:
    """Where batches are committed; refuses as long as `broken`."""

    def __init__(self) -> None:
        self.rows: list[Json] = []
        self.heard: list[Json] = []
        self.broken = 0

    def commit(self, batch: Sequence[Json]) -> None:
        if self.broken:
            self.broken -= 1
            raise OSError("disk full")
        self.rows += batch

    def texts(self) -> list[str]:
        return [u["message"]["text"] for u in self.rows if "message" in u]


@asynccontextmanager
async def polling(server: Loopback, inbox: Inbox) -> AsyncIterator[Poller]:
    request = QuietRequest(connection_pool_size=2)
    async with Bot(TOKEN, base_url=f"{server.url}/bot", get_updates_request=request) as bot:
        poller = Poller(
            bot,
            request,
            commit=inbox.commit,
            heard=inbox.heard.extend,
            clock=lambda: datetime.now(UTC),
            timeout_s=2,
            backoff=Backoff(first_s=0.02, most_s=0.1),
        )
        task = asyncio.create_task(poller.run())
        yield poller
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def test_a_batch_is_committed_before_it_is_confirmed(server: Loopback) -> None:
    """While the inbox can't be written, nothing is confirmed; afterwards all of it is there once."""
    inbox = Inbox()
    inbox.broken = 3
    mara = server.person(7, "mara")
    for i in range(5):
        server.say(GROUP, mara, f"exh {i} ok")
    async with polling(server, inbox):
        await server.until(lambda: len(inbox.rows) == 5)
        assert all(
            "offset" not in p or int(p["offset"]) <= inbox.rows[-1]["update_id"] + 1
            for p in server.polls
        )
        assert [("offset" in p) for p in server.polls[:4]] == [False] * 4
        await server.until(lambda: not server.updates)
    assert inbox.texts() == [f"exh {i} ok" for i in range(5)]
    assert inbox.heard == inbox.rows


async def test_only_what_is_handled_is_asked_for(server: Loopback) -> None:
    """Every poll names the four kinds of update, so that no other kind arrives."""
    inbox = Inbox()
    async with polling(server, inbox):
        await server.until(lambda: len(server.polls) >= 1)
        server.push("poll", {"id": "1"})
        server.say(GROUP, server.person(7, "mara"), "next")
        await server.until(lambda: len(inbox.rows) == 1)
    assert all(p["allowed_updates"] == list(ALLOWED_UPDATES) for p in server.polls)


@pytest.mark.parametrize(
    "fault",
    [
        Fault("getUpdates", times=4, status=502),
        Fault("getUpdates", times=4, status=401, description="Unauthorized"),
        Fault("getUpdates", times=4, status=404, description="Not Found"),
        Fault("getUpdates", times=4, status=409, description="Conflict: terminated"),
        Fault("getUpdates", times=1, status=429, parameters={"retry_after": 1}),
        Fault("getUpdates", times=4, drop=True),
        Fault("getUpdates", times=4, body=b"<html>"),
        Fault("getUpdates", times=4, body=b"[1]"),
        Fault("getUpdates", times=4, body=b'{"ok": true, "result": {"ok": 1}}'),
        Fault("getUpdates", times=2, accept=True, drop=True),
    ],
    ids=lambda f: f"{f.status}{f.drop}{f.body}",
)
async def test_it_goes_on_after_every_fault(server: Loopback, fault: Fault) -> None:
    """Whatever the messenger answers to a poll, what was said meanwhile arrives, once and in order."""
    inbox = Inbox()
    server.faults.append(fault)
    mara = server.person(7, "mara")
    for i in range(3):
        server.say(GROUP, mara, f"exh {i} ok")
    async with polling(server, inbox) as poller:
        await server.until(lambda: len(inbox.rows) >= 3)
        assert poller.health.trouble == ""
        assert poller.health.last_answer_at is not None
    assert inbox.texts() == [f"exh {i} ok" for i in range(3)]
    assert fault.times == 0


async def test_trouble_is_told_while_it_lasts(server: Loopback) -> None:
    """A rejected token shows in the health, with its beginning, until the messenger answers again."""
    inbox = Inbox()
    async with polling(server, inbox) as poller:
        server.faults.append(Fault("getUpdates", times=10_000, status=401))
        server.say(GROUP, server.person(7, "mara"), "next")
        await server.until(lambda: "401" in poller.health.trouble)
        assert poller.health.troubled_since_at is not None
        server.faults.clear()
        await server.until(lambda: poller.health.trouble == "")


async def test_a_second_poller_ends_the_older_poll_and_both_go_on(server: Loopback) -> None:
    """Two programs with one token take turns at 409, and neither goes deaf."""
    one, two = Inbox(), Inbox()
    async with polling(server, one) as first:
        await server.until(lambda: len(server.polls) >= 1)
        async with polling(server, two):
            await server.until(lambda: "409" in first.health.trouble)
        server.say(GROUP, server.person(7, "mara"), "next")
        await server.until(lambda: one.texts() == ["next"])


async def test_neither_token_nor_update_is_logged(
    server: Loopback, caplog: pytest.LogCaptureFixture
) -> None:
    """Through faults and bad answers no log line holds the token or a word that anybody wrote."""
    caplog.set_level(logging.INFO)
    logging.getLogger("httpx").setLevel(logging.WARNING)
    inbox = Inbox()
    inbox.broken = 1
    server.say(GROUP, server.person(7, "mara"), "coughing blood")
    server.faults += [
        Fault("getUpdates", body=b'{"ok": true, "result": [coughing blood'),
        Fault("getUpdates", status=401),
        Fault("getUpdates", status=500, body=b"coughing blood"),
    ]
    async with polling(server, inbox):
        await server.until(lambda: len(inbox.rows) == 1)
    assert "receiving fails" in caplog.text
    assert TOKEN not in caplog.text
    assert "blood" not in caplog.text
