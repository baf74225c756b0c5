"""A Bot API server on 127.0.0.1, over real HTTP: what the messenger does, and what it does wrong.

Long polling with the true meaning of `offset` and `allowed_updates`, groups, topics, replies,
edits, buttons, reactions, files, limits, migration, and faults on demand. What it accepts stands in
`accepted`; what people see stands in `messages`.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from aiohttp import web

Json = dict[str, Any]
TOKEN = "4242:loopback"
BOT: Json = {
    "id": 4242,
    "is_bot": True,
    "first_name": "Buoyside",
    "username": "OurBot",
    "can_join_groups": True,
    "can_read_all_group_messages": True,
    "supports_inline_queries": False,
}
REACTIONS = {"👍", "👎", "❤", "🔥", "👌", "🤔", "✍", "🙏", "👏", "🎉"}
UNASKED = {"chat_member", "message_reaction", "message_reaction_count"}


class Refused(Exception):
    """An answer that is no 200."""

    def __init__(self, status: int, description: str, **parameters: int) -> None:
        super().__init__(description)
        self.status, self.description, self.parameters = status, description, parameters


@dataclass
class Fault:
    """What goes wrong: refused with `status`, or (`accept`) done with the answer dropped or late."""

    method: str
    times: int = 1
    status: int = 0
    description: str = "Bad Gateway"
    parameters: dict[str, int] = field(default_factory=dict)
    accept: bool = False
    drop: bool = False
    delay_s: float = 0.0
    chat: int | None = None
    body: bytes | None = None


@dataclass
class Accepted:
    """One call that the server carried out."""

    method: str
    params: Json
    at_s: float

    @property
    def chat(self) -> int:
        return int(self.params.get("chat_id", 0))

    @property
    def text(self) -> str:
        return str(self.params.get("text", self.params.get("caption", "")))


class Loopback:
    """The server. `start()` it, speak as people with `say`, `edit`, `press`, and wait for `accepted`."""

    def __init__(self) -> None:
        self.url = ""
        self.me = dict(BOT)
        self.accepted: list[Accepted] = []
        self.calls: Counter[str] = Counter()
        self.faults: list[Fault] = []
        self.messages: dict[tuple[int, int], Json] = {}
        self.chats: dict[int, Json] = {}
        self.topics: dict[int, dict[int, bool]] = {}  # thread → open
        self.reachable: set[int] = set()  # people who opened a private chat
        self.members: dict[tuple[int, int], str] = {}  # (chat, user) → status
        self.gone: dict[int, str] = {}  # chat → why it is forbidden
        self.moved: dict[int, int] = {}
        self.no_reactions: set[int] = set()
        self.hanging = 0  # answers that are held back just now
        self.commands: list[Json] = []
        self.updates: list[Json] = []
        self.polls: list[Json] = []
        self.allowed: list[str] | None = None
        self.files: list[tuple[str, bytes]] = []
        self._numbers: Counter[int] = Counter()
        self._update_id = 700_000_000
        self._queries: dict[str, bool] = {}
        self._query = 0
        self._poll: asyncio.Event | None = None
        self._awaited: dict[int, list[asyncio.Future[None]]] = {}
        self._news = asyncio.Event()
        self._runner: web.AppRunner | None = None

    async def start(self, port: int = 0) -> Loopback:
        app = web.Application(client_max_size=60 * 2**20)
        app.router.add_route("*", "/bot{token}/{method}", self._handle)
        self._runner = web.AppRunner(app, access_log=None, shutdown_timeout=0.1)
        await self._runner.setup()
        site = web.TCPSite(self._runner, "127.0.0.1", port)
        await site.start()
        self.url = f"http://127.0.0.1:{self._runner.addresses[0][1]}"
        return self

    async def stop(self) -> None:
        if self._poll is not None:
            self._poll.set()
        if self._runner is not None:
            await self._runner.cleanup()

    # ------------------------------------------------------------------ people

    def group(self, chat: int, title: str = "Tuesday line", *, forum: bool = False) -> int:
        self.chats[chat] = {"id": chat, "type": "supergroup", "title": title, "is_forum": forum}
        self.members[(chat, int(self.me["id"]))] = "member"
        if forum:
            self.topics[chat] = {}
        return chat

    def person(self, user: int, name: str) -> Json:
        return {"id": user, "is_bot": False, "first_name": name, "username": f"{name}_x"}

    def say(self, chat: int, user: Json, text: str, **extra: Any) -> int:
        """A message from a person; answers its number."""
        if chat == user["id"]:
            self.reachable.add(chat)
            self.chats.setdefault(chat, {"id": chat, "type": "private"} | _names(user))
        message = self._message(chat, user, text=text, **extra)
        if text.startswith("/"):
            length = len(text.split()[0])
            message["entities"] = [{"type": "bot_command", "offset": 0, "length": length}]
        self.push("message", message)
        return int(message["message_id"])

    def edit(self, chat: int, number: int, text: str) -> None:
        message = self.messages[(chat, number)]
        message |= {"text": text, "edit_date": int(time.time())}
        self.push("edited_message", message)

    def press(self, chat: int, user: Json, number: int, label: str = "", *, data: str = "") -> None:
        message = self.messages[(chat, number)]
        rows = message.get("reply_markup", {}).get("inline_keyboard", [])
        found = [key["callback_data"] for row in rows for key in row if key["text"] == label]
        self._query += 1
        query = {"id": str(self._query), "from": user, "message": message, "chat_instance": "1"}
        self._queries[query["id"]] = False
        self.push("callback_query", query | {"data": data or found[0]})

    def status(self, chat: int, by: Json, new: str) -> None:
        """The bot's own standing in a chat changes."""
        key = (chat, int(self.me["id"]))
        old, self.members[key] = self.members.get(key, "left"), new
        if new in ("left", "kicked"):
            self.gone[chat] = "Forbidden: bot was kicked"
        else:
            self.gone.pop(chat, None)
        change = {"chat": self.chats[chat], "from": by, "date": int(time.time())}
        for name, value in (("old_chat_member", old), ("new_chat_member", new)):
            change[name] = _standing(self.me, value)
        self.push("my_chat_member", change)

    def migrate(self, old: int, new: int, *, said: bool = True) -> None:
        """A group becomes a supergroup: new number, message numbers from 1."""
        self.group(new, self.chats[old]["title"])
        self.moved[old] = new
        if said:
            by = self.person(1, "owner")
            note = self._message(old, by, migrate_to_chat_id=new)
            self.push("message", note)

    def push(self, kind: str, body: Any) -> int:
        """Queue an update of any kind, well-formed or not; answers its id (0 if not asked for)."""
        asked = kind in self.allowed if self.allowed else kind not in UNASKED
        if not asked:
            return 0
        self._update_id += 1
        self.updates.append({"update_id": self._update_id, kind: json.loads(json.dumps(body))})
        self._news.set()
        return self._update_id

    def again(self, update_id: int) -> None:
        """Deliver an update that is still known once more, as after a lost confirmation."""
        found = next(u for u in self._told if u["update_id"] == update_id)
        self.updates.insert(0, found)
        self._news.set()

    # ------------------------------------------------------------------ looking

    def said(self, chat: int) -> list[Accepted]:
        return [a for a in self.accepted if a.chat == chat and a.method.startswith("send")]

    def next_accepted(self, chat: int) -> asyncio.Future[None]:
        """Done when the next message to that chat has been accepted."""
        future = asyncio.get_running_loop().create_future()
        self._awaited.setdefault(chat, []).append(future)
        return future

    async def until(self, holds: Callable[[], bool], timeout_s: float = 5.0) -> None:
        """Wait until something holds, looking every few milliseconds."""
        end = time.monotonic() + timeout_s
        while not holds():
            if time.monotonic() > end:
                raise AssertionError(f"did not come to hold; accepted: {self.accepted[-5:]}")
            await asyncio.sleep(0.004)

    # ------------------------------------------------------------------ HTTP

    async def _handle(self, request: web.Request) -> web.StreamResponse:
        method = request.match_info["method"]
        self.calls[method] += 1
        try:
            params = await _params(request, self.files)
        except ConnectionResetError:
            return _cut(request)  # the bot was killed while it spoke
        fault = self._fault(method, params)
        if fault is not None and not fault.accept:
            await asyncio.sleep(fault.delay_s)
            if fault.drop:
                return _cut(request)
            if fault.body is not None:
                return web.Response(status=fault.status or 200, body=fault.body)
            return _refusal(Refused(fault.status, fault.description, **fault.parameters))
        try:
            if request.match_info["token"] != TOKEN:
                raise Refused(401, "Unauthorized")
            if method == "getUpdates":
                result: Any = await self._get_updates(params)
            else:
                result = self._do(method, params)
                self.accepted.append(Accepted(method, params, time.monotonic()))
                if method.startswith("send"):
                    for future in self._awaited.pop(self.accepted[-1].chat, ()):
                        future.set_result(None)
        except Refused as refused:
            return _refusal(refused)
        if fault is not None:
            self.hanging += 1
            await asyncio.sleep(fault.delay_s)
            self.hanging -= 1
            if fault.drop:
                return _cut(request)
            if fault.body is not None:
                return web.Response(status=200, body=fault.body)
        return web.json_response({"ok": True, "result": result})

    def _fault(self, method: str, params: Json) -> Fault | None:
        for fault in self.faults:
            chat_fits = fault.chat is None or fault.chat == int(params.get("chat_id", 0))
            if fault.method in (method, "*") and chat_fits and fault.times > 0:
                fault.times -= 1
                return fault
        return None

    _told: list[Json]

    async def _get_updates(self, params: Json) -> list[Json]:
        self.polls.append(params)
        if self._poll is not None:
            self._poll.set()  # the older poll ends with 409, as on the real server
        mine = self._poll = asyncio.Event()
        if "allowed_updates" in params:
            self.allowed = params["allowed_updates"]
        offset = int(params.get("offset", 0))
        last = self.updates[-1]["update_id"] if self.updates else 0
        if not hasattr(self, "_told"):
            self._told = []
        if offset and not (last and offset > last + 1_000_000):
            self.updates = [u for u in self.updates if u["update_id"] >= offset]
        end = time.monotonic() + float(params.get("timeout", 0))
        while not self.updates and time.monotonic() < end:
            self._news.clear()
            waits = [asyncio.ensure_future(e.wait()) for e in (self._news, mine)]
            left_s = max(0.0, end - time.monotonic())
            await asyncio.wait(waits, timeout=left_s, return_when=asyncio.FIRST_COMPLETED)
            for wait in waits:
                wait.cancel()
            if mine.is_set():
                raise Refused(409, "Conflict: terminated by other getUpdates request")
        if self._poll is mine:
            self._poll = None
        batch = self.updates[: int(params.get("limit", 100))]
        self._told += [u for u in batch if u not in self._told]
        return batch

    def _do(self, method: str, params: Json) -> Any:
        match method:
            case "getMe":
                return self.me
            case "getChat":
                chat = self._chat(params)
                return self.chats[chat] | {"accent_color_id": 0, "max_reaction_count": 11}
            case "getChatMember":
                user = int(params["user_id"])
                standing = self.members.get((int(params["chat_id"]), user), "member")
                return _standing(self.me | {"id": user}, standing)
            case "getChatAdministrators":
                chat = self._chat(params)
                return [
                    _standing(self.person(user, f"u{user}"), status)
                    for (where, user), status in self.members.items()
                    if where == chat and status in ("administrator", "creator")
                ]
            case "setMyCommands":
                self.commands.append(params)
                return True
            case "deleteMyCommands" | "sendChatAction" | "deleteWebhook":
                return True
            case "answerCallbackQuery":
                if self._queries.get(params["callback_query_id"]) is not False:
                    raise Refused(400, "Bad Request: query is too old and response timeout expired")
                self._queries[params["callback_query_id"]] = True
                return True
            case "sendMessage" | "sendPhoto" | "sendDocument":
                return self._send(method, params)
            case "editMessageText" | "editMessageReplyMarkup":
                return self._edit(params)
            case "deleteMessage":
                if self.messages.pop(self._place(params), None) is None:
                    raise Refused(400, "Bad Request: message to delete not found")
                return True
            case "setMessageReaction":
                return self._react(params)
        raise Refused(404, "Not Found")

    def _chat(self, params: Json) -> int:
        chat = int(params["chat_id"])
        if chat in self.moved:
            raise Refused(
                400,
                "Bad Request: group chat was upgraded to a supergroup chat",
                migrate_to_chat_id=self.moved[chat],
            )
        if chat in self.gone:
            raise Refused(403, self.gone[chat])
        if chat > 0 and chat not in self.reachable:
            raise Refused(403, "Forbidden: bot can't initiate conversation with a user")
        if chat not in self.chats:
            raise Refused(400, "Bad Request: chat not found")
        return chat

    def _place(self, params: Json) -> tuple[int, int]:
        return self._chat(params), int(params["message_id"])

    def _send(self, method: str, params: Json) -> Json:
        chat = self._chat(params)
        field_name, most = ("text", 4096) if method == "sendMessage" else ("caption", 1024)
        text = params.get(field_name, "")
        _check_text(text, most, empty_ok=field_name == "caption", name=field_name)
        _check_keys(params.get("reply_markup", {}))
        extra: Json = {field_name: text}
        if "message_thread_id" in params:
            thread = int(params["message_thread_id"])
            if thread not in self.topics.get(chat, {}):
                raise Refused(400, "Bad Request: message thread not found")
            if not self.topics[chat][thread]:
                raise Refused(400, "Bad Request: TOPIC_CLOSED")
            extra |= {"message_thread_id": thread, "is_topic_message": True}
        reply = params.get("reply_parameters")
        if reply and (chat, reply["message_id"]) not in self.messages:
            if not reply.get("allow_sending_without_reply"):
                raise Refused(400, "Bad Request: message to be replied not found")
        elif reply:
            extra["reply_to_message"] = self.messages[(chat, reply["message_id"])]
        if "reply_markup" in params:
            extra["reply_markup"] = params["reply_markup"]
        if method == "sendPhoto":
            sizes = {"file_id": "f", "file_unique_id": "u", "width": 1, "height": 1}
            extra["photo"] = [sizes]
        if method == "sendDocument":
            extra["document"] = {"file_id": "f", "file_unique_id": "u"}
        return self._message(chat, {k: self.me[k] for k in BOT if k in _USER}, **extra)

    def _edit(self, params: Json) -> Json:
        message = self.messages.get(self._place(params))
        if message is None:
            raise Refused(400, "Bad Request: message to edit not found")
        if message["from"]["id"] != self.me["id"]:
            raise Refused(400, "Bad Request: message can't be edited")
        new = {"text": params.get("text", message.get("text"))}
        _check_text(new["text"] or "", 4096, empty_ok="text" not in params, name="text")
        new["reply_markup"] = params.get("reply_markup", {"inline_keyboard": []})
        _check_keys(new["reply_markup"])
        old = {"text": message.get("text")}
        old["reply_markup"] = message.get("reply_markup", {"inline_keyboard": []})
        if new == old:
            raise Refused(400, "Bad Request: message is not modified: nothing is new")
        message |= new | {"edit_date": int(time.time())}
        return message

    def _react(self, params: Json) -> bool:
        message = self.messages.get(self._place(params))
        if message is None:
            raise Refused(400, "Bad Request: message to react not found")
        emoji = [r["emoji"] for r in params.get("reaction", [])]
        if set(emoji) - REACTIONS or self._chat(params) in self.no_reactions:
            raise Refused(400, "Bad Request: REACTION_INVALID")
        message["reactions"] = emoji
        return True

    def _message(self, chat: int, user: Json, **extra: Any) -> Json:
        self._numbers[chat] += 1
        message: Json = {"message_id": self._numbers[chat], "date": int(time.time())}
        message |= {"chat": self.chats[chat], "from": user} | extra
        self.messages[(chat, self._numbers[chat])] = message
        return message


