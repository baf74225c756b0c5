"""What holds for every text: the parser is total, order and case don't matter, doubt is never clean."""

import random
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from types import FrameType

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bot.shorthand import Chatter, Command, Doubt, Reading, Report, Unclear, parse
from planner.record import Ending
from tests.bot.shorthand.telling import NAMES, WORDS, read, told
from tests.bot.shorthand.test_lines import LINES

CALM = settings(deadline=None)
"""Time is held by tests of its own, below."""

OURS = sorted(WORDS.meanings) + sorted(
    {w for c in WORDS.commands.values() for x in c for w in x.phrase}
)
SCRAPS = [
    "12", "7,5", "-3", "0", "700", "1e1", "8²", "9/14", "2x8", "09:42", "1:05", "9:99", "48s", "40ft", "2026-06-01",
    "2026-13-01", "#", "?", "/", "@", "*", "/log", "/next@x", "@ana", "\n", "then", "for", "ana", "noor:", "of", "\u200b",
    "\u202e", "\x00", "'", "’", "👍🏽", "8️⃣", "١٢", "x", "×", ",", ".", "..", "-", "ok?", "okk", "nxet", "strange", "ﬁne",
]  # fmt: skip

soup = st.lists(st.sampled_from(OURS + SCRAPS) | st.text(max_size=4), max_size=14).flatmap(
    lambda words: st.sampled_from([" ", "", ", "]).map(lambda between: between.join(words))
)


def one_line_again(reading: str) -> tuple[Reading, ...]:
    return parse(reading, WORDS, names=NAMES)


def is_in_order(found: Sequence[Reading]) -> bool:
    return [r.line for r in found] == list(range(len(found)))


@CALM
@given(st.text())
@example("\ud800")
@example("\x00" * 50)
@example("🏽")
@example("/\u200b")
@example("for ana")
@example("@")
@example("exh " + "9" * 4000)
def test_any_text_has_an_answer(text: str):
    """No text makes the parser raise; each gets at least one reading, numbered from 0."""
    found = read(text)
    assert found
    assert is_in_order(found)


@CALM
@given(soup)
@example("*")
@example("* #")
@example("fix for noor")
@example("for ana for noor ok")
@example("/log /log 8 ok")
def test_any_mix_of_our_words_has_an_answer(text: str):
    """Nor does any mix of our own words, numbers and marks."""
    found = read(text)
    assert found
    assert is_in_order(found)


@CALM
@given(soup)
def test_what_is_offered_says_one_plain_thing(text: str):
    """Each reading offered for a doubtful line is itself read without doubt, as one dive or command."""
    for asked in read(text):
        if isinstance(asked, Unclear):
            assert len(asked.readings) == len(set(asked.readings)) <= 4
            for reading in asked.readings:
                (only,) = one_line_again(reading)
                assert isinstance(only, (Report, Command)), reading
                assert not isinstance(only, Report) or only.asks is None, reading


def test_every_doubt_of_the_table_offers_plain_lines():
    """The same for each line of the table, and most of its doubts have something to offer."""
    doubts = [r for says, _ in LINES for r in read(says) if isinstance(r, Unclear)]
    for asked in doubts:
        for reading in asked.readings:
            (only,) = one_line_again(reading)
            assert isinstance(only, (Report, Command)), reading
    assert sum(bool(d.readings) for d in doubts) > 0.7 * len(doubts)


PARTS = st.tuples(
    st.sampled_from(["exh", "frc", "rv", "full", "shallow", "EXH", "Frc"]),
    st.sampled_from(["12", "7,5", "12m", "9.5 m", "40ft", "31'"]),
    st.sampled_from(
        ["ok", "hard", "early", "stop sternum", "ears", "Stop", "👍", "fine", "throat"]
    ),
    st.sampled_from(["", "mf7", "fill 5", "mf 2,5"]),
    st.sampled_from(["", "48s", "1:05", "50 sec"]),
    st.sampled_from(["", "09:42", "2026-06-01 18:05"]),
    st.sampled_from(["", "at", "metres", "with"]),
)


@CALM
@given(
    PARTS,
    st.randoms(use_true_random=False),
    st.sampled_from([str.upper, str.lower, str.title, str]),
)
def test_order_and_case_do_not_change_a_report(parts, rng: random.Random, case):
    """The parts of a valid report may come in any order and case: it is the same dive."""
    said = [p for p in parts if p]
    (first,) = read(" ".join(said))
    assert isinstance(first, Report), said
    shuffled = list(said)
    rng.shuffle(shuffled)
    (again,) = read(case(" ".join(shuffled)))
    assert isinstance(again, Report), shuffled
    assert told(again) == told(first)


