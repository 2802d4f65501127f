"""How much of the sheets a proposal would read, before anything is written: rows, readings, what would be set aside."""

import tempfile
import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from ingest.beginning.new import Proposal
from ingest.reading.on_disk import LONG, Data, is_workbook, pieces
from ingest.reading.reader import read_log
from ingest.shopfiles.shop import Shop, checked_shop
from ingest.terms.questions import FileProblem

MOST = 6  # files told one by one
KINDS = 8  # of what is set aside, told one by one
WANTED = 160  # characters of what is wanted


@dataclass(frozen=True)
class Aside:
    """One kind of row or cell that would be set aside, with its first."""

    reason: str
    count: int
    column: str  # of the first; '' where whole rows are set aside
    raw: str  # what stands there, '' of a row
    line: int
    wanted: str

    def told(self) -> str:
        """In one line: how many, why, what was found first and what is wanted."""
        many = f"{self.count:,} {'cell' if self.column else 'row'}{'' if self.count == 1 else 's'}"
        found = f", first '{_short(self.raw)}' under {self.column}" if self.column else ", first"
        return f"{many}: {self.reason}{found} in line {self.line:,}; wanted {_short(self.wanted, WANTED)}"


def _short(text: str, most: int = 24) -> str:
    plain = " ".join(text.split())
    return plain if len(plain) <= most else plain[: most - 3].rstrip() + "..."


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
    aside: tuple[Aside, ...] = ()  # the kinds of rows and cells set aside, most first

    def why(self) -> list[str]:
        """What would be set aside and why, a line a kind."""
        told = [one.told() for one in self.aside[:KINDS]]
        left = len(self.aside) - KINDS
        more = f"and {sum(one.count for one in self.aside[KINDS:]):,} of {left} more kind{'' if left == 1 else 's'}"
        return [*told, more] if left > 0 else told

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
        _most_first([one for each in held for one in each.aside]),
    )


def _most_first(several: Sequence[Aside]) -> tuple[Aside, ...]:
    """Kinds of one reason as one, most first."""
    kinds: dict[tuple[str, bool], Aside] = {}
    for one in several:
        key = one.reason, bool(one.column)
        kinds[key] = replace(kinds[key], count=kinds[key].count + one.count) if key in kinds else one
    return tuple(sorted(kinds.values(), key=lambda one: -one.count))


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
        aside=_aside(sheet.set_aside),
    )


def _aside(rows: pl.DataFrame) -> tuple[Aside, ...]:
    """SET_ASIDE by kind."""
    whole = pl.col("column") == ""
    kinds = rows.sort("line").group_by("reason", whole.alias("whole"), maintain_order=True)
    told = kinds.agg(pl.len().alias("count"), pl.col("column", "raw", "line", "wanted").first())
    return _most_first(
        [
            Aside(
                row["reason"],
                row["count"],
                row["column"],
                "" if row["whole"] else row["raw"],
                row["line"],
                row["wanted"],
            )
            for row in told.iter_rows(named=True)
        ]
    )
