"""Do the tests see a fault? Seeded single-line faults are planted one by one, and the tests that speak of the module
run.

`python -m tests.trials.mutants [FOLDER ...] [--count N] [--seed N]` (ingest and analysis/methods, 60). A mutant is a
change of one place of one line that Python accepts: a comparison turned or its edge moved, a sign, a factor turned
into a divisor, a number off by one, `and` for `or`, a truth turned round. Relevant tests: the one that mirrors the
module, then all that import it, then those that walk through the whole of ingest, then those that mirror modules of
ours which import it, directly or by another, the nearest first, then those of its folder; those without the demo and
the small ones first, until one fails or `CPU`
seconds are used up. How long each test takes is kept from mutant to mutant, so that tests of a moment go before those
that take long. Libraries are loaded once and each mutant is a fork, so that it costs its tests and no more.
Equivalent mutants - those that change nothing anybody could see - are listed by hand in EQUIVALENT with the reason, and
do not count.
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
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

from tests.trials.written import write

ROOT = Path(__file__).parents[2]
OURS = ("ingest", "analysis", "dashboard", "demo_data", "tests")
CPU = 15  # seconds of the processor for all tests of one mutant
WALL = 900.0  # seconds after which a mutant that waits for ever is ended
WALKS = {  # tests that walk through all of a package
    "ingest": ("tests/ingest/reading/test_as_looked_over.py", "tests/ingest/verbs/test_a_month.py")
}
BESIDE_THEM = ("ingest/beginning", "ingest/access")  # where these do not come
HANGS = 3  # times the processor time that the test takes without the mutant
A_MOMENT = 0.3  # seconds of the processor: longer tests wait for all that take no longer
LOADED = "ignore::pytest.PytestAssertRewriteWarning"  # libraries were loaded before
SEED = 20281129
EQUIVALENT: dict[str, str] = {  # 'module: before -> after' -> why nobody could see it
    "ingest/store/whole.py: def wrong_in(folder: Path, *, thorough: bool = False) -> list[Wrong]: -> def "
    "wrong_in(folder: Path, *, thorough: bool = True) -> list[Wrong]:": "only how long it looks",
    "analysis/methods/change_scans.py: variance[local] = 1.0 -> variance[local] = 2.0": "masked by NO_START",
    "ingest/reading/reader.py: low, high = (min(1.0, at / (table.rows.height or 1)) for at in (first, first + "
    "step)) -> low, high = (min(1.0, at / (table.rows.height or 2)) for at in (first, first + step))": "no rows",
    "ingest/reading/in_buckets.py: if self._rows > AT_ONCE: -> if self._rows >= AT_ONCE:": "only when it is written",
    "ingest/reading/careful.py: AT_ONCE, HELD_BACK = 20_000, 1_000  # rows that are handed on together; those "
    "that wait, for they may be titles -> AT_ONCE, HELD_BACK = 20001, 1_000  # rows that are handed on "
    "together; those that wait, for they may be titles": "only how many are handed on together",
    "analysis/methods/independent_number.py: self.sure = used & (size >= 8) & (within > 1e-18 * "
    "np.maximum(np.bincount(stream, x**2, s), 1e-300)) -> self.sure = used & (size >= 8) & (within >= 1e-18 * "
    "np.maximum(np.bincount(stream, x ** 2, s), 1e-300))": "no sum of squares of readings is that number",
    "analysis/methods/coarse.py: sd = np.sqrt(np.maximum(np.bincount(stream, count * (centre - mean[stream]) "
    "** 2, len(begins)) / n, (q / 4) ** 2)) -> sd = np.sqrt(np.maximum(np.bincount(stream, count * (centre - "
    "mean[stream]) ** 2, len(begins)) / n, ((q * 4)) ** 2))": "where it begins to look for the likeliest",
}
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


def _cheap(test: Path) -> tuple[bool, int]:
    return "demo" in test.read_text(encoding="utf-8"), test.stat().st_size


def relevant(path: Path) -> list[str]:
    """Test files that speak of a module: its mirror, those that import it, the mirrors of those that reach it, then
    those of its folder, small ones first; no browser.
    """
    near = ROOT / "tests" / path.relative_to(ROOT).parent
    every = [
        test
        for test in sorted((ROOT / "tests").rglob("test_*.py"), key=_cheap)
        if not {"browser", "trials", "demo"} & set(test.relative_to(ROOT).parts)
    ]
    importers = [test for test in every if path in _imports(test)]
    reaching = [_mirror(module) for module in _reach(path)]
    beside = [test for test in every if test.parent == near and near.name != "methods"]
    place = path.relative_to(ROOT)
    walks = [] if place.parent.as_posix() in BESIDE_THEM else [ROOT / walk for walk in WALKS.get(place.parts[0], ())]
    whole = dict.fromkeys([_mirror(path), *importers, *walks, *reaching, *beside])
    return [test.relative_to(ROOT).as_posix() for test in whole if test.exists()]


def _mirror(path: Path) -> Path:
    place = path.relative_to(ROOT)
    return ROOT / "tests" / place.parent / f"test_{place.stem}.py"


@cache
def _imports(path: Path) -> frozenset[Path]:
    """Modules of ours that a file imports."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
        elif isinstance(node, ast.Import):
            names |= {one.name for one in node.names}
    files = (ROOT.joinpath(*name.split(".")).with_suffix(".py") for name in names if name.partition(".")[0] in OURS)
    return frozenset(file for file in files if file.exists())


@cache
def _reach(path: Path) -> tuple[Path, ...]:
    """Modules that come to `path` by what they import, within `ingest` or `analysis`, the nearest first."""
    folder = ROOT / path.relative_to(ROOT).parts[0]
    found, new = dict.fromkeys([path]), [path]
    while new:
        new = [one for one in sorted(folder.rglob("*.py")) if one not in found and _imports(one) & set(new)]
        found |= dict.fromkeys(new)
    return tuple(one for one in found if one != path)


