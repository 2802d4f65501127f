"""Tables of text with line numbers: what every way of reading a file ends with, and what a header looks like."""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import polars as pl

from ingest.reading.notation import no_reading
from ingest.terms.clock import MONTHS, Order, read_stamp
from ingest.terms.questions import Question

SEPARATORS = (",", ";", "\t", "|")
HINTS_OVER = 12  # rows below a row of units that show what the columns hold
LONGEST_CELL = 32_767  # the most characters a spreadsheet's cell holds; a longer one is a quote that was never closed
CONTROL = re.compile("[\x00-\x08\x0e-\x1f]")


@dataclass(frozen=True)
class Form:
    """What a kind of sheet looks like."""

    score: Callable[[Sequence[str]], int]  # how much a row of cells looks like its header: 0 = not at all
    # places of the columns of a header that hold a digit in every row below it: dates
    digits: Callable[[Sequence[str]], list[int]]
    missing: str = "no serial or date column"  # what a file without a header lacks, and what is wanted
    decimal: str = "."


@dataclass(frozen=True)
class Table:
    """One table of a file: headings and the rows below it, all text, '' where empty, not stripped."""

    header: tuple[str, ...]
    header_line: int
    rows: pl.DataFrame  # line (Int64), then c0, c1 ... (String), one a heading
    hints: tuple[str, ...] = ()  # cells of a row right below the headings that says their units or what they hold


@dataclass
class Tables:
    """Every table of a file; rows refused for their form; lines passed over (blank, title, repeated header, total)."""

    tables: list[Table]
    refused: list[Question] = field(default_factory=list)
    passed_over: int = 0
    notes: list[str] = field(default_factory=list)


TOTAL_CELL = (
    r"^(?i:\s*(?:Σ|(?:(?:(?:grand|sub|month|week)(?:ly)?[\s-]*)?(?:totals?|sum)|average|avg|mean|count|carried over"
    r"|(?:zwischen|gesamt|monats|wochen|tages)?summe|gesamt|mittelwert|durchschnitt|übertrag|somme|moyenne|totale?s?"
    r"|summa|totalt|totaal|som|suma|razem|łącznie|soma|média|media|gemiddelde|snitt|celkem|yhteensä)"
    r"(?:[\s:]+(?:for|of|week|kw|w)?\s*[\w.]{0,12}(?:\s+(?:19|20)\d{2})?)?(?:[\s:]+[^\W\d]{1,15})?(?:[\s:]+\d[\d.,]*)?)"
    r"\s*:?\s*)$"
)
_MONTH = "|".join(MONTHS)
SEPARATOR_CELL = (  # a month, week or year over the rows that follow
    rf"^(?i:[\s*=#-]*(?:(?:{_MONTH})[^\W\d_]*\.?(?:[\s/'-]*\d{{2,4}})?"
    r"|(?:wk|week|w/c|woche|semaine|semana|settimana)\.?\s+(?:of|from|commencing|vom|du|del)\s+[\w\s./-]{1,14}"
    r"|(?:calendar\s*)?(?:week|kw|woche|kalenderwoche|cw)\s*\.?\s*\d{1,2}(?:[\s/-]*\d{2,4})?|(?:19|20)\d{2}"
    r"|(?:monday|tuesday|wednesday|thursday|friday|saturday|sunday|montag|dienstag|mittwoch|donnerstag|freitag|samstag)"
    r"(?:[\s,]+[\d./-]+)?)[\s:*=#-]*)$"
)


def joined_tables(parts: Iterable[Tables]) -> Tables:
    """Pieces of a file as one: tables of the same header line are one table."""
    rows: dict[tuple[int, tuple[str, ...]], list[pl.DataFrame]] = {}
    hints: dict[tuple[int, tuple[str, ...]], tuple[str, ...]] = {}
    refused: list[Question] = []
    notes: list[str] = []
    passed_over = 0
    for part in parts:
        for table in part.tables:
            key = (table.header_line, table.header)
            rows.setdefault(key, []).append(table.rows)
            hints[key] = hints.get(key) or table.hints
        refused += part.refused
        notes += part.notes
        passed_over += part.passed_over
    tables = [
        Table(header, line, frames[0] if len(frames) == 1 else pl.concat(frames), hints[line, header])
        for (line, header), frames in rows.items()
    ]
    return Tables(tables, refused, passed_over, notes)


