"""Two gauge studies on paper: feeler leaves on bare necks and at the nut. Ten parts, three people, three trials
each. And what gauges read on their master pieces: every Monday, as they should, but for one that is forgotten.
"""

import numpy as np

from demo_data import scenario as shop
from demo_data.sheets import Sheet, thou

PARTS, TRIALS = 10, 3


def _sheet(study: str, characteristic: str, people: tuple[str, ...], values: list[str], unit: str) -> Sheet:
    rows = [
        (f"{part + 1}", tech, f"{trial + 1}") for trial in range(TRIALS) for tech in people for part in range(PARTS)
    ]
    columns = {
        "study": [study] * len(rows),
        "characteristic": [characteristic] * len(rows),
        "part": [row[0] for row in rows],
        "tech": [row[1] for row in rows],
        "trial": [row[2] for row in rows],
        "value": values,
        "unit": [unit] * len(rows),
    }
    return {name: np.array(cells, dtype=object) for name, cells in columns.items()}


def _readings(
    rng: np.random.Generator, mean: float, part_sd: float, hand_sd: float, read_sd: float, step: float
) -> np.ndarray:
    part = rng.normal(mean, part_sd, PARTS)
    hand = rng.normal(0, hand_sd, 3)
    read = part[None, None, :] + hand[None, :, None] + rng.normal(0, read_sd, (TRIALS, 3, PARTS))
    return (np.rint(read / step) * step).ravel()


def gauge_studies(rng: np.random.Generator) -> dict[str, Sheet]:
    """File name and sheet of each study; the leaves pass both."""
    necks = _readings(rng, shop.BOW + 0.05, 0.11, 0.002, 0.006, shop.STEP["leaves"])
    nuts = _readings(rng, 0.50, 0.10, 0.003, shop.READ_SD["nut"], shop.STEP["leaves"])
    return {
        "study_2026-09_necks.csv": _sheet(
            "necks 2026-09", "neck_bow", ("T01", "T03", "T07"), [thou(x) for x in necks], "thou"
        ),
        "study_2026-10_nut.csv": _sheet("nut 2026-10", "nut", ("T01", "T02", "T09"), [thou(x) for x in nuts], "thou"),
    }


FORGOTTEN, LAST_CHECKED = "rule 64", "2026-10-05"  # a rule does not wear: it was checked once and then no more
WHO = "T02"
MASTERS = {"leaves": 0.254, "taper in": 2.54, "taper mm": 2.5, "rule 64": 2.38125}  # mm, as in shop.toml


def gauge_checks(rng: np.random.Generator, days: np.ndarray) -> list[tuple[str, str, str, str]]:
    """Rows of cards/gauge_checks.csv: when, gauge, what it read on its master piece in mm, who."""
    rows = [(LAST_CHECKED, FORGOTTEN, MASTERS[FORGOTTEN])]
    mondays = [day for day in days if int(day.astype(int) + 3) % 7 == 0]
    for gauge, master in MASTERS.items():
        off = rng.random(len(mondays)) < 0.12  # one step off now and then: that is no drift
        way = np.where(rng.random(len(mondays)) < 0.5, -1, 1)
        if gauge != FORGOTTEN:
            rows += [(str(day), gauge, master + shop.STEP[gauge] * float(step))
                     for day, step in zip(mondays, np.where(off, way, 0), strict=True)]  # fmt: skip
    return [(f"{day}T07:35:00+00:00", gauge, f"{value:.6g}", WHO) for day, gauge, value in sorted(rows)]
