"""Mutation testing of the planner: mutmut's mutants, each in a fork of one collected test session.

mutmut makes the mutants. Its own runner sends every call of every function through a switch, and
collects the tests anew for each mutant; here a fork gets the mutant's code object in the place of
the function's and runs the tests that reach the changed lines, the quickest first.
"""

from __future__ import annotations

import argparse
import ast
import fnmatch
import importlib
import inspect
import json
import os
import random
import select
import signal
import sys
import time
import tomllib
import traceback
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass, replace
from math import sqrt
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any, cast

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
    """One change of one function: the lines it touches, and the module's text with it."""

    module: str
    function: str
    number: int
    was: str
    now: str
    lines: frozenset[int]
    text: str

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
    if most is not None and size > most:
        found = random.Random(f"{SEED}-{module}").sample(found, most)
    before = text.splitlines()
    mutants = []
    for function, number, mutation in found:
        changed = tree.deep_replace(mutation.original_node, mutation.mutated_node)
        after = changed.code.splitlines()
        first, kept = _shared(before, after), _shared(before[::-1], after[::-1])
        kept = min(kept, len(before) - first, len(after) - first)
        last = len(before) - kept
        mutants.append(
            Mutant(
                module=module,
                function=function,
                number=number,
                was=" ".join(line.strip() for line in before[first:last]),
                now=" ".join(line.strip() for line in after[first : len(after) - kept]),
                lines=frozenset(range(first + 1, max(last, first + 1) + 1)),
                text=changed.code,
            )
        )
    return size, sorted(mutants, key=lambda mutant: (mutant.function, mutant.number))


def _shared(one: Sequence[str], other: Sequence[str]) -> int:
    """How many lines both begin with."""
    pairs = zip(one, other, strict=False)
    return next((n for n, (a, b) in enumerate(pairs) if a != b), min(len(one), len(other)))


