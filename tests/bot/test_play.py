"""Playing a conversation: the real store and worker, with small hand-written answers behind them."""

import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest

from bot.app import Functions, Worker
from bot.heard import Heard, Kind
from bot.shorthand.reading import Reading
from bot.transport import terminal
from bot.transport.play import play_file
from planner.agenda import Due, DueKind
from planner.record import DiverRecord, Ping
from storage.outcome import Delivery, Key, Letter, Outcome, Picture, Room
from storage.store import Store

HEAD = "group  Tuesday line, Europe/Lisbon\nclock  2026-05-05 08:30\n"
Answer = Callable[[Heard, Room], Outcome]


def say(*letters: Letter) -> Outcome:
    return Outcome(letters=letters)


def echo(heard: Heard, room: Room) -> Outcome:
    """Repeats what was heard, with all that can be told from it."""
    who = room.members[heard.sender]
    parts = [who.name, heard.kind.value, heard.text.replace("\n", "/")]
    if heard.edit:
        parts.append(f"version {heard.edit}")
    if heard.reply_to_sender:
        parts.append(f"to {room.members[heard.reply_to_sender].name}")
    if who.is_admin:
        parts.append("admin")
    if heard.is_command_for_us:
        parts.append("command")
    parts.append(f"{heard.sent_at:%d %H:%M}")
    return say(Letter(to=heard.chat, text=" | ".join(parts)))


def worker(answer: Answer, store: Store, translate) -> Worker:
    """The real worker; a Ping fact wants an EVE row 40 minutes later, which then greets the diver."""

    def answered(
        heard: Heard, said: tuple[Reading, ...], *, room: Room, records: Mapping[str, DiverRecord]
    ) -> Outcome:
        return answer(heard, room)

    def fall_due(
        due: Due, *, room: Room, records: Mapping[str, DiverRecord], at: datetime
    ) -> Outcome:
        return say(Letter(to=f"p:{due.diver}", text=f"due {due.at:%H:%M}, said {at:%H:%M}"))

    def agenda(record: DiverRecord, at: datetime) -> tuple[Due, ...]:
        return tuple(
            Due(
                kind=DueKind.EVE,
                diver=record.diver,
                about=str(n),
                at=ping.happened_at + timedelta(minutes=40),
                stale_at=ping.happened_at + timedelta(days=1),
            )
            for n, ping in enumerate(record.of(Ping))
        )

    return Worker(
        store,
        translate,
        Functions(
            parse=lambda text, names: (),
            answer=answered,
            fall_due=fall_due,
            agenda=agenda,
            sorry=lambda heard: (Letter(to=heard.chat, text="sorry"),),
        ),
    )


def remind(heard: Heard, room: Room) -> Outcome:
    from planner.record import Origin

    ping = Ping(
        diver=heard.sender,
        happened_at=heard.now,
        said_at=heard.now,
        by=heard.sender,
        origin=Origin(chat=heard.chat, message=heard.message),
        on=True,
    )
    return Outcome(facts=(ping,))


def offer(heard: Heard, room: Room) -> Outcome:
    """A board in a slot with two buttons; a press replaces it."""
    if heard.kind is Kind.PRESS:
        assert heard.button is not None
        fresh = "fresh" if heard.button.fresh else "used"
        name = room.members[heard.sender].name
        return say(Letter(to=heard.chat, text=f"{fresh} {heard.text} by {name}", slot="board"))
    keys = tuple(
        Key(label=label, says=says, diver=heard.sender, may_press=(heard.sender,))
        for label, says in (("12 ok", "exh 12 ok"), ("stop…", "stop"))
    )
    return say(Letter(to=heard.chat, text="Next: 12 m.", keys=(keys,), slot="board"))