_SOUND: set[str] = set()  # tests that failed on a mutant and pass without one
_TAKES: dict[str, float] = {}  # seconds of the processor of each test that has been run


class _Told:
    """A plugin that writes into a pipe which test begins, and which failed; tests that take long come last."""

    def __init__(self, pipe: int) -> None:
        self.pipe = pipe

    def pytest_collection_modifyitems(self, items) -> None:
        """Those of a moment as they stand, file after file; then the others, the quickest first."""
        items.sort(key=lambda item: taken if (taken := _TAKES.get(item.nodeid, 0.0)) > A_MOMENT else 0.0)

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """A test begins."""
        os.write(self.pipe, f"{time.process_time()} {nodeid}\n".encode())

    def pytest_runtest_logreport(self, report) -> None:
        """A test has ended."""
        if report.failed:
            os.write(self.pipe, f"failed {report.nodeid}\n".encode())

    def pytest_collectreport(self, report) -> None:
        """A module was read."""
        if report.failed:
            os.write(self.pipe, f"failed {report.nodeid}\n".encode())


def _forked(given: list[str], copy: Path, *, compiled: bool = True) -> tuple[int, list[str], float]:
    """Run pytest in a fork that has the copy of the tree in its path: (signal that ended it, lines told, CPU used)."""
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(out)
            if compiled:
                resource.setrlimit(resource.RLIMIT_CPU, (CPU, CPU + 5))
            signal.alarm(int(WALL))
            quiet = os.open(os.devnull, os.O_WRONLY)
            os.dup2(quiet, 1)
            os.dup2(quiet, 2)
            os.chdir(copy)
            sys.dont_write_bytecode = compiled
            sys.path[:] = [str(copy), *(one for one in sys.path if one and Path(one).resolve() != ROOT)]
            os.environ["PYTHONPATH"] = str(copy)
            for name in [one for one in sys.modules if one.partition(".")[0] in OURS]:
                del sys.modules[name]
            import pytest

            plain = ["-q", "-x", "-n", "0", "-p", "no:cacheprovider", "-p", "no:dash", "-W", LOADED]
            pytest.main([*plain, *given], plugins=[_Told(into)])
        finally:
            os._exit(0)
    os.close(into)
    with os.fdopen(out) as pipe:
        lines = pipe.read().splitlines()
    _, status, used = os.wait4(child, 0)
    return os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0, lines, used.ru_utime + used.ru_stime


def learn(lines: list[str]) -> None:
    """Keep how long each test took that ended, the shortest of the times it was run."""
    told = [(float(at), test) for at, _, test in (line.partition(" ") for line in lines if line[:1].isdecimal())]
    for (begins, test), (ends, _) in pairwise(told):
        _TAKES[test] = min(ends - begins, _TAKES.get(test, ends - begins))


def killed(mutant: Mutant, copy: Path) -> str:
    """Which test saw the mutant planted in a copy of the tree; '' where none did."""
    place = copy / mutant.path.relative_to(ROOT)
    place.write_text(mutant.source, encoding="utf-8")
    os.utime(place, (1, 1))  # no compiled file is of that time
    try:
        ended, lines, _ = _forked(relevant(mutant.path), copy)
    finally:
        shutil.copy2(mutant.path, place)
    learn(lines)
    failed = next((line.removeprefix("failed ") for line in lines if line.startswith("failed ")), "")
    if not lines and not ended:
        raise RuntimeError(
            f"no test ran for {mutant.name}; python -m pytest {' '.join(relevant(mutant.path))} says why"
        )
    if failed and failed not in _SOUND:
        if any(line.startswith("failed ") for line in _forked([failed], copy)[1]):
            raise RuntimeError(f"{failed} fails without a mutant too; mend it first")
        _SOUND.add(failed)
    if failed or not ended or not lines:
        return failed
    began, _, test = lines[-1].partition(" ")
    _, _, usual = _forked([test], copy)  # time ran out: in a test that the mutant makes endless, or by their number
    return f"{test} (does not end)" if ended == signal.SIGALRM or CPU - float(began) > HANGS * usual else ""


def chosen(folders: list[str], count: int, seed: int) -> list[Mutant]:
    """So many mutants at random over the folders, each line at most once, seeded."""
    paths = [p for folder in folders for p in sorted((ROOT / folder).rglob("*.py")) if p.name != "__init__.py"]
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
    for name in ("pytest", "hypothesis", "polars", "scipy.stats", "scipy.optimize", "pydantic", "deltalake", "dash"):
        __import__(name)


def main() -> None:
    """Plant, run, tell; the result is written beside this script."""
    asked = argparse.ArgumentParser()
    asked.add_argument("folders", nargs="*", default=["ingest", "analysis/methods"])
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
        _forked(["--collect-only", "tests/ingest", "tests/analysis"], copy, compiled=False)  # compiles what all need
        for one in picked:
            if one.change in EQUIVALENT:
                lines.append(f"- equivalent: `{one.name}` ({EQUIVALENT[one.change]})")
                continue
            seen = killed(one, copy)
            counted, alive = counted + 1, alive + (not seen)
            lines.append(f"- {'seen by ' + seen if seen else '**not seen**'}: `{one.name}`")
            sys.stderr.write(lines[-1] + "\n")
    share = (counted - alive) / max(counted, 1)
    head = f"{', '.join(told.folders)}; seed {told.seed}: {counted - alive} of {counted} seen ({share:.0%})."
    write(__file__, "\n".join([head, "", *lines]))


if __name__ == "__main__":
    main()
