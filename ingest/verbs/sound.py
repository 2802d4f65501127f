"""The shop as a verb finds it: all its files usable, its book and store whole, the clock believable."""

from datetime import datetime, timedelta
from pathlib import Path

from ingest.shopfiles.shop import Shop, read_shop
from ingest.store import book, ledger
from ingest.store.problems import StoreProblem
from ingest.store.store import check_shop_files
from ingest.store.whole import refuse_damage

CLOCKS_DIFFER = timedelta(days=1)  # between machines, before one of them is wrong


def usable_shop(folder: Path) -> Shop:
    """The shop, all its files looked at; ShopProblem where one cannot be used."""
    check_shop_files(folder)
    return read_shop(folder / "shop.toml")


def sound_shop(folder: Path, *, now: datetime) -> Shop:
    """The shop for a verb that writes: StoreProblem, one line, where book or store are damaged, somebody else writes
    and does not end, or the clock stands before what was loaded already.
    """
    shop = usable_shop(folder)
    ledger.free(folder)
    refuse_damage(folder)
    latest = book.active_logs(book.loads(folder))["at"].max()
    if isinstance(latest, datetime) and now < latest - CLOCKS_DIFFER:
        raise StoreProblem(
            f"This machine's clock says {now:%Y-%m-%d %H:%M} UTC, but a log was loaded on {latest:%Y-%m-%d}: rows "
            "since then would be set aside as the future. Put the clock right; nothing was changed"
        )
    return shop
