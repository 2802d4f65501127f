"""Random walks over the verbs: whatever was loaded, unloaded, replaced, corrected and settled, a store made again from
the originals is the same.

Run by hand: `python -m tests.trials.store_walk [WALKS] [STEPS]`; a few short walks run with pytest
(tests/ingest/test_walk.py). Seed fixed before the first run.
"""

import random
import shutil
import sys
import tempfile
from pathlib import Path

import polars as pl

from ingest.store import book
from ingest.store.accounts import CONFLICT
from ingest.store.store import open_snapshot
from ingest.verbs.again import again
from ingest.verbs.load import ensure, load, unload
from ingest.verbs.mend import correct, settle
from tests.ingest.bench import GROWING, NOW, held, log, row, shop

SEED = 8128
WIDE = "serial,model,date @ play_test,relief @ play_test (mm),date @ final_inspection,relief @ final_inspection (mm)"
RELIEFS = ("0.20", "0.25", "0.3", "25", "x")


def typed(chance: random.Random) -> str:
    """One visit of very few, so that rows of different logs often meet."""
    start = chance.choice(("2026-03-02 09:00", "2026-03-02", "2026-03-03 10:00"))
    return row(
        chance.choice(("A1", "A2", "A3")),
        stage=chance.choice(("play_test", "packing", "attic")),
        tech=chance.choice(("T01", "")),
        start=start,
        finish="",
        relief=chance.choice(RELIEFS),
        note=chance.choice(("", "", "again")),
    )


def wide(chance: random.Random) -> str:
    cells = [
        chance.choice(("A1", "A2")),
        "LARK-25",
        "2026-03-02",
        chance.choice(RELIEFS),
        chance.choice(("2026-03-03", "")),
        chance.choice(RELIEFS[:3]),
    ]
    return ",".join(cells)


def new_log(folder: Path, chance: random.Random, number: int) -> Path:
    kind = chance.choice(("bench", "bench", "grow", "grow", "wide"))
    if kind == "wide":
        return log(folder, f"wide{number}.csv", [wide(chance) for _ in range(chance.randint(1, 3))], WIDE)
    return log(folder, f"{kind}{number}.csv", [typed(chance) for _ in range(chance.randint(1, 6))])


def step(folder: Path, chance: random.Random, number: int) -> str:
    """One thing that somebody might do; what it was."""
    logs = open_snapshot(folder).table("logs")["log_id"].sort().to_list()
    asked = open_snapshot(folder).table("set_aside").sort("log_id", "line", "column")
    doing = chance.choice(("load", "load", "load", "unload", "replace", "correct", "settle", "settle", "again"))
    if doing == "unload" and logs:
        return f"unload {unload(folder, chance.choice(logs), now=NOW)}"
    if doing == "replace" and logs:
        load(folder, [new_log(folder, chance, number)], replaces=chance.choice(logs), now=NOW)
        return "replace"
    if doing == "correct" and logs:
        log_id, line = chance.choice(logs), 2
        column = (
            "note"
            if open_snapshot(folder).table("logs").filter(log_id=log_id)["name"].item()[:4] != "wide"
            else "relief @ play_test (mm)"
        )
        correct(folder, log_id, line, column, chance.choice(("0.21", "0.22")), who="Mo", why="walk", now=NOW)
        return f"correct {log_id}"
    if doing == "settle":
        conflicts = asked.filter(pl.col("reason") == CONFLICT)
        real = asked.filter(pl.col("wanted").str.contains("is it real?", literal=True))
        which, verdicts = (conflicts, ("take new", "keep held")) if chance.random() < 0.7 else (real, ("it is real",))
        if which.height:
            one = which.row(chance.randrange(which.height), named=True)
            verdict = chance.choice(verdicts)
            settle(folder, one["log_id"], one["line"], one["column"], verdict, who="Mo", why="walk", now=NOW)
            return f"settle {one['log_id']} {one['line']} {one['column']} {verdict}"
    if doing == "again":
        again(folder, now=NOW)
        return "again"
    load(folder, [new_log(folder, chance, number) for _ in range(chance.randint(1, 2))], now=NOW)
    return "load"


def sound(folder: Path) -> None:
    """What must hold after every step."""
    snapshot = open_snapshot(folder)
    logs, visits, readings = snapshot.table("logs"), snapshot.table("visits"), snapshot.table("readings")
    assert (logs["rows_read"] == logs["accepted"] + logs["changed"] + logs["already_held"] + logs["set_aside"]).all(), (
        logs
    )
    assert (
        logs.select(
            pl.min_horizontal("accepted", "changed", "already_held", "set_aside", "cells_set_aside") >= 0
        ).to_series()
    ).all(), logs
    lines = visits.group_by("log_id").agg(pl.col("line").n_unique().alias("lines"))
    counted = logs.join(lines, on="log_id", how="left").with_columns(pl.col("lines").fill_null(0))
    assert (counted["accepted"] + counted["changed"] == counted["lines"]).all(), counted
    asked = (
        snapshot.table("set_aside")
        .group_by("log_id")
        .agg(rows=(pl.col("column") == "").sum(), cells=(pl.col("column") != "").sum())
    )
    counted = logs.join(asked, on="log_id", how="left").with_columns(pl.col("rows", "cells").fill_null(0))
    assert (counted["set_aside"] == counted["rows"]).all(), counted
    assert (counted["cells_set_aside"] == counted["cells"]).all(), counted
    keys = visits.select("log_id", "line", "stage")
    assert readings.join(keys, on=["log_id", "line", "stage"], how="anti").is_empty()
    assert book.active_logs(book.read(folder)["loads"])["log_id"].sort().to_list() == logs["log_id"].sort().to_list()


def walk(folder: Path, seed: int, steps: int) -> list[str]:
    """One walk; what was done. AssertionError where a remade store is another one."""
    shop(folder, GROWING)
    chance, done = random.Random(seed), []
    for number in range(steps):
        done.append(step(folder, chance, number))
        try:
            sound(folder)
        except AssertionError as fault:
            raise AssertionError(f"seed {seed}, after {done}: {fault}") from fault
    before = held(folder)
    shutil.rmtree(folder / "store", ignore_errors=True)
    ensure(folder, now=NOW)
    after = held(folder)
    for name in before:
        assert before[name].equals(after[name]), (
            f"seed {seed}: {name} is another one after {done}\n{before[name]}\n{after[name]}"
        )
    return done


if __name__ == "__main__":
    walks, steps = (int(argument) for argument in (*sys.argv[1:], *("100", "12")[len(sys.argv) - 1 :]))
    for number in range(walks):
        with tempfile.TemporaryDirectory() as place:
            walk(Path(place) / "shop", SEED + number, steps)
    sys.stdout.write(f"{walks} walks of {steps} steps: every store made again was the same\n")
