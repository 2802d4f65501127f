"""Writes the parts of DEVELOPERS.md that the code knows best: the map of modules and the table of methods.

`python -m tests.documents` lays them anew between their marks; a test holds the page to it.
"""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "DEVELOPERS.md"
LAYERS = ("ingest", "analysis", "dashboard", "demo_data")


def rooms() -> list[Path]:
    """Every folder with modules, in the order a person reads them: a layer, then its folders by name."""
    return [
        folder
        for layer in LAYERS
        for folder in sorted({path.parent for path in (ROOT / layer).rglob("*.py")})
        if modules(folder)
    ]


def first_sentence(path: Path) -> str:
    """The first sentence of a module's docstring, on one line."""
    told = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return " ".join(re.split(r"(?<=[.?!])\s", told.strip().split("\n\n")[0], maxsplit=1)[0].split())


def modules(folder: Path) -> list[Path]:
    """The modules of a folder itself, by name."""
    return sorted(path for path in folder.glob("*.py") if path.name != "__init__.py")


def the_map() -> str:
    """A line a folder: what it is for, and its modules by name."""
    lines = ["| folder | what it is for | modules |", "|---|---|---|"]
    for folder in rooms():
        name = folder.relative_to(ROOT).as_posix()
        told = first_sentence(folder / "__init__.py").replace("|", "/")
        lines.append(f"| `{name}/` | {told} | {' · '.join(path.stem for path in modules(folder))} |")
    return "\n".join(lines)


def sources(path: Path) -> list[str]:
    """Every 'Source:' of a module, each once, in order."""
    text = path.read_text(encoding="utf-8")
    found = re.findall(r"Sources?: (.*?)(?:\n\s*\n|\"\"\")", text, flags=re.S)
    return list(dict.fromkeys(" ".join(one.split()).rstrip(".") for one in found))


def cases(path: Path) -> list[str]:
    """Published cases that the module's test holds it against."""
    test = ROOT / "tests" / "analysis" / "methods" / f"test_{path.stem}.py"
    text = test.read_text(encoding="utf-8") if test.exists() else ""
    names = {file.stem for file in (ROOT / "tests" / "published").rglob("*.json")}
    return sorted(
        name
        for name in names
        if f'"{name}"' in text or f'/{name}"' in text or f'"{name}.json"' in text or f'/{name}.json"' in text
    )


def method_table() -> str:
    """Method, source, cases, and what rests on memory."""
    lines = ["| method | source | published cases it is held against | rests on memory |", "|---|---|---|---|"]
    for path in modules(ROOT / "analysis" / "methods"):
        if path.stem in ("problems", "segments") or not sources(path):
            continue
        text = path.read_text(encoding="utf-8")
        memory = sorted({" ".join(one.split()) for one in re.findall(r"[^.;(]*from memory[^.;)]*", text)})
        row = (
            "; ".join(sources(path)),
            ", ".join(cases(path)) or "none in print: laws and simulation",
            "; ".join(memory) or "nothing said to",
        )
        lines.append(f"| {path.stem} | " + " | ".join(cell.replace("|", "/") for cell in row) + " |")
    return "\n".join(lines)


def _imported(path: Path) -> set[str]:
    """The methods that a module takes from analysis.methods."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module == "analysis.methods":
            found |= {one.name for one in node.names}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("analysis.methods."):
            found.add(str(node.module).rpartition(".")[2])
    return found


UNCALLED = "no study"


def method_calls() -> str:
    """Method, and the studies that take it or a method that rests on it; those that only a method takes stand last."""
    methods = {path.stem: _imported(path) for path in modules(ROOT / "analysis" / "methods")}
    called: dict[str, set[str]] = {name: set() for name in methods}
    for path in sorted((ROOT / "analysis").rglob("*.py")):
        where = path.relative_to(ROOT / "analysis").with_suffix("").as_posix().removeprefix("studies/")
        if path.parent.name != "methods":
            for name in _imported(path) & called.keys():
                called[name].add(where)
    lines = ["| method | called by |", "|---|---|"]
    for name in sorted(called, key=lambda one: (not called[one], one)):
        if name in ("problems", "segments"):
            continue
        through = sorted(other for other, taken in methods.items() if name in taken)
        by = [f"`{where}`" for where in sorted(called[name])] or [f"{other} (a method)" for other in through]
        lines.append(f"| {name} | {', '.join(by) or UNCALLED} |")
    return "\n".join(lines)


PARTS = {"map": the_map, "methods": method_table, "calls": method_calls}


def written(page: str) -> str:
    """The page with each part laid anew between its marks."""
    for name, make in PARTS.items():
        begin, end = f"<!-- {name} -->\n", f"<!-- /{name} -->"
        head, _, rest = page.partition(begin)
        page = head + begin + make() + "\n" + end + rest.partition(end)[2]
    return page


if __name__ == "__main__":
    PAGE.write_text(written(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
