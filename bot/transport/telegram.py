"""The bot on Telegram: poller, worker, sender and waker in one loop, until a signal ends it."""

from __future__ import annotations

import asyncio
import gc
import json
import logging
import os
import signal
import time
import tomllib
from collections.abc import Awaitable, Callable, Coroutine, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any, Protocol

from telegram import (
    Bot,
    BotCommand,
    BotCommandScopeAllGroupChats,
    BotCommandScopeAllPrivateChats,
    BotCommandScopeDefault,
    CallbackQuery,
)
from telegram.error import RetryAfter, TelegramError

from bot.app import SystemClock, worker_of
from bot.settings import Settings
from bot.transport.carry import Link
from bot.transport.poll import (
    Backoff,
    Json,
    Poller,
    QuietRequest,
    quiet_logs,
    seconds_of,
    trouble_of,
)
from bot.transport.send import Limits, Sender
from bot.transport.update import Translator, incoming_of, member_key, start_link
from bot.transport.wake import EVERY_S, Waker
from storage.store import Store

_log = logging.getLogger(__name__)

OFFICIAL_BASE_URL = "https://api.telegram.org"
TIMEOUT_S = 25.0  # an answer that is late is mostly an answer to something that was done
ADMINS_KEPT_S = 300.0
PORTION = 8  # rows worked off in one go, so that a long inbox holds no help text back
TELL_EVERY_S = 15.0
CONNECTIONS = 10  # under way at once, and as many more for help texts
COLLECT = (5_000, 20, 20)


class Worker(Protocol):
    """The one worker: works off what waits in the inbox and what is due, and says how much."""

    def start(self, now: datetime) -> None: ...  # noqa: D102
    def work_off(self, now: datetime, *, most: int | None = None) -> int: ...  # noqa: D102


@dataclass(frozen=True, kw_only=True)
class Timing:
    """How long things may take; the tests have less patience."""

    poll_s: int = 25
    retry_first_s: float = 1.0
    retry_most_s: float = 60.0
    wake_every_s: float = EVERY_S
    farewell_s: float = 25.0
    limits: Limits = field(default_factory=Limits)


def open_bot(token: str, base_url: str = OFFICIAL_BASE_URL) -> tuple[Bot, Bot, QuietRequest]:
    """The library's bot on requests of ours, one more for help texts alone, and the request that polls.

    Each call looks at every connection that its pool keeps, so pools are small; and a help text
    must not wait for a connection until some other chat's answer has timed out.
    """
    polling = QuietRequest(connection_pool_size=2, connect_timeout=TIMEOUT_S)
    root = base_url.rstrip("/")
    bot, helping = (
        Bot(
            token,
            base_url=f"{root}/bot",
            base_file_url=f"{root}/file/bot",
            request=QuietRequest(
                connection_pool_size=CONNECTIONS,
                read_timeout=TIMEOUT_S,
                write_timeout=TIMEOUT_S,
                connect_timeout=TIMEOUT_S,
                pool_timeout=TIMEOUT_S,
                media_write_timeout=2 * TIMEOUT_S,
            ),
            get_updates_request=polling,
        )
        for _ in range(2)
    )
    return bot, helping, polling


