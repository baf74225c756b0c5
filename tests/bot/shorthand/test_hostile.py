"""Broken, huge and hostile messages: each is asked about or left alone, and none is recorded."""

import pytest

from bot.shorthand import Chatter, Command, Doubt, Report, Unclear
from planner.record import Ending
from tests.bot.shorthand.telling import read

LEFT_ALONE = [
    "",
    " ",
    "\n\n\n",
    "\t",
    "\x00",
    "\x00\x01\x02\x03",
    "\ufeff",
    "\u200b\u200b",
    "\u202e\u202d\u2066\u2069",
    "\ud800",
    "🏽",
    "\u200d",
    "👨‍👩‍👧‍👦",
    "a" * 4096,
    "9" * 4096,
    "-" * 4096,
    "(" * 4096,
    "👍x" * 1000,
    "#" * 4096,
    "/" * 4096,
    "@" * 4096,
    ":" * 4096,
    "' OR 1=1; --",
    "'; DROP TABLE facts; --",
    'Robert"); DROP TABLE members;--',
    "<b>ok</b>",
    "<script>alert(12)</script>",
    "</code><a href='x'>12</a>",
    "&lt;b&gt; 12 &amp; ok",
    "**bold** and _more_",
    "{name} {0} {__class__}",
    "%s %d %n %x",
    "%(depth)s",
    "${jndi:ldap://x/12}",
    "$(reboot)",
    "`id`",
    "../../etc/passwd",
    "file:///etc/passwd",
    "tg://user?id=12",
    "https://example.org/?depth=12&ok=1",
    '{"exercise": "frc", "depth": 12, "ok": true}',
    "exercise=frc&depth=12",
    "NaN",
    "Infinity",
    "null",
    "None ok",
    "1e400",
    "0x0c",
    "０",
    "/start@OtherBot payload",
    "/next@",
    "/@OurBot",
    "//next",
    "/rm -rf 12 ok",
    "[12 ok]()",
    "*",
    "**",
    "* * *",
    "*__import__('os')",
    "fix __import__('os')",
    "add ../../x",
    "add <b>noor</b>",
    "for " * 1000,
    "for for for for",
    "for 💥 8 kg",
    "then then then then",
    "x x x x",
    "2x",
    "x8",
    "9x",
    "of of of",
    "mf mf mf",
    "share " + "on " * 500,
    "feel free " + "ok " * 900,
    "next " * 800,
    "12 " * 1300,
    "06 12 34 56 78",
    "12 34",
    "ok " * 1300 + "12 people",
]

ASKED = {
    "exh " + "9" * 4000 + " ok": Doubt.NUMBER_FORM,
    "exh 99999999 ok": Doubt.NUMBER_FORM,
    "exh 1e308 ok": Doubt.NUMBER_FORM,
    "exh NaN ok": Doubt.NUMBER_FORM,
    "exh -inf ok": Doubt.NUMBER_FORM,
    "exh 0x0c ok": Doubt.NUMBER_FORM,
    "exh 1__2 ok": Doubt.NUMBER_FORM,
    "exh 12,5,5 ok": Doubt.NUMBER_FORM,
    "exh 1.2.3.4 ok": Doubt.NUMBER_FORM,
    "exh ½ ok": Doubt.NUMBER_FORM,
    "exh Ⅻ ok": Doubt.NUMBER_FORM,
    "exh 1\u0336\u0332 ok": Doubt.NUMBER_FORM,
    "exh ١٢ ok": Doubt.NUMBER_FORM,
    "exh 𝟏𝟐 ok": Doubt.NUMBER_FORM,
    "exh 12\x00 ok": Doubt.HIDDEN,
    "exh\x0b12 ok": Doubt.HIDDEN,
    "exh 12\x85ok": Doubt.HIDDEN,
    "exh 12\u2028ok": Doubt.HIDDEN,
    "exh 12\r13 ok": Doubt.HIDDEN,
    "exh \u202e21\u202c ok": Doubt.HIDDEN,
    "exh 1\u200d2 ok": Doubt.HIDDEN,
    "exh 1\xad2 ok": Doubt.HIDDEN,
    "\ufeffexh 12 ok": Doubt.HIDDEN,
    "exh 12 o\U000e0061k": Doubt.HIDDEN,
    "exh 12 ok\ud800": Doubt.HIDDEN,
    "done\u200b": Doubt.HIDDEN,
    "exh 12 ok # \u202egnp": Doubt.HIDDEN,
    "exh -0 ok": Doubt.DEPTH_RANGE,
    "exh -12.5 ok": Doubt.DEPTH_RANGE,
    "exh 5000 ok": Doubt.DEPTH_RANGE,
    "exh 1000ft ok": Doubt.DEPTH_RANGE,
    "exh 12 of 0 ok": Doubt.DEPTH_RANGE,
    "exh 12 of -14 early": Doubt.DEPTH_RANGE,
    "exh 12 ok mf-3": Doubt.FILL_DEEPER,
    "exh 12 ok mf 5 mf 6": Doubt.TWO_NUMBERS,
    "exh 12 ok 48s 50s": Doubt.DIVE_TIME,
    "exh 12 ok 0s": Doubt.DIVE_TIME,
    "exh 12 ok 48.5s": Doubt.DIVE_TIME,
    "exh 12 ok 09:42 09:43": Doubt.CLOCK,
    "exh 12 ok 24:00": Doubt.CLOCK,
    "exh 12 ok 09:42:10": Doubt.NUMBER_FORM,
    "exh 12 ok 0000-00-00 09:42": Doubt.CLOCK,
    "99x8 ok": Doubt.TOO_MANY,
    "1.5x8 ok": Doubt.TOO_MANY,
    "-2x8 ok": Doubt.TOO_MANY,
    "exh 12 ok '; DROP TABLE dives; --": Doubt.STRANGER,
    "exh 12 ok <b>": Doubt.STRANGER,
    "exh 12 ok %s": Doubt.STRANGER,
    "exh 12 ok {0}": Doubt.NUMBER_FORM,
    "exh 12 ⁧ok": Doubt.HIDDEN,
    "exh 12 ok ok? ok": Doubt.QUESTION,
    "ехh 12 ok": Doubt.STRANGER,
    "exh 12 0k": Doubt.TYPO,
    "exh 12 " + "ok " * 100: Doubt.TOO_LONG,
    "/\u200bnext ok": Doubt.HIDDEN,
    "zone ../../../etc/localtime": Doubt.ARGUMENT,
    "me m 1e9y 1e9cm": Doubt.ARGUMENT,
    "pb 1e3": Doubt.ARGUMENT,
    "pb -38": Doubt.RANGE,
    "goal 99999": Doubt.RANGE,
    "cap 0": Doubt.RANGE,
    "site emergency <script>": Doubt.ARGUMENT,
    "site oxygen " + "x" * 500: Doubt.ARGUMENT,
    "fit buddy 12": Doubt.STRANGER,
    "base frc 18 2026-99": Doubt.ARGUMENT,
}


