"""What a shop of many years costs: `nice python -m tests.benchmarks.years [--of 16,208]`; the table is years.md.

A shop of N weeks is the demo's sixteen weeks laid end to end as often as they fit, each time with serials, lots and
logs of its own. Each side runs in its own child process, which tells its CPU seconds and its peak memory; ratios are
within one run. With `--keep DIR` shops and results stay there, and a run that was stopped goes on where it was, as long
as the code is the same commit. What years.md says below its table is left as it is. Never part of pytest.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

DEMO_WEEKS = 16
NOW = datetime(2026, 11, 21, tzinfo=UTC)
CORE = ("streams", "signals", "capability", "stages", "send_backs", "weeks")
NEEDED = {  # the columns that the core tables need, as a bare read takes them
    "visits": ("serial", "model", "stage", "tech", "started_at", "finished_at", "minutes", "outcome", "sent_back_to",
               "cause", "supplier", "lot"),
    "readings": ("log_id", "line", "serial", "stage", "taken_at", "characteristic", "position", "moment", "value",
                 "gauge"),
}  # fmt: skip
CHILD = """
import json, sys, time
from pathlib import Path
import dashboard.pages.week.page, dashboard.exports.figures
from tests.benchmarks import years
begun = time.process_time()
getattr(years, sys.argv[1])(Path(sys.argv[2]))
told = Path("/proc/self/status").read_text()  # not getrusage, which counts what the parent held before this began
peak = int(told.partition("VmHWM:")[2].split()[0]) / 1024
print(json.dumps({"seconds": time.process_time() - begun, "peak": peak}))
"""


def shop_of(weeks: int, folder: Path, demo: Path) -> Path:
    """A shop of so many weeks, made of the demo's folder unless it stands there already."""
    if (folder / "store").exists():
        return folder
    making = folder.with_suffix(".part")  # a run that is stopped here leaves no half shop
    shutil.rmtree(making, ignore_errors=True)
    shutil.copytree(demo, making)
    times = weeks // DEMO_WEEKS
    if times > 1:
        _laid_end_to_end(making, times)
    return making.rename(folder)


def _laid_end_to_end(folder: Path, times: int) -> None:
    from ingest.shopfiles.shop import fingerprint
    from ingest.store import book
    from ingest.store.delta import KEPT
    from ingest.store.store import drafting, open_snapshot

    before = open_snapshot(folder)
    tables = {name: before.readers[name](tuple(KEPT[name] if name != "visits" else ())) for name in KEPT}
    for name in ("climate.csv", "lots.csv"):
        _side(folder / name, times)
    with drafting(folder, NOW) as draft:
        for turn in range(1, times):
            for name, rows in tables.items():
                draft.waiting[name].append(_shifted(rows, turn).select(_columns(rows, KEPT[name])))
            draft.flush()
        draft.finish("laid end to end", NOW, fingerprint(folder), book.last_sequence(folder))


def _columns(rows: pl.DataFrame, kept: dict[str, pl.DataType]) -> list[pl.Expr]:
    return [pl.col(n) if n in rows.columns else pl.lit(0, dtype=t).alias(n) for n, t in kept.items()]


def _shifted(rows: pl.DataFrame, turn: int) -> pl.DataFrame:
    """The same weeks so many times earlier, of other instruments, lots and logs."""
    times = [pl.col(n) - timedelta(weeks=DEMO_WEEKS * turn) for n, t in rows.schema.items() if t.is_temporal()]
    other = [
        pl.when(pl.col(n) != "").then(pl.col(n) + f".{turn}").otherwise(pl.col(n))
        for n in ("serial", "neck", "lot")
        if n in rows.columns
    ]
    return rows.with_columns(*times, *other, log_id=f"{turn:02x}" + pl.col("log_id").str.head(-2))


