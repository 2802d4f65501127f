"""What did not pass at first and was sent nowhere: put right on the spot, or refused for good. Send-backs have charts
of their own (`drift/shares`); these open nothing and are told while they last.
"""

from datetime import date, timedelta

import numpy as np
import polars as pl

from analysis.methods.risen_share import risen
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

FIXED, REFUSED = "fixed", "refused"
KINDS = {FIXED: ["fixed"], REFUSED: ["reject", "second"]}
BEFORE = timedelta(weeks=52)
BEYOND = (
    4.0  # standard errors: by chance one series of a stage in eighty years (tests/analysis/methods/test_risen_share)
)
STANDS, LATELY = 2.5, 4  # told in one of so many weeks, it is told while it stands so far above
LEAST = 5  # in the weeks since, below which nothing is told
MOSTLY = 0.5  # of them have one fault
NOT_PASSED: dict[str, pl.DataType] = {
    "stage": pl.String(),
    "kind": pl.String(),  # fixed | refused
    "count": pl.Int64(),  # first visits of the week under review that ended so
    "of": pl.Int64(),
    "since": pl.Date(),  # first day of the week from which on more do
    "later": pl.Int64(),  # of the weeks since
    "of_later": pl.Int64(),
    "earlier": pl.Int64(),  # of those before
    "of_earlier": pl.Int64(),
    "fault": pl.String(),  # that most of the later ones have; '' for none
    "minutes": pl.Float64(),  # what they took this week beyond a visit that passed; null where no clock says
}


def not_passed(snapshot: Snapshot, *, week: date) -> pl.DataFrame:
    """NOT_PASSED: stages at which more of the first visits are put right on the spot, or refused, than before, up to
    the week under review; the largest rise first.
    """
    told = snapshot.once(story)
    here = told.visits["first_pass"] & told.visits["week"].is_between(week - BEFORE, week)
    rows = told.visits.at(here.arg_true(), "visit", "stage", "model", "week", "outcome", "minutes", "minutes_from")
    bad = rows.filter(pl.col("outcome").is_in([one for kind in KINDS.values() for one in kind]))
    if len(bad.filter(pl.col("week") == week)) == 0:
        return pl.DataFrame(schema=NOT_PASSED)
    found: list[tuple[float, tuple[object, ...]]] = []
    for (stage, kind), own in (
        tables.plain(bad)
        .with_columns(kind=pl.when(pl.col("outcome") == "fixed").then(pl.lit(FIXED)).otherwise(pl.lit(REFUSED)))
        .group_by("stage", "kind", maintain_order=True)
    ):
        if (row := _risen(rows.filter(pl.col("stage") == stage), own, told.faults, week)) is not None:
            found.append((row[0], (str(stage), str(kind), *row[1])))
    found.sort(key=lambda one: -one[0])
    return pl.DataFrame([row for _, row in found], schema=NOT_PASSED, orient="row")


def _risen(
    rows: pl.DataFrame, own: pl.DataFrame, faults: pl.DataFrame, week: date
) -> tuple[float, tuple[object, ...]] | None:
    """How far it rose, and what NOT_PASSED says behind stage and kind; None where nothing rose, or it is over."""
    every = tables.plain(rows).group_by("week", "model").agg(size=pl.len())
    counted = every.join(own.group_by("week", "model").agg(count=pl.len()), on=["week", "model"], how="left")
    weeks, models = (counted[name].unique().sort() for name in ("week", "model"))
    at = weeks.search_sorted(counted["week"]).to_numpy(), models.search_sorted(counted["model"]).to_numpy()
    count, size = np.zeros((len(weeks), len(models))), np.zeros((len(weeks), len(models)))
    size[at], count[at] = counted["size"].to_numpy(), counted["count"].fill_null(0).to_numpy()
    found = risen(count, size)
    if found is None or found.z < STANDS or weeks[-1] != week:
        return None
    lately = (risen(count[:last], size[:last]) for last in range(len(weeks), max(len(weeks) - LATELY, 1), -1))
    if not any(one is not None and one.z >= BEYOND for one in lately):
        return None
    since: date = weeks[found.first]
    later = own.filter(pl.col("week") >= since)
    if len(later) < LEAST or count[-1].sum() == 0:
        return None
    fault = main_fault(faults, later["visit"])
    n, of = int(count[found.first :].sum()), int(size[found.first :].sum())
    whole, of_whole = int(count.sum()), int(size.sum())
    more = _minutes(rows.filter(pl.col("week") >= since), own, week)
    here = int(count[-1].sum()), int(size[-1].sum())
    return found.z, (*here, since, n, of, whole - n, of_whole - of, fault, more)


def _minutes(rows: pl.DataFrame, own: pl.DataFrame, week: date) -> float | None:
    """What those of the week took beyond a visit that passed."""
    known = pl.col("minutes_from").cast(pl.String) != "planned"
    passed = rows.filter(known & (pl.col("outcome").cast(pl.String) == "pass"))["minutes"].mean()
    mine = own.filter(pl.col("week") == week)
    if passed is None or mine.filter(~known).height:
        return None
    return float(mine["minutes"].sum() - passed * len(mine))  # type: ignore[operator]


def main_fault(faults: pl.DataFrame, visits: pl.Series) -> str:
    """The fault that most of these visits have; '' where none has."""
    words = faults.filter(pl.col("visit").is_in(visits.implode()))
    most = words.group_by("fault").agg(n=pl.col("visit").n_unique()).sort("n", "fault", descending=[True, False])
    return str(most["fault"][0]) if len(most) and most["n"][0] >= MOSTLY * len(visits) else ""
