"""What only a whole file shows: serials that look alike or were shortened, instruments in two places at once.

Nothing is set aside for it: each is listed once, for a person to look at.
"""

import re
from collections.abc import Iterable
from dataclasses import replace

import polars as pl

from ingest.reading.headings import Headings
from ingest.reading.pieces import Pieces
from ingest.reading.sheet import Reading
from ingest.reading.tabular import Table
from ingest.terms.questions import listed
from ingest.terms.units import straight

MANY, ITS_OWN = 10, 0.9  # pairs of visits at once, and of them with one stage: its clock may be off
AT_ONCE = 300_000  # visits that are looked at together


def oddities(pieces: Pieces) -> list[str]:
    """Notes on the visits of one file."""
    return [*serial_notes(pieces.serials()), *overlap_notes(pieces.by_serial(AT_ONCE))]


WIDE = {sign: straight(sign) for sign in map(chr, (*range(0xFF01, 0xFF5F), 0x3000))}  # one_way, a column at a time
NOTHING = {"loose": r"\s", "bare": r"[\s_‐‑–—-]"}  # what means nothing in a serial, by [shop] serials


def one_way(serial: str, how: str = "loose") -> str:
    """A serial as it stands where capitals, spaces and wide figures mean nothing: ' bs １042' is 'BS1042'.

    how : `bare`: dashes mean nothing either.
    """
    return re.sub(NOTHING[how], "", straight(serial)).upper()


def typed_one_way(table: Table, reading: Reading) -> Table:
    """The table with its serials as `one_way` writes them, where the shop says so."""
    nothing = NOTHING.get(reading.shop.shop.serials)
    if nothing is None:
        return table
    headings = Headings(reading.shop, reading.log)
    names = [f"c{place}" for place, heading in enumerate(table.header) if headings.read(heading).field == "serial"]
    narrow = pl.col(names).str.replace_many(WIDE)
    return replace(table, rows=table.rows.with_columns(narrow.str.replace_all(nothing, "").str.to_uppercase()))


def serial_notes(serials: pl.Series) -> list[str]:
    """Serials that a spreadsheet may have shortened and serials that look alike, listed once."""
    distinct = serials.unique().sort().to_frame("serial").filter(pl.col("serial") != "")
    notes: list[str] = []
    alike = (
        distinct.with_columns(
            shape=pl.col("serial")
            .str.to_uppercase()
            .str.replace_all("O", "0")
            .str.replace_all("[IL]", "1")
            .str.replace_all(r"[\s._/-]", "")
        )
        .group_by("shape")
        .agg("serial")
        .filter(pl.col("serial").list.len() > 1)
        .sort("shape")
    )
    if alike.height:
        pairs = [" / ".join(group) for group in alike["serial"].to_list()]
        notes.append(f"serials that look alike (O and 0, I and 1, capitals, dashes), kept apart: {listed(pairs)}")
        groups = alike["serial"].to_list()
        if any(len({one_way(serial) for serial in group}) < len(group) for group in groups):
            notes.append('serials = "loose" under [shop] takes those for one that differ by capitals and spaces alone')
        if any(len({one_way(each, "bare") for each in group}) < len({*map(one_way, group)}) for group in groups):
            notes.append('serials = "bare" under [shop] takes those for one too that differ by dashes')
    return notes + _otherwise_written(distinct)


USUAL = 0.9  # of a file's serials are so long before the others are doubted


def _otherwise_written(distinct: pl.DataFrame) -> list[str]:
    """Serials that a spreadsheet may have shortened, and those that have signs or zeros about the usual digits.

    distinct : serial, each once, sorted.  How many digits are usual is told by the most serials, not by the longest.
    """
    digits = distinct.filter(pl.col("serial").str.contains(r"^\d+$")).with_columns(
        length=pl.col("serial").str.len_chars()
    )
    if digits.height <= 20:
        return []
    usual = int(digits.group_by("length").len().sort("len", "length", descending=True)["length"][0])
    whole, cut = digits.filter(pl.col("length") == usual), digits.filter(pl.col("length") < usual)
    notes = []
    padded = whole.filter(pl.col("serial").str.starts_with("0")).height
    if cut.height and (whole.height > USUAL * digits.height or padded):
        notes.append(
            f"serials that may have lost zeros in a spreadsheet ({usual} digits are usual): "
            f"{listed(cut['serial'].to_list())}"
        )
    bare = pl.col("serial").str.replace_all(r"[^\p{L}\d]", "").str.replace(r"^0+", "")
    about = distinct.filter(
        ~pl.col("serial").str.contains(rf"^\d{{{usual}}}$") & bare.str.contains(rf"^\d{{{usual}}}$")
    )
    if about.height and whole.height > USUAL * distinct.height:
        notes.append(
            f"serials with more about them than the usual {usual} digits, each taken for an instrument of its own: "
            f"{listed(about['serial'].to_list())}"
        )
    return notes


def overlap_notes(parts: Iterable[pl.DataFrame]) -> list[str]:
    """Serials at two stages at once, listed once; `parts` of all visits (tables.VISITS), those of a serial together."""
    both = pl.concat([_overlaps(visits) for visits in parts]).sort("line")
    if both.is_empty():
        return []
    said = [
        f"{serial} ({other} and {stage}, line {line})"
        for serial, stage, other, line in both.head(6).select("serial", "stage", "other_stage", "line").iter_rows()
    ]
    more = f" and {both.height - len(said)} more" if both.height > len(said) else ""
    stage, n = pl.concat([both["stage"], both["other_stage"]]).value_counts(sort=True).sort("count", "stage").row(-1)
    own = both.height >= MANY and n >= ITS_OWN * both.height
    clock = f"; {stage} is one of the two in {n}: is its clock right?" if own else ""
    return [f"one serial at two stages at once: {', '.join(said)}{more}{clock}"]


def _overlaps(visits: pl.DataFrame) -> pl.DataFrame:
    """Pairs of visits of one serial at two stages at once: serial, stage, line, and the other's under `other_`."""
    timed = (
        visits.select(
            pl.col("serial").hash().alias("who"),
            "started_at",
            "finished_at",
            pl.int_range(pl.len(), dtype=pl.UInt32).alias("row"),
            named=pl.col("serial") != "",
        )
        .filter(pl.col("named") & (pl.col("started_at") < pl.col("finished_at")))
        .drop("named")
    )
    timed = timed.sort("who", "started_at", "row")
    meets = (pl.col("who") == pl.col("who").shift(1)) & (pl.col("started_at") < pl.col("finished_at").shift(1))
    pairs = timed.select("row", before=pl.col("row").shift(1), meets=meets).filter("meets")
    here = visits.select("serial", "stage", "line")
    both = pl.concat(
        [here[pairs["row"]], here[pairs["before"]].select(pl.all().name.prefix("other_"))], how="horizontal"
    )
    return both.filter(pl.col("stage") != pl.col("other_stage"))
