"""A small invented shop that works in inches and reads each thing in its own marks: relief in thou by feelers, action
in 64ths by a rule, nut slots in thou, intonation in cents; what the tests of shown units look at.

HERON-D passes 200 instruments, 8 a day; from number 120 on its relief stands 4 thou higher, from 160 on its treble
action 1.25 of 64ths.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from dashboard.desk.desk import Desk
from ingest.verbs.load import load

SEED = 20260504
N, RELIEF, ACTION = 200, 120, 160  # instruments; from which on each stands higher
THOU, MARKS = 4, 1.25  # by how much: thou, 64ths
NOW = datetime(2026, 12, 1, tzinfo=UTC)
SHOP = """
[shop]
name = "Weir Lane Instruments"
timezone = "America/Denver"
length = "in"

[[stage]]
key = "neck_straightening"
name = "Neck straightening"
minutes = 9

[[stage]]
key = "nut_slotting"
name = "Nut slotting"
minutes = 8

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
length = "thou"
set_at = "neck_straightening"
plausible = ["-0.04 in", "0.12 in"]

[[characteristic]]
key = "nut"
name = "Gap over fret 1"
length = "thou"
set_at = "nut_slotting"
positions = ["bass", "treble"]
plausible = ["0 in", "0.08 in"]

[[characteristic]]
key = "action"
name = "Action"
length = "64ths"
set_at = "bridge_fitting"
positions = ["bass", "treble"]
plausible = ["1/64 in", "16/64 in"]

[[characteristic]]
key = "saddle"
name = "Saddle height"
set_at = "bridge_fitting"
plausible = ["0.1 in", "1 in"]

[[characteristic]]
key = "intonation"
name = "Intonation"
quantity = "pitch"
set_at = "bridge_fitting"
plausible = ["-60 cents", "60 cents"]

[[model]]
key = "HERON-D"
family = "steel-string guitar"

[[tech]]
key = "T01"

[[tech]]
key = "T02"
"""
SPECS = """characteristic,position,model,target,lower,upper,unit
relief,,,10,5,14,thou
nut,bass,,22,17,27,thou
nut,treble,,18,13,23,thou
action,bass,,6,5,7.5,64ths
action,treble,,5,4,6,64ths
saddle,,,0.35,0.3,0.4,in
intonation,,,0,-5,5,cents
"""
HEAD = (
    "serial,model,stage,tech,started_at,finished_at,outcome,relief (thou),nut bass (thou),nut treble (thou),"
    "action bass (64ths),action treble (64ths),saddle (in),intonation (cents)"
)


def stands(folder: Path) -> Path:
    """The shop folder, its log loaded."""
    folder.mkdir(parents=True)
    (folder / "shop.toml").write_text(SHOP)
    (folder / "specs.csv").write_text(SPECS)
    path = folder / "bench.csv"
    path.write_text(log())
    load(folder, [path], now=NOW)
    return folder


def log() -> str:
    """The sheet as it is typed: feelers in whole thou, the rule to half a 64th."""
    rng = np.random.default_rng(SEED)
    lines = [HEAD]
    for k in range(N):
        week, place = divmod(k, 40)
        of_week, hour = divmod(place, 8)
        at = datetime(2026, 5, 4, 8) + timedelta(weeks=week, days=of_week, hours=hour)
        relief, bass, treble, saddle, pitch = rng.standard_normal(5)
        nut = 22 + 1.3 * rng.standard_normal(2) + (0, -4)
        up = THOU * (k >= RELIEF), MARKS * (k >= ACTION)
        values = (
            f"{10 + 1.5 * relief + up[0]:.0f},{nut[0]:.0f},{nut[1]:.0f},{_half(6 + 0.5 * bass)},"
            f"{_half(5 + 0.5 * treble + up[1])},{0.35 + 0.01 * saddle:.3f},{2 * pitch:.0f}"
        )
        tech = ("T01", "T02")[k % 2]
        for stage, who, when, read in (
            ("bridge_fitting", tech, at - timedelta(minutes=60), "," * 6),
            ("final_inspection", "T02", at, values),
        ):
            stamp = f"{when - timedelta(minutes=5):%Y-%m-%d %H:%M},{when:%Y-%m-%d %H:%M}"
            lines.append(f"HD-{1000 + k},HERON-D,{stage},{who},{stamp},pass,{read}")
    return "\n".join(lines) + "\n"


def _half(value: float) -> str:
    """To half a mark, as a rule is read: `5`, `5.5`."""
    return f"{round(2 * value) / 2:g}"


def desk(folder: Path) -> Desk:
    return Desk(folder)
