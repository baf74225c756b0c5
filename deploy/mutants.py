"""Mutation testing of the planner: mutmut's mutants, each in a fork of one collected test session.

mutmut makes the mutants. Its own runner sends every call through a switch and collects the tests
anew for each mutant; here a fork gets the mutant's code in the place of the function's and runs the
tests that reach the changed lines, the quickest first. Functions with a decorator have no mutants.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import inspect
import json
import os
import random
import re
import select
import signal
import sys
import tempfile
import textwrap
import time
import tomllib
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass, replace
from functools import partial
from math import sqrt
from pathlib import Path
from types import CodeType, FunctionType
from typing import IO, Any, cast

ROOT = Path(__file__).resolve().parent.parent
ACCEPTED = Path(__file__).with_name("mutate-accepted.toml")
WANTED = 0.85
SEED = 20_260_501

# These simulate for seconds; what only they would notice counts as unnoticed.
TOO_SLOW = (
    "test_the_range_covers_simulated_divers_as_often_as_it_says",
    "test_predicted_volumes_lie_inside_the_gli_band_on_the_whole_grid",
    "test_long_climbs_read_alike",
)


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """One change of one function: the module's lines that it touches, and the function with it."""

    module: str
    function: str
    number: int
    was: str
    now: str
    lines: frozenset[int]
    original: str
    source: str

    @property
    def name(self) -> str:
        """As mutmut numbers them: module, function, and which of its mutants."""
        return f"{self.module}.{self.function} {self.number}"


def mutants_of(module: str, *, most: int | None) -> tuple[int, list[Mutant]]:
    """How many mutants a module has, and all of them or a seeded sample."""
    from libcst import ClassDef, FunctionDef, IndentedBlock
    from mutmut.mutation.file_mutation import create_mutations

    text = (ROOT / "planner" / f"{module}.py").read_text(encoding="utf-8")
    tree, mutations, _, _ = create_mutations(f"planner/{module}.py", text)
    called: dict[int, str] = {}
    for node in tree.body:
        if isinstance(node, FunctionDef):
            called[id(node)] = node.name.value
        elif isinstance(node, ClassDef) and isinstance(node.body, IndentedBlock):
            for inner in node.body.body:
                if isinstance(inner, FunctionDef):
                    called[id(inner)] = f"{node.name.value}.{inner.name.value}"
    numbers: Counter[str] = Counter()
    found = []
    for mutation in mutations:
        around = mutation.contained_by_top_level_function
        if around is None or id(around) not in called:
            continue
        function = called[id(around)]
        numbers[function] += 1
        found.append((function, numbers[function], mutation))
    size = len(found)
    random.Random(f"{SEED}-{module}").shuffle(found)  # a larger sample holds the smaller one
    found = found[:most]
    begins, statement = _first_lines(text), _statements(text)
    mutants = []
    for function, number, mutation in found:
        around = mutation.contained_by_top_level_function
        source = tree.code_for_node(
            around.deep_replace(mutation.original_node, mutation.mutated_node)
        )
        before, after = tree.code_for_node(around).splitlines(), source.splitlines()
        first, kept = _shared(before, after), _shared(before[::-1], after[::-1])
        kept = min(kept, len(before) - first, len(after) - first)
        last = len(before) - kept
        name = f"def {function.rpartition('.')[2]}("
        offset = begins[function] - next(
            n for n, line in enumerate(before) if line.startswith(name)
        )
        lines = {
            line
            for n in range(first, max(last, first + 1))
            for line in range(statement[offset + n], offset + n + 1)
        }
        if begins[function] in lines:  # a default: its line is reached at import alone
            lines = set(range(offset, offset + len(before)))
        mutants.append(
            Mutant(
                module=module,
                function=function,
                number=number,
                was=" ".join(line.strip() for line in before[first:last]),
                now=" ".join(line.strip() for line in after[first : len(after) - kept]),
                lines=frozenset(lines),
                original=tree.code_for_node(around),
                source=source,
            )
        )
    return size, sorted(mutants, key=lambda mutant: (mutant.function, mutant.number))


def _first_lines(text: str) -> dict[str, int]:
    """The line of each function's and method's `def`, by its dotted name."""
    found = {}
    for node in ast.parse(text).body:
        inside = node.body if isinstance(node, ast.ClassDef) else [node]
        before = f"{node.name}." if isinstance(node, ast.ClassDef) else ""
        for inner in inside:
            if isinstance(inner, ast.FunctionDef):
                found[before + inner.name] = inner.lineno
    return found


