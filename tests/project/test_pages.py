"""README and DEVELOPERS: what they name exists, and what they show is what happens."""

import re
import shlex
import tomllib
from pathlib import Path

import pytest

from bot.app import worker_of
from bot.transport.play import play_file
from bot.transport.terminal import DEMO

ROOT = Path(__file__).resolve().parents[2]
PAGES = ("README.md", "DEVELOPERS.md")
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def page(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def anchors(text: str) -> set[str]:
    """The anchors that headings get: lower case, without signs, hyphens for spaces."""
    heads = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}


@pytest.mark.parametrize("name", PAGES)
def test_links_lead_somewhere(name: str):
    """Each link inside the project leads to a file that is there, or a heading that stands."""
    broken = []
    for target in re.findall(r"\]\(([^)\s]+)\)", page(name)):
        if re.match(r"https?://|tg:", target):
            continue
        path, _, anchor = target.partition("#")
        to = (ROOT / name).parent / path if path else ROOT / name
        if not to.exists() or (anchor and anchor not in anchors(to.read_text(encoding="utf-8"))):
            broken.append(target)
    assert broken == []


@pytest.mark.parametrize("name", PAGES)
def test_paths_exist(name: str):
    """Each path of ours in backticks is there, unless the line says that it comes later."""
    missing = []
    for line in page(name).splitlines():
        for path in re.findall(r"`((?:bot|planner|storage|tests|deploy|\.ci)/[\w./-]*)`", line):
            if not (ROOT / path).exists() and "later" not in line:
                missing.append(path)
    assert missing == []


@pytest.mark.parametrize("name", PAGES)
def test_commands_exist(name: str):
    """Each script that a block of commands starts is there."""
    commands = [
        shlex.split(line, comments=True)
        for language, block in BLOCK.findall(page(name))
        if language == "sh"
        for line in block.splitlines()
        if line.strip()
    ]
    scripts = {word for words in commands for word in words if re.match(r"(?:deploy|\.ci)/", word)}
    assert scripts
    assert [script for script in scripts if not (ROOT / script).is_file()] == []


def test_the_readme_begins_with_the_job_and_two_commands():
    """After the title comes the job, and the first block holds the two commands and nothing more."""
    text = page("README.md")
    first = BLOCK.search(text)
    assert first is not None
    assert first[2].split() == ["deploy/run", "deploy/test"]
    opening = text[: first.start()].strip().split("\n\n")
    assert opening[0].startswith("# ")
    assert len(opening) <= 3


def test_the_readme_shows_a_conversation_that_was_played():
    """The README's conversation is the file of that name, which is tested to play to itself."""
    shown = [block for language, block in BLOCK.findall(page("README.md")) if language == "chat"]
    file = ROOT / "tests" / "bot" / "conversations" / "readme.chat"
    remark, _, played = file.read_text(encoding="utf-8").partition("\n")
    assert remark.startswith("# ")
    assert shown == [played]


def test_the_demo_plays_to_itself():
    """The demo conversation holds what the bot says to it today."""
    played = bytearray()
    assert play_file(DEMO, make_worker=worker_of, write=played.extend) == 0
    assert played.decode() == DEMO.read_text(encoding="utf-8")


def test_the_readme_says_who_it_is_for_and_what_nobody_has_reviewed():
    """The cautions that nobody may miss stand in the README."""
    text = " ".join(page("README.md").split())
    for said in (
        "trained divers with a trained buddy",
        "not medical advice",
        "No physician has reviewed",
        "local emergency",
        "house rule",
    ):
        assert said in text


def test_every_setting_is_explained():
    """The README names each setting that the bot reads from its environment."""
    from bot.settings import Settings

    prefix = str(Settings.model_config["env_prefix"])
    names = {prefix.upper() + field.upper() for field in Settings.model_fields}
    assert names
    assert {name for name in names if name not in page("README.md")} == set()


def test_developers_page_keeps_its_order():
    """The sections of the developers' page come in the agreed order."""
    heads = re.findall(r"^## (.+)$", page("DEVELOPERS.md"), re.MULTILINE)
    assert heads == [
        "The house in one breath",
        "Ten minutes to a green run",
        "Where does my change go?",
        "Glossary",
        "How to write a formula, a rule, a talk, a migration",
        "Errors and refusals",
        "Tests",
        "What we don't do, and why",
        "Decisions",
        "Deploy and restore",
    ]


def test_conversations_and_words_are_shipped_with_the_packages():
    """Whatever data file a package reads is named in its package data."""
    shipped = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = shipped["tool"]["setuptools"]["package-data"]["*"]
    data = {
        path.suffix
        for room in ("bot", "planner", "storage")
        for path in (ROOT / room).rglob("*")
        if path.is_file() and path.suffix not in {".py", ".pyc"}
    }
    assert {f"*{suffix}" for suffix in data} <= set(patterns)
