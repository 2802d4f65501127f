"""Fifty devices on the network, cards and pages mixed, two loads on the way: how long a card takes, whether a row is
lost or stands twice, whether memory stays level.

`nice -n 15 python -m tests.trials.network_devices [SECONDS] [DEVICES]` (600 and 50 by default; seed fixed before the
first run). A shop of the tests is served by `truerun serve --network` in a process of its own. Each device signs in
once; four of five keep a card every two to six seconds, and send one in ten twice; the others read pages. Told: the
50th, 95th and largest wait for a card, errors, rows kept and missing and double, the server's memory at a third and at
the end. Wall-clock times count on a quiet machine only.
"""

import csv
import http.client
import json
import random
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlencode

from ingest.access import people
from tests.dashboard.pages.moving_shop import stands

SEED = 20261130
SECONDS, DEVICES = 600, 50
PORT = 8318
WORDS = "four words of mine"
PAGES = ("/", "/drift", "/rework", "/book", "/save/gauges", "/papers/week")
ORIGIN = f"http://127.0.0.1:{PORT}"


def say(*told: object) -> None:
    """One line, at once."""
    sys.stdout.write(" ".join(map(str, told)) + "\n")
    sys.stdout.flush()


class Device:
    """A browser that stays signed in."""

    def __init__(self, number: int) -> None:
        self.number, self.cookie = number, ""
        self.sent: list[str] = []
        self.waits: list[float] = []
        self.answers: Counter[int] = Counter()

    def ask(self, method: str, path: str, body: bytes = b"", kind: str = "application/json") -> tuple[int, bytes]:
        """One request; (status, body), (0, why) where there was no answer."""
        line = http.client.HTTPConnection("127.0.0.1", PORT, timeout=60)
        try:
            line.request(method, path, body, {"Content-Type": kind, "Origin": ORIGIN, "Cookie": self.cookie})
            answer = line.getresponse()
            told = answer.headers.get("Set-Cookie", "")
            self.cookie = told.split(";")[0] if told.startswith("truerun=") else self.cookie
            return answer.status, answer.read()
        except OSError as fault:
            return 0, str(fault).encode()
        finally:
            line.close()

    def sign_in(self) -> None:
        """As the form does."""
        form = urlencode({"name": f"Person {self.number}", "password": WORDS, "to": ""}).encode()
        self.answers[self.ask("POST", "/sign-in", form, "application/x-www-form-urlencoded")[0]] += 1

    def keep(self) -> None:
        """One card; one in ten is sent twice."""
        card = f"{self.number}-{len(self.sent)}"
        given = {"card": card, "bench": f"bench {self.number}", "stage": "final_inspection", "serial": f"D{card}",
                 "model": "LARK-25", "outcome": "pass", "values": [], "waited": 0}  # fmt: skip
        for _ in range(2 if len(self.sent) % 10 == 0 else 1):
            begun = time.perf_counter()
            status, _body = self.ask("POST", "/card/keep", json.dumps(given).encode())
            self.waits.append(time.perf_counter() - begun)
            self.answers[status] += 1
        if status == 200:
            self.sent.append(card)


def lives(device: Device, until: float) -> None:
    """What a device does until the end."""
    chance = random.Random(SEED + device.number)
    device.sign_in()
    while time.monotonic() < until:
        if device.number % 5:
            device.keep()
            time.sleep(chance.uniform(2, 6))
        else:
            device.answers[device.ask("GET", chance.choice(PAGES))[0]] += 1
            time.sleep(chance.uniform(1, 4))


def memory(process: subprocess.Popen[bytes]) -> int:
    """Of the server, MB."""
    told = Path(f"/proc/{process.pid}/status").read_text()
    return int(told.split("VmRSS:")[1].split()[0]) // 1024


def run(seconds: int = SECONDS, count: int = DEVICES) -> dict[str, object]:
    """The trial; what it found."""
    with tempfile.TemporaryDirectory() as place:
        folder = stands(Path(place) / "shop")
        for number in range(count):
            role = "manager" if number % 5 == 0 else "trainer"
            people.add(folder, f"Person {number}", role, WORDS, now=datetime.now(UTC))
        command = [sys.executable, "-c", "from dashboard.commands.cli import main; main()"]
        served = [*command, "serve", "--network", "--no-open", "--port", str(PORT), "--shop", str(folder)]
        process = subprocess.Popen(served, stdout=subprocess.DEVNULL)
        try:
            devices = [Device(number) for number in range(count)]
            while devices[0].ask("GET", "/sign-in")[0] != 200:
                time.sleep(1)
            until = time.monotonic() + seconds
            threads = [threading.Thread(target=lives, args=(one, until)) for one in devices]
            for each in threads:
                each.start()
            third = 0
            for turn in range(2):
                time.sleep(seconds / 3)
                third = third or memory(process)
                sheet = Path(place) / f"late_{turn}.csv"
                rows = [f"L{turn}{n},LARK-25,final_inspection,T01,2026-11-2{turn} 10:00" for n in range(200)]
                sheet.write_text("\n".join(["serial,model,stage,tech,started_at", *rows]) + "\n")
                subprocess.run([*command, "load", str(sheet), "--shop", str(folder)], check=False, capture_output=True)
            for each in threads:
                each.join()
            end = memory(process)
        finally:
            process.terminate()
            process.wait(30)
        stand = Counter[str]()
        for path in (folder / "cards").glob("card_*.csv"):
            with path.open(newline="") as file:
                stand.update(row["card"] for row in csv.DictReader(file))
        sent = {card for one in devices for card in one.sent}
        waits = sorted(wait for one in devices for wait in one.waits)
        answers = sum((one.answers for one in devices), Counter[int]())
        at = lambda share: round(waits[int(share * (len(waits) - 1))], 3) if waits else None  # noqa: E731
        return {
            "cards answered": len(sent), "lost": len(sent - set(stand)), "twice": sum(n > 1 for n in stand.values()),
            "card p50": at(0.5), "card p95": at(0.95), "card longest": at(1.0), "answers": dict(answers),
            "memory at a third": third, "memory at the end": end,
        }  # fmt: skip


if __name__ == "__main__":
    asked = [int(word) for word in sys.argv[1:3]]
    say(run(*asked))
