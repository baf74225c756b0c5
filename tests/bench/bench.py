"""The bench: the real bot beside an echo bot of the same library, in one run on one machine.

Run: `python -m tests.bench.bench` (a minute or two). Both bots run in processes of their own against
the loopback server of the tests; figures are to be judged as ratios within one run, on p50, p95 and
messages *recorded* a second (answers are paced).
"""

from __future__ import annotations

import asyncio
import os
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from planner.record import Exercise, Fact
from tests.loopback import TOKEN, Json, Loopback
from tests.planner.season import Season

ROOT = Path(__file__).resolve().parents[2]
DIVERS = 60
REPORTS = 120
BURST = 400
GAP_S = 0.03  # between reports one by one: under 30 messages a second overall
GOALS = {
    "p50": (1.5, "x echo"),
    "p95": (1.5, "x echo"),
    "recorded": (0.7, "x echo, at least"),
    "parse": (100.0, "µs"),
    "fold": (5.0, "ms"),
    "turn": (8.0, "ms"),
    "start": (2.0, "s"),
    "memory": (1.6, "x echo"),
}


@dataclass(kw_only=True)
class Measured:
    """What one bot did."""

    start_s: float
    memory_mb: float
    answers_ms: list[float]
    recorded_a_s: float

    def centile(self, part: float) -> float:
        return sorted(self.answers_ms)[
            min(len(self.answers_ms) - 1, int(len(self.answers_ms) * part))
        ]


def resident_mb(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return int(status.split("VmRSS:")[1].split()[0]) / 1024


async def measure(
    command: Sequence[str],
    *,
    environment: dict[str, str],
    recorded: Callable[[], int],
    prepare: Callable[[Loopback], Awaitable[None]],
    server: Loopback,
) -> Measured:
    """Start a bot; time its first answer, reports one by one, and a burst until all is recorded."""
    divers = [server.person(1000 + i, f"diver{i}") for i in range(DIVERS)]
    began = time.perf_counter()
    process = await asyncio.create_subprocess_exec(
        *command, cwd=ROOT, env=os.environ | environment | {"NO_PROXY": "127.0.0.1"}
    )
    try:
        server.say(1000, divers[0], "help")
        await server.until(lambda: bool(server.said(1000)), 30)
        start_s = time.perf_counter() - began
        await prepare(server)
        answers_ms = [
            await _answered_ms(server, divers[i % DIVERS], f"exh {5 + i % 3} ok")
            for i in range(REPORTS)
        ]
        memory_mb = resident_mb(process.pid)
        before = recorded()
        began = time.perf_counter()
        for i in range(BURST):
            user = divers[i % DIVERS]
            server.say(user["id"], user, f"exh {5 + i % 7} ok # {i}")
        while recorded() < before + BURST:
            if time.perf_counter() - began > 60:
                raise SystemExit(f"only {recorded() - before} of {BURST} recorded in a minute")
            await asyncio.sleep(0.005)
        recorded_a_s = BURST / (time.perf_counter() - began)
    finally:
        process.terminate()
        await process.wait()
    return Measured(
        start_s=start_s, memory_mb=memory_mb, answers_ms=answers_ms, recorded_a_s=recorded_a_s
    )


async def _answered_ms(server: Loopback, user: Json, text: str) -> float:
    chat = int(user["id"])
    answered = server.next_accepted(chat)
    began = time.perf_counter()
    server.say(chat, user, text)
    await asyncio.wait_for(answered, 30)
    took_ms = (time.perf_counter() - began) * 1000
    await asyncio.sleep(GAP_S)
    return took_ms


def _count(path: Path, query: str) -> Callable[[], int]:
    def count() -> int:
        db = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
        try:
            return int(db.execute(query).fetchone()[0])
        finally:
            db.close()

    return count


async def _nothing(server: Loopback) -> None:
    """The echo bot needs no introduction."""
    await _settle(server)


async def _introduce(server: Loopback) -> None:
    """Every diver tells what a plan needs, so that each report is answered with a next target."""
    lines = ("/start", "me f 34y 172cm", "pb 32", "goal 38", "fit buddy ana")
    for i in range(DIVERS):
        user = server.person(1000 + i, f"diver{i}")
        for line in lines:
            server.say(user["id"], user, line)
    await _settle(server)


async def _settle(server: Loopback) -> None:
    """Until nothing has been sent for two seconds: what was said before is out of the way."""
    seen, since = -1, time.monotonic()
    while time.monotonic() - since < 2:
        if len(server.accepted) != seen:
            seen, since = len(server.accepted), time.monotonic()
        await asyncio.sleep(0.05)


async def bots(folder: Path) -> tuple[Measured, Measured]:
    """The echo bot, then ours, each against a server of its own."""
    floor_path = folder / "echo.sqlite"
    server = await Loopback().start()
    floor = await measure(
        [sys.executable, "-m", "tests.bench.echo_bot", server.url, str(floor_path)],
        environment={},
        recorded=_count(floor_path, "SELECT count(*) FROM inbox WHERE done = 1"),
        prepare=_nothing,
        server=server,
    )
    await server.stop()
    server = await Loopback().start()
    ours = await measure(
        [sys.executable, "-m", "bot", "telegram"],
        environment={
            "BUOYSIDE_TELEGRAM_TOKEN": TOKEN,
            "BUOYSIDE_TELEGRAM_BASE_URL": server.url,
            "BUOYSIDE_DATA": str(folder / "data"),
            "BUOYSIDE_LOG_LEVEL": "WARNING",
        },
        recorded=_count(
            folder / "data" / "buoyside.sqlite", "SELECT count(*) FROM inbox WHERE state = 'done'"
        ),
        prepare=_introduce,
        server=server,
    )
    await server.stop()
    return floor, ours


def parse_us() -> float:
    """Time to parse a message, over lines as people write them."""
    from bot.shorthand import parse, words

    en = words()
    lines = (
        "exh 7 ok", "frc 12 hard", "stop sternum", "9 ok then 12 hard", "for noor exh 8 ok",
        "exh 12.5m fill 7 ok 48s # felt easy", "fit buddy ana", "see you at the boat", "9/14 ok",
        "frc12 clean", "exh 30ft ok 09:42", "okk", "next", "12, 5",
    )  # fmt: skip
    names = [f"diver{i}" for i in range(12)]
    times = []
    for _ in range(30):
        began = time.perf_counter()
        for line in lines:
            parse(line, en, names=names)
        times.append((time.perf_counter() - began) / len(lines) * 1e6)
    return statistics.median(times)


def fold_ms() -> float:
    """Time to fold a season with 500 dives afresh: record made anew, nothing kept from before."""
    from planner.plan import settled_m
    from planner.record import record_of
    from planner.rules import RULES
    from planner.standing import folded

    facts, _ = _season()
    zone = ZoneInfo("Europe/Lisbon")
    times = []
    for _ in range(30):
        began = time.perf_counter()
        record = record_of("t7", facts, timezone=zone)
        folded(record, rules=RULES, until_at=facts[-1].happened_at, settle=settled_m)
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times)