class Played:
    """A file in a folder, played; its lines as printed."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "some.chat"
        self.printed = b""

    def __call__(self, text: str, answer: Answer = echo, *, rewrite: bool = False) -> list[str]:
        self.path.write_bytes(text.encode())
        self.printed = b""
        self.code = play_file(
            self.path, make_worker=partial(worker, answer), write=self._write, rewrite=rewrite
        )
        return self.printed.decode().split("\n")[:-1]

    def _write(self, line: bytes) -> None:
        self.printed += line


@pytest.fixture
def played(tmp_path: Path) -> Played:
    return Played(tmp_path)


def test_input_is_repeated_and_answers_come_below_it(played: Played):
    """Lines of the file are printed as they stand, each with what the bot says right under it."""
    text = f"# A remark.\n{HEAD}\nmara>  exh  7 ok \n+ group: exh\nana@bot> goal 44\n"
    assert played(text) == [
        "# A remark.",
        *HEAD.splitlines(),
        "",
        "mara>  exh  7 ok ",
        "bot> mara | message |  exh  7 ok  | 05 07:30",
        "+ group: exh",
        "ana@bot> goal 44",
        "bot@ana> ana | message | goal 44 | 05 07:30",
    ]
    assert played.code == 0


def test_a_played_file_plays_to_itself(played: Played):
    """What a play prints, played again, prints the same."""
    text = (
        f"{HEAD}\nadmin ana\nmara> [12 ok]\nmara> a \\n b\nana^ stop\nmara~ c\nmara@bot> x\n"
        "- any: nothing\noffline\nclock +40m\nana> late\nonline\n# the end\n"
    )
    played(text)
    first = played.printed
    played(first.decode())
    assert played.printed == first


def test_rewriting_puts_the_answers_into_the_file(played: Played):
    """With --rewrite the file becomes what was printed, and old answers are gone from it."""
    played(f"{HEAD}mara> a\nbot> something old\n     [old]\n", rewrite=True)
    assert played.path.read_bytes() == played.printed
    assert b"old" not in played.printed
    assert b"bot> mara | message | a" in played.printed


def test_without_rewriting_the_file_stays(played: Played):
    """A play alone changes no file and leaves nothing beside it."""
    text = f"{HEAD}mara> a\nbot> something old\n"
    played(text)
    assert played.path.read_text() == text
    assert [p.name for p in played.path.parent.iterdir()] == ["some.chat"]


def test_edits_replies_and_admins_arrive(played: Played):
    """An edit is the next version of her last message, a reply knows whom it answers."""
    lines = played(
        f"{HEAD}admin mara\nmara> 11 ok\nana> hm\nmara~ exh 11 ok\nmara^ stop \\n cold\n"
    )
    assert lines[-1] == "bot> mara | message | stop/cold | to ana | admin | 05 07:30"
    assert "bot> mara | edit | exh 11 ok | version 1 | admin | 05 07:30" in lines


def test_an_edit_that_changes_nothing_is_not_heard(played: Played):
    """The same text again is no edit."""
    lines = played(f"{HEAD}mara> 11 ok\nmara~ 11 ok\n")
    assert [line for line in lines if line.startswith("bot")] == [
        "bot> mara | message | 11 ok | 05 07:30"
    ]


def test_slash_words_are_ours_or_anothers(played: Played):
    """A slash word is a command, with our name too; another bot's is not heard."""
    lines = played(f"{HEAD}mara> /next@OurBot now\nmara> /next@other_bot\n")
    assert [line for line in lines if line.startswith("bot")] == [
        "bot> mara | message | /next now | command | 05 07:30"
    ]


def test_who_has_not_written_in_private_is_not_reached_there(played: Played):
    """A private letter arrives only at somebody who has opened a private chat."""
    seen = []

    def whisper(heard: Heard, room: Room) -> Outcome:
        seen.append(room.members[heard.sender].can_dm)
        return say(Letter(to=f"p:{heard.sender}", text="psst"))

    lines = played(f"{HEAD}mara> a\nmara@bot> b\nmara> c\n", whisper)
    assert [line for line in lines if line.startswith("bot")] == ["bot@mara> psst"] * 2
    assert seen == [False, True, True]


def test_buttons_are_shown_and_pressed(played: Played):
    """A press finds the bot's last message with that label, and says what its button stands for."""
    lines = played(f"{HEAD}mara> next\nmara> [12 ok]\n", offer)
    assert lines[2:] == [
        "mara> next",
        "bot> Next: 12 m.",
        "     [12 ok] [stop…]",
        "mara> [12 ok]",
        "bot> fresh exh 12 ok by mara",
        "     (edited)",
    ]


def test_a_replaced_message_has_no_old_buttons(played: Played):
    """Once a message was replaced, a press on one of its old buttons finds nothing."""
    lines = played(f"{HEAD}mara> next\nmara> [12 ok]\nmara> [12 ok]\n", offer)
    assert lines[-1] == "     (no such button)"


def test_a_button_of_another_chat_is_not_found(played: Played):
    """Buttons in the group can't be pressed in private."""
    assert played(f"{HEAD}mara> next\nmara@bot> [12 ok]\n", offer)[-1] == "     (no such button)"


def test_dots_are_pressed_as_well_as_an_ellipsis(played: Played):
    """`[stop...]` presses the button that reads `stop…`."""
    assert "bot> fresh stop by mara" in played(f"{HEAD}mara> next\nmara> [STOP...]\n", offer)


def test_what_falls_due_is_said_at_its_own_moment(played: Played):
    """Moving the clock fires each row at its time, in order, and nothing early."""
    text = f"{HEAD}mara@bot> a\nclock +10m\nmara@bot> b\nclock +29m\nclock +30m\nclock +2h\n"
    lines = played(text, remind)
    assert lines[6:] == [
        "clock +30m",
        "bot@mara> due 08:10, said 08:10",
        "bot@mara> due 08:20, said 08:20",
        "clock +2h",
    ]


def test_a_bot_that_was_down_says_what_is_due_when_it_is_back(played: Played):
    """While offline nothing is said; back, messages arrive with their own times, then what is due."""
    text = f"{HEAD}mara@bot> a\noffline\nclock +20m\nmara@bot> b\nclock +40m\nonline\n"
    lines = played(text, remind)
    assert lines[3:] == [
        "offline",
        "clock +20m",
        "mara@bot> b",
        "clock +40m",
        "online",
        "bot@mara> due 08:10, said 08:30",
    ]


