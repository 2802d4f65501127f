"""What Card needs of the shop at one store version, small and quick to look up: store/bench.sqlite, made by a job.

Of each serial its model, where it stands and what it has passed; of each stream at a stage its last five readings;
what is measured and which faults are caught at each stage. It is made of the tables and may be deleted like all of the
store.
"""

import json
import re
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl

from ingest.store.snapshot import Snapshot
from ingest.store.writing import write_whole

FILE, FORMAT = "bench.sqlite", 6
LAST = 5  # readings shown of a stream
FAULT_WEEKS = 13
SEEN = 0.02  # of a stage's visits of a family: what is measured less often is no part of its sheet
_TABLES = """
CREATE TABLE about (format INTEGER, version INTEGER, made TEXT);
CREATE TABLE serials (serial TEXT PRIMARY KEY, model TEXT, supplier TEXT, lot TEXT, told TEXT) WITHOUT ROWID;
CREATE TABLE loosely (folded TEXT, serial TEXT);
CREATE INDEX of_folded ON loosely (folded);
CREATE TABLE lasts (stage TEXT, characteristic TEXT, position TEXT, setup TEXT, told TEXT,
    PRIMARY KEY (stage, characteristic, position, setup)) WITHOUT ROWID;
CREATE TABLE measured (stage TEXT, family TEXT, characteristic TEXT, position TEXT, n INTEGER);
CREATE TABLE caught (stage TEXT, fault TEXT, n INTEGER);
CREATE TABLE said (serial TEXT, stage TEXT, line TEXT);
CREATE INDEX of_serial ON said (serial);
CREATE TABLE moved (stage TEXT, setup TEXT, tech TEXT, line TEXT);
CREATE TABLE usual (stage TEXT, characteristic TEXT, position TEXT, setup TEXT, centre REAL, sigma REAL, reach REAL,
    PRIMARY KEY (stage, characteristic, position, setup)) WITHOUT ROWID;
CREATE TABLE shapes (shape TEXT PRIMARY KEY) WITHOUT ROWID;
"""
_DESTINATION = r'(?i)"[^"]*destination[^"]*":\s*"([^"]+)"'  # a column of any such heading, as `other` keeps it
_SHAPES = 500  # most shapes of serials that are told to a tablet


@dataclass(frozen=True)
class Told:
    """What studies say to whoever stands at a bench, for `make` to write down."""

    said: Iterable[tuple[str, str, str]] = ()  # (serial, stage, line): of an instrument; stage '' = wherever it is
    moved: Iterable[tuple[str, str, str, str]] = ()  # (stage, setup, tech, line), newest first; tech '' = for everybody
    usual: Iterable[tuple[str, str, str, str, float, float, float]] = ()
    # stage, characteristic, position, setup, centre, sigma, and how far from the centre a reading is odd


NOTHING_TOLD = Told()


@dataclass(frozen=True)
class Seen:
    """What is on file of one serial."""

    serial: str
    model: str
    supplier: str
    lot: str
    passed: tuple[str, ...]  # stages with a visit, in time order
    last_stage: str
    last_at: datetime
    last_outcome: str
    sent_to: str
    came_back: int
    order: str = ""
    goes_to: str = ""  # what a column about the destination says: a place, a climate
    why: str = ""  # where it was sent back last: its faults
    where: str = ""  # and where on the instrument they are
    waits: tuple[str, ...] = ()  # stages that sent it back and have not had it since


def path_of(folder: Path) -> Path:
    """Where the index stands."""
    return folder / "store" / FILE


def version_of(folder: Path) -> int:
    """The store version it was made of; -1 where there is none to be read."""
    try:
        with closing(_open(folder)) as held:
            row = held.execute("SELECT format, version FROM about").fetchone()
    except sqlite3.Error:
        return -1
    return int(row[1]) if row and row[0] == FORMAT else -1