def test_there_are_enough_of_them():
    """The lists are long enough, and nothing stands in them twice."""
    assert len(set(LEFT_ALONE)) == len(LEFT_ALONE)
    assert len(LEFT_ALONE) + len(ASKED) >= 120


@pytest.mark.parametrize("text", LEFT_ALONE, ids=[repr(t[:30]) for t in LEFT_ALONE])
def test_what_is_nothing_of_ours_is_left_alone(text: str):
    """Noise, markup, code and the like is chatter: nothing is recorded and nothing asked."""
    assert {type(r) for r in read(text)} == {Chatter}


@pytest.mark.parametrize(("text", "doubt"), ASKED.items(), ids=[repr(t[:30]) for t in ASKED])
def test_what_may_be_ours_is_asked_about(text: str, doubt: Doubt):
    """A report or command in a broken form is asked about, for the right reason."""
    (asked,) = read(text)
    assert isinstance(asked, Unclear)
    assert asked.doubt is doubt


def test_a_message_of_many_lines_is_read_up_to_a_limit():
    """Of two thousand lines the first forty are read, and the rest is asked for in parts."""
    found = read("9 ok\n" * 2000)
    assert [type(r) for r in found] == [Report] * 40 + [Unclear]
    last = found[-1]
    assert isinstance(last, Unclear)
    assert last.doubt is Doubt.TOO_LONG
    assert {type(r) for r in read("hello\n" * 2000)} == {Chatter}


def test_a_long_note_is_kept_whole():
    """A note may be as long as a message; it is not cut and its line stays a report."""
    note = "blue water and a turtle, " * 150
    (found,) = read(f"exh 8 hard # {note}")
    assert isinstance(found, Report)
    assert found.note == note.strip()


def test_names_can_be_anything():
    """A member's name with marks, digits or a word of ours in it breaks nothing and steals no word."""
    from bot.shorthand import load_words, parse

    for name in (
        "",
        " ",
        "12",
        "ok",
        "hard",
        "#",
        "?",
        "a.b",
        "*",
        "@x",
        "Ünal",
        "for",
        "exh",
        "\u200b",
    ):
        (found,) = parse("exh 12 ok", load_words(), names=[name])
        assert isinstance(found, Report), name
        assert found.ending is Ending.CLEAN
        assert found.who is None


def test_a_members_name_is_no_command_for_them():
    """A member's name before a word of everyday talk, a question or what erases is no command."""
    for says in ("ana week", "ana done?", "ana forget all", "ana order", "ana help", "ana nxet"):
        assert not any(isinstance(r, Command) for r in read(says))


def test_a_members_name_may_stand_before_what_is_said_of_a_diver():
    """`ana: done` is `for ana done`."""
    for says in ("ana: done", "ana undo", "ana not fit", "@ana goal 45"):
        (found,) = read(says)
        assert isinstance(found, Command), says
        assert found.who == "ana"


def test_what_no_argument_fits_is_asked_and_talk_is_left_alone():
    """`fix banana`, `site lava`, `allow nobody`, `zone` are asked; `fix the rope` is talk."""
    for says in ("fix banana", "site lava", "allow nobody", "disallow me", "allow", "zone"):
        (found,) = read(says)
        assert isinstance(found, Unclear), says
        assert found.doubt is Doubt.ARGUMENT
        assert not found.is_dive
    for says in ("fix the rope", "fix it", "*banana", "site looks good", "zone is fine here"):
        assert isinstance(read(says)[0], Chatter), says
