"""A thousand shops, simulated from measured costs of their tasks: python -m tests.trials.thousand_shops

Measured here, processor seconds in one process on one core: a shop's task by its readings (three shops of the demo's
generator, published without matters), what it sends back, what the asking process does with it; opening a target's
tables by how many shops stand there; the lists of all shops by how many there are; a task that does nothing.

Simulated: tasks of 1,000 shops, their readings log-normal round those of 26 weeks, handed to workers in the order of
the list as Dask does where all cost alike in its eyes; the asking process takes results one by one. The critical path
is what no worker shortens: reading the tables, the dearest task, the lists.
"""

import heapq
import os
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

os.environ |= {"POLARS_MAX_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

import numpy as np
import polars as pl
from deltalake import write_deltalake

from dashboard.cluster.work import Worked, program, worked_out
from dashboard.commands import cli
from dashboard.exports import published
from dashboard.exports.several import FIGURES
from demo_data.generator import write_shop
from ingest.store.delta import plain
from ingest.store.target import Piece, Target, pieces_of
from ingest.verbs.afresh import laid_over
from ingest.verbs.load import load
from ingest.verbs.shops import read_all
from tests.analysis.studies.shops.invented import MODELS, Planted, several
from tests.trials.written import write

SEED, SHOPS = 20261134, 1_000
WEEKS = (2, 4, 8)  # of the three shops that are measured
READINGS, SPREAD = 167_000, 0.7  # of a shop of 26 weeks; of the logarithm, between shops
PUBLISHED = 26  # times that a shop has published: a file each, in each table of rows
OPENED = 10  # tables a task opens
NOW = datetime(2026, 11, 21, tzinfo=UTC)


def took(work: Callable[[], Any], times: int = 1) -> float:
    """Processor seconds of one go, the least of some."""
    found = []
    for _ in range(times):
        begun = time.process_time()
        work()
        found.append(time.process_time() - begun)
    return min(found)


def tasks(top: Path) -> tuple[list[tuple[int, float]], list[Worked], Target]:
    """Readings and seconds of three shops' tasks, and what came back."""
    target, costs, told = Target(str(top / "all")), [], []
    matters = published.FIGURES.pop("matters")  # they take longer than all else, and no task works them out
    try:
        for weeks in WEEKS:
            folder = top / f"weeks-{weeks}"
            folder.mkdir()
            load(folder, write_shop(folder, weeks=weeks, seed=SEED + weeks), now=NOW)
            assert cli.run(["publish", target.address, "--shop", str(folder), "--as", folder.name]) == 0
    finally:
        published.FIGURES["matters"] = matters
    for warm in (True, False):
        for row in target.shops().iter_rows(named=True):
            one = worked_out(target.address, {}, row)
            assert not one.why, one.why
            if not warm:
                readings = len(target.rows(one.shop, "readings", pieces_of(row)))
                costs.append((readings, one.seconds))
                told.append(one)
    return costs, told, target


def opening(top: Path, shops: int) -> float:
    """Seconds to open a table in which so many shops have published PUBLISHED times, and to read one shop's rows."""
    place = top / f"open-{shops}"
    names = [f"shop-{k:05d}" for k in range(shops)]
    for version in range(1, PUBLISHED + 1):  # a file a shop and version
        rows = pl.DataFrame({"shop": names, "version": [version] * shops, "piece": "", "n": 1})
        write_deltalake(str(place / "readings"), plain(rows), mode="append", partition_by=["shop", "version"])
    target = Target(str(place))
    table = target.table("readings")
    assert table is not None
    table.create_checkpoint()
    pieces = [Piece("readings", "", version, 1, "") for version in range(1, PUBLISHED + 1)]
    return took(lambda: target.rows(names[shops // 2], "readings", pieces), 3)


def figures(shops: int, rng: np.random.Generator) -> dict[str, pl.DataFrame]:
    """What so many shops publish: invented, with as many streams as a demo shop has."""
    told = several(rng, shops, Planted(wherever=min(0.5, 30 / shops)))
    copies = 450 // len(MODELS)
    levels = pl.concat([told["levels"].with_columns(characteristic=pl.lit(f"c{k}")) for k in range(copies)])
    return told | {"levels": levels}


def scheduled(costs: np.ndarray, workers: int, taking: float) -> tuple[float, float]:
    """When the last result was taken, and the share of time that workers were at it.

    costs : (n,) seconds. taking : seconds of the asking process for each result.
    """
    free = [0.0] * workers
    ends = []
    for cost in costs:
        end = heapq.heappop(free) + cost
        heapq.heappush(free, end)
        ends.append(end)
    asking = 0.0
    for end in sorted(ends):
        asking = max(asking, end) + taking
    return asking, float(costs.sum() / (workers * max(ends)))


def nothing_tasks(many: int = 300) -> float:
    """Seconds of wall a task that does nothing takes of a scheduler and one worker."""
    import distributed

    with (
        distributed.LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        client.gather(client.map(abs, range(10), pure=False))
        begun = time.monotonic()
        client.gather(client.map(abs, range(many), pure=False))
        return (time.monotonic() - begun) / many


def main() -> None:
    rng = np.random.default_rng(SEED)
    with tempfile.TemporaryDirectory(prefix="thousand-shops-") as folder:
        top = Path(folder)
        costs, told, target = tasks(top)
        seen = read_all(target)
        rows = list(target.shops().iter_rows(named=True))
        tables = dict(seen.tables)
        taking = took(lambda: laid_over(tables, rows, told, program()), 3) / len(told)
        opened = {n: opening(top, n) for n in (10, 60, 240)}
    size = np.mean([sum(int(frame.estimated_size()) for frame in one.tables.values()) for one in told])
    slope, fixed = np.polyfit([n for n, _ in costs], [seconds for _, seconds in costs], 1)
    lists = {n: {} for n in (10, 60, 250)}
    for n in lists:
        given = figures(n, rng)
        lists[n] = {name: took(lambda work=work, given=given: work(given)) for name, work in FIGURES.items()}
    per_task = nothing_tasks()
    readings = READINGS * np.exp(rng.normal(0.0, SPREAD, SHOPS))
    line = np.polyfit(list(opened), list(opened.values()), 1)
    at_many = float(np.polyval(line, SHOPS))
    each = fixed + slope * readings + OPENED * (at_many - min(opened.values()))
    simulated = []
    for workers in (1, 2, 8, 32, 128, 512):
        end, busy = scheduled(each + per_task, workers, taking)
        simulated.append(f"| {workers} | {minutes(end)} | {100 * busy:.0f} % | {end / (each.sum() / workers):.2f} |")
    largest = max(lists)
    grown = {name: one * (SHOPS / largest) ** (2 if name == "same_lots" else 1) for name, one in lists[largest].items()}
    lines = [
        "Measured (processor seconds, one core):",
        "",
        "| readings of a shop | its task |",
        "|---|---|",
        *(f"| {n:,} | {seconds:.2f} s |" for n, seconds in costs),
        "",
        f"A task costs {fixed:.2f} s and {1e6 * slope:.1f} s a million readings; {size / 1e3:.0f} kB of figures come",
        f"back, with which the asking process is {1e3 * taking:.0f} ms; the scheduler takes {1e3 * per_task:.1f} ms a",
        "task.",
        "",
        f"| shops that published {PUBLISHED} times | to open a table of rows and read one shop of it |",
        "|---|---|",
        *(f"| {n:,} | {1e3 * seconds:.0f} ms |" for n, seconds in opened.items()),
        "",
        "| list | " + " | ".join(f"{n} shops" for n in lists) + " |",
        "|---|" + "---|" * len(lists),
        *(f"| {name} | " + " | ".join(f"{one[name]:.2f} s" for one in lists.values()) + " |" for name in FIGURES),
        "",
        f"Simulated, {SHOPS:,} shops, readings log-normal round {READINGS:,} (sd of the logarithm {SPREAD}); opening",
        f"{OPENED} tables of {SHOPS:,} shops ({1e3 * at_many:.0f} ms each, along the line above) is in each task:",
        "",
        "| workers | all results in | workers at it | over work by workers |",
        "|---|---|---|---|",
        *simulated,
        "",
        f"Work: {minutes(float(each.sum()))}, of it opening tables {minutes(OPENED * at_many * SHOPS)}. Critical path:",
        f"the dearest task {each.max():.0f} s, taking results {taking * SHOPS:.0f} s in one process, all lists about",
        f"{sum(grown.values()):.0f} s, of them pairs of shops on the same lots {grown['same_lots']:.0f} s and models",
        f"{grown['same_model']:.0f} s (grown from {largest} shops: pairs with the square, others in line). Traffic:",
        f"{size * SHOPS / 1e6:.0f} MB of figures to the asking process; {readings.sum() / 1e6:.0f} M readings stay on",
        "workers.",
    ]
    write(__file__, "\n".join(lines))


def minutes(seconds: float) -> str:
    """`12 s` or `3.4 min`."""
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.1f} min"


if __name__ == "__main__":
    main()