def make(folder: Path, snapshot: Snapshot, told: Told = NOTHING_TOLD) -> None:
    """Write it anew; readers see the old one until the new one is whole. It is built in memory and written in one go,
    so that who copies the folder meanwhile meets no file that is gone before it is copied.
    """
    visits = snapshot.table("visits", "log_id", "line", "serial", "model", "stage", "started_at", "finished_at",
                            "outcome", "sent_back_to", "supplier", "lot", "job", "other")  # fmt: skip
    visits = visits.with_columns(at=pl.coalesce("finished_at", "started_at"))
    named = visits.filter(pl.col("serial") != "")
    models = named.filter(pl.col("model") != "").group_by("serial").agg(pl.col("model").sort_by("at").first())
    with closing(sqlite3.connect(":memory:")) as held:
        held.executescript(_TABLES)
        held.executemany("INSERT INTO serials VALUES (?, ?, ?, ?, ?)", _serials(snapshot, named, models))
        every = named["serial"].unique().to_list()
        held.executemany("INSERT INTO loosely VALUES (?, ?)", [(folded(each), each) for each in every])
        held.executemany("INSERT INTO lasts VALUES (?, ?, ?, ?, ?)", _lasts(snapshot, models))
        held.executemany("INSERT INTO measured VALUES (?, ?, ?, ?, ?)", _measured(snapshot, named, models))
        held.executemany("INSERT INTO caught VALUES (?, ?, ?)", _caught(snapshot, visits))
        held.executemany("INSERT INTO said VALUES (?, ?, ?)", told.said)
        held.executemany("INSERT INTO moved VALUES (?, ?, ?, ?)", told.moved)
        held.executemany("INSERT OR IGNORE INTO usual VALUES (?, ?, ?, ?, ?, ?, ?)", told.usual)
        held.executemany("INSERT INTO shapes VALUES (?)", _shapes(named))
        made = datetime.now(UTC).isoformat(timespec="seconds")
        held.execute("INSERT INTO about VALUES (?, ?, ?)", (FORMAT, snapshot.version, made))
        held.commit()
        whole = held.serialize()
    write_whole(path_of(folder), whole, sure=False)


def told_of(folder: Path) -> Told:
    """What studies said when the index that is there was made with them."""
    said = _all(folder, "SELECT serial, stage, line FROM said", ())
    moved = _all(folder, "SELECT stage, setup, tech, line FROM moved ORDER BY rowid", ())
    usual = _all(folder, "SELECT stage, characteristic, position, setup, centre, sigma, reach FROM usual", ())
    return Told(said, moved, usual)  # type: ignore[arg-type]


def serial(folder: Path, name: str) -> Seen | None:
    """What is on file of a serial; None where nothing is."""
    row = _one(folder, "SELECT model, supplier, lot, told FROM serials WHERE serial = ?", (name,))
    if row is None:
        return None
    told = json.loads(row[3])
    last = told["last"]
    return Seen(
        name, row[0], row[1], row[2], tuple(told["passed"]), last[0],
        datetime.fromtimestamp(last[1], UTC), last[2], last[3], told["back"], told["order"], told["goes_to"],
        told.get("why", ""), told.get("where", ""), tuple(told.get("waits", ())),
    )  # fmt: skip


def said_of(folder: Path, name: str) -> list[tuple[str, str]]:
    """(stage, line) of what is said of a serial."""
    return [(row[0], row[1]) for row in _all(folder, "SELECT stage, line FROM said WHERE serial = ?", (name,))]


def moved_at(folder: Path, stage: str, setup: str, tech: str) -> list[str]:
    """Lines of what moved at a stage and is for everybody, or for this tech alone; the newest first."""
    ask = "SELECT line FROM moved WHERE stage = ? AND setup = ? AND tech IN ('', ?) ORDER BY rowid"
    return list(dict.fromkeys(row[0] for row in _all(folder, ask, (stage, setup, tech))))


def usual(folder: Path, stage: str, setup: str, place: tuple[str, str]) -> tuple[float, float, float] | None:
    """Centre, sigma and reach of a stream that judges single readings, None where it judges none. place :
    characteristic and position.
    """
    ask = "SELECT centre, sigma, reach FROM usual WHERE stage = ? AND characteristic = ? AND position = ? AND setup = ?"
    row = _one(folder, ask, (stage, *place, setup))
    return (float(row[0]), float(row[1]), float(row[2])) if row else None


def shapes(folder: Path) -> list[str]:
    """The shapes of the serials on file, the most frequent ones: letters as they stand, each run of digits a `#`."""
    return [row[0] for row in _all(folder, "SELECT shape FROM shapes", ())]


def folded(name: str) -> str:
    """A serial without what people type in several ways: capitals, spaces, dashes, zeros before its number."""
    bare = "".join(letter for letter in name.upper() if letter.isalnum())
    return re.sub(r"(?<!\d)0+(?=\d)", "", bare)


