"""What is imported is declared, what is declared is used."""

import ast
import re
import sys
import tomllib
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
OURS = {"ingest", "analysis", "dashboard", "demo_data", "tests"}
IMPORTED_AS = {
    "argon2-cffi": "argon2",
    "arro3-core": "arro3",
    "python-barcode": "barcode",
    "import-linter": "importlinter",
    "pytest-xdist": "xdist",
}
NOT_IMPORTED = {  # used without an import of ours
    "tzdata": "time zones where the system has none",
    "flask-compress": "Dash(compress=True) loads it",
    "xlsxwriter": "pandas writes workbooks by it",
    "ruff": "a command",
    "mypy": "a command",
}


def declared(*extras: str) -> set[str]:
    """What may be imported: the names by which the declared packages go."""
    lines = [*PROJECT["dependencies"], *(line for extra in extras for line in PROJECT["optional-dependencies"][extra])]
    if any(line == "truerun[cluster]" for line in lines):  # what tests need of an extra they take from it
        lines = [line for line in lines if line != "truerun[cluster]"] + PROJECT["optional-dependencies"]["cluster"]
    names = {re.match(r"[A-Za-z0-9_-]+", line)[0].lower() for line in lines}
    return {IMPORTED_AS.get(name, name.replace("-", "_")) for name in names - set(NOT_IMPORTED)}


@cache
def imported(*folders: str) -> set[str]:
    """Top names of all imports in some folders, but for our own and Python's."""
    found = set()
    for path in (path for folder in folders for path in (ROOT / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {one.name.partition(".")[0] for one in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.partition(".")[0])
    return found - OURS - set(sys.stdlib_module_names)


PRODUCT = ("ingest", "analysis", "dashboard", "demo_data")


def test_what_the_product_imports_is_what_it_declares():
    assert imported(*PRODUCT) == declared("cluster")


def test_what_tests_import_is_declared_and_each_is_used():
    assert imported("tests") <= declared("test", "dev") | {"grimp", "xlsxwriter"}
    assert declared("test") - declared() <= imported("tests")
