"""Groups, who is in them, and the numbers of their messages."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from hashlib import blake2b

from sqlite_utils import Database

from storage.outcome import Member, Room, SetRoom, Site
from storage.rows import SITES
from storage.schema import StorageError, instant_of, text_of

_MEMBER = (
    "SELECT member.key, roster.name, member.can_dm, member.has_phone, roster.is_admin,"
    " roster.wants_line, member.is_met FROM roster JOIN member ON member.key = roster.member"
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Address:
    """Where a chat is, in its messenger's own words; `thread` is the topic last spoken in."""

    messenger: str
    external_id: str
    thread: str | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Noted:
    """What is kept of a message: its number in our count, its sender and version, never its words.

    `changed` is False for an edit that left the text as it was.
    """

    number: int
    sender: str
    edit: int
    changed: bool = True


def _member(row: tuple[str, str, int, int, int, int, int]) -> Member:
    key, name, can_dm, has_phone, is_admin, wants_line, is_met = row
    return Member(
        key=key,
        name=name,
        can_dm=bool(can_dm),
        has_phone=bool(has_phone),
        is_admin=bool(is_admin),
        wants_line=bool(wants_line),
        is_new=not is_met,
    )


def room(db: Database, chat: str) -> Room | None:
    """The group of that key with its roster, or None."""
    row = db.execute(
        "SELECT title, timezone, zone_stated, site, called_at FROM room WHERE chat = ?", [chat]
    ).fetchone()
    if row is None:
        return None
    title, timezone, zone_stated, site, called_at = row
    members = db.execute(f"{_MEMBER} WHERE roster.chat = ? ORDER BY roster.rowid", [chat])
    return Room(
        chat=chat,
        title=title,
        timezone=timezone,
        members={m.key: m for m in map(_member, members)},
        site=SITES.validate_json(site),
        zone_stated=bool(zone_stated),
        called_at=instant_of(called_at) if called_at else None,
    )


def rooms(db: Database) -> tuple[Room, ...]:
    """Every group, and the own rooms of members who have none."""
    chats = db.execute("SELECT chat FROM room ORDER BY rowid").fetchall()
    return tuple(r for (chat,) in chats if (r := room(db, chat)) is not None)


def home_of(db: Database, member: str) -> str | None:
    """The key of the group the member last spoke in, or None."""
    row = db.execute("SELECT home FROM member WHERE key = ?", [member]).fetchone()
    return row[0] if row else None


def member(db: Database, key: str, *, chat: str | None = None) -> Member | None:
    """A member as that group (or their home) knows them."""
    chat = chat or home_of(db, key)
    row = db.execute(
        f"{_MEMBER} WHERE roster.chat = ? AND roster.member = ?", [chat, key]
    ).fetchone()
    return _member(row) if row else None


def by_external(db: Database, messenger: str, external_id: str) -> Member | None:
    """The member behind a messenger's user id, as their home group knows them."""
    row = db.execute(
        "SELECT key FROM member WHERE messenger = ? AND external_id = ?", [messenger, external_id]
    ).fetchone()
    return member(db, row[0]) if row else None


def chat_of(db: Database, messenger: str, external_id: str) -> str | None:
    """The key of the group behind a messenger's chat id, also one from before a migration."""
    row = db.execute(
        "SELECT chat FROM room_alias WHERE messenger = ? AND external_id = ?",
        [messenger, external_id],
    ).fetchone()
    return row[0] if row else None


def address(db: Database, chat: str) -> Address | None:
    """Where to send what is meant for a chat, or None where nothing can be sent."""
    if chat.startswith("p:"):
        row = db.execute(
            "SELECT messenger, external_id, NULL FROM member WHERE key = ?", [chat[2:]]
        ).fetchone()
    else:
        row = db.execute(
            "SELECT messenger, external_id, thread FROM room WHERE chat = ?", [chat]
        ).fetchone()
    if row is None:
        # Somebody who was forgotten a moment ago: the letter that says so knows where to go.
        row = db.execute(
            "SELECT last_messenger, last_address, NULL FROM outbox"
            " WHERE chat = ? AND last_address IS NOT NULL ORDER BY id DESC LIMIT 1",
            [chat],
        ).fetchone()
    if row is None or not row[1]:
        return None
    return Address(messenger=row[0], external_id=row[1], thread=row[2])