def spelled(folder: Path, name: str, *, loose: bool = False) -> str:
    """A serial as it stands on file, whatever its capitals were when it was typed; `loose`: the only one that differs
    by spaces, dashes or zeros too.
    """
    if _one(folder, "SELECT serial FROM serials WHERE serial = ?", (name,)) is None:
        row = _one(folder, "SELECT serial FROM serials WHERE serial = ?", (name.upper(),))
        alike = _all(folder, "SELECT serial FROM loosely WHERE folded = ? LIMIT 2", (folded(name),)) if loose else []
        return row[0] if row else alike[0][0] if len(alike) == 1 else name
    return name


def lasts(folder: Path, stage: str, setup: str) -> dict[tuple[str, str], list[tuple[float, float]]]:
    """The last readings of each characteristic and position at a stage, of one setup, oldest first: (value, time)."""
    rows = _all(
        folder, "SELECT characteristic, position, told FROM lasts WHERE stage = ? AND setup = ?", (stage, setup)
    )
    return {(row[0], row[1]): [(float(one), float(at)) for one, at in json.loads(row[2])] for row in rows}


def model_like(folder: Path, name: str) -> str:
    """The model of other serials that begin with the same letters as one that is not on file; '' where none does or
    they differ.
    """
    letters = re.match(r"[^0-9]+", name)
    if letters is None:
        return ""
    ask = "SELECT DISTINCT model FROM serials WHERE serial >= ? AND serial < ? AND model != '' LIMIT 2"
    rows = _all(folder, ask, (letters[0], letters[0] + "\uffff"))
    return rows[0][0] if len(rows) == 1 else ""


def measured(folder: Path, stage: str) -> list[tuple[str, str, str]]:
    """(family, characteristic, position) of what has been measured at a stage."""
    rows = _all(folder, "SELECT family, characteristic, position FROM measured WHERE stage = ?", (stage,))
    return [(row[0], row[1], row[2]) for row in rows]


def caught(folder: Path, stage: str) -> list[str]:
    """Faults caught at a stage in the last 13 weeks, the most frequent first; stage '' = at all together."""
    ask = "SELECT fault FROM caught WHERE ? IN ('', stage) GROUP BY fault ORDER BY sum(n) DESC, fault"
    return [row[0] for row in _all(folder, ask, (stage,))]


def _serials(snapshot: Snapshot, named: pl.DataFrame, models: pl.DataFrame) -> list[tuple[object, ...]]:
    first = [
        pl.col(name).filter(pl.col(name) != "").first().fill_null("").alias(name) for name in ("supplier", "lot", "job")
    ]
    goes = pl.col("other").filter(pl.col("other") != "").str.extract(_DESTINATION).drop_nulls().last().fill_null("")
    each = named.sort("at", maintain_order=True).group_by("serial", maintain_order=True).agg(
        *first,
        goes.alias("goes_to"),
        pl.col("stage").unique(maintain_order=True).alias("passed"),
        pl.col("stage").last(),
        pl.col("at").last(),
        pl.col("outcome").last(),
        pl.col("sent_back_to").last(),
        (pl.col("outcome") == "send back").sum().alias("back"),
    )  # fmt: skip
    each = each.join(models, on="serial", how="left").with_columns(pl.col("model").fill_null(""))
    sent = _sent_back(snapshot, named)
    out: list[tuple[object, ...]] = []
    for row in each.iter_rows(named=True):
        last = [row["stage"], row["at"].timestamp() if row["at"] else 0.0, row["outcome"], row["sent_back_to"]]
        about = {"order": row["job"], "goes_to": row["goes_to"]}
        about |= sent.get(row["serial"], {})
        told = json.dumps({"passed": row["passed"], "last": last, "back": row["back"], **about})
        out.append((row["serial"], row["model"], row["supplier"], row["lot"], told))
    return out


