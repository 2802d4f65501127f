"""Shops of random subsets of the demo's logs, and odd ones: every page, paper, table and command answers, and no fault.

Run by hand: `python -m tests.trials.odd_shops [SHOPS] [SECONDS] [KEPT]`. Each shop draws some of the demo's logs, some
of their rows, and one oddity: one tech, one model, newcomers far off, readings that never move, gaps of months, one
instrument alone, everything rejected, all times equal. A fault is a line in store/program.log, an answer of 500, or a
figure that was not written. The seed was fixed before the first run, and every shop hangs on its own number alone; the
trial ends after SECONDS, and says how far it came. What was walked is kept in KEPT, a line a shop: run again with the
same file it goes on behind them.
"""

import csv
import io
import json
import re
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from typer.testing import CliRunner

from dashboard import app, doors, faults
from dashboard.commands import cli
from dashboard.desk import desk
from demo_data.generator import write_shop
from ingest.verbs.load import load
from tests.trials.written import write

SEED = 20_261_128
NOW = datetime(2026, 11, 21, tzinfo=UTC)
MOST_ROWS = 1_200  # of a shop: many small shops find more than a few large ones
Row = dict[str, str]
Rows = list[Row]
NUMBER = re.compile(r"-?\d+(\.\d+)?")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
KEYS = ("S/N", "serial", "Serial")


def measured(row: Row) -> list[str]:
    """Columns of a row that hold a plain number and are none of the fields that a visit needs."""
    return [name for name, cell in row.items() if NUMBER.fullmatch(cell or "") and name not in KEYS]


def as_they_are(rows: Rows, rng: np.random.Generator) -> Rows:
    """Nothing odd but the choice."""
    return rows


def one_tech(rows: Rows, rng: np.random.Generator) -> Rows:
    """The same person did everything."""
    return [
        {name: "T03" if name.lower() in ("tech", "by", "initials") else cell for name, cell in r.items()} for r in rows
    ]


def one_model(rows: Rows, rng: np.random.Generator) -> Rows:
    """Rows of one model."""
    models = [name for name in rows[0] if name.lower() == "model"]
    if not models:
        return rows
    chosen = rows[int(rng.integers(len(rows)))][models[0]]
    return [row for row in rows if row[models[0]] == chosen]


def newcomers(rows: Rows, rng: np.random.Generator) -> Rows:
    """From somewhere on all readings are far off, by somebody nobody knows."""
    begin = int(rng.integers(len(rows)))
    out = []
    for place, row in enumerate(rows):
        far = dict(row)
        if place >= begin:
            for name in measured(row):
                far[name] = f"{float(row[name]) * 1.08 + 0.2:.3f}"
            for name in far:
                if name.lower() == "tech":
                    far[name] = f"N{int(rng.integers(3))}"
        out.append(far)
    return out


def constant(rows: Rows, rng: np.random.Generator) -> Rows:
    """Readings that never move."""
    first = {name: row[name] for row in reversed(rows) for name in measured(row)}
    return [{name: first.get(name, cell) if cell else cell for name, cell in row.items()} for row in rows]


