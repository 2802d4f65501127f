"""Tables of several shops in one set of words, units and clocks; what was done, left out or could not be told, a line
each.
"""

from collections.abc import Iterable, Mapping
from datetime import timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import polars as pl

from ingest.terms.units import factors, unit_of

LATE = timedelta(days=28)  # behind the newest shop
INCH = 25.4
NEARLY = 1.15  # times: as far as shops' levels lie apart that read the same unit
JOIN = "; "  # between several words in one cell of matters
JOINED = {"characteristic": "characteristic", "model": "models", "stage": "stages", "position": "positions"}  # of them
IN_UNIT = (  # columns in the unit of the characteristic
    "mean", "mean_error", "sd", "sd_short", "sd_long", "step", "target", "lower", "upper",
    "before", "after", "size", "size_error",
)  # fmt: skip
Names = Mapping[str, Mapping[str, Mapping[str, str]]]  # shop -> kind -> its word -> the word here


def clocks(heads: pl.DataFrame) -> tuple[pl.DataFrame, list[str]]:
    """Shops whose clock on the wall nobody knows here stand by UTC, and those whose newest reading is of a day after it
    was published are named.
    """
    said, odd = [], {}
    for row in heads.iter_rows(named=True):
        try:
            ZoneInfo(row["timezone"])
        except (ZoneInfoNotFoundError, ValueError, OSError):
            odd[row["timezone"]] = "UTC"
            said.append(
                f"{row['shop']}: its time zone {row['timezone']!r} is not known here; its days are those of UTC"
            )
        if _ahead(row):
            said.append(
                f"{row['shop']}: its newest reading is of {row['as_of']:%Y-%m-%d}, after the day it was published: is "
                "a clock wrong? What it says of its last 26 weeks is of those before that day"
            )
    return heads.with_columns(pl.col("timezone").replace(odd)), said


def _ahead(row: Mapping[str, object]) -> bool:
    return row["as_of"] > row["published_at"] + timedelta(days=1)  # type: ignore[operator]


def late(heads: pl.DataFrame) -> list[str]:
    """Shops whose newest reading is long past; one whose clock runs ahead makes no other late."""
    newest = max((row["as_of"] for row in heads.iter_rows(named=True) if not _ahead(row)), default=heads["as_of"][0])
    said = []
    for row in heads.iter_rows(named=True):
        behind = newest - row["as_of"]
        if behind > LATE:
            day = row["as_of"].astimezone(ZoneInfo(row["timezone"])).date()
            said.append(
                f"{row['shop']}: its newest reading is of {day:%Y-%m-%d}, {behind.days} days before the newest of all; "
                "it stands among the others as it was then"
            )
    return said


def renamed(tables: dict[str, pl.DataFrame], names: Names, shops: Iterable[str]) -> list[str]:
    """Put every shop's words into the words of the map, in place; what was done."""
    said = []
    known = set(shops)
    for shop, kinds in names.items():
        if shop not in known:
            said.append(f"names.toml: no shop {shop!r} is read here")
            continue
        for kind, words in kinds.items():
            found: set[str] = set()
            for name, frame in tables.items():
                column = "key" if name == "meanings" else "what" if kind == "change" else kind
                mine = pl.col("shop") == shop
                if name == "meanings":
                    mine &= pl.col("kind") == kind
                if column not in frame.columns:
                    continue
                found |= set(frame.filter(mine)[column])
                if name == "matters":
                    continue
                tables[name] = frame.with_columns(
                    pl.when(mine).then(pl.col(column).replace(dict(words))).otherwise(column).alias(column)
                )
            tables["matters"] = _matters(tables["matters"], shop, kind, words)
            done = [f"{word} is {means}" for word, means in words.items() if word in found]
            said += [f"{shop}: {kind} {', '.join(done)} here"] if done else []
            said += [f"names.toml: {shop} has no {kind} {word!r}" for word in words if word not in found]
    return said


def one_meaning(tables: dict[str, pl.DataFrame]) -> list[str]:
    """Leave out what a shop measures by another quantity or without a unit, and turn other units into the usual one, in
    place; what was done.
    """
    said: dict[str, list[str]] = {}
    told = tables["meanings"].filter(pl.col("kind") == "characteristic").select("shop", "key", "quantity", "unit")
    usual = (
        told.group_by("key", "quantity").len().sort("len", "quantity", descending=[True, False])
        .unique("key", keep="first", maintain_order=True)
    )  # fmt: skip
    means = dict(usual.select("key", "quantity").iter_rows())
    for shop, key, quantity, unit in told.sort("key", "shop").iter_rows():
        why = ""
        factor = 1.0
        if quantity != means[key]:
            why = f"measured as {quantity} there, as {means[key]} in most shops"
        elif quantity in ("plain", "class"):
            why = "its gauge has no unit that two shops share"
        elif unit:
            top, bottom = factors(unit, quantity)
            factor = top / bottom
            why = "" if unit_of(unit, quantity) else f"its unit {unit!r} is not known"
        if not why and factor == 1.0:
            continue
        for name, frame in tables.items():
            if name == "meanings" or "characteristic" not in frame.columns:
                continue
            mine = (pl.col("shop") == shop) & (pl.col("characteristic") == key)
            turned = [
                pl.when(mine).then(pl.col(column) * factor).otherwise(column).alias(column)
                for column in IN_UNIT
                if column in frame.columns
            ]
            tables[name] = frame.filter(~mine) if why else frame.with_columns(turned)
        what = f"{key} is left out; {why}" if why else f"{key} was turned from {unit}"
        said.setdefault(what, []).append(shop)
    return [f"{_together(shops, told['shop'].n_unique())}: {what}" for what, shops in said.items()]