# Below: writing, inside a transaction.


def put_room(
    db: Database,
    chat: str,
    *,
    messenger: str,
    external_id: str,
    title: str,
    timezone: str,
    zone_stated: bool,
) -> None:
    """Add a group, or note its new title; its zone is only set when it is added."""
    db.execute(
        "INSERT INTO room (chat, title, timezone, zone_stated, site, messenger, external_id)"
        " VALUES (?, ?, ?, ?, ?, ?, ?)"
        " ON CONFLICT (chat) DO UPDATE SET title = excluded.title WHERE excluded.title <> ''",
        [
            chat,
            title,
            timezone,
            int(zone_stated),
            SITES.dump_json(Site()).decode(),
            messenger,
            external_id,
        ],
    )
    if external_id:
        db.execute(
            "INSERT INTO room_alias (messenger, external_id, chat) VALUES (?, ?, ?)"
            " ON CONFLICT DO NOTHING",
            [messenger, external_id, chat],
        )


def set_room(db: Database, chat: str, change: SetRoom) -> None:
    """Change a group's zone, site or title; None leaves it."""
    if change.timezone is not None:
        db.execute(
            "UPDATE room SET timezone = ?, zone_stated = 1 WHERE chat = ?", [change.timezone, chat]
        )
    if change.site is not None:
        site = SITES.dump_json(change.site).decode()
        db.execute("UPDATE room SET site = ? WHERE chat = ?", [site, chat])
    if change.title is not None:
        db.execute("UPDATE room SET title = ? WHERE chat = ?", [change.title, chat])


def called(db: Database, chat: str, *, at: datetime | None) -> None:
    """A group is sent a text of help: the moment is kept, and nothing of whom or what. None: it was none."""
    told = None if at is None else text_of(at)
    db.execute("UPDATE room SET called_at = ? WHERE chat = ?", [told, chat])


def move_room(db: Database, chat: str, *, messenger: str, external_id: str) -> None:
    """A group got a new chat id: the old one stays as an alias, and message ids begin anew.

    Where a message under the new id came first and made a group of its own, that one is folded in.
    """
    stray = chat_of(db, messenger, external_id)
    if stray == chat:
        return  # told twice: by the old chat and by the new one
    db.execute(
        "INSERT INTO room_alias (messenger, external_id, chat) VALUES (?, ?, ?)"
        " ON CONFLICT (messenger, external_id) DO UPDATE SET chat = excluded.chat",
        [messenger, external_id, chat],
    )
    db.execute("UPDATE said SET external = NULL WHERE chat = ?", [chat])
    db.execute("DELETE FROM slot WHERE chat = ?", [chat])
    db.execute(
        "UPDATE room SET messenger = ?, external_id = ?, thread = NULL WHERE chat = ?",
        [messenger, external_id, chat],
    )
    if stray is not None:
        for name, key in db.execute(
            "SELECT name, member FROM roster WHERE chat = ?", [stray]
        ).fetchall():
            put_on_roster(db, chat, key, name)
        db.execute("UPDATE member SET home = ? WHERE home = ?", [chat, stray])
        db.execute(
            "UPDATE room SET called_at = nullif(max(coalesce(called_at, ''), coalesce("
            "(SELECT called_at FROM room WHERE chat = ?), '')), '') WHERE chat = ?",
            [stray, chat],
        )
        db.execute("DELETE FROM room WHERE chat = ?", [stray])


def put_member(
    db: Database,
    key: str,
    *,
    messenger: str = "",
    external_id: str = "",
    can_dm: bool | None = None,
    has_phone: bool | None = None,
) -> None:
    """Add a member, or note what is newly known; None and empty leave what is there."""
    if not key or ":" in key or len(f"p:{key}".encode()) > 64:
        raise StorageError("a member's key must fit into `p:<key>`")
    row = db.execute(
        "SELECT can_dm, has_phone, messenger, external_id FROM member WHERE key = ?", [key]
    ).fetchone()
    old = row or (0, 1, "", "")
    new = (
        old[0] if can_dm is None else int(can_dm),
        old[1] if has_phone is None else int(has_phone),
        messenger or old[2],
        external_id or old[3],
    )
    if row is None:
        db.execute(
            "INSERT INTO member (can_dm, has_phone, messenger, external_id, key)"
            " VALUES (?, ?, ?, ?, ?)",
            [*new, key],
        )
    elif new != row:
        db.execute(
            "UPDATE member SET can_dm = ?, has_phone = ?, messenger = ?, external_id = ?"
            " WHERE key = ?",
            [*new, key],
        )


