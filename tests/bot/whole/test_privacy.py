"""Who gets what: every kind of message by every kind of member, in the group and in private."""

from __future__ import annotations

import logging
import re
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from bot.app import EMPTY_EVERY
from bot.transport.update import incoming_of
from planner.harm import unwell_open
from planner.record import Harm, Unwell, record_of
from storage.backup import backup
from storage.outcome import Delivery, Letter
from storage.store import Incoming, Store
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
    "feel ok", "feel hoarse", "mara feel ok", "for mara feel ok", "mara coughed blood", "mara is hoarse", "no air no air help",
    "has mara been picked up by you guys? not on ours, not in the water as far as we can see",
    "how is mara?", "she is not breathing", "cleared 2026-05-05", "mara cleared 2026-05-05", "week", "log",
    "why", "ready", "forecast", "export", "board", "share on", "forget health", "me f 52y 165cm",
    "allow mara", "disallow mara", "coach mara", "tell coach", "help", "start", "emergency", "check Mara yes",
    "check Mara four 23 m", "for mara log", "mara why", "for mara export", "trim mara 6", "rest mara",
    "cap 3", "gap 9", "lines 2", "coach yes", "coach no", "seen mara", "task mara lock", "site salt", "add kim", "kim 7 ok", "kim feel hoarse",
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
        for user in (NOOR, ILSE, ANA, STRANGER):
            for chat in (GROUP, user, MARA):
                group.presses(token, user=user, chat=chat)
    assert group.store.facts_of("t7") == before
    # pressed by her, where they stand, the same button writes what it says
    group.presses(hers["p:t7 spots or streaks"], chat=MARA)
    assert group.store.facts_of("t7") != before


def test_the_keeper_reads_of_a_kept_diver_and_nobody_else(group: Group) -> None:
    """Kim's hoarseness, told by her keeper: the text goes to the keeper's private chat alone."""
    group.says("kim feel hoarse", user=ANA)
    assert [x.to for x in group.letters if x.text and x.to.startswith("p:")]
    assert {x.to for x in group.letters if x.text and x.to.startswith("p:")} == {OWN[ANA]}
    assert not [x for x in group.letters if x.to.startswith("g:") and is_of_a_lock(x)]


WORDS = "qqzebrawords"


def holds_words(folder: Path, *names: str) -> list[str]:
    """The files that hold the words, read by another process.

    Closing a file that is open through SQLite drops its locks, so this process opens none.
    """
    found = []
    for name in names:
        run = subprocess.run(["grep", "-c", "-a", WORDS, folder / name], capture_output=True)
        found += [name] if run.stdout.strip() not in (b"0", b"") else []
    return found


FILES = ("b.sqlite", "b.sqlite-wal", "b.sqlite-shm", "b.sqlite.journal.json")


@pytest.mark.parametrize("chat", [GROUP, MARA])
def test_raw_words_of_health_are_kept_nowhere(
    group: Group, tmp_path: Path, chat: int, caplog: pytest.LogCaptureFixture
) -> None:
    """A message of harm, edited too, a minute after it was worked off: in no file, no letter, no log line."""
    caplog.set_level(logging.DEBUG)
    group.worker.work_off(group.at)  # keeps house, and not again for a minute
    body = group.message(f"coughing blood {WORDS}", chat=chat)
    group.push("message", body)
    later = body | {
        "text": f"coughing blood, {WORDS} again",
        "edit_date": int(group.at.timestamp()) + 5,
    }
    group.push("edited_message", later)
    group.says(f"exh 7 ok # blood in my spit {WORDS}", chat=chat)
    # in the database itself they are gone with the commit that worked them off; only the
    # write-ahead log may still hold them
    rows = group.store._db.execute(
        "SELECT body FROM inbox UNION SELECT body FROM outbox"
    ).fetchall()
    assert rows == [("",)]
    assert set(holds_words(tmp_path, *FILES)) <= {"b.sqlite-wal"}
    backup(tmp_path / "b.sqlite", tmp_path / "copy.sqlite")
    group.at += EMPTY_EVERY
    while group.worker.work_off(group.at):
        list(group.leave())
    assert holds_words(tmp_path, *FILES, "copy.sqlite") == []
    group.says("export", chat=MARA)
    documents = [x.document for x in group.letters if x.document]
    assert documents
    assert WORDS not in repr(documents)
    assert WORDS not in caplog.text


