"""An update of the messenger's, as it came, to what was heard.

Rows of the inbox hold raw JSON; they are read one by one when they are worked off, inside the turn
that works them off, so an unreadable one raises here and holds nobody else back.
"""

from __future__ import annotations

import hmac
import json
import re
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Protocol

from telegram import CallbackQuery, Chat, ChatMemberUpdated, Message, Update, User
from telegram.constants import ChatMemberStatus, ChatType, MessageEntityType

from bot.heard import Button, Heard, Kind
from storage.store import Incoming, Turn

MESSENGER = "telegram"
_GROUPS = (ChatType.GROUP, ChatType.SUPERGROUP)
_PRESENT = (ChatMemberStatus.MEMBER, ChatMemberStatus.ADMINISTRATOR, ChatMemberStatus.RESTRICTED)
_MENTIONS = (MessageEntityType.MENTION, MessageEntityType.TEXT_MENTION)
_WORD = re.compile(r"[^\W\d_][\w'’-]*")
_COMMAND = re.compile(r"/([A-Za-z0-9_]+)(?:@([A-Za-z0-9_]+))?(?=\s|$)")


class Unreadable(Exception):
    """A row that is no update we can read. It says nothing of what the row holds."""


class Me(Protocol):
    """What must be known of the bot itself; the library's `User` has it."""

    @property
    def username(self) -> str | None: ...  # noqa: D102
    @property
    def can_read_all_group_messages(self) -> bool | None: ...  # noqa: D102


def incoming_of(update: Mapping[str, Any], *, at: datetime) -> Incoming:
    """A raw update as a row for the inbox, with the keys that tell a redelivery."""
    number = f"{MESSENGER}:u:{update.get('update_id')}"
    place = None
    message = update.get("message")
    query = update.get("callback_query")
    if isinstance(message, Mapping) and isinstance(chat := message.get("chat"), Mapping):
        place = f"{MESSENGER}:{chat.get('id')}:{message.get('message_id')}"
    elif isinstance(query, Mapping):
        number = f"{MESSENGER}:q:{query.get('id')}"
    body = json.dumps(update, ensure_ascii=True, separators=(",", ":"))
    return Incoming(body=body, received_at=at, update_key=number, place_key=place)


def start_link(username: str, chat: int, secret: str) -> str:
    """The deep link that opens a private chat with the bot as a member of this group."""
    return f"https://t.me/{username}?start={_payload(chat, secret)}"


def _payload(chat: int, secret: str) -> str:
    packed = urlsafe_b64encode(str(chat).encode()).decode().rstrip("=")
    seal = hmac.new(secret.encode(), packed.encode(), "sha256").hexdigest()[:16]
    return f"{packed}_{seal}"


def _chat_of(payload: str, secret: str) -> str | None:
    packed, _, _ = payload.rpartition("_")
    try:
        chat = urlsafe_b64decode(packed + "=" * (-len(packed) % 4)).decode()
        genuine = hmac.compare_digest(_payload(int(chat), secret), payload)
    except ValueError:
        return None
    return chat if genuine else None


