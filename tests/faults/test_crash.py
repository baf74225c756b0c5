"""A crash before and after every SQL statement; what was received is worked off once, whatever happens."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from storage.backup import backup
from storage.erase import journal_path
from storage.outcome import Delivery
from storage.store import Incoming, Store
from tests.faults.dying import Connector, Killed
from tests.faults.small_bot import at, says, small_bot

BATCHES: tuple[tuple[Incoming, ...], ...] = (
    (says(1, "mara", "dive 7"), says(2, "teo", "add noor", minutes=1)),
    (
        says(1, "mara", "dive 8", minutes=2, edit=True),
        says(3, "mara", "blood", minutes=3),
        says(4, "mara", "done", minutes=3),
        says(5, "mara", "forget health", minutes=4),
    ),
)
"""What the messenger delivers, in two polls: a dive, a new member, an edit, harm, the end, erasure."""

NOW = at(10)


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder in memory where there is one: hundreds of databases, and no power to lose here."""
    memory = Path("/dev/shm")
    usable = memory.is_dir() and os.access(memory, os.W_OK)
    with tempfile.TemporaryDirectory(dir=memory if usable else None) as made:
        yield Path(made)


@pytest.fixture
def empty(folder: Path) -> Path:
    path = folder / "empty.sqlite"
    made = path.with_name("made.sqlite")
    Store.open(made).close()
    backup(made, path)
    return path


def a_copy(empty: Path, path: Path) -> Path:
    path.write_bytes(empty.read_bytes())
    return path


def run(store: Store) -> None:
    """All that the bot does before anything is sent: receive, start, work off."""
    for batch in BATCHES:
        store.receive(batch)
    worker = small_bot(store)
    worker.start(NOW)
    worker.work_off(NOW)


def everything(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, less the random tokens of buttons and the numbers of inbox rows."""
    connection = sqlite3.connect(path)
    try:
        tables = [
            name
            for (name,) in connection.execute(
                "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE '%sqlite_%'"
            )
        ]
        found = {}
        for table in tables:
            columns = [
                name
                for _, name, *_ in connection.execute(f"PRAGMA table_info({table})")
                if name != "token" and (table, name) != ("inbox", "id")
            ]
            rows = connection.execute(f"SELECT {', '.join(columns)} FROM {table}")
            found[table] = sorted(rows, key=repr)
        return found
    finally:
        connection.close()


def killed_at_each(
    empty: Path, folder: Path, work: Callable[[Store], None], check: Callable[[Path], None]
) -> int:
    """Do the work, killed before and after each of its statements in turn; then check what follows."""
    connector = Connector()
    whole = Store.open(a_copy(empty, folder / "whole.sqlite"), connect=connector)
    connector.made.fuse(None)
    work(whole)
    statements = connector.made.counted
    whole.close()
    for number in range(1, statements + 1):
        for after in (False, True):
            path = a_copy(empty, folder / f"{number}{after}.sqlite")
            store = Store.open(path, connect=connector)
            connector.made.fuse(number, after=after)
            with pytest.raises(Killed):
                work(store)
            store.close()
            check(path)
            for left in folder.glob(f"{number}{after}.sqlite*"):
                left.unlink()
    return statements


def test_a_crash_at_any_statement_of_a_turn_is_repaired_by_the_redelivery(
    empty: Path, folder: Path
) -> None:
    """Killed before or after any statement, then told again: every table is as if undisturbed."""
    store = Store.open(a_copy(empty, folder / "undisturbed.sqlite"))
    run(store)
    store.close()
    wanted = everything(folder / "undisturbed.sqlite")
    journal = journal_path(folder / "undisturbed.sqlite").read_text()

    def check(path: Path) -> None:
        store = Store.open(path)
        run(store)
        store.close()
        assert everything(path) == wanted
        assert journal_path(path).read_text() == journal

    statements = killed_at_each(empty, folder, run, check)
    assert statements > 60
    assert len(wanted["fact"]) == 6  # two dives, a strike, a bare lock, done, debriefed
    assert len(wanted["erasure"]) == 1
    assert len(wanted["key"]) == 4
    assert {row[5] for row in wanted["due"]} == {"done"}


class Messenger:
    """Takes what is sent, and survives a crash of the bot."""

    def __init__(self) -> None:
        self.got: list[tuple[Delivery, str]] = []

    def send(self, store: Store) -> None:
        """Send all there is, one after the other, each marked before and after."""
        while ready := store.ready_letters(at=NOW):
            row = ready[0]
            store.mark_sending(row.id)
            self.got.append((row.letter.delivery, row.letter.text))
            store.mark_sent(row.id, str(len(self.got)), at=NOW)


def test_a_crash_while_sending_says_nothing_more_often_than_its_class_allows(
    empty: Path, folder: Path
) -> None:
    """Killed at any statement of sending: help arrives, answers at most twice, reminders once at most."""
    ready = folder / "ready.sqlite"
    store = Store.open(a_copy(empty, ready))
    run(store)
    store.close()
    packed = folder / "packed.sqlite"
    backup(ready, packed)
    messenger = Messenger()
    seen: set[tuple[Delivery, int]] = set()

    def work(store: Store) -> None:
        messenger.got.clear()
        messenger.send(store)

    def check(path: Path) -> None:
        store = Store.open(path)
        store.recover(at=NOW)
        later = at(60)
        while rows := store.ready_letters(at=later):
            store.mark_sending(rows[0].id)
            messenger.got.append((rows[0].letter.delivery, rows[0].letter.text))
            store.mark_sent(rows[0].id, at=later)
        store.close()
        for letter in letters:
            times = messenger.got.count(letter)
            seen.add((letter[0], times))
            if letter[0] is Delivery.REMINDER:
                assert times <= 1
            else:
                assert 1 <= times <= 2

    store = Store.open(a_copy(packed, folder / "letters.sqlite"))
    work(store)
    store.close()
    letters = set(messenger.got)
    assert {letter[0] for letter in letters} == {*Delivery}
    assert killed_at_each(packed, folder, work, check) > 20
    # the crash between sending and marking did happen, for every class
    assert {(Delivery.ANSWER, 2), (Delivery.HELP, 2), (Delivery.DEBRIEF, 2)} <= seen
    assert (Delivery.REMINDER, 0) in seen


KILLED = """
import os, signal, sys
from pathlib import Path
from storage.store import Store
from tests.faults.dying import Connector, Killed
from tests.faults.test_crash import run
connector = Connector()
store = Store.open(Path(sys.argv[1]), connect=connector)
connector.made.fuse(int(sys.argv[2]))
try:
    run(store)
except Killed:
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.parametrize("number", [2, 30, 60])
def test_a_killed_process_leaves_a_file_that_goes_on(
    empty: Path, folder: Path, number: int
) -> None:
    """A real SIGKILL in the middle of a transaction: the next process finishes as if undisturbed."""
    path = a_copy(empty, folder / "bot.sqlite")
    ended = subprocess.run(
        [sys.executable, "-c", KILLED, str(path), str(number)],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        check=False,
        timeout=60,
    )
    assert ended.returncode == -signal.SIGKILL
    undisturbed = a_copy(empty, folder / "undisturbed.sqlite")
    for one in (path, undisturbed):
        store = Store.open(one)
        run(store)
        store.close()
    assert everything(path) == everything(undisturbed)
