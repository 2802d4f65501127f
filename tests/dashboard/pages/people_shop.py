"""A small invented shop with necks of two suppliers and one new tech: what the tests of Necks, Bench, the neck packet
and the target card look at.

288 instruments of two models, 24 to a lot; lot MP-15 came more hollow than agreed, with a hundredth of a millimetre
more bow costing a tenth of a minute. T09 is new at nut slotting, slower at first, and sets the bass side 0.12 mm high.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from ingest.verbs.load import load

SEED = 20260504
LOT, LOTS = 24, 12
NOW = datetime(2026, 12, 1, tzinfo=UTC)
SUPPLIERS = ("Marrow & Pine", "Tollgate Necks")
TECHS = {"T01": "Rowan Okafor", "T02": "Mara Lindqvist", "T03": "Iven Castellan", "T09": "Pell Asterby"}
NOTE = "grain runs out near the heel"
HOLLOW = "MP-15"
SHOP = """
[shop]
name = "Weir Lane Instruments"
timezone = "Europe/Dublin"
labour_per_hour = 36.0

[people]
show = "{people}"
{purpose}

[[stage]]
key = "receiving"
name = "Receiving inspection"
role = "receiving"
minutes = 4

[[stage]]
key = "neck_straightening"
name = "Neck straightening"
minutes = 12

[[stage]]
key = "nut_slotting"
name = "Nut slotting"
minutes = 11

[[stage]]
key = "final_inspection"
name = "Final inspection"
role = "final"
minutes = 6

[[stage]]
key = "packing"
role = "packing"
minutes = 3

[[characteristic]]
key = "neck_bow"
name = "Neck bow"
positions = ["bass", "treble"]
plausible = ["-1 mm", "2 mm"]

[[characteristic]]
key = "relief"
name = "Neck relief"
set_at = "neck_straightening"
plausible = ["-1 mm", "3 mm"]

[[characteristic]]
key = "nut"
name = "Height over fret 1"
set_at = "nut_slotting"
positions = ["bass", "treble"]
plausible = ["0 mm", "3 mm"]

[[gauge]]
key = "leaves"
measures = ["neck_bow", "relief", "nut"]
resolution = "0.001 in"

[[model]]
key = "LARK-25"
family = "tenor ukulele"

[[model]]
key = "HERON-D"
family = "steel-string guitar"

