"""What spreads wider than before, as findings of a week: no matter, for no mean need have moved."""

from __future__ import annotations

from analysis.review import Review
from dashboard import numbers
from dashboard.address import address
from dashboard.sentences import shared
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop

MOST = 2  # findings of a week
NAMED = 3  # models
OF_ONE = "Without one of those who set it hardly: see Bench."
OF_ALL = "Whoever sets it, within each series, gauge and lot; no mean need have moved. Look first at tools and gauge."


def wider(found: Review, shop: Shop) -> list[Sentence]:
    """The widest ones of the week."""
    told = []
    for row in found.wider.head(MOST).iter_rows(named=True):
        models = [one for key in row["models"] for one in shared.models_of(shop, key)]
        many = numbers.listed(models) if len(models) <= NAMED else f"{numbers.in_words(len(models))} models"
        what = shared.characteristic(shop, row["characteristic"]) + (f" on {many}" if models else "")
        times = numbers.plain(row["ratio"], 1)
        lead = f"{what} at {shop.stage_name(row['stage']).lower()} spreads {times} times as wide as before"
        since = numbers.day(row["since"], found.last_day)
        rest = f" ({numbers.span(row['low'], row['high'], 1)}), since about the week of {since}."
        link = address("/drift", stage=row["stage"], characteristic=row["characteristic"])
        told.append(Sentence("moved-up", "wider", lead, rest, OF_ONE if row["of_one"] else OF_ALL, link, "Drift"))
    return told
