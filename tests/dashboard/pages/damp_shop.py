"""The shop of tests/analysis/studies/damp_necks.py as a folder: three suppliers, a damp month."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from ingest.verbs.load import load
from tests.analysis.studies import damp_necks

NOW = datetime(2026, 12, 1, tzinfo=UTC)
SHOP = """
[shop]
name = "Weir Lane Instruments"
timezone = "UTC"
labour_per_hour = 36.0

[[stage]]
key = "receiving"
role = "receiving"
minutes = 4

[[stage]]
key = "neck_straightening"
minutes = 4

[[stage]]
key = "final"
role = "final"
minutes = 5

[[characteristic]]
key = "neck_bow"
name = "Neck bow"
plausible = ["-1 mm", "2 mm"]

[[model]]
key = "LARK"
family = "tenor ukulele"

[[model]]
key = "WREN"
family = "banjo"

[[log]]
name = "bench cards"
files = "*.csv"
shape = "visit"

[log.headings]
serial = "serial"
model = "model"
stage = "stage"
tech = "tech"
at = "finished_at"
supplier = "supplier"
lot = "lot"
rh = "rh"
minutes = "minutes"
outcome = "outcome"
bow = "neck_bow (mm)"
"""
SPECS = "characteristic,target,lower,upper,unit\nneck_bow,0,-0.25,0.25,mm\n"
START = datetime(2026, 3, 2, 8)


def stands(folder: Path, **more: float | bool) -> Path:
    """The shop folder, its log loaded; `more` of damp_necks.visits."""
    folder.mkdir(parents=True)
    (folder / "shop.toml").write_text(SHOP)
    (folder / "specs.csv").write_text(SPECS)
    lines = ["serial,model,stage,tech,at,supplier,lot,rh,minutes,outcome,bow"]
    for row in damp_necks.visits(np.random.default_rng(7), **more):
        at = (START + timedelta(hours=row["hours"])).strftime("%Y-%m-%d %H:%M")
        rh, bow = row.get("rh"), row["readings"].get("neck_bow")
        cells = [
            row["serial"],
            row["model"],
            row["stage"],
            row["tech"],
            at,
            row.get("supplier", ""),
            row.get("lot", ""),
        ]
        cells += [
            "" if rh is None else f"{rh:.0f}",
            f"{row['minutes']:.1f}",
            "pass",
            "" if bow is None else f"{bow:.2f}",
        ]
        lines.append(",".join(cells))
    path = folder / "as_typed" / "cards.csv"
    path.parent.mkdir()
    path.write_text("\n".join(lines) + "\n")
    load(folder, [path], now=NOW)
    return folder