def put(mutant: Mutant) -> None:
    """Give the function its mutant's code, wherever it is referred to."""
    module = importlib.import_module(f"planner.{mutant.module}")
    tree = ast.parse(mutant.text)
    code = compile(tree, str(module.__file__), "exec")
    body, holder = tree.body, cast(Any, module)
    *classes, last = mutant.function.split(".")
    for name in classes:
        holder = vars(holder)[name]
        body = next(n.body for n in body if isinstance(n, ast.ClassDef) and n.name == name)
        code = _inner(code, name)
    function = vars(holder)[last]
    function = getattr(function, "__func__", function)
    function = cast(FunctionType, inspect.unwrap(function))
    function.__code__ = _inner(code, last)
    node = next(n for n in body if isinstance(n, ast.FunctionDef) and n.name == last)
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

    def __init__(self, mutants: Sequence[Mutant], *, workers: int, done: Path) -> None:
        self.mutants = mutants
        self.workers = workers
        self.done = done
        self.verdicts: dict[str, str] = {}
        self._seconds: dict[str, float] = {}
        self._reached: dict[tuple[str, int], set[str]] = defaultdict(set)
        self._in_fork = False

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
            if self._in_fork:
                os._exit(1)
            print(
                f"{report.nodeid} fails without any mutant:\n{report.longreprtext}", file=sys.stderr
            )
            os._exit(1)

    def pytest_runtestloop(self, session: Any) -> bool:
        """Run the tests once as they are, then the mutants."""
        items = {item.nodeid: item for item in session.items if item.originalname not in TOO_SLOW}
        self._learn(list(items.values()))
        self._control(list(items.values()))
        running: dict[int, tuple[Mutant, int, float]] = {}
        for mutant in self.mutants:
            chosen = sorted(self._tests(mutant), key=lambda name: self._seconds[name])
            if not chosen:
                self._tell(mutant, "unreached")
                continue
            while len(running) >= self.workers:
                self._wait(running)
            limit = 15 + 5 * sum(self._seconds[name] for name in chosen)
            child = self._forked([mutant], [items[name] for name in chosen])
            running[child] = (mutant, os.pidfd_open(child), time.monotonic() + limit)
        while running:
            self._wait(running)
        return True

    def _learn(self, items: Sequence[Any]) -> None:
        from coverage import Coverage

        coverage = Coverage(data_file=None, source=["planner"])
        coverage.start()
        for item in items:
            forget()
            coverage.switch_context(item.nodeid)
            began = time.perf_counter()
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
            self._seconds[item.nodeid] = time.perf_counter() - began
        coverage.stop()
        data = coverage.get_data()
        for file in data.measured_files():
            for line, contexts in data.contexts_by_lineno(file).items():
                self._reached[Path(file).stem, line] |= set(contexts) & set(self._seconds)

    def _tests(self, mutant: Mutant) -> set[str]:
        """The tests that reach a changed line, or, of a line in the middle of one, its beginning."""
        found: set[str] = set()
        for line in mutant.lines:
            while line and (mutant.module, line) not in self._reached:
                line -= 1
            found |= self._reached.get((mutant.module, line), set())
        return found

    def _forked(self, mutants: Sequence[Mutant], items: Sequence[Any]) -> int:
        child = os.fork()
        if not child:
            try:
                self._try(mutants, items)
            except BaseException:
                traceback.print_exc(file=sys.__stderr__)
            finally:
                os._exit(3)
        return child

    def _control(self, items: Sequence[Any]) -> None:
        """Functions that were changed to what they are must live, or every verdict is worth nothing."""
        same = {}
        for mutant in self.mutants:
            text = (ROOT / "planner" / f"{mutant.module}.py").read_text(encoding="utf-8")
            same[mutant.module, mutant.function] = replace(mutant, text=text)
        _, status = os.waitpid(self._forked(list(same.values()), items), 0)
        if status:
            sys.exit("the tests fail in a fork, without any mutant")

    def _try(self, mutants: Sequence[Mutant], items: Sequence[Any]) -> None:
        """In the fork: end with 0 only when every test passed."""
        self._in_fork = True
        for mutant in mutants:
            put(mutant)
        forget()
        for item in items:
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=None)
        os._exit(0)

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
                    sys.exit(f"{mutant.name}: a fork ended with {code}")
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
            fnmatch.fnmatchcase(f"{mutant.module}.{mutant.function}", row["function"])
            and fnmatch.fnmatchcase(mutant.was, row.get("was", "*"))
            and fnmatch.fnmatchcase(mutant.now, row.get("now", "*"))
        ):
            return row["why"]
    return None


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
    print(f"died, by size of module: {share:.1%}", end="")
    spread = 1.96 * sqrt(variance)
    print(
        f" (a sample; 95 %: {share - spread:.1%} to {min(share + spread, 1):.1%})" if spread else ""
    )
    why = {m.name: accepted_because(m, rows) for m in mutants if verdicts[m.name] in kinds[2:]}
    for reason, count in Counter(reason for reason in why.values() if reason).most_common():
        print(f"accepted {count}: {reason}")
    for mutant in mutants:
        if mutant.name in why and why[mutant.name] is None:
            print(f"{mutant.name} {verdicts[mutant.name]}\n    - {mutant.was}\n    + {mutant.now}")
    return int(share < WANTED)


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
    ask.add_argument("--workers", type=int, default=2, metavar="N")
    ask.add_argument(
        "--out", type=Path, default=Path(os.devnull), help="verdicts, a line of JSON each"
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

    session = Session(mutants, workers=given.workers, done=given.out)
    plain = ["-p", "no:cacheprovider", "-p", "no:xdist"]
    with open(os.devnull, "w") as nowhere, redirect_stdout(nowhere):
        code = pytest.main(["tests/planner", *plain], plugins=[session])
    if len(session.verdicts) < len(mutants):
        sys.exit(f"the run broke off (pytest: {code})")
    return report(sizes, mutants, session.verdicts)


if __name__ == "__main__":
    sys.exit(main())
