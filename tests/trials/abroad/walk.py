"""One shop from abroad by the commands that the README names, and what its store and figures then hold of the truth."""

import io
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from tests.ingest.strangers.truth import answers_given
from tests.trials.abroad.bench import Reading, Shop

ANSWERS = Path(__file__).parent / "answers"
KEYS = {"nut_height": "nut", "head_tension": "head"}  # the program's keys for what the truth calls otherwise
Held = tuple[str, str, str, str, str, float]


@dataclass
class Walked:
    """Counts of one walk; `facts` says of each planted fact whether the figures tell it."""

    name: str
    answers: int
    right: int = 0
    unread: int = 0
    wrong: int = 0
    send_backs: tuple[int, int, int] = (0, 0, 0)  # right, of how many, and false ones
    facts: dict[str, bool] = field(default_factory=dict)
    words: str = ""  # what the commands printed
    examples: list[str] = field(default_factory=list)

    def row(self) -> str:
        """A line of the table."""
        share = self.right / max(1, self.right + self.unread)
        right, of, false = self.send_backs
        told = ", ".join(f"{name} {'told' if fine else 'NOT TOLD'}" for name, fine in self.facts.items())
        return (
            f"| {self.name} | {self.answers} | {self.right:,} | {self.unread:,} | {self.wrong:,} | {share:.2%} "
            f"| {right} of {of}, {false} false | {told} |"
        )


def walk(shop: Shop, folder: Path, answers: str | None = None) -> Walked:
    """`new --answers FILE --yes`, `load`, `figures`, as a person types them; answers None: the file kept here."""
    sheets = folder / "sheets"
    sheets.mkdir(parents=True)
    for name, data in shop.files.items():
        (sheets / name).write_bytes(data)
    text = (ANSWERS / f"{shop.name}.toml").read_text(encoding="utf-8") if answers is None else answers
    said = folder / "answers.toml"
    said.write_text(text, encoding="utf-8")
    out = Walked(shop.name, answers_given(text))
    here = folder / "shop"
    files = sorted(map(str, sheets.iterdir()))
    for words in (
        ["new", *files, "--answers", str(said), "--yes"],
        ["load", *files],
        ["figures", "--out", str(folder / "figures")],
    ):
        done = subprocess.run(
            [sys.executable, "-c", "from dashboard.commands.start import main; main()", *words, "--shop", str(here)],
            capture_output=True,
            text=True,
            check=False,
        )
        out.words += f"$ truerun {words[0]}\n{done.stdout}{done.stderr}\n"
        if words[0] == "new" and done.returncode:
            out.unread = len(shop.truth.readings)
            out.send_backs = (0, len(shop.truth.send_backs), 0)
            out.facts = dict.fromkeys(shop.truth.facts, False)
            return out
    compare(out, shop, open_snapshot(here))
    out.facts = facts(shop, folder / "figures")
    return out


def compare(out: Walked, shop: Shop, snapshot: Snapshot) -> None:
    """Readings and send-backs of the store against the truth; what the truth leaves open ('') may be anything."""
    table = snapshot.table("readings", "serial", "stage", "characteristic", "position", "moment", "value")
    held = Counter(
        (serial, KEYS.get(what, what), place, stage, moment, round(value, 7) + 0.0)
        for serial, stage, what, place, moment, value in table.iter_rows()
    )
    missing = []
    for reading in shop.truth.readings:
        key = _fitting(reading, held)
        if key is None:
            missing.append(f"unread {reading}")
            continue
        held[key] -= 1
        if not held[key]:
            del held[key]
        out.right += 1
    out.unread, out.wrong = len(missing), sum(held.values())
    out.examples = missing[:8] + [f"wrong {key}" for key in list(held)[:8]]
    visits = snapshot.table("visits", "serial", "stage", "outcome")
    stored = Counter(visits.filter(pl.col("outcome") == "send back").select("serial", "stage").rows())
    true = Counter(shop.truth.send_backs)
    if all(stage == "" for _, stage in true):
        stored = Counter((serial, "") for serial, _ in stored.elements())
    right = sum((true & stored).values())
    out.send_backs = (right, sum(true.values()), sum((stored - true).values()))


