"""Lines of a `.chat` file: what each of them means, and that what can't be read says where."""

from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bot.transport.chatfile import Act, ChatError, read_chat, read_line


def only(line: str):
    return read_line(line, 1)


def test_every_form_of_a_line_is_read():
    """Each line of a sample of all that people write has its meaning."""
    raw = "\n".join(
        [
            "# Two divers.",
            "group  Tuesday line, Europe/Lisbon",
            "clock  2026-05-05 08:30",
            "",
            "mara> next",
            "bot> Who watches?",
            "     [12 ok] [12 hard]",
            "mara> [12 ok]",
            "mara> 9 ok \\n 12 hard",
            "mara@bot> goal 44",
            "bot@mara> Goal 44 m.",
            "     (picture: debrief)",
            "mara~ exh 11 ok",
            "mara^ stop sternum",
            "clock +40m",
            "offline",
            "online",
            "admin mara",
            "+ group: \\b7 ?m",
        ]
    )
    acts = " ".join(step.act for step in read_chat(raw.encode()))
    assert acts == (
        "keep group clock keep say bot bot press say say bot bot edit reply"
        " clock offline online admin keep"
    )


@pytest.mark.parametrize(
    ("line", "text"),
    [
        ("mara> 9 ok \\n 12 hard", "9 ok\n12 hard"),
        ("mara> a \\n \\n b", "a\n\nb"),
        ("mara> a\\nb", "a\\nb"),
        ("mara>   exh  7   ok ", "  exh  7   ok "),
        ("mara> exh\u202e7\u200b\x0bok", "exh\u202e7\u200b\x0bok"),
        ("mara> say [12 ok]", "say [12 ok]"),
        ("mara> # felt easy", "# felt easy"),
    ],
)
def test_what_is_said_keeps_its_characters(line: str, text: str):
    """Only the token between spaces is a line break; spaces and odd characters stay as typed."""
    step = only(line)
    assert (step.act, step.name, step.text) == (Act.SAY, "mara", text)


@pytest.mark.parametrize(
    ("line", "ahead"),
    [
        ("clock +40m", timedelta(minutes=40)),
        ("clock +1h", timedelta(hours=1)),
        ("clock  +1d2h3m4s", timedelta(days=1, hours=2, minutes=3, seconds=4)),
    ],
)
def test_a_clock_moves_ahead(line: str, ahead: timedelta):
    """A clock line with a sign moves by that much."""
    assert only(line).ahead == ahead


def test_a_clock_is_set():
    """A clock line with a day and a time names the local moment."""
    assert only("clock  2026-05-06 08:00").local_at == datetime(2026, 5, 6, 8, 0)  # noqa: DTZ001


def test_a_press_has_a_label():
    """A message that is nothing but brackets presses that button, in the group or in private."""
    assert (only("mara> [stop…]").act, only("mara> [stop…]").text) == (Act.PRESS, "stop…")
    assert only("ana@bot> [not sure]").private


def test_a_control_character_ends_no_line():
    """Carriage returns and separators of other kinds stay inside their line."""
    steps = read_chat("mara> a\x0c\x85\u2028b\rc\nana> d\n".encode())
    assert [step.text for step in steps] == ["a\x0c\x85\u2028b\rc", "d"]


@pytest.mark.parametrize(
    "line",
    [
        "exh 7 ok",
        "clock soon",
        "clock +",
        "clock 40m",
        "clock 2026-13-01 08:00",
        "clock +99999999999999999999h",
        "group Tuesday line",
        "group Tuesday line, Europe/Atlantis",
        "group , Europe/Lisbon",
        "group x, ../../etc/passwd",
        "admin",
        "admin two names",
        "offline now",
        "mara>",
        "mara>   ",
        "mara@bot^ stop",
        "bot@mara~ hm",
        "mara>exh 7 ok",
        "@mara> hm",
    ],
)
def test_a_line_that_cannot_be_read_has_its_number(line: str):
    """What has no meaning is an error that names the line."""
    with pytest.raises(ChatError, match=r"^line 3: ") as raised:
        read_chat(b"# one\n\n" + line.encode() + b"\n")
    assert raised.value.number == 3


def test_bytes_that_are_no_text_have_their_number():
    """A line that is not UTF-8 is an error that names the line."""
    with pytest.raises(ChatError, match=r"^line 2: "):
        read_chat(b"# one\nmara> \xff\xfe\n")


@given(st.text())
def test_reading_is_total(line: str):
    """Any text at all is a step or an error of ours."""
    try:
        number = read_line(line, 7).number
    except ChatError as error:
        number = error.number
    assert number == 7


@given(st.text(st.characters(exclude_characters="\n", exclude_categories=("Cs",)), min_size=1))
def test_whatever_is_typed_arrives(text: str):
    """A message without a line break, a token or brackets is said as it was typed."""
    if not text.strip() or " \\n" in text or text.startswith("["):
        return
    assert only(f"mara> {text}").text == text
