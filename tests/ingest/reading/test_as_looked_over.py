"""What a handful of small logs are read as, row by row and cell by cell, with every question about them.

Snapshots, each looked over by hand when it was written: `python -m tests.ingest.reading.test_as_looked_over` writes
them anew; read the difference before keeping it.
"""

from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from ingest.reading.reader import read_log
from tests.ingest.small_shop import small_shop

HERE = Path(__file__).parent / "looked_over"
LIMIT = datetime(2026, 12, 31, tzinfo=UTC)

LOGS = {  # what each [[log]] says beside the small shop's; its lines stand in looked_over/
    "visits": {"replaces": "same visits"},
    "a row an instrument": {
        "shape": "instrument",
        "date_order": "dmy",
        "decimal": ",",
        "stage": "final_inspection",
        "units": {"relief": "mm"},
    },
    "a row a measurement": {
        "shape": "measurement",
        "words": {"outcome": {"ok": "pass"}, "moment": {"vor": "found"}, "position": {"b": "bass"}},
    },
    "found and left": {"shape": "measurement", "stage": "nut_slotting"},
    "a study": {"shape": "study"},
    "written once": {
        "same_as_above": ["date", "tech"],
        "not_rows": {"kind": ["bass drum"]},
        "only_rows": {"line": ["7", "8"]},
        "ignore": ["Shift"],
        "empty_outcome": "pass",
        "headings": {"Where": "stage", "kind": "other", "line": "other"},
        "words": {"stage": {"nut": "nut_slotting"}, "model": {"big": "DRAY-5"}},
    },
    "cells of all kinds": {},
    "cells with commas": {"decimal": ","},
    "times of all kinds": {},
    "words of all kinds": {"units": {"relief": "mm"}},
}


def text_of(name: str, frame: pl.DataFrame) -> str:
    held = frame.drop("log_id", strict=False)
    filled = [
        each.name
        for each in held
        if each.null_count() < each.len() and not (each.dtype == pl.String and (each == "").all())
    ]
    shown = held.select(filled).with_columns(pl.col(pl.List(pl.String)).list.join("+"))
    return f"== {name}\n{shown.write_csv(float_precision=6)}"


def told(name: str) -> str:
    sheet = read_log((HERE / f"{name}.csv").read_bytes(), "a.csv", small_shop(**LOGS[name]), as_of_limit=LIMIT)
    counts = f"{sheet.rows_read} read, {sheet.rows_set_aside} rows and {sheet.cells_set_aside} cells aside, "
    counts += f"{sheet.passed_over} passed over\n"
    frames = {each: getattr(sheet, each) for each in ("visits", "readings", "faults", "gauge_trials", "set_aside")}
    parts = [text_of(each, frame) for each, frame in frames.items() if frame.height]
    return "\n".join([counts, *parts, "== notes", *sheet.notes, ""])


@pytest.mark.parametrize("name", LOGS)
def test_a_log_is_read_as_it_was_looked_over(name):
    assert told(name) == (HERE / f"{name}.txt").read_text(encoding="utf-8")


if __name__ == "__main__":
    HERE.mkdir(exist_ok=True)
    for each in LOGS:
        (HERE / f"{each}.txt").write_text(told(each), encoding="utf-8")
