"""A state machine drives the whole bot: real store, worker and talk, a fake clock, a faulty transport."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections import Counter
from datetime import timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from bot.app import worker_of
from bot.transport.update import Translator, incoming_of
from planner.plan import Plan, plan
from planner.record import Brief, record_of
from planner.rules import RULES
from storage.outbox import OutboxRow
from storage.outcome import Delivery
from storage.store import Store
from tests.bot.whole.raw import GROUP, Me, Raw

SAYS = st.sampled_from(
    [
        "exh 7 ok", "exh 7 hard", "exh 6 early", "exh 7 stop sternum", "stop throat", "stop", "exh 8 ok",
        "8 ok", "ok", "7", "sternum", "exh 5 leak", "exh 9 ok", "exh 7 ok?", "exh 7 okk", "exh 8",
        "undo", "fix 6", "*6.5 hard", "next", "fit buddy ana", "not fit", "done", "watching today",
        "full 25 ok mf15", "shallow 8 ok", "exh 7 ok 08:05", "exh 6 ok then 7 ok", "hello everybody",
        "rv 3 ok", "exh 700 ok", "for noor exh 7 ok", "emergency", "2x7 ok",
    ]
)  # fmt: skip
PRIVATE = st.sampled_from(
    ["feel ok", "feel hoarse", "feel some blood when I spat", "cleared 2026-08-01", "goal 40", "pb 34",
     "base frc 14 2026-05", "log", "week", "ready", "why", "share off", "share on", "feel tired", "rv 1.5"]
)  # fmt: skip


class Group(RuleBasedStateMachine):
    """Mara and Ana at a buoy, for days on end."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.raw = Raw(Store.open(self.folder / "b.sqlite"))
        self.mine: list[tuple[dict[str, Any], str]] = []
        self.sent: list[str] = []
        self.counts: dict[int, int] = {}
        self.delivered: list[OutboxRow] = []

    def teardown(self) -> None:
        self.raw.store.close()
        shutil.rmtree(self.folder)

    @initialize()
    def begin(self) -> None:
        for text in ("/start", "share on", "me f 34y 172cm", "pb 32", "goal 38"):
            self.raw.says(text, chat=7)
        self.raw.says("hello", user=9)
        self.raw.says("fit buddy ana")

    def _body(self, text: str, **extra: Any) -> dict[str, Any]:
        body = self.raw.message(text, **extra)
        self.mine.append((body, text))
        return body

    @rule(text=SAYS, user=st.sampled_from([7, 7, 7, 9]), minutes=st.sampled_from([0, 1, 6, 12]))
    def says(self, text: str, user: int, minutes: int) -> None:
        self.raw.at += timedelta(minutes=minutes)
        self.push("message", self._body(text, user=user))

    @rule(text=PRIVATE)
    def says_in_private(self, text: str) -> None:
        self.push("message", self._body(text, chat=7))

    @rule(text=SAYS, which=st.integers(0, 5))
    def edits(self, text: str, which: int) -> None:
        own = [b for b, _ in self.mine if b["chat"]["id"] == GROUP and b["from"]["id"] == 7]
        if own:
            body = own[-1 - which % len(own)] | {"text": text}
            self.push("edited_message", body | {"edit_date": int(self.raw.at.timestamp())})

    @rule(pick=st.integers(0, 50), user=st.sampled_from([7, 9]))
    def presses(self, pick: int, user: int) -> None:
        if self.raw.buttons:
            labels = sorted(self.raw.buttons)
            self.raw.update += 1
            query = {
                "id": str(self.raw.update), "chat_instance": "1",
                "data": self.raw.buttons[labels[pick % len(labels)]],
                "from": {"id": user, "is_bot": False, "first_name": "X"},
                "message": self.raw.message("x"),
            }  # fmt: skip
            self.push("callback_query", query)

    @rule(hours=st.sampled_from([1, 5, 20, 50, 74]))
    def time_goes_on(self, hours: int) -> None:
        self.raw.at += timedelta(hours=hours)
        self.raw.worker.work_off(self.raw.at)
        self.deliver()

    @rule()
    def is_killed_and_started_again(self) -> None:
        self.raw.store.close()
        self.raw.store = Store.open(self.folder / "b.sqlite")
        translator = Translator(me=lambda: Me(), secret="s")  # type: ignore[arg-type, return-value]
        self.raw.worker = worker_of(self.raw.store, translator)
        self.raw.worker.start(self.raw.at)
        self.raw.worker.work_off(self.raw.at)
        self.deliver()

    @rule(which=st.integers(0, 8))
    def a_message_comes_again(self, which: int) -> None:
        """The messenger redelivers what it thinks was not confirmed, under its own number.

        It keeps updates for 24 h; we keep their numbers for 48.
        """
        since = self.raw.at.timestamp() - 24 * 3600
        fresh = [body for body, _ in self.mine if body["date"] >= since]
        if fresh:
            body = fresh[-1 - which % len(fresh)]
            before = self.state()
            self.raw.update += 1
            update = {"update_id": self.raw.update, "message": body}
            assert self.raw.store.receive([incoming_of(update, at=self.raw.at)]) == 0
            self.raw.worker.work_off(self.raw.at)
            assert self.state()[0] == before[0]

    def push(self, kind: str, body: dict[str, Any]) -> None:
        self.raw.update += 1
        update = {"update_id": self.raw.update, kind: body}
        before = Counter(f for f in self.raw.store.facts_of("t7") if isinstance(f, Brief))
        self.raw.store.receive([incoming_of(update, at=self.raw.at)])
        self.raw.worker.work_off(self.raw.at)
        self.told_is_planned(before)
        self.deliver()

    def deliver(self) -> None:
        """Everything that may leave leaves; now and then it is refused, or nobody knows whether it arrived."""
        store, at = self.raw.store, self.raw.at
        tried = 0
        while (letters := store.ready_letters(at=at)) and tried < 200:
            for row in letters:
                tried += 1
                store.mark_sending(row.id)
                self.counts[row.id] = self.counts.get(row.id, 0) + 1
                fate = row.id % 7
                if fate == 3 and row.tries == 0:
                    store.mark_failed(row.id, at=at, retry_at=at)
                elif fate == 5 and row.tries == 0:
                    store.mark_unknown(row.id, at=at)
                    self.limit(row.letter.delivery, self.counts[row.id])
                else:
                    self.raw.number += 1
                    store.mark_sent(row.id, str(self.raw.number), at=at)
                self.sent.append(row.letter.text)
                self.delivered.append(row)
                for line, tokens in zip(row.letter.keys, row.tokens, strict=True):
                    for key, token in zip(line, tokens, strict=True):
                        self.raw.buttons[key.label] = token

    def limit(self, delivery: Delivery, times: int) -> None:
        if delivery is Delivery.REMINDER:
            assert times == 1
        elif delivery is not Delivery.HELP:
            assert times <= 2

    def state(self) -> tuple[object, ...]:
        facts = self.raw.store.facts_of("t7") + self.raw.store.facts_of("t9")
        return (Counter(facts), len(self.sent))

    def told_is_planned(self, before: Counter[Brief]) -> None:
        """A target told in this turn is the one that the planner gives, by the facts that now stand."""
        facts = self.raw.store.facts_of("t7")
        new = Counter(f for f in facts if isinstance(f, Brief)) - before
        if not new:
            return
        brief = max(new, key=lambda b: (b.said_at, b.origin))
        room = self.raw.store.room_of("t7")
        assert room is not None
        record = record_of("t7", facts, timezone=ZoneInfo(room.timezone))
        said = plan(record, rules=RULES, at=self.raw.at)
        assert isinstance(said, Plan)
        assert (brief.exercise, brief.depth_m) == (said.exercise, said.depth_m)

    @invariant()
    def nothing_waits_and_nothing_private_is_said(self) -> None:
        """Every row is worked off, and no group letter names a symptom or a lock."""
        assert self.raw.store.next_inbox() is None
        words = re.compile(r"\b(blood(?! thinners)|hoarse|locked?)\b", re.IGNORECASE)
        assert not [t for t in self.sent if t.startswith("Mara") and words.search(t)]


TestGroup = Group.TestCase
TestGroup.settings = settings(
    max_examples=12,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