class Service:
    """Everything that runs while the bot is up. `run` returns when `stop` is set."""

    def __init__(
        self,
        *,
        token: str,
        base_url: str,
        store: Store,
        make_worker: Callable[[Translator], Worker],
        clock: Callable[[], datetime],
        timing: Timing | None = None,
        health_file: Path | None = None,
    ) -> None:
        self._store, self._clock, self._health_file = store, clock, health_file
        self._timing = timing or Timing()
        self._bot, helping, polling = open_bot(token, base_url)
        self._helping = helping
        self._admins: dict[int, frozenset[int]] = {}
        self._asked_s: dict[int, float] = {}
        self._errands: set[asyncio.Task[None]] = set()
        self._menus = menus()
        self._told, self._told_s = "", -TELL_EVERY_S
        self._news = asyncio.Event()
        self._translator = Translator(me=lambda: self._bot.bot, secret=token, admins=self._admins)
        self._worker = make_worker(self._translator)
        self._sender = Sender(
            self._bot,
            store,
            clock=clock,
            limits=self._timing.limits,
            link=self._private_link,
            helping=helping,
        )
        self._poller = Poller(
            self._bot,
            polling,
            commit=self._commit,
            heard=self._heard,
            clock=clock,
            timeout_s=self._timing.poll_s,
            backoff=self._backoff(),
        )
        self._waker = Waker(self._news, store.nearest_due_at, every_s=self._timing.wake_every_s)

    async def run(self, stop: asyncio.Event) -> None:
        """Run until `stop`; then let what is being sent be sent."""
        tasks: list[asyncio.Task[None]] = []
        try:
            stopped = asyncio.create_task(_wait(stop))
            begun = asyncio.create_task(self._initialize())
            await asyncio.wait((stopped, begun), return_when=asyncio.FIRST_COMPLETED)
            if begun.done():
                self._worker.start(self._clock())
                self._waker.start()
                self._news.set()  # what was left in the inbox before this start
                for work in (self._poller.run(), self._work(), self._sender.run()):
                    tasks.append(asyncio.create_task(work))
                self._errand(self._set_menus())
                await asyncio.wait((stopped, *tasks), return_when=asyncio.FIRST_COMPLETED)
            stopped.cancel()
            begun.cancel()
        finally:
            for task in (*tasks, *self._errands):
                task.cancel()
            await asyncio.gather(*tasks, *self._errands, return_exceptions=True)
            await self._sender.finish(self._timing.farewell_s)
            self._waker.stop()
            await self._helping.request.shutdown()
            await self._bot.shutdown()
        for task in tasks:
            if not task.cancelled() and (error := task.exception()) is not None:
                raise error  # ours: let the supervisor start afresh

    def _backoff(self) -> Backoff:
        return Backoff(first_s=self._timing.retry_first_s, most_s=self._timing.retry_most_s)

    async def _initialize(self) -> None:
        """Ask the messenger who we are, until it answers."""
        backoff = self._backoff()
        while True:
            try:
                await self._bot.initialize()
                await self._bot.delete_webhook()  # with one set, every poll is refused
            except Exception as error:  # its words may hold the token
                self._poller.health.bad(trouble_of(error), self._clock())
                self._tell_health()
                asked_s = seconds_of(error) if isinstance(error, RetryAfter) else 0.0
                await asyncio.sleep(max(asked_s, backoff.wait_s()))
            else:
                self._poller.health.good(self._clock())
                return

    def _commit(self, batch: Sequence[Json]) -> None:
        at = self._clock()
        self._store.receive([incoming_of(update, at=at) for update in batch])

    def _heard(self, batch: Sequence[Json]) -> None:
        """A batch is durable: answer its presses, learn who is admin where, wake the worker."""
        unknown: set[int] = set()
        for update in batch:
            query = update.get("callback_query")
            if isinstance(query, dict):
                self._pressed(query)
            chat, changed = _group_of(update)
            if chat is None:
                continue
            age_s = time.monotonic() - self._asked_s.get(chat, -ADMINS_KEPT_S)
            if changed or chat not in self._admins:
                unknown.add(chat)
            elif age_s >= ADMINS_KEPT_S:
                self._errand(self._learn(chat))
        if unknown:
            self._errand(self._learn_first(unknown))
        else:
            self._news.set()

    def _pressed(self, raw: Json) -> None:
        """Take the waiting sign off a pressed button, and used-up buttons off the screen.

        Looked up before the worker takes the press. What the press meant is said in a letter;
        nothing is lost when this comes to nothing.
        """
        try:
            query = CallbackQuery.de_json(raw)
            stored = self._store.button(query.data or "")
        except Exception:  # an unreadable press is set aside when its row is worked off
            return
        self._errand(_try(lambda: self._bot.answer_callback_query(query.id)))
        if query.message is None or stored is None or stored.used or stored.key.sticky:
            return
        if member_key(query.from_user) in stored.key.may_press:
            place = (query.message.chat.id, query.message.message_id)
            self._errand(_try(lambda: self._bot.edit_message_reply_markup(*place)))

    async def _learn_first(self, chats: set[int]) -> None:
        """Before a chat's first message is worked off: who is admin there, and may we read all."""
        try:
            async with asyncio.timeout(3):
                await asyncio.gather(self._bot.get_me(), *(self._learn(chat) for chat in chats))
        except (TelegramError, TimeoutError) as error:
            _log.warning("could not ask for the admins of a chat: %s", type(error).__name__)
        finally:
            self._news.set()

    async def _learn(self, chat: int) -> None:
        self._asked_s[chat] = time.monotonic()
        try:
            admins = await self._bot.get_chat_administrators(chat)
        except TelegramError:
            self._admins.setdefault(chat, frozenset())
            return
        for admin in admins:
            self._translator.note(admin.user)
        self._admins[chat] = frozenset(a.user.id for a in admins if not a.user.is_bot)

    async def _work(self) -> None:
        """The worker's turns: all that waits, whenever there is news."""
        while True:
            await self._news.wait()
            self._news.clear()
            try:
                while self._worker.work_off(self._clock(), most=PORTION):
                    self._sender.news.set()
                    await asyncio.sleep(0)  # let answers leave meanwhile
            except Exception as error:  # the rows are still there; the next wake tries again
                _log.error("the worker failed: %s", type(error).__name__)
            self._sender.news.set()
            self._waker.look()
            self._tell_health()

    def _private_link(self, chat: int, text: str) -> Link | None:
        """What goes below a letter that asks a group to write in private: nobody can be written to
        first, and this opens the chat with one touch."""
        ask = self._menus["link"]
        if chat >= 0 or ask["below"].casefold() not in text.casefold():
            return None
        return ask["label"], start_link(self._bot.username, chat, self._bot.token)

    async def _set_menus(self) -> None:
        private, groups = (_commands(self._menus[name]) for name in ("private", "groups"))
        try:
            await self._bot.set_my_commands(private, scope=BotCommandScopeAllPrivateChats())
            await self._bot.set_my_commands(groups, scope=BotCommandScopeAllGroupChats())
            await self._bot.set_my_commands(groups, scope=BotCommandScopeDefault())
        except TelegramError as error:
            _log.warning("the menus could not be set: %s", type(error).__name__)

    def _errand(self, errand: Coroutine[Any, Any, None]) -> None:
        task = asyncio.create_task(errand)
        self._errands.add(task)
        task.add_done_callback(self._errands.discard)

    def _tell_health(self) -> None:
        """Write how receiving goes where a health check can read it: at a change, and now and then."""
        health = self._poller.health
        age_s = time.monotonic() - self._told_s
        if self._health_file is None or (health.trouble == self._told and age_s < TELL_EVERY_S):
            return
        self._told, self._told_s = health.trouble, time.monotonic()
        told = {
            "at": self._clock().isoformat(),
            "last_answer_at": health.last_answer_at and health.last_answer_at.isoformat(),
            "trouble": health.trouble,
            "since": health.troubled_since_at and health.troubled_since_at.isoformat(),
        }
        draft = self._health_file.with_suffix(".new")
        try:
            draft.write_text(json.dumps(told) + "\n", encoding="utf-8")
            os.replace(draft, self._health_file)
        except OSError as error:
            _log.warning("the health can't be written: %s", type(error).__name__)