def _side(path: Path, times: int) -> None:
    rows = pl.read_csv(path, infer_schema=False)
    parts = [rows]
    for turn in range(1, times):
        back = timedelta(weeks=DEMO_WEEKS * turn)
        if "at" in rows.columns:
            at = pl.col("at").str.to_datetime("%Y-%m-%d %H:%M") - back
            parts.append(rows.with_columns(at.dt.strftime("%Y-%m-%d %H:%M")))
        else:
            on = (pl.col("received_on").str.to_date() - back).cast(pl.String)
            parts.append(rows.with_columns(on, lot=pl.col("lot") + f".{turn}"))
    pl.concat(parts[::-1]).write_csv(path)


def nothing(folder: Path) -> None:
    """The program by itself: what it imports, and the shop opened."""
    from dashboard.exports.figures import FIGURES
    from ingest.store.store import open_snapshot

    assert FIGURES
    open_snapshot(folder)


def bare(folder: Path) -> None:
    """The columns that the core tables need, read and nothing else."""
    from ingest.store.store import open_snapshot

    snapshot = open_snapshot(folder)
    for name, columns in NEEDED.items():
        snapshot.table(name, *columns)


def story(folder: Path) -> None:
    """What every study begins with, worked out."""
    from ingest.store import kept_tables

    kept_tables.let_go(folder)
    told(folder)


def told(folder: Path) -> None:
    """The same once more, by what is kept; the sides behind this one have it so too, up to `week`."""
    from analysis.studies.story.story import story
    from ingest.store.store import open_snapshot

    open_snapshot(folder).once(story)


def settling(folder: Path) -> None:
    """The table of what the rest does."""
    from analysis.studies.room.settling import settling_rows
    from ingest.store.store import open_snapshot

    open_snapshot(folder).once(settling_rows)


def signals(folder: Path) -> None:
    """All signals of the shop, ever."""
    from analysis.studies.drift import signals as drift
    from ingest.store.store import open_snapshot

    open_snapshot(folder).once(drift.signals)


def capability(folder: Path) -> None:
    """The table of capability, signals included."""
    from analysis.studies.room.capability import capability_rows
    from ingest.store.store import open_snapshot

    open_snapshot(folder).once(capability_rows)


def week(folder: Path) -> None:
    """Page Week of a shop that nobody has looked at."""
    from ingest.store import kept_states, kept_tables, kept_texts, worked_out

    for kept in (worked_out, kept_states, kept_tables, kept_texts):
        kept.let_go(folder)
    again(folder)


def again(folder: Path) -> None:
    """Page Week laid out, once more by a process that has just opened the shop."""
    from dashboard.desk import desk
    from dashboard.pages.week import page

    desk.use(desk.Desk(folder))
    page.layout()


def day(folder: Path) -> None:
    """One more day's logs loaded, and the new Week."""
    from ingest.verbs.load import load

    made = load(folder, sorted((folder / "one_more_day").iterdir()), now=NOW + timedelta(days=3))
    assert all(one.accepted for one in made)
    again(folder)


def one_more_day(folder: Path, place: Path) -> Path:
    """A copy of the shop, with the logs of one more day of other instruments beside it."""
    shutil.copytree(folder, place, dirs_exist_ok=True)
    (place / "one_more_day").mkdir()
    for name, last, new in (("bench", "2026-11-20", "2026-11-23"), ("final", "20/11/2026", "23/11/2026")):
        head, *rows = (folder / "logs" / f"{name}_2026-W47.csv").read_bytes().split(b"\n")
        kept = [
            row.replace(b";", b"-N;", 1) for row in rows if row.count(last.encode()) == (2 if name == "bench" else 1)
        ]
        data = b"\n".join([head, *kept]).replace(last.encode(), new.encode())
        (place / "one_more_day" / f"{name}_2026-W48.csv").write_bytes(data)
    return place


def core(folder: Path) -> None:
    """The core tables of figures."""
    from dashboard.exports.figures import FIGURES
    from ingest.store.store import open_snapshot

    snapshot = open_snapshot(folder)
    for name in CORE:
        snapshot.once(FIGURES[name])


SIDES = ("nothing", "bare", "story", "told", "settling", "signals", "capability", "week", "again", "day", "core")


def child(side: str, folder: Path) -> dict[str, float]:
    """One side in its own process."""
    ran = subprocess.run(
        [sys.executable, "-c", CHILD, side, str(folder)],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},  # as the command has it
    )
    if ran.returncode:
        raise RuntimeError(ran.stderr)
    found: dict[str, float] = json.loads(ran.stdout.splitlines()[-1])
    return found


