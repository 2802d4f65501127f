"""Twenty clients at once during loads and an unload, with half-open sockets beside them: no error, nobody waits long.

Run by hand: `python -m tests.trials.many_clients [SECONDS] [SOCKETS]`. A served demo week is visited by twenty clients,
each a page, a paper, a table or an entry into the bench book after another; meanwhile another process loads two logs
and takes one out again, and SOCKETS connections say nothing or half a request. Told: requests, errors, the longest
wait, and the server's memory at the start, in the middle and at the end. The seed was fixed before the first run.
"""

import json
import os
import random
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from pathlib import Path

import polars as pl

from ingest.store import book
from tests.trials.written import write

SEED = 20_261_128
CLIENTS = 20
WEEK = Path(__file__).parents[2] / "demo_data" / "week"
PAGES = (
    "/",
    "/drift",
    "/capability",
    "/rework",
    "/necks",
    "/bench",
    "/book",
    "/against",
    "/gauges",
    "/logs",
    "/logs/readings",
    "/logs/visits",
)
PLAIN = (
    "/papers/week",
    "/papers/necks?supplier=Oxbow+Necks",
    "/save/gauges",
    "/save/questions",
    "/card",
    "/_dash-layout",
)
TRUERUN = str(Path(sys.executable).with_name("truerun"))


def callback(output: str, outputs: object, inputs: list[dict[str, object]], state: list[dict[str, object]]) -> bytes:
    """A request of a page's callback."""
    changed = [f"{inputs[0]['id']}.{inputs[0]['property']}"]
    body = {"output": output, "outputs": outputs, "inputs": inputs, "state": state, "changedPropIds": changed}
    return json.dumps(body).encode()


def visit(path: str) -> bytes:
    """A page asked for, as its frame asks."""
    told = {"pathname": path, "search": ""}
    return callback(
        ".._pages_content.children..._pages_store.data..",
        [{"id": "_pages_content", "property": "children"}, {"id": "_pages_store", "property": "data"}],
        [{"id": "_pages_location", "property": name, "value": value} for name, value in told.items()],
        [],
    )


def entry(number: int) -> bytes:
    """A decision of the week written into the bench book, as the form on Week and Book sends it."""
    key = "new-2026-11-16"
    fields = (("action", f"decision {number}"), ("owner", "Mara"), ("due", ""))
    ids: list[dict[str, object]] = [{"type": "book-field", "key": key, "name": name} for name, _ in fields]
    who: dict[str, object] = {"type": "who", "place": f"book-{key}"}
    pressed = {"type": "book-do", "key": key, "do": "decide"}
    body = {
        "output": '..{"key":["ALL"],"type":"book-said"}.children...book-again.search..',
        "outputs": [
            [{"id": {"type": "book-said", "key": key}, "property": "children"}],
            {"id": "book-again", "property": "search"},
        ],
        "inputs": [[{"id": pressed, "property": "n_clicks", "value": 1}]],
        "state": [
            [{"id": i, "property": "value", "value": said} for i, (_, said) in zip(ids, fields, strict=True)],
            [{"id": i, "property": "id", "value": i} for i in ids],
            [{"id": who, "property": "value", "value": f"client {number % CLIENTS}"}],
            [{"id": who, "property": "id", "value": who}],
            {"id": "book-again", "property": "search", "value": ""},
        ],
        "changedPropIds": [json.dumps(pressed, separators=(",", ":"), sort_keys=True) + ".n_clicks"],
    }
    return json.dumps(body).encode()


class Told:
    """What all clients met."""

    def __init__(self) -> None:
        self.lock, self.waits, self.wrong = threading.Lock(), dict[str, list[float]](), Counter[str]()
        self.written = 0  # entries of which the answer says that they stand in the book

    @property
    def all_waits(self) -> list[float]:
        """Seconds of every request, the longest last."""
        return sorted(wait for waits in self.waits.values() for wait in waits)

    def ask(self, base: str, path: str, body: bytes | None = None, called: str = "") -> None:
        """One request, timed."""
        begun, written = time.monotonic(), False
        try:
            request = urllib.request.Request(base + path, body, {"Content-Type": "application/json"} if body else {})
            with urllib.request.urlopen(request, timeout=60) as answer:
                text = answer.read().decode("utf-8", "replace")
            wrong = "a fault told" if "went wrong in the program" in text else ""
            written = "Written into the book." in text
        except urllib.error.HTTPError as problem:
            wrong = f"{problem.code} {path.partition('?')[0]}"
        except OSError as problem:
            wrong = f"{type(problem).__name__} {path.partition('?')[0]}"
        with self.lock:
            self.waits.setdefault(called or path.partition("?")[0], []).append(time.monotonic() - begun)
            self.written += written
            if wrong:
                self.wrong[wrong] += 1


