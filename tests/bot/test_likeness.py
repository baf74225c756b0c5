"""The second reader of harm: what it learned, what it does with lines it has not seen, and its bounds."""

from __future__ import annotations

from collections import Counter
from datetime import date
from importlib import resources

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.shorthand.harm_found import HarmReading
from bot.shorthand.harm_left import without_harm
from bot.shorthand.harm_lexicon import harm_words
from bot.shorthand.harm_reading import read_harm
from bot.shorthand.harm_words import read_by_rules
from bot.shorthand.likeness import CALL, CHATTER, NOTHING, Weights, likeness
from bot.shorthand.likeness_learn import Example, as_rows, learn
from planner.harm import harm_table
from tests.bot.harm_lines import CORPUS, EXAMPLES, examples_in, learned_again, names_in

FOLDED = names_in(EXAMPLES)
NAMES = tuple(name.title() for name in FOLDED)
DAY = date(2026, 5, 5)
EVERY = 5
"""Every so many-th of the examples is kept back, to be read by one who has not seen it."""


def read(text: str) -> HarmReading:
    return read_harm(text, harm_words(), names=NAMES, today=DAY)


def test_the_weights_are_those_that_the_lines_give() -> None:
    """Learning again gives the file that is shipped, but for the last digit of a machine's arithmetic."""
    again = learned_again().splitlines()
    file = resources.files("bot.shorthand").joinpath("likeness.en.tsv").read_text("utf-8")
    shipped = file.splitlines()
    assert len(again) == pytest.approx(len(shipped), rel=0.001), "run deploy/learn"
    same = len(set(again) & set(shipped))
    assert same > 0.98 * len(shipped), "run deploy/learn"


def test_lines_that_were_kept_back_are_read_as_they_are_meant(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """One who learned from four fifths reads the last fifth: most calls, and little chatter as harm."""
    examples = examples_in(EXAMPLES)
    known = [e for i, e in enumerate(examples) if i % EVERY]
    weights = Weights(as_rows(learn([*examples_in(CORPUS), *known], names=FOLDED)))
    met: Counter[tuple[str, str]] = Counter()
    for example in examples[::EVERY]:
        meant = "call" if example.is_call else "milder" if example.is_harm else "chatter"
        rules = read_by_rules(example.text, harm_words(), names=NAMES, today=DAY)
        both = read_harm(example.text, harm_words(), names=NAMES, today=DAY, weights=weights)
        met[meant, "lines"] += 1
        met[meant, f"by rules {of_level(rules)}"] += 1
        met[meant, f"by both {of_level(both)}"] += 1
    with capsys.disabled():
        print("\nlines kept back (meant, read as):")
        for (meant, got), n in sorted(met.items()):
            print(f"  {meant:8} {got:24} {n}")
    calls, chatter = met["call", "lines"], met["chatter", "lines"]
    assert met["call", "by both call"] > 0.88 * calls
    assert met["call", "by both call"] > met["call", "by rules call"]
    assert chatter - met["chatter", "by both nothing"] < 0.1 * chatter


def of_level(reading: HarmReading) -> str:
    """What a reading comes to: `call`, `milder`, or nothing."""
    if any(a.is_call for a in reading.alike):
        return "call"
    if reading.found:
        return "call" if harm_table().rows[reading.found[0].row].level == "call-now" else "milder"
    return "milder" if reading.alike or reading.asks_cold else "nothing"


def test_a_learner_takes_from_lines_what_tells_them_apart() -> None:
    """Pieces of calls weigh up, pieces of chatter down, and what stands in both hardly anything."""
    told = [
        ("the buoy is red", False, False),
        ("the diver is gone", True, True),
        ("the tea", False, False),
    ]
    examples = [Example(text=t, is_call=c, is_harm=h) for t, c, h in told] * 5
    weights = learn(examples, names=[])
    assert weights["gone"][0] > 0 > weights["red"][0]
    assert abs(weights["the"][0]) < weights["gone"][0]
    assert "unheard" not in weights


def test_a_piece_of_one_line_only_is_not_learned() -> None:
    """What stood in a single line says more of that line than of harm."""
    once = Example(text="quokka gone", is_call=True, is_harm=True)
    more = Example(text="diver gone", is_call=True, is_harm=True)
    assert "quokka" not in learn([once, more, more], names=[])


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=200))
def test_any_line_is_weighed_without_an_error(line: str) -> None:
    """Likeness is total and between 0 and 1, and so is the whole reading."""
    found = likeness(line, names=FOLDED)
    assert 0 <= found.call <= 1
    assert 0 <= found.harm <= 1
    for alike in read(line).alike:
        assert 0 <= alike.span[0] <= alike.span[1] <= len(line)


@pytest.mark.parametrize("word", ["", "help", "ok", "12"])
def test_a_single_word_is_like_nothing(word: str) -> None:
    """What has no neighbours is the rules' to read."""
    assert likeness(word) == NOTHING


def test_who_it_is_about_is_no_matter_to_how_like_harm_it_is() -> None:
    """A name, a possessive and a pronoun weigh the same, and so do all numbers."""
    told = "{} went down {} minutes ago and is not on the boat"
    one, *others = (
        likeness(told.format(who, n), names=["teo", "ana"])
        for who, n in (("teo", 4), ("ana", 11), ("she", "2.5"))
    )
    assert one.call > CALL
    assert others == [one, one]


