"""What only several shops can tell, in sentences, list by list: no person stands in them, and no shop is told apart
without how sure it is.
"""

from collections.abc import Iterator
from typing import Any

import polars as pl

from analysis.studies.drift.streams import KEY
from analysis.studies.shops import same_lots
from analysis.studies.shops.same_model import ALPHA, LEVEL, ROOM, SPREAD
from dashboard import numbers

FEW = 30
MOST = 12  # findings of one kind in sentences; the tables hold all
Row = dict[str, Any]
QUESTIONS = {LEVEL: "lies at", SPREAD: "spreads by", ROOM: "has a Ppk of"}


class Words:
    """What characteristics and stages are called and measured in: as the first shop has it that knows them."""

    def __init__(self, meanings: pl.DataFrame) -> None:
        named = meanings.sort("shop", maintain_order=True)
        told = named.unique(["kind", "key"], keep="first", maintain_order=True)
        self._names = {(row["kind"], row["key"]): row["name"] for row in told.iter_rows(named=True)}
        self._quantity = dict(told.filter(pl.col("kind") == "characteristic").select("key", "quantity").iter_rows())

    def name(self, kind: str, key: str) -> str:
        """A name as a reader knows it."""
        return self._names.get((kind, key)) or key.replace("_", " ").capitalize()

    def amount(self, key: str, value: float | None, *, sign: bool = False) -> str:
        """A mean of a characteristic; one digit more than readings have, since shops lie close together."""
        quantity = self._quantity.get(key) or "length"
        decimals = numbers.decimals_of(quantity) + 1
        put = numbers.signed if sign else numbers.plain
        return numbers.with_unit(put(value, decimals), numbers.unit_of(quantity))

    def unit(self, key: str) -> tuple[str, int]:
        """The unit of a characteristic as it is written, and digits of a mean of it."""
        quantity = self._quantity.get(key) or "length"
        return numbers.unit_of(quantity), numbers.decimals_of(quantity) + 1

    def stream(self, row: Row) -> str:
        """`Neck relief, LARK-25, Final inspection`."""
        where = " ".join(part for part in (self.name("characteristic", row["characteristic"]), row["position"]) if part)
        return f"{where}, {row['model']}, {self.name('stage', row['stage'])}"

    def span(self, key: str, low: float, high: float) -> str:
        """`−0.05 to 0.12`, in the unit of the amount before it."""
        first, last = (self.amount(key, end, sign=True).partition(numbers.NBSP)[0] for end in (low, high))
        return f"{first} to {last}"

    def known(self, row: Row, names: tuple[str, str, str]) -> str:
        """`2.365 mm (2.356 to 2.375)` of a figure and the two ends of its interval."""
        value, low, high = (self.figure(row, row[name]) for name in names)
        return f"{value} ({low.partition(numbers.NBSP)[0]} to {high.partition(numbers.NBSP)[0]}{few(row)})"

    def figure(self, row: Row, value: float | None) -> str:
        """A level, a spread or a Ppk."""
        return numbers.plain(value) if row["question"] == ROOM else self.amount(row["characteristic"], value)


def models(rows: pl.DataFrame, words: Words) -> Iterator[str]:
    """One model in all shops."""
    if rows.is_empty():
        yield "No model, characteristic and stage was read often enough in two shops: names may differ (--names)."
        return
    asked = rows.select(pl.struct("question", *KEY).n_unique()).item()
    families = (
        rows.filter(pl.col("among_all") < ALPHA).sort("chance").select("question", *KEY).unique(maintain_order=True)
    )
    yield (
        f"One model in several shops: {numbers.count(asked)} comparisons of level, spread and room, in "
        f"{numbers.in_words(len(families))} of which shops differ beyond chance."
    )
    for family in families.head(MOST).iter_rows(named=True):
        mine = rows.filter(*(pl.col(name) == value for name, value in family.items()))
        yield "  " + (model_of_two(mine, words) if len(mine) == 2 else model_of_many(mine, words))
    if len(families) > MOST:
        yield f"  and {numbers.count(len(families) - MOST)} more; --out DIR writes all of them."
    yield from _left_out(rows, words)


def _left_out(rows: pl.DataFrame, words: Words) -> Iterator[str]:
    """Readings that no comparison uses, where there are any."""
    some = rows.filter(pl.col("far") > 0, pl.col("question") == LEVEL)
    if some.is_empty():
        return
    many = int(some["far"].sum())
    where = [
        f"{row['shop']} {words.stream(row)}" + (f" ({numbers.count(row['far'])})" if row["far"] > 1 else "")
        for row in some.sort("far", "shop", descending=[True, False], maintain_order=True)
        .head(MOST)
        .iter_rows(named=True)
    ]
    more = f" and {numbers.count(len(some) - MOST)} more" if len(some) > MOST else ""
    yield (
        f"  Left out: {numbers.count(many)} {'reading' if many == 1 else 'readings'} ten spreads and more from all "
        f"others, mistyped perhaps: {'; '.join(where)}{more}. The shop finds them on Drift under Odd instruments."
    )