def test_the_search_for_words_finds_them_where_they_are(group: Group, tmp_path: Path) -> None:
    """The search is no empty check: what was received and not worked off is found in the log."""
    body = group.message(f"coughing blood {WORDS}")
    group.store.receive([incoming_of({"update_id": 9, "message": body}, at=group.at)])
    assert holds_words(tmp_path, *FILES) == ["b.sqlite-wal"]


def test_a_reader_beside_only_delays_the_emptying_of_the_log(group: Group, tmp_path: Path) -> None:
    """While another connection reads, the log can't be emptied and nothing waits for it; afterwards it is."""
    group.worker.work_off(group.at)
    reader = sqlite3.connect(tmp_path / "b.sqlite")
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM fact").fetchone()
    group.says(f"coughing blood {WORDS}", chat=MARA)
    group.at += EMPTY_EVERY
    began = time.monotonic()
    group.worker.work_off(group.at)
    assert time.monotonic() - began < 2
    assert holds_words(tmp_path, *FILES) == ["b.sqlite-wal"]
    reader.close()
    group.at += EMPTY_EVERY
    group.worker.work_off(group.at)
    assert holds_words(tmp_path, *FILES) == []


HOSTILE: list[Json] = [
    {"text": [WORDS]},
    {"text": {"blood": WORDS}},
    {"entities": [{"type": WORDS}], "text": f"coughing blood {WORDS}"},
    {"text": f"coughing blood {WORDS}" * 4000},
    {"text": f"feel \u202e{WORDS}\u0000 blood"},
    {"text": f"exh 7 ok # {WORDS} blood", "reply_to_message": {"text": WORDS}},
    {"text": f"/feel@OtherBot {WORDS}"},
    {"poll": {"question": WORDS}, "text": None},
    {"caption": f"spat blood {WORDS}", "photo": []},
    {"from": {"first_name": WORDS}, "text": f"coughing blood {WORDS}"},
    {"date": WORDS, "text": f"coughing blood {WORDS}"},
]


@pytest.mark.parametrize("odd", HOSTILE, ids=range(len(HOSTILE)))
@pytest.mark.parametrize("kind", ["message", "edited_message", "channel_post", "poll"])
def test_no_log_line_holds_what_an_odd_update_said(
    group: Group,
    odd: Json,
    kind: str,
    caplog: pytest.LogCaptureFixture,
    capfd: pytest.CaptureFixture[str],
) -> None:
    """Whatever comes in, readable or not: its words are in no log line and on no error output."""
    caplog.set_level(logging.DEBUG)
    group.push(kind, group.message("x") | odd)
    assert WORDS not in caplog.text
    told = capfd.readouterr()
    assert WORDS not in told.out + told.err


def test_health_rows_go_with_the_months(group: Group) -> None:
    """Month after month the worker keeps house by its own clock: the row stands while the word is owed,
    and goes 90 days after the lock, but for the bare date from which exhale dives wait; what was said and
    sent is gone long before."""

    def count(table: str) -> int:
        (rows,) = group.store._db.execute(f"SELECT count(*) FROM {table}").fetchone()
        return int(rows)

    def harms() -> list[Harm]:
        return [f for f in group.store.facts_of("t7") if isinstance(f, Harm)]

    def days(number: int) -> None:
        for _ in range(number * 2):
            group.at += timedelta(hours=12)
            while group.worker.work_off(group.at):
                list(group.leave())

    days(3)
    assert count("inbox") == 0  # numbers of updates go after 48 h
    assert count("outbox") > 0
    days(40)
    assert count("outbox") == 0  # letters, emptied once sent, go after 30 days
    assert count("key") == 0
    assert count("said") > 0
    days(157)
    assert count("said") == 0
    assert harms()  # the clinician's word is owed
    group.says(f"cleared {group.at:%Y-%m-%d}", chat=MARA)
    days(60)
    assert any(h.row for h in harms())
    days(120)
    assert [(h.row, h.level, h.days, h.doctor) for h in harms()] == [(None, "day-over", 0.0, False)]
    assert [f for f in group.store.facts_of("t7") if type(f).__name__ == "Dive"]


def test_a_row_set_aside_goes_after_a_week(group: Group, tmp_path: Path) -> None:
    """What nobody could read is kept for seven days and not a tidying longer, its bytes too."""
    group.store.receive([Incoming(body=f"no json {WORDS}", received_at=group.at, update_key="u")])
    group.worker.work_off(group.at)
    for hours, kept in ((7 * 24 - 1, True), (7 * 24 + 7, False)):
        at = group.at + timedelta(hours=hours)
        while group.worker.work_off(at):
            list(group.leave())
        held = set(holds_words(tmp_path, *FILES))
        assert bool(held) == kept, (hours, held)


