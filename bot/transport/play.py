"""Playing a conversation: a messenger of paper, with the real store and the real worker behind it.

What people type in a `.chat` file goes through the inbox, is worked off as in earnest, and what
the bot has to say is taken from the outbox and printed in the form of the file. Only the clock and
the messenger are simulated: whoever has written in private can be reached there, a button can be
pressed once it is on the screen, and while the bot is offline everything waits.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol
from zoneinfo import ZoneInfo

from bot.heard import Heard
from bot.transport.chatfile import INDENT, Act, ChatError, Step, read_chat
from bot.transport.paper import (
    GROUP,
    MESSENGER,
    Screens,
    Shown,
    Typed,
    can_replace,
    printed,
    translate,
)
from storage.outbox import OutboxRow
from storage.outcome import Delivery, Picture
from storage.store import Incoming, Store, Turn

Translate = Callable[[str, Turn, datetime], tuple[Heard, ...]]
"""Body of an inbox row, the turn that works it off, and now → what was heard, if anything."""


class Works(Protocol):
    """The worker: takes all that waits in the inbox and all that is due."""

    def work_off(self, now: datetime) -> object:
        """Work off everything there is at that moment."""


MakeWorker = Callable[[Store, Translate], Works]
Print = Callable[[str], object]


class Player:
    """One group on a screen of paper, and the bot in it."""

    def __init__(
        self,
        store: Store,
        make_worker: MakeWorker,
        out: Print,
        look_at: Callable[[Picture], object] | None = None,
    ) -> None:
        self._store, self._out, self._look_at = store, out, look_at
        self._worker = make_worker(store, translate)
        self._screens = Screens()
        self._names: dict[str, str] = {}
        self._reachable: set[str] = set()
        self._waiting: list[Incoming] = []
        self._received = 0
        self._zone: ZoneInfo | None = None
        self._now: datetime | None = None
        self._offline = False

    @property
    def now(self) -> datetime | None:
        """The simulated moment, or None before the first clock line."""
        return self._now

    def play(self, step: Step) -> None:
        """Do what one line says, and print what the bot says to it."""
        match step.act:
            case Act.KEEP | Act.BOT:
                return
            case Act.GROUP:
                self._found_group(step)
            case Act.CLOCK:
                self._move_clock(step)
            case Act.OFFLINE:
                self._offline = True
            case Act.ONLINE:
                self._offline = False
                self._store.receive(self._waiting)
                self._waiting = []
                self._work()
            case Act.ADMIN:
                self._make_admin(step)
            case Act.SAY | Act.REPLY:
                self._say(step)
            case Act.EDIT:
                self._edit(step)
            case Act.PRESS:
                self._press(step)

    def run_to(self, at: datetime) -> None:
        """Let time pass; what falls due meanwhile is said, each at its own moment."""
        if self._now is None:
            self._now = at
        while not self._offline and (wanted := self._next_at()) is not None and wanted <= at:
            self._now = max(self._now, wanted)
            self._work()
            if (again := self._next_at()) is not None and again <= self._now:
                raise RuntimeError("something is due and is never worked off")
        self._now = max(self._now, at)
        self._work()

    def _next_at(self) -> datetime | None:
        times = (self._store.nearest_due_at(), self._store.next_letter_at())
        return min((at for at in times if at is not None), default=None)

    # what a line does

    def _found_group(self, step: Step) -> None:
        if self._zone is not None:
            raise ChatError(step.number, "a conversation has one group")
        self._zone = step.zone
        with self._store.turn(at=datetime.fromtimestamp(0, UTC)) as turn:
            turn.ensure_room(
                messenger=MESSENGER,
                external_id=GROUP,
                title=step.name,
                timezone=str(step.zone),
                zone_stated=True,
                chat=GROUP,
            )

    def _move_clock(self, step: Step) -> None:
        if self._zone is None:
            raise ChatError(
                step.number, "the group comes first: group  Tuesday line, Europe/Lisbon"
            )
        if step.local_at is not None:
            to = step.local_at.replace(tzinfo=self._zone).astimezone(UTC)
        elif self._now is not None and step.ahead is not None:
            to = self._now + step.ahead
        else:
            raise ChatError(
                step.number, "the first clock line names a day: clock  2026-05-05 08:30"
            )
        if self._now is not None and to < self._now:
            raise ChatError(step.number, "the clock can't go back")
        self.run_to(to)

    def _make_admin(self, step: Step) -> None:
        now = self._moment(step)
        with self._store.turn(at=now) as turn:
            key, name = self._key(step.name)
            turn.ensure_member(
                key=key,
                name=name,
                room=GROUP,
                messenger=MESSENGER,
                external_id=key,
                is_admin=True,
            )

    def _say(self, step: Step) -> None:
        now = self._moment(step)
        reply_to = None
        if step.act is Act.REPLY:
            above = self._screens.last_by_other(step.name)
            if above is None:
                raise ChatError(step.number, "no message by another member to reply to")
            reply_to, _ = self._key(above.name)
        message = Typed(
            external=self._screens.next_number(),
            name=step.name,
            private=step.private,
            sent_at=now,
        )
        self._screens.typed.append(message)
        self._hear(message, text=step.text, reply_to=reply_to)

    def _edit(self, step: Step) -> None:
        self._moment(step)
        message = self._screens.last_by(step.name, private=step.private)
        if message is None:
            raise ChatError(step.number, f"{step.name} has said nothing that could be edited")
        message.version += 1
        self._hear(message, text=step.text)

    def _press(self, step: Step) -> None:
        now = self._moment(step)
        chat = f"p:{self._key(step.name)[0]}" if step.private else GROUP
        token = self._screens.token(chat, step.text)
        if token is None:
            self._out(f"{INDENT}(no such button)")
            return
        self._bring({"do": "press", "token": token, "sent_at": now.isoformat()}, step)

    # the way in

    def _moment(self, step: Step) -> datetime:
        if self._zone is None or self._now is None:
            raise ChatError(step.number, "first come a group and a clock line")
        return self._now

    def _key(self, name: str) -> tuple[str, str]:
        """A person's key, and the name as first written; case makes nobody else of them."""
        key = f"u-{name.casefold()}"
        return key, self._names.setdefault(key, name)

    def _hear(self, message: Typed, *, text: str, reply_to: str | None = None) -> None:
        self._bring(
            {
                "do": "edit" if message.version else "say",
                "external": message.external,
                "text": text,
                "sent_at": message.sent_at.isoformat(),
                "reply_to": reply_to,
            },
            message,
        )

    def _bring(self, body: dict[str, object], by: Typed | Step) -> None:
        """Put something into the inbox and have it worked off, or keep it until the bot is back."""
        key, name = self._key(by.name)
        if by.private:
            self._reachable.add(key)
        self._received += 1
        assert self._now is not None
        incoming = Incoming(
            body=json.dumps(body | {"key": key, "name": name, "private": by.private}),
            received_at=self._now,
            update_key=f"{MESSENGER}:{self._received}",
        )
        if self._offline:
            self._waiting.append(incoming)
        else:
            self._store.receive([incoming])
            self._work()

    # the way out

    def _work(self) -> None:
        if self._offline or self._now is None:
            return
        self._worker.work_off(self._now)
        while rows := self._store.ready_letters(at=self._now):
            # A reaction first: under a message it would read as a part of it.
            for row in sorted(rows, key=_printed_order):
                self._deliver(row)

    def _deliver(self, row: OutboxRow) -> None:
        assert self._now is not None
        chat = row.letter.to
        if chat.startswith("p:") and chat[2:] not in self._reachable:
            # As a messenger does: a bot can't begin a private chat.
            self._store.drop(row.id, at=self._now, error="closed")
            with self._store.turn(at=self._now) as turn:
                turn.set_can_dm(chat[2:], False)
            return
        self._store.mark_sending(row.id)
        edits = row.edits if can_replace(row.letter) else None
        external = edits or self._screens.next_number()
        self._show(row, external)
        if row.letter.picture is not None and self._look_at is not None:
            self._look_at(row.letter.picture)
        name = f"@{self._names[chat[2:]]}" if chat.startswith("p:") else ""
        for line in printed(row.letter, name=name, is_edit=edits is not None):
            self._out(line)
        self._store.mark_sent(row.id, external, at=self._now)

    def _show(self, row: OutboxRow, external: str) -> None:
        """Put a letter's buttons on the screen; an edit takes those of what it replaces away."""
        keys = {
            key.label: token
            for labels, tokens in zip(row.letter.keys, row.tokens, strict=True)
            for key, token in zip(labels, tokens, strict=True)
        }
        shown = self._screens.shown.setdefault(row.letter.to, [])
        for message in shown:
            if message.external == external:
                message.keys = keys
                return
        if row.letter.reaction is None:
            shown.append(Shown(external=external, keys=keys))


