"""Who gets what: every kind of message by every kind of member, in the group and in private."""

from __future__ import annotations

import logging
import re
import subprocess
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from bot.transport.update import incoming_of
from planner.record import Harm, Unwell
from storage.backup import backup
from storage.erase import journal_path
from storage.outcome import Delivery, Letter
from storage.store import Store
from tests.bot.whole.raw import GROUP, Json, Raw

MARA, ANA, NOOR, ILSE, STRANGER = 7, 9, 8, 10, 99
OWN = {MARA: "p:t7", ANA: "p:t9", NOOR: "p:t8", ILSE: "p:t10"}
NAMES = {
    MARA: "Mara",
    ANA: "Ana",
    NOOR: "Noor",
    ILSE: "Ilse",
    STRANGER: "Zed",
    11: "Otto",
    50: "Uma",
}

SAID = (
    "next", "next full", "order", "done", "undo", "fix 6", "buddy mara", "fit", "fit w mara", "not fit",
    "watching today", "exh 7 ok", "for mara exh 7 ok", "mara 8 hard", "mara 7 stop sternum", "7 stop",
    "feel ok", "feel hoarse", "mara feel ok", "for mara feel ok", "mara coughed blood", "mara is hoarse",
    "how is mara?", "she is not breathing", "cleared 2026-05-05", "mara cleared 2026-05-05", "week", "log",
    "why", "ready", "forecast", "export", "board", "share on", "forget health", "me f 52y 165cm",
    "allow mara", "disallow mara", "coach mara", "tell coach", "help", "start", "emergency", "check Mara yes",
    "check Mara four 23 m", "for mara log", "mara why", "for mara export", "trim mara 6", "rest mara",
    "cap 3", "seen mara", "task mara lock", "site salt", "add kim", "kim 7 ok", "kim feel hoarse",
)  # fmt: skip
"""Every kind of message that there is."""


class Group(Raw):
    """Letters kept with the chat that each went to."""

    letters: list[Letter]

    def push(self, kind: str, body: Json) -> list[str]:
        self.update += 1
        raw = {"update_id": self.update, kind: body}
        self.store.receive([incoming_of(raw, at=self.at)])
        self.worker.work_off(self.at)
        self.letters = list(self.leave())
        return [letter.text for letter in self.letters]

    def leave(self) -> Iterator[Letter]:
        """Everything that may leave leaves."""
        while rows := self.store.ready_letters(at=self.at):
            for row in rows:
                self.store.mark_sending(row.id)
                self.number += 1
                self.store.mark_sent(row.id, str(self.number), at=self.at)
                for line, tokens in zip(row.letter.keys, row.tokens, strict=True):
                    for key, token in zip(line, tokens, strict=True):
                        self.buttons[f"{row.letter.to} {key.label}"] = token
                yield row.letter

    def message(
        self, text: str | None, *, user: int = MARA, chat: int = GROUP, **extra: object
    ) -> Json:
        body = super().message(text, user=user, chat=chat, **extra)
        body["from"]["first_name"] = NAMES[user]
        return body


FIGURES = re.compile(r"5\.61|83 ml|83\.0|34 y|1\.72|172 cm|2026-07-04|4 Jul")
"""Mara's body figures and the day on which her lock ends."""

LOCK_WORDS = re.compile(
    r"cough|iron\b|clinician|cleared|\block(ed|s)?\b|hoarse|blood\b(?! thinners)", re.IGNORECASE
)
"""What only a lock or a symptom brings; in a group there is none of it but in the fixed help."""


def is_of_a_lock(letter: Letter) -> bool:
    """Whether a letter tells of health in words that are not the fixed text of help."""
    if letter.delivery is Delivery.HELP:
        return False
    return LOCK_WORDS.search(letter.text) is not None or letter.document is not None


@pytest.fixture
def group(tmp_path: Path) -> Iterator[Group]:
    """Mara is locked and her figures are kept; Ana may log for her and keeps Kim; Ilse is her buddy's coach."""
    store = Store.open(tmp_path / "b.sqlite")
    raw = Group(store)
    for text in (
        "/start",
        "share on",
        "me f 34y 172cm",
        "tlc 5.61",
        "mouth 83ml",
        "pb 32",
        "goal 38",
    ):
        raw.says(text, chat=MARA)
    for user in (ANA, NOOR, ILSE):
        raw.says("hello", user=user)
        for text in ("/start", "me m 41y 183cm", "pb 33", "goal 41"):
            raw.says(text, user=user, chat=user)
    raw.says("add kim", user=ANA)
    raw.says("allow ana")
    raw.says("fit buddy ana")
    raw.says("exh 7 ok")
    raw.at += timedelta(minutes=6)
    raw.says("taste of iron and coughed blood", chat=MARA)
    raw.at += timedelta(minutes=6)
    yield raw
    store.close()