_USER = ("id", "is_bot", "first_name", "username")


def _names(user: Json) -> Json:
    return {"first_name": user["first_name"], "username": user.get("username", "")}


def _standing(user: Json, status: str) -> Json:
    who = {k: user[k] for k in _USER}
    rights = ("is_anonymous can_be_edited can_manage_chat can_delete_messages can_change_info "
              "can_manage_video_chats can_restrict_members can_promote_members can_invite_users "
              "can_post_stories can_edit_stories can_delete_stories")  # fmt: skip
    more: Json = dict.fromkeys(rights.split(), False) if status == "administrator" else {}
    if status == "kicked":
        more["until_date"] = 0
    if status == "creator":
        more["is_anonymous"] = False
    return {"status": status, "user": who} | more


def _units(text: str) -> int:
    return len(text.encode("utf-16-le")) // 2


def _check_text(text: str, most: int, *, empty_ok: bool, name: str) -> None:
    if not text.strip() and not empty_ok:
        raise Refused(400, "Bad Request: message text is empty")
    if _units(text) > most:
        raise Refused(400, f"Bad Request: {name} is too long")


def _check_keys(markup: Json) -> None:
    for row in markup.get("inline_keyboard", []):
        for key in row:
            if "url" in key:
                continue
            if not key["text"] or not 1 <= len(key["callback_data"].encode()) <= 64:
                raise Refused(400, "Bad Request: BUTTON_DATA_INVALID")


def _cut(request: web.Request) -> web.StreamResponse:
    """Close the connection without a word."""
    if request.transport is not None:
        request.transport.close()
    return web.Response()


def _refusal(refused: Refused) -> web.Response:
    body: Json = {"ok": False, "error_code": refused.status, "description": refused.description}
    if refused.parameters:
        body["parameters"] = refused.parameters
    return web.json_response(body, status=refused.status)


async def _params(request: web.Request, files: list[tuple[str, bytes]]) -> Json:
    """Query and form in one; whatever reads as JSON is taken as JSON, except texts."""
    found: Json = dict(request.query)
    for name, value in (await request.post()).items():
        if isinstance(value, web.FileField):
            files.append((value.filename, value.file.read()))
        else:
            found[name] = value
    for name in ("allowed_updates", "reply_markup", "reply_parameters", "reaction", "commands",
                 "scope", "link_preview_options"):  # fmt: skip
        if isinstance(found.get(name), str):
            found[name] = json.loads(found[name])
    return found
