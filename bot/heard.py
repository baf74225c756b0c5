"""What came in, in no messenger's words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

_BREAKS = re.compile("\r\n|[\r\v\f\x1c-\x1e\x85\u2028\u2029]")


class Kind(StrEnum):
    """What came in."""

    MESSAGE = "message"
    EDIT = "edit"
    PRESS = "press"
    JOINED = "joined"  # the bot was added to the group, or its rights changed
    BLOCKED = "blocked"  # a private chat was closed to the bot
    IGNORED = "ignored"  # nothing a diver said: forwards, channels, other bots


@dataclass(frozen=True, kw_only=True, slots=True)
class Button:
    """The button that was pressed, as the store remembers it.

    `fresh` is False when it was pressed before, `known` False for a forged one.
    """

    says: str
    diver: str
    may_press: tuple[str, ...]
    answers: tuple[str, int, int] | None
    fresh: bool
    known: bool = True
    slot: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Heard:
    """One message, edit or press.

    `chat` is the chat it came from: the group's key `g:…`, or `p:<member key>` for a private chat.
    `sender` is a member key. `sent_at` is the messenger's time of the message (of the original for
    an edit), `now` the moment it is worked off. `message` is the message's number in its chat;
    `edit` counts versions from 0. `reply_to_sender` is the member whose message it replies to.
    A press carries its own number in `message`, and `text` is what its button says. Lines of `text`
    end with one line feed each, whatever the messenger broke them with.
    """

    kind: Kind
    chat: str
    private: bool
    sender: str
    message: int
    sent_at: datetime
    now: datetime
    text: str = ""
    edit: int = 0
    reply_to_sender: str | None = None
    button: Button | None = None
    is_command_for_us: bool = False
    problem: str = ""

    def __post_init__(self) -> None:
        if _BREAKS.search(self.text):
            object.__setattr__(self, "text", _BREAKS.sub("\n", self.text))
