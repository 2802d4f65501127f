"""The sheet of one of the small shops with other rows in it."""

import csv
from datetime import datetime
from pathlib import Path

from dashboard.desk.desk import Desk
from ingest.verbs.load import load


def typed_anew(folder: Path, rows: list[dict[str, str]], now: datetime) -> Desk:
    """Rows, all under the headings of the first, as the one log of a shop that stands there without any."""
    with (folder / "bench.csv").open("w", newline="") as file:
        made = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        made.writeheader()
        made.writerows(rows)
    load(folder, [folder / "bench.csv"], now=now)
    return Desk(folder)