def _statements(text: str) -> dict[int, int]:
    """For each line the one on which its innermost statement begins."""
    found = {}
    for node in ast.walk(ast.parse(text)):  # outer ones first
        if isinstance(node, ast.stmt):
            for line in range(node.lineno, (node.end_lineno or node.lineno) + 1):
                found[line] = node.lineno
    return found


def _shared(one: Sequence[str], other: Sequence[str]) -> int:
    """How many lines both begin with."""
    pairs = zip(one, other, strict=False)
    return next((n for n, (a, b) in enumerate(pairs) if a != b), min(len(one), len(other)))


def put(mutant: Mutant) -> None:
    """Give the function its mutant's code, wherever it is referred to."""
    module = importlib.import_module(f"planner.{mutant.module}")
    source, holder = mutant.source, cast(Any, module)
    owner, _, last = mutant.function.rpartition(".")
    if owner:
        holder = vars(holder)[owner]
        source = f"class {owner}:\n" + textwrap.indent(source, "    ")
    tree = ast.parse(source)
    code = compile(tree, str(module.__file__), "exec", flags=annotations.compiler_flag)
    if owner:
        code = _inner(code, owner)
    function = vars(holder)[last]
    function = cast(FunctionType, inspect.unwrap(getattr(function, "__func__", function)))
    function.__code__ = _inner(code, last)
    node = next(n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name == last)
    value = _valued(vars(module))
    function.__defaults__ = tuple(value(given) for given in node.args.defaults) or None
    function.__kwdefaults__ = {
        argument.arg: value(given)
        for argument, given in zip(node.args.kwonlyargs, node.args.kw_defaults, strict=True)
        if given is not None
    }


def _inner(code: CodeType, name: str) -> CodeType:
    return next(c for c in code.co_consts if isinstance(c, CodeType) and c.co_name == name)


def _valued(names: dict[str, Any]) -> Callable[[ast.expr], Any]:
    return lambda node: eval(compile(ast.Expression(node), "default", "eval"), names)


def forget() -> None:
    """Empty every cache of the planner, so that no test reads what another one had worked out."""
    for name, module in list(sys.modules.items()):
        if name.startswith("planner."):
            for called, value in list(vars(module).items()):
                if hasattr(value, "cache_clear"):
                    value.cache_clear()
                elif called.endswith("_MEMO"):
                    value.clear()


