"""No dark path to a target: whatever is written, edited, struck or forgotten, over days and restarts.

The bars are worked out anew here from the rows that are stored, in plain Python after the project's
pages, without the planner's fold and without its figures: each is a house rule (H) unless marked.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import hypothesis
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import initialize, rule

from bot.texts.help import help_file
from planner.record import (
    Asked,
    Body,
    Brief,
    Buddy,
    Cleared,
    Dive,
    Ending,
    Exercise,
    Fact,
    Fit,
    Harm,
    Origin,
    Strike,
    UnderAge,
    Unwell,
    Watching,
    Well,
)
from storage.outbox import OutboxRow
from tests.bot.whole import test_machine

ZONE = ZoneInfo("Europe/Lisbon")
GAP = timedelta(hours=4)
EVENING_H = 19
GRAVE = {"4", "5", "6", "7", "8", "9", "10"}
"""After these an exhale dive waits 28 days more than the lock."""

Place = tuple[str, int, int]


def day(at: datetime) -> date:
    return at.astimezone(ZONE).date()


def midnight(on: date) -> datetime:
    return datetime.combine(on, time(), ZONE).astimezone(UTC)


def standing_facts(facts: Iterable[Fact]) -> list[Fact]:
    """What was not struck; words of health can't be."""
    facts = list(facts)
    struck: dict[Place, int] = {}
    for f in facts:
        if isinstance(f, Strike):
            place = f.struck.place
            struck[place] = max(struck.get(place, -1), f.struck.edit)
    health = (Harm, Well, Unwell, Cleared)
    return [
        f
        for f in facts
        if not isinstance(f, Strike)
        and (isinstance(f, health) or f.origin.edit > struck.get(f.origin.place, -1))
    ]


def lock_bars(facts: list[Fact], at: datetime) -> Iterator[str]:
    """Each lock by itself, from the numbers that its row carries."""
    wells = [f for f in facts if isinstance(f, Well) and f.happened_at <= at]
    cleared = [f.on for f in facts if isinstance(f, Cleared) and f.happened_at <= at]
    for h in (f for f in facts if isinstance(f, Harm) and f.happened_at <= at):
        began = h.happened_at
        if h.since_well:
            later = sorted(w.happened_at for w in wells if is_later(w, h))
            if not later:
                yield f"row {h.row}: not well since"
                continue
            began = later[0]
        end = began + timedelta(days=h.days)
        if h.days > 2:
            end = midnight(day(began) + timedelta(days=int(h.days)))
        word = [on for on in cleared if day(h.happened_at) <= on <= day(at)]
        if h.row == "6" and any(on >= day(h.happened_at) + timedelta(days=28) for on in word):
            # a clinician may shorten this one to 28 days
            end = min(end, midnight(day(h.happened_at) + timedelta(days=28)))
        end = max(end, midnight(day(h.happened_at) + timedelta(days=1)))
        if at < end:
            yield f"row {h.row}: locked until {end}"
        if h.doctor and not word:
            yield f"row {h.row}: no clinician's word"
        if h.row in GRAVE and day(at) < day(end) + timedelta(days=28):
            yield f"row {h.row}: full lungs first"


def is_later(well: Well, u: Unwell | Harm) -> bool:
    """Said after it; in one second by the order of messages, and never before what others asked."""
    if well.happened_at != u.happened_at:
        return well.happened_at > u.happened_at
    if well.origin.chat == u.origin.chat:
        return well.origin.place > u.origin.place
    return (isinstance(u, Unwell) and u.raised_by_other) or well.said_at > u.said_at