def test_messages_sent_while_the_bot_was_down_keep_their_time(played: Played):
    """A message written while the bot was down has the time at which it was written."""
    lines = played(f"{HEAD}offline\nmara> a\nclock +8m\nana> b\nclock +8m\nonline\n")
    assert lines[-2:] == ["bot> mara | message | a | 05 07:30", "bot> ana | message | b | 05 07:38"]


def test_pictures_documents_and_reactions_have_their_lines(played: Played):
    """What is no text stands in brackets under its message; a reaction stands alone."""

    def all_of_it(heard: Heard, room: Room) -> Outcome:
        return say(
            Letter(
                to=heard.chat,
                text="Debrief\n\nline two",
                picture=Picture(kind="debrief", data=json.dumps({"dives": []})),
            ),
            Letter(to=heard.chat, text="", document=("log.csv", "a,b")),
            Letter(to=heard.chat, text="", reaction="👍", reply_to=heard.message),
        )

    assert played(f"{HEAD}mara> a\n", all_of_it)[3:] == [
        "     (reaction 👍)",
        "bot> Debrief",
        "     line two",
        "     (picture: debrief)",
        "bot>",
        "     (document: log.csv)",
    ]


def test_help_is_printed_before_anything_else(played: Played):
    """Of several letters the help text comes first."""

    def two(heard: Heard, room: Room) -> Outcome:
        return say(
            Letter(to=heard.chat, text="an answer"),
            Letter(to=heard.chat, text="help", delivery=Delivery.HELP),
        )

    assert played(f"{HEAD}mara> a\n", two)[3:] == ["bot> help", "bot> an answer"]


def test_what_the_bot_repeats_steers_no_terminal(played: Played):
    """Control characters in an answer are made visible, in an input line they stay."""
    lines = played(f"{HEAD}mara> a\x1b[2Jb\x07\n")
    assert lines[2] == "mara> a\x1b[2Jb\x07"
    assert lines[3].startswith("bot> mara | message | a\ufffd[2Jb\ufffd |")


@pytest.mark.parametrize(
    ("text", "number"),
    [
        (HEAD + "mara> a\nwhat is this\n", 4),
        ("mara> a\n" + HEAD, 1),
        ("clock  2026-05-05 08:30\n", 1),
        ("group  A, Europe/Lisbon\nclock +5m\n", 2),
        (HEAD + "group  B, Europe/Lisbon\n", 3),
        (HEAD + "clock 2026-05-05 08:29\n", 3),
        (HEAD + "mara~ a\n", 3),
        (HEAD + "mara> a\nmara^ b\n", 4),
    ],
)
def test_a_line_that_cannot_be_played_ends_with_its_number(
    played: Played, capsys: pytest.CaptureFixture[str], text: str, number: int
):
    """The exit code is 2 and the message names the file and the line."""
    played(text, rewrite=True)
    assert played.code == 2
    assert f"some.chat: line {number}: " in capsys.readouterr().err
    assert played.path.read_text() == text


def test_a_file_that_is_not_there_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """A missing file ends with exit code 2 and its name."""
    assert play_file(tmp_path / "none.chat", make_worker=partial(worker, echo)) == 2
    assert "none.chat" in capsys.readouterr().err


def typed_into(tmp_path: Path, *typed: str | None, minutes: float = 0) -> list[str]:
    """What a terminal shows after the demo, where each line takes so many minutes to type."""
    demo = tmp_path / "demo.chat"
    demo.write_text(f"{HEAD}mara@bot> a\n")
    shown: list[bytes] = []
    ticks = (datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes * n) for n in range(99))
    code = terminal.run(
        make_worker=partial(worker, remind),
        clock=lambda: next(ticks),
        typed=typed,
        demo=demo,
        write=shown.append,
    )
    assert code == 0
    return b"".join(shown).decode().split("Ctrl-D.\n")[1].splitlines()


def test_on_a_terminal_what_falls_due_appears_by_itself(tmp_path: Path):
    """The clock runs on while nobody types, and what is due is said then."""
    assert typed_into(tmp_path, None, None, None, minutes=15) == ["bot@mara> due 08:10, said 08:10"]


def test_on_a_terminal_the_clock_can_be_moved(tmp_path: Path):
    """A clock line moves time ahead there too."""
    assert typed_into(tmp_path, "clock +40m") == ["bot@mara> due 08:10, said 08:10"]


def test_on_a_terminal_a_bad_line_is_told_and_the_next_one_counts(tmp_path: Path):
    """What can't be read is said in brackets, and typing goes on."""
    lines = typed_into(tmp_path, "exh 7 ok", "", "bot> hm", "nils@bot> hi", "clock +40m")
    assert [line[0] for line in lines] == ["(", "(", "b", "b"]
    assert lines[-1].startswith("bot@nils> due")
