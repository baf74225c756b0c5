"""Letters on their way: which may leave now, and what follows when one may or may not have arrived.

The messenger has no key that would tell a repetition. So a help text goes until it has arrived
for sure, an answer or a debrief once more, a reminder never again; what repeats without harm (an
edit, a reaction) is simply repeated. Order is kept in each chat; help texts have their own lane.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlite_utils import Database

from storage.outcome import Delivery, Key, Letter
from storage.roster import Address
from storage.rows import KEYS, LETTERS
from storage.schema import instant_of, text_of

UNSURE_AGAIN = {Delivery.ANSWER: 1, Delivery.DEBRIEF: 1, Delivery.REMINDER: 0}
"""How often a letter goes again when it may have arrived (house rule); a help text always does."""

GIVEN_UP_AFTER = timedelta(hours=24)
"""Letters that surely never left are tried for so long (house rule); help texts without end."""

PASSING_KEPT = timedelta(days=2)
"""How long a button may be pressed whose line tells of earlier answers (house rule): past the evening
by which its question is read as not answered."""

LONGEST_WAIT_S = 300
_LANE = 10
_ORDER = {delivery: n for n, delivery in enumerate(Delivery)}


@dataclass(frozen=True, kw_only=True, slots=True)
class OutboxRow:
    """A letter that may leave now. `tokens` are the callback data of its buttons, row by row.

    `edits` is the messenger's id of the message that this one replaces, `reply_to` of the one it
    answers, `thread` the topic it belongs into; None where there is none.
    """

    id: int
    letter: Letter
    tokens: tuple[tuple[str, ...], ...]
    edits: str | None
    reply_to: str | None
    thread: str | None
    tries: int
    queued_at: datetime

    @property
    def repeats_safely(self) -> bool:
        """Whether sending it twice looks like sending it once."""
        return self.edits is not None or self.letter.reaction is not None


@dataclass(frozen=True, kw_only=True, slots=True)
class StoredKey:
    """A button as the store remembers it; `used` once it, or another of its letter, was pressed."""

    token: str
    letter: int
    chat: str
    key: Key
    used: bool
    slot: str | None


def put(db: Database, letter: Letter, *, at: datetime, last: Address | None = None) -> int:
    """Queue a letter with its buttons; in a slot it takes the place of one that has not left.

    `last` is where to bring the last letter to somebody of whom nothing else is known any more.
    """
    if letter.slot is not None:
        # An earlier letter of the slot is about to be replaced on the screen, its buttons too.
        _use_up(
            db,
            "letter IN (SELECT id FROM outbox WHERE chat = ? AND slot = ?)",
            [letter.to, letter.slot],
            at=at,
        )
        db.execute(
            "UPDATE outbox SET state = 'dropped', error = 'replaced', body = '', ended_at = ?"
            " WHERE chat = ? AND slot = ? AND state = 'queued' AND tries = 0",
            [text_of(at), letter.to, letter.slot],
        )
    thread = None
    if letter.to.startswith("g:"):
        thread = _thread_of(db, letter)
    cursor = db.execute(
        "INSERT INTO outbox (chat, delivery, slot, about, body, thread, queued_at, next_at,"
        " stale_at, last_messenger, last_address) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            letter.to,
            letter.delivery.value,
            letter.slot,
            letter.about,
            LETTERS.dump_json(letter).decode(),
            thread,
            text_of(at),
            text_of(at),
            text_of(letter.stale_at) if letter.stale_at else None,
            last.messenger if last else None,
            last.external_id if last else None,
        ],
    )
    number = int(cursor.lastrowid or 0)
    for down, keys in enumerate(letter.keys):
        for across, key in enumerate(keys):
            db.execute(
                "INSERT INTO key (token, letter, down, across, body, diver)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                [
                    secrets.token_urlsafe(16),
                    number,
                    down,
                    across,
                    KEYS.dump_json(key).decode(),
                    key.diver,
                ],
            )
    return number


def _thread_of(db: Database, letter: Letter) -> str | None:
    if letter.reply_to is not None:
        row = db.execute(
            "SELECT thread FROM said WHERE chat = ? AND number = ?", [letter.to, letter.reply_to]
        ).fetchone()
        if row is not None:
            return None if row[0] is None else str(row[0])
    row = db.execute("SELECT thread FROM room WHERE chat = ?", [letter.to]).fetchone()
    return None if row is None or row[0] is None else str(row[0])


def ready(db: Database, *, at: datetime) -> tuple[OutboxRow, ...]:
    """What may leave now: of each chat and lane the first letters in order, help before all else.

    Nothing of a lane whose first letter is under way or waits for its next try. What follows the
    first of a chat is there for a sender that joins several into one message.
    """
    now = text_of(at)
    lanes: dict[tuple[str, bool], list[tuple[int, int]]] = {}
    open_rows = db.execute(
        "SELECT id, chat, delivery, state, next_at, stale_at FROM outbox"
        " WHERE state IN ('queued', 'sending') ORDER BY id"
    ).fetchall()
    shut = {(r[1], r[2] == Delivery.HELP) for r in open_rows if r[3] == "sending"}
    for number, chat, delivery, _, next_at, stale_at in open_rows:
        lane = (chat, delivery == Delivery.HELP)
        if lane in shut or (stale_at is not None and stale_at < now):
            continue
        if next_at > now:
            shut.add(lane)  # only for what follows it: order is kept
        elif len(lanes.setdefault(lane, [])) < _LANE:
            lanes[lane].append((_ORDER[Delivery(delivery)], number))
    runs = sorted(lanes.values(), key=lambda run: run[0])
    return tuple(_row(db, number) for run in runs for _, number in run)


def _row(db: Database, number: int) -> OutboxRow:
    body, chat, slot, thread, tries, queued_at = db.execute(
        "SELECT body, chat, slot, thread, tries, queued_at FROM outbox WHERE id = ?", [number]
    ).fetchone()
    letter = LETTERS.validate_json(body)
    tokens: list[list[str]] = [[] for _ in letter.keys]
    for token, down in db.execute(
        "SELECT token, down FROM key WHERE letter = ? ORDER BY down, across", [number]
    ):
        tokens[down].append(token)
    edits = db.execute(
        "SELECT external FROM slot WHERE chat = ? AND slot = ?", [chat, slot]
    ).fetchone()
    reply = db.execute(
        "SELECT external FROM said WHERE chat = ? AND number = ?", [chat, letter.reply_to]
    ).fetchone()
    return OutboxRow(
        id=number,
        letter=letter,
        tokens=tuple(tuple(line) for line in tokens),
        edits=edits[0] if edits else None,
        reply_to=reply[0] if reply else None,
        thread=thread,
        tries=tries,
        queued_at=instant_of(queued_at),
    )


def sending(db: Database, numbers: Sequence[int]) -> None:
    """Note, before anything leaves, that these are under way."""
    for number in numbers:
        db.execute(
            "UPDATE outbox SET state = 'sending', tries = tries + 1"
            " WHERE id = ? AND state = 'queued'",
            [number],
        )


def sent(db: Database, number: int, external: str | None, *, at: datetime) -> None:
    """It arrived: its body is emptied, and its slot stands for that message from now on."""
    row = db.execute("SELECT chat, slot FROM outbox WHERE id = ?", [number]).fetchone()
    if row is not None and row[1] is not None and external is not None:
        db.execute(
            "INSERT INTO slot (chat, slot, external) VALUES (?, ?, ?)"
            " ON CONFLICT (chat, slot) DO UPDATE SET external = excluded.external",
            [row[0], row[1], external],
        )
    _end(db, number, "sent", "", at=at)
    db.execute("UPDATE outbox SET external = ? WHERE id = ?", [external, number])


def unknown(db: Database, number: int, *, at: datetime) -> bool:
    """It may have arrived: once more, or not, by its delivery class. True when it goes again."""
    if not _is_open(db, number):
        return False
    row = _row(db, number)
    (unsure,) = db.execute("SELECT unsure FROM outbox WHERE id = ?", [number]).fetchone()
    delivery = row.letter.delivery
    again = (
        delivery is Delivery.HELP or row.repeats_safely or unsure < UNSURE_AGAIN.get(delivery, 0)
    ) and not _is_given_up(db, row, at=at)
    if again:
        db.execute("UPDATE outbox SET unsure = unsure + 1 WHERE id = ?", [number])
        _again(db, row, retry_at=None, at=at, error="unknown")
    else:
        _end(db, number, "unknown", "unknown", at=at)
    return again


def failed(
    db: Database, number: int, *, at: datetime, retry_at: datetime | None, error: str
) -> bool:
    """It surely did not arrive: again after a while, whatever its class. True if it goes again."""
    if not _is_open(db, number):
        return False
    row = _row(db, number)
    if _is_given_up(db, row, at=at):
        _end(db, number, "dropped", error, at=at)
        return False
    _again(db, row, retry_at=retry_at, at=at, error=error)
    return True


def drop(db: Database, number: int, *, at: datetime, error: str) -> None:
    """It will never arrive (the chat is closed to us, say)."""
    _end(db, number, "dropped", error, at=at)


def withdraw(db: Database, diver: str, *, at: datetime) -> None:
    """What waits to be said about a diver is out of date: a word of harm came. Help texts stay.

    What is under way can't be called back, but goes no second time.
    """
    waiting = db.execute(
        "SELECT id, state FROM outbox WHERE about = ? AND state IN ('queued', 'sending')"
        " AND delivery <> ?",
        [diver, Delivery.HELP.value],
    ).fetchall()
    for number, state in waiting:
        if state == "queued":
            _end(db, number, "dropped", "withdrawn", at=at)
        else:
            past = text_of(at - timedelta(milliseconds=1))
            db.execute("UPDATE outbox SET stale_at = ? WHERE id = ?", [past, number])
    _without(db, diver, at=at)


def _without(db: Database, diver: str, *, at: datetime) -> None:
    """Take out of what waits what it tells of somebody beside whom it is about."""
    waiting = db.execute(
        "SELECT id, body FROM outbox WHERE state = 'queued' AND instr(body, ?)", [diver]
    ).fetchall()
    for number, body in waiting:
        letter = LETTERS.validate_json(body)
        if diver not in letter.names:
            continue
        if not letter.tail:
            _end(db, number, "dropped", "withdrawn", at=at)
            continue
        left = replace(letter, text=letter.text.removesuffix(letter.tail), tail="", names=())
        db.execute(
            "UPDATE outbox SET body = ? WHERE id = ?", [LETTERS.dump_json(left).decode(), number]
        )


def drop_stale(db: Database, *, at: datetime) -> int:
    """Drop, unsaid, what nobody needs to read any more."""
    stale = db.execute(
        "SELECT id FROM outbox WHERE state = 'queued' AND stale_at < ?", [text_of(at)]
    ).fetchall()
    for (number,) in stale:
        _end(db, number, "dropped", "stale", at=at)
    return len(stale)


def recover(db: Database, *, at: datetime) -> int:
    """After a start: of what was under way nobody knows whether it arrived."""
    under_way = db.execute("SELECT id FROM outbox WHERE state = 'sending' ORDER BY id").fetchall()
    for (number,) in under_way:
        unknown(db, number, at=at)
    return len(under_way)


def _is_open(db: Database, number: int) -> bool:
    """Whether it is still to be sent: not ended meanwhile, nor forgotten while it was under way."""
    found = db.execute(
        "SELECT 1 FROM outbox WHERE id = ? AND state IN ('queued', 'sending')", [number]
    )
    return found.fetchone() is not None


def _is_given_up(db: Database, row: OutboxRow, *, at: datetime) -> bool:
    if row.letter.delivery is Delivery.HELP:
        return False
    # as the row has it: a letter that was withdrawn under way is stale sooner than it says
    (stale_at,) = db.execute("SELECT stale_at FROM outbox WHERE id = ?", [row.id]).fetchone()
    return at - row.queued_at > GIVEN_UP_AFTER or (stale_at is not None and text_of(at) > stale_at)


def _again(
    db: Database, row: OutboxRow, *, retry_at: datetime | None, at: datetime, error: str
) -> None:
    wait_s = min(LONGEST_WAIT_S, 2 ** min(row.tries, 9))
    db.execute(
        "UPDATE outbox SET state = 'queued', next_at = ?, error = ? WHERE id = ?",
        [text_of(retry_at or at + timedelta(seconds=wait_s)), error, row.id],
    )


def _end(db: Database, number: int, state: str, error: str, *, at: datetime) -> None:
    db.execute(
        "UPDATE outbox SET state = ?, error = ?, body = '', ended_at = ? WHERE id = ?",
        [state, error, text_of(at), number],
    )
    db.execute("DELETE FROM outbox WHERE id = ? AND last_address IS NOT NULL", [number])


def button(db: Database, token: str) -> StoredKey | None:
    """The button behind callback data, or None for a forged or long forgotten one."""
    row = db.execute(
        "SELECT key.letter, outbox.chat, key.body, key.used_at, outbox.slot"
        " FROM key JOIN outbox ON outbox.id = key.letter WHERE key.token = ?",
        [token],
    ).fetchone()
    if row is None:
        return None
    return StoredKey(
        token=token,
        letter=row[0],
        chat=row[1],
        key=KEYS.validate_json(row[2]),
        used=row[3] is not None,
        slot=row[4],
    )


def use_button(db: Database, stored: StoredKey, *, at: datetime) -> None:
    """Use up all buttons of the letter, unless this one only opens further ones."""
    if not stored.key.sticky:
        _use_up(db, "letter = ?", [stored.letter], at=at)


def end_passing(db: Database, *, at: datetime) -> None:
    """The buttons whose lines tell of earlier answers, and whose question can't be answered any more."""
    _use_up(
        db,
        "json_extract(body, '$.passing') AND letter IN (SELECT id FROM outbox WHERE queued_at < ?)",
        [text_of(at - PASSING_KEPT)],
        at=at,
    )


def _use_up(db: Database, which: str, values: Sequence[object], *, at: datetime) -> None:
    """Buttons that are used up: a press is still known as one of theirs, what they said is gone."""
    db.execute(
        "UPDATE key SET used_at = ?, body = json_set(body, '$.says', '')"
        f" WHERE used_at IS NULL AND {which}",
        [text_of(at), *values],
    )
