"""The shop of tests/analysis/studies/resting_necks.py as a folder: necks read again after the rest."""

from datetime import timedelta
from pathlib import Path

import numpy as np

from ingest.verbs.load import load
from tests.analysis.studies import resting_necks
from tests.dashboard.pages.damp_shop import NOW, START

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
minutes = 8

[[stage]]
key = "rest"
role = "rest"

[[stage]]
key = "stringing"
minutes = 6

[[stage]]
key = "final"
role = "final"
minutes = 5

[[characteristic]]
key = "neck_bow"
name = "Neck bow, incoming"
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
at = "finished_at"
supplier = "supplier"
lot = "lot"
minutes = "minutes"
outcome = "outcome"
back = "sent_back_to"
found = "neck_bow found (mm)"
left = "neck_bow left (mm)"
"""
SPECS = "characteristic,target,lower,upper,unit\nneck_bow,0,-0.25,0.25,mm\n"
NAMES = ("serial", "model", "stage", "at", "supplier", "lot", "minutes", "outcome", "back", "found", "left")


def stands(folder: Path, **more: float) -> Path:
    """The shop folder, its log loaded; `more` of resting_necks.visits."""
    folder.mkdir(parents=True)
    (folder / "shop.toml").write_text(SHOP)
    (folder / "specs.csv").write_text(SPECS)
    lines = [",".join(NAMES)]
    for row in resting_necks.visits(np.random.default_rng(7), **more):
        found, left = (row[name].get("neck_bow") for name in ("readings", "left"))
        cells = {
            "serial": row["serial"],
            "model": row["model"],
            "stage": row["stage"],
            "at": (START + timedelta(hours=row["hours"])).strftime("%Y-%m-%d %H:%M"),
            "supplier": row.get("supplier", ""),
            "lot": row.get("lot", ""),
            "minutes": f"{row['minutes']:.0f}" if "minutes" in row else "",
            "outcome": row["outcome"],
            "back": row.get("sent_back_to", ""),
            "found": "" if found is None else f"{found:.2f}",
            "left": "" if left is None else f"{left:.2f}",
        }
        lines.append(",".join(cells[name] for name in NAMES))
    path = folder / "as_typed" / "cards.csv"
    path.parent.mkdir()
    path.write_text("\n".join(lines) + "\n")
    load(folder, [path], now=NOW)
    return folder