def turn_ms(folder: Path) -> float:
    """Time of a whole turn (read, parse, plan, answer, write) on a diver with 500 dives."""
    from bot.app import worker_of
    from bot.transport.update import Translator, incoming_of
    from storage.outcome import Outcome
    from storage.store import Store

    facts, at = _season()
    me = Loopback().person(1, "OurBot")
    store = Store.open(folder / "turn.sqlite")
    worker = worker_of(store, Translator(me=lambda: _Me(), secret="s"))

    def hear(number: int, text: str, when: datetime) -> None:
        user = me | {"id": 7, "first_name": "Mara"}
        chat = {"id": 7, "type": "private"}
        message = {"message_id": number, "date": int(when.timestamp()), "chat": chat}
        message |= {"from": user, "text": text}
        store.receive([incoming_of({"update_id": number, "message": message}, at=when)])

    hear(1, "/start", at)
    worker.work_off(at)
    room = store.room_of("t7")
    assert room is not None
    with store.turn(at=at) as turn:
        turn.write(Outcome(facts=facts), room=room)
    hear(5, "fit buddy ana", at)
    worker.work_off(at)
    times = []
    for i in range(20):
        when = at + timedelta(minutes=10 * (i + 1))
        hear(10 + i, "exh 7 ok", when)
        began = time.perf_counter()
        done = worker.work_off(when, most=1)
        times.append((time.perf_counter() - began) * 1000)
        assert done == 1
    store.close()
    return statistics.median(times)


class _Me:
    username = "OurBot"
    can_read_all_group_messages = True


def _season() -> tuple[tuple[Fact, ...], datetime]:
    """A diver who follows the targets through 500 dives, one in 17 a leak; and the next free day."""
    season = Season(Exercise.FRC).profile(pb_m=38, goal_m=50)
    day, count = date(2026, 1, 5), 0
    while count < 500:
        season.morning(day.isoformat())
        while (target := season.next()) is not None:
            count += 1
            season.dive(
                target - 1 if count % 17 == 0 else target, "leak" if count % 17 == 0 else "clean"
            )
        day = date.fromisoformat(season.free_on())
    season.morning(day.isoformat())
    return tuple(replace(f, diver="t7", by="t7") for f in season.facts), season.at


def main() -> int:
    """Run all of it and print each figure beside its goal."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        floor, ours = asyncio.run(bots(folder))
        turn = turn_ms(folder)
    rows = [
        ("p50", "one report → answer, p50", ours.centile(0.5), floor.centile(0.5), "ms"),
        ("p95", "one report → answer, p95", ours.centile(0.95), floor.centile(0.95), "ms"),
        ("", "one report → answer, p99", ours.centile(0.99), floor.centile(0.99), "ms"),
        ("recorded", "recorded in a burst", ours.recorded_a_s, floor.recorded_a_s, "/s"),
        ("memory", "resident, before a picture", ours.memory_mb, floor.memory_mb, "MB"),
        ("", "start → first answer (echo)", floor.start_s, floor.start_s, "s"),
    ]
    print(f"{'':32}{'ours':>10}{'echo':>10}{'ratio':>8}   goal")
    for key, what, mine, echo, unit in rows:
        goal = f"{GOALS[key][0]:g} {GOALS[key][1]}" if key else ""
        print(f"{what:32}{mine:>8.1f}{unit:>3}{echo:>7.1f}{unit:>3}{mine / echo:>7.2f}   {goal}")
    for key, what, value in (
        ("start", "start → first answer", ours.start_s),
        ("parse", "parse a message", parse_us()),
        ("fold", "fold of 500 dives, afresh", fold_ms()),
        ("turn", "whole turn on 500 dives", turn),
    ):
        figure, unit = GOALS[key]
        print(f"{what:32}{value:>8.2f} {unit:<12}       goal {figure:g} {unit}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
