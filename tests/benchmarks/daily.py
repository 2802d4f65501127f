"""A log a day for ten years: `nice python -m tests.benchmarks.daily --keep DIR [--logs 3650]`; its result is years.md.

Five days of the demo's last bench sheet, week after week, each week with serials of its own, loaded one by one into a
shop that begins empty. Wanted: the median of the last hundred at most 1.5 times that of logs 101 to 200. What was
measured stands in DIR/daily.jsonl, a line a log, and a run that was stopped goes on behind its last. On a busy machine
CPU seconds of two hours do not compare: the shop of the first and the shop before the last hundred are copied, and in
the end a hundred logs are loaded into both in turn. `--in-turn EARLY LATE` does that alone, with copies of two shops.
Never part of pytest.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import statistics
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

MONDAY = datetime(2026, 11, 16, tzinfo=UTC)  # of the demo's last week
DAYS = 5
HUNDRED = 100  # logs
OF_SHOP = ("shop.toml", "specs.csv", "lots.csv", "changes.csv", "climate.csv")


def days_of(sheet: Path) -> tuple[str, list[list[str]]]:
    """The header of a bench sheet, and its rows by the day on which they end."""
    head, *rows = sheet.read_text(encoding="utf-8").splitlines()
    found: list[list[str]] = [[] for _ in range(DAYS)]
    for row in rows:
        ends = row.split(";")[6][:10]
        day = (datetime.fromisoformat(ends).replace(tzinfo=UTC) - MONDAY).days if ends else -1
        if 0 <= day < DAYS:
            found[day].append(row)
    return head, found


def log_of(number: int, head: str, days: list[list[str]]) -> tuple[str, datetime]:
    """The log of so many working days after the first, and the evening on which it is loaded."""
    week, day = divmod(number, DAYS)
    later = timedelta(weeks=week)

    def moved(found: re.Match[str]) -> str:
        return (datetime.fromisoformat(found[0]) + later).date().isoformat()

    rows = [re.sub(r"\d{4}-\d\d-\d\d", moved, row.replace(";", f"-{week};", 1)) for row in days[day]]
    return "\n".join([head, *rows]) + "\n", MONDAY + later + timedelta(days=day, hours=23)


def resident() -> float:
    """Memory held now, MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def one_more(shop: Path, number: int, head: str, days: list[list[str]]) -> float:
    """CPU seconds of loading a log."""
    from ingest.verbs.load import load

    text, evening = log_of(number, head, days)
    path = shop.parent / f"bench_{number:04d}.csv"
    path.write_text(text, encoding="utf-8")
    began = time.process_time()
    made = load(shop, [path], now=evening)
    took = time.process_time() - began
    path.unlink()
    assert made[0].accepted, made
    return took


def in_turn(keep: Path, demo: Path, early: Path, late: Path) -> str:
    """A hundred logs loaded into copies of two shops, now into one, now into the other: medians, and their ratio."""
    from ingest.store.store import open_snapshot

    head, days = days_of(demo / "logs" / "bench_2026-W47.csv")
    shops = [keep / "turn-early", keep / "turn-late"]
    for shop, source in zip(shops, (early, late), strict=True):
        shutil.rmtree(shop, ignore_errors=True)
        shutil.copytree(source, shop)
    begin = [open_snapshot(shop).table("logs").height for shop in shops]
    took = [
        [one_more(shop, first + number, head, days) for shop, first in zip(shops, begin, strict=True)]
        for number in range(HUNDRED)
    ]
    lines = []
    medians = [statistics.median(each) for each in zip(*took, strict=True)]
    for first, median, each in zip(begin, medians, zip(*took, strict=True), strict=True):
        lines.append(f"in turn, logs {first + 1} to {first + HUNDRED}: {median:.3f} CPU s, least {min(each):.3f}")
    for shop in shops:
        shutil.rmtree(shop)
    return "\n".join([*lines, f"in turn, late over early: {medians[1] / medians[0]:.2f} (at most 1.5)"])


def run(keep: Path, demo: Path, logs: int) -> list[dict[str, float]]:
    """Load up to so many logs, a line of daily.jsonl each; those that stand there are not loaded again."""
    from ingest.store.store import open_snapshot

    shop, told = keep / "daily", keep / "daily.jsonl"
    if not shop.exists():
        shop.mkdir(parents=True)
        for name in OF_SHOP:
            shutil.copy(demo / name, shop / name)
    head, days = days_of(demo / "logs" / "bench_2026-W47.csv")
    lines = told.read_text().splitlines() if told.exists() else []
    found: list[dict[str, float]] = [json.loads(line) for line in lines]
    begin = max(len(found), open_snapshot(shop).table("logs").height)
    with told.open("a") as file:
        for number in range(begin, logs):
            for copy, at in zip(("early", "late"), (HUNDRED, logs - HUNDRED), strict=True):
                if number == at:
                    shutil.rmtree(keep / copy, ignore_errors=True)
                    shutil.copytree(shop, keep / copy)
            took = one_more(shop, number, head, days)
            found.append({"log": number + 1, "seconds": took, "resident": resident()})
            file.write(json.dumps(found[-1]) + "\n")
            file.flush()
    return found


def told(found: list[dict[str, float]]) -> str:
    """Medians of a hundred logs each, the ratio that is wanted, and what is held in memory."""
    of = {int(one["log"]): one for one in found}
    parts = []
    for last in sorted({*range(HUNDRED, max(of) + 1, HUNDRED), max(of)}):
        some = [of[log]["seconds"] for log in range(last - HUNDRED + 1, last + 1) if log in of]
        if some:
            parts.append((last, statistics.median(some)))
    early = dict(parts).get(2 * HUNDRED)
    lines = [f"logs {last - HUNDRED + 1} to {last}: {median:.2f} CPU s" for last, median in parts]
    if early:
        lines.append(f"last hundred over logs 101 to 200: {parts[-1][1] / early:.2f} (at most 1.5)")
    lines.append(
        f"all: {sum(one['seconds'] for one in found):.0f} CPU s; held at the end {found[-1]['resident']:.0f} MB"
    )
    return "\n".join(lines)


def main() -> None:
    """Load, and say how the cost of a log grew."""
    asked = argparse.ArgumentParser()
    asked.add_argument(
        "--keep", type=Path, required=True, help="folder in which the shop and the results stand, and stay"
    )
    asked.add_argument("--demo", type=Path, default=None, help="a demo shop that is there already")
    asked.add_argument("--logs", type=int, default=3650)
    asked.add_argument(
        "--in-turn", type=Path, nargs=2, metavar=("EARLY", "LATE"), help="two shops to compare, by copies"
    )
    said = asked.parse_args()
    said.keep.mkdir(parents=True, exist_ok=True)
    demo = said.demo or said.keep / "demo"
    if not demo.exists():
        from demo_data.generator import write_shop

        write_shop(demo)
    shops = said.in_turn or (said.keep / "early", said.keep / "late")
    if not said.in_turn:
        sys.stdout.write(told(run(said.keep, demo, said.logs)) + "\n")
    if all(shop.exists() for shop in shops):
        sys.stdout.write(in_turn(said.keep, demo, *shops) + "\n")


if __name__ == "__main__":
    main()
