"""Plain words read for harm, against a corpus of lines."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bot.shorthand.harm_found import HarmReading
from bot.shorthand.harm_left import without_harm
from bot.shorthand.harm_lexicon import (
    HarmWords,
    HarmWordsError,
    PlainWords,
    harm_words,
    pattern_of,
)
from bot.shorthand.harm_reading import read_harm
from bot.shorthand.harm_words import LONGEST_CHARS, read_by_rules
from planner.harm import harm_table

NAMES = ("Ana", "Mara", "Teo", "Noor", "Ilse", "Nils")
CORPUS = Path(__file__).parent / "harm_corpus.tsv"


def lines() -> list[tuple[str, str, str, str]]:
    """The corpus: expected, about whom, before or after the word lists, text."""
    rows = []
    for line in CORPUS.read_text("utf-8").splitlines():
        if line and not line.startswith("#"):
            expected, who, half, text = line.split("\t", 3)
            rows.append((expected, who, half, text))
    return rows


def read(text: str) -> HarmReading:
    return read_harm(text, harm_words(), names=NAMES, today=date(2026, 5, 5))


def outcome(reading: HarmReading) -> str:
    if reading.found:
        return reading.found[0].row
    if reading.asks_cold:
        return "ask"
    if reading.well:
        return "well"
    if reading.unreadable:
        return "unreadable"
    return "past" if reading.past else "-"


def level(row: str) -> str:
    rows = harm_table().rows
    return rows[row].level if row in rows else row


def test_the_corpus_is_read_as_it_is_meant(capsys: pytest.CaptureFixture[str]) -> None:
    """No call-now line is missed, no chatter alarms, and every line comes to its row or a graver level."""
    confusion: Counter[tuple[str, str]] = Counter()
    wrong = []
    for expected, who, half, text in lines():
        reading = read(text)
        got = outcome(reading)
        confusion[(level(expected), level(got))] += 1
        right = got == expected or (
            expected in reading.rows and level(got) in (level(expected), "call-now", "doctor-today")
        )
        about = {None: "me", "": "someone"}
        if reading.found:
            subject = reading.found[0].subject
            right = right and about.get(subject, subject) == who
        if not right:
            wrong.append((half, expected, got, text))
    with capsys.disabled():
        print("\nread as (rows: meant):")
        for (meant, got), n in sorted(confusion.items()):
            print(f"  {meant:14} -> {got:14} {n}")
    assert not [w for w in wrong if level(w[1]) == "call-now"]
    assert not [w for w in wrong if w[1] == "-"]
    assert not wrong


def test_the_corpus_has_both_halves_and_every_row_of_the_page() -> None:
    """At least 400 lines, more than half of them written before the word lists, every row met."""
    all_lines = lines()
    assert len(all_lines) >= 400
    assert sum(half == "before" for _, _, half, _ in all_lines) > len(all_lines) / 2
    met = {expected.partition("-")[0] for expected, *_ in all_lines}
    assert {k.partition("-")[0] for k in harm_table().rows} <= met


@pytest.mark.parametrize(
    "text",
    [
        # harm however written (H)
        "blod in spit",
        "coughd red",
        "ana not waking",
        "cant breath",
        "had a fit",
        "one hand numb",
        "no idea how i got up",
        "tastes of iron",
    ],
)
@pytest.mark.parametrize("change", [str.lower, str.upper, str.title])
def test_what_is_harm_however_written_is_harm_in_any_case(text: str, change: object) -> None:
    """These misspelt lines are harm, whatever the case."""
    assert callable(change)
    assert read(change(text)).found


@pytest.mark.parametrize(
    "text",
    [
        # not harm by itself (H)
        "pink buoy",
        "blood orange",
        "bloody cold",
        "blood shift",
        "fit buddy ana",
        "the suit fits",
        "ears popped nicely",
        "can't get air into my mouth",
        "out of air at 11",
        "numb thumbs from cold",
        "stop cold",
        "shivering",
        "blurred mask",
        "confused about the order",
        "dolphin stroke",
        "squeeze the cheeks",
        "the line is spinning",
        "popped up",
        "passed out the weights",
        "samba playlist",
        "stop throat",
        "9 stop chest",
        "12 ok tight",
        "10 stop ears",
    ],
)
def test_what_is_no_harm_by_itself_is_none(text: str) -> None:
    """The trade's words, and everyday ones like them, come out as no harm."""
    assert not read(text).found


