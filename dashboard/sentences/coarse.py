"""Gauges too coarse for what they read, in words: on Week, and above the verdicts of Capability."""

from collections.abc import Sequence
from datetime import date, timedelta

import polars as pl

from analysis.review import Review
from dashboard import numbers
from dashboard.address import address
from dashboard.sentences.shared import Sentence, amount, characteristic, local
from ingest.shopfiles.shop import Shop

NAMED = 3  # models
COMING = timedelta(weeks=4)  # so long its coming stands before what came back


def coarse(found: Review, shop: Shop) -> Sentence | None:
    """Gauges too coarse to judge one instrument; one that became so of late before those that always were."""
    if found.coarse.is_empty():
        return None
    rows, late = found.coarse, of_late(found.coarse)
    groups = (late if len(late) else rows).group_by("characteristic", maintain_order=True).len()
    key = str(groups.sort("len", descending=True, maintain_order=True)["characteristic"][0])
    lead = f"{characteristic(shop, key)} on {_models(rows, key)} is read too coarsely to judge one instrument"
    many = "series is" if len(rows) == 1 else "series are"
    why = f"{numbers.in_words(len(rows), capital=True)} {many} coarse. Runs and counts still say something."
    rest = ": one step of the gauge is more than the usual spread."
    if len(late):
        rest = f": {_steps(late.filter(pl.col('characteristic') == key), shop, found.last_day)}."
    return Sentence(
        "coarse", "coarse", lead, rest, why, address("/capability", open="gauges", characteristic=key), "Gauges"
    )


def is_coming(found: Review, shop: Shop) -> bool:
    """Did a gauge become too coarse within the last four weeks?"""
    late = of_late(found.coarse)
    began = late["since"].drop_nulls().max() if len(late) else None
    return began is not None and local(shop, began).date() > found.last_day - COMING  # type: ignore[arg-type]


def of_late(rows: pl.DataFrame) -> pl.DataFrame:
    """Those read too coarsely of late, whatever is declared of their gauge: rows with a step seen."""
    return rows.filter(pl.col("step").is_not_null()) if "step" in rows.columns else rows.clear()


def every(late: pl.DataFrame, shop: Shop, now: date) -> str:
    """What is read too coarsely of late, a sentence a characteristic, for a page of many verdicts; '' where nothing is.

    late : rows of coarse_of_late.
    """
    keys: Sequence[str] = late["characteristic"].unique(maintain_order=True).to_list()
    return " ".join(
        f"{characteristic(shop, key)} on {_models(late, key)} is read too coarsely of late: "
        f"{_steps(late.filter(pl.col('characteristic') == key), shop, now)}."
        for key in keys
    )


def _steps(rows: pl.DataFrame, shop: Shop, now: date) -> str:
    """`since about 21 Sep in steps of 0.20 mm, where the usual spread is 0.10 mm; shop.toml says 0.05 mm`."""
    key, began = str(rows["characteristic"][0]), rows["since"].drop_nulls().sort()
    since = f"since about {numbers.day(local(shop, began[len(began) // 2]), now)} " if len(began) else ""
    step, spread = (amount(shop, key, float(rows[name].median()), mean=True) for name in ("step", "sigma"))  # type: ignore[arg-type]
    declared = rows["declared"].drop_nulls().max()
    said = f"; shop.toml says {amount(shop, key, float(declared), mean=True)}" if declared is not None else ""  # type: ignore[arg-type]
    return f"{since}in steps of {step}, where the usual spread is {spread}{said}"


def _models(rows: pl.DataFrame, key: str) -> str:
    models = rows.filter(pl.col("characteristic") == key)["model"].unique(maintain_order=True).to_list()
    left = len(models) - NAMED
    if left > 0:
        return f"{', '.join(models[:NAMED])} and {numbers.in_words(left)} more"
    return numbers.listed(models)
