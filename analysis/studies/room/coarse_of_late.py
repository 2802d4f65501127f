"""Streams that are read too coarsely of late, whatever shop.toml says of their gauge: another kind of sheet has come,
or another rule lies on the bench, and its steps are as wide as what it has to tell apart.

It changes no limit and no figure: those hang on the gauges that are declared. It is said beside them.
"""

import numpy as np
import polars as pl

from analysis.methods.grid import grid
from analysis.studies.drift.signals import signals
from analysis.studies.drift.streams import KEY
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

LATE = 30  # readings
LATER: dict[str, pl.DataType] = {
    **{name: pl.String() for name in KEY},
    "step": pl.Float64(),
    "declared": pl.Float64(),
    "sigma": pl.Float64(),
    "since": TIME,
}


def coarse_of_late(snapshot: Snapshot) -> pl.DataFrame:
    """A row a stream of all techs whose last LATE readings lie on a grid wider than its sigma while the step declared
    is not: LATER. step, declared (null: no gauge) and sigma in the unit of the characteristic; since: the first reading
    after the last two in a row beside the grid, null where it was so from the first on.
    """
    judged = snapshot.once(signals)
    if judged is None:
        return pl.DataFrame(schema=LATER)
    held = judged.streams
    sigma = held.eras.sigma[held.last_era]
    n, least = held.rows["n"].to_numpy(), max(LATE, snapshot.shop.judging.least_readings)
    of_all = (held.rows["tech"] == "").to_numpy()
    taken = held.readings.taken_at
    found = []
    for k in np.flatnonzero(of_all & ~judged.coarse & (n >= least) & (sigma > 0)):
        values = held.values[held.starts[k] : held.starts[k] + n[k]]
        seen = grid(values[-LATE:])
        if seen is None or seen.step <= sigma[k] * (1 + 1e-9):
            continue
        off = ~seen.on(values)
        beside = np.flatnonzero(off[1:] & off[:-1])
        since = taken[int(held.starts[k] + beside[-1] + 2)] if len(beside) else None
        row = held.rows.row(int(k), named=True)
        told = {"step": seen.step, "declared": row["step"], "sigma": float(sigma[k]), "since": since}
        found.append({**{name: row[name] for name in KEY}, **told})
    return pl.DataFrame(found, schema=LATER)