@dataclass(kw_only=True)
class Translator:
    """Reads a row of the inbox. Call it as `translate(body, turn, now)`.

    `admins` maps a chat's id to the ids of its admins, as far as they are known; `secret` seals
    deep links.
    """

    me: Callable[[], Me]
    secret: str
    admins: Mapping[int, frozenset[int]] = field(default_factory=dict)
    _users: dict[str, User] = field(default_factory=dict)

    def __call__(self, body: str, turn: Turn, now: datetime) -> tuple[Heard, ...]:
        """What was heard; nothing for what is none of ours. Raises `Unreadable`."""
        try:
            update = Update.de_json(json.loads(body))
        except Exception:
            # The library raises whatever comes to hand, and its words may hold the update's.
            raise Unreadable from None
        if update.message is not None:
            return self._message(update.message, turn, now)
        if update.edited_message is not None:
            return self._edit(update.edited_message, turn, now)
        if update.callback_query is not None:
            return self._press(update.callback_query, turn, now)
        if update.my_chat_member is not None:
            return self._standing(update.my_chat_member, turn, now)
        return ()

    def note(self, user: User) -> None:
        """Learn whose a username is; mentions hold nothing else."""
        if user.username:
            self._users[user.username.casefold()] = user

    def _message(self, message: Message, turn: Turn, now: datetime) -> tuple[Heard, ...]:
        chat = message.chat
        if message.migrate_to_chat_id is not None:
            _move(turn, chat.id, message.migrate_to_chat_id)
            return ()
        if message.migrate_from_chat_id is not None:
            _move(turn, message.migrate_from_chat_id, chat.id)
            return ()
        if chat.type not in (*_GROUPS, ChatType.PRIVATE):
            return ()
        if problem := _no_diver(message):
            return self._ignored(message, problem, turn, now)
        text = self._text(message, turn)
        if text is None:
            if chat.type == ChatType.PRIVATE and _is_content(message):
                return self._ignored(message, "no-text", turn, now)
            return ()
        return self._heard(message, text, turn, now)

    def _edit(self, message: Message, turn: Turn, now: datetime) -> tuple[Heard, ...]:
        if message.chat.type not in (*_GROUPS, ChatType.PRIVATE) or _no_diver(message):
            return ()
        key = self._chat_key(message.chat, message.from_user, turn)
        text = self._text(message, turn)
        # A message nobody heard (too old, from before the bot came) is not made one by an edit.
        if text is None or turn.heard_of(key, str(message.message_id)) is None:
            return ()
        return self._heard(message, text, turn, now, kind=Kind.EDIT)

    def _heard(
        self, message: Message, text: str, turn: Turn, now: datetime, kind: Kind = Kind.MESSAGE
    ) -> tuple[Heard, ...]:
        user, chat = message.from_user, message.chat
        assert user is not None  # `_no_diver` has looked
        private = chat.type == ChatType.PRIVATE
        text, home = self._started(text, turn) if private else (text, None)
        key = self._chat_key(chat, user, turn)
        sender = self._member(user, chat, turn, home=home)
        noted = turn.hear(
            key,
            str(message.message_id),
            sender=sender,
            text=text,
            sent_at=message.date,
            thread=_thread(message),
        )
        if kind is Kind.EDIT and not noted.changed:
            return ()  # a first reaction or a link preview also comes as an edit
        return (
            Heard(
                kind=kind,
                chat=key,
                private=private,
                sender=sender,
                message=noted.number,
                sent_at=message.date,
                now=now,
                text=text,
                edit=noted.edit,
                reply_to_sender=_replied(message, key, turn),
                is_command_for_us=text.startswith("/"),
            ),
        )

    def _ignored(
        self, message: Message, problem: str, turn: Turn, now: datetime
    ) -> tuple[Heard, ...]:
        private = message.chat.type == ChatType.PRIVATE
        if private and message.from_user is None:
            return ()
        key = self._chat_key(message.chat, message.from_user, turn)
        sender = ""
        if private and message.from_user is not None:
            sender = self._member(message.from_user, message.chat, turn)
        external = str(message.message_id)
        noted = turn.hear(
            key, external, sender=sender, text="", sent_at=message.date, thread=_thread(message)
        )
        return (
            Heard(
                kind=Kind.IGNORED,
                chat=key,
                private=private,
                sender=sender,
                message=noted.number,
                sent_at=message.date,
                now=now,
                problem=problem,
                is_command_for_us=(self._text(message, turn) or "").startswith("/"),
            ),
        )

    def _press(self, query: CallbackQuery, turn: Turn, now: datetime) -> tuple[Heard, ...]:
        if query.message is None or query.data is None or query.from_user.is_bot:
            return ()
        chat = query.message.chat
        if chat.type not in (*_GROUPS, ChatType.PRIVATE):
            return ()
        key = self._chat_key(chat, query.from_user, turn)
        sender = self._member(query.from_user, chat, turn)
        stored = turn.button(query.data)
        if stored is not None and stored.chat == key:
            turn.press(query.data, by=sender)
            button = Button(
                says=stored.key.says,
                diver=stored.key.diver,
                may_press=stored.key.may_press,
                answers=stored.key.answers,
                fresh=not stored.used,
                slot=stored.slot,
            )
        else:
            button = Button(says="", diver="", may_press=(), answers=None, fresh=False, known=False)
        return (
            Heard(
                kind=Kind.PRESS,
                chat=key,
                private=chat.type == ChatType.PRIVATE,
                sender=sender,
                message=turn.next_number(key),
                sent_at=now,
                now=now,
                text=button.says,
                button=button,
            ),
        )

    def _standing(self, change: ChatMemberUpdated, turn: Turn, now: datetime) -> tuple[Heard, ...]:
        chat, user = change.chat, change.from_user
        status = change.new_chat_member.status
        if chat.type == ChatType.PRIVATE:
            closed = status in (ChatMemberStatus.BANNED, ChatMemberStatus.LEFT)
            sender = self._member(user, chat, turn)
            turn.set_can_dm(sender, not closed)
            if not closed:
                return ()
            kind, problem = Kind.BLOCKED, ""
        elif chat.type in _GROUPS and status in _PRESENT:
            reads_all = bool(self.me().can_read_all_group_messages)
            may_read = reads_all or status == ChatMemberStatus.ADMINISTRATOR
            kind, problem = Kind.JOINED, "" if may_read else "privacy"
            sender = "" if user.is_bot else self._member(user, chat, turn)
        else:
            return ()
        key = self._chat_key(chat, user, turn)
        return (
            Heard(
                kind=kind,
                chat=key,
                private=kind is Kind.BLOCKED,
                sender=sender,
                message=turn.next_number(key),
                sent_at=change.date,
                now=now,
                problem=problem,
            ),
        )

    def _chat_key(self, chat: Chat, user: User | None, turn: Turn) -> str:
        if chat.type == ChatType.PRIVATE:
            return f"p:{member_key(user) if user else chat.id}"
        room = turn.ensure_room(
            messenger=MESSENGER, external_id=str(chat.id), title=chat.title or ""
        )
        return room.chat

    def _member(self, user: User, chat: Chat, turn: Turn, home: str | None = None) -> str:
        self.note(user)
        private = chat.type == ChatType.PRIVATE
        room = home if private else self._chat_key(chat, user, turn)
        admins = None if private else self.admins.get(chat.id)
        member = turn.ensure_member(
            key=member_key(user),
            name=name_of(user),
            room=room,
            messenger=MESSENGER,
            external_id=str(user.id),
            can_dm=True if private else None,
            is_admin=None if admins is None else user.id in admins,
        )
        return member.key

    def _started(self, text: str, turn: Turn) -> tuple[str, str | None]:
        """`/start` with a deep link's payload: the bare command, and the group it came from."""
        words = text.split()
        if len(words) != 2 or words[0] != "/start":
            return text, None
        chat = _chat_of(words[1], self.secret)
        if chat is None:
            return "/start", None
        return "/start", turn.chat_by_external(MESSENGER, chat)

    def _text(self, message: Message, turn: Turn) -> str | None:
        """The words, with mentions as roster names; None where there are none for us."""
        raw = message.text if message.text is not None else message.caption
        if raw is None:
            return None
        text = self._with_names(message, raw, turn)
        ours = (self.me().username or "").casefold()
        if (command := _COMMAND.match(text)) is not None:
            whose = command.group(2)
            if whose is not None and whose.casefold() != ours:
                return None
            return f"/{command.group(1)}{text[command.end() :]}"
        if ours and (called := re.match(rf"@{re.escape(ours)}\b[\s,:]*", text, re.IGNORECASE)):
            return text[called.end() :]
        return text

    def _with_names(self, message: Message, raw: str, turn: Turn) -> str:
        entities = message.entities if message.text is not None else message.caption_entities
        units = raw.encode("utf-16-le", "surrogatepass")  # offsets count UTF-16 units
        for entity in sorted(entities, key=lambda e: -e.offset):
            start, end = entity.offset * 2, (entity.offset + entity.length) * 2
            user = entity.user
            if entity.type == MessageEntityType.MENTION:
                written = units[start:end].decode("utf-16-le", "replace")
                user = self._users.get(written.lstrip("@").casefold())
            if user is None or entity.type not in _MENTIONS:
                continue
            member = turn.member_by_external(MESSENGER, str(user.id))
            name = member.name if member is not None else name_of(user)
            units = units[:start] + name.encode("utf-16-le") + units[end:]
        return units.decode("utf-16-le", "surrogatepass")


