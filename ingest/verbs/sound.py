"""The shop as a verb finds it: all its files usable, its book and store whole, the clock believable."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from ingest.reading.sheet import Sheet
from ingest.reading.stamps import FUTURE
from ingest.shopfiles.shop import Shop, read_shop
from ingest.store import book, ledger
from ingest.store.problems import StoreProblem
from ingest.store.sqlite_tables import as_text
from ingest.store.store import check_shop_files
from ingest.store.whole import refuse_damage
from ingest.terms.questions import FileProblem

CLOCKS_DIFFER = timedelta(days=1)  # between machines, before one of them is wrong
WRITTEN = datetime(2025, 1, 1, tzinfo=UTC)  # no copy of this program is older: a clock before it is wrong
MANY = 20  # rows that lie after the clock, and are most of a file: not single slips
PUT_RIGHT = "Put the clock right; nothing was changed"


def usable_shop(folder: Path) -> Shop:
    """The shop, all its files looked at; ShopProblem where one cannot be used."""
    check_shop_files(folder)
    return read_shop(folder / "shop.toml")


def sound_shop(folder: Path, *, now: datetime) -> Shop:
    """The shop for a verb that writes: StoreProblem, one line, where book or store are damaged, somebody else writes
    and does not end, or the clock stands before what was loaded already.
    """
    shop = usable_shop(folder)
    if now < WRITTEN:
        raise StoreProblem(
            f"This machine's clock says {now:%Y-%m-%d %H:%M} UTC, but this program was not written before "
            f"{WRITTEN:%Y}: rows since then would be set aside as the future. {PUT_RIGHT}"
        )
    ledger.free(folder)
    refuse_damage(folder)
    latest = latest_load(folder, now + CLOCKS_DIFFER)
    if latest is not None:
        raise StoreProblem(
            f"This machine's clock says {now:%Y-%m-%d %H:%M} UTC, but a log was loaded on {latest:%Y-%m-%d}: rows "
            f"since then would be set aside as the future. {PUT_RIGHT}"
        )
    return shop


def latest_load(folder: Path, after: datetime) -> datetime | None:
    """When the last of the logs that count was loaded; None where none was after a moment (UTC)."""
    with book.reading(folder) as connection:
        if book.lines(connection, "loads", where="at > ?", values=(as_text(after),)).is_empty():
            return None  # of ten years of logs only those are looked at
        latest = book.active_logs(book.lines(connection, "loads"))["at"].max()
    return latest if isinstance(latest, datetime) and latest > after else None


def refuse_later_files(files: Iterable[Path], *, now: datetime) -> None:
    """StoreProblem where a file was last written well after what the clock of this machine says."""
    for path in files:
        written = datetime.fromtimestamp(path.stat().st_mtime, UTC) if path.is_file() else now
        if now < written - CLOCKS_DIFFER:
            raise StoreProblem(
                f"This machine's clock says {now:%Y-%m-%d %H:%M} UTC, but {path.name} was last written on "
                f"{written:%Y-%m-%d}: its rows might be set aside as the future. {PUT_RIGHT}. If the clock is right, "
                "copy the file's text into a new one"
            )


def refuse_a_late_sheet(sheet: Sheet, name: str, *, now: datetime) -> None:
    """FileProblem where most rows of a file lie after the clock of this machine: then the clock is wrong, or the way
    its dates are read, and not row after row.
    """
    late = sheet.set_aside.filter((pl.col("column") == "") & (pl.col("reason") == FUTURE)).height
    if late >= MANY and 2 * late > sheet.rows_read:
        raise FileProblem(
            f"{name}: {late:,} of its {sheet.rows_read:,} rows lie after what this machine's clock says "
            f"({now:%Y-%m-%d %H:%M} UTC). {PUT_RIGHT}. If the clock is right, look at `date_order` of its [[log]]"
        )