def alone(shops: list[str], rows: pl.DataFrame, meanings: pl.DataFrame) -> Iterator[str]:
    """Shops that no other shares a stream with, by the words they use."""
    compared = set(rows["shop"])
    for shop in shops:
        if shop in compared:
            continue
        mine = meanings.filter(pl.col("shop") == shop)
        words = [
            f"{kind}s {', '.join(keys[:MOST])}{' ...' if len(keys) > MOST else ''}"
            for kind in ("model", "stage", "characteristic")
            if (keys := mine.filter(pl.col("kind") == kind)["key"].to_list())
        ]
        yield f"  {shop} is held against nobody: no other has read enough under its words: {'; '.join(words)}."


def model_of_two(mine: pl.DataFrame, words: Words) -> str:
    """Two shops that differ."""
    told = [
        f"{row['shop']} {QUESTIONS[row['question']]} {words.known(row, ('own', 'own_low', 'own_high'))}"
        for row in mine.sort("own", descending=True).iter_rows(named=True)
    ]
    return f"{words.stream(mine.row(0, named=True))}: {', '.join(told)}."


def model_of_many(mine: pl.DataFrame, words: Words) -> str:
    """Many shops of which some stand out."""
    row = mine.row(0, named=True)
    out = mine.filter(pl.col("apart")).sort(pl.col("off").abs(), descending=True)
    told = [
        f"{one['shop']} {QUESTIONS[row['question']]} {words.known(one, ('value', 'low', 'high'))}"
        for one in out.head(6).iter_rows(named=True)
    ]
    more = f" and {numbers.in_words(len(out) - 6)} more stand out" if len(out) > 6 else ""
    usual = words.known({**row, "n": FEW}, ("all", "all_low", "all_high"))
    which = ", ".join(told) if told else "no single one can be named for it"
    shops = numbers.in_words(row["shops"])
    return f"{words.stream(row)}: {shops} shops differ beyond chance round {usual}; {which}{more}."


def changes(rows: pl.DataFrame, words: Words) -> Iterator[str]:
    """One change in several shops, each on its own day."""
    if rows.is_empty():
        yield "No dated change, by the same words on the same stream, and no new target is known of two shops."
        return
    family = ["kind", "what", "target", *KEY] if rows["kind"].n_unique() == 1 else ["kind", "what", *KEY]
    asked = rows.select(pl.struct(family).n_unique()).item()
    moved = rows.filter("moved").sort("chance").select(family).unique(maintain_order=True)
    yield (
        f"One change in several shops: {numbers.count(asked)} held against their readings, eight weeks on either side; "
        f"beyond chance {numbers.in_words(len(moved))} moved them."
    )
    for one in moved.head(MOST).iter_rows(named=True):
        mine = rows.filter(*(pl.col(name).eq_missing(value) for name, value in one.items()))
        yield "  " + change(mine, words)
    if len(moved) > MOST:
        yield f"  and {numbers.count(len(moved) - MOST)} more; --out DIR writes all of them."


def change(mine: pl.DataFrame, words: Words) -> str:
    """What one change did in each shop, with the day that was said and the one that the readings name."""
    row, key = mine.row(0, named=True), mine["characteristic"][0]
    told = []
    for one in mine.filter("moved").sort("said_on").head(MOST).iter_rows(named=True):
        size = f"{words.amount(key, one['size'], sign=True)} ({words.span(key, one['size_low'], one['size_high'])})"
        said, read = numbers.day(one["said_on"]), numbers.day(one["read_from"])
        if one["read_from"] != one["read_to"]:
            read = numbers.days(one["read_from"], one["read_to"])
        when = f"on {said}" if one["on_its_day"] else f"said to be of {said}, by its readings of {read}"
        told.append(f"{one['shop']} by {size} {when}")
    still = mine.filter(~pl.col("moved"))["shop"].to_list()
    rest = f"; not shown in {', '.join(still)}" if still else ""
    whole = ""
    if row["all"] is not None:
        ends = words.span(key, row["all_low"], row["all_high"])
        whole = f", {words.amount(key, row['all'], sign=True)} ({ends}) in the mean of all"
    return f"{row['what']}: {words.stream(row)} moved{whole}: {', '.join(told)}{rest}."


def few(row: Row) -> str:
    """Said where a shop has read few."""
    return f", few: {row['n']}" if row["n"] < FEW else ""


