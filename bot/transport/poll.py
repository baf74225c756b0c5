"""Fetching updates: committed to the inbox before they are confirmed to the messenger.

The library's own updater confirms a batch with the next poll whether it was worked off or not, and
goes deaf for good after one 401. So this is a poller of our own on the library's request class: raw
JSON, the whole batch in one transaction, then the offset moves. Nothing here ever logs an update,
the text of an error (it may hold an update or the token) or the base URL.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from telegram import Bot
from telegram.error import BadRequest, Conflict, InvalidToken, RetryAfter, TelegramError
from telegram.request import BaseRequest, HTTPXRequest

Json = dict[str, Any]

ALLOWED_UPDATES = ("message", "edited_message", "callback_query", "my_chat_member")

_log = logging.getLogger(__name__)


class QuietRequest(HTTPXRequest):
    """The library's request, less its log line that prints an answer it can't read."""

    __slots__ = ()

    @staticmethod
    def parse_json_payload(payload: bytes) -> Json:
        """The answer as JSON; the error says nothing of what it held."""
        try:
            read = json.loads(payload.decode("utf-8", "replace"))
        except (ValueError, RecursionError):
            read = None
        if not isinstance(read, dict):
            raise TelegramError("Invalid server response") from None
        return read


def quiet_logs() -> None:
    """Keep the libraries from printing the token (INFO, DEBUG) or what people wrote (DEBUG)."""
    for name in ("httpx", "httpcore", "telegram", "apscheduler"):
        logging.getLogger(name).setLevel(logging.WARNING)


@dataclass(kw_only=True)
class Health:
    """How receiving goes: when the messenger last answered, and what has been wrong since when."""

    last_answer_at: datetime | None = None
    trouble: str = ""
    troubled_since_at: datetime | None = None

    def good(self, at: datetime) -> None:
        """The messenger answered."""
        if self.trouble:
            _log.warning("receiving again after %s", self.trouble)
        self.last_answer_at, self.trouble, self.troubled_since_at = at, "", None

    def bad(self, trouble: str, at: datetime) -> None:
        """It did not, and why."""
        if trouble != self.trouble:
            _log.error("receiving fails: %s; trying on", trouble)
        self.trouble, self.troubled_since_at = trouble, self.troubled_since_at or at


@dataclass(kw_only=True)
class Backoff:
    """Waits that double up to a limit, and start over after a success."""

    first_s: float = 1.0
    most_s: float = 60.0
    _next_s: float = field(default=0.0, init=False)

    def wait_s(self) -> float:
        """The next wait."""
        now_s = self._next_s or self.first_s
        self._next_s = min(now_s * 2, self.most_s)
        return now_s

    def reset(self) -> None:
        """After a success."""
        self._next_s = 0.0


def trouble_of(error: BaseException) -> str:
    """What went wrong, in words that hold neither the token nor anything a diver wrote."""
    match error:
        case Conflict():
            return "another program polls with the same token (409)"
        case InvalidToken():
            return "the token was not accepted (401 or 404)"
        case RetryAfter():
            return "asked to wait (429)"
        case BadRequest():
            return "the request was refused (400)"
        case _:
            return type(error).__name__


def seconds_of(error: RetryAfter) -> float:
    """How long the messenger asks us to wait."""
    wait = error.retry_after
    return wait.total_seconds() if isinstance(wait, timedelta) else float(wait)


class Poller:
    """Long polling for ever: fetch, commit, confirm; keeps trying whatever the messenger answers.

    `commit` takes a whole batch of raw updates and returns when they are durable. `heard` is told
    of each batch after that, and must not take long.
    """

    def __init__(
        self,
        bot: Bot,
        request: BaseRequest,
        *,
        commit: Callable[[Sequence[Json]], None],
        heard: Callable[[Sequence[Json]], None],
        clock: Callable[[], datetime],
        timeout_s: int = 25,
        backoff: Backoff | None = None,
    ) -> None:
        self._bot, self._request = bot, request
        self._commit, self._heard, self._clock = commit, heard, clock
        self._timeout_s = timeout_s
        self._backoff = backoff or Backoff()
        self._offset = 0
        self.health = Health()

    async def run(self) -> None:
        """Poll until cancelled. Cancelling loses nothing: what was not committed comes again."""
        while True:
            try:
                await self.once()
            except RetryAfter as error:
                self.health.bad(trouble_of(error), self._clock())
                await asyncio.sleep(seconds_of(error))
            except Exception as error:  # whatever it is, a deaf bot is worse
                self.health.bad(trouble_of(error), self._clock())
                await asyncio.sleep(self._backoff.wait_s())
            else:
                self._backoff.reset()

    async def once(self) -> int:
        """One poll; the number of updates that it brought."""
        batch = [u for u in await self._fetch() if _has_number(u)]
        if batch:
            self._commit(batch)
            # The next poll confirms all before the offset: only now, when they are durable.
            self._offset = max(u["update_id"] for u in batch) + 1
            self._heard(batch)
        self.health.good(self._clock())
        return len(batch)

    async def _fetch(self) -> Sequence[Json]:
        query = {
            "timeout": self._timeout_s,
            "limit": 100,
            "allowed_updates": json.dumps(ALLOWED_UPDATES),
        }
        if self._offset:
            query["offset"] = self._offset
        found = await self._request.post(
            f"{self._bot.base_url}/getUpdates?{urlencode(query)}",
            read_timeout=self._timeout_s + 10,
        )
        if not isinstance(found, list):
            raise TelegramError("Invalid server response")
        return found


def _has_number(update: object) -> bool:
    return isinstance(update, dict) and type(update.get("update_id")) is int
