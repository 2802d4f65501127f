"""How much of the sheets a proposal would read, before anything is written: rows, readings, what would be set aside."""

import tempfile
import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from ingest.beginning.new import Proposal
from ingest.reading.on_disk import LONG, Data, is_workbook, pieces
from ingest.reading.reader import read_log
from ingest.shopfiles.shop import Shop, checked_shop
from ingest.terms.questions import FileProblem

MOST = 6  # files told one by one


@dataclass(frozen=True)
class Counted:
    """What one file would give."""

    name: str
    rows: int = 0
    rows_aside: int = 0
    readings: int = 0
    cells_aside: int = 0
    send_backs: int | None = None  # None: outcomes are not read
    columns: tuple[tuple[str, int], ...] = ()  # measurement with position -> readings
    problem: str = ""
    lines: int = 0  # of the file that were counted; 0: all

    def told(self) -> str:
        """In one line."""
        if self.problem:
            return f"{self.name}: would not be read: {self.problem}"
        backs = "outcomes not read" if self.send_backs is None else f"{self.send_backs:,} sent back"
        name = f"{self.name}, its first {self.lines:,} lines" if self.lines else self.name
        return (
            f"{name}: {self.rows - self.rows_aside:,} of {self.rows:,} rows and {self.readings:,} readings would "
            f"be read, {self.rows_aside:,} rows and {self.cells_aside:,} cells set aside; {backs}"
        )


def together(found: Sequence[Counted]) -> list[Counted]:
    """Files that would not be read for the same reason as one, and many files that would be read as one with their
    sums; each under the name of its first, with how many more there are.
    """
    groups: dict[str, list[Counted]] = {}
    read = sum(1 for each in found if not each.problem)
    for place, each in enumerate(found):
        groups.setdefault(each.problem or ("" if read > MOST else f"\x1f{place}"), []).append(each)
    return [held[0] if len(held) == 1 else _summed(held) for held in groups.values()]


def _summed(held: Sequence[Counted]) -> Counted:
    columns: dict[str, int] = {}
    for each in held:
        for name, number in each.columns:
            columns[name] = columns.get(name, 0) + number
    backs = [each.send_backs for each in held if each.send_backs is not None]
    return Counted(
        f"{held[0].name} and {len(held) - 1} more",
        sum(each.rows for each in held),
        sum(each.rows_aside for each in held),
        sum(each.readings for each in held),
        sum(each.cells_aside for each in held),
        sum(backs) if backs else None,
        tuple(columns.items()),
        held[0].problem,
        max(each.lines for each in held),
    )


def counted(
    files: Sequence[tuple[str, Data]], proposal: Proposal, shop: Shop | None = None, *, lines: int = 0
) -> list[Counted]:
    """Read the files as the proposal would have them read, and keep nothing.

    shop : the shop already there, to which the proposal adds.  lines : of a longer file only so many are counted, and
    it is said; 0: all.
    """
    try:
        whole = shop_with(proposal, shop)
    except ValueError as fault:
        return [Counted(name, problem=str(fault)) for name, _ in files]
    return [_counted(name, data, whole, lines) for name, data in files]


def shop_with(proposal: Proposal, shop: Shop | None) -> Shop:
    """The shop as it would be with what is proposed; its new kinds of sheet go before those it has."""
    table = tomllib.loads(proposal.shop_toml)
    if shop is None:
        return checked_shop(table)
    held = shop.model_dump(by_alias=True, exclude_defaults=True)
    for kind, entries in table.items():
        before = list(held.get(kind, []))
        if kind == "log":
            whole = {each.get("name", "logs"): each for each in entries}
            mine = [whole.pop(each.get("name", "logs"), each) for each in before]  # completed ones keep their place
            held[kind] = [*whole.values(), *mine]
            continue
        held[kind] = [*before, *entries]
    return checked_shop(held)


def _counted(name: str, data: Data, shop: Shop, lines: int) -> Counted:
    many = sum(piece.count(b"\n") for piece in pieces(data)) if lines and not is_workbook(data) else 0
    long = many > lines
    with tempfile.TemporaryDirectory() as place:
        on_disk = Path(place) if len(data) > LONG else None
        try:
            sheet = read_log(data, name, shop, only=range(lines + 1) if long else None, on_disk=on_disk)
        except FileProblem as problem:
            return Counted(name, problem=str(problem).removeprefix(f"{name}: "))
        back, told, by = 0, False, Counter[tuple[str, str]]()
        for part in sheet.parts():
            back += part["visits"].filter(pl.col("outcome") == "send back").height
            told = told or bool((part["visits"]["outcome"] != "open").any())
            counts = part["readings"].group_by("characteristic", "position").len()
            by.update({(what, where): n for what, where, n in counts.iter_rows()})
    return Counted(
        name,
        sheet.rows_read,
        sheet.rows_set_aside,
        by.total(),
        sheet.cells_set_aside,
        back if told else None,
        tuple((f"{what} {where}".strip(), n) for (what, where), n in sorted(by.items())),
        lines=lines if long else 0,
    )