def test_no_button_keeps_what_was_answered(group: Group) -> None:
    """Only the question that is open carries the answers so far; a used one is known as used, and empty;
    what is left open is empty after two days."""

    def held() -> set[str]:
        rows = group.store._db.execute("SELECT json_extract(body, '$.says') FROM key").fetchall()
        return {says.split()[-1] for (says,) in rows if " four " in says}

    group.says("feel gloopy", chat=MARA)
    first = group.buttons["p:t7 no"]
    group.presses(first, chat=MARA)
    group.presses(group.buttons["p:t7 cough, rattle, can't breathe in fully"], chat=MARA)
    assert held() == {"nln", "nll", "nlm", "nlu"}
    assert "used up" in "\n".join(group.presses(first, chat=MARA))
    group.at += timedelta(days=3)
    while group.worker.work_off(group.at):
        list(group.leave())
    group.worker.work_off(group.at)
    assert not {says for says in held() if len(says) > 1}


def test_forgetting_health_takes_the_buttons_that_tell_of_answers(group: Group) -> None:
    """The buttons under the four questions carry what was answered so far: they go with the rest."""
    group.says("feel gloopy", chat=MARA)
    group.presses(group.buttons["p:t7 no"], chat=MARA)
    group.presses(group.buttons["p:t7 cough, rattle, can't breathe in fully"], chat=MARA)
    told = group.store._db.execute("SELECT count(*) FROM key WHERE body LIKE '%four % nl%'")
    assert told.fetchone()[0] > 0
    group.says("forget health", chat=MARA)
    group.presses(group.buttons["p:t7 erase health"], chat=MARA)
    told = group.store._db.execute("SELECT count(*) FROM key WHERE body LIKE '%check Mara%'")
    assert told.fetchone()[0] == 0
    bare = [f for f in group.store.facts_of("t7") if isinstance(f, Harm)]
    assert [(f.row, f.level) for f in bare] == [(None, "day-over")]


def test_forgetting_health_asks_the_open_question_of_a_call_again(group: Group) -> None:
    """Its buttons went with the rest: the new ones answer it, and until then nobody dives."""
    group.at += timedelta(days=2)
    group.says("mara blacked out at the surface", user=ANA)
    old = group.buttons["p:t7 none of these"]
    group.says("forget health", chat=MARA)
    group.presses(group.buttons["p:t7 erase health"], chat=MARA)
    new = group.buttons["p:t7 none of these"]
    assert new != old

    def is_open() -> bool:
        facts = group.store.facts_of("t7")
        record = record_of("t7", facts, timezone=ZoneInfo("Europe/Lisbon"))
        return unwell_open(record, at=group.at)

    assert is_open()
    group.presses(new, chat=MARA)
    assert not is_open()


def rows_of(group: Group, diver: str) -> list[str | None]:
    return [f.row for f in group.store.facts_of(diver) if isinstance(f, Harm)]


def test_a_new_keeper_is_shown_nothing_of_what_the_old_one_was_told(group: Group) -> None:
    """Ana, who kept Kim, is gone: Ilse keeps her from now on, with a bare pause and no category."""
    told = "SELECT DISTINCT diver FROM fact WHERE diver LIKE 'n-kim%'"
    (kim,) = group.store._db.execute(told).fetchone()
    group.says("for kim share on", user=ANA, chat=ANA)
    group.says("kim feel coughed blood", user=ANA, chat=ANA)
    assert rows_of(group, kim) == ["5"]
    group.says("forget all", user=ANA, chat=ANA)
    group.presses(group.buttons["p:t9 erase everything"], user=ANA, chat=ANA)
    group.says("add kim", user=ILSE)
    assert rows_of(group, kim) == ["5"]
    group.presses(group.buttons["g:-1001 keep the log of kim"], user=ILSE)
    (bare,) = (f for f in group.store.facts_of(kim) if isinstance(f, Harm))
    assert (bare.row, bare.level, bare.doctor) == (None, "day-over", True)
    group.at += timedelta(minutes=1)
    group.says("for kim export", user=ILSE, chat=ILSE)
    files = [str(x.document) for x in group.letters if x.document is not None]
    assert any('"row": null' in file for file in files)
    assert not any("coughed" in file or '"row": "5"' in file for file in files)