def undated(table: Table, form: Form) -> pl.Expr:
    """Rows without a digit where the table has its dates: no visit, whatever else they are."""
    places = form.digits(table.header)
    return pl.all_horizontal(~pl.col(f"c{place}").str.contains(r"\d") for place in places) if places else pl.lit(True)


def tidied(tables: list[Table], form: Form, refused: list[Question], passed_over: int, notes: list[str]) -> Tables:
    """The tables without blank, repeated-header, total and month lines, which are counted as passed over."""
    kept: list[Table] = []
    for table in tables:
        hints = table.hints or _hints(table, form)
        foot = pl.int_range(pl.len()) >= pl.len() - 3
        total = pl.col("c0").str.contains(TOTAL_CELL)
        said = [pl.col(f"c{place}").str.strip_chars() == cell for place, cell in enumerate(hints) if cell]  # 'ISO 8601'
        again = pl.all_horizontal(said) if said else pl.lit(False)
        doubtful = table.rows.filter(undated(table, form) | total | _alone(table) | foot | again)
        over = doubtful.filter(_passed_over(table, hints))
        passed_over += over.height
        rows = (
            table.rows.join(over.select("line"), on="line", how="anti", maintain_order="left")
            if over.height
            else table.rows
        )
        kept.append(Table(table.header, table.header_line, rows, hints))
    return Tables(kept, refused, passed_over, notes)


def _alone(table: Table) -> pl.Expr:
    """Rows of which only the first cell is filled."""
    rest = table.rows.columns[2:]
    return pl.concat_str(rest).str.strip_chars() == "" if rest else pl.lit(False)


_BETWEEN = "\x1f"  # no cell holds it


def _hints(table: Table, form: Form) -> tuple[str, ...]:
    """The cells of the row right below the headings where it holds units and the like over columns of numbers and days,
    and no day itself.
    """
    first = table.rows.head(1)
    if first.is_empty() or first["line"][0] != table.header_line + 1:
        return ()
    cells = [cell.strip() for cell in first.drop("line").row(0)]
    if any(read_stamp(cells[place], order) for place in form.digits(table.header) for order in ORDERS):
        return ()
    below = table.rows.slice(1, HINTS_OVER).drop("line")
    over = filled = 0
    for place, cell in enumerate(cells):
        under = [each for each in below[f"c{place}"].str.strip_chars().to_list() if each]
        numbers = sum(bool(_NUMBERED.match(each)) for each in under)
        over += bool(_says(cell) and under and numbers >= 0.8 * len(under))
        filled += bool(cell and under)
    return tuple(cells) if over >= 2 and 2 * over >= filled else ()


ORDERS: tuple[Order, ...] = ("ymd", "dmy", "mdy")
_NUMBERED = re.compile(r"[<>~+-]?\s*[.,]?\d")


def _says(cell: str) -> bool:
    """Is a cell a word or a unit?"""
    told = re.fullmatch(r"1/\d+", cell) or (re.search(r"[^\W\d_]|[\"#%°]", cell) and not _NUMBERED.match(cell))
    return bool(told) and not no_reading(cell)


def _passed_over(table: Table, hints: Sequence[str]) -> pl.Expr:
    """Blank lines, the header or its hints again, lines whose first filled cell says total, those that hold a month, a
    week or a rule and nothing else, and a word with the number of rows above it.
    """
    line = pl.concat_str(table.rows.columns[1:], separator=_BETWEEN)  # one text a row: a step a column would not do
    line = line.str.replace_all(rf"\s*{_BETWEEN}\s*", _BETWEEN).str.strip_chars()
    first = line.str.extract(rf"^{_BETWEEN}*([^{_BETWEEN}]*)", 1)
    again = line.is_in([_BETWEEN.join(cell.strip() for cell in cells) for cells in (table.header, hints) if cells])
    counted = line.str.extract(
        rf"^{_BETWEEN}*[^{_BETWEEN}\d]*[^{_BETWEEN}\d\s:]\s*[:{_BETWEEN}]+\s*(\d+){_BETWEEN}*$", 1
    )
    above = pl.col("line") - table.header_line - 1
    counts = counted.cast(pl.Int64, strict=False).is_between(pl.max_horizontal(above - 3, 1), above).fill_null(False)
    filled = line.str.count_matches(rf"[^{_BETWEEN}]+")
    separator = (filled == 1) & (first.str.contains(SEPARATOR_CELL) | ~first.str.contains(r"[\p{L}\p{N}]"))
    return (first == "") | again | counts | first.str.contains(TOTAL_CELL) | separator
