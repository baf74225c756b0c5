"""Laws of the talk, tried on random conversations."""

from __future__ import annotations

import re
from datetime import timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bot.heard import Button, Heard, Kind
from planner.plan import Plan, plan
from planner.record import Asked, Brief, Dive, Harm, Origin
from planner.rules import RULES
from storage.outcome import Delivery
from tests.bot.talk.buoy import GROUP, Buoy, ready, said_to, short

TEXTS = (
    "exh 7 ok", "exh 7", "ok", "hard", "8", "7 ok throat", "exh 8 hard", "stop", "stop sternum",
    "ears", "exh 700 ok", "exh 7 okk", "8 ok?", "undo", "fix 6.5", "*hard", "next", "done",
    "fit buddy ana", "not fit", "watching today", "buddy piet", "exh 7 ok\nexh 8 hard", "2x7 ok",
    "for noor exh 7 ok", "noor 7 hard", "for noor fit buddy mara", "for noor next", "yes", "no",
    "full 25 ok mf18", "dip 8", "dry 10 lock", "shallow 8 ok", "exh 9 of 8 ok", "9/14 ok",
    "exh 7 ok 08:01", "exh 7 ok 23:59", "exh 7 ok # slight sternum", "see you at 8 ok", "12, 5 ok",
    "exh 40ft ok", "exh 7 early", "exh 2 early", "exh 7 stop cold", "exh 7 stop urge", "exh nan ok",
    "exh 7 ok fill 9", "fix fill 9", "for nobody exh 7 ok", "exh -3 ok", "exh 7 ok bit tight", "frc 2.9",
    "{0} %s <b>exh</b> 7 ok", "'; DROP TABLE fact; --", "exh 7 ok " * 30, "order", "board", "why",
    "next full", "task", "dry 8 count 7", "dry 10 lock ok", "ready", "forecast", "full 24 leak mf9", "stop leak",
)  # fmt: skip

STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("says"), st.sampled_from(("mara", "ana")), st.sampled_from(TEXTS)),
        st.tuples(st.just("edits"), st.sampled_from(("mara", "ana")), st.sampled_from(TEXTS)),
        st.tuples(st.just("presses"), st.sampled_from(("mara", "ana")), st.integers(0, 40)),
        st.tuples(st.just("later"), st.just(""), st.sampled_from((0.5, 3, 6, 300, 1500))),
    ),
    min_size=1,
    max_size=12,
)


def group() -> Buoy:
    """Mara with her phone, Ana beside her, and Noor whose log Mara keeps."""
    return ready().keep("noor", keeper="mara", pb=36, goal=42)


def play(buoy: Buoy, step: tuple[str, str, object]) -> int:
    """One step; how many letters there were before it."""
    told = len(buoy.told)
    match step:
        case ("says", str(who), str(text)):
            buoy.says(who, text)
        case ("edits", str(who), str(text)):
            if any(s.sender == who for s in buoy.said):
                buoy.edits(who, text)
        case ("presses", str(who), int(number)):
            keys = [k for x in buoy.told if x.to == GROUP for row in x.keys for k in row]
            if keys:
                press(buoy, who, keys[-1 - number % len(keys)])
        case ("later", _, float(minutes) | int(minutes)):
            buoy.later(minutes=minutes)
    return told


def press(buoy: Buoy, who: str, key) -> None:  # type: ignore[no-untyped-def]
    buoy.number += 1
    button = Button(
        says=key.says, diver=key.diver, may_press=key.may_press, answers=key.answers, fresh=True
    )
    buoy.hears(
        Heard(
            kind=Kind.PRESS,
            chat=GROUP,
            private=False,
            sender=who,
            message=buoy.number,
            sent_at=buoy.at,
            now=buoy.at,
            text=key.says,
            button=button,
        )
    )


CALM = settings(
    max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)


@CALM
@given(STEPS)
def test_what_is_said_in_a_group_is_short_and_whole(steps: list[tuple[str, str, object]]):
    """No answer but help has more than four lines in a group, an empty text or an unfilled place."""
    buoy = group()
    for step in steps:
        told = play(buoy, step)
        for letter in buoy.told[told:]:
            if letter.reaction is not None or letter.delivery is Delivery.HELP:
                continue
            assert letter.text.strip()
            assert not re.search(r"\{[a-z_]+\}", letter.text)
            if letter.to == GROUP and "roster" not in letter.text:
                assert len(letter.text.splitlines()) <= 4, letter.text


