"""What an answer of Card costs with 2 M readings on file: python -m tests.benchmarks.card

500,000 serials of 40 models, two visits and four readings each. Processor time of this process: making the index once
for a store version (a job does it), then 300 answers: a card opened, a value judged, a card kept.
"""

import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from dashboard.desk.cards import CardDesk
from dashboard.desk.desk import Desk
from ingest.store import at_bench
from ingest.store.snapshot import Snapshot

SERIALS, MODELS, ANSWERS = 500_000, 40, 100
SHOP = """
[shop]
name = "Large"
timezone = "Europe/Dublin"
[[stage]]
key = "nut_slotting"
[[stage]]
key = "bridge_fitting"
[[stage]]
key = "final_inspection"
role = "final"
[[characteristic]]
key = "action"
set_at = "bridge_fitting"
positions = ["bass", "treble"]
[[gauge]]
key = "rule"
measures = ["action"]
resolution = "0.5/64 in"
"""
VALUES = [{"characteristic": "action", "position": "bass", "found": "6.5", "gauge": "rule"}]
SPECS = "characteristic,target,lower,upper,unit\naction,2.4,2.1,2.7,mm\n"


def tables() -> tuple[pl.DataFrame, pl.DataFrame]:
    """Visits and readings of a shop that is years old."""
    n = 2 * SERIALS
    at = pl.Series((np.arange(n) * 60_000_000 + 1_600_000_000_000_000).astype("datetime64[us]")).dt.replace_time_zone(
        "UTC"
    )
    who = pl.Series(np.arange(n) // 2)
    visits = pl.DataFrame({"line": np.arange(n), "serial": "S-" + who.cast(pl.String), "finished_at": at}).with_columns(
        log_id=pl.lit("x"),
        model="M-" + (who % MODELS).cast(pl.String),
        stage=pl.when(pl.col("line") % 2 == 0).then(pl.lit("nut_slotting")).otherwise(pl.lit("bridge_fitting")),
        outcome=pl.lit("pass"),
    )
    each = pl.DataFrame({"position": ["bass", "treble"]})
    readings = (
        visits.select("log_id", "line", "serial", "stage", pl.col("finished_at").alias("taken_at"))
        .join(each, how="cross")
        .with_columns(characteristic=pl.lit("action"), moment=pl.lit("found"), value=pl.lit(2.4))
    )
    return visits, readings


def main() -> None:
    """One line a kind of answer."""
    folder = Path(tempfile.mkdtemp())
    models = "".join(f'[[model]]\nkey = "M-{k}"\nfamily = "tenor ukulele"\nstrings = 4\n' for k in range(MODELS))
    (folder / "shop.toml").write_text(SHOP + models)
    (folder / "specs.csv").write_text(SPECS)
    desk = Desk(folder)
    small = desk.snapshot()
    visits, readings = tables()
    begun = time.process_time()
    at_bench.make(folder, Snapshot.of(small.shop, small.specs, visits=visits, readings=readings))
    say(f"{readings.height:,} readings; index made in {time.process_time() - begun:.1f} s of processor time, "
        f"{at_bench.path_of(folder).stat().st_size / 1e6:.0f} MB")  # fmt: skip
    del visits, readings
    moment = datetime.now(UTC)
    cards = CardDesk(desk, clock=lambda: moment)
    cards._follow = lambda: None  # the index stands for a store that is not there
    cards.by_itself = False
    took: dict[str, list[float]] = {"open": [], "judge": [], "keep": []}
    for k in range(ANSWERS):
        moment += timedelta(seconds=30)
        serial = f"S-{k * 1000}"
        for name, ask in (
            ("open", lambda s=serial: cards.card("bridge_fitting", s)),
            ("judge", lambda: cards.judge("bridge_fitting", "M-1", "action", "bass", "6.5", "rule")),
            ("keep", lambda k=k, s=serial: cards.keep(
                {"card": f"c{k}", "bench": "b", "stage": "bridge_fitting", "serial": s, "model": "M-1",
                 "outcome": "pass", "values": VALUES})),
        ):  # fmt: skip
            begun = time.thread_time()
            ask()
            took[name].append(1000 * (time.thread_time() - begun))
    for name, times in took.items():
        say(f"{name}: median {np.median(times):.1f} ms, largest {max(times):.1f} ms of processor time")


def say(text: str) -> None:
    """A benchmark tells its result."""
    print(text, flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