def client(told: Told, base: str, seed: int, until: float) -> None:
    """One person at the pages."""
    rng = random.Random(seed)
    while time.monotonic() < until:
        kind = rng.random()
        if kind < 0.7:
            page = rng.choice(PAGES)
            told.ask(base, "/_dash-update-component", visit(page), f"page {page}")
        elif kind < 0.9:
            told.ask(base, rng.choice(PLAIN))
        else:
            told.ask(base, "/_dash-update-component", entry(rng.randrange(10**6)), "an entry")
        time.sleep(rng.uniform(0.2, 1.5))


def memory(pid: int) -> float:
    """MB that a process holds."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0


def _cpu(pid: int) -> float:
    """Seconds of the processor that a process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def half_open(port: int, count: int) -> list[socket.socket]:
    """Connections that say nothing, or half a request."""
    held = []
    for number in range(count):
        one = socket.create_connection(("127.0.0.1", port), timeout=5)
        if number % 2:
            one.sendall(b"POST /_dash-update-component HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\n{")
        held.append(one)
    return held


def main(seconds: float = 600.0, sockets: int = 500) -> None:
    """The trial."""
    with tempfile.TemporaryDirectory() as place:
        shop = Path(place) / "shop"
        shop.mkdir()
        for file in WEEK.iterdir():
            if file.is_file():
                (shop / file.name).write_bytes(file.read_bytes())
        first, *later = sorted((WEEK / "logs").iterdir())
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "check": False}
        subprocess.run([TRUERUN, "load", str(first), str(later.pop()), "--shop", str(shop)], **quiet)  # type: ignore[call-overload]
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
            lines = run(shop, server.pid, base, port, later[:2], seconds, sockets)
        finally:
            server.terminate()
            server.wait()
        log = shop / "store" / "program.log"
        lines.append(f"- lines in store/program.log: {len(log.read_text().splitlines()) if log.exists() else 0}")
        write(__file__, "\n".join(lines))


def run(shop: Path, pid: int, base: str, port: int, logs: list[Path], seconds: float, sockets: int) -> list[str]:
    """Serve, visit, load and unload; what was met."""
    told, warm = Told(), Told()
    for _ in range(240):
        try:
            urllib.request.urlopen(base + "/", timeout=60).close()
            break
        except OSError:
            time.sleep(0.5)
    for path in PAGES:
        warm.ask(base, "/_dash-update-component", visit(path))
    held = half_open(port, sockets)
    until, start = time.monotonic() + seconds, memory(pid)
    people = [threading.Thread(target=client, args=(told, base, SEED + k, until)) for k in range(CLIENTS)]
    for one in people:
        one.start()
    ran = []
    for command in (["load", str(logs[0])], ["load", str(logs[-1])], ["unload", logs[0].name]):
        time.sleep(seconds / 5)
        ran.append(
            subprocess.run([TRUERUN, *command, "--shop", str(shop)], capture_output=True, check=False).returncode
        )
    middle = memory(pid)
    for one in people:
        one.join()
    for one in held:
        one.close()
    waits, busy = told.all_waits, os.getloadavg()[0]
    stood = book.read(shop)["bench_book"].filter(pl.col("text").str.starts_with("decision ")).height
    longest = sorted(((max(each), name) for name, each in told.waits.items()), reverse=True)[:5]
    usual, late = waits[len(waits) // 2], waits[int(len(waits) * 0.95)]
    return [
        f"{CLIENTS} clients for {seconds:.0f} s on a shared machine (load {busy:.0f} on {os.cpu_count()} cores),",
        f"{sockets} half-open sockets.",
        "",
        f"- requests: {len(waits)}; errors: {sum(told.wrong.values())} {dict(told.wrong) or ''}",
        f"- waits: median {usual:.2f} s, nineteen of twenty within {late:.2f} s, longest {waits[-1]:.2f} s",
        f"- longest by what was asked: {', '.join(f'{name} {wait:.1f} s' for wait, name in longest)}",
        f"- entries answered as written: {told.written}; in the book: {stood}",
        f"- processor of the server: {_cpu(pid):.0f} s",
        f"- memory of the server: {start:.0f} MB after a first visit of each page, {middle:.0f} in the middle,",
        f"  {memory(pid):.0f} at the end",
        f"- two loads and the unload ended with {ran}",
    ]


if __name__ == "__main__":
    given = sys.argv[1:]
    main(float(given[0]) if given else 600.0, int(given[1]) if len(given) > 1 else 500)