def question_bars(facts: list[Fact], at: datetime) -> Iterator[str]:
    """A no, a not sure, or a question raised by somebody else, that no well or harm has answered."""
    answers = [f for f in facts if isinstance(f, Well) and f.happened_at <= at]
    for u in (f for f in facts if isinstance(f, Unwell) and f.happened_at <= at):
        if u.grave:
            yield from call_bars(u, facts, at)
            continue
        if u.raised_by_other:
            told = any(is_later(w, u) for w in answers)
        else:
            # a no is answered where it was said, by the buttons of its own questions
            here = [w for w in answers if w.origin.place == u.origin.place]
            told = any(w.happened_at > u.happened_at for w in here)
        if not told and not any(
            isinstance(f, Harm) and f.origin.place == u.origin.place for f in facts
        ):
            yield "a question of health is open"
    for a in (f for f in facts if isinstance(f, Asked) and f.bars and f.happened_at <= at):
        answered = any(
            f.origin.place == a.origin.place and not isinstance(f, Asked | Brief) for f in facts
        )
        newer = any(
            isinstance(f, Asked) and f is not a and f.origin.place == a.origin.place
            and f.origin.edit > a.origin.edit for f in facts
        )  # fmt: skip
        if not answered and not newer and at - a.happened_at <= GAP:
            yield f"a line is in doubt: {a.question}"


def call_bars(u: Unwell, facts: list[Fact], at: datetime) -> Iterator[str]:
    """Somebody called for help: answered in its own place or by the diver's own call, and its day."""
    here = [f for f in facts if f.origin.place == u.origin.place and f.happened_at <= at]
    own = [
        f
        for f in facts
        if isinstance(f, Harm)
        and f.level == "call-now"
        and u.happened_at - GAP <= f.happened_at <= at
    ]
    if not own and not any(isinstance(f, Well) or (isinstance(f, Harm) and f.doctor) for f in here):
        yield "a call for help is not answered"
    ends = [midnight(day(when) + timedelta(days=1)) for when in (u.happened_at, u.said_at)]
    if at < max(*ends, u.happened_at + timedelta(hours=12)):
        yield "the day of a call for help"


def age_bars(facts: list[Fact], at: datetime) -> Iterator[str]:
    """Under age by the last that was told of it."""
    told = [f for f in facts if isinstance(f, Body | UnderAge) and f.happened_at <= at]
    if told and isinstance(max(told, key=lambda f: (f.happened_at, f.origin)), UnderAge):
        yield "under age"


def dives_of(facts: list[Fact], at: datetime) -> list[Dive]:
    found = [
        f
        for f in facts
        if isinstance(f, Dive) and f.exercise is not Exercise.DRY and f.happened_at <= at
    ]
    return sorted(found, key=lambda d: d.happened_at)


def answer_bars(facts: list[Fact], at: datetime) -> Iterator[str]:
    """A buddy and a yes, each until 4 h after it or after the last dive it covers."""
    times = [d.happened_at for d in dives_of(facts, at)]
    for kind, name in ((Buddy, "buddy"), (Fit, "yes")):
        said = sorted((f for f in facts if isinstance(f, kind)), key=lambda f: f.happened_at)
        said = [f for f in said if f.happened_at <= at]
        if not said:
            yield f"no {name}"
            continue
        last = said[-1].happened_at
        for t in times:
            if last <= t <= last + GAP:
                last = t
        if at > last + GAP:
            yield f"the {name} is over"
        if isinstance(said[-1], Fit) and not said[-1].ok and day(said[-1].happened_at) == day(at):
            yield "not fit"
    dry = [f for f in facts if isinstance(f, Watching) and day(f.happened_at) == day(at)]
    yes = [f.happened_at for f in facts if isinstance(f, Fit) and f.ok]
    if any(not [t for t in yes if t >= w.happened_at] for w in dry):
        yield "watching today"


def runs_of(dives: list[Dive]) -> list[list[Dive]]:
    runs: list[list[Dive]] = []
    for dive in dives:
        if runs and dive.happened_at - runs[-1][-1].happened_at <= GAP:
            runs[-1].append(dive)
        else:
            runs.append([dive])
    return runs


