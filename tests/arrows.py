"""Which folder may import which: the contract that `lint-imports` keeps, written as a list of what is allowed.

Each line of the contract in pyproject.toml names a folder (or a module) and what it may import of this project; `.*`
behind a name stands for all modules below it. A folder that no line names may import nothing, and nothing may be
imported that no line names: a new module is forbidden until somebody writes it down.
"""

from collections.abc import Iterator

from importlinter import Contract, ContractCheck, fields, output
from importlinter.domain.contract import InvalidContractOptions

OURS = ("ingest", "analysis", "dashboard", "demo_data")


class Allowed(Contract):
    """`allowed = ["FOLDER: TARGET, TARGET", ...]`: every import of ours that no line allows breaks the contract."""

    type_name = "allowed"
    allowed = fields.ListField(subfield=fields.StringField())

    def check(self, graph, verbose):
        """Every arrow of the graph against the lines."""
        wrong = list(forbidden(graph, rules(self.allowed)))
        return ContractCheck(kept=not wrong, metadata={"wrong": wrong})

    def render_broken_contract(self, check):
        for importer, imported in check.metadata["wrong"]:
            output.print_error(f"{importer} may not import {imported}: no line of the contract allows it", bold=False)


def rules(lines: list[str]) -> dict[str, tuple[str, ...]]:
    """Lines of the contract as folder: what it may import. InvalidContractOptions where a line is none."""
    found = {}
    for line in lines:
        folder, colon, targets = line.partition(":")
        if not colon or folder.strip() in found:
            raise InvalidContractOptions(
                {"allowed": f"{line!r} is no line 'FOLDER: TARGET, ...', or names its folder again"}
            )
        found[folder.strip()] = tuple(target.strip() for target in targets.split(",") if target.strip())
    return found


def forbidden(graph, lines: dict[str, tuple[str, ...]]) -> Iterator[tuple[str, str]]:
    """Arrows of ours that no line allows, in order. Within one folder of the contract every arrow is allowed."""
    for importer in sorted(graph.modules):
        if importer.partition(".")[0] not in OURS:
            continue
        home = _home(importer, lines)
        for imported in sorted(graph.find_modules_directly_imported_by(importer)):
            if imported.partition(".")[0] not in OURS or (home and _home(imported, lines) == home):
                continue
            if home is None or not any(_covers(target, imported) for target in lines[home]):
                yield importer, imported


def _home(module: str, lines: dict[str, tuple[str, ...]]) -> str | None:
    """The longest line that names the module or a folder above it."""
    above = [name for name in lines if module == name or module.startswith(name + ".")]
    return max(above, key=len, default=None)


def _covers(target: str, module: str) -> bool:
    return module == target or (target.endswith(".*") and module.startswith(target[:-1]))
