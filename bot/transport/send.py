"""The paced outbox: letters leave in order, one under way a chat, help texts in their own lane.

What became of each is told to the store, which knows by its delivery class whether it goes again.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from telegram import Bot

from bot.transport.carry import TEXT_MOST, Carried, Fate, Link, Parcel, carry, units
from bot.transport.poll import Backoff
from bot.transport.update import MESSENGER
from storage.outcome import Delivery, Letter, Picture
from storage.store import OutboxRow, Store

_log = logging.getLogger(__name__)

Lane = tuple[str, bool]  # chat, and whether it is the lane of help texts
IDLE_S = 1.0  # how long at most until the outbox is looked at again
_GOES_ON = (Fate.NOT_SENT, Fate.REFUSED, Fate.UNKNOWN, Fate.WAIT)
LONG_LOOK_S = 0.02


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """What the messenger takes: about a message a second in a chat, 20 a minute in a group."""

    chat_s: float = 1.0
    group_a_minute: int = 20
    all_a_second: int = 30


@dataclass(kw_only=True)
class Pace:
    """When the next message may go to a chat, by what went out in the last minute."""

    limits: Limits = field(default_factory=Limits)
    _by_chat: dict[int, deque[float]] = field(default_factory=dict)
    _all: deque[float] = field(default_factory=deque)

    def wait_s(self, chat: int, *, now_s: float) -> float:
        """Seconds until the next may go; 0 for at once."""
        waits = [0.0]
        gone = self._by_chat.get(chat)
        if gone:
            waits.append(gone[-1] + self.limits.chat_s - now_s)
            while gone and gone[0] <= now_s - 60:
                gone.popleft()
            if chat < 0 and len(gone) >= self.limits.group_a_minute:
                waits.append(gone[-self.limits.group_a_minute] + 60 - now_s)
        while self._all and self._all[0] <= now_s - 1:
            self._all.popleft()
        if len(self._all) >= self.limits.all_a_second:
            waits.append(self._all[-self.limits.all_a_second] + 1 - now_s)
        return max(waits)

    def gone(self, chat: int, *, now_s: float) -> None:
        """A message goes out now."""
        self._by_chat.setdefault(chat, deque()).append(now_s)
        self._all.append(now_s)


def draw_picture(picture: Picture) -> bytes:
    """Draw a picture; the drawing library is loaded with the first one."""
    from bot.charts import draw

    return draw(picture)


class Sender:
    """Empties the outbox for ever. `news` is to be set when there may be new letters.

    `helping` carries the help texts, on connections of their own; the same bot if left out.
    """

    def __init__(
        self,
        bot: Bot,
        store: Store,
        *,
        clock: Callable[[], datetime],
        limits: Limits | None = None,
        draw: Callable[[Picture], bytes] = draw_picture,
        link: Callable[[int, str], Link | None] = lambda chat, text: None,
        helping: Bot | None = None,
    ) -> None:
        self._bot, self._store, self._clock = bot, store, clock
        self._helping = helping or bot
        self._draw, self._link = draw, link
        self._pace = Pace(limits=limits or Limits())
        self._under_way: dict[Lane, asyncio.Task[None]] = {}
        self._quiet_until_s: dict[int, float] = {}
        self._begun: dict[int, Parcel] = {}
        self._studio = ThreadPoolExecutor(max_workers=1, thread_name_prefix="draw")
        self.news = asyncio.Event()

    async def run(self) -> None:
        """Send until cancelled; what is under way then is left to `finish`."""
        backoff = Backoff()
        while True:
            self.news.clear()
            began_s = time.monotonic()
            try:
                wait_s = self._begin()
            except Exception as error:  # a full disk, say: the letters are still in the outbox
                _log.error("the outbox can't be read: %s", type(error).__name__)
                wait_s = backoff.wait_s()
            else:
                backoff.reset()
            took_s = time.monotonic() - began_s
            if took_s > LONG_LOOK_S:  # a long queue: looking at it must not become the work
                await asyncio.sleep(min(4 * took_s, 0.25))
            # Not `wait_for`: before Python 3.12 it may swallow a cancellation that meets the event.
            with suppress(TimeoutError):
                async with asyncio.timeout(wait_s):
                    await self.news.wait()

    async def finish(self, within_s: float) -> None:
        """Let the sends under way come to their end: nothing is said twice after a restart."""
        if self._under_way:
            _, late = await asyncio.wait(self._under_way.values(), timeout=within_s)
            for task in late:
                task.cancel()
            await asyncio.gather(*late, return_exceptions=True)
        self._studio.shutdown(wait=False, cancel_futures=True)

    def _begin(self) -> float:
        """Begin what may go now; the seconds until something may go again."""
        at, now_s = self._clock(), time.monotonic()
        wait_s = IDLE_S
        retry_at = self._store.next_letter_at()
        if retry_at is not None and retry_at > at:
            wait_s = min(wait_s, (retry_at - at).total_seconds())
        lanes: dict[Lane, list[OutboxRow]] = {}
        for row in self._store.ready_letters(at=at):
            lane = (row.letter.to, row.letter.delivery is Delivery.HELP)
            lanes.setdefault(lane, []).append(row)
        for lane, rows in lanes.items():
            if lane in self._under_way or (lane[0], True) in self._under_way:
                continue  # what else there is for a chat doesn't overtake its help text
            address = self._store.address(lane[0])
            if address is None:
                for row in rows:
                    self._store.drop(row.id, at=at, error="no address")
                continue
            chat = int(address.external_id)
            lane_wait_s = self._quiet_until_s.get(chat, 0.0) - now_s
            if not lane[1]:  # a help text waits only where the messenger said so
                lane_wait_s = max(lane_wait_s, self._pace.wait_s(chat, now_s=now_s))
            if lane_wait_s > 0:
                wait_s = min(wait_s, lane_wait_s)
                continue
            run = joined(rows)
            self._store.mark_sending(*(row.id for row in run))
            if run[0].letter.reaction is None:
                self._pace.gone(chat, now_s=now_s)
            self._under_way[lane] = asyncio.create_task(self._send(lane, run, chat))
        return wait_s

    async def _send(self, lane: Lane, run: Sequence[OutboxRow], chat: int) -> None:
        try:
            parcel = self._begun.pop(run[0].id, None) or await self._pack(run, chat)
            carried = await carry(self._helping if lane[1] else self._bot, parcel)
            self._settle(run, chat, parcel, carried)
        except Exception as error:  # ours, not the messenger's: the rows stay, the lane goes on
            _log.error("a letter of class %s failed: %s", run[0].letter.delivery, _name(error))
            for row in run:
                self._store.mark_unknown(row.id, at=self._clock())
        finally:
            del self._under_way[lane]
            self.news.set()

    async def _pack(self, run: Sequence[OutboxRow], chat: int) -> Parcel:
        first, last = run[0], run[-1]
        letter = first.letter
        text = "\n\n".join(row.letter.text for row in run)
        picture = None
        if letter.picture is not None:
            loop = asyncio.get_running_loop()
            try:
                picture = await loop.run_in_executor(self._studio, self._draw, letter.picture)
            except Exception as error:  # the words matter more than the picture
                _log.error("a picture could not be drawn: %s", _name(error))
        return Parcel(
            chat=chat,
            thread=_number(first.thread),
            text=text,
            keys=tuple(
                tuple((key.label, token) for key, token in zip(keys, tokens, strict=True))
                for keys, tokens in zip(last.letter.keys, last.tokens, strict=True)
            ),
            reply_to=_number(first.reply_to) if len({row.reply_to for row in run}) == 1 else None,
            edits=_number(first.edits),
            reaction=letter.reaction,
            picture=picture,
            document=letter.document,
            link=self._link(chat, text),
        )

    def _settle(
        self, run: Sequence[OutboxRow], chat: int, parcel: Parcel, carried: Carried
    ) -> None:
        at = self._clock()
        name = carried.fate.value
        to = run[0].letter.to
        if carried.fate is Fate.CLOSED and to.startswith("p:"):
            with self._store.turn(at=at) as turn:
                turn.set_can_dm(to.removeprefix("p:"), False)
        if carried.fate is Fate.MOVED:
            with self._store.turn(at=at) as turn:
                turn.move_room(
                    messenger=MESSENGER,
                    old_external_id=str(chat),
                    external_id=str(carried.moved_to),
                )
        if carried.fate is Fate.WAIT:
            self._quiet_until_s[chat] = time.monotonic() + carried.wait_s
        if parcel.done and len(run) == 1 and carried.fate in _GOES_ON:
            self._begun[run[0].id] = parcel  # a long letter goes on where it stopped
        for row in run:
            match carried.fate:
                case Fate.SENT:
                    external = None if carried.message is None else str(carried.message)
                    self._store.mark_sent(row.id, external, at=at)
                case Fate.UNKNOWN:
                    self._store.mark_unknown(row.id, at=at)
                case Fate.REFUSED if row.letter.delivery is Delivery.REMINDER:
                    # A 5xx mostly means that nothing was sent; a reminder doesn't rely on "mostly".
                    self._store.mark_unknown(row.id, at=at)
                case Fate.NOT_SENT | Fate.REFUSED:
                    self._store.mark_failed(row.id, at=at, retry_at=None, error=name)
                case Fate.WAIT:
                    retry_at = at + timedelta(seconds=carried.wait_s)
                    self._store.mark_failed(row.id, at=at, retry_at=retry_at, error=name)
                case Fate.MOVED:
                    self._store.mark_failed(row.id, at=at, retry_at=at, error=name)
                case Fate.CLOSED | Fate.BROKEN:
                    self._store.drop(row.id, at=at, error=name)
        if carried.fate is not Fate.SENT:
            _log.warning("letter %d of class %s: %s", run[0].id, run[0].letter.delivery, name)


def joined(rows: Sequence[OutboxRow]) -> tuple[OutboxRow, ...]:
    """The first of a lane's letters, with those after it that read as well in the same message.

    Only plain words join, in order and of one class; buttons only with the last, since a letter's
    buttons work once together.
    """
    run = [rows[0]]
    size = units(rows[0].letter.text)
    for row in rows[1:]:
        size += 2 + units(row.letter.text)
        before = run[-1]
        if (
            size > TEXT_MOST
            or not (_is_plain(before.letter) and _is_plain(row.letter))
            or before.letter.keys
            or row.letter.delivery is not before.letter.delivery
            or row.thread != before.thread
        ):
            break
        run.append(row)
    return tuple(run)


def _is_plain(letter: Letter) -> bool:
    extras = (letter.picture, letter.slot, letter.reaction, letter.document)
    return all(extra is None for extra in extras)


def _number(text: str | None) -> int | None:
    return None if text is None else int(text)


def _name(error: BaseException) -> str:
    return type(error).__name__
