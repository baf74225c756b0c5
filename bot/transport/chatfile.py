"""A conversation as a file (`.chat`): what each line of it means.

Reading is by line and total: a line is an input, something the bot said (which is not read), a
remark, or an error with its number. Only a newline ends a line; any other control character is
part of what somebody typed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

INDENT = "     "
"""Before what belongs to the bot's line above."""

_NAME = r"[^\W_][\w-]*"
_SAYS = re.compile(
    rf"(?P<name>{_NAME})(?P<private>@bot)?(?P<how>[>~^])(?: (?P<text>.*))?", re.DOTALL
)
_BOT = re.compile(rf"bot(?:@{_NAME})?>")
_EXPECTATION = re.compile(r"\s*[+=-] \w+: .+")
_PRESS = re.compile(r"\[(?P<label>[^\[\]]+)\]\s*")
_AHEAD = re.compile(r"\+(?=\d)(?:(\d{1,4})d)?(?:(\d{1,5})h)?(?:(\d{1,6})m)?(?:(\d{1,6})s)?")
_BREAKS = re.compile(r"(?: \\n)+ ")
_ABSOLUTE = re.compile(r"(\d{4}-\d{2}-\d{2}) (\d{2}:\d{2}(?::\d{2})?)")


class ChatError(Exception):
    """A line that can't be read or can't be played; `number` counts from 1, 0 is the whole file."""

    def __init__(self, number: int, why: str) -> None:
        super().__init__(f"line {number}: {why}" if number else why)
        self.number, self.why = number, why


class Act(StrEnum):
    """What a line of a conversation does."""

    KEEP = "keep"  # a remark, an expectation, an empty line: repeated as it stands
    BOT = "bot"  # what the bot said when the file was written: not read
    GROUP = "group"
    CLOCK = "clock"
    OFFLINE = "offline"
    ONLINE = "online"
    ADMIN = "admin"
    SAY = "say"
    EDIT = "edit"
    REPLY = "reply"
    PRESS = "press"


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One line: its number, how it stands in the file, and what it does.

    `name` is who speaks, or the group's title; `text` what is said, with real line breaks, or the
    label that is pressed. `zone`, `ahead` and `local_at` are set for a group and a clock line.
    """

    number: int
    line: str
    act: Act
    name: str = ""
    private: bool = False
    text: str = ""
    zone: ZoneInfo | None = None
    ahead: timedelta | None = None
    local_at: datetime | None = field(default=None)


def read_chat(raw: bytes) -> tuple[Step, ...]:
    """Every line of a file, read; raises ChatError at the first that can't be."""
    steps = []
    for number, line in enumerate(_lines(raw), 1):
        try:
            text = line.decode("utf-8")
        except UnicodeDecodeError:
            raise ChatError(number, "not UTF-8") from None
        steps.append(read_line(text, number))
    return tuple(steps)


def read_line(line: str, number: int) -> Step:
    """What one line means."""
    if not line.strip() or line.startswith("#"):
        return Step(number=number, line=line, act=Act.KEEP)
    if _EXPECTATION.fullmatch(line) and not line.startswith(INDENT):
        # Repeated without its indentation, so that nobody takes it for the bot's words.
        return Step(number=number, line=line.lstrip(), act=Act.KEEP)
    if line[0] in " \t" or _BOT.match(line):
        return Step(number=number, line=line, act=Act.BOT)
    if says := _SAYS.fullmatch(line):
        return _speech(says, line, number)
    word, _, rest = line.partition(" ")
    rest = rest.strip()
    match word:
        case "group":
            return _group(rest, line, number)
        case "clock":
            return _clock(rest, line, number)
        case "admin" if re.fullmatch(_NAME, rest):
            return Step(number=number, line=line, act=Act.ADMIN, name=rest)
        case "offline" | "online" if not rest:
            return Step(number=number, line=line, act=Act(word))
    raise ChatError(number, f"can't be read: {line[:60]!r}; for example: mara> exh 12 ok")


def _lines(raw: bytes) -> list[bytes]:
    """The file's lines; a mark of the byte order before the first is no part of it."""
    lines = raw.removeprefix(b"\xef\xbb\xbf").split(b"\n")
    return lines[:-1] if lines[-1] == b"" else lines


def _speech(says: re.Match[str], line: str, number: int) -> Step:
    name, text, private = says["name"], says["text"] or "", says["private"] is not None
    if name.casefold() == "bot":
        raise ChatError(number, "the bot's own name")
    if not text.strip():
        raise ChatError(number, "nothing is said; for example: mara> exh 12 ok")
    press = _PRESS.fullmatch(text)
    if says["how"] == ">" and press:
        act, text = Act.PRESS, press["label"]
    else:
        act = {">": Act.SAY, "~": Act.EDIT, "^": Act.REPLY}[says["how"]]
        text = _BREAKS.sub(lambda breaks: "\n" * breaks[0].count("\\n"), text)
    if private and act is Act.REPLY:
        raise ChatError(number, f"{name}^ goes without @bot: it replies to a message in the group")
    return Step(number=number, line=line, act=act, name=name, private=private, text=text)


def _group(rest: str, line: str, number: int) -> Step:
    title, comma, zone_name = (part.strip() for part in rest.rpartition(","))
    if not (title and comma):
        raise ChatError(
            number, "a group has a title and a zone: group  Tuesday line, Europe/Lisbon"
        )
    try:
        zone = ZoneInfo(zone_name)
    except (LookupError, ValueError, OSError):
        raise ChatError(number, f"no such zone: {zone_name[:40]!r}") from None
    return Step(number=number, line=line, act=Act.GROUP, name=title, zone=zone)


def _clock(rest: str, line: str, number: int) -> Step:
    if ahead := _AHEAD.fullmatch(rest):
        days, hours, minutes, seconds = (int(part or 0) for part in ahead.groups())
        moved = timedelta(days=days, hours=hours, minutes=minutes, seconds=seconds)
        return Step(number=number, line=line, act=Act.CLOCK, ahead=moved)
    if _ABSOLUTE.fullmatch(rest):
        try:
            # The group's zone is put to it where it is played; here nobody knows it.
            local_at = datetime.fromisoformat(rest)
        except ValueError:
            pass
        else:
            return Step(number=number, line=line, act=Act.CLOCK, local_at=local_at)
    raise ChatError(number, "a clock is moved by `clock +40m` or `clock 2026-05-06 08:00`")
