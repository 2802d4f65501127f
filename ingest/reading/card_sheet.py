"""The sheet that Card writes: one CSV a bench and day, a row a visit, each cell with its unit, read like any log.

Its kind is fixed, whatever [[log]] tables a shop has for its own sheets, so that nothing entered at a bench hangs on
how another sheet is read.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date

from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log

CARD = "card"  # column of a card's own number, by which it is written once
FIELDS = (
    "serial",
    "model",
    "stage",
    "tech",
    "started_at",
    "finished_at",
    "outcome",
    "fault",
    "fault_at",
    "sent_back_to",
    "gauge",
    "note",
)
KIND = Log(name="cards", files="card_*.csv", ignore=(CARD,))
_NAME = re.compile(r"card_\d{4}-\d{2}-\d{2}_.+\.csv")
_BENCH = re.compile(r"[^0-9a-z]+")


def is_card(name: str) -> bool:
    """Is a file, by its name, one that Card wrote?"""
    return _NAME.fullmatch(name.replace("\\", "/").rsplit("/", 1)[-1]) is not None


def name_of(day: date, bench: str, sheet: int = 1) -> str:
    """The file of one bench and day; a later `sheet` where the columns have changed during the day."""
    plain = _BENCH.sub("-", bench.casefold()).strip("-") or "bench"
    return f"card_{day.isoformat()}_{plain}{f'_{sheet}' if sheet > 1 else ''}.csv"


def header(shop: Shop, noted: Iterable[tuple[str, str]] = ()) -> list[str]:
    """Headings of a sheet: every measurement of the shop, found and left, and those `noted` besides (characteristic,
    position).
    """
    places = [(item.key, place) for item in shop.characteristics for place in item.positions or ("",)]
    every = dict.fromkeys([*places, *noted])
    measures = [heading(*each, moment) for each in every for moment in ("found", "left")]
    return [*FIELDS, CARD, *measures]


def heading(characteristic: str, position: str, moment: str = "found") -> str:
    """The heading of one measurement, as any log may have it."""
    return " ".join(word for word in (characteristic, position, "" if moment == "found" else moment) if word)


def line(headings: Sequence[str], row: dict[str, str]) -> bytes:
    """One row as it stands in the file."""
    return _text([[row.get(name, "") for name in headings]])


def head(headings: Sequence[str]) -> bytes:
    """The first line of a file."""
    return _text([list(headings)])


def rows_of(data: bytes) -> tuple[list[str], list[dict[str, str]]]:
    """Headings and rows of a file that Card wrote; a last line without its end was never said to be kept, and is
    none.
    """
    whole = data[: data.rfind(b"\n") + 1].decode("utf-8")
    lines = list(csv.reader(io.StringIO(whole)))
    if not lines:
        return [], []
    return lines[0], [dict(zip(lines[0], cells, strict=False)) for cells in lines[1:]]


def _text(rows: list[list[str]]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([[" ".join(cell.split()) for cell in row] for row in rows])
    return out.getvalue().encode("utf-8")
