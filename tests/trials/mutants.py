"""Do the tests see a fault? Seeded single-line faults are planted one by one, and the tests that call the function run.

`python -m tests.trials.mutants [FOLDER ...] [--count N] [--seed N]` (ingest and analysis/methods, 60). A mutant is a
change of one place of one line that Python accepts: a comparison turned or its edge moved, a sign, a factor turned
into a divisor, a number off by one, `and` for `or`, a truth turned round. Relevant tests: those of `TRACED` that call
the function in which the fault stands (of a line outside all functions: any of the module), the quickest first, as many
as take `CPU` seconds of the processor, until one fails. Who calls what, and in how long, is found once by a trace of
all tests (calls.py) and kept in calls.jsonl until a test or a module is younger. Libraries are loaded once and each
mutant is a fork, so that it costs its tests and no more. Equivalent mutants - those that change nothing anybody could
see - are listed by hand in equivalent.toml with the reason, and do not count; nor does `strict` of a zip of lists that
are made of one length.
"""

import argparse
import ast
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.trials.calls import Callers, Calls
from tests.trials.written import write

ROOT = Path(__file__).parents[2]
OURS = ("ingest", "analysis", "dashboard", "demo_data", "tests")
TRACED, CALLED = (
    ("tests/ingest", "tests/analysis", "tests/dashboard/gate"),
    ("ingest", "analysis"),
)  # tests, and whose functions
CPU = 15  # seconds of the processor for all tests of one mutant
HANGS = 3  # so many times that: a test does not end
WALL = 900.0  # seconds after which a mutant that waits for ever is ended
LOADED = "ignore::pytest.PytestAssertRewriteWarning"  # libraries were loaded before
SEED = 20281129
_LISTED = tomllib.loads(Path(__file__).with_name("equivalent.toml").read_text(encoding="utf-8"))["mutant"]
EQUIVALENT: dict[str, str] = {each["change"]: each["why"] for each in _LISTED}
TURNED = {
    ast.Lt: "<=",
    ast.LtE: "<",
    ast.Gt: ">=",
    ast.GtE: ">",
    ast.Eq: "!=",
    ast.NotEq: "==",
    ast.Is: "is not",
    ast.IsNot: "is",
    ast.In: "not in",
    ast.NotIn: "in",
}
SWAPPED = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.FloorDiv: "/", ast.BitAnd: "|", ast.BitOr: "&"}


@dataclass(frozen=True)
class Mutant:
    """One planted fault: the module's path, the line as it stands, and the source with the fault in it."""

    path: Path
    line: int
    before: str
    after: str
    source: str

    @property
    def name(self) -> str:
        """How it is told."""
        return f"{self.path.relative_to(ROOT).as_posix()}:{self.line}: {self.before} -> {self.after}"

    @property
    def change(self) -> str:
        """How it is listed: the same wherever the line stands."""
        return f"{self.path.relative_to(ROOT).as_posix()}: {self.before} -> {self.after}"


def mutants(path: Path) -> Iterator[Mutant]:
    """Every mutant of a module, in the order of its lines; docstrings, messages and type hints are left alone.

    Some are no Python: `stands` tells.
    """
    source = path.read_text(encoding="utf-8")
    lines = source.split("\n")
    for node, text in _places(ast.parse(source)):
        first, last = node.lineno - 1, (node.end_lineno or node.lineno) - 1
        if first != last:
            continue
        raw = lines[first].encode()
        changed = raw[: node.col_offset] + text.encode() + raw[node.end_col_offset :]
        whole = "\n".join([*lines[:first], changed.decode(), *lines[first + 1 :]])
        if whole != source:
            yield Mutant(path, first + 1, lines[first].strip(), changed.decode().strip(), whole)


def stands(mutant: Mutant) -> bool:
    """Does Python accept it?"""
    try:
        compile(mutant.source, str(mutant.path), "exec")
    except SyntaxError:
        return False
    return True


