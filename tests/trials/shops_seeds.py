"""Is all that was planted told, and nothing else, seed after seed: python -m tests.trials.shops_seeds [SEEDS] [FOLDER]
[FIRST]

SEEDS (20) times ten shops of twenty-six weeks at .4 of the demo's instruments a day, made, loaded and published as in
shops_at_size: a bowed lot that went to three of them, a box of bridge blanks that five opened, each on its day; in all
of them a target lowered on one day and a jig that sharpened one model for two weeks. Told must be: the lot, by lot;
blanks and target in each shop that had them; and as one matter each blanks, target and jig. That the lot is one matter
too was asked for at first; the first seed told it by lot alone (three shops that name it with some doubt are not beyond
chance), and it is counted apart since. Seeds are those of shops_at_size and every thousandth after it, from the FIRST
(0) on. What is read of the shops of a seed is kept in FOLDER: begun again it goes on where it was ended, and lists are
made anew of what was read, by the code of now. In which shops the lot was is not asked: some never got it, by their own
deliveries (looked up in two seeds that told it of two shops: the third had no piece of it).
"""

import multiprocessing
import os
import shutil
import sys
import tempfile
from functools import partial
from pathlib import Path

from tests.trials.shops_at_size import SEED, got, made, named, planted, program
from tests.trials.written import write

from dashboard.exports.several import FIGURES  # isort: skip  after shops_at_size, which sets one core
import polars as pl  # isort: skip

from ingest.store.target import Target
from ingest.verbs.shops import read_all

SHOPS, WEEKS, DAILY, APART = 10, 26, 0.4, 1000


def asked_for() -> dict[str, list[str]]:
    """What must be told, by list: beginnings of lines, and which shops they end with."""
    _, blanks = got(SHOPS)
    return {
        "lots": ["MP-2291 "],
        "changes": [f"bridge blanks action {k}" for k in range(blanks)] + [f"target action {k}" for k in range(SHOPS)],
        "matters": ["change bridge blanks", "change target", "change jig"],
    }


def is_told(kind: str, want: str, lines: list[str]) -> bool:
    """Does one of the lines tell it?"""
    if kind != "changes":
        return any(line.startswith(want) for line in lines)
    what, _, shop = want.rpartition(" ")
    words = {"bridge blanks action": "bridge blanks action", "target action": "a new target action"}[what]
    return any(line.startswith(words) and line.endswith(f"shop-{int(shop):02d}") for line in lines)


def read_of(turn: int, top: Path, processes: int) -> dict[str, pl.DataFrame]:
    """What is read of the shops of one seed, by table; kept beside."""
    kept = top / f"{turn}.tables"
    if not kept.exists():
        place = top / str(turn)
        place.mkdir(parents=True, exist_ok=True)
        tasks = [(k, WEEKS, DAILY, str(place), SHOPS) for k in range(SHOPS)]
        with multiprocessing.get_context("spawn").Pool(processes, maxtasksperchild=1) as pool:
            list(pool.imap(partial(made, seed=SEED + APART * turn, timed=False), tasks, chunksize=1))
        told = read_all(Target(str(place / "all")), program=program())
        half = top / f"{turn}.half"
        half.mkdir(exist_ok=True)
        for name, rows in told.tables.items():
            rows.write_parquet(half / f"{name}.parquet")
        half.rename(kept)
        shutil.rmtree(place)
    return {path.stem: pl.read_parquet(path) for path in sorted(kept.glob("*.parquet"))}


def told_of(tables: dict[str, pl.DataFrame]) -> dict[str, list[str]]:
    """What is told of them, by list."""
    return named({name: work(tables) for name, work in FIGURES.items()})


def main(seeds: int = 20, top: str = "", first: int = 0) -> None:
    place = Path(top or tempfile.mkdtemp(prefix="shops-seeds-"))
    place.mkdir(parents=True, exist_ok=True)
    whole, quiet, as_one, rows = 0, 0, 0, []
    for turn in range(first, first + seeds):
        found = told_of(read_of(turn, place, int(os.environ.get("PROCESSES", "2"))))
        missing = [f"{kind}: {want}" for kind, many in asked_for().items() for want in many
                   if not is_told(kind, want, found[kind])]  # fmt: skip
        others = [f"{kind}: {line}" for kind, lines in found.items() for line in lines if not planted(line, SHOPS)]
        whole, quiet = whole + (not missing), quiet + (not others)
        as_one += is_told("matters", "lot MP-2291", found["matters"])
        rows.append(f"| {SEED + APART * turn} | {'; '.join(missing) or 'all'} | {'; '.join(others) or 'nothing'} |")
        sys.stderr.write(f"{rows[-1]}\n")
    write(
        __file__,
        "\n".join(
            [
                (__doc__ or "").split("\n\n", 1)[1],
                f"Of {seeds} seeds all that was planted is told in {whole}, nothing else in {quiet}; the lot is one "
                f"matter too in {as_one}.",
                "",
                "| seed | not told of what was planted | told beside |",
                "|---|---|---|",
                *rows,
            ]
        ),
    )


if __name__ == "__main__":
    given = sys.argv[1:]
    main(*(kind(word) for kind, word in zip((int, str, int), given, strict=False)))