@CALM
@given(STEPS)
def test_a_target_is_told_only_where_one_stands(steps: list[tuple[str, str, object]]):
    """Each `Next` in the group is the plan of the diver it is about, and a Brief of that depth."""
    buoy = group()
    for step in steps:
        told = play(buoy, step)
        for letter in buoy.told[told:]:
            found = re.search(r"(?:Next:|At most) ([\d.]+) m", letter.text)
            if letter.to != GROUP or found is None or letter.about is None:
                continue
            now = plan(buoy.record(letter.about), rules=RULES, at=buoy.at)
            assert isinstance(now, Plan)
            assert now.depth_m == float(found[1])
            brief = buoy.brief(letter.about)
            assert brief is not None
            assert brief.depth_m == now.depth_m


@CALM
@given(STEPS)
def test_nothing_is_dived_twice_at_one_place(steps: list[tuple[str, str, object]]):
    """However a line is edited, mended and answered, it is one dive at most."""
    buoy = group()
    for step in steps:
        play(buoy, step)
        places = [d.origin.place for key in buoy.members for d in buoy.record(key).dives]
        assert len(places) == len(set(places))


@CALM
@given(STEPS, st.sampled_from(("exh 8 hard", "stop sternum", "exh 6 ok", "exh 9 stop ears")))
def test_undo_leaves_the_dives_as_they_were(steps: list[tuple[str, str, object]], text: str):
    """A report and its undo leave the dives, and the plan, of before."""
    buoy = group()
    for step in steps:
        play(buoy, step)
    buoy.later(minutes=11)
    dropped = [f for f in buoy.facts if type(f).__name__ == "Asked"]
    before = dived(buoy)
    known = len(before)
    buoy.says("mara", text)
    if len(dived(buoy)) != known + 1:
        return  # it answered a question, or was asked about
    buoy.says("mara", "undo")
    assert dived(buoy) == before
    assert dropped == [f for f in buoy.facts if type(f).__name__ == "Asked"][: len(dropped)]


def dived(buoy: Buoy) -> list[str]:
    return [f"{d.happened_at} {short(d)}" for d in buoy.record("mara").dives]


@CALM
@given(
    st.lists(
        st.tuples(
            st.sampled_from([t for t in TEXTS if not t.startswith(("undo", "fix", "*", "why"))]),
            st.sampled_from((0.2, 5, 9)),
        ),
        max_size=8,
    )
)
def test_nobody_can_tell_a_lock_from_rest(said: list[tuple[str, float]]):
    """Whatever a locked and a resting diver write, the group reads the same, byte for byte."""
    resting, locked = group(), group()
    for buoy, days in ((resting, 1), (locked, 9)):
        buoy.at += timedelta(days=10 - days)
        buoy.says("mara", "frc 7 ok")
        buoy.says("mara", "feel ok", private=True)
        buoy.at += timedelta(days=days)
    locked.facts.append(
        Harm(
            diver="mara",
            happened_at=locked.at - timedelta(days=2),
            said_at=locked.at - timedelta(days=2),
            by="mara",
            origin=Origin(chat="p:mara", message=9000),
            row="9",
            level="doctor-today",
            days=28,
            doctor=True,
        )
    )
    for buoy in (resting, locked):
        assert said_to(buoy.says("mara", "fit buddy ana"), "group") == "mara: no target today."
    for text, minutes in said:
        one, two = (b.later(minutes=minutes).says("mara", text) for b in (resting, locked))
        assert said_to(one, "group") == said_to(two, "group")


@CALM
@given(st.sampled_from(TEXTS), st.sampled_from(TEXTS))
def test_an_edit_is_the_right_words_at_once(first: str, second: str):
    """What an edit leaves is what its words alone would have left."""

    def known(buoy: Buoy) -> list[tuple[object, ...]]:
        return [
            (d.diver, d.happened_at, d.exercise, d.depth_m, d.ending, d.reason, d.fill_m, d.waits)
            for key in buoy.members
            for d in buoy.record(key).dives
        ]

    one, two = group(), group()
    one.says("mara", first)
    left = {type(f) for f in one.facts[len(two.facts) :]}
    if not left <= {Dive, Asked, Brief}:
        return  # a command was said, and an edited command does nothing
    one.later(minutes=0.1)
    two.at += timedelta(minutes=0.1)
    one.edits("mara", second)
    two.says("mara", second, sent_at=one.said[-1].sent_at)
    assert known(one) == known(two)
