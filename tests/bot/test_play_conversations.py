"""Conversations as files: each plays to itself, and holds what it says must and must not be said."""

import re
from pathlib import Path

import pytest

from bot.app import worker_of
from bot.charts import DebriefData, draw
from bot.transport.chatfile import INDENT, Act, Step, read_chat
from bot.transport.play import play_file
from bot.transport.terminal import DEMO
from storage.outcome import Picture

FILES = sorted((Path(__file__).parent / "conversations").glob("*.chat"))
EXPECTATION = re.compile(r"([+=-]) (\w+): (.+)")
MESSAGE = re.compile(r"bot(?:@([\w-]+))?> ?(.*)")


def played(file: Path) -> str:
    out = bytearray()
    assert play_file(file, make_worker=worker_of, write=out.extend) == 0
    return out.decode()


def messages(lines: list[Step]) -> list[tuple[str, str]]:
    """Recipient and words of each message in some printed lines, a message as one line."""
    said: list[tuple[str, str]] = []
    for step in lines:
        if match := MESSAGE.fullmatch(step.line):
            said.append((match[1] or "group", match[2]))
        elif step.line.startswith(INDENT) and said:
            said[-1] = (said[-1][0], f"{said[-1][1]} {step.line.strip()}")
    return said


def fell_short(output: str) -> list[str]:
    """The expectations in a printed conversation that what was said there does not meet."""
    short = []
    run: list[Step] = []
    for step in read_chat(output.encode()):
        expects = EXPECTATION.fullmatch(step.line)
        if step.act is Act.BOT:
            run.append(step)
        elif expects is not None:
            sign, who, pattern = expects.groups()
            texts = [text for to, text in messages(run) if who in ("any", to)]
            met = (
                len(texts) == int(pattern)
                if sign == "="
                else any(re.search(pattern, text, re.I) for text in texts) == (sign == "+")
            )
            if not met:
                short.append(f"line {step.number}: {step.line}: {texts}")
        elif step.act is not Act.KEEP:
            run = []
    return short


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_a_conversation_plays_to_itself(file: Path):
    """What the file says the bot said is what it says."""
    assert played(file).splitlines() == file.read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_a_conversation_holds_what_it_expects(file: Path):
    """After each input comes what must come, and nothing that must not."""
    assert fell_short(file.read_text(encoding="utf-8")) == []


def test_the_pictures_of_a_conversation_can_be_drawn():
    """What the talk hands over for a debrief's picture is what the drawing reads."""
    pictures: list[Picture] = []
    assert play_file(DEMO, make_worker=worker_of, write=len, look_at=pictures.append) == 0
    assert pictures
    for picture in pictures:
        data = DebriefData.model_validate_json(picture.data)
        assert data.dives
        assert data.diver
        assert draw(picture).startswith(b"\x89PNG")


def test_an_expectation_that_is_not_met_is_found():
    """The reading of expectations finds a missing message, a forbidden one and a wrong number."""
    output = (
        "mara> a\nbot> one\n     two\nbot@mara> three\n"
        "+ group: one two\n+ mara: group\n- any: THREE\n= group: 2\n= any: 2\n"
        "mara> b\n- any: .\n+ group: one\n"
    )
    assert [line.split(":")[0] for line in fell_short(output)] == [
        f"line {n}" for n in (6, 7, 8, 12)
    ]