@CALM
@given(
    st.sampled_from(
        [says for says, means in LINES if str(means).startswith("dive") and "\n" not in says]
    ),
    st.data(),
)
def test_marks_and_spaces_do_not_change_a_report(says: str, data):
    """Punctuation behind a word and spaces between change nothing (a comma between numbers would)."""
    head, mark, note = says.partition("#")
    words = head.split()
    ends = [data.draw(st.sampled_from(["", "!", ";", ":", "."])) for _ in words]
    between = data.draw(st.sampled_from([" ", "  ", "\t", "\u00a0"]))
    marked = between.join(
        w if w.endswith((".", ":", "@")) else w + e for w, e in zip(words, ends, strict=True)
    )
    (first,), (again,) = read(says), read(f" {marked} {mark}{note}")
    assert told(again) == told(first)


OK_WORDS = ["ok", "clean", "fine", "easy", "good", "👍"]


@CALM
@given(
    st.sampled_from(["exh 8", "frc 12", "8", "rv 6 mf0"]),
    st.sampled_from(OK_WORDS),
    st.sampled_from(
        [
            w
            for w, m in WORDS.meanings.items()
            if m.sort.name in {"REASON", "TROUBLE", "NEGATOR", "QUALIFIER"}
        ]
        + ["stop", "hard", "?", "13", "\u200b", "xyzzy", "-4"]
    ),
    st.randoms(use_true_random=False),
)
def test_doubt_never_yields_clean(start: str, ok: str, doubt: str, rng: random.Random):
    """An ok beside a reason, trouble, denial, question, second number or stranger is never clean."""
    rest = [ok, doubt]
    rng.shuffle(rest)
    for reading in read(f"{start} {' '.join(rest)}"):
        assert not (isinstance(reading, Report) and reading.ending is Ending.CLEAN)
        assert not isinstance(reading, Chatter)


@CALM
@given(soup, st.sampled_from(["stop", "turned", "sternum", "chest", "throat"]))
def test_stop_beats_ok(text: str, word: str):
    """With a word for a stop in a line, no dive of that line is recorded as anything milder."""
    line = text.replace("\n", " ").replace("#", " ").replace("then", " ")
    for reading in read(f"{line} {word}"):
        if isinstance(reading, Report):
            assert reading.ending in (Ending.STOP,) or "/" in line


def test_the_harmless_reading_never_comes_first():
    """Where several outcomes are offered, a clean one is never the first."""
    for says, _ in LINES:
        for asked in read(says):
            if isinstance(asked, Unclear) and asked.doubt is not Doubt.NUMBER_FORM:
                outcomes = [
                    r.ending
                    for line in asked.readings
                    for r in one_line_again(line)
                    if isinstance(r, Report)
                ]
                if len(set(outcomes)) > 1:
                    assert outcomes[0] is not Ending.CLEAN, says


def steps(text: str) -> int:
    """How many lines of our code run for a text: a measure that no busy machine changes."""
    count = 0

    def line(frame: FrameType, event: str, arg: object) -> Callable[..., object]:
        nonlocal count
        count += 1
        return line

    before = sys.gettrace()
    sys.settrace(line)
    try:
        read(text)
    finally:
        sys.settrace(before)
    return count


HOSTILE = ["9", "a", "9.", "of ", "9/", "ok ", "x", "'", "-", "👍", "2x", "exh 8 ok then ", "8 ok\n", "@", "9:", "9_"]  # fmt: skip


@pytest.mark.parametrize("scrap", HOSTILE)
@pytest.mark.parametrize("start", ["", "exh ", "exh 8 ok # ", "fix ", "site "])
def test_reading_takes_linear_time(start: str, scrap: str):
    """Twice the text takes at most some two times as many steps, whatever it is made of."""
    half, whole = start + scrap * (2048 // len(scrap)), start + scrap * (4096 // len(scrap))
    read(whole)  # what is looked up once is no step of the text's
    assert steps(whole) < 2.5 * steps(half) + 200


@CALM
@given(st.text(max_size=40))
def test_notes_are_free_text(note: str):
    """Whatever stands in a note, the line stays a report or a question about it, and is never two."""
    clean = note.replace("\n", " ")
    found = read(f"exh 8 hard # {clean}")
    assert len(found) == 1
    assert isinstance(found[0], (Report, Unclear))


def test_a_written_reading_is_the_same_reading():
    """What the parser writes for a dive in doubt is read as exactly that dive."""
    compared = 0
    for says, means in LINES:
        if (
            isinstance(means, str)
            and means.startswith("dive")
            and "!" not in means
            and "#" not in means
        ):
            (plain,) = read(says)
            assert isinstance(plain, Report)
            (asked,) = read(f"{says} ?")
            if isinstance(asked, Unclear) and asked.readings and len(asked.readings) == 1:
                (again,) = one_line_again(asked.readings[0])
                assert isinstance(again, Report)
                same = replace(again, text=plain.text, depth_text=plain.depth_text, who=plain.who)
                assert same == plain, says
                compared += 1
    assert compared > 80
