"""The strangers by name, each with its seed: the first ten, and those made after them."""

from __future__ import annotations

from collections.abc import Callable

from tests.ingest.strangers import english, german, second
from tests.ingest.strangers.truth import Stranger

TEN: dict[str, tuple[Callable[[int, int], Stranger], int]] = {
    "bench_log": (english.bench_log, 1201),
    "one_person": (english.one_person, 1202),
    "measurement_a_row": (english.measurement_a_row, 1203),
    "file_a_station": (english.file_a_station, 1204),
    "three_heading_rows": (english.three_heading_rows, 1205),
    "workshop": (german.workshop, 1206),
    "coded_export": (german.coded_export, 1207),
    "workbook_of_tabs": (german.workbook_of_tabs, 1208),
    "inspection_lines": (german.inspection_lines, 1209),
    "neither": (german.neither, 1210),
}
SECOND: dict[str, tuple[Callable[[int, int], Stranger], int]] = {
    "overlapping_exports": (second.overlapping_exports, 1211),
    "stations_over_headings": (second.stations_over_headings, 1212),
    "machine_codes": (second.machine_codes, 1213),
    "central_europe": (second.central_europe, 1214),
}


def stranger(name: str, instruments: int = 40) -> Stranger:
    """One of them, with so many instruments."""
    make, seed = (TEN | SECOND)[name]
    return make(instruments, seed)
