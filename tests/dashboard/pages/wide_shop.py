"""A small invented shop on disk with 40 models and 60 techs, six strings of intonation and a step on eight models:
what must stay readable, and small enough to load in a test.
"""

from datetime import timedelta
from pathlib import Path

import numpy as np

from ingest.verbs.load import load
from tests.dashboard.pages import moving_shop

MODELS, TECHS, EACH, STEP_FROM, STRINGS = 40, 60, 30, 20, 6
SEED = 20261130
STEPPED, STEP = 8, 0.4  # models whose treble action steps up, mm
SPECS = moving_shop.SPECS + "".join(f"intonation,{k},,0,-5,5,cents\n" for k in range(1, STRINGS + 1))


def name(k: int) -> str:
    """Key of one model."""
    return f"MODEL-{k:02d}"


def stands(folder: Path) -> Path:
    """The shop folder, its log loaded."""
    folder.mkdir(parents=True)
    text = moving_shop.SHOP.format(judging="false_signals_per_week = 1.0\nbaseline_readings = 25", people="codes")
    head = text[: text.index("[[model]]")]
    positions = ", ".join(f'"{k}"' for k in range(1, STRINGS + 1))
    named = '[[characteristic]]\nkey = "intonation"\nname = "Intonation"\nquantity = "pitch"\n'
    cents = f"{named}positions = [{positions}]\n\n"
    models = "".join(f'[[model]]\nkey = "{name(k)}"\nfamily = "family {k % 9}"\n\n' for k in range(MODELS))
    techs = "".join(f'[[tech]]\nkey = "T{k:02d}"\n\n' for k in range(TECHS))
    (folder / "shop.toml").write_text(head + cents + models + techs)
    (folder / "specs.csv").write_text(SPECS)
    (folder / "bench.csv").write_text(log())
    load(folder, [folder / "bench.csv"], now=moving_shop.NOW)
    return folder


def log() -> str:
    """One log: each model's instruments, five a day over six days a model."""
    rng = np.random.default_rng(SEED)
    strings = ",".join(f"intonation {k} (cents)" for k in range(1, STRINGS + 1))
    lines = [
        "serial,model,stage,tech,started_at,finished_at,outcome,gauge,sent_back_to,relief (mm),action bass (mm),"
        f"action treble (mm),{strings}"
    ]
    for k in range(MODELS):
        for place in range(EACH):
            at = moving_shop.day(8 * (place // 2)) + timedelta(minutes=11 * k + 5 * (place % 2))
            up = STEP if k < STEPPED and place >= STEP_FROM else 0.0
            values = [0.2 + 0.03 * rng.standard_normal(), 2.6 + 0.08 * rng.standard_normal()]
            values.append(2.4 + 0.08 * rng.standard_normal() + up)
            cents = ",".join(f"{2 * x:.1f}" for x in rng.standard_normal(STRINGS))
            tech = f"T{(k * EACH + place) % TECHS:02d}"
            back = place % 7 == 3
            stamp = f"{at - timedelta(minutes=60):%Y-%m-%d %H:%M},{at - timedelta(minutes=55):%Y-%m-%d %H:%M}"
            serial = f"{name(k)}-{place:03d}"
            lines.append(f"{serial},{name(k)},bridge_fitting,{tech},{stamp},pass,,,,,,{',' * (STRINGS - 1)}")
            stamp = f"{at:%Y-%m-%d %H:%M},{at + timedelta(minutes=4):%Y-%m-%d %H:%M}"
            out, to = ("send back", "bridge_fitting") if back else ("pass", "")
            read = ",".join(f"{value:.2f}" for value in values)
            lines.append(f"{serial},{name(k)},final_inspection,{tech},{stamp},{out},taper,{to},{read},{cents}")
    return "\n".join(lines) + "\n"