@pytest.mark.parametrize(
    "word", ["coughing blood", "blacked out", "hoarse", "wheezing", "seizure", "dizzy", "vertigo"]
)
def test_one_wrong_letter_anywhere_is_still_read(word: str) -> None:
    """A letter dropped, doubled or swapped, the first one too, changes no reading, unless it makes another word."""
    meant = read(word).rows[0]
    longest = max(word.split(), key=len)
    for i in range(len(longest)):
        swapped = longest[:i] + longest[i + 1 : i + 2] + longest[i : i + 1] + longest[i + 2 :]
        for typo in (
            longest[:i] + longest[i + 1 :],
            longest[:i] + longest[i] + longest[i:],
            longest[:i] + "x" + longest[i + 1 :],
            swapped,
        ):
            if harm_words().is_ordinary(typo):
                continue
            got = read(word.replace(longest, typo))
            assert got.found, typo
            assert got.rows[0].partition("-")[0] == meant.partition("-")[0], typo


def test_worst_wins_and_several_together_are_graver() -> None:
    """Any blood with breathlessness or chest pain is row 5; a changed voice with chest pain is row 10."""
    assert "5" in read("pink spit. also short of breath").rows
    assert "10" in read("hoarse, chest is sore").rows
    assert level(read("tired, ears hurt, coughing blood").rows[0]) == "call-now"


@pytest.mark.parametrize(
    ("text", "row"),
    [
        ("no cough, but blood in spit", "6"),
        ("no pain, no cough, chest tight though", "8"),
        ("not much blood", "6"),
        ("no blood today but yesterday yes", "6"),
        ("no longer coughing blood", "5"),
        ("not only a cough, also blood in the mask", "6"),
    ],
)
def test_a_denial_reaches_no_further_than_it_says(text: str, row: str) -> None:
    """`no` before one thing denies that one; a small amount is an amount."""
    assert row in read(text).rows


def test_about_whom_a_line_speaks() -> None:
    """A member's name, `he`, `my friend`; me wherever the writer is meant."""
    assert read("teo blacked out").found[0].subject == "teo"
    assert read("he blacked out").found[0].subject == ""
    assert read("my friend coughs blood").found[0].subject == ""
    assert read("ana saw me black out").found[0].subject is None
    assert read("fit buddy ana, chest pain").found[0].subject is None
    assert read("i think mara is confused, her speech is slurred").found[0].subject == "mara"


def test_the_own_past_within_the_rows_lock_counts_as_now() -> None:
    """Coughed blood last week is row 5 now; two years ago, or a friend's, it is past."""
    assert "5" in read("i coughed blood 3 weeks ago").rows
    assert read("i coughed blood two years ago").past
    assert read("i coughed blood in 2019").past
    assert "5" in read("i coughed blood in 2026").rows
    assert not read("teo coughed blood last week").found


def test_a_harmless_cause_lowers_nothing_after_feel() -> None:
    """Numb from the cold is asked about in chatter, and row 12 after `feel`."""
    assert read("numb fingers from cold").asks_cold
    assert read("feel numb fingers from cold").rows == ("12",)


def test_feel_and_what_nobody_can_read() -> None:
    """`feel ok` is well, `feel` with strange words is unreadable, neither without `feel`."""
    assert read("feel ok").well
    assert read("i feel fine again").well
    assert read("feel ok, no cough").well
    assert not read("feel not ok").well
    assert read("feel gloopy").unreadable
    assert not read("gloopy").unreadable


@pytest.mark.parametrize(
    "text",
    [
        "not feeling fit",
        "dont feel fit",
        "i dont feel very fit",
        "not feeling very fit",
        "feel well, not",
        "feel well not at all",
        "feel good, not really",
        "feel good. not.",
        "feel fine, no",
        "feel ok but not great",
        "feel gloopy",
        "feel weird about my chest",
        "feel like death warmed up",
        "feel like a zombie",
        "feels gloopy",
        "feel good about it but my chest is odd",
    ],
)
def test_well_is_denied_before_or_behind(text: str) -> None:
    """A negator on either side of a `well` leaves nobody well: the questions come."""
    reading = read(text)
    assert not reading.well
    assert reading.unreadable


@pytest.mark.parametrize(
    ("text", "is_well"),
    [
        ("feels good", False),
        ("feels good to be back", False),
        ("still feels good", False),
        ("feeling good about thursday", False),
        ("i feel like pizza", False),
        ("feel free to use my weights", False),
        ("feels like summer", False),
        ("I feel sick on an empty stomach", False),
        ("noor feels ok", True),
        ("for noor feels ok", True),
        ("still feel fine", True),
        ("feel ok, not dizzy, no cough, voice normal", True),
        ("feel good, not tired at all", True),
    ],
)
def test_feel_in_chatter_is_no_answer(text: str, is_well: bool) -> None:
    """What is felt of a thing or a plan, or said with no name before `feels`, is neither."""
    reading = read(text)
    assert reading.well is is_well
    assert not reading.unreadable
    assert (*reading.found, *reading.alike) == ()


