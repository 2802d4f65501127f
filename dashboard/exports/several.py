"""What only several shops can tell, as tables and as files."""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import polars as pl

from analysis.studies.shops import same_lots
from analysis.studies.shops.same_change import same_change
from analysis.studies.shops.same_gauge import same_gauge
from analysis.studies.shops.same_matter import same_matter
from analysis.studies.shops.same_model import same_model
from analysis.studies.shops.same_rework import same_rework
from dashboard.exports.written import csv_text, json_text, plain

Tables = Mapping[str, pl.DataFrame]
FIGURES: dict[str, Callable[[Tables], pl.DataFrame]] = {
    "same_model": lambda told: same_model(told["levels"], told["capability"]),
    "same_change": lambda told: same_change(told["dated"]),
    "same_lots": lambda told: same_lots.pairs(told["lots"]),
    "same_gauge": lambda told: same_gauge(told["lots"]),
    "same_matter": lambda told: same_matter(told["matters"], told["levels"]),
    "same_rework": lambda told: same_rework(told["mix"]),
    "lots_standing_out": lambda told: same_lots.standing(told["lots"]),
}


def write_several(found: Tables, shops: pl.DataFrame, out: Path, *, as_json: bool) -> Iterator[Path]:
    """Writes each table and the list of shops into `out`; each path when it stands there whole."""
    out.mkdir(parents=True, exist_ok=True)
    for name, rows in {"shops": shops, **found}.items():
        path = out / f"{name}.{'json' if as_json else 'csv'}"
        path.write_text(json_text(plain(rows)) if as_json else csv_text(plain(rows)), encoding="utf-8")
        yield path