def written(found: dict[int, dict[str, dict[str, float]]], commit: str) -> str:
    """The table of what was measured; a side that was not run is left out."""
    sizes = sorted(found)
    few, many = sizes[0], sizes[-1]
    lines = [
        "# A shop of many years",
        "",
        f"`python -m tests.benchmarks.years`, on commit {commit}. CPU seconds and peak memory (MB) of each side in a",
        "process of its own, after its imports, opening the shop included; the demo's sixteen weeks laid end to end.",
        "`told`: the story once more, by what was kept; `week`: of a shop nobody has looked at; `again`: once more;",
        "`day`: one more day's logs loaded, and the Week after it. Wanted: Week at 208 weeks at most twice that at 26,",
        "at most 1,500 MB; a day at 208 at most 1.5 times a day at 16, and 5 s; core tables at most 40 bare reads.",
        "",
        "| side | " + " | ".join(f"{size} weeks: s | MB" for size in sizes) + f" | {many} / {few} | over a bare read |",
        "|---|" + "---|" * (2 * len(sizes) + 2),
    ]
    for side in SIDES:
        if side not in found[few]:
            continue
        cells = []
        for size in sizes:
            one = found[size].get(side)
            cells.append(f"{one['seconds']:.1f} | {one['peak']:,.0f}" if one else "not run | ")
        own = {size: found[size][side]["seconds"] for size in sizes if side in found[size]}
        ratio = f"{own[many] / own[few]:.1f}" if side != "nothing" and many in own and own[few] > 0 else ""
        reads = ""
        if many in own and side not in ("nothing", "bare") and "bare" in found[many]:
            reads = f"{own[many] / max(found[many]['bare']['seconds'], 1e-3):.0f}"
        lines.append(f"| {side} | " + " | ".join(cells) + f" | {ratio} | {reads} |")
    return "\n".join(lines) + "\n"


def before(results: Path) -> dict[int, dict[str, dict[str, float]]]:
    """What an earlier run of the same code has measured; shop -> side -> seconds and peak."""
    if not results.exists():
        return {}
    return {int(size): sides for size, sides in json.loads(results.read_text()).items()}


def tell(table: str) -> None:
    """The table in place of the one in years.md; what stands behind that stays."""
    path = Path(__file__).with_suffix(".md")
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    begins = next((at for at, line in enumerate(lines) if line.startswith("|")), len(lines))
    ends = next((at for at, line in enumerate(lines) if at > begins and not line.startswith("|")), len(lines))
    path.write_text(table + "".join(line + "\n" for line in lines[ends:]), encoding="utf-8")


def main() -> None:
    """Measure, and write years.md as the numbers come."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--of", default="16,208", help="weeks of each shop")
    asked.add_argument("--sides", default=",".join(SIDES))
    asked.add_argument("--demo", type=Path, default=None, help="a demo shop that is there already")
    asked.add_argument("--keep", type=Path, default=None, help="folder in which the shops stand, and stay")
    told = asked.parse_args()
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True).stdout
    with tempfile.TemporaryDirectory() as place:
        root = told.keep or Path(place)
        demo = told.demo or root / "demo"
        if not demo.exists():
            from demo_data.generator import write_shop
            from ingest.verbs.load import load

            load(demo, write_shop(demo), now=NOW)
        results = root / f"years-{commit.strip()}.json"
        found = before(results)
        for size in map(int, told.of.split(",")):
            folder = shop_of(size, root / f"weeks-{size}", demo)
            for side in told.sides.split(","):
                if side in found.get(size, {}):
                    continue
                if side == "day":
                    with tempfile.TemporaryDirectory() as other:
                        found.setdefault(size, {})[side] = child(side, one_more_day(folder, Path(other) / "shop"))
                else:
                    found.setdefault(size, {})[side] = child(side, folder)
                results.write_text(json.dumps(found))
                tell(written(found, commit.strip()))


if __name__ == "__main__":
    main()
