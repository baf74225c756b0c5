"""A whole bot for the tests of the transport: real store, worker and service, a tiny talk by hand."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Collection, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

from bot.app import Functions, Worker
from bot.heard import Heard, Kind
from bot.shorthand.reading import Chatter, Reading
from bot.transport.send import Limits
from bot.transport.telegram import Service, Timing
from bot.transport.update import Translator
from planner.agenda import Due, DueKind
from planner.record import DiverRecord
from storage.outcome import Delivery, Key, Letter, Outcome, Picture, Room
from storage.store import Store
from tests.loopback import TOKEN, Json, Loopback

GROUP = -1001
QUICK = Limits(chat_s=0.0, group_a_minute=10_000, all_a_second=10_000)


@dataclass
class Talk:
    """Echoes what it hears; some words ask for more. What it heard stands in `heard`."""

    heard: list[Heard] = field(default_factory=list)
    breaks_on: str = "\0"

    def parse(self, text: str, names: Collection[str]) -> tuple[Reading, ...]:
        return (Chatter(line=0, text=text),)

    def answer(
        self,
        heard: Heard,
        said: tuple[Reading, ...],
        *,
        room: Room,
        records: Mapping[str, DiverRecord],
    ) -> Outcome:
        if heard.text == self.breaks_on:
            raise RuntimeError("broken code")
        self.heard.append(heard)
        return Outcome(letters=tuple(self.letters(heard)))

    def letters(self, heard: Heard) -> Sequence[Letter]:
        word, _, rest = heard.text.partition(" ")
        key = Key(label="12 ok", says="exh 12 ok", diver=heard.sender, may_press=(heard.sender,))
        here = Letter(to=heard.chat, text=f"heard {heard.text}", reply_to=heard.message)
        more: dict[str, Sequence[Letter]] = {
            "quiet": (),
            "help": (Letter(to=heard.chat, text="help text", delivery=Delivery.HELP),),
            "remind": (Letter(to=heard.chat, text="reminder", delivery=Delivery.REMINDER),),
            "debrief": (Letter(to=heard.chat, text="debrief", delivery=Delivery.DEBRIEF),),
            "keys": (Letter(to=heard.chat, text="next", keys=((key,),)),),
            "slot": (Letter(to=heard.chat, text=f"round {rest}", slot="order"),),
            "react": (Letter(to=heard.chat, text="", reaction="👍", reply_to=heard.message),),
            "draw": (Letter(to=heard.chat, text="see", picture=Picture(kind="k", data=rest)),),
            "file": (Letter(to=heard.chat, text="yours", document=("dives.csv", "a,b\n")),),
            "long": (Letter(to=heard.chat, text="line of the log\n" * 700),),
            "private": (Letter(to=f"p:{heard.sender}", text="only to you"),),
            "link": (Letter(to=heard.chat, text="Please write to me in private."),),
            "three": tuple(Letter(to=heard.chat, text=f"part {i}") for i in range(3)),
            "help+": (here, Letter(to=heard.chat, text="help text", delivery=Delivery.HELP)),
        }
        if heard.kind in (Kind.JOINED, Kind.BLOCKED, Kind.IGNORED):
            says = f"{heard.kind} {heard.problem}".strip()
            return () if heard.private else (Letter(to=heard.chat, text=says),)
        return more.get(word, (here,))

    def fall_due(
        self, due: Due, *, room: Room, records: Mapping[str, DiverRecord], at: datetime
    ) -> Outcome:
        letter = Letter(to=room.chat, text=f"due {due.about}", delivery=Delivery.DEBRIEF)
        return Outcome(letters=(letter,))

    def sorry(self, heard: Heard) -> Letter:
        return Letter(to=heard.chat, text="sorry", reply_to=heard.message)


def now() -> datetime:
    return datetime.now(UTC)


@dataclass
class Desk:
    """A running bot, what it heard, and the server it runs against."""

    server: Loopback
    talk: Talk
    store: Store
    path: Path
    stop: asyncio.Event
    service: Service
    running: asyncio.Task[None] | None = None

    def texts(self, chat: int = GROUP) -> list[str]:
        """What was said in a chat; letters that left joined in one message count each."""
        return [part for a in self.server.said(chat) for part in a.text.split("\n\n")]

    async def told(self, text: str, chat: int = GROUP, timeout_s: float = 5.0) -> None:
        await self.server.until(lambda: text in self.texts(chat), timeout_s)

    def due_in(self, seconds: float, diver: str, about: str) -> None:
        at = now() + timedelta(seconds=seconds)
        due = Due(
            kind=DueKind.DEBRIEF, diver=diver, about=about, at=at, stale_at=at + timedelta(hours=1)
        )
        with self.store.turn(at=now()) as turn:
            turn.reconcile(diver, [due])


@asynccontextmanager
async def running(
    server: Loopback,
    path: Path,
    *,
    talk: Talk | None = None,
    limits: Limits = QUICK,
    wake_every_s: float = 30.0,
    farewell_s: float = 5.0,
    make: type[Worker] = Worker,
) -> AsyncIterator[Desk]:
    """The bot on that database against that server, until the block ends."""
    talk = talk or Talk()
    store = Store.open(path)

    def worker(translator: Translator) -> Worker:
        functions = Functions(
            parse=talk.parse,
            answer=talk.answer,
            fall_due=talk.fall_due,
            agenda=lambda record, at: (),
            sorry=talk.sorry,
        )
        return make(store, translator, functions)

    timing = Timing(
        poll_s=2,
        retry_first_s=0.02,
        retry_most_s=0.1,
        wake_every_s=wake_every_s,
        farewell_s=farewell_s,
        limits=limits,
    )
    service = Service(
        token=TOKEN,
        base_url=server.url,
        store=store,
        make_worker=worker,
        clock=now,
        timing=timing,
        health_file=path.with_name("health.json"),
    )
    desk = Desk(server, talk, store, path, asyncio.Event(), service)
    desk.running = asyncio.create_task(service.run(desk.stop))
    try:
        yield desk
    finally:
        desk.stop.set()
        await desk.running
        store.close()


def noor(server: Loopback) -> Json:
    return server.person(8, "Noor")


def mara(server: Loopback) -> Json:
    return server.person(7, "Mara")


def seconds_between(server: Loopback, chat: int = GROUP) -> list[float]:
    times = [a.at_s for a in server.said(chat)]
    return [b - a for a, b in pairwise(times)]
