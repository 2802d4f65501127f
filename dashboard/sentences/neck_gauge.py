"""The gauge with which incoming necks are read, in words: what it takes of the spread, how sure one reading is, and the
rule by which a neck is counted. Pure functions, nothing computed here.
"""

from __future__ import annotations

from analysis.studies.necks.necks import COVERAGE
from dashboard import numbers
from dashboard.sentences.necks import Row, fine
from ingest.shopfiles.shop import Shop


def gauge(row: Row) -> str:
    """What the gauge takes of the spread within lots and of the tolerance, by its study."""
    share, part = row["gauge_share"], row["gauge_of_tolerance"]
    if row["gauge_sd"] is None or share is None:
        return "No gauge study is on file, so how much of the spread is the gauge is not known."
    worst = max(share, part or 0.0)
    fit = "fit" if worst < 0.10 else "usable by agreement" if worst <= 0.30 else "not fit to judge necks by"
    scale = "under 10 % is good, over 30 % unfit: AIAG, Measurement Systems Analysis"
    tolerance = f" and {_per_cent(part)} of the tolerance" if part is not None else ""
    return f"The gauge and its readers take {_per_cent(share)} of the spread within lots{tolerance}: {fit} ({scale})."


def uncertainty(row: Row, shop: Shop) -> str:
    """The expanded uncertainty of one reading and where it comes from; '' without a study."""
    if row["gauge_sd"] is None:
        return ""
    key = row["characteristic"]
    far, edges = fine(shop, key, COVERAGE * row["gauge_sd"]), ""
    if row["edges"] is not None:
        high = fine(shop, key, row["runs_high"])
        edges = f" The larger of two readings runs high by {high} at most, where both edges are alike."
    return (
        f"One reading is sure to within {far} (expanded uncertainty, k = 2, repeatability and reproducibility of study "
        f"{row['gauge_study']}; the sizes of the leaves and the straightness of the straightedge are not in it).{edges}"
    )


def _per_cent(share: float) -> str:
    return numbers.with_unit(numbers.plain(100 * share, 0), "%")


def rule(row: Row, shop: Shop, step: float | None) -> str:
    """The rule by which a neck is counted, named where lots are judged."""
    if not step:
        return "A neck counts as outside where its reading lies beyond the limit."
    half = fine(shop, row["characteristic"], step / 2)
    return (
        "A neck counts as outside only where its whole step of the gauge lies beyond the limit, half a step "
        f"({half}) or more from it; where the limit lies within the step it is on the limit: shown neither to conform "
        "nor not to, counted apart."
    )