def _places(tree: ast.Module) -> Iterator[tuple[ast.expr, str]]:
    """Places of a module and what each becomes."""
    for node in _code(tree):
        if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in TURNED:
            left, right = ast.unparse(node.left), ast.unparse(node.comparators[0])
            yield node, f"{left} {TURNED[type(node.ops[0])]} {right}"
        elif isinstance(node, ast.BinOp) and type(node.op) in SWAPPED:
            yield node, f"({ast.unparse(node.left)} {SWAPPED[type(node.op)]} {ast.unparse(node.right)})"
        elif isinstance(node, ast.BoolOp):
            word = " or " if isinstance(node.op, ast.And) else " and "
            yield node, "(" + word.join(f"({ast.unparse(value)})" for value in node.values) + ")"
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.Invert | ast.USub):
            yield node, f"({ast.unparse(node.operand)})"
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            yield node, repr(node.value + 1)
        elif isinstance(node, ast.Constant) and type(node.value) is bool:
            yield node, repr(not node.value)


def _code(node: ast.AST) -> Iterator[ast.AST]:
    """Every node that runs: no annotations, no text of a raise, no f-string."""
    for name, value in ast.iter_fields(node):
        if name in {"annotation", "returns", "decorator_list", "exc"}:
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not isinstance(child, ast.JoinedStr):
                yield child
                yield from _code(child)