def _fitting(reading: Reading, held: Counter[Held]) -> Held | None:
    value = round(reading.value, 7) + 0.0
    moments = (reading.moment,) if reading.moment else ("found", "left")
    if reading.stage:
        keys = ((reading.serial, reading.characteristic, reading.position, reading.stage, m, value) for m in moments)
        return next((key for key in keys if held.get(key)), None)
    what = (reading.serial, reading.characteristic, reading.position)
    early = reading.moment == "found"  # received: found at the bench, or read at receiving
    mine = (key for key in _same(what, held) if key[5] == value and held.get(key))
    return next((key for key in mine if _when(key, moments, early)), None)


def _when(key: Held, moments: tuple[str, ...], early: bool) -> bool:
    """Is what is held of the moment that the truth names? A sheet may say received and left as two stages."""
    if len(moments) == 2:
        return True
    if key[3] in ("receiving", "final_inspection"):
        return (key[3] == "receiving") == early
    return key[4] in moments


_INDEX: dict[int, dict[tuple[str, str, str], list[Held]]] = {}


def _same(what: tuple[str, str, str], held: Counter[Held]) -> list[Held]:
    """All that is held of one position of an instrument, at any stage."""
    if id(held) not in _INDEX:
        _INDEX.clear()
        index = _INDEX.setdefault(id(held), {})
        for key in held:
            index.setdefault((key[0], key[1], key[2]), []).append(key)
    return _INDEX[id(held)].get(what, [])


def facts(shop: Shop, figures: Path) -> dict[str, bool]:
    """Which planted facts the figures tell: the tech's mean, the lot's, the bench, the model with the least room."""
    planted, out = shop.truth.facts, {}
    room = _read(figures / "capability.csv")
    if "off" in planted:
        who, what, place = planted["off"].split()
        out["off"] = _farthest_tech(room, what, place) == who
    if "lot" in planted:
        lots = _read(figures / "lots.csv")
        if "mean" in lots.columns:
            lots = lots.filter(pl.col("mean").is_not_null() & pl.col("characteristic").is_in(["neck_bow", "relief"]))
            worst = lots.sort("mean", descending=True)["lot"]
        out["lot"] = lots.height > 0 and "mean" in lots.columns and str(worst[0]) == planted["lot"]
    if "culprit" in planted:
        back = _read(figures / "send_backs.csv")
        by = (
            back.filter(pl.col("count").is_not_null()).group_by("caused_at").agg(pl.col("count").sum())
            if "count" in back.columns
            else back
        )
        out["culprit"] = by.height > 0 and by.sort("count", descending=True)["caused_at"][0] == planted["culprit"]
    if "tight" in planted:
        known = room.filter(
            pl.col("ppk").is_not_null() & (pl.col("characteristic") == "action") & (pl.col("tech").fill_null("") == "")
        )
        worst = known.group_by("model").agg(pl.col("ppk").mean()).sort("ppk")
        out["tight"] = worst.height > 1 and worst["model"][0] == planted["tight"]
    return out


def _farthest_tech(room: pl.DataFrame, what: str, place: str) -> str:
    """The setter whose mean lies farthest from those of the others on the same models, '' where none is told."""
    mine = room.filter(
        (pl.col("characteristic") == what)
        & (pl.col("position") == place)
        & (pl.col("tech").fill_null("") != "")
        & pl.col("mean").is_not_null()
    )
    if not mine.height:
        return ""
    key = ["model", "stage"]
    off = mine.with_columns(away=pl.col("mean") - pl.col("mean").mean().over(key))
    by = off.group_by("tech").agg(pl.col("away").mean().abs())
    return str(by.sort("away", descending=True)["tech"][0])


def _read(path: Path) -> pl.DataFrame:
    """A table of figures; columns of numbers that hold none stay numbers."""
    if not path.exists():
        return pl.DataFrame()
    text = pl.read_csv(io.BytesIO(path.read_bytes()), infer_schema=False)
    numbers = [name for name in ("mean", "ppk", "count") if name in text.columns]
    return text.with_columns(pl.col(numbers).cast(pl.Float64, strict=False))