class Session:
    """A pytest plugin: learns which test reaches which line, then lets each mutant meet its tests."""

    def __init__(
        self, mutants: Sequence[Mutant], *, workers: int, seconds: float, done: Path
    ) -> None:
        self.mutants = mutants
        self.workers = workers
        self.seconds = seconds
        self.done = done
        self.verdicts: dict[str, str] = {}
        self._seconds: dict[str, float] = {}
        self._reached: dict[str, dict[int, set[str]]] = {}
        self._says_why = True

    def pytest_sessionstart(self) -> None:
        """No shrinking and the same examples each time; tests read this when they are imported."""
        from hypothesis import Phase, settings

        phases = [Phase.explicit, Phase.generate]
        settings.register_profile(
            "mutants", deadline=None, derandomize=True, database=None, phases=phases
        )
        settings.load_profile("mutants")

    def pytest_runtest_logreport(self, report: Any) -> None:
        """A failure kills the mutant; before there are mutants, it is an error."""
        if report.failed:
            if self._says_why:
                text = f"{report.nodeid} fails without any mutant:\n{report.longreprtext}"
                print(text, file=sys.__stderr__)
            os._exit(1)

    def pytest_runtestloop(self, session: Any) -> bool:
        """Run the tests once as they are, then the mutants."""
        items = {item.nodeid: item for item in session.items if item.originalname not in TOO_SLOW}
        self._learn(list(items.values()))
        self._control(list(items.values()))
        running: dict[int, tuple[Mutant, int, float]] = {}
        for mutant in self.mutants:
            chosen = self._tests(mutant)
            if not chosen:
                self._tell(mutant, "unreached")
                continue
            while len(running) >= self.workers:
                self._wait(running)
            limit = 15 + 5 * sum(self._seconds[name] for name in chosen)
            tests = [items[name] for name in chosen]
            child = self._forked(partial(self._try, [mutant], tests))
            running[child] = (mutant, os.pidfd_open(child), time.monotonic() + limit)
        while running:
            self._wait(running)
        return True

    def _learn(self, items: Sequence[Any]) -> None:
        """In a fork of its own too: some tests leave their fixtures used up."""
        with tempfile.TemporaryFile("w+") as file:
            _, status = os.waitpid(self._forked(lambda: self._measure(items, file)), 0)
            if status:
                os._exit(1)
            file.seek(0)
            self._seconds, reached = json.load(file)
        self._reached = {
            name: {int(n): set(t) for n, t in lines.items()} for name, lines in reached.items()
        }

    def _measure(self, items: Sequence[Any], file: IO[str]) -> None:
        from coverage import Coverage

        coverage = Coverage(data_file=None, source=["planner"])
        seconds = {}
        coverage.start()
        for item in items:
            forget()
            coverage.switch_context(item.nodeid)
            began = time.perf_counter()
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
            seconds[item.nodeid] = time.perf_counter() - began
        coverage.stop()
        data = coverage.get_data()
        reached = {
            Path(name).stem: {
                line: [test for test in tests if test in seconds]
                for line, tests in data.contexts_by_lineno(name).items()
            }
            for name in data.measured_files()
        }
        json.dump((seconds, reached), file)
        file.flush()

    def _tests(self, mutant: Mutant) -> list[str]:
        """The tests that reach a statement that was changed, the quickest first, within the time."""
        reached = self._reached.get(mutant.module, {})
        found = set().union(*(reached.get(line, ()) for line in mutant.lines))
        chosen, spent = [], 0.0
        for name in sorted(found, key=lambda name: self._seconds[name]):
            spent += self._seconds[name]
            if chosen and spent > self.seconds:
                break
            chosen.append(name)
        return chosen

    def _forked(self, work: Callable[[], None]) -> int:
        child = os.fork()
        if not child:
            try:
                work()
                os._exit(0)
            except BaseException:
                traceback.print_exc(file=sys.__stderr__)
            finally:
                os._exit(3)
        return child

    def _control(self, items: Sequence[Any]) -> None:
        """Functions that were changed to what they are must live, or every verdict is worth nothing."""
        same = [replace(mutant, source=mutant.original) for mutant in self.mutants]
        _, status = os.waitpid(self._forked(lambda: self._try(same, items)), 0)
        if status:
            os._exit(1)
        self._says_why = False

    def _try(self, mutants: Sequence[Mutant], items: Sequence[Any]) -> None:
        """In the fork: comes back only when every test passed."""
        for mutant in mutants:
            put(mutant)
        forget()
        for item in items:
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)

    def _wait(self, running: dict[int, tuple[Mutant, int, float]]) -> None:
        """Wait until a fork ends, or has had its time."""
        ready, _, _ = select.select([handle for _, handle, _ in running.values()], [], [], 1.0)
        for child, (mutant, handle, until) in list(running.items()):
            late = handle not in ready and time.monotonic() > until
            if late:
                os.kill(child, signal.SIGKILL)
            if late or handle in ready:
                _, status = os.waitpid(child, 0)
                os.close(handle)
                del running[child]
                code = os.waitstatus_to_exitcode(status)
                if not late and code not in (0, 1):
                    print(f"{mutant.name}: its fork ended with {code}", file=sys.__stderr__)
                    os._exit(1)
                self._tell(mutant, "endless" if late else ("lived", "died")[code])

    def _tell(self, mutant: Mutant, verdict: str) -> None:
        self.verdicts[mutant.name] = verdict
        with self.done.open("a", encoding="utf-8") as file:
            row = {"name": mutant.name, "verdict": verdict, "was": mutant.was, "now": mutant.now}
            file.write(json.dumps(row) + "\n")


def accepted_because(mutant: Mutant, rows: Sequence[dict[str, str]]) -> str | None:
    """Why this survivor is accepted, by the list; None where it isn't."""
    for row in rows:
        if (
            _fits(row["function"], f"{mutant.module}.{mutant.function}")
            and _fits(row.get("was", "*"), mutant.was)
            and _fits(row.get("now", "*"), mutant.now)
        ):
            return row["why"]
    return None


def _fits(pattern: str, text: str) -> bool:
    """Whether a text is the pattern, in which a star stands for anything."""
    return re.fullmatch(".*".join(map(re.escape, pattern.split("*"))), text) is not None


