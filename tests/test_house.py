"""What keeps the house readable: no module that takes longer than one sitting, no call that nobody can read."""

import ast
from pathlib import Path

import pytest

from tests.arrows import OURS

ROOT = Path(__file__).parent.parent
LINES, PLACES = 350, 6
LONG: set[str] = set()  # modules that are still longer; the list may only shrink
MODULES = {
    path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
    for ours in OURS
    for path in sorted((ROOT / ours).rglob("*.py"))
}


def wide(source: str) -> list[str]:
    """Functions with more parameters by place than anybody can tell apart in a call, with their line."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            names = [one.arg for one in (*node.args.posonlyargs, *node.args.args) if one.arg not in ("self", "cls")]
            if len(names) > PLACES:
                found.append(f"line {node.lineno}: {node.name}({', '.join(names)})")
    return found


def test_no_module_is_longer_than_one_sitting():
    assert {name for name, text in MODULES.items() if text.count("\n") > LINES} - LONG == set()


def test_a_module_that_was_split_leaves_the_list_of_long_ones():
    assert {name for name in LONG if MODULES.get(name, "").count("\n") <= LINES} == set()


@pytest.mark.parametrize("name", MODULES)
def test_no_function_takes_more_than_six_parameters_by_place(name):
    assert wide(MODULES[name]) == []


def test_a_seventh_parameter_by_place_is_seen_and_one_by_name_is_not():
    assert wide("def f(a, b, c, d, e, f, g): ...") == ["line 1: f(a, b, c, d, e, f, g)"]
    assert wide("class A:\n    def f(self, a, b, c, d, e, f, *, g): ...") == []