@pytest.mark.parametrize("sender", [ANA, NOOR, ILSE, STRANGER])
@pytest.mark.parametrize("private", [False, True])
def test_nobody_gets_what_is_maras(group: Group, sender: int, private: bool) -> None:
    """Grantee and keeper, buddy, another member and a stranger: none is told of her lock or her figures."""
    wrong = []
    for text in SAID:
        group.at += timedelta(minutes=1)
        group.says(text, user=sender, chat=sender if private else GROUP)
        for letter in group.letters:
            if letter.to != OWN[MARA] and FIGURES.search(f"{letter.text}{letter.document}"):
                wrong.append((text, letter.to, letter.text))
            elif letter.to == OWN.get(sender) and letter.document and "5.61" in letter.document[1]:
                wrong.append((text, letter.to, "a document"))
            elif letter.to.startswith("g:") and is_of_a_lock(letter):
                wrong.append((text, letter.to, letter.text))
    assert wrong == []


@pytest.mark.parametrize("text", SAID)
def test_what_mara_writes_in_the_group_tells_the_group_nothing(group: Group, text: str) -> None:
    """Whatever the locked diver writes there: no figure, no word of the lock, no document but in private."""
    group.says(text)
    for letter in group.letters:
        if letter.to.startswith("g:"):
            assert not is_of_a_lock(letter), letter.text
            assert not FIGURES.search(letter.text), letter.text


@pytest.mark.parametrize("private", [False, True])
def test_another_members_word_is_no_word_of_hers(group: Group, private: bool) -> None:
    """No report, no answer and no clearance of somebody else is kept as hers; only a question may be raised."""
    before = {f for f in group.store.facts_of("t7") if isinstance(f, Harm)}
    for text in SAID:
        group.says(text, user=NOOR, chat=NOOR if private else GROUP)
    after = group.store.facts_of("t7")
    assert {f for f in after if isinstance(f, Harm)} == before
    assert all(f.raised_by_other for f in after if isinstance(f, Unwell) and f.by == "t8")
    assert not [f for f in after if f.by == "t8" and type(f).__name__ in ("Well", "Cleared", "Fit")]


def test_her_buttons_are_hers(group: Group) -> None:
    """Every button under a letter about Mara, pressed by anybody else, writes nothing about her."""
    group.says("feel gloopy", chat=MARA)
    hers = {k: t for k, t in group.buttons.items() if k.startswith("p:t7 ")}
    assert hers
    before = group.store.facts_of("t7")
    for token in hers.values():
        for user in (NOOR, ILSE, STRANGER):
            group.presses(token, user=user)
    assert group.store.facts_of("t7") == before


def test_the_keeper_reads_of_a_kept_diver_and_nobody_else(group: Group) -> None:
    """Kim's hoarseness, told by her keeper: the text goes to the keeper's private chat alone."""
    group.says("kim feel hoarse", user=ANA)
    assert [x.to for x in group.letters if x.text and x.to.startswith("p:")]
    assert {x.to for x in group.letters if x.text and x.to.startswith("p:")} == {OWN[ANA]}
    assert not [x for x in group.letters if x.to.startswith("g:") and is_of_a_lock(x)]


WORDS = "qqzebrawords"


@pytest.mark.parametrize("chat", [GROUP, MARA])
def test_raw_words_of_health_are_kept_nowhere(
    group: Group, tmp_path: Path, chat: int, caplog: pytest.LogCaptureFixture
) -> None:
    """A message of harm, edited too, once worked off: not in the database, its log, the journal, the export, a log line."""
    caplog.set_level(logging.DEBUG)
    body = group.message(f"coughing blood {WORDS}", chat=chat)
    group.push("message", body)
    later = body | {
        "text": f"coughing blood, {WORDS} again",
        "edit_date": int(group.at.timestamp()) + 5,
    }
    group.push("edited_message", later)
    group.says(f"exh 7 ok # blood in my spit {WORDS}", chat=chat)
    group.says("export", chat=MARA)
    documents = [x.document for x in group.letters if x.document]
    assert documents
    assert WORDS not in repr(documents)
    backup(tmp_path / "b.sqlite", tmp_path / "copy.sqlite")
    group.store.retire(at=group.at)
    for name in ("b.sqlite", "b.sqlite-wal", "copy.sqlite"):
        # read by another process: closing a file that is open through SQLite drops its locks
        found = subprocess.run(["grep", "-c", "-a", WORDS, tmp_path / name], capture_output=True)
        assert found.stdout.strip() == b"0", name
    journal = journal_path(tmp_path / "b.sqlite")
    assert not journal.exists() or WORDS not in journal.read_text()
    assert WORDS not in caplog.text


def test_health_rows_go_with_the_months(group: Group) -> None:
    """Tidied every day: the row stands while its lock does and while the word is owed, and goes 90 days after."""

    def harms() -> list[Harm]:
        return [f for f in group.store.facts_of("t7") if isinstance(f, Harm)]

    def days(count: int) -> None:
        for _ in range(count):
            group.at += timedelta(days=1)
            group.worker.work_off(group.at)
            list(group.leave())
            group.store.retire(at=group.at)

    days(200)
    assert harms()  # the clinician's word is owed
    group.says(f"cleared {group.at:%Y-%m-%d}", chat=MARA)
    days(60)
    assert harms()
    days(120)
    assert not harms()
    assert [f for f in group.store.facts_of("t7") if type(f).__name__ == "Dive"]