def met(db: Database, key: str) -> None:
    """A member has been told for whom this is."""
    db.execute("UPDATE member SET is_met = 1 WHERE key = ?", [key])


def put_on_roster(
    db: Database,
    chat: str,
    key: str,
    name: str,
    *,
    is_admin: bool | None = None,
    wants_line: bool | None = None,
) -> None:
    """Put a member on a group's roster; a name that is taken there gets a number."""
    row = db.execute(
        "SELECT name, is_admin, wants_line FROM roster WHERE chat = ? AND member = ?", [chat, key]
    ).fetchone()
    free = _free_name(db, chat, key, name or key)
    new = (
        free,
        int(is_admin if is_admin is not None else row[1] if row else False),
        int(wants_line if wants_line is not None else row[2] if row else False),
    )
    if row is None:
        db.execute(
            "INSERT INTO roster (name, is_admin, wants_line, folded, chat, member)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            [*new, free.casefold(), chat, key],
        )
    elif new != row:
        db.execute(
            "UPDATE roster SET name = ?, is_admin = ?, wants_line = ?, folded = ?"
            " WHERE chat = ? AND member = ?",
            [*new, free.casefold(), chat, key],
        )


def _free_name(db: Database, chat: str, key: str, name: str) -> str:
    taken = {
        folded
        for (folded,) in db.execute(
            "SELECT folded FROM roster WHERE chat = ? AND member <> ?", [chat, key]
        )
    }
    free, number = name, 2
    while free.casefold() in taken:
        free, number = f"{name}{number}", number + 1
    return free


def set_home(db: Database, key: str, chat: str) -> None:
    """Note the group a member last spoke in."""
    db.execute("UPDATE member SET home = ? WHERE key = ? AND home IS NOT ?", [chat, key, chat])


def next_number(db: Database, chat: str) -> int:
    """A number that nothing in this chat had before, nor will have again.

    It is above all that were given in any chat: of one second, it tells which was heard first.
    """
    db.execute(
        "INSERT INTO chat_number (chat, last)"
        " VALUES (?, (SELECT coalesce(max(last), 0) + 1 FROM chat_number))"
        " ON CONFLICT (chat) DO UPDATE SET last = excluded.last",
        [chat],
    )
    row = db.execute("SELECT last FROM chat_number WHERE chat = ?", [chat]).fetchone()
    return int(row[0])


def noted(db: Database, chat: str, external: str) -> Noted | None:
    """What is kept of a message, or None."""
    row = db.execute(
        "SELECT number, sender, edits FROM said WHERE chat = ? AND external = ?", [chat, external]
    ).fetchone()
    return Noted(number=row[0], sender=row[1], edit=row[2]) if row else None


def note(
    db: Database,
    chat: str,
    external: str,
    *,
    sender: str,
    text: str,
    thread: str | None,
    at: datetime,
) -> Noted:
    """Keep a message's number, sender, topic and its text's digest; a known one is an edit."""
    # The salt is the place, so that equal words of two messages have unequal digests.
    digest = blake2b(f"{chat}\n{external}\n{text}".encode(errors="replace")).hexdigest()[:32]
    row = db.execute(
        "SELECT number, sender, edits, digest FROM said WHERE chat = ? AND external = ?",
        [chat, external],
    ).fetchone()
    if chat.startswith("g:"):
        db.execute(
            "UPDATE room SET thread = ? WHERE chat = ? AND thread IS NOT ?", [thread, chat, thread]
        )
    if row is None:
        number = next_number(db, chat)
        db.execute(
            "INSERT INTO said (chat, number, external, sender, digest, thread, said_at)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            [chat, number, external, sender, digest, thread, text_of(at)],
        )
        return Noted(number=number, sender=sender, edit=0)
    number, first_sender, edits, old_digest = row
    if digest == old_digest:
        return Noted(number=number, sender=first_sender, edit=edits, changed=False)
    db.execute(
        "UPDATE said SET edits = ?, digest = ? WHERE chat = ? AND number = ?",
        [edits + 1, digest, chat, number],
    )
    return Noted(number=number, sender=first_sender, edit=edits + 1)
