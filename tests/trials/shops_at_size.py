"""Many shops on a cluster of this machine: python -m tests.trials.shops_at_size [SHOPS] [WEEKS] [DAILY] [FOLDER]

SHOPS (60) shops of WEEKS (26) weeks from the demo's generator, each with seed and mix of its own, DAILY (.56) of the
demo's instruments a day; three suppliers in common. Planted: a bowed lot that went to four shops; a box of bridge
blanks opened in nine, each on its day. In every shop, as in the demo: a target lowered on one day, a jig that sharpened
one model for two weeks. The air moves nothing, so that rooms make no difference.

A shop is made, loaded and published by a process of its own, which also takes the time of the same figures at home,
alone and on one core. Then all of them are worked out by two workers, and what is told is held against what was
planted. Begun again it goes on where it was ended.
"""

import json
import multiprocessing
import os
import resource
import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

ONE_CORE = {"POLARS_MAX_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
os.environ |= ONE_CORE  # before polars and numpy, as on a worker

import numpy as np  # noqa: E402
import polars as pl  # noqa: E402

from dashboard.cluster import engine  # noqa: E402
from dashboard.cluster.work import FIGURES as WORKED  # noqa: E402
from dashboard.cluster.work import program  # noqa: E402
from dashboard.commands import cli  # noqa: E402
from dashboard.exports.several import FIGURES  # noqa: E402
from ingest.store.target import Target  # noqa: E402
from ingest.verbs.shops import read_all  # noqa: E402
from tests.trials.written import write  # noqa: E402

SEED, WORKERS, AGAIN = 20261133, 2, 1.3
BOWED, BLANKS = 4, 9  # shops that got the lot, that opened the box
NOW = datetime(2026, 11, 21, tzinfo=UTC)


def got(shops: int) -> tuple[int, int]:
    """How many shops got the lot, and how many opened the box; of fewer shops fewer."""
    return min(BOWED, shops // 3), min(BLANKS, shops // 2)


def made(task: tuple[int, int, float, str, int], seed: int = SEED, *, timed: bool = True) -> dict[str, float]:
    """One shop: made, loaded, `timed` at home and published; what it took, kept beside."""
    k, weeks, daily, top, shops = task
    bowed, blanks = got(shops)
    told = Path(top) / f"shop-{k:02d}.json"
    if told.exists():
        return json.loads(told.read_text())
    from demo_data import scenario
    from demo_data.generator import write_shop
    from ingest.store.store import open_snapshot
    from ingest.verbs.load import load

    rng = np.random.default_rng([seed, k])
    plant = scenario.PLANTED
    scenario.PER_DAY = scenario.PER_DAY * rng.lognormal(0.0, 0.4, len(scenario.PER_DAY))
    scenario.DAY_FROM, scenario.DAY_TO = round(scenario.DAY_FROM * daily), round(scenario.DAY_TO * daily)
    plant["relief_humidity"]["size"] = plant["rodless_air"]["size"] = 0.0
    opened = np.busday_offset("2026-09-28", int(rng.integers(0, 25)), roll="forward")
    plant["action_step"]["from_date"] = opened.item()
    if k >= blanks:
        plant["action_step"]["size"] = 0.0
    if k >= bowed:
        plant["bowed_lot"] |= {"lot": f"MP-{5000 + k}", "size": 0.0, "relief_size": 0.0, "minutes_share": 0.0}
    folder = Path(top) / f"shop-{k:02d}"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    logs = write_shop(folder, weeks=weeks, seed=seed + k)
    changes = (folder / "changes.csv").read_text().splitlines()
    box = f"{opened},,HERON-OM,bridge_fitting,bridge blanks,new box of bridge blanks opened"
    changes = [line for line in changes if "bridge blanks" not in line] + ([box] if k < blanks else [])
    (folder / "changes.csv").write_text("\n".join(changes) + "\n")
    load(folder, logs, now=NOW)
    begun, wall = time.process_time(), time.monotonic()
    home = open_snapshot(folder)
    for work in WORKED.values() if timed else ():
        home.once(work)
    own = {"own": time.process_time() - begun, "own_wall": time.monotonic() - wall}
    own["readings"] = len(home.table("readings", "line"))
    begun = time.process_time()
    assert cli.run(["publish", str(Path(top) / "all"), "--shop", str(folder), "--as", f"shop-{k:02d}"]) == 0
    own["publish"] = time.process_time() - begun
    shutil.rmtree(folder)
    told.write_text(json.dumps(own))
    return own


def peak() -> float:
    """GB that this process has had at most."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def named(lists: dict[str, pl.DataFrame]) -> dict[str, list[str]]:
    """What is told, by list, a line each; what was planted is marked."""
    model = lists["same_model"].filter("apart")
    change = lists["same_change"].filter("moved")
    lots = lists["lots_standing_out"].filter("apart")
    two = lists["same_lots"].filter(pl.col("what").is_in(["gauge", "necks"]))
    gauge = lists["same_gauge"].filter("apart")
    matter = lists["same_matter"].filter("one")
    work = lists["same_rework"].filter("apart")
    stream = ["characteristic", "position", "model", "stage"]
    return {
        "models": [" ".join(one) for one in model.select("question", *stream, "shop").iter_rows()],
        "changes": [" ".join(one) for one in change.select("what", *stream, "shop").iter_rows()],
        "lots": [" ".join(one) for one in lots.select("lot", "shops").iter_rows()],
        "pairs": [" ".join(one) for one in two.select("what", "characteristic", "shop", "other").iter_rows()],
        "gauges": [" ".join(one) for one in gauge.select("characteristic", "shop").iter_rows()],
        "matters": [
            f"{kind} {what} ({characteristic} {'up' if up else 'down'}) in {shops}"
            for kind, what, characteristic, up, shops in matter.unique("number", maintain_order=True)
            .select("kind", "what", "characteristic", "up", "shops")
            .iter_rows()
        ],
        "rework": [" ".join(one) for one in work.select("stage", "shop").iter_rows()],
    }


def planted(line: str, shops: int) -> bool:
    """Is it one of what was planted, or what stands in every demo shop on one day? A bowed lot is in the mean and the
    spread of the necks of the shops that got it.
    """
    words = ("MP-2291", "bridge blanks", "HERON-OM", "PLOVER-C", "target", "KITE-M2", "(intonation up)")
    of_lot = "neck_bow" in line and any(line.endswith(f"shop-{k:02d}") for k in range(got(shops)[0]))
    return of_lot or any(word in line for word in words)


def main(shops: int = 60, weeks: int = 26, daily: float = 0.56, top: str = "") -> None:
    place = Path(top or tempfile.mkdtemp(prefix="shops-at-size-"))
    place.mkdir(parents=True, exist_ok=True)
    begun = time.monotonic()
    context = multiprocessing.get_context("spawn")
    with context.Pool(os.cpu_count(), maxtasksperchild=1) as pool:
        tasks = [(k, weeks, daily, str(place), shops) for k in range(shops)]
        costs = pl.DataFrame(list(pool.imap(made, tasks, chunksize=1)))
    making = time.monotonic() - begun
    target = Target(str(place / "all"))
    with engine.engine(workers=WORKERS) as made_engine:
        made_engine.client.run(program)  # the workers stand, as in a shop that has asked before
        made_engine.client.run(warm)
        wall = time.monotonic()
        told = read_all(target, afresh=made_engine.afresh, program=program())
        reading = time.monotonic() - wall
        memory = list(made_engine.client.run(peak).values())
        worked = pl.DataFrame([{"seconds": one.seconds, "bytes": one.bytes_read} for one in made_engine.told])
    begun = time.monotonic()
    lists = {name: work(told.tables) for name, work in FIGURES.items()}
    alone = time.monotonic() - begun
    half = costs["own_wall"].sum() / WORKERS
    unlike = [line for line in told.said if "than it published" in line or "could not" in line]
    lines = [
        f"{shops} shops of {weeks} weeks, {costs['readings'].sum() / 1e6:.2f} M readings; made, loaded and published "
        f"in {making / 60:.1f} minutes of {os.cpu_count()} cores (not again what a run before made); load of the",
        f"machine while workers were at it {os.getloadavg()[0]:.0f}.",
        "",
        "| | |",
        "|---|---|",
        f"| the shops' own figures, one after the other: processor, wall | {costs['own'].sum():.0f} s, "
        f"{costs['own_wall'].sum():.0f} s |",
        f"| publishing, each from nothing: processor | {costs['publish'].sum():.0f} s |",
        f"| the same on {WORKERS} workers: processor, wall | {worked['seconds'].sum():.0f} s, {reading:.0f} s |",
        f"| wall over half of the shops' own (at most {AGAIN}) | {reading / half:.2f} |",
        f"| most memory of a worker | {max(memory):.2f} GB |",
        f"| figures that are not the shop's own to the last digit | {len(unlike)} |",
        f"| all lists of all shops, in one process | {alone:.1f} s |",
        f"| tables of figures that came back, a shop | {figures_size(told.tables, shops) / 1e3:.0f} kB |",
        f"| rows read on workers, a shop | {worked['bytes'].mean() / 1e6:.0f} MB in memory |",
        "",
        "| list | told of what was planted | told of what was not |",
        "|---|---|---|",
    ]
    for name, said in named(lists).items():
        ours = [line for line in said if planted(line, shops)]
        others = [line for line in said if line not in ours]
        lines.append(f"| {name} | {len(ours)}: {short(ours)} | {len(others)}: {short(others)} |")
    lines += [
        "",
        f"Planted: lot MP-2291 bowed in shops 0 to {got(shops)[0] - 1}, bridge blanks in 0 to {got(shops)[1] - 1}, a "
        "lowered target (PLOVER-C) and a jig (KITE-M2) in all.",
    ]
    lines += ["", *(f"Said: {line}" for line in told.said if "no unit" not in line)]
    write(__file__, "\n".join(lines))


def warm() -> None:
    """Load what the studies load, once."""
    import statsmodels.api  # noqa: F401


def figures_size(tables: dict[str, pl.DataFrame], shops: int) -> float:
    """Bytes of the tables that workers send, a shop."""
    return sum(int(tables[name].estimated_size()) for name in WORKED) / shops


def short(lines: list[str]) -> str:
    """The first of them."""
    return "; ".join(lines[:5]) + (" ..." if len(lines) > 5 else "")


if __name__ == "__main__":
    given = sys.argv[1:]
    kinds = (int, int, float, str)
    main(*(kind(word) for kind, word in zip(kinds, given, strict=False)))
