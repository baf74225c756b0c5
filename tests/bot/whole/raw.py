"""A store and a worker fed with raw updates, as the messenger brings them: no network, no loop."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from bot.app import Worker, worker_of
from bot.transport.update import Translator, incoming_of
from storage.store import Store

GROUP = -1001
AT = datetime(2026, 5, 5, 8, 0, tzinfo=UTC)
Json = dict[str, Any]


class Me:
    """What the bot knows of itself."""

    id = 42
    username = "BuoysideBot"
    can_read_all_group_messages = True


@dataclass
class Raw:
    """A store and a worker fed with raw updates; no network, no loop."""

    store: Store
    worker: Worker = field(init=False)
    at: datetime = AT
    update: int = 1000
    number: int = 10
    buttons: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.worker = worker_of(self.store, Translator(me=lambda: Me(), secret="s"))  # type: ignore[arg-type, return-value]
        self.worker.start(self.at)

    def push(self, kind: str, body: Json) -> list[str]:
        """One update, worked off; what the bot says to it."""
        self.update += 1
        raw = {"update_id": self.update, kind: body}
        self.store.receive([incoming_of(raw, at=self.at)])
        self.worker.work_off(self.at)
        said = []
        while letters := self.store.ready_letters(at=self.at):
            for row in letters:
                self.store.mark_sending(row.id)
                self.number += 1
                self.store.mark_sent(row.id, str(self.number), at=self.at)
                said.append(row.letter.text)
                for line, tokens in zip(row.letter.keys, row.tokens, strict=True):
                    self.buttons.update({k.label: t for k, t in zip(line, tokens, strict=True)})
        return said

    def message(self, text: str | None, *, user: int = 7, chat: int = GROUP, **extra: Any) -> Json:
        self.number += 1
        name = {7: "Mara", 8: "Noor", 9: "Ana"}.get(user, "Stranger")
        kind = (
            {"type": "private", "first_name": name}
            if chat > 0
            else {"type": "supergroup", "title": "Line"}
        )
        body: Json = {
            "message_id": self.number,
            "date": int(self.at.timestamp()),
            "chat": {"id": chat, **kind},
            "from": {"id": user, "is_bot": False, "first_name": name},
        }
        if text is not None:
            body["text"] = text
        return body | extra

    def says(self, text: str | None, **extra: Any) -> list[str]:
        return self.push("message", self.message(text, **extra))

    def presses(self, data: str, *, user: int = 7, chat: int = GROUP) -> list[str]:
        self.update += 1
        query = {
            "id": str(self.update), "chat_instance": "1", "data": data,
            "from": {"id": user, "is_bot": False, "first_name": "X"},
            "message": self.message("x", chat=chat),
        }  # fmt: skip
        return self.push("callback_query", query)

    def facts(self) -> list[str]:
        rows = self.store.facts_of("t7")
        return [type(f).__name__ for f in rows if type(f).__name__ not in ("Brief",)]


@contextmanager
def group(path: Path) -> Iterator[Raw]:
    """Mara, with profile, buddy and fitness, has done one dive; Noor and Ana are in the group."""
    store = Store.open(path / "b.sqlite")
    raw = Raw(store)
    for text in ("/start", "me f 34y 172cm", "pb 32", "goal 38"):
        raw.says(text, chat=7)
    for user in (8, 9):
        raw.says("hello", user=user)
    raw.says("fit buddy ana")
    raw.says("exh 7 ok")
    raw.at += timedelta(minutes=6)
    yield raw
    store.close()