def _sent_back(snapshot: Snapshot, named: pl.DataFrame) -> dict[str, dict[str, object]]:
    """Of each serial that was ever sent back: the faults of the last time, where they are, and which stages have not
    had it since they sent it back.
    """
    back = named.filter(pl.col("outcome") == "send back")
    if back.is_empty():
        return {}
    faults = snapshot.table("faults", "log_id", "line", "stage", "fault", "fault_at")
    place = ["log_id", "line", "stage"]
    last = back.sort("at", maintain_order=True).group_by("serial", maintain_order=True).agg(pl.col(place).last())
    said = (
        last.join(faults, on=place, how="left", maintain_order="left")
        .group_by("serial", maintain_order=True)
        .agg(
            *(
                pl.col(name).filter(pl.col(name) != "").unique(maintain_order=True).str.join("; ")
                for name in ("fault", "fault_at")
            )
        )
    )
    waits = (
        named.join(back.select("serial").unique(), on="serial", how="semi")
        .sort("at", maintain_order=True)
        .group_by("serial", "stage", maintain_order=True)
        .agg(pl.col("outcome").last())
        .filter(pl.col("outcome") == "send back")
        .group_by("serial")
        .agg("stage")
    )
    held = dict(waits.iter_rows())
    return {
        serial: {"why": fault or "", "where": where or "", "waits": held.get(serial, [])}
        for serial, fault, where in said.iter_rows()
    }


def _shapes(named: pl.DataFrame) -> list[tuple[str]]:
    each = named.select(shape=pl.col("serial").str.to_uppercase().str.replace_all(r"[0-9]+", "#"))
    many = each.group_by("shape").len().sort("len", "shape", descending=[True, False]).head(_SHAPES)
    return [(shape,) for shape in many["shape"]]


def _lasts(snapshot: Snapshot, models: pl.DataFrame) -> list[tuple[object, ...]]:
    readings = snapshot.table(
        "readings", "serial", "stage", "taken_at", "characteristic", "position", "moment", "value"
    )
    readings = readings.filter(pl.col("value").is_not_null() & (pl.col("moment") == "found"))
    setup = pl.col("model").replace(dict(snapshot.shop.setups))
    each = (
        readings.join(models, on="serial", how="inner")
        .with_columns(setup.alias("setup"))
        .sort("taken_at", maintain_order=True)
        .group_by("stage", "characteristic", "position", "setup")
        .agg(pl.col("value").tail(LAST), (pl.col("taken_at").tail(LAST).dt.timestamp("us") / 1e6).alias("at"))
    )
    return [(*row[:4], json.dumps(list(zip(row[4], row[5], strict=True)))) for row in each.iter_rows()]


def _measured(snapshot: Snapshot, named: pl.DataFrame, models: pl.DataFrame) -> list[tuple[object, ...]]:
    families = dict(snapshot.shop.families)
    of = models.with_columns(
        family=pl.col("model").replace_strict(families, default="", return_dtype=pl.String)
    ).select("serial", "family")
    many = (
        named.join(of, on="serial", how="inner")
        .group_by("stage", "family")
        .agg(pl.col("serial").n_unique().alias("all"))
    )
    readings = snapshot.table("readings", "serial", "stage", "characteristic", "position", "moment")
    each = (
        readings.filter(pl.col("moment") == "found")
        .join(of, on="serial", how="inner")
        .group_by("stage", "family", "characteristic", "position")
        .agg(pl.col("serial").n_unique().alias("n"))
        .join(many, on=["stage", "family"], how="inner")
        .filter(pl.col("n") >= SEEN * pl.col("all"))
        .sort("characteristic", "position")
    )
    return list(each.select("stage", "family", "characteristic", "position", "n").iter_rows())


def _caught(snapshot: Snapshot, visits: pl.DataFrame) -> list[tuple[object, ...]]:
    faults = snapshot.table("faults", "log_id", "line", "stage", "fault")
    since = snapshot.as_of - timedelta(weeks=FAULT_WEEKS)
    recent = visits.filter(pl.col("at") >= since).select("log_id", "line", "stage")
    each = faults.join(recent, on=["log_id", "line", "stage"], how="semi").group_by("stage", "fault").len("n")
    return list(each.filter(pl.col("fault") != "").iter_rows())


def _open(folder: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path_of(folder).absolute().as_uri()}?mode=ro", uri=True)


def _one(folder: Path, ask: str, about: tuple[str, ...]) -> tuple[str, ...] | None:
    return next(iter(_all(folder, ask, about)), None)


def _all(folder: Path, ask: str, about: tuple[str, ...]) -> list[tuple[str, ...]]:
    if not path_of(folder).exists():
        return []
    try:
        with closing(_open(folder)) as held:
            return held.execute(ask, about).fetchall()
    except sqlite3.DatabaseError:  # damaged or of another format: as if there were none; a job makes it anew
        return []