def member_key(user: User) -> str:
    """Our key of a user of this messenger."""
    return f"t{user.id}"


def name_of(user: User) -> str:
    """The name a user goes by on a roster: one word that others can type."""
    for source in (user.first_name, user.username or "", user.last_name or ""):
        if found := _WORD.search(source):
            return found.group()[:32]
    return f"diver{user.id % 1000}"


def _move(turn: Turn, old: int, new: int) -> None:
    turn.move_room(messenger=MESSENGER, old_external_id=str(old), external_id=str(new))


def _no_diver(message: Message) -> str:
    """Why a message is nobody's own words, or empty."""
    if message.forward_origin is not None or message.is_automatic_forward:
        return "forward"
    if message.via_bot is not None:
        return "via-bot"
    if message.sender_chat is not None:
        return "anonymous" if message.sender_chat.id == message.chat.id else "channel"
    if message.from_user is None or message.from_user.is_bot:
        return "bot"
    return ""


def _is_content(message: Message) -> bool:
    """Whether somebody sent something (a photo, a voice note), not a notice of the messenger's."""
    return message.effective_attachment is not None


def _thread(message: Message) -> str | None:
    # Only a topic's own messages carry it; the General topic is addressed by leaving it out.
    return str(message.message_thread_id) if message.is_topic_message else None


def _replied(message: Message, chat: str, turn: Turn) -> str | None:
    """The member whose message this one replies to; a topic's first message is no reply."""
    to = message.reply_to_message
    if to is None or to.forum_topic_created is not None or to.from_user is None:
        return None
    noted = turn.heard_of(chat, str(to.message_id))
    if noted is not None and noted.sender:
        return noted.sender
    if to.from_user.is_bot or _no_diver(to):
        return None
    known = turn.member_by_external(MESSENGER, str(to.from_user.id))
    return known.key if known is not None else None