def dive_bars(facts: list[Fact], at: datetime) -> Iterator[str]:
    """At most five (CP), no third after two troubles, two nights' rest, two exhale days in seven."""
    runs = runs_of(dives_of(facts, at))
    now: list[Dive] = []
    if runs and at - runs[-1][-1].happened_at <= GAP:
        now = runs.pop()
    exhale = [d for d in now if d.exercise.is_exhale]
    if len(exhale) >= 5:
        yield "five dives"
    if sum(d.ending in (Ending.HARD, Ending.STOP) for d in exhale) >= 2:
        yield "two troubles"
    if any(d.exercise is Exercise.FULL for d in now):
        yield "a full-lung dive today"
    days = [day(run[-1].happened_at) for run in runs if any(d.exercise.is_exhale for d in run)]
    today = day(at)
    if any((today - on).days < 2 for on in days):
        yield "rest"
    if len({on for on in days if (today - on).days < 7}) >= 2:
        yield "two exhale days in seven"
    if days:
        last = max(days)
        asked = datetime.combine(last + timedelta(days=1), time(EVENING_H), ZONE)
        told = any(isinstance(f, Well | Harm) and day(f.happened_at) > last for f in facts)
        if at >= asked and not told:
            yield "the morning's check was never answered"


def all_bars(facts: Iterable[Fact], at: datetime) -> list[str]:
    """Everything that forbids a target, by what is stored."""
    left = standing_facts(facts)
    found: list[str] = []
    for bars in (lock_bars, question_bars, age_bars, answer_bars, dive_bars):
        found += bars(left, at)
    return found


HARMS = (
    ["feel hoarse", "feel pink spit", "feel very tired", "i coughed blood", "feel gloopy", "feel ok",
     "feel dizzy for a second, gone", "cleared 2026-05-05", "cleared 2026-07-06", "forget health",
     "share off", "share on", "feel ok", "feel ok"]
)  # fmt: skip
RARE = ["me f 16y 172cm", "me f 34y 172cm"]
HARM = st.sampled_from([*HARMS, *RARE])
DIVES = [
    "exh 7 ok",
    "exh 7 ok",
    "exh 7 ok",
    "exh 6 early",
    "exh 7 hard",
    "exh 7 stop",
    "full 25 ok mf15",
]
LINES = (
    ["next", "fit buddy ana", "fit buddy ana", "exh 7 ok", "exh 7 ok", "exh 6 early", "exh 7 hard",
     "exh 7 stop sternum", "exh 7 stop", "exh 7 ok?", "full 25 ok mf15", "undo", "not fit",
     "watching today", "buddy ana", "fit", "mara looks bad, she is dizzy", "done", "hello", "order"]
)  # fmt: skip
ANSWERS = frozenset(help_file().keys.values())
"""The labels of the buttons that answer a question of health."""

CALLS = [
    "mara blacked out",
    "mara had a samba at the surface",
    "has mara been picked up by you guys? not on ours, not in the water as far as we can see",
]
LINE = st.sampled_from([*LINES, *CALLS])