def test_weights_are_found_by_their_piece_and_nothing_by_another() -> None:
    """Every piece gives the weights that it was given, whatever its letters."""
    told = {"": (-1.0, -0.5), "blod": (0.25, 1.5), "å ä": (0.5, 0.75), "@": (-0.25, 0.0)}
    weights = Weights(as_rows(told))
    assert weights.base == (-1.0, -0.5)
    assert all(weights.get(piece) == weighs for piece, weighs in told.items())
    assert weights.get("blood") is None


@pytest.mark.parametrize(
    ("text", "level"),
    [
        (
            "the old man on the jetty cant breathe and the parking is full again use the back road",
            "call",
        ),
        ("great viz today, new depth for me, coughed blood after, see you at the pub", "call"),
        ("6 ok # had a bo, new fins are great, see you at the pub at eight", "call"),
        ("parking is full use the back road and i fainted", "call"),
        ("pool is closed on monday, tuesday is fine, no sign of teo", "call"),
        ("great session today thanks all, viz was superb, had a bo", "call"),
    ],
)
def test_chatter_beside_harm_hides_none_of_it(text: str, level: str) -> None:
    """A rule's find is chatter only where its own neighbours are like chatter too."""
    assert of_level(read_by_rules(text, harm_words(), names=NAMES)) != "nothing"
    assert of_level(read(text)) == level


def test_what_a_rule_finds_in_chatter_alone_is_taken_back() -> None:
    """Some of what the rules find in chatter is taken back; no call of the examples that they find is."""
    told = examples_in(EXAMPLES)[::9]
    by_rules = {e.text: of_level(read_by_rules(e.text, harm_words(), names=NAMES)) for e in told}
    alarming = [e.text for e in told if not e.is_harm and by_rules[e.text] != "nothing"]
    calls = [e.text for e in told if e.is_call and by_rules[e.text] == "call"]
    assert any(of_level(read(text)) == "nothing" for text in alarming)
    assert [text for text in calls if of_level(read(text)) != "call"] == []


def test_after_feel_nothing_that_a_rule_finds_is_chatter() -> None:
    """`feel` is said to be heard: the second look takes nothing back."""
    all_is_chatter = Weights([("", "0", "-900")])
    told = "somehow i am really rather dizzy and it does not stop at all"
    assert likeness(told, weights=all_is_chatter).harm < CHATTER
    assert read_harm(told, harm_words(), names=NAMES, weights=all_is_chatter).rows == ()
    felt = f"feel {told}"
    assert read_harm(felt, harm_words(), names=NAMES, weights=all_is_chatter).rows == ("14",)


@pytest.mark.parametrize(
    ("text", "whom"),
    [
        (
            "has ana been picked up by you guys? not on ours, not in the water as far as we can see",
            "ana",
        ),
        (
            "teo’s not been picked up by you guys? not on ours, not in the water as far as we can see",
            "teo",
        ),
        ("counted heads twice. one short. everyone stop diving and look", ""),
        ("i turned round and he was gone and hes not on the boat either", ""),
        ("i have not air. i sit and have not air. please", None),
    ],
)
def test_whom_a_line_like_a_call_seems_to_be_about(text: str, whom: str | None) -> None:
    """Who is named; somebody, where others are spoken of; else the writer."""
    assert [a.subject for a in read(text).alike if a.is_call] == [whom]


def test_a_denial_of_what_is_only_asked_about_is_read() -> None:
    """Numb fingers from cold have no row of their own, denied or not."""
    assert read("no numb fingers today, water was warm").found == ()


def test_a_milder_row_stands_unless_a_line_is_very_like_a_call() -> None:
    """What a rule reads as a matter for a doctor is no call for help because of its neighbours."""
    reading = read("ana is acting weird")
    assert reading.found
    assert reading.alike == ()


@pytest.mark.parametrize(
    "text",
    ["ana is breathing up", "mara breathing up", "she's breathing up now", "teo breathes up"],
)
def test_breathing_up_is_getting_ready(text: str) -> None:
    """What is said before every dive at every buoy is no call for help."""
    assert read(text).found == ()
    assert read(text).alike == ()
    assert of_level(read("mara is not breathing up at the top")) == "call"


def test_all_who_are_named_are_meant() -> None:
    """Two who are looked for are two."""
    found = read("have ana and teo been picked up by you guys? not on ours, not in the water").alike
    assert [a.subject for a in found] == ["ana", "teo"]


@pytest.mark.parametrize(
    "text",
    [
        "\u200b" * 12 + "so today at the pool ana had a            blackout",
        "a\u00adb\u00adc\u00add\u00ade\u00adf g h i j k      swb",
        "İİİİ had a blackout",
    ],
)
def test_letters_that_nobody_sees_shift_no_place(text: str) -> None:
    """Zero-width spaces, soft hyphens and letters that fold into two are read, and what is left too."""
    reading = read(text)
    assert reading.found
    without_harm(text, reading)


def test_a_letter_that_folds_into_two_keeps_no_other_from_folding() -> None:
    """A shouted report with a dotted capital I in it is read as the same one without."""
    rows = read("SEE YOU IN IZMIR. I COUGHED BLOOD").rows
    assert rows[:1] == ("5",)
    assert read("SEE YOU IN İZMİR. I COUGHED BLOOD").rows == rows


@pytest.mark.parametrize(
    "before",
    [
        "no cough. ",
        "all good, no cough. ",
        "lovely evening thanks all for the cake and the coffee. ",
    ],
)
def test_another_sentence_in_front_hides_nothing(before: str) -> None:
    """A denial or chatter before it leaves what is like harm read."""
    assert read(
        before + "there is a hand on my chest, mild, been there since the second dive"
    ).alike
