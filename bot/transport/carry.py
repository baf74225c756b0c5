"""Carrying one letter to the messenger, and telling what became of it.

The messenger has no idempotency key, so what matters about a failure is whether the letter may
have arrived all the same. `fate_of` says that of every error; `carry` turns one letter into calls.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby

from telegram import (
    Bot,
    InlineKeyboardButton,
    InlineKeyboardMarkup,
    InputFile,
    LinkPreviewOptions,
    Message,
    MessageEntity,
    ReplyParameters,
)
from telegram.error import (
    BadRequest,
    ChatMigrated,
    Conflict,
    Forbidden,
    InvalidToken,
    NetworkError,
    RetryAfter,
    TelegramError,
    TimedOut,
)

from bot.texts.render import COLUMNS
from bot.transport.poll import seconds_of

TEXT_MOST = 4096
CAPTION_MOST = 1024


class Fate(StrEnum):
    """What became of a letter."""

    SENT = "sent"
    NOT_SENT = "not-sent"  # it surely never reached the messenger
    REFUSED = "refused"  # the messenger had trouble of its own (5xx)
    UNKNOWN = "unknown"  # it may have arrived: late or dropped answers mostly mean that it did
    WAIT = "wait"  # too many; `wait_s` until the next
    MOVED = "moved"  # the group has the number `moved_to` now
    CLOSED = "closed"  # the chat is closed to the bot
    BROKEN = "broken"  # the messenger will never take it


@dataclass(frozen=True, kw_only=True, slots=True)
class Carried:
    """What became of a letter, and the number of its message where it arrived."""

    fate: Fate
    message: int | None = None
    wait_s: float = 0.0
    moved_to: int | None = None


Link = tuple[str, str]
"""A label and the address it opens."""


@dataclass(kw_only=True, slots=True)
class Parcel:
    """One letter with its address. `keys` are rows of (label, token), `link` stands below them.

    `done` counts the calls that have succeeded, so that a retry of a long letter goes on where it
    stopped.
    """

    chat: int
    text: str
    thread: int | None = None
    keys: tuple[tuple[tuple[str, str], ...], ...] = ()
    reply_to: int | None = None
    edits: int | None = None
    reaction: str | None = None
    picture: bytes | None = None
    document: tuple[str, str] | None = None
    link: Link | None = None
    done: int = 0
    message: int | None = None


def fate_of(error: TelegramError) -> Carried:
    """What an error says about the letter that met it."""
    match error:
        case RetryAfter():
            return Carried(fate=Fate.WAIT, wait_s=seconds_of(error))
        case ChatMigrated():
            return Carried(fate=Fate.MOVED, moved_to=error.new_chat_id)
        case Forbidden():
            return Carried(fate=Fate.CLOSED)
        case InvalidToken() | Conflict():
            return Carried(fate=Fate.NOT_SENT)
        case BadRequest():
            gone = "chat not found" in _said(error)
            return Carried(fate=Fate.CLOSED if gone else Fate.BROKEN)
        case TimedOut():
            return Carried(fate=Fate.NOT_SENT if "pool timeout" in _said(error) else Fate.UNKNOWN)
        case NetworkError():
            if "connecterror" in _said(error):
                return Carried(fate=Fate.NOT_SENT)
            # The library raises an answer's error bare, and a broken connection's from its cause.
            answered = error.__cause__ is None or isinstance(error.__cause__, TelegramError)
            return Carried(fate=Fate.REFUSED if answered else Fate.UNKNOWN)
        case _:
            return Carried(fate=Fate.UNKNOWN)


async def carry(bot: Bot, parcel: Parcel) -> Carried:
    """Carry one letter. Raises nothing that the messenger or the network can cause."""
    try:
        return await _carry(bot, parcel)
    except BadRequest as error:
        told = fate_of(error)
        if told.fate is not Fate.BROKEN or not parcel.text or parcel.done:
            return told
        # Whatever it was that the messenger would not take, the words still matter.
        bare = Parcel(chat=parcel.chat, text=parcel.text)
        try:
            return await _carry(bot, bare)
        except TelegramError as again:
            return fate_of(again)
    except TelegramError as error:
        return fate_of(error)


async def _carry(bot: Bot, parcel: Parcel) -> Carried:
    if parcel.reaction is not None and parcel.reply_to is not None:
        try:
            await bot.set_message_reaction(parcel.chat, parcel.reply_to, parcel.reaction)
            return Carried(fate=Fate.SENT)
        except BadRequest as error:
            if fate_of(error).fate is not Fate.BROKEN:
                raise
            parcel.reply_to = None if "not found" in _said(error) else parcel.reply_to
        # This group forbids reactions, or the message is gone: say it in words.
        parcel.text, parcel.reaction = parcel.text or parcel.reaction, None
    if parcel.edits is not None and parcel.picture is None and parcel.document is None:
        edited = await _edit(bot, parcel, parcel.edits)
        if edited is not None:
            return edited
    parcel.edits = None  # from here on a second time is seen
    calls = _calls(bot, parcel)
    while parcel.done < len(calls):
        message = await _placed(parcel, calls[parcel.done])
        # The last part carries the buttons, and is what a later edit of the slot replaces.
        parcel.message = message.message_id
        parcel.done += 1
    return Carried(fate=Fate.SENT, message=parcel.message)


async def _edit(bot: Bot, parcel: Parcel, number: int) -> Carried | None:
    """Replace an earlier message; None where it has to be sent anew."""
    if units(parcel.text) > TEXT_MOST:
        return None
    try:
        await bot.edit_message_text(
            parcel.text,
            parcel.chat,
            number,
            reply_markup=_keyboard(parcel),
            link_preview_options=_NO_PREVIEW,
        )
    except BadRequest as error:
        said = _said(error)
        if "not modified" in said:
            return Carried(fate=Fate.SENT, message=number)
        if fate_of(error).fate is Fate.BROKEN:
            return None
        raise
    return Carried(fate=Fate.SENT, message=number)


Call = Callable[[int | None, ReplyParameters | None], Awaitable[Message]]


def _calls(bot: Bot, parcel: Parcel) -> list[Call]:
    """The calls that say the letter, in order."""
    file = parcel.picture or parcel.document
    caption = parcel.text if file and units(parcel.text) <= CAPTION_MOST else None
    parts = [] if caption is not None else split(parcel.text, TEXT_MOST)
    keyboard = _keyboard(parcel)
    calls: list[Call] = []
    for i, part in enumerate(parts):
        last = i == len(parts) - 1
        calls.append(_text(bot, parcel.chat, part, keyboard if last else None))
    if parcel.picture is not None:
        calls.append(_photo(bot, parcel.chat, parcel.picture, caption, keyboard))
    elif parcel.document is not None:
        calls.append(_file(bot, parcel.chat, parcel.document, caption, keyboard))
    return calls


def tables(text: str) -> list[MessageEntity]:
    """The runs of lines that are a table, to be shown in letters of one width."""
    found: list[MessageEntity] = []
    at = 0
    for is_table, lines in groupby(text.split("\n"), key=lambda line: COLUMNS in line):
        run = "\n".join(lines)
        if is_table:
            entity = MessageEntity(MessageEntity.PRE, offset=at, length=units(run))
            found.append(entity)
        at += units(run) + 1
    return found


def _text(bot: Bot, chat: int, text: str, keyboard: InlineKeyboardMarkup | None) -> Call:
    async def call(thread: int | None, reply: ReplyParameters | None) -> Message:
        return await bot.send_message(
            chat,
            text,
            entities=tables(text),
            reply_markup=keyboard,
            message_thread_id=thread,
            reply_parameters=reply,
            link_preview_options=_NO_PREVIEW,
        )

    return call


def _photo(
    bot: Bot, chat: int, png: bytes, caption: str | None, keyboard: InlineKeyboardMarkup | None
) -> Call:
    async def call(thread: int | None, reply: ReplyParameters | None) -> Message:
        return await bot.send_photo(
            chat,
            InputFile(png, filename="debrief.png"),
            caption=caption or None,
            caption_entities=tables(caption or ""),
            reply_markup=keyboard if caption is not None else None,
            message_thread_id=thread,
            reply_parameters=reply,
        )

    return call


def _file(
    bot: Bot,
    chat: int,
    document: tuple[str, str],
    caption: str | None,
    keyboard: InlineKeyboardMarkup | None,
) -> Call:
    name, content = document

    async def call(thread: int | None, reply: ReplyParameters | None) -> Message:
        return await bot.send_document(
            chat,
            InputFile(content.encode(), filename=name),
            caption=caption or None,
            reply_markup=keyboard if caption is not None else None,
            message_thread_id=thread,
            reply_parameters=reply,
        )

    return call


async def _placed(parcel: Parcel, call: Call) -> Message:
    """The call in its topic; without it where the topic is closed or gone."""
    reply = None
    if parcel.reply_to is not None and parcel.done == 0:
        reply = ReplyParameters(parcel.reply_to, allow_sending_without_reply=True)
    try:
        return await call(parcel.thread, reply)
    except BadRequest as error:
        said = _said(error)
        if parcel.thread is None or not ("thread" in said or "topic" in said):
            raise
    # The General topic is addressed by leaving it out; a reply still finds its message there.
    parcel.thread = None
    return await call(None, reply)


def split(text: str, most: int) -> list[str]:
    """Parts of at most `most` UTF-16 units, cut at line ends where there are any."""
    parts: list[str] = []
    rest = text
    while units(rest) > most:
        head = rest[:most]
        while units(head) > most:
            head = head[:-1]
        cut = head.rfind("\n")
        if cut <= 0:
            cut = len(head)
        parts.append(rest[:cut])
        rest = rest[cut:].lstrip("\n")
    if rest.strip():
        parts.append(rest)
    return parts


_NO_PREVIEW = LinkPreviewOptions(is_disabled=True)


def _keyboard(parcel: Parcel) -> InlineKeyboardMarkup | None:
    rows = [
        [InlineKeyboardButton(label, callback_data=token) for label, token in row]
        for row in parcel.keys
        if row
    ]
    if parcel.link is not None:
        label, url = parcel.link
        rows.append([InlineKeyboardButton(label, url=url)])
    return InlineKeyboardMarkup(rows) if rows else None


def units(text: str) -> int:
    """The length of a text as the messenger counts it: UTF-16 units."""
    return len(text.encode("utf-16-le", "surrogatepass")) // 2


def _said(error: TelegramError) -> str:
    """The error's words, to be looked at, never to be logged."""
    return error.message.lower()