[[fault]]
key = "open-string buzz"
suspect = "nut_slotting"
{techs}
[[plan]]
characteristic = "neck_bow"
sample = 20
accept = 2
"""
SPECS = """characteristic,position,model,target,lower,upper,unit,from_date,agreed_on
neck_bow,,,0,-0.10,0.25,mm,,2026-03-03
relief,,,0.20,0.05,0.35,mm,,
nut,bass,,0.55,0.35,0.75,mm,,
nut,treble,,0.40,0.20,0.60,mm,,
"""
BOTH = ["nut_slotting", "neck_straightening"]
QUALIFIED = {"T01": ["receiving", "final_inspection"], "T02": BOTH, "T03": BOTH, "T09": []}
LOTS_HEAD = "supplier,lot,model,received_on,quantity,rod_state,hours_acclimatised,agreed_limit"


def stands(folder: Path, *, people: str = "codes", with_logs: bool = True) -> Path:
    """The shop folder, its log loaded."""
    folder.mkdir(parents=True)
    techs = "\n".join(
        f'[[tech]]\nkey = "{key}"\nname = "{name}"\nstarted = '
        f"{'2026-05-11' if key == 'T09' else '2019-04-01'}\nqualified = {QUALIFIED[key]}\n"
        for key, name in TECHS.items()
    ).replace("'", '"')
    purpose = 'purpose = "coaching of new techs"' if people == "names" else ""
    (folder / "shop.toml").write_text(SHOP.format(people=people, purpose=purpose, techs=techs))
    (folder / "specs.csv").write_text(SPECS)
    if with_logs:
        (folder / "lots.csv").write_text("\n".join([LOTS_HEAD, *_lots()]) + "\n")
        path = folder / "as_typed" / "bench-cards-may.csv"
        path.parent.mkdir()
        path.write_text(log())
        load(folder, [path], now=NOW)
    return folder


def lot(number: int) -> tuple[str, str]:
    """Supplier and lot of the lot numbered 0, 1, ..."""
    return SUPPLIERS[number % 2], f"{('MP', 'TN')[number % 2]}-{11 + number // 2}"


def day(number: int) -> datetime:
    """When instrument `number` is received: eight a day, five days a week."""
    week, place = divmod(number, 40)
    of_week, hour = divmod(place, 8)
    return datetime(2026, 5, 4, 7) + timedelta(weeks=week, days=of_week, hours=hour)


def _lots() -> list[str]:
    models = ("LARK-25", "HERON-D")
    return [
        f'"{lot(k)[0]}",{lot(k)[1]},{models[k // 2 % 2]},{day(k * LOT):%Y-%m-%d},60,slack,26,0.25' for k in range(LOTS)
    ]


def log() -> str:
    rng = np.random.default_rng(SEED)
    lines = [
        "serial,model,supplier,lot,stage,tech,started_at,finished_at,outcome,fault,sent_back_to,rh,gauge,note,neck_bow "
        "bass (mm),"
        "neck_bow treble (mm),relief (mm),nut bass (mm),nut treble (mm)"
    ]
    done = 0
    for k in range(LOT * LOTS):
        supplier, name = lot(k // LOT)
        model = ("LARK-25", "HERON-D")[k // LOT // 2 % 2]
        hollow = 0.20 if name == HOLLOW else 0.08
        bow = hollow + 0.06 * rng.standard_normal(2)
        who = ("T02", "T03", "T09")[k % 3] if k > 30 else ("T02", "T03")[k % 2]
        done += who == "T09"
        minutes = 11.0 + (8.0 / done**0.4 if who == "T09" else 0.0) + 1.2 * rng.standard_normal()
        straight = 12.0 + 10.0 * abs(float(bow.max())) + 1.5 * rng.standard_normal()
        nut = np.array([0.55, 0.40]) + 0.04 * rng.standard_normal(2) + np.array([0.12 if who == "T09" else 0.0, 0.0])
        back = rng.random() < (0.15 if who == "T09" else 0.06)
        relief = 0.20 + 0.03 * rng.standard_normal()
        at = day(k)
        head = f'HO-{5000 + k},{model},"{supplier}",{name}'
        visits = [
            ("receiving", "T01", 4.0, "pass", "", "", f"{bow[0]:.3f},{bow[1]:.3f},,,", NOTE if k % 50 == 0 else ""),
            ("neck_straightening", ("T02", "T03")[k % 2], straight, "pass", "", "", ",,,,", ""),
            ("nut_slotting", who, minutes, "pass", "", "", ",,,,", ""),
        ]
        final = f",,{relief:.3f},{nut[0]:.3f},{nut[1]:.3f}"
        if back:
            visits.append(("final_inspection", "T01", 6.0, "send back", "open-string buzz", "nut_slotting", final, ""))
            visits.append(("nut_slotting", who, 8.0, "pass", "", "", ",,,,", ""))
        visits.append(("final_inspection", "T01", 6.0, "pass", "", "", final, ""))
        visits.append(("packing", "T01", 3.0, "pass", "", "", ",,,,", ""))
        for stage, tech, spent, outcome, fault, to, values, note in visits:
            end = at + timedelta(minutes=max(spent, 1.0))
            rh = "46" if stage == "receiving" else ""
            lines.append(
                f"{head},{stage},{tech},{at:%Y-%m-%d %H:%M:%S},{end:%Y-%m-%d %H:%M:%S},{outcome},"
                f"{fault},{to},{rh},leaves,{note},{values}"
            )
            at = end + timedelta(minutes=5)
    return "\n".join(lines) + "\n"