def lots(rows: pl.DataFrame, words: Words) -> Iterator[str]:
    """Suppliers' lots wherever they went."""
    if rows.is_empty():
        yield f"No supplier has {numbers.in_words(same_lots.LOTS_LEAST)} lots that can be held against each other."
        return
    out = rows.filter(pl.col("apart")).sort("chance")
    yield (
        f"Suppliers' lots: {numbers.count(len(rows))} held against the others of their supplier, whatever shop they "
        f"came to; {numbers.in_words(len(out))} {'stands' if len(out) == 1 else 'stand'} out."
    )
    for row in out.head(MOST).iter_rows(named=True):
        names = row["shops"].split("; ")
        where = f"in {numbers.in_words(len(names))} shops ({', '.join(names)})" if len(names) > 1 else f"in {names[0]}"
        key = row["characteristic"]
        size, span = words.amount(key, row["off"], sign=True), words.span(key, row["low"], row["high"])
        others, necks = numbers.count(row["lots"] - 1), numbers.count(row["n"])
        yield (
            f"  {words.name('characteristic', key)} of lot {row['lot']} of {row['supplier']}, {where}, lies {size} "
            f"({span}) from its {others} other lots, by {necks} necks{' (few)' if row['n'] < FEW else ''}."
        )


def gauges(rows: pl.DataFrame, apart: pl.DataFrame, words: Words) -> Iterator[str]:
    """Shops on the same lots: who reads apart from all others, then two by two what that does not tell."""
    if rows.is_empty():
        yield "No lot was measured in two shops, so nobody can tell a gauge from the necks it measured."
        return
    out = apart.filter("apart").sort("chance")
    if len(out):
        yield OF_ONE.format(
            n=numbers.in_words(len(out), capital=True), reads="shop reads" if len(out) == 1 else "shops read"
        )
    for row in out.head(MOST).iter_rows(named=True):
        yield "  " + against_all(row, words)
    for side in ("shop", "other"):  # a pair with one of them says the same once more
        told = out.select("characteristic", pl.col("shop").alias(side))
        gauge = rows.filter(what=same_lots.GAUGE).join(told, on=["characteristic", side], how="anti")
        rows = pl.concat([gauge, rows.filter(pl.col("what") != same_lots.GAUGE)])
    for what, head in HEADS.items():
        these = rows.filter(pl.col("what") == what).sort("chance")
        if these.is_empty():
            continue
        yield head.format(n=numbers.count(len(these)), pairs="pair" if len(these) == 1 else "pairs")
        if what == same_lots.ALIKE:
            widest = (
                these.with_columns(reach=pl.max_horizontal(pl.col("low").abs(), pl.col("high").abs()))
                .group_by("characteristic", maintain_order=True)
                .agg(pl.col("reach").max())
            )
            for row in widest.iter_rows(named=True):
                key = row["characteristic"]
                most = words.amount(key, row["reach"])
                yield f"  {words.name('characteristic', key)}: what is left may be up to {most}."
            continue
        for row in these.head(MOST).iter_rows(named=True):
            yield "  " + pair(row, words)
        if len(these) > MOST:
            yield f"  and {numbers.count(len(these) - MOST)} more; --out DIR writes all of them."


OF_ONE = (
    "{n} {reads} apart from all others on the same lots, each lot alike: the gauge, how it is held or how necks rest "
    "before."
)
HEADS = {
    same_lots.GAUGE: "The gauge, how it is held or how necks rest before ({n} {pairs} of shops): the same lots read "
    "differently, each lot alike.",
    same_lots.NECKS: "The necks ({n} {pairs} of shops): halves of the same lots differ, and not all in one way, as a "
    "gauge would.",
    same_lots.ALIKE: "No difference is shown on the same lots between {n} {pairs} of shops.",
    same_lots.ONE_LOT: "One lot in common ({n} {pairs} of shops): gauge, rest and which necks went where cannot be "
    "told apart.",
}


def against_all(row: Row, words: Words) -> str:
    """What one shop reads from all the others on the lots they share."""
    key = row["characteristic"]
    size, span = words.amount(key, row["off"], sign=True), words.span(key, row["low"], row["high"])
    return (
        f"{words.name('characteristic', key)}: {row['shop']} reads {size} ({span}) from "
        f"{numbers.in_words(row['others'])} others on {numbers.count(row['lots'])} lots, "
        f"{numbers.count(row['n'])} necks{' (few)' if row['n'] < FEW else ''}."
    )


def pair(row: Row, words: Words) -> str:
    """What one shop reads above another on the same lots."""
    key = row["characteristic"]
    size = words.amount(key, row["off"], sign=True)
    span = words.span(key, row["low"], row["high"])
    count = f"{numbers.count(row['lots'])} {'lot' if row['lots'] == 1 else 'lots'}"
    return (
        f"{words.name('characteristic', key)}: {row['shop']} reads {size} ({span}) from {row['other']} on {count}, "
        f"{numbers.count(row['n'])} necks against {numbers.count(row['n_other'])}."
    )
