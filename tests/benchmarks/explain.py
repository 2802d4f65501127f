"""What explaining a demo week costs: python -m tests.benchmarks.explain

The demo with all weeks but its last: Friday's matters are worked out, then the last week's logs are loaded and the
matters are asked for again, as every week; and the same with nothing kept from before (a shop opened for the first
time). Processor seconds of this process for the matters alone (the signals they start from are there), the middle of
five. At most one second a week (what is kept may be deleted: then the first week costs the other figure once). The
linear algebra has one thread, as in `truerun`.
"""

import os
import shutil

os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}  # before numpy, as the command has it

import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

from analysis.studies.drift.signals import signals
from analysis.studies.matters.matters import matters
from demo_data.generator import write_shop
from ingest.store import worked_out
from ingest.store.store import open_snapshot
from ingest.verbs.load import load

NOW = datetime(2026, 11, 21, tzinfo=UTC)
TIMES = 5


def cost(folder: Path) -> tuple[float, int]:
    """Seconds for the matters of the shop as it stands, and how many there are."""
    snapshot = open_snapshot(folder)
    snapshot.once(signals)
    begun = time.process_time()
    found = snapshot.once(matters)
    return time.process_time() - begun, len(found)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "shop"
        folder.mkdir()
        logs = sorted(write_shop(folder))
        last = max(path.stem.rpartition("-W")[2] if "-W" in path.stem else "" for path in logs)
        late = [path for path in logs if path.stem.endswith(f"-W{last}")]
        load(folder, [path for path in logs if path not in late], now=NOW)
        cost(folder)
        load(folder, late, now=NOW)
        weekly, cold = [], []
        for k in range(TIMES):
            new = Path(place) / f"shop{k}"
            shutil.copytree(folder, new)  # with what was kept the week before
            weekly.append(cost(new))
            worked_out.let_go(new)
            cold.append(cost(new))
        rows = [
            "| | seconds | at most | matters |",
            "|---|---|---|---|",
            f"| the last week, weeks before kept | {median(s for s, _ in weekly):.2f} | 1.00 | {weekly[0][1]} |",
            f"| nothing kept | {median(s for s, _ in cold):.2f} | | {cold[0][1]} |",
        ]
    print("\n".join(rows))  # noqa: T201 - a benchmark tells its result


if __name__ == "__main__":
    main()
