"""A small invented shop on disk whose treble action moves on one model: what the tests of pages look at and write into.

LARK-25 passes 200 instruments, 8 a day; from number 160 on its treble action stands 0.30 mm (about 3.5 sigma) higher,
on the day new saddle blanks came. HERON-D is young (60), WREN-S is thin (9).
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from dashboard.desk.desk import Desk
from ingest.verbs.load import load

SEED = 20260302
N, YOUNG, THIN, STEP = 200, 60, 9, 160
MOVED_BY = 0.30
NOW = datetime(2026, 12, 1, tzinfo=UTC)
SHOP = """
[shop]
name = "Weir Lane Instruments"
timezone = "Europe/Dublin"

[judging]
{judging}

[people]
show = "{people}"

[[stage]]
key = "bridge_fitting"
name = "Bridge fitting"
minutes = 6

[[stage]]
key = "final_inspection"
name = "Final inspection"
role = "final"
minutes = 4

[[stage]]
key = "packing"
role = "packing"

[[characteristic]]
key = "relief"
name = "Neck relief"
plausible = ["-1 mm", "3 mm"]

[[characteristic]]
key = "action"
name = "Action"
set_at = "bridge_fitting"
positions = ["bass", "treble"]
plausible = ["0.5 mm", "6 mm"]

[[gauge]]
key = "taper"
name = "Taper gauge"
measures = ["action"]
resolution = "0.05 mm"

[[model]]
key = "LARK-25"
family = "tenor ukulele"

[[model]]
key = "HERON-D"
family = "steel-string guitar"

[[model]]
key = "WREN-S"
family = "soprano ukulele"

[[tech]]
key = "T01"
name = "Rowan Okafor"

[[tech]]
key = "T02"
name = "Mara Lindqvist"
"""
SPECS = """characteristic,position,model,target,lower,upper,unit
relief,,,0.20,0.05,0.35,mm
action,bass,,2.60,2.20,3.00,mm
action,treble,,2.40,2.00,2.80,mm
"""


def stands(
    folder: Path, *, judging: str = "false_signals_per_week = 0.5", people: str = "codes", with_logs: bool = True
) -> Path:
    """The shop folder, its log loaded."""
    folder.mkdir(parents=True)
    (folder / "shop.toml").write_text(SHOP.format(judging=judging, people=people))
    (folder / "specs.csv").write_text(SPECS)
    (folder / "changes.csv").write_text(
        f"from_date,to_date,model,stage,what,note\n{day(STEP):%Y-%m-%d},,LARK-25,bridge_fitting,saddle blanks,new\n"
    )
    if with_logs:
        path = folder / "as_typed" / "bench.csv"
        path.parent.mkdir()
        path.write_text(log())
        load(folder, [path], now=NOW)
    return folder


def day(number: int) -> datetime:
    """When instrument `number` of LARK-25 is read: eight a day, an hour apart, five days a week."""
    week, place = divmod(number, 40)
    of_week, hour = divmod(place, 8)
    return datetime(2026, 3, 2, 8) + timedelta(weeks=week, days=of_week, hours=hour)


def log() -> str:
    rng = np.random.default_rng(SEED)
    lines = [
        "serial,model,stage,tech,started_at,finished_at,outcome,gauge,relief (mm),action bass (mm),action treble (mm)"
    ]
    for model, count, minute in (("LARK-25", N, 0), ("HERON-D", YOUNG, 20), ("WREN-S", THIN, 40)):
        for k in range(count):
            at = day(k + N - count) + timedelta(minutes=minute)
            serial = f"{model[:2]}-{1000 + k}"
            moved = MOVED_BY if model == "LARK-25" and k >= STEP else 0.0
            relief, bass, treble = (
                0.20 + 0.03 * rng.standard_normal(),
                2.6 + 0.08 * rng.standard_normal(),
                2.4 + 0.08 * rng.standard_normal() + moved,
            )
            tech = ("T01", "T02")[k % 2]
            for stage, who, when, values in (
                ("bridge_fitting", tech, at - timedelta(minutes=60), ",,"),
                ("final_inspection", "T02", at, f"{relief:.2f},{bass:.2f},{treble:.2f}"),
            ):
                stamp = f"{when - timedelta(minutes=5):%Y-%m-%d %H:%M},{when:%Y-%m-%d %H:%M}"
                lines.append(
                    f"{serial},{model},{stage},{who},{stamp},pass,{'taper' if values != ',,' else ''},{values}"
                )
    return "\n".join(lines) + "\n"


def desk(folder: Path) -> Desk:
    return Desk(folder)
