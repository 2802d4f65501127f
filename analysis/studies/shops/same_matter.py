"""A cause that moves several shops is one matter: shops whose matters name the same lot, supplier, strings or changed
part, and shops whose readings of one characteristic moved the same way within two weeks of each other.

Named alike: each shop says how sure it is of what it names; the chance is that fewer than two of these shops are right.
Near in time: each shop's matters of that characteristic and direction are taken as falling on any day alike; the chance
is that as many shops or more have one within two weeks of one that is there (each shop's own rate, a Poisson binomial
sum). Either takes half of what the list may err, paid for all that it asks: windows are many, names few. The surest is
told first, and days are then held against what is left of them: one cause is one line. Whoever set the readings is no
cause here: no person is looked at.

Source: the sum of unlike chances: Wang 1993, Statistica Sinica 3, 295-312 (by convolution); windows that begin at an
event: Naus 1965, J. American Statistical Association 60, 532-538; both from memory, held by tests.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl

from analysis.methods.partial_pooling import among_many
from analysis.studies.shops.same_model import ALPHA
from ingest.terms import tables
from ingest.terms.tables import TIME

NEAR = timedelta(days=14)
KINDS = ("lot", "supplier", "string set", "change")  # causes that several shops may have in common, by their words
MOST = 40  # common matters that stand in the table, but for those beyond chance
DAY = "day"  # nothing but the day is known
JOIN = "; "  # between several in one cell
TEXT, COUNT, NUMBER = pl.String(), pl.Int64(), pl.Float64()
SAME_MATTER: dict[str, pl.DataType] = {  # a row a common matter and shop
    "number": COUNT,  # of the common matter, the surest first
    "kind": TEXT,  # lot | supplier | string set | change | day
    **dict.fromkeys(("what", "characteristic", "shop"), TEXT),
    "up": pl.Boolean(),
    **dict.fromkeys(("shops", "read_in"), COUNT),  # of it; that read the characteristic at all
    **dict.fromkeys(("models", "stages", "state"), TEXT),
    **dict.fromkeys(("size", "size_low", "size_high"), NUMBER),
    **dict.fromkeys(("began_low", "began_at", "began_high"), TIME),
    **dict.fromkeys(("chance", "among_all"), NUMBER),
    "one": pl.Boolean(),  # beyond chance among all
}
_NEEDED = {
    **dict.fromkeys(("shop", "matter", "characteristic", "models", "stages", "state", "cause", "cause_value"), TEXT),
    **dict.fromkeys(("probability", "size", "size_low", "size_high"), NUMBER),
    **dict.fromkeys(("began_low", "began_at", "began_high"), TIME),
}


def same_matter(matters: pl.DataFrame, levels: pl.DataFrame) -> pl.DataFrame:
    """SAME_MATTER of the rows of `matters` and `levels` of many shops (with the column `shop`)."""
    told = tables.shaped(matters, _NEEDED) if matters.width > 1 else tables.empty(_NEEDED)
    told = told.filter(pl.col("began_at").is_not_null() & pl.col("size").is_not_null() & (pl.col("size") != 0))
    told = told.with_columns(
        characteristic=pl.col("characteristic").str.split(JOIN).list.first(), up=pl.col("size") > 0
    ).sort("characteristic", "up", "began_at", "shop", "matter")
    groups = [*_named_alike(told), *_near_in_time(told)]
    if not groups:
        return tables.empty(SAME_MATTER)
    days = np.array([group["kind"] == DAY for group in groups])
    among = np.array([group["chance"] for group in groups])
    for one in (days, ~days):
        among[one] = np.minimum(2 * among_many(among[one]), 1.0)
    order = sorted(range(len(groups)), key=lambda k: (among[k], groups[k]["chance"], groups[k]["kind"] == DAY))
    read = dict(levels.group_by("characteristic").agg(pl.col("shop").n_unique()).iter_rows()) if len(levels) else {}
    whose, key = told["shop"].to_list(), told["matter"].to_list()
    taken: set[tuple[str, str]] = set()  # matters told already
    rows: list[pl.DataFrame] = []
    for k in order:
        group, paid = groups[k], float(among[k])
        if among[k] >= ALPHA and len(rows) >= MOST:
            break
        if group["kind"] == DAY and taken:
            group = _without(group, taken, whose, key)
            paid = max(paid, min(group["chance"] * 2 * int(days.sum()), 1.0))
        keys = {(whose[place], key[place]) for place in group["places"]}
        if group["shops"] < 2 or len({shop for shop, _ in keys - taken}) < 2:
            continue
        taken |= {(whose[place], key[place]) for place in group["every"]}
        mine = told[group["places"]]
        rows.append(
            mine.sort("shop", "began_at")
            .unique("shop", keep="first", maintain_order=True)
            .with_columns(
                number=pl.lit(len(rows) + 1),
                kind=pl.lit(group["kind"]),
                what=pl.lit(group["what"]),
                shops=pl.lit(group["shops"]),
                read_in=pl.lit(max(read.get(mine["characteristic"][0], 0), group["shops"])),
                chance=pl.lit(group["chance"]),
                among_all=pl.lit(paid),
                one=pl.lit(paid < ALPHA),
            )
        )
    if not rows:
        return tables.empty(SAME_MATTER)
    surest = pl.concat(rows).sort(~pl.col("one"), "among_all", "number", maintain_order=True)
    return tables.shaped(surest.with_columns(number=pl.col("number").rle_id().cast(pl.Int64) + 1), SAME_MATTER)


def _without(group: dict[str, Any], taken: set[tuple[str, str]], whose: list[str], key: list[str]) -> dict[str, Any]:
    """What falls together less what a surer common matter tells already, by the rates of what is left; none where the
    matter it begins with is one of those: another begins with the next.
    """
    left = [place for place in group["places"] if (whose[place], key[place]) not in taken]
    if left[:1] != group["places"][:1]:
        return {**group, "places": [], "every": [], "shops": 0, "chance": 1.0}
    many = Counter(whose[place] for place in group["alike"] if (whose[place], key[place]) not in taken)
    shops = len({whose[place] for place in left})
    chance = float(_as_many(many, group["share"], whose[left[0]])[shops - 1])
    return {**group, "places": left, "every": left, "shops": shops, "chance": chance}


def _as_many(many: Mapping[str, int], share: float, first: str) -> np.ndarray:
    """The chance that so many other shops or more (0 to all) have a matter within a share of the time. many : matters
    of each shop.
    """
    others = [1 - np.exp(-n * share) for shop, n in many.items() if shop != first]
    return np.cumsum(_sums(np.array(others))[::-1])[::-1]


def _named_alike(told: pl.DataFrame) -> Iterator[dict[str, Any]]:
    """Matters that name one cause, by cause, characteristic and direction: every one that was named at all."""
    named: list[tuple[str, str, str, int, float]] = []
    for place, (cause, value, sure) in enumerate(told.select("cause", "cause_value", "probability").iter_rows()):
        causes, values = cause.split(JOIN), value.split(JOIN)
        if len(causes) != len(values):
            continue
        for kind, word in zip(causes, values, strict=True):
            if kind in KINDS and word:
                what = word.rpartition(", ")[0] if kind == "change" else word
                named.append((kind, what, _plain(what), place, (sure or 0.0) / len(causes)))
    rows = pl.DataFrame(named, schema=["kind", "what", "plain", "place", "sure"], orient="row")
    rows = rows.with_columns(told[rows["place"].to_list()].select("characteristic", "up", "shop")) if named else rows
    key = ["kind", "plain", "characteristic", "up"]
    for (kind, *_), part in rows.group_by(key, maintain_order=True) if named else ():
        best = part.sort("sure", descending=True, maintain_order=True).unique("shop", keep="first", maintain_order=True)
        right = _sums(best["sure"].to_numpy())
        yield {
            "kind": kind,
            "what": part["what"][0],
            "places": best["place"].to_list(),
            "every": part["place"].to_list(),
            "shops": len(best),
            "chance": float(right[:2].sum()) if len(best) > 1 else 1.0,
        }


def _near_in_time(told: pl.DataFrame) -> Iterator[dict[str, Any]]:
    """Matters of other shops that began within NEAR after one that is there, for each that is there."""
    if told.is_empty():
        return
    days = told["began_at"].dt.epoch("s")
    whole = max(int(days.to_numpy().max() - days.to_numpy().min()), NEAR.total_seconds())
    for (characteristic, _), part in told.with_row_index("place").group_by("characteristic", "up", maintain_order=True):
        many = dict(part.group_by("shop", maintain_order=True).len().iter_rows())
        if len(many) < 2:
            continue
        share = NEAR.total_seconds() / whole
        others = {shop: _as_many(many, share, shop) for shop in many}
        shops, places, at = part["shop"].to_list(), part["place"].to_list(), part["began_at"]
        ends = at.search_sorted(at + NEAR, side="right")
        for begin, end in enumerate(ends):
            found = set(shops[begin:end])
            yield {
                "kind": DAY,
                "what": str(characteristic),
                "places": places[begin:end],
                "every": places[begin:end],
                "shops": len(found),
                "alike": places,
                "share": share,
                "chance": float(others[shops[begin]][len(found) - 1]),
            }


def _sums(chances: np.ndarray) -> np.ndarray:
    """How likely each number of them is to come true, from 0 to all, shape (n + 1,)."""
    told = np.ones(1)
    for p in chances:
        told = np.convolve(told, [1 - p, p])
    return told


def _plain(words: str) -> str:
    return " ".join(words.casefold().split())