class Dark(test_machine.Group):
    """The group of the machine, with every word of harm said, and time that runs for months."""

    told: int
    met: Counter[str]

    @initialize()
    def counts_from_nothing(self) -> None:
        self.told = 0
        self.met = Counter()

    @rule(text=HARM, private=st.booleans())
    def says_how_it_is(self, text: str, private: bool) -> None:
        self.push("message", self._body(text, chat=7) if private else self._body(text))

    @rule(text=LINE, user=st.sampled_from([7, 7, 7, 7, 9]), minutes=st.sampled_from([1, 6, 12]))
    def says_a_line(self, text: str, user: int, minutes: int) -> None:
        self.raw.at += timedelta(minutes=minutes)
        self.push("message", self._body(text, user=user))

    @rule(pick=st.integers(0, 20))
    def presses_a_button_of_health(self, pick: int) -> None:
        labels = sorted(label for label in self.raw.buttons if label in ANSWERS)
        if labels:
            self.presses_in_private(labels[pick % len(labels)])

    def presses_in_private(self, label: str) -> None:
        """A button of Mara's own chat."""
        self.raw.update += 1
        query = {
            "id": str(self.raw.update), "chat_instance": "1", "data": self.raw.buttons[label],
            "from": {"id": 7, "is_bot": False, "first_name": "X"},
            "message": self.raw.message("x", chat=7),
        }  # fmt: skip
        self.push("callback_query", query)

    @rule(days=st.sampled_from([1, 2, 3, 4, 8, 30, 62]), well=st.booleans())
    def days_go_by_and_a_day_begins(self, days: int, well: bool) -> None:
        """Time goes on to a morning: asked how it was, fit with a buddy, and asked for a target."""
        self.raw.at = (self.raw.at + timedelta(days=days)).replace(hour=8, minute=0)
        self.raw.worker.work_off(self.raw.at)
        self.deliver()
        if well:
            self.push("message", self._body("feel ok", chat=7))
        for text in ("fit buddy ana", "next"):
            self.raw.at += timedelta(minutes=1)
            self.push("message", self._body(text))

    def push(self, kind: str, body: dict[str, object]) -> None:
        seen = {d: self.briefs(d) for d in ("t7", "t9")}
        before, last = len(self.delivered), self.last_queued()
        super().push(kind, body)
        self.no_target_but_where_none_bars(seen)
        for row in self.delivered[before:]:
            if not re.search(r"^(Next: \d|At most \d)", row.letter.text, re.MULTILINE):
                continue
            if row.id > last:
                # of this turn: a Brief goes with it, or nothing bars
                assert any(self.briefs(d) != n or self.stands(d) for d, n in seen.items())
            else:
                self.told_late(row)
        bars = {kind_of(b) for b in all_bars(self.raw.store.facts_of("t7"), self.raw.at)}
        if len(bars) == 1:
            self.met.update(bars)
            if hypothesis.currently_in_test_context():
                hypothesis.event(f"barred by {bars}")

    def told_late(self, row: OutboxRow) -> None:
        """An answer of an earlier turn that is tried again: what came since follows it in its chat,
        and none is told once words of health have come."""
        about = row.letter.about
        assert about is not None
        since = [
            f
            for f in self.raw.store.facts_of(about)
            if isinstance(f, Harm | Unwell) and f.said_at > row.queued_at
        ]
        assert since == [], row.letter.text

    def is_called(self) -> bool:
        """Whether a text of help went to a group in the hours before, by the outbox."""
        (last,) = self.raw.store._db.execute(
            "SELECT max(queued_at) FROM outbox WHERE delivery = 'help' AND chat LIKE 'g:%'"
        ).fetchone()
        return last is not None and self.raw.at - datetime.fromisoformat(last) <= GAP

    def last_queued(self) -> int:
        (last,) = self.raw.store._db.execute("SELECT max(id) FROM outbox").fetchone()
        return last or 0

    def briefs(self, diver: str) -> int:
        return sum(isinstance(f, Brief) for f in self.raw.store.facts_of(diver))

    def stands(self, diver: str) -> bool:
        return not all_bars(self.raw.store.facts_of(diver), self.raw.at)

    def no_target_but_where_none_bars(self, seen: dict[str, int]) -> None:
        """A Brief that was written in this turn has nothing against it, by what is now stored."""
        for diver, before in seen.items():
            facts = self.raw.store.facts_of(diver)
            briefs = [f for f in facts if isinstance(f, Brief)]
            if len(briefs) > before:
                self.told += 1
                assert all_bars(facts, self.raw.at) == []
                assert not self.is_called(), "help was called for in the group"


def kind_of(bar: str) -> str:
    """A bar without whose row and until when."""
    row, _, rest = bar.partition(": ")
    if row.startswith("row "):
        return re.sub(r" until .*", "", rest)
    # a buddy or a yes that was never said, or is over
    return re.sub(r"^the (buddy|yes) is over$", r"no \1", row)


