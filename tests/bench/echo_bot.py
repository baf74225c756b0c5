"""The floor of the bench: an echo bot of the same library with a durable inbox, and nothing else.

Each update is committed to an inbox before it is confirmed, worked off with a session row and an
outbox row in one commit, and its answer marked as sent. Run: `python -m tests.bench.echo_bot URL FILE`.
"""

from __future__ import annotations

import asyncio
import json
import sqlite3
import sys

from telegram import Bot, Update
from telegram.request import HTTPXRequest

from tests.loopback import TOKEN

SCHEMA = """
PRAGMA journal_mode = WAL;
PRAGMA synchronous = FULL;
CREATE TABLE IF NOT EXISTS inbox (id INTEGER PRIMARY KEY, body TEXT, done INTEGER DEFAULT 0) STRICT;
CREATE TABLE IF NOT EXISTS session (chat INTEGER PRIMARY KEY, said INTEGER) STRICT;
CREATE TABLE IF NOT EXISTS outbox
    (id INTEGER PRIMARY KEY, chat INTEGER, body TEXT, sent INTEGER DEFAULT 0) STRICT;
"""


async def send(bot: Bot, db: sqlite3.Connection, number: int, chat: int, text: str) -> None:
    await bot.send_message(chat, text)
    with db:
        db.execute("UPDATE outbox SET sent = 1 WHERE id = ?", [number])


async def main(url: str, path: str) -> None:
    db = sqlite3.connect(path)
    db.executescript(SCHEMA)
    polling = HTTPXRequest(connection_pool_size=1)
    offset = 0
    sends: set[asyncio.Task[None]] = set()
    async with Bot(TOKEN, base_url=f"{url}/bot", get_updates_request=polling) as bot:
        while True:
            found = await polling.post(
                f"{bot.base_url}/getUpdates?timeout=25&offset={offset}", read_timeout=35
            )
            assert isinstance(found, list)
            with db:
                db.executemany(
                    "INSERT OR IGNORE INTO inbox (id, body) VALUES (?, ?)",
                    [(u["update_id"], json.dumps(u)) for u in found],
                )
            for raw in found:
                offset = raw["update_id"] + 1
                update = Update.de_json(raw, bot)
                message = update.message
                if message is None or message.text is None:
                    continue
                with db:
                    db.execute("UPDATE inbox SET done = 1, body = '' WHERE id = ?", [offset - 1])
                    db.execute(
                        "INSERT INTO session VALUES (?, 1) ON CONFLICT DO UPDATE SET said = said + 1",
                        [message.chat.id],
                    )
                    row = db.execute(
                        "INSERT INTO outbox (chat, body) VALUES (?, ?)",
                        [message.chat.id, message.text],
                    )
                task = asyncio.create_task(
                    send(bot, db, int(row.lastrowid or 0), message.chat.id, message.text)
                )
                sends.add(task)
                task.add_done_callback(sends.discard)
                await asyncio.sleep(0)


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], sys.argv[2]))
