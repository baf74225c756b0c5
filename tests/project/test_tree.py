"""The project as a folder: what lies where, and what no file may say."""

import ast
import os
import re
import subprocess
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "bot",
    "planner",
    "storage",
    "tests",
    "deploy",
}
GENERATED = re.compile(r".*\.egg-info|build|mutants|__pycache__")
MUCH_OVER_400 = 480
SCRIPTS = ("run", "test", "check", "backup", "restore", "mutate", "learn")


@cache
def files() -> tuple[Path, ...]:
    """Every text file of the project, caches and environments left out."""
    found = []
    for folder, folders, names in os.walk(ROOT):
        folders[:] = [
            f
            for f in folders
            if f == ".ci" or (not f.startswith(".") and not GENERATED.fullmatch(f))
        ]
        found += [Path(folder, name) for name in names]
    binary = {".png", ".pyc", ".db", ".sqlite"}
    return tuple(
        sorted(
            f for f in found if f.suffix not in binary and not f.name.startswith((".git", ".cov"))
        )
    )


def modules(*rooms: str) -> Iterator[Path]:
    """The Python modules of some rooms."""
    return (f for f in files() if f.suffix == ".py" and f.relative_to(ROOT).parts[0] in rooms)


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def shown(path: Path, line: int = 0) -> str:
    return f"{path.relative_to(ROOT)}:{line}"


def test_the_top_level_is_exactly_the_house():
    """At the top lie the rooms, two pages, the licence and the project file, and nothing else."""
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert {name for name in found if not GENERATED.fullmatch(name)} == TOP


# Each pattern is written so that it does not match itself.
FORBIDDEN = {
    "an address of a package index": r"(?:index-ur[l]|extra-inde[x]|https?://[^\s\"']*/simpl[e]|pypi\.or[g]|pythonhoste[d])",
    "a path of some machine": r"(?<![\w.])/(?:tm[p]/w|wor[k]|roo[t]|hom[e])/",
    "a loose end": r"\b(?:TOD[O]|FIXM[E]|XX[X])\b",
    "a key": r"\b\d{8,10}:[A-Za-z0-9_-]{35}\b",
}


@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_file_holds_what_it_should_not(what: str):
    """No file names a package index, a machine's path or a key, and none is left half done."""
    pattern = re.compile(FORBIDDEN[what])
    hits = [
        shown(path, number)
        for path in files()
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if pattern.search(line)
    ]
    assert hits == []


def test_the_patterns_find_what_they_are_for():
    """Each forbidden thing, put together here, is found by its pattern."""
    examples = {
        "an address of a package index": "https://" + "example.org/simple/",
        "a path of some machine": "open('/ho" + "me/me/x')",
        "a loose end": "# TO" + "DO: later",
        "a key": "123456789:" + "A" * 35,
    }
    assert examples.keys() == FORBIDDEN.keys()
    assert [what for what, text in examples.items() if not re.search(FORBIDDEN[what], text)] == []


def test_no_module_is_much_over_400_lines():
    """A module that grows past its room is split."""
    long = {
        shown(path): lines
        for path in modules("bot", "planner", "storage")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > MUCH_OVER_400
    }
    assert long == {}


def test_no_module_is_named_after_nothing():
    """No module is called utils, helpers, types or services."""
    vague = {"utils", "util", "helpers", "types", "services", "common", "misc"}
    assert [shown(p) for p in modules("bot", "planner", "storage") if p.stem in vague] == []


def test_only_app_reads_the_clock():
    """Nothing but bot/app.py asks what time it is; all others are told."""
    asking = {"now", "utcnow", "today"}
    hits = [
        shown(path, node.lineno)
        for path in modules("bot", "planner", "storage")
        if path != ROOT / "bot" / "app.py"
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
        and (
            (node.func.attr in asking and node.func.value.id in {"datetime", "date"})
            or (node.func.attr == "time" and node.func.value.id == "time")
        )
    ]
    assert hits == []


def test_pyplot_is_imported_nowhere():
    """Pictures are drawn on a Figure of their own: pyplot keeps state for the whole process."""
    hits = [
        shown(p) for p in modules("bot") if "matplotlib.pyplot" in p.read_text(encoding="utf-8")
    ]
    assert hits == []


Function = ast.FunctionDef | ast.AsyncFunctionDef


def functions(path: Path) -> Iterator[Function]:
    return (n for n in ast.walk(tree_of(path)) if isinstance(n, Function))


def called(function: Function) -> set[str]:
    """The names that a function calls, without what they stand on."""
    names = set()
    for node in ast.walk(function):
        if isinstance(node, ast.Call):
            match node.func:
                case ast.Name(id=name) | ast.Attribute(attr=name):
                    names.add(name)
    return names


def checks_itself(function: Function) -> bool:
    """Whether it can fail: an assert, an expected error, a wait that runs out, a process's exit."""
    return (
        any(isinstance(node, ast.Assert) for node in ast.walk(function))
        or bool(called(function) & {"raises", "fail", "wait_for", "until"})
        or any(
            isinstance(node, ast.keyword)
            and node.arg == "check"
            and getattr(node.value, "value", 0) is True
            for node in ast.walk(function)
        )
    )


def each_test() -> Iterator[tuple[Path, Function]]:
    for path in modules("tests"):
        if path.name.startswith("test_"):
            yield from ((path, f) for f in functions(path) if f.name.startswith("test_"))


def test_every_test_says_in_a_sentence_what_holds():
    """Each test carries one sentence, which ends with a full stop."""
    silent = [
        shown(path, f.lineno)
        for path, f in each_test()
        if not re.fullmatch(r"[^\n](?:(?!\.\s+[A-Z]).)*\.", ast.get_docstring(f) or "", re.DOTALL)
    ]
    assert silent == []


def test_every_test_can_fail():
    """Each test asserts something, itself or through a function of the tests that does."""
    checking = {f.name for p in modules("tests") for f in functions(p) if checks_itself(f)}
    idle = [
        shown(path, f.lineno)
        for path, f in each_test()
        if not checks_itself(f) and not called(f) & checking
    ]
    assert idle == []


def test_nothing_is_mocked():
    """Tests use the real parts or fakes written by hand: no mocks, nothing patched into place."""
    patching = re.compile(
        r"unittest\.moc[k]|from unittest import moc[k]|monkeypatch\.setatt[r]|\bmocke[r]\b"
    )
    hits = [shown(p) for p in modules("tests") if patching.search(p.read_text(encoding="utf-8"))]
    assert hits == []


@pytest.mark.parametrize("name", SCRIPTS)
def test_every_script_is_there_and_reads(name: str):
    """Each script of deploy/ can be started, and bash understands it."""
    script = ROOT / "deploy" / name
    assert os.access(script, os.X_OK)
    subprocess.run(["bash", "-n", script], check=True, timeout=20)


def test_versions_are_pinned_by_name_alone():
    """The constraints are names with versions, without addresses, and cover what the project asks for."""
    lines = (ROOT / "deploy" / "constraints.txt").read_text(encoding="utf-8").split()
    assert [
        line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.+!]+", line)
    ] == []
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = project["dependencies"] + project["optional-dependencies"]["test"]
    plain = {re.sub(r"[-_.]+", "-", line.partition("==")[0]).lower() for line in lines}
    assert {re.split(r"[<>=!~\[ ]", a)[0].lower() for a in asked} - plain == set()