@pytest.mark.parametrize(
    "text",
    [
        "poor thing, tell her to rest",
        "the plate came loose, I had to grab it",
        "I can play the unconscious diver",
        "I passed out on the sofa at nine",
        "help, I can't get this wetsuit zip closed",
        "the seal popped up right next to me, heart attack!",
        "sternum said hello, I turned",
        "anyone else get a headache from this hood?",
        "shaking so much I can't hold the cup, that wind!",
        "someone called an ambulance at the other beach",
        "blood everywhere, he cut himself on the reef they say",
        "my ears are still ringing from the concert",
        "I coughed all through the film, popcorn",
        "ana lost her voice at the concert",
        "saw stars, dry on the couch after the long static",
        "hangover dives are the worst",
    ],
)
def test_talk_in_words_of_harm_is_nothing_to_either_reader(text: str) -> None:
    """Turns of phrase that hold a word of harm are neither found nor like harm."""
    reading = read(text)
    assert (*reading.found, *reading.alike) == ()
    assert not reading.asks_cold


@pytest.mark.parametrize(
    ("text", "row", "subject"),
    [
        ("mara you shook", "3", "mara"),
        ("mara, was that a samba?", "3", "mara"),
        ("mara did you black out?", "2", "mara"),
        ("hey mara, did you black out?", "2", "mara"),
        ("did you black out, mara?", "2", "mara"),
        ("mara are you ok? you looked grey", "23", "mara"),
        ("mara are you ok? your lips were blue", "4", "mara"),
        ("mara did you see teo black out?", "2", "teo"),
        ("noor you saved mara", "2", "mara"),
        ("mara can you come? my chest hurts", "7", None),
        ("mara, ana blacked out", "2", "ana"),
        ("teo says you blacked out", "2", None),
        ("my diver had a samba", "3", ""),
    ],
)
def test_whom_a_line_is_said_to(text: str, row: str, subject: str | None) -> None:
    """What is said to a member by name and `you` is about that member, unless another comes between."""
    assert (row, subject) in {(f.row, f.subject) for f in read(text).found}


@pytest.mark.parametrize(
    "text",
    [
        "mara did you read the blackout article?",
        "mara have you ever had a samba?",
        "mara what is a samba?",
        "mara do you get headaches?",
        "mara did you do the blackout drill?",
        "mara if you black out I tow",
        "mara you shook hands with him",
    ],
)
def test_a_question_about_a_kind_is_none_about_a_dive(text: str) -> None:
    """A member is asked what they know or have ever had: general talk."""
    assert not read(text).found


def test_what_is_left_of_a_message_holds_no_words_of_harm() -> None:
    """The dive stays for the report; symptoms and notes that hold any go."""
    cases = {
        "exh 9 ok # coughed blood": "exh 9 ok",
        "exh 9 ok, blood in my spit": "exh 9 ok",
        "exh 9 ok coughed blood": "exh 9 ok",
        "stop sternum, coughing blood": "stop sternum",
        "exh 9 ok\nblood in spit\nexh 10 ok": "exh 9 ok\nexh 10 ok",
        "coughing blood": "",
    }
    for text, left in cases.items():
        assert without_harm(text, read(text)) == left


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=300))
def test_any_text_is_read_without_an_error(text: str) -> None:
    """Reading is total, and what it finds stands inside the text."""
    reading = read(text)
    for found in reading.found:
        assert all(0 <= a < b <= len(text) for a, b in found.spans)
    without_harm(text, reading)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["coughing blood", "cant breathe", "i blacked out", "one hand numb"]),
    st.sampled_from(["", "hi all. ", "exh 9 ok\n", "great viz today! ", "😀 "]),
    st.sampled_from(["", ". see you", "\nexh 10 ok", "!!!", " 😱"]),
)
def test_what_stands_around_harm_hides_none_of_it(core: str, before: str, after: str) -> None:
    """Chatter and reports round a line leave it read."""
    assert level(read(before + core + after).rows[0]) == "call-now"


def test_a_pattern_that_is_empty_is_an_error() -> None:
    """A file of words with a broken pattern doesn't load in silence."""
    with pytest.raises(HarmWordsError):
        pattern_of(" & ")


