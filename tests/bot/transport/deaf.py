"""A bot in a process of its own, to be killed: receives, and works nothing off unless it `hears`."""

from __future__ import annotations

import asyncio
import signal
import sys
from datetime import datetime
from pathlib import Path

from bot.app import Worker
from tests.bot.transport.desk import running
from tests.loopback import Loopback


class DeafWorker(Worker):
    """Leaves everything in the inbox."""

    def work_off(self, now: datetime, *, most: int | None = None) -> int:
        return 0


async def main(url: str, path: str, *, hears: bool) -> None:
    server = Loopback()
    server.url = url
    make = Worker if hears else DeafWorker
    async with running(server, Path(path), make=make) as desk:
        loop = asyncio.get_running_loop()
        loop.add_signal_handler(signal.SIGTERM, desk.stop.set)
        await desk.stop.wait()


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], sys.argv[2], hears="hears" in sys.argv))
