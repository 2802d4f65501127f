"""What loading costs, as ratios within one run: `python -m tests.benchmarks.load [ROWS]`.

One wide log (default 1,100,000 rows of 9 measurements) against what bare Polars takes to read it as text, cast, unpivot
and write Delta with all columns of `visits` and `readings`; then a log of 500 rows into that store against the same
into a store of 100,000 readings. Each side runs in its own child process, which tells its seconds and its peak memory.
Never part of pytest.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import polars as pl

from tests.ingest.bench import shop

ROWS = 1_100_000
MEASURES = [f"{name} {place}" for name in ("nut", "action", "tone") for place in ("1", "2", "3")]
CHARACTERISTICS = "".join(
    f'\n[[characteristic]]\nkey = "{name}"\npositions = ["1", "2", "3"]\nplausible = ["-5 mm", "9 mm"]\n'
    for name in ("nut", "tone")
)
CHILD = """
import json, resource, sys, time
from pathlib import Path
side, folder, *rest = sys.argv[1:]
from tests.benchmarks import load
begun = time.perf_counter()
taken = getattr(load, side)(Path(folder), *rest)
seconds = taken if taken is not None else time.perf_counter() - begun
print(json.dumps({"seconds": seconds, "peak": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))
"""


def bench_shop(folder: Path) -> Path:
    """A shop whose characteristics have three positions each."""
    shop(folder, CHARACTERISTICS)
    text = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(text.replace('positions = ["bass", "treble"]', 'positions = ["1", "2", "3"]'))
    return folder


def wide_log(path: Path, rows: int, *, first: int = 0) -> Path:
    """A regular log: a visit every 20 seconds, 12 visits an instrument, nine readings each; visit n is the same in
    every log.
    """
    number = np.arange(first, first + rows)
    start = np.datetime64("2024-01-01T00:00:00", "ms") + number * np.timedelta64(20_000, "ms")
    stages = np.array(["neck_straightening", "play_test", "final_inspection", "packing"])
    scatter = [np.modf(np.sin((number + 1) * (place + 1) * 12.9898) * 43758.5453)[0] for place in range(len(MEASURES))]
    readings = {
        f"{name} (mm)": pl.Series(np.round(2 + 0.4 * part, 2)).cast(pl.String)
        for name, part in zip(MEASURES, scatter, strict=True)
    }
    table = pl.DataFrame(
        {
            "serial": pl.Series(number // 12).cast(pl.String).str.zfill(7),
            "model": np.where(number // 12 % 2, "LARK-25", "HERON"),
            "stage": stages[number % 4],
            "tech": pl.Series(number % 11).cast(pl.String),
            "started_at": pl.Series(start).dt.strftime("%Y-%m-%d %H:%M:%S"),
            "finished_at": pl.Series(start + np.timedelta64(15_000, "ms")).dt.strftime("%Y-%m-%d %H:%M:%S"),
            "outcome": "pass",
            **readings,
        }
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    table.write_csv(path)
    return path


def bare(folder: Path, log: str) -> None:
    """What bare Polars needs for the same: text, cast, unpivot, write."""
    from deltalake import write_deltalake

    from ingest.store import delta
    from ingest.terms import tables

    text = pl.read_csv(log, infer_schema=False)
    zone = {"time_zone": "Europe/Dublin", "ambiguous": "earliest", "non_existent": "null"}
    typed = [
        pl.col(name).str.to_datetime("%Y-%m-%d %H:%M:%S", time_unit="us") for name in ("started_at", "finished_at")
    ]
    times = [column.dt.replace_time_zone(**zone).dt.convert_time_zone("UTC") for column in typed]
    visits = text.with_columns(
        *times, log_id=pl.lit("0" * 16), line=pl.int_range(2, pl.len() + 2, dtype=pl.Int64), time_known=pl.lit(True)
    )
    write_deltalake(folder / "visits", delta.plain(tables.shaped(visits, tables.VISITS)), mode="append")
    measured = [f"{name} (mm)" for name in MEASURES]
    kept = ["log_id", "line", "serial", "stage", "taken_at"]
    long = visits.with_columns(taken_at=pl.col("finished_at")).unpivot(
        measured, index=kept, variable_name="heading", value_name="raw"
    )
    word = pl.col("heading").str.split(" ")
    long = long.with_columns(
        characteristic=word.list.get(0),
        position=word.list.get(1),
        moment=pl.lit("found"),
        value=pl.col("raw").cast(pl.Float64),
        unit=pl.lit("mm"),
    )
    write_deltalake(folder / "readings", delta.plain(tables.shaped(long, tables.READINGS)), mode="append")


def ours(folder: Path, log: str) -> None:
    """The same by `load`."""
    from ingest.verbs.load import load
    from tests.ingest.bench import NOW

    [file] = load(folder, [Path(log)], now=NOW)
    assert (file.outcome, file.cells_set_aside, file.accepted + file.set_aside) == ("loaded", 0, file.rows_read), file
    assert file.set_aside <= 180, file  # the hour that the clock skips in March


def small(folder: Path, first: str) -> float:
    """Seconds of a 500-row log into a store, the least of five after one to warm up."""
    import time

    from ingest.verbs.load import load
    from tests.ingest.bench import NOW

    took = []
    for turn in range(6):
        log = wide_log(folder / "as_typed" / f"small{turn}.csv", 500, first=int(first) + turn * 450)
        begun = time.perf_counter()
        [file] = load(folder, [log], now=NOW)
        took.append(time.perf_counter() - begun)
        assert file.accepted == (500 if turn == 0 else 450), file
    return min(took[1:])


def child(side: str, folder: Path, *more: object) -> dict[str, float]:
    """One side in its own process."""
    ran = subprocess.run(
        [sys.executable, "-c", CHILD, side, str(folder), *map(str, more)], capture_output=True, text=True, check=False
    )
    if ran.returncode:
        raise RuntimeError(ran.stderr)
    return json.loads(ran.stdout.splitlines()[-1])


def main(rows: int = ROWS) -> None:
    """The table of ratios."""
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        log = wide_log(root / "wide.csv", rows)
        plain = child("bare", root / "bare", log)
        large = bench_shop(root / "large")
        full = child("ours", large, log)
        little = bench_shop(root / "little")
        child("ours", little, wide_log(root / "little.csv", 100_000 // 9))
        into_little, into_large = child("small", little, 100_000 // 9), child("small", large, rows)
    spent, memory = full["seconds"] / plain["seconds"], full["peak"] / plain["peak"]
    small, large = into_little["seconds"] * 1e3, into_large["seconds"] * 1e3
    lines = [
        f"{'':42}{'bare or small':>16}{'ours or large':>16}{'ratio':>8}{'at most':>9}",
        f"{f'{rows:,} rows x 9: seconds':42}{plain['seconds']:16.1f}{full['seconds']:16.1f}{spent:8.2f}{2.5:9.1f}",
        f"{f'{rows:,} rows x 9: peak MB':42}{plain['peak']:16,.0f}{full['peak']:16,.0f}{memory:8.2f}{3.0:9.1f}",
        f"{f'500 rows into 100,000 and {rows * 9:,}: ms':42}{small:16.0f}{large:16.0f}{large / small:8.2f}{2.0:9.1f}",
    ]
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else ROWS)
