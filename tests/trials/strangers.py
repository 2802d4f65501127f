"""Ten shops that the program had never met and four made after them, large: from their sheets and a few truthful
answers to a store, held against what is true, reading by reading: python -m tests.trials.strangers [INSTRUMENTS]

The seeds stand in tests/ingest/strangers/all_ten.py and were fixed before the first run.
"""

import sys
import tempfile
import time
from pathlib import Path

import polars as pl

from analysis.studies.drift.signals import signals
from ingest.store.snapshot import Snapshot
from tests.ingest.strangers.all_ten import SECOND, TEN, stranger
from tests.ingest.strangers.truth import answers_given
from tests.ingest.strangers.walk import walk
from tests.trials.written import write

INSTRUMENTS = 600
PLANTED = {  # what moved up from the middle of the days on
    "bench_log": ("action", "bass"),
    "file_a_station": ("action", "bass"),
    "workshop": ("action", "treble"),
    "inspection_lines": ("action", "bass"),
}


def _moved(snapshot: Snapshot) -> set[tuple[str, str]]:
    """Characteristics and positions whose streams have a signal that opened upward and still stands."""
    told = snapshot.once(signals)
    if told is None:
        return set()
    up = told.open.filter(pl.col("size") > 0)
    return set(up.select("characteristic", "position").rows())


def main() -> None:
    """Every stranger in turn, a row of the table each."""
    instruments = int(sys.argv[1]) if len(sys.argv) > 1 else INSTRUMENTS
    rows = []
    for name in (*TEN, *SECOND):
        shop = stranger(name, instruments)
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as place:
            came = walk(shop, Path(place) / "shop")
            told = ""
            if name in PLANTED:
                moved = _moved(came.snapshot)
                told = f"{'told' if PLANTED[name] in moved else 'NOT TOLD'}: {' '.join(PLANTED[name])}"
        held = came.readings
        wanted, off = len(shop.truth.send_backs), len(came.send_backs)
        rows.append(
            f"| {name} | {answers_given(shop.answers)} | {held.right:,} | {held.unread:,} | {held.wrong:,} "
            f"| {held.share:.2%} | {wanted - off} of {wanted} | {told} | {time.monotonic() - began:.1f} s |"
        )
    head = (
        f"{instruments} instruments a shop.\n\n"
        "| shop | answers | right | unread | wrong | share right | send-backs right | planted shift | time |\n"
        "|---|---|---|---|---|---|---|---|---|"
    )
    write(__file__, "\n".join([head, *rows]))


if __name__ == "__main__":
    main()