def write_out(line: bytes) -> None:
    """To the standard output, as UTF-8 whatever the locale, and at once."""
    sys.stdout.buffer.write(line)
    sys.stdout.buffer.flush()


def _printed_order(row: OutboxRow) -> tuple[bool, bool, int]:
    return row.letter.reaction is None, row.letter.delivery is not Delivery.HELP, row.id


def main(file: str, *, rewrite: bool = False) -> int:
    """Play a file with the real worker; the exit code."""
    from bot.app import worker_of

    return play_file(Path(file), make_worker=worker_of, rewrite=rewrite)


def play_file(
    path: Path,
    *,
    make_worker: MakeWorker,
    rewrite: bool = False,
    write: Callable[[bytes], object] = write_out,
    look_at: Callable[[Picture], object] | None = None,
) -> int:
    """Play a file on a fresh database and print the whole conversation; the exit code.

    Pictures are only named; `look_at` gets what they would be drawn from. With `rewrite` the
    answers are written into the file too, all at once when it has been played.
    """
    played: list[str] = []

    def out(line: str) -> None:
        played.append(line)
        write(line.encode("utf-8", "replace") + b"\n")

    try:
        steps = read_chat(path.read_bytes())
        with fresh_store() as store:
            play_steps(steps, Player(store, make_worker, out, look_at), out)
        if rewrite:
            _replace(path, "".join(f"{line}\n" for line in played).encode("utf-8", "replace"))
    except (OSError, ChatError) as error:
        print(f"{path}: {getattr(error, 'strerror', None) or error}", file=sys.stderr)
        return 2
    return 0


def play_steps(steps: Sequence[Step], player: Player, out: Print) -> None:
    """Play lines one after the other, each printed as it stands before what the bot says to it."""
    for step in steps:
        if step.act is not Act.BOT:
            out(step.line)
            player.play(step)


@contextmanager
def fresh_store() -> Iterator[Store]:
    """A store on a database of its own, gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="buoyside-") as folder:
        store = Store.open(Path(folder) / "play.db")
        try:
            yield store
        finally:
            store.close()


def _replace(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    beside = path.with_name(f".{path.name}.new")
    beside.write_bytes(content)
    os.replace(beside, path)