def gaps(rows: Rows, rng: np.random.Generator) -> Rows:
    """Weeks drift apart by months."""

    def moved(cell: str) -> str:
        try:
            day = datetime.strptime(cell[:10], "%Y-%m-%d")
        except ValueError:
            return cell
        return (day - timedelta(days=60 * ((NOW.date() - day.date()).days // 14))).strftime("%Y-%m-%d") + cell[10:]

    return [{name: moved(cell) if DAY.match(cell or "") else cell for name, cell in row.items()} for row in rows]


def one_instrument(rows: Rows, rng: np.random.Generator) -> Rows:
    """One serial."""
    keys = [name for name in rows[0] if name in KEYS]
    if not keys:
        return rows[:1]
    chosen = rows[int(rng.integers(len(rows)))][keys[0]]
    return [row for row in rows if row[keys[0]] == chosen]


def rejected(rows: Rows, rng: np.random.Generator) -> Rows:
    """Everything rejected, or everything sent back."""
    word = str(rng.choice(["reject", "send back", "second", "hold"]))
    return [{n: word if n.lower() in ("outcome", "result") else cell for n, cell in row.items()} for row in rows]


def same_time(rows: Rows, rng: np.random.Generator) -> Rows:
    """All at one moment."""
    times = {name: row[name] for row in reversed(rows) for name in row if DAY.match(row[name] or "")}
    return [{name: times.get(name, cell) if cell else cell for name, cell in row.items()} for row in rows]


def first_rows(rows: Rows, rng: np.random.Generator) -> Rows:
    """The first few rows."""
    return rows[: int(rng.integers(1, 40))]


ODD: dict[str, Callable[[Rows, np.random.Generator], Rows]] = {
    each.__name__.replace("_", " "): each
    for each in (
        as_they_are,
        one_tech,
        one_model,
        newcomers,
        constant,
        gaps,
        one_instrument,
        rejected,
        same_time,
        first_rows,
    )
}
CHANGES: list[dict[str, str]] = [  # of shop.toml
    {},
    {"false_signals_per_week = 1.0": "width = 3.0"},
    {'show = "codes"': 'show = "none"'},
    {'length = "mm"': 'length = "in"'},
    {"baseline_readings = 100": "baseline_readings = 8", "least_readings = 25": "least_readings = 5"},
]


def make(folder: Path, logs: list[Path], odd: str, rng: np.random.Generator) -> int:
    """A shop of some rows of some logs, made odd; how many rows it holds."""
    toml = (logs[0].parents[1] / "shop.toml").read_text(encoding="utf-8")
    for old, new in CHANGES[int(rng.integers(len(CHANGES)))].items():
        assert old in toml, old
        toml = toml.replace(old, new)
    (folder / "shop.toml").write_text(toml, encoding="utf-8")
    for name in ("specs.csv", "lots.csv", "changes.csv", "climate.csv"):
        if name == "specs.csv" or rng.random() < 0.7:
            (folder / name).write_bytes((logs[0].parents[1] / name).read_bytes())
    chosen = [log for log in logs if rng.random() < rng.choice([0.05, 0.2])] or [logs[int(rng.integers(len(logs)))]]
    files, total = [], 0
    for log in chosen:
        rows = list(csv.DictReader(io.StringIO(log.read_text(encoding="utf-8-sig"))))
        rows = [row for row in rows if None not in row and None not in row.values()]
        if not rows or total > MOST_ROWS:
            continue
        begin = int(rng.integers(len(rows)))
        rows = ODD[odd](rows[begin : begin + int(rng.integers(1, 900))], rng)
        total += len(rows)
        out = io.StringIO()
        writer = csv.DictWriter(out, rows[0].keys(), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        (folder / log.name).write_text(out.getvalue(), encoding="utf-8")
        files.append(folder / log.name)
    load(folder, files, now=NOW)
    return total


def asked(client: object, path: str) -> tuple[int, str]:
    """What the pages' own callback answers for a path."""
    body = {
        "output": ".._pages_content.children..._pages_store.data..",
        "outputs": [{"id": "_pages_content", "property": "children"}, {"id": "_pages_store", "property": "data"}],
        "inputs": [
            {"id": "_pages_location", "property": "pathname", "value": path},
            {"id": "_pages_location", "property": "search", "value": ""},
        ],
        "changedPropIds": ["_pages_location.pathname"],
    }
    answer = client.post(doors.CALLBACKS, json=body)  # type: ignore[attr-defined]
    return answer.status_code, json.dumps(answer.get_json() or {}, ensure_ascii=False)


def walk(folder: Path) -> list[str]:
    """What is wrong with a shop's pages, papers, tables and commands; nothing where all answer."""
    wrong = []
    client = app.make_app(desk.Desk(folder)).server.test_client()
    client.get("/")
    names = (*app.PAGES.values(), *app.FURTHER)
    for path in [__import__(f"dashboard.pages.{name}", fromlist=["PATH"]).PATH for name in names]:
        status, text = asked(client, path)
        if status != 200 or "went wrong in the program" in text:
            wrong.append(f"{path}: {status}")
    techs = desk.here().snapshot().table("visits")["tech"].drop_nulls().unique().sort().to_list()[:1]
    papers = ["/papers/week", "/papers/necks?supplier=Oxbow+Necks", *(f"/papers/bench?tech={tech}" for tech in techs)]
    for path in (*papers, *(f"/save/{name}" for name in app.SAVED)):
        status = client.get(path).status_code
        if status >= 500:
            wrong.append(f"{path}: {status}")
    with tempfile.TemporaryDirectory() as out:
        for command in (["figures", "--json"], ["week"]):
            ran = CliRunner().invoke(cli.app, [*command, "--shop", str(folder), "--out", out], standalone_mode=False)
            if "not written" in ran.output or "went wrong in the program" in ran.output:
                wrong.append(f"{command[0]}: {ran.output.strip().splitlines()[-1]}")
            if ran.exception and not isinstance(ran.exception, ValueError | SystemExit):
                wrong.append(f"{command[0]}: {ran.exception!r}")
    log = folder / "store" / "program.log"
    if log.exists():
        wrong += [line for line in log.read_text().splitlines() if re.match(r"\w*(Error|Exception)\b", line)][:3]
    return wrong


@dataclass(frozen=True)
class Walked:
    """One shop of the trial."""

    number: int
    odd: str
    rows: int
    seconds: float  # of the processor
    wrong: list[str]


def one_shop(number: int, logs: list[Path]) -> Walked:
    """Make the shop of a number and walk it."""
    rng, odd, rows = np.random.default_rng([SEED, number]), list(ODD)[number % len(ODD)], 0
    begun = time.process_time()
    with tempfile.TemporaryDirectory() as place:
        try:
            rows = make(Path(place), logs, odd, rng)
            wrong = walk(Path(place))
        except Exception as fault:
            wrong = [repr(fault)]
    return Walked(number, odd, rows, time.process_time() - begun, wrong)


def trial(shops: int, seconds: float, logs: list[Path], kept: Path | None = None) -> list[Walked]:
    """The shops walked, those of an earlier run in `kept` among them."""
    walked = [Walked(**json.loads(line)) for line in kept.read_text().splitlines()] if kept and kept.exists() else []
    begun, was = time.monotonic(), faults.loud
    faults.loud = False
    try:
        for number in sorted(set(range(shops)) - {one.number for one in walked}):
            if time.monotonic() - begun > seconds:
                break
            walked.append(one_shop(number, logs))
            if kept:
                with kept.open("a") as file:
                    file.write(json.dumps(asdict(walked[-1])) + "\n")
    finally:
        faults.loud = was
    return walked


def main(shops: int = 300, seconds: float = 360.0, kept: Path | None = None) -> None:
    """The trial at full size, as far as its time reaches."""
    with tempfile.TemporaryDirectory() as place:
        walked = trial(shops, seconds, write_shop(Path(place)), kept)
    kinds = Counter(one.odd for one in walked)
    wrong = [f"shop {one.number} ({one.odd}): {what}" for one in walked for what in one.wrong]
    told = ", ".join(f"{name} {count}" for name, count in kinds.items())
    lines = [
        f"{len(walked)} of {shops} shops in {sum(one.seconds for one in walked):.0f} s of the processor, "
        f"{sum(one.rows for one in walked):,} rows: {told}.",
        f"Each: {len(app.PAGES) + len(app.FURTHER)} pages, 2 to 3 papers, {len(app.SAVED)} saved tables, and the "
        "commands figures and week.",
        "",
        f"Faults: {len(wrong)}.",
        *(f"- {one}" for one in wrong[:40]),
    ]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    given = sys.argv[1:]
    main(
        int(given[0]) if given else 300,
        float(given[1]) if len(given) > 1 else 360.0,
        Path(given[2]) if len(given) > 2 else None,
    )