def test_a_huge_message_is_read_to_its_limit() -> None:
    """What stands last of as much as the messenger carries is read, and what stands behind is not."""
    told = "\ncoughed blood"
    chatter = ("a day on the lake. " * 300)[: LONGEST_CHARS - len(told)]
    assert read(chatter).rows == ()
    assert level(read(chatter + told).rows[0]) == "call-now"
    assert read(chatter + "." * len(told) + told).rows == ()


@pytest.mark.parametrize(
    ("text", "row"),
    [
        ("sam blacked out", "2"),
        ("zoe has chest pain", "7"),
        ("noor has a nosebleed", "6"),
        ("so peter passed out", "2"),
        ("maria coughs blood", "5"),
    ],
)
def test_a_name_that_nobody_has_here_is_somebody_else(text: str, row: str) -> None:
    """Whoever begins a sentence with an unknown name and what it does tells of somebody else."""
    found = read_harm(text, harm_words()).found
    assert found[0].row == row
    assert {f.subject for f in found} == {""}


@pytest.mark.parametrize(
    "text",
    [
        "airways was burning and coughed blood",
        "breathing is hard",
        "voice was gone",
        "Sternum got sore",
    ],
)
def test_a_word_of_the_body_is_no_name(text: str) -> None:
    """What the trade, the body or plain English calls a thing leaves the writer the subject."""
    found = read_harm(text, harm_words()).found
    assert found
    assert {f.subject for f in found} == {None}


@pytest.mark.parametrize(
    "text",
    ["ana has not come up", "lost a diver", "where is ana she is not up", "tom hasnt surfaced"],
)
def test_a_diver_who_does_not_come_up_is_call_now(text: str) -> None:
    """That somebody is not back at the surface is call now, with a text for whoever searches."""
    assert read_harm(text, harm_words(), names=["ana"]).rows[:1] == ("1-missing",)


@pytest.mark.parametrize(
    "text",
    [
        "viz has not come up",
        "ana has not come up with a name yet",
        "I'm not up for it",
        "cant remember the name",
    ],
)
def test_other_things_that_do_not_come_up_are_no_harm(text: str) -> None:
    """A forecast or an idea that has not come up is talk."""
    assert read_harm(text, harm_words(), names=["ana"]).rows == ()


@pytest.mark.parametrize("text", ["full 20 of 25 ears", "full 25 ears", "full 30 hard ears"])
def test_words_of_the_trade_in_a_report_are_no_harm(text: str) -> None:
    """A full-lung dive that the ears stopped is a dive; ears that are full are harm."""
    assert read_harm(text, harm_words()).rows == ()
    assert read_harm("ears full 20 min", harm_words()).rows == ("17",)


@pytest.mark.parametrize(
    ("text", "rows"), [("scared", ("21",)), ("12 ok scared", ("21",)), ("scared?", ())]
)
def test_scared_alone_is_said_of_a_dive(text: str, rows: tuple[str, ...]) -> None:
    """Scared in a report, or in a word, reads as after `feel`."""
    reading = read_harm(text, harm_words())
    assert reading.rows == rows
    assert reading.fear is bool(rows)


@pytest.mark.parametrize(
    ("text", "row"),
    [
        ("went out like a light at 5 m", "2"),
        ("teo's lips have gone a funny purply colour", "4"),
        ("my left side isn't doing what I tell it", "12"),
        ("it crunches when i press above my collarbone", "10"),
        ("pulse 150 and i'm just sitting here", "22-now"),
        ("just hacked up a mouthful of bright red stuff", "5"),
    ],
)
def test_a_concept_may_take_several_words(text: str, row: str) -> None:
    """What is said in a turn of phrase is read as what is said in a word."""
    assert row in read(text).rows


@pytest.mark.parametrize(
    ("text", "row"),
    [
        ("B.O. at the surface", "2"),
        ("l.o.c. after the second breath", "2"),
        ("paininthechest", "7"),
        ("hes not breeding please come", "1"),
        ("HELP", "1"),
        ("bld in my spit", "6"),
    ],
)
def test_however_a_phone_or_a_thumb_writes_it(text: str, row: str) -> None:
    """Dotted letters, words run together, what a phone hears and a shout are read."""
    assert row in read(text).rows


