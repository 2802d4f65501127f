"""Whose spread is shown to be wide beside the others': whoever sets things so has more to learn than a middle."""

from analysis.methods.standing_apart import LEAST_TIMES
from analysis.studies.people.set_spread import spreads
from analysis.studies.story.unlisted import OF_LATE
from ingest.store.snapshot import Snapshot

ENOUGH = 30  # instruments of late, from which on they alone are looked at: whoever has become narrow is narrow

Wide = tuple[float, float, float]  # times as wide as the others, and between (95 %)


def wide(snapshot: Snapshot) -> dict[tuple[str, str, str], Wide]:
    """Of each (tech, stage, characteristic) whose 95 % interval lies wholly at 1.25 times the others' spread and more:
    how wide; by what was set of late (eight weeks) where that is 30 instruments, else ever.
    """
    day = snapshot.as_of.astimezone(snapshot.shop.zone).date() - OF_LATE
    told: dict[tuple[str, str, str], Wide] = {}
    for rows, least in ((snapshot.once(spreads), 0), (spreads(snapshot, since=day), ENOUGH)):
        for row in rows.iter_rows(named=True):
            if row["instruments"] >= least:
                key = (row["tech"], row["stage"], row["characteristic"])
                told[key] = (row["ratio"], row["ratio_low"], row["ratio_high"])
    return {key: each for key, each in told.items() if each[1] >= LEAST_TIMES}