def _together(shops: list[str], of: int) -> str:
    """Shops of which one thing is said."""
    return f"all {of} shops" if len(shops) == of > 2 else ", ".join(shops)


def _matters(rows: pl.DataFrame, shop: str, kind: str, words: Mapping[str, str]) -> pl.DataFrame:
    """Matters with a shop's words put into those of the map, each of several in one cell."""
    if "cause" not in rows.columns:
        return rows

    def parts(cell: str) -> str:
        return JOIN.join(words.get(part, part) for part in cell.split(JOIN))

    def value(row: Mapping[str, str]) -> str:
        causes, values = row["cause"].split(JOIN), row["cause_value"].split(JOIN)
        if len(causes) != len(values):
            return row["cause_value"]
        told = []
        for cause, said in zip(causes, values, strict=True):
            what, comma, day = said.rpartition(", ") if kind == "change" else (said, "", "")
            told.append(f"{words.get(what, what)}{comma}{day}" if cause == kind else said)
        return JOIN.join(told)

    mine = pl.col("shop") == shop
    put = []
    if (column := JOINED.get(kind, "")) in rows.columns:
        put.append(pl.when(mine).then(pl.col(column).map_elements(parts, pl.String)).otherwise(column).alias(column))
    if kind in ("lot", "supplier", "change"):
        told = pl.struct("cause", "cause_value").map_elements(value, pl.String)
        put.append(pl.when(mine).then(told).otherwise("cause_value").alias("cause_value"))
    return rows.with_columns(put)


def mistaken(tables: dict[str, pl.DataFrame]) -> list[str]:
    """Leave out what a shop plainly reads in inches and wrote as millimetres, or the other way, in place; which.

    It is held against the middle of three shops and more on the same streams.
    """
    held = tables["levels"]
    if "mean" not in held.columns:  # nobody has any
        return []
    stream = [name for name in ("characteristic", "position", "model", "stage") if name in held.columns]
    lengths = tables["meanings"].filter((pl.col("kind") == "characteristic") & (pl.col("quantity") == "length"))
    rows = held.join(lengths.select("shop", characteristic="key"), on=["shop", "characteristic"], how="semi")
    rows = rows.filter((pl.col("mean") > 0) & (pl.len().over(stream) >= 3))
    if rows.is_empty():
        return []
    ratio = (
        rows.with_columns(_middle=pl.col("mean").median().over(stream))
        .group_by("shop", "characteristic")
        .agg((pl.col("mean") / pl.col("_middle")).median().alias("times"))
        .sort("characteristic", "shop")
    )
    said = []
    for shop, key, times in ratio.iter_rows():
        for factor, why in ((1 / INCH, "inches taken for mm"), (INCH, "mm taken for inches")):
            if not 1 / NEARLY < times / factor < NEARLY:
                continue
            for name, frame in tables.items():
                if name != "meanings" and "characteristic" in frame.columns:
                    mine = (pl.col("shop") == shop) & (pl.col("characteristic") == key)
                    tables[name] = frame.filter(~mine)
            said.append(f"{shop}: {key} is left out; it lies at {times:.3g} times what other shops read: {why}?")
    return said


def own_words(tables: Mapping[str, pl.DataFrame]) -> list[str]:
    """Models and stages that are read in one shop and in no other, a line a shop."""
    held = tables["levels"]
    said: dict[str, list[str]] = {}
    if held["shop"].n_unique() < 2:
        return []
    for kind in ("model", "stage"):
        if kind not in held.columns:
            continue
        alone = (
            held.select("shop", kind).unique().filter(pl.len().over(kind) == 1).sort("shop", kind)
            .group_by("shop", maintain_order=True).agg(kind)
        )  # fmt: skip
        for shop, words in alone.iter_rows():
            said.setdefault(shop, []).append(f"{kind}{'s' if len(words) > 1 else ''} {', '.join(words)}")
    return [
        f"{shop}: no other shop has its {' and its '.join(words)}; where others call it otherwise, names.toml says so"
        for shop, words in said.items()
    ]
