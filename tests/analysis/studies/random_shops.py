"""Small shops full of mischief, from a seed: date-only rows, repairs, returns, late ends, two names, breaks, closed
days, parts.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.benches import STAGES, shop

OUTCOMES = ["pass", "fixed", "send back", "hold", "second", "reject", "pulled", "return", "open"]
ODDS = [0.55, 0.06, 0.18, 0.03, 0.02, 0.02, 0.02, 0.03, 0.09]
CALENDAR = {
    "open": "07:30-17:00",
    "breaks": ["12:00-12:30", "15:00-15:10"],
    "closed": ["2026-03-17", "2026-03-21/2026-03-22"],
}


def random_shop(seed: int, *, instruments: int = 12, dateless: float = 0.1) -> tuple[Shop, pl.DataFrame, pl.DataFrame]:
    """A shop, its visits and its faults; `dateless` is the share of visits without a clock. Times lie on whole
    minutes.
    """
    rng = np.random.default_rng(seed)
    made = shop(
        calendar=CALENDAR,
        shop={"name": "x", "timezone": "Europe/Dublin", "labour_per_hour": 41.0, "week_starts": "Sunday"},
    )
    keys = [key for key, _, _ in STAGES]
    visits, faults = [], []
    for serial in rng.choice(999, instruments, replace=False):
        now = datetime(2026, 3, int(rng.integers(1, 29)), 8, tzinfo=UTC)
        at = 0
        for _ in range(int(rng.integers(1, 25))):
            stage = keys[at]
            outcome = str(rng.choice(OUTCOMES, p=ODDS))
            start = now + timedelta(minutes=int(rng.integers(0, 240)))
            now = start + timedelta(
                minutes=int(rng.choice([0, 3, 7, 12, 45, 1200], p=[0.1, 0.3, 0.3, 0.2, 0.05, 0.05]))
            )
            clockless = rng.random() < dateless
            midnight = start.replace(hour=0, minute=0)  # local midnight in winter; summer time begins on 29 March
            row = {
                "log_id": f"log{int(rng.integers(2))}",
                "line": len(visits) + 1,
                "serial": f"S{serial}",
                "stage": stage,
                "outcome": outcome,
                "model": str(rng.choice(["", "WREN" if serial % 3 == 0 else "LARK"])),
                "tech": str(rng.choice(["T1", "T2", "T1/T2", ""])),
                "started_at": midnight if clockless else (None if rng.random() < 0.2 else start),
                "finished_at": None if clockless else now,
                "time_known": not clockless,
                "minutes": float(rng.integers(1, 50)) / 2 if rng.random() < 0.2 else None,
                "sent_back_to": "",
                "cause": "",
            }
            if outcome in ("send back", "fixed", "reject"):
                row["sent_back_to"] = str(rng.choice([*keys, "supplier", ""]))
                row["cause"] = str(rng.choice([*keys, "supplier", "handling", "unknown", "", "", "", "", "", ""]))
                faults += [
                    {k: row[k] for k in ("log_id", "line", "serial", "stage")} | {"fault": str(fault)}
                    for fault in rng.choice(["buzz", "dead note", "scratch"], int(rng.integers(0, 3)), replace=False)
                ]
            visits.append(row)
            at = (
                int(rng.integers(0, len(keys)))
                if outcome == "send back" or rng.random() < 0.1
                else (at + 1) % len(keys)
            )
    return (
        made,
        tables.shaped(pl.DataFrame(visits, infer_schema_length=None), tables.VISITS),
        tables.shaped(pl.DataFrame(faults), tables.FAULTS),
    )


def snapshot_of(made: Shop, visits: pl.DataFrame, faults: pl.DataFrame) -> Snapshot:
    return Snapshot.of(made, visits=visits, faults=faults)