def menus() -> Mapping[str, Mapping[str, str]]:
    """The words of this messenger's own furniture: command menus, the link to a private chat."""
    return tomllib.loads(files("bot.transport").joinpath("menus.toml").read_text("utf-8"))


def _commands(menu: Mapping[str, str]) -> list[BotCommand]:
    return [BotCommand(name, says) for name, says in menu.items()]


def _group_of(update: Json) -> tuple[int | None, bool]:
    """The group an update is from, and whether our own standing there changed."""
    for kind in ("message", "callback_query", "my_chat_member"):
        body = update.get(kind)
        if kind == "callback_query" and isinstance(body, Mapping):
            body = body.get("message")
        chat = body.get("chat") if isinstance(body, Mapping) else None
        number = chat.get("id") if isinstance(chat, Mapping) else None
        if isinstance(number, int) and number < 0:
            return number, kind == "my_chat_member"
    return None, False


async def _try(call: Callable[[], Awaitable[object]]) -> None:
    with suppress(TelegramError):
        await call()


async def _wait(event: asyncio.Event) -> None:
    await event.wait()


async def _run_until_signal(service: Service) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    await service.run(stop)


def main(settings: Settings) -> int:
    """Run the bot until SIGTERM or SIGINT; the exit code."""
    logging.basicConfig(
        level=settings.log_level, format="%(asctime)s %(levelname)s %(name)s: %(message)s"
    )
    quiet_logs()
    token = settings.token
    os.umask(0o077)  # what divers write is nobody else's on this machine
    settings.data.mkdir(parents=True, exist_ok=True)
    store = Store.open(settings.database)
    try:
        asyncio.run(_serve(settings, store, token))
    finally:
        store.close()
    return 0


async def _serve(settings: Settings, store: Store, token: str) -> None:
    service = Service(
        token=token,
        base_url=settings.telegram_base_url or OFFICIAL_BASE_URL,
        store=store,
        make_worker=lambda translator: worker_of(store, translator),
        clock=SystemClock().now,
        health_file=settings.data / "health.json",
    )
    # What is loaded by now stays for good: no collection walks over it again, and the young ones
    # are collected less often. A collection in the middle of a turn is what makes an answer late.
    gc.collect()
    gc.freeze()
    gc.set_threshold(*COLLECT)
    await _run_until_signal(service)
