"""Twenty people reading while ten logs come in: `nice python -m tests.benchmarks.readers [--seconds 600] [--demo DIR]`.

A served demo shop is read by twenty people for so long without a load, then as long again while ten logs of half a day
are loaded by processes of their own. Wanted: nineteen of twenty answers within 1.5 times what they took without loads,
and memory that stays level; the result is years.md. Seeds were fixed before the first run. Never part of pytest.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

from demo_data.generator import write_shop
from ingest.verbs.load import load
from tests.benchmarks import daily, years
from tests.trials.many_clients import PAGES, TRUERUN, Told, memory, visit

SEED = 20_270_304
PEOPLE, LOGS = 20, 10
LOOKS = (2.0, 10.0)  # seconds that somebody looks at a page


def person(told: Told, base: str, seed: int, until: float) -> None:
    """One person reading page after page."""
    rng = random.Random(seed)
    time.sleep(rng.uniform(0, LOOKS[1]))
    while time.monotonic() < until:
        page = rng.choice(PAGES)
        told.ask(base, "/_dash-update-component", visit(page), page)
        time.sleep(rng.uniform(*LOOKS))


def logs_of(shop: Path, place: Path) -> list[Path]:
    """Ten logs of half a day each of the week after the demo's last."""
    head, days = daily.days_of(shop / "logs" / "bench_2026-W47.csv")
    found = []
    for number in range(LOGS):
        halves = [rows[number % 2 :: 2] for rows in days]
        text, _ = daily.log_of(daily.DAYS + number // 2, head, halves)
        found.append(place / f"bench_{number:02d}.csv")
        found[-1].write_text(text, encoding="utf-8")
    return found


def phase(base: str, seed: int, seconds: float, shop: Path, logs: list[Path]) -> Told:
    """What people met in so many seconds, while logs are loaded."""
    told = Told()
    until = time.monotonic() + seconds
    people = [threading.Thread(target=person, args=(told, base, seed + k, until)) for k in range(PEOPLE)]
    for one in people:
        one.start()
    for log in logs:
        time.sleep(seconds / (len(logs) + 1))
        ran = subprocess.run(
            [TRUERUN, "load", str(log), "--shop", str(shop)], capture_output=True, text=True, check=False
        )
        assert ran.returncode in (0, 1), ran.stderr  # 1: cells that wait for an answer
    for one in people:
        one.join()
    return told


def within(told: Told, share: float = 0.95) -> float:
    """Seconds within which so large a share of the answers came."""
    waits = told.all_waits
    return waits[int(len(waits) * share)]


def main() -> None:
    """Serve, read, load and say what it was like."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--seconds", type=float, default=600.0, help="of each of the two phases")
    asked.add_argument("--demo", type=Path, default=None, help="a demo shop that is there already")
    said = asked.parse_args()
    with tempfile.TemporaryDirectory() as place:
        shop = Path(place) / "shop"
        if said.demo:
            shutil.copytree(said.demo, shop)
        else:
            load(shop, write_shop(shop), now=years.NOW)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        server = subprocess.Popen(
            [TRUERUN, "serve", "--shop", str(shop), "--port", str(port), "--no-open"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        base = f"http://127.0.0.1:{port}"
        try:
            sys.stdout.write(measured(server.pid, base, said.seconds, shop, logs_of(shop, Path(place))) + "\n")
        finally:
            server.terminate()
            server.wait()


def measured(pid: int, base: str, seconds: float, shop: Path, logs: list[Path]) -> str:
    """Both phases, in words."""
    for _ in range(240):
        try:
            urllib.request.urlopen(base + "/", timeout=60).close()
            break
        except OSError:
            time.sleep(0.5)
    warm = Told()
    for path in PAGES * 2:
        warm.ask(base, "/_dash-update-component", visit(path))
    held = [memory(pid)]
    phases = []
    for number, some in enumerate(([], logs)):
        phases.append(phase(base, SEED + 100 * number, seconds, shop, some))
        held.append(memory(pid))
    quiet, busy = phases
    load = os.getloadavg()[0]
    return "\n".join(
        [
            f"{PEOPLE} people, {seconds:.0f} s without and {seconds:.0f} s with {len(logs)} loads (load {load:.0f}):",
            *(
                f"{word}: {len(one.all_waits)} pages, {sum(one.wrong.values())} errors, half within"
                f" {within(one, 0.5):.2f} s, nineteen of twenty within {within(one):.2f} s, longest"
                f" {one.all_waits[-1]:.1f} s"
                for word, one in (("without", quiet), ("with", busy))
            ),
            f"with over without: {within(busy) / within(quiet):.2f} (at most 1.5)",
            f"memory: {held[0]:.0f} MB warm, {held[1]:.0f} behind the first phase, {held[2]:.0f} at the end",
        ]
    )


if __name__ == "__main__":
    main()
