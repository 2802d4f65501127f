"""Do the tests see a fault? Seeded single-line faults are planted one by one, and the tests that speak of the module
run.

`python -m tests.trials.mutants [FOLDER ...] [--count N] [--seed N]` (ingest and analysis/methods, 60). A mutant is a
change of one place of one line that Python accepts: a comparison turned or its edge moved, a sign, a factor turned
into a divisor, a number off by one, `and` for `or`, a truth turned round. Relevant tests: those that mirror the
module, then all that import it, then those of its folder, the small ones first, within `SECONDS`. Equivalent mutants
- those that change nothing anybody could see - are listed by hand in EQUIVALENT with the reason, and do not count.
"""

import argparse
import ast
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.trials.written import write

ROOT = Path(__file__).parents[2]
SECONDS = 240.0  # for all tests of one mutant
SEED = 20261128
EQUIVALENT: dict[str, str] = {}  # 'module:line: before -> after' -> why nobody could see it
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
        """How it is told and listed."""
        return f"{self.path.relative_to(ROOT).as_posix()}:{self.line}: {self.before} -> {self.after}"


def mutants(path: Path) -> Iterator[Mutant]:
    """Every mutant of a module, in the order of its lines; docstrings, messages and type hints are left alone."""
    source = path.read_text(encoding="utf-8")
    lines = source.split("\n")
    for node, text in _places(ast.parse(source)):
        first, last = node.lineno - 1, (node.end_lineno or node.lineno) - 1
        if first != last:
            continue
        raw = lines[first].encode()
        changed = raw[: node.col_offset] + text.encode() + raw[node.end_col_offset :]
        whole = "\n".join([*lines[:first], changed.decode(), *lines[first + 1 :]])
        try:
            compile(whole, str(path), "exec")
        except SyntaxError:
            continue
        if whole != source:
            yield Mutant(path, first + 1, lines[first].strip(), changed.decode().strip(), whole)


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


def relevant(path: Path) -> list[str]:
    """Test files that speak of a module: its mirror, those that import it, then those of its folder, small ones first;
    no browser.
    """
    place = path.relative_to(ROOT)
    near = ROOT / "tests" / place.parent
    mirror = near / f"test_{path.stem}.py"
    dotted = ".".join(place.with_suffix("").parts)
    package, _, name = dotted.rpartition(".")
    importers, beside = [], []
    for test in sorted((ROOT / "tests").rglob("test_*.py"), key=lambda one: one.stat().st_size):
        if {"browser", "trials", "demo"} & set(test.relative_to(ROOT).parts) or test == mirror:
            continue
        text = test.read_text(encoding="utf-8")
        if f"from {dotted} import" in text or (f"from {package} import" in text and name in text):
            importers.append(test)
        elif test.parent == near and near.name != "methods":
            beside.append(test)
    whole = ([mirror] if mirror.exists() else []) + importers + beside
    return [test.relative_to(ROOT).as_posix() for test in whole]


def killed(mutant: Mutant, copy: Path) -> str:
    """Which test file saw the mutant planted in a copy of the tree; '' where none did, 'slow' where time ran out."""
    place = copy / mutant.path.relative_to(ROOT)
    place.write_text(mutant.source, encoding="utf-8")
    end = time.monotonic() + SECONDS
    try:
        for test in relevant(mutant.path):
            asked = [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", test]
            left = end - time.monotonic()
            if left <= 0:
                return ""
            try:
                ran = subprocess.run(asked, cwd=copy, capture_output=True, timeout=left, check=False)
            except subprocess.TimeoutExpired:
                return "slow"
            if ran.returncode == 1:
                return test
        return ""
    finally:
        place.write_text(mutant.path.read_text(encoding="utf-8"), encoding="utf-8")


def chosen(folders: list[str], count: int, seed: int) -> list[Mutant]:
    """So many mutants at random over the folders, each line at most once, seeded."""
    paths = [p for folder in folders for p in sorted((ROOT / folder).rglob("*.py")) if p.name != "__init__.py"]
    every = [one for path in paths for one in mutants(path)]
    random.Random(seed).shuffle(every)
    seen: set[tuple[Path, int]] = set()
    found = []
    for one in every:
        if (one.path, one.line) not in seen and len(found) < count:
            seen.add((one.path, one.line))
            found.append(one)
    return found


def main() -> None:
    """Plant, run, tell; the result is written beside this script."""
    asked = argparse.ArgumentParser()
    asked.add_argument("folders", nargs="*", default=["ingest", "analysis/methods"])
    asked.add_argument("--count", type=int, default=60)
    asked.add_argument("--seed", type=int, default=SEED)
    told = asked.parse_args()
    lines, alive, counted = [], 0, 0
    with tempfile.TemporaryDirectory() as box:
        copy = Path(box) / "tree"
        shutil.copytree(
            ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv", ".*_cache", "__pycache__", "demo-shop")
        )
        for one in chosen(told.folders, told.count, told.seed):
            if one.name in EQUIVALENT:
                lines.append(f"- equivalent: `{one.name}` ({EQUIVALENT[one.name]})")
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