def around(mutant: Mutant) -> int | None:
    """The first line of the innermost function in whose body a mutant stands, its first decorator's where it has any;
    None outside all functions.
    """
    best = None
    for node in ast.walk(ast.parse(mutant.path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = min([node.lineno, *(each.lineno for each in node.decorator_list)])
            if node.body[0].lineno <= mutant.line <= (node.end_lineno or 0) and (best is None or first > best):
                best = first
    return best


def callers(copy: Path) -> Callers:
    """Who calls what: as it is kept, or traced anew where a test or a module of ours is younger."""
    kept = Path(__file__).with_name("calls.jsonl")
    every = [path for folder in (*TRACED, *CALLED) for path in (ROOT / folder).rglob("*.py")]
    if not kept.exists() or kept.stat().st_mtime < max(path.stat().st_mtime for path in every):
        _forked([*TRACED, "--ignore=tests/ingest/strangers"], copy, Calls(copy, CALLED, kept))
    return Callers(kept)


_SOUND: set[str] = set()  # tests that failed on a mutant and pass without one


class _Compiled:
    """A plugin that runs nothing: all that tests need has been read, and compiled."""

    def pytest_runtestloop(self) -> bool:
        """No test."""
        return True


class _Told:
    """A plugin that runs tests in the order given and writes into a pipe which begins, and which failed."""

    def __init__(self, pipe: int, given: list[str]) -> None:
        self.pipe, self.place = pipe, {name: at for at, name in enumerate(given)}

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """The quickest first."""
        items.sort(key=lambda item: self.place.get(item.nodeid, 0))

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """A test begins."""
        os.write(self.pipe, f"{nodeid}\n".encode())

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A test has ended."""
        if report.failed:
            os.write(self.pipe, f"failed {report.nodeid}\n".encode())

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """A module was read."""
        if report.failed:
            os.write(self.pipe, f"failed {report.nodeid}\n".encode())


def _forked(given: list[str], copy: Path, plugin: object = None) -> tuple[int, list[str]]:
    """Run pytest in a fork that has the copy of the tree in its path: (signal that ended it, lines told).

    plugin : runs what is given in its own way, for as long as that takes, and leaves compiled files behind.
    """
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(out)
            if plugin is None:
                resource.setrlimit(resource.RLIMIT_CPU, (HANGS * CPU, HANGS * CPU + 5))
                signal.alarm(int(WALL))
            quiet = os.open(os.devnull, os.O_WRONLY)
            os.dup2(quiet, 1)
            os.dup2(quiet, 2)
            os.chdir(copy)
            sys.dont_write_bytecode = plugin is None
            sys.path[:] = [str(copy), *(one for one in sys.path if one and Path(one).resolve() != ROOT)]
            os.environ["PYTHONPATH"] = str(copy)
            for name in [one for one in sys.modules if one.partition(".")[0] in OURS]:
                del sys.modules[name]
            plain = ["-q", "-n", "0", "-p", "no:cacheprovider", "-p", "no:dash", "-W", LOADED]
            pytest.main([*plain, *(["-x"] if plugin is None else []), *given], plugins=[plugin or _Told(into, given)])
        finally:
            os._exit(0)
    os.close(into)
    with os.fdopen(out) as pipe:
        lines = pipe.read().splitlines()
    _, status = os.waitpid(child, 0)
    return os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0, lines


def killed(mutant: Mutant, copy: Path, who: Callers) -> str:
    """Which test saw the mutant planted in a copy of the tree; '' where none did."""
    name = mutant.path.relative_to(ROOT)
    tests = who.quickest(name.as_posix(), around(mutant), CPU)
    if not tests:
        return ""
    place = copy / name
    place.write_text(mutant.source, encoding="utf-8")
    os.utime(place, (1, 1))  # no compiled file is of that time
    try:
        ended, lines = _forked(tests, copy)
    finally:
        shutil.copy2(mutant.path, place)
    failed = next((line.removeprefix("failed ") for line in lines if line.startswith("failed ")), "")
    if not lines and not ended:
        raise RuntimeError(f"no test ran for {mutant.name}; python -m pytest {' '.join(tests)} says why")
    if failed and failed not in _SOUND:
        if any(line.startswith("failed ") for line in _forked([failed], copy)[1]):
            raise RuntimeError(f"{failed} fails without a mutant too; mend it first")
        _SOUND.add(failed)
    return f"{lines[-1] if lines else tests[0]} (does not end)" if ended and not failed else failed


def equivalent(mutant: Mutant) -> str:
    """Why nobody could see it; '' where somebody could."""
    if mutant.before.replace("strict=True", "strict=False") == mutant.after.replace("strict=True", "strict=False"):
        return "lists made of one length"
    return EQUIVALENT.get(mutant.change, "")


def chosen(folders: list[str], count: int, seed: int) -> list[Mutant]:
    """So many mutants at random over the folders, each line at most once, seeded."""
    places = [ROOT / folder for folder in folders]
    every_path = [p for place in places for p in ([place] if place.is_file() else sorted(place.rglob("*.py")))]
    paths = [p for p in every_path if p.name != "__init__.py"]
    every = [one for path in paths for one in mutants(path)]
    random.Random(seed).shuffle(every)
    seen: set[tuple[Path, int]] = set()
    found = []
    for one in every:
        if len(found) < count and (one.path, one.line) not in seen and stands(one):
            seen.add((one.path, one.line))
            found.append(one)
    return found


def _libraries() -> None:
    """Load what every test loads, so that a fork need not; none of these starts a thread before it is used."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("POLARS_MAX_THREADS", "1")
    for name in ("hypothesis", "polars", "scipy.stats", "scipy.optimize", "pydantic", "deltalake", "dash"):
        __import__(name)


def main() -> None:
    """Plant, run, tell; the result is written beside this script."""
    asked = argparse.ArgumentParser()
    asked.add_argument("folders", nargs="*", default=["ingest", "analysis/methods"], help="or modules")
    asked.add_argument("--count", type=int, default=60)
    asked.add_argument("--seed", type=int, default=SEED)
    asked.add_argument("--only", default="", help="mutants whose name holds this text")
    asked.add_argument("--part", default="1/1", help="2/5: every fifth, from the second on")
    asked.add_argument("--list", action="store_true", help="name them, run nothing")
    told = asked.parse_args()
    picked = [one for one in chosen(told.folders, told.count, told.seed) if told.only in one.name]
    part, parts = map(int, told.part.split("/"))
    picked = picked[part - 1 :: parts]
    if told.list:
        sys.stdout.writelines(f"{one.name}\n" for one in picked)
        return
    _libraries()
    lines, alive, counted = [], 0, 0
    with tempfile.TemporaryDirectory() as box:
        copy = Path(box) / "tree"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv", ".*_cache", "demo-shop"))
        who = callers(copy)
        _forked(list(TRACED), copy, _Compiled())
        for one in picked:
            if why := equivalent(one):
                lines.append(f"- equivalent: `{one.name}` ({why})")
                continue
            seen = killed(one, copy, who)
            counted, alive = counted + 1, alive + (not seen)
            lines.append(f"- {'seen by ' + seen if seen else '**not seen**'}: `{one.name}`")
            sys.stderr.write(lines[-1] + "\n")
    share = (counted - alive) / max(counted, 1)
    head = f"{', '.join(told.folders)}; seed {told.seed}: {counted - alive} of {counted} seen ({share:.0%})."
    write(__file__, "\n".join([head, "", *lines]))


if __name__ == "__main__":
    main()
