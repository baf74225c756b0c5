"""Hostile and broken messages, as the messenger would bring them: a clear answer or silence, and no fact."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from tests.bot.whole.raw import GROUP, Json, group

HOSTILE = [
    "exh 1e1 ok", "exh 1_2 ok", "exh 8² ok", "exh nan ok", "exh inf ok", "exh -3 ok", "exh 0 ok",
    "exh 700 ok", "exh 201 ok", "exh 999999999999999999999999 ok", "exh 12.5.5 ok", "exh ٨ ok",
    "exh ８ ok", "exh ½ ok", "exh 8 ok\u202e", "ex\u200bh 8 ok", "exh 8\u200d ok", "exh 8\x00 ok", "exh 8\x1b[31m ok",
    "exh 8 ok 99:99", "exh 8 ok 25:00", "exh 8 ok 9:99", "exh 12 of 9 ok", "exh 9/14 ok", "exh 12, 5 ok",
    "exh 9x8 ok", "exh 0x8 ok", "exh 8 ok hard", "exh 8 okk", "exh 8 fill 9 ok", "exh 8 fill nan ok",
    "exh 8 ok'; DROP TABLE fact; --", "exh 8 ok\" OR 1=1", "exh {depth} ok", "exh %s%s%n ok", "exh ${8} ok",
    "exh {{7*7}} ok", "exh <b>8</b> ok", "exh 8 ok <script>alert(1)</script>", "exh [8](tg://user?id=1) ok",
    "exh *8* _ok_ `x`", "exh 8 maybe ok", "exh 8 perhaps", "exh ok", "exh", "frc", "rv ok ok",
    "for nobody exh 8 ok", "fix", "fix banana", "*", "*banana", "pb 5000", "pb nan", "goal -3", "goal 45 by 2026-99-99",
    "base frc 18 2099-01", "base rv 5 yesterday", "me f 34y 9cm", "me x 34y 172cm", "zone Mars/Olympus",
    "site lava", "cleared tomorrow", "allow", "add", "exh " + "8" * 4000 + " ok", "exh " + "ok " * 1300,
    "8 ok?", "/exh@OtherBot 8 ok", "/next@OtherBot", "/unknown 8", "/log@OtherBot exh 8 ok", "🤿" * 2000, "\u0000", "\u202e\u202d", "exh ?",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_a_hostile_line_writes_no_dive(tmp_path: Path, text: str) -> None:
    """A broken or hostile line never becomes a dive or a profile; it is asked about, told, or left alone."""
    with group(tmp_path) as raw:
        before = raw.facts()
        said = raw.says(text)
        after = raw.facts()
        assert [f for f in after if f != "Asked"] == [f for f in before if f != "Asked"]
        assert not any("· clean ·" in s for s in said)
        # the bot is alive and still takes a good report
        raw.at += timedelta(minutes=6)
        assert any("FRC 6.5 m · clean" in s for s in raw.says("exh 6.5 ok"))


FIGURES = ("NaN", "1e400", "-0", "0x10", "１２", "9" * 400)


@pytest.mark.parametrize("figure", FIGURES)
@pytest.mark.parametrize(
    "line", ["pb {}", "goal {}", "tlc {}", "rv {}", "mouth {}ml", "base frc {} 2026-04"]
)
def test_a_broken_figure_is_never_kept(tmp_path: Path, line: str, figure: str) -> None:
    """No figure that is no plain number is kept in a profile, and the answer says something."""
    with group(tmp_path) as raw:
        before = [f for f in raw.facts() if f != "Asked"]
        said = raw.says(line.format(figure), chat=7)
        assert [f for f in raw.facts() if f != "Asked"] == before
        assert said


def test_another_divers_button_logs_nothing(tmp_path: Path) -> None:
    """Noor presses Mara's button: nothing is recorded for either."""
    with group(tmp_path) as raw:
        before = raw.facts()
        raw.presses(raw.buttons["7 ok"], user=8)
        assert raw.facts() == before
        assert raw.store.facts_of("t8") == ()


@pytest.mark.parametrize(
    "data", ["forged", "", "7 ok", "'; DROP TABLE key; --", "A" * 64, "\u202e"]
)
def test_a_forged_button_logs_nothing(tmp_path: Path, data: str) -> None:
    """A press with data that the bot never gave is nothing."""
    with group(tmp_path) as raw:
        before = raw.facts()
        raw.presses(data or " ")
        assert raw.facts() == before


def test_a_button_works_once(tmp_path: Path) -> None:
    """A second press of a button, or of its neighbour, records nothing more."""
    with group(tmp_path) as raw:
        one, other = raw.buttons["7 ok"], raw.buttons["7 hard"]
        raw.presses(one)
        before = raw.facts()
        raw.presses(one)
        raw.presses(other)
        assert raw.facts() == before


FOREIGN: list[tuple[str, Json]] = [
    ("forward", {"forward_origin": {"type": "user", "date": 1, "sender_user": {"id": 8, "is_bot": False, "first_name": "N"}}}),
    ("hidden forward", {"forward_origin": {"type": "hidden_user", "date": 1, "sender_user_name": "N"}}),
    ("via another bot", {"via_bot": {"id": 5, "is_bot": True, "first_name": "b", "username": "b_bot"}}),
    ("a channel's voice", {"sender_chat": {"id": -1009, "type": "channel", "title": "c"}}),
    ("an anonymous admin", {"sender_chat": {"id": GROUP, "type": "supergroup", "title": "Line"}, "from": {"id": 1087968824, "is_bot": True, "first_name": "Group"}}),
    ("another bot", {"from": {"id": 6, "is_bot": True, "first_name": "b"}}),
]  # fmt: skip


@pytest.mark.parametrize(("what", "extra"), FOREIGN, ids=[w for w, _ in FOREIGN])
def test_what_no_diver_said_is_no_report(tmp_path: Path, what: str, extra: Json) -> None:
    """Forwards, other bots, channels and anonymous admins log nothing for anybody."""
    with group(tmp_path) as raw:
        before = raw.facts()
        said = raw.says("exh 8 ok", **extra)
        assert raw.facts() == before
        assert not any("clean" in s for s in said), what


def test_a_channel_post_is_left_alone(tmp_path: Path) -> None:
    """A post in a channel is no message of a group."""
    with group(tmp_path) as raw:
        before = raw.facts()
        body = raw.message("exh 8 ok") | {"chat": {"id": -1009, "type": "channel", "title": "c"}}
        assert raw.push("channel_post", body) == []
        assert raw.facts() == before


def test_an_edit_of_a_message_nobody_heard_is_left_alone(tmp_path: Path) -> None:
    """An edit of a message from before the bot came records nothing."""
    with group(tmp_path) as raw:
        before = raw.facts()
        old = raw.message("exh 8 ok") | {"message_id": 3, "edit_date": int(raw.at.timestamp())}
        assert raw.push("edited_message", old) == []
        assert raw.facts() == before


@pytest.mark.parametrize(
    "body", ["", "{}", "[]", "null", "not json", '{"update_id": 5}', '{"update_id": 6, "poll": {}}']
)
def test_an_unreadable_update_blocks_nobody(tmp_path: Path, body: str) -> None:
    """A row that can't be read is set aside; the next message is answered."""
    from storage.store import Incoming

    with group(tmp_path) as raw:
        raw.store.receive([Incoming(body=body, received_at=raw.at)])
        assert any("FRC 6.5 m · clean" in s for s in raw.says("exh 6.5 ok"))
        json.dumps(raw.facts())
