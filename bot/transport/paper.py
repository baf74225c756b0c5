"""A messenger of paper: what it shows, how what is typed comes in, how a letter looks on it."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from datetime import datetime

from bot.heard import Button, Heard, Kind
from bot.transport.chatfile import INDENT
from storage.outcome import Letter
from storage.store import Turn

MESSENGER = "play"
GROUP = "g:play"
BOT_NAMES = frozenset({"bot", "ourbot"})
_SLASH = re.compile(r"(/\w+)(?:@(\w+))?(?=\s|$)")


@dataclass(kw_only=True, slots=True)
class Shown:
    """A message of the bot's on the screen: its number there, and its buttons, label to token."""

    external: str
    keys: dict[str, str]


@dataclass(kw_only=True, slots=True)
class Typed:
    """A message that somebody typed: what an edit or a reply refers to."""

    external: str
    name: str
    private: bool
    sent_at: datetime
    version: int = 0


@dataclass(kw_only=True, slots=True)
class Screens:
    """What the messenger shows: the people's messages, and the bot's by chat, oldest first."""

    typed: list[Typed] = field(default_factory=list)
    shown: dict[str, list[Shown]] = field(default_factory=dict)
    count: int = 0

    def next_number(self) -> str:
        """A number for a new message."""
        self.count += 1
        return str(self.count)

    def last_by(self, name: str, *, private: bool) -> Typed | None:
        """Somebody's last message; with `private`, their last one there."""
        mine = (t for t in reversed(self.typed) if t.name.casefold() == name.casefold())
        return next((t for t in mine if t.private or not private), None)

    def last_by_other(self, name: str) -> Typed | None:
        """The last message in the group by another member."""
        others = (t for t in reversed(self.typed) if not t.private)
        return next((t for t in others if t.name.casefold() != name.casefold()), None)

    def token(self, chat: str, label: str) -> str | None:
        """The button of that label on the bot's last message in the chat that has one."""
        wanted = _plain(label)
        for message in reversed(self.shown.get(chat, [])):
            for shown, token in message.keys.items():
                if _plain(shown) == wanted:
                    return token
        return None


def translate(body: str, turn: Turn, now: datetime) -> tuple[Heard, ...]:
    """A row of the inbox as this messenger wrote it → what was heard, if anything new."""
    said = json.loads(body)
    sender, private = said["key"], said["private"]
    turn.ensure_member(
        key=sender,
        name=said["name"],
        room=GROUP,
        messenger=MESSENGER,
        external_id=sender,
        can_dm=True if private else None,
    )
    chat = f"p:{sender}" if private else GROUP
    sent_at = datetime.fromisoformat(said["sent_at"])
    if said["do"] == "press":
        stored = turn.press(said["token"], by=sender)
        if stored is None:
            return ()
        button = Button(
            says=stored.key.says,
            diver=stored.key.diver,
            may_press=stored.key.may_press,
            answers=stored.key.answers,
            fresh=not stored.used,
            slot=stored.slot,
        )
        heard = Heard(
            kind=Kind.PRESS,
            chat=chat,
            private=private,
            sender=sender,
            message=turn.next_number(chat),
            sent_at=sent_at,
            now=now,
            text=button.says,
            button=button,
        )
        return (heard,)
    text = _addressed(said["text"])
    if text is None:
        return ()
    noted = turn.hear(chat, said["external"], sender=sender, text=text, sent_at=sent_at)
    if said["do"] == "edit" and not noted.changed:
        return ()
    heard = Heard(
        kind=Kind.EDIT if said["do"] == "edit" else Kind.MESSAGE,
        chat=chat,
        private=private,
        sender=sender,
        message=noted.number,
        sent_at=sent_at,
        now=now,
        text=text,
        edit=noted.edit,
        reply_to_sender=said["reply_to"],
        is_command_for_us=text.startswith("/"),
    )
    return (heard,)


def _addressed(text: str) -> str | None:
    """The text without our own name behind its slash word; None for another bot's."""
    slash = _SLASH.match(text)
    if slash is None or slash[2] is None:
        return text
    return slash[1] + text[slash.end() :] if slash[2].casefold() in BOT_NAMES else None


def printed(letter: Letter, *, name: str, is_edit: bool) -> list[str]:
    """A letter in the form of the file; `name` is `@mara` for a private one."""
    if letter.reaction is not None:
        return [f"{INDENT}(reaction {letter.reaction})"]
    # An empty line would be a line of the file, and not the bot's: it is left out.
    words = [_printable(line) for line in letter.text.splitlines() if line.strip()] or [""]
    lines = [f"bot{name}> {words[0]}".rstrip(), *(f"{INDENT}{line}" for line in words[1:])]
    if letter.picture is not None:
        lines.append(f"{INDENT}(picture: {letter.picture.kind})")
    if letter.document is not None:
        lines.append(f"{INDENT}(document: {_printable(letter.document[0])})")
    for row in letter.keys:
        if row:
            lines.append(INDENT + " ".join(f"[{_printable(key.label)}]" for key in row))
    if is_edit:
        lines.append(f"{INDENT}(edited)")
    return lines


def _printable(words: str) -> str:
    """Control characters made visible: what the bot repeats must not steer a terminal."""
    return "".join(
        "\N{REPLACEMENT CHARACTER}" if ord(c) < 32 or 126 < ord(c) < 160 else c for c in words
    )


def _plain(label: str) -> str:
    return " ".join(label.replace("...", "…").split()).casefold()


def can_replace(letter: Letter) -> bool:
    """Whether a letter may take the place of an earlier message: words can, pictures can't."""
    return letter.picture is None and letter.document is None and letter.reaction is None