TestDark = Dark.TestCase
TestDark.settings = settings(
    max_examples=15, stateful_step_count=30, deadline=None, suppress_health_check=list(HealthCheck)
)

SCRIPTS: dict[str, list[str]] = {
    "no buddy": ["5h", "fit"],
    "no yes": ["5h", "buddy ana"],
    "not fit": ["not fit"],
    "watching today": ["watching today"],
    "a line is in doubt": ["exh 7 ok?"],
    "a question of health is open": ["p:feel gloopy"],
    "a call for help is not answered": ["9:mara blacked out", "1d", "p:feel ok", "fit buddy ana"],
    "the day of a call for help": ["9:mara blacked out", "press none of these"],
    "under age": ["p:me f 16y 172cm"],
    "not well since": ["p:feel hoarse"],
    "locked": ["p:forced my ears a bit"],
    "no clinician's word": ["p:feel joint pain and a rash", "60d", "p:feel ok", "fit buddy ana"],
    "full lungs first": [
        "p:feel chest tight", "1d", "p:cleared 2026-05-06", "28d", "p:feel ok", "fit buddy ana",
    ],
    "five dives": ["exh 7 ok", "exh 7 ok", "exh 7 ok", "exh 7 ok", "exh 7 ok"],
    "two troubles": ["exh 7 hard", "exh 6 leak"],
    "a full-lung dive today": ["full 25 ok mf15"],
    "rest": ["exh 7 ok", "1d", "p:feel ok", "fit buddy ana"],
    "two exhale days in seven": [
        "exh 7 ok", "1d", "p:feel ok", "1d", "fit buddy ana", "exh 7 ok", "1d", "p:feel ok", "2d",
        "fit buddy ana",
    ],
    "the morning's check was never answered": ["exh 7 ok", "3d", "fit buddy ana"],
}  # fmt: skip
"""For each bar what is written until it stands, all alone. `5h`, `2d`: time goes on; `p:` in private."""


@pytest.mark.parametrize("bar", SCRIPTS)
def test_each_bar_alone_leaves_no_target(bar: str) -> None:
    """One bar by the second reading and no other: whatever is asked, edited or mended, none is told."""
    group = Dark()
    try:
        group.begin()
        group.counts_from_nothing()
        # nothing bars at first, and a target is told
        group.push("message", group._body("next"))
        assert group.told == 1
        for step in SCRIPTS[bar]:
            group.raw.at += timedelta(minutes=6)
            if re.fullmatch(r"\d+[hd]", step):
                hours = int(step[:-1]) * (24 if step.endswith("d") else 1)
                group.raw.at += timedelta(hours=hours)
                group.raw.worker.work_off(group.raw.at)
                group.deliver()
                continue
            if step.startswith("press "):
                group.presses_in_private(step.removeprefix("press "))
                continue
            if step.startswith("9:"):
                group.push("message", group._body(step.removeprefix("9:"), user=9))
                continue
            text = step.removeprefix("p:")
            private = {"chat": 7} if text != step else {}
            group.push("message", group._body(text, **private))
        facts = group.raw.store.facts_of("t7")
        assert {kind_of(b) for b in all_bars(facts, group.raw.at)} == {bar}
        told = group.told
        group.push("message", group._body("next"))
        group.push("message", group._body("next", chat=7))
        group.is_killed_and_started_again()
        group.push("message", group._body("next"))
        assert group.told == told
    finally:
        group.teardown()


def test_every_bar_has_its_script() -> None:
    """No bar of the second reading is left out of the scripts."""
    source = Path(__file__).read_text(encoding="utf-8")
    readings = source[: source.index("def all_bars(")]
    yields = {kind_of(y) for y in re.findall(r'yield f?"(.+?)"', readings)}
    names = {"no {name}": {"no buddy", "no yes"}, "the {name} is over": set()}
    named = {n for y in yields for n in names.get(y, {kind_of(y.replace("row {h.row}", "row 1"))})}
    assert named == set(SCRIPTS)


