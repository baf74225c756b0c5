"""Two worlds that differ in Mara's health alone: nobody but Mara reads a byte that differs.

In one she rests, in the other she has coughed blood. Everybody walks through every kind of message
in both: the group's admin, the coach she has said yes to, her buddy and grantee who keeps Kim, a
member, somebody of another group, and a stranger. What each of them and the group is sent has to be
the same, word for word, button for button.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from bot.app import worker_of
from bot.transport.update import Translator
from planner.harm import lock_of
from planner.record import Fact, Harm, Unwell, record_of
from storage.outcome import Letter
from storage.store import Store
from tests.bot.whole.raw import AT, GROUP, Me
from tests.bot.whole.test_privacy import ANA, ILSE, MARA, NOOR, SAID, STRANGER, Group

OTTO, UMA = 11, 50
ELSEWHERE = -1002
ZONE = "Europe/Lisbon"

WALKERS: dict[str, tuple[int, int]] = {
    "the group's admin": (ILSE, GROUP),
    "her coach": (OTTO, GROUP),
    "her buddy, grantee, and Kim's keeper": (ANA, GROUP),
    "another member": (NOOR, GROUP),
    "a stranger": (STRANGER, GROUP),
    "somebody of another group": (UMA, ELSEWHERE),
}
"""Who walks, and the group that they write in."""


def world(path: Path, *, is_locked: bool) -> Group:
    """The group on the day after a session; in one world Mara has told of blood, in private."""
    store = Store.open(path / "b.sqlite")
    raw = Group(store)
    # ILSE is admin of the group as the messenger says
    admins = {GROUP: frozenset({ILSE}), ELSEWHERE: frozenset({UMA})}
    raw.worker = worker_of(store, Translator(me=lambda: Me(), secret="s", admins=admins))  # type: ignore[arg-type, return-value]
    raw.worker.start(raw.at)
    for text in ("/start", "share on", "me f 34y 172cm", "tlc 5.61", "pb 32", "goal 38"):
        raw.says(text, chat=MARA)
    raw.says(f"zone {ZONE}", user=ILSE)
    raw.says(f"zone {ZONE}", user=UMA, chat=ELSEWHERE)
    for user in (ANA, NOOR, ILSE, OTTO):
        raw.says("hello", user=user)
        for text in ("/start", "me m 41y 183cm", "pb 33", "goal 41"):
            raw.says(text, user=user, chat=user)
    raw.says("/start", user=UMA, chat=UMA)
    raw.says("add kim", user=ANA)
    raw.says("allow ana")
    raw.says("coach otto", user=ILSE)
    raw.says("coach yes", chat=MARA)
    raw.says("fit buddy ana")
    raw.says("exh 7 ok")
    raw.at += timedelta(hours=2)
    raw.worker.work_off(raw.at)
    list(raw.leave())
    # one message in both worlds: each is numbered above all that were heard anywhere
    raw.says("coughed up blood after that" if is_locked else "good night", chat=MARA)
    raw.at = AT + timedelta(days=1)
    while raw.worker.work_off(raw.at):
        list(raw.leave())
    raw.says("feel ok", chat=MARA)
    # a messenger counts each chat for itself; this one counts them together
    raw.number = 1000
    return raw


def shown(letters: list[Letter]) -> list[tuple[object, ...]]:
    """What anybody but Mara reads of these letters."""
    return [
        (x.to, x.text, x.reaction, x.slot, x.document, x.picture,
         [[key.label for key in row] for row in x.keys])
        for x in letters
        if x.to != f"p:t{MARA}"
    ]  # fmt: skip


Step = Callable[[Group, str, int, int], list[Letter]]


def says(group: Group, text: str, user: int, chat: int) -> list[Letter]:
    group.says(text, user=user, chat=chat)
    return group.letters


def edits(group: Group, text: str, user: int, chat: int) -> list[Letter]:
    """A harmless word that becomes something else."""
    body = group.message("hello there", user=user, chat=chat)
    group.push("message", body)
    first = list(group.letters)
    group.push("edited_message", body | {"text": text, "edit_date": int(group.at.timestamp()) + 3})
    return first + group.letters


def replies(group: Group, text: str, user: int, chat: int) -> list[Letter]:
    """To a message of Mara's."""
    hers = group.message("what a day", user=MARA, chat=chat)
    group.push("message", hers)
    first = list(group.letters)
    group.push("message", group.message(text, user=user, chat=chat, reply_to_message=hers))
    return first + group.letters