def report(sizes: dict[str, int], mutants: Sequence[Mutant], verdicts: dict[str, str]) -> int:
    """Print what was run, what died and what lived; 1 when fewer than WANTED died."""
    rows = tomllib.loads(ACCEPTED.read_text(encoding="utf-8"))["accepted"]
    kinds = ("died", "endless", "lived", "unreached")
    print(
        f"{'module':<12} {'mutants':>8} {'run':>6}", *(f"{kind:>10}" for kind in kinds), "  share"
    )
    everything = sum(sizes.values())
    share = variance = 0.0
    together: Counter[str] = Counter()
    for module, size in sizes.items():
        here = Counter(verdicts[m.name] for m in mutants if m.module == module)
        together += here
        run, dead = here.total(), here["died"] + here["endless"]
        share += size / everything * dead / run
        smooth = (dead + 1) / (run + 2)  # so that a sample that died whole is no certainty
        variance += (size / everything) ** 2 * smooth * (1 - smooth) / run * (1 - run / size)
        print(
            f"{module:<12} {size:>8} {run:>6}",
            *(f"{here[kind]:>10}" for kind in kinds),
            f"{dead / run:>7.1%}",
        )
    print(
        f"{'together':<12} {everything:>8} {together.total():>6}",
        *(f"{together[kind]:>10}" for kind in kinds),
    )
    spread = 1.96 * sqrt(variance)
    ends = f" (a sample; 95 %: {share - spread:.1%} to {min(share + spread, 1):.1%})"
    print(f"died, by size of module: {share:.1%}{ends if spread else ''}")
    why = {m.name: accepted_because(m, rows) for m in mutants if verdicts[m.name] in kinds[2:]}
    for reason, count in Counter(reason for reason in why.values() if reason).most_common():
        print(f"accepted {count}: {reason}")
    for mutant in mutants:
        if mutant.name in why and why[mutant.name] is None:
            print(f"{mutant.name} {verdicts[mutant.name]}\n    - {mutant.was}\n    + {mutant.now}")
    return int(share < WANTED)


def buried(file: Path, mutants: Sequence[Mutant]) -> dict[str, str]:
    """What an earlier run says of mutants that died in it, where they are still the same change."""
    same = {(m.name, m.was, m.now) for m in mutants}
    rows = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return {
        row["name"]: row["verdict"]
        for row in rows
        if row["verdict"] in ("died", "endless") and (row["name"], row["was"], row["now"]) in same
    }


def named(wanted: Sequence[str]) -> Iterator[str]:
    """The planner's modules, or those of them that are wanted."""
    there = sorted(path.stem for path in (ROOT / "planner").glob("*.py"))
    for name in wanted:
        if name not in there:
            sys.exit(f"the planner has no module {name}")
    yield from wanted or there


def main() -> int:
    """Read what is wanted, run it, report it."""
    ask = argparse.ArgumentParser(prog="deploy/mutate", description=__doc__)
    ask.add_argument(
        "--sample", type=int, metavar="N", help="at most N of a module, always the same"
    )
    ask.add_argument(
        "--seconds",
        type=float,
        default=20,
        metavar="N",
        help="of tests a mutant, the quickest first; what slower ones notice counts as unnoticed",
    )
    ask.add_argument("--workers", type=int, default=2, metavar="N")
    ask.add_argument(
        "--out", type=Path, default=Path(os.devnull), help="verdicts, a line of JSON each"
    )
    ask.add_argument(
        "--again", type=Path, metavar="FILE", help="an earlier --out: what died there stays dead"
    )
    ask.add_argument("modules", nargs="*")
    given = ask.parse_intermixed_args()

    os.chdir(ROOT)
    os.environ.setdefault("MUTANT_UNDER_TEST", "")
    sizes: dict[str, int] = {}
    mutants: list[Mutant] = []
    for name in named(given.modules):
        size, some = mutants_of(name, most=given.sample)
        if some:
            sizes[name] = size
            mutants += some
    import pytest

    dead = buried(given.again, mutants) if given.again else {}
    living = [mutant for mutant in mutants if mutant.name not in dead]
    session = Session(living, workers=given.workers, seconds=given.seconds, done=given.out)
    plain = ["-p", "no:cacheprovider", "-p", "no:xdist"]
    with open(os.devnull, "w") as nowhere, redirect_stdout(nowhere):
        code = pytest.main(["tests/planner", *plain], plugins=[session])
    if len(session.verdicts) < len(living):
        sys.exit(f"the run broke off (pytest: {code})")
    return report(sizes, mutants, dead | session.verdicts)


if __name__ == "__main__":
    sys.exit(main())
