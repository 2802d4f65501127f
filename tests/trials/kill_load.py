"""Kill -9 at any moment: two loaders of logs that share visits are killed again and again while a reader reads on.

Run by hand: `python -m tests.trials.kill_load [KILLS]`. Every round is a new shop; its logs are loaded by two processes
at once, each killed at a random moment and started again, until all are in. The reader must never see half a log; in
the end every visit must be there once, exactly as in a shop whose logs were loaded in peace. Seed fixed before the
first run; the moments of the kills hang on the machine.
"""

import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW, held, log, row, shop

SEED = 20260302
LOGS, ROWS = 16, 60  # of a round
LOADER = """
import sys
from datetime import datetime
from pathlib import Path
from ingest.verbs.load import load
now, folder, *paths = sys.argv[1:]
print("ready", flush=True)
for path in paths:
    for file in load(Path(folder), [Path(path)], now=datetime.fromisoformat(now)):
        assert file.outcome in ("loaded", "already loaded"), file
        print(path, flush=True)
"""
READER = """
import sys
from pathlib import Path
import polars as pl
from ingest.store.store import open_snapshot
folder, seen = Path(sys.argv[1]), 0
while not (folder / "stop").exists():
    snapshot = open_snapshot(folder)
    logs = snapshot.table("logs", "log_id", "name", "rows_read", "accepted", "changed", "already_held", "set_aside")
    visits = snapshot.table("visits", "log_id", "line", "serial", "started_at")
    readings = snapshot.table("readings", "log_id", "line")
    kept = visits.group_by("log_id").len()
    counted = logs.join(kept, on="log_id", how="left").with_columns(pl.col("len").fill_null(0))
    assert (counted["accepted"] + counted["changed"] == counted["len"]).all(), counted
    said = logs.select(pl.sum_horizontal("accepted", "changed", "already_held", "set_aside")).to_series()
    assert (logs["rows_read"] == said).all(), logs
    assert visits.height == visits.select("serial", "started_at").n_unique(), "a visit twice"
    assert readings.height == 2 * visits.height, (readings.height, visits.height)
    assert set(visits["log_id"]) <= set(logs["log_id"])
    assert not readings.join(visits, on=["log_id", "line"], how="anti").height
    assert snapshot.version >= seen, "back in time"
    seen = snapshot.version
    print(seen, flush=True)
"""


@dataclass
class Tally:
    """What a trial has seen."""

    kills: int = 0
    in_work: int = 0  # kills of a loader that was loading
    reads: int = 0
    rounds: int = 0
    logs: int = 0


def logs_of(folder: Path, number: int) -> list[Path]:
    """Logs of one round; each shares a third of its visits with the next one, one of them with other values."""
    paths = []
    for n in range(LOGS):
        first = n * ROWS * 2 // 3
        rows = []
        for k in range(first, first + ROWS):
            start = f"2026-03-{2 + k // 400:02d} {8 + k // 60 % 8:02d}:{k % 60:02d}"
            other = k == first + 3
            rows.append(
                row(
                    f"R{number}-{k}",
                    start=start,
                    finish=start,
                    relief=f"0.{1 + (n if other else k) % 9}",
                    note="other" if other else "",
                )
            )
        paths.append(log(folder, f"{n:02d}.csv", rows))
    return paths


def start(code: str, *arguments: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )


def one_round(folder: Path, number: int, most: int, chance: random.Random, tally: Tally) -> None:
    """Load a round's logs by two loaders, killed up to `most` times in all; then hold the store against a quiet one."""
    shop(folder)
    paths = logs_of(folder, number)
    orders = [chance.sample(paths, len(paths)) for _ in range(2)]
    reader = start(READER, folder)
    try:
        turn = 0
        running = [start(LOADER, NOW.isoformat(), folder, *order) for order in orders]
        while most > 0 and any(loader.poll() is None for loader in running):
            turn = 1 - turn
            loader = running[turn]
            if loader.poll() is not None:
                continue
            assert loader.stdout is not None
            loader.stdout.readline()  # imports are done
            time.sleep(chance.random() * 0.5)
            in_work = loader.poll() is None
            loader.kill()
            done = set(loader.communicate()[0].split("\n"))
            orders[turn] = [path for path in orders[turn] if str(path) not in done]
            running[turn] = start(LOADER, NOW.isoformat(), folder, *orders[turn])
            most -= 1
            tally.kills += 1
            tally.in_work += in_work
        for loader in running:
            loader.communicate()
            assert loader.returncode == 0, "a loader failed"
    finally:
        (folder / "stop").touch()
        out, _ = reader.communicate()
    assert reader.returncode == 0, "the reader saw half a log"
    tally.reads += len(out.split())
    tally.rounds += 1
    tally.logs += len(paths)
    quiet = shop(folder.with_name(f"{folder.name}-quiet"))
    load(quiet, logs_of(quiet, number), now=NOW)
    mine, theirs = held(folder, where=False), held(quiet, where=False)
    for name in mine:
        assert mine[name].equals(theirs[name]), f"{name} differs from a store made in peace"
    visits = open_snapshot(folder).table("visits", "serial")
    assert visits.height == visits["serial"].n_unique() == (LOGS - 1) * ROWS * 2 // 3 + ROWS


def trial(kills: int, *, seed: int = SEED) -> Tally:
    """Rounds until so many loaders were killed."""
    chance, tally = random.Random(seed), Tally()
    with tempfile.TemporaryDirectory() as place:
        while tally.kills < kills:
            one_round(Path(place) / f"round{tally.rounds}", tally.rounds, min(30, kills - tally.kills), chance, tally)
    return tally


if __name__ == "__main__":
    found = trial(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    sys.stdout.write(
        f"{found.kills} kills, {found.in_work} of a loader at work, {found.rounds} rounds of {LOGS} logs; "
        f"{found.reads} reads; "
        "no row lost, none twice, no reader saw half a log\n"
    )