def presses(group: Group, _text: str, user: int, chat: int) -> list[Letter]:
    """Every button that is on any screen, Mara's private ones too."""
    told: list[Letter] = []
    for name in sorted(group.buttons):
        if not name.startswith(f"p:t{MARA} ") or user == MARA:
            group.presses(group.buttons[name], user=user, chat=chat)
            told += group.letters
    return told


TURNED = tuple(
    t for t in SAID if "mara" in t.casefold() or t in ("exh 7 ok", "next", "undo", "order")
)
"""What is said in an edit and in a reply as well: whatever may be about her."""

KINDS: dict[str, Step] = {"says": says, "edits": edits, "replies": replies, "presses": presses}


@pytest.mark.parametrize("walker", WALKERS)
def test_nobody_but_mara_reads_a_byte_that_tells_her_lock_from_rest(
    tmp_path: Path, walker: str
) -> None:
    """Every kind of message, in the group and in private, by every kind of member, in both worlds."""
    user, home = WALKERS[walker]
    worlds = []
    for is_locked in (False, True):
        folder = tmp_path / str(is_locked)
        folder.mkdir()
        worlds.append(world(folder, is_locked=is_locked))
    resting, locked = worlds
    facts = locked.store.facts_of(f"t{MARA}")
    assert lock_of(record_of("t7", facts, timezone=ZoneInfo(ZONE)), at=locked.at) is not None
    assert not any(isinstance(f, Harm | Unwell) for f in resting.store.facts_of(f"t{MARA}"))
    differs = []
    count = 0
    for kind, step in KINDS.items():
        for text in SAID if kind == "says" else TURNED if kind != "presses" else ("",):
            for chat in (home, user):
                if kind == "replies" and chat != GROUP:
                    continue
                told = []
                for group in worlds:
                    group.at += timedelta(minutes=1)
                    told.append(shown(step(group, text, user, chat)))
                count += len(told[0])
                if told[0] != told[1]:
                    differs.append((kind, text, chat, *told))
    assert differs == []
    assert count > 40
    # what they wrote is kept of Mara as a question at most
    since = set(locked.store.facts_of(f"t{MARA}")) - set(facts)
    assert not [f for f in since if f.by == f"t{user}" and not _may_be_theirs(f, walker)]
    for group in worlds:
        group.store.close()


def _may_be_theirs(fact: Fact, walker: str) -> bool:
    """What others may write of her: a question raised, a report that waits, a grantee's dives, a coach's limits."""
    kind = type(fact).__name__
    if isinstance(fact, Unwell):
        return fact.raised_by_other
    if kind in ("Asked", "Brief", "Strike"):
        return True
    if walker == "the group's admin" and kind == "Named":
        return True
    if walker == "her coach" and kind in ("Limit", "Seen", "TaskSet"):
        return True
    return kind == "Dive" and (walker.startswith("her buddy") or getattr(fact, "waits", False))


def test_what_mara_writes_herself_reads_the_same_in_the_group(tmp_path: Path) -> None:
    """Whatever she asks for in the group while a lock runs, the group reads what it reads while she rests."""
    told = []
    for is_locked in (False, True):
        folder = tmp_path / str(is_locked)
        folder.mkdir()
        group = world(folder, is_locked=is_locked)
        heard = []
        for text in ("next", "fit", "buddy ana", "exh 7 ok", "undo", "done", "log", "week", "why", "ready",
                     "not fit", "watching today", "next full", "export", "cleared 2026-05-06", "feel ok"):  # fmt: skip
            group.at += timedelta(minutes=5)
            heard.append((text, shown(says(group, text, MARA, GROUP))))
        told.append(heard)
        group.store.close()
    assert told[0] == told[1]