def walked(seed: int, steps: int) -> Dark:
    """A walk of the machine that is the same each time: every kind of step, drawn by a seed."""
    draw = random.Random(seed)
    group = Dark()
    try:
        group.begin()
        group.counts_from_nothing()
        kinds: list[Callable[[], object]] = [
            lambda: group.says_a_line(draw.choice(LINES), draw.choice([7, 7, 7, 9]), 12),
            lambda: group.says_a_line(draw.choice(DIVES), 7, 12),
            lambda: group.says_a_line(draw.choice(DIVES), 7, 6),
            lambda: group.says_how_it_is(draw.choice(HARMS), draw.random() < 0.5),
            lambda: group.days_go_by_and_a_day_begins(
                draw.choice([1, 2, 2, 3, 4, 8, 30, 62]), draw.random() < 0.8
            ),
            lambda: group.edits(draw.choice(DIVES), draw.randrange(6)),
            lambda: group.presses(draw.randrange(51), draw.choice([7, 9])),
            lambda: group.time_goes_on(draw.choice([1, 5, 20])),
            group.is_killed_and_started_again,
        ]
        weights = [6, 6, 4, 1, 5, 2, 2, 1, 1]
        for _ in range(steps):
            draw.choices(kinds, weights)[0]()
            group.nothing_waits_and_nothing_private_is_said()
    finally:
        group.teardown()
    return group


def test_the_walks_meet_most_bars_alone_and_tell_targets_all_the_same() -> None:
    """Walks that are the same each time: most bars stood by themselves at some moment, and targets were told."""
    groups = [walked(seed, 80) for seed in (1, 2, 3)]
    met = sum((g.met for g in groups), Counter())
    assert set(met) <= set(SCRIPTS)
    assert len(met) >= 8, sorted(set(SCRIPTS) - set(met))
    assert sum(g.told for g in groups) >= 20


AT = datetime(2026, 5, 5, 8, tzinfo=UTC)


def carried(number: int, *, days: float = 0) -> dict[str, object]:
    at = AT - timedelta(days=days)
    origin = Origin(chat="g", message=number)
    return {"diver": "t7", "happened_at": at, "said_at": at, "by": "t7", "origin": origin}


def the_facts(bar: str) -> list[Fact]:
    """A day on which nothing bars, and what is to bar it."""
    facts: list[Fact] = [Buddy(**carried(1), buddy="t9"), Fit(**carried(2), ok=True)]  # type: ignore[arg-type]
    row = {"row": "5", "level": "call-now", "days": 60.0, "doctor": True}
    more: dict[str, list[Fact]] = {
        "nothing": [],
        "lock": [
            Harm(**carried(3, days=59), **row),
            Cleared(**carried(4, days=1), on=date(2026, 5, 4)),
        ],  # type: ignore[arg-type]
        "no clinician": [Harm(**carried(3, days=90), **row)],  # type: ignore[arg-type]
        "question": [Unwell(**carried(3, days=3))],  # type: ignore[arg-type]
        "no yes": [Fit(**carried(3), ok=False)],  # type: ignore[arg-type]
        "rest": [Dive(**carried(3, days=1), exercise=Exercise.FRC, depth_m=7, ending=Ending.CLEAN)],  # type: ignore[arg-type]
        "cap": [
            Dive(**carried(n), exercise=Exercise.FRC, depth_m=7, ending=Ending.CLEAN)  # type: ignore[arg-type]
            for n in range(3, 8)
        ],
    }
    return facts + more[bar]


@pytest.mark.parametrize("bar", ["lock", "no clinician", "question", "no yes", "rest", "cap"])
def test_the_second_reading_sees_each_bar(bar: str) -> None:
    """What compares the bot is no empty check: each bar by itself is seen, and without any none is."""
    assert all_bars(the_facts("nothing"), AT) == []
    assert all_bars(the_facts(bar), AT) != []