@pytest.mark.parametrize(
    ("told", "had"),
    [
        ("that film where the diver coughs blood", "after that film i coughed blood"),
        ("blackout drill on saturday", "this is no drill, ana blacked out"),
        ("when a diver blacks out, tow", "when i blacked out, teo towed"),
        ("the pump is coughing", "i'm coughing in the van"),
        ("my uncle had a stroke in march", "had a stroke"),
        ("if somebody isn't breathing, call", "if you read this: ana isn't breathing"),
        ("dizzy prices in that shop", "dizzy in that shop"),
    ],
)
def test_what_is_told_is_not_had(told: str, had: str) -> None:
    """Films, drills, conditions, things and people elsewhere are talk; the same words of us are not."""
    assert not read(told).found
    assert read(had).found


def test_a_plain_english_word_is_no_misspelling() -> None:
    """Words a letter away from ours keep their own meaning, and so do those made of plain ones."""
    words = harm_words()
    for word in ("bleach", "coach", "breach", "number", "chess"):
        assert words.is_ordinary(word) or not words.atoms(word), word
    assert not read("the bleach is under the sink, the coach is late, new number soon").found


def test_who_is_told_of_by_what_stands_beside() -> None:
    """A stranger's possessive, a towards, a voice that one wakes to: whose harm it is stays clear."""
    assert read("lina's speech has gone all slurry").found[0].subject == ""
    assert read("teo stared through me, then talked nonsense").found[0].subject == "teo"
    assert read("lights went out on me, woke up to teo blowing on my face").found[0].subject is None
    assert read("they tell me i was unconscious").found[0].subject is None


def test_a_phrase_of_an_unknown_concept_is_an_error() -> None:
    """A rule that names a concept nobody defines doesn't load."""
    raw = {"rule": [{"row": "1", "said": ["<nothing>"]}], "concepts": {"not": ["not", "no*"]}}
    with pytest.raises(HarmWordsError):
        HarmWords(raw, PlainWords("", ()))


def test_a_name_of_two_words_is_one_person() -> None:
    """A member called by two names is named whole, and a stranger by two is somebody else."""
    found = read_harm("mary ann blacked out", harm_words(), names=["Mary Ann", "Teo"]).found
    assert {f.subject for f in found} == {"mary ann"}
    assert {f.subject for f in read("mary ann blacked out").found} == {""}


def test_a_reason_that_hurts_is_more_than_a_reason() -> None:
    """`early, chest sore` is row 8; `stop chest` and `early chest tight` are dives."""
    assert "8" in read("early, chest sore").rows
    assert not read("stop chest").found
    assert not read("early, chest tight").found


@pytest.mark.parametrize("text", ["mara had a BO at the top", "BO at 5m", "surface bo, all ok now"])
def test_an_abbreviation_is_harm_where_somebody_is_called_so(text: str) -> None:
    """`BO` is the trade's blackout though a member's name is Bo; `bo` elsewhere is the member."""
    names = ("Bo", "Mara")
    assert read_harm(text, harm_words(), names=names).rows[:1] == ("2",)
    assert read_harm("bo 12 ok", harm_words(), names=names).rows == ()
    assert read_harm("bo is late, start without him", harm_words(), names=names).rows == ()


@pytest.mark.parametrize(
    "text",
    [
        "ana is not coming up",
        "we lost teo to the current",
        "came round at the surface",
        "mara had a fit when she surfaced",
        "lump in my throat when i swallow",
        "legs like jelly and my heart is racing",
        "we could not wake ana",
        "a drop of blood, not a lot",
        "vis was fine but everything is blurry since",
        "blue lips, hands like ice",
        "they pulled him out blue",
        "teo still down at the harbour wall",
        "mara isnt coming up",
        "teo not up yet, going down",
        "noor is so cold and not moving",
        "the unconscious diver is at the buoy",
        "I passed out on the sofa at nine after the session",
        "the seal popped up and teo had a heart attack",
        "a seal beside me, then chest pain",
        "anyone else get a headache from this dive?",
        "shaking so much I can't hold the cup",
        "someone called an ambulance for ana at the other beach",
        "I feel sick, and my stomach is empty",
        "my ears are still ringing from the dive",
        "I coughed all through the film",
        "ana lost her voice at the buoy",
        "saw stars after the long static",
        "hangover, and tired since the dive",
        "mara you shook",
        "help, I can't get air",
        "poor thing, she is not waking",
        "the plate came loose, I had to grab him",
        "blood everywhere, he coughed it up on the reef",
        "sternum hurts, I turned",
    ],
)
def test_an_idiom_takes_no_harm_out(text: str) -> None:
    """What is said in words that an idiom shares is harm all the same, by the rules alone."""
    assert read_by_rules(text, harm_words(), names=NAMES).found
