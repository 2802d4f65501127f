"""Does the interval of a slope on humidity hold what it says: python -m tests.trials.air

Ninety days of six readings a day beside weather that wanders over days: readings that have nothing to do with the
air, as they come (`null`), with a mean that walks at random by a tenth of a sigma a day (`walk`), with a slope over
the weeks (`trend`), with a first-order series from day to day (`days`), and with a season that both share (`season`);
and readings that follow the air of two days before by half a sigma for each standard deviation of it. Counted are
intervals that hold the true slope.
"""

from datetime import timedelta

import numpy as np
import polars as pl

from analysis.studies.room.climate import climate_rows
from tests.analysis.studies.measured import START, made, visit
from tests.trials.written import write

SEED = 20270221
DAYS, PER_DAY, SIGMA, LAG = 90, 6, 0.03, 48
KINDS = ("null", "walk", "trend", "days", "season", "follows")


def weather(rng: np.random.Generator) -> np.ndarray:
    """Humidity every hour from ten days before the first reading."""
    hours = 24 * (DAYS + 11)
    return 48 + 4 * np.convolve(rng.normal(size=hours + 400), np.ones(97) / 97**0.5, "same")[:hours]


def holds(rng: np.random.Generator, kind: str, models: int) -> int:
    """Of so many models of one shop, how many intervals hold the true slope."""
    rh = weather(rng)
    season = 10 * np.sin(np.arange(len(rh)) / 24 / 30)
    if kind == "season":
        rh = rh + season
    climate = pl.DataFrame(
        {
            "at": [START + timedelta(hours=k - 240) for k in range(len(rh))],
            "room": "bench",
            "rh": rh,
            "temperature": 20.0,
        }
    )
    slope = 0.5 * SIGMA / 4 if kind == "follows" else 0.0
    day = np.arange(DAYS * PER_DAY) // PER_DAY
    hour = np.arange(DAYS * PER_DAY) * 24 // PER_DAY
    visits = []
    for m in range(models):
        level = {
            "walk": np.cumsum(rng.normal(scale=0.1, size=DAYS))[day],
            "trend": day * 2.0 / DAYS,
            "days": _first_order(rng, 0.7)[day],
            "season": 0.15 * season[hour + 240],
        }.get(kind, np.zeros(len(day)))
        value = 0.2 + SIGMA * (level + rng.normal(size=len(day))) + slope * (rh[hour + 240 - LAG] - 48)
        visits += [
            visit(f"S{m}-{k:04d}", float(hour[k]) + m / 100, "final", readings={"relief": float(x)}, model=f"M{m}")
            for k, x in enumerate(value)
        ]
    shop = made(
        visits, frames={"climate": climate}, model=[{"key": f"M{m}", "family": "ukulele"} for m in range(models)]
    )
    rows = climate_rows(shop)
    return int(((rows["low"] <= slope) & (rows["high"] >= slope)).sum())


def _first_order(rng: np.random.Generator, r: float) -> np.ndarray:
    level = np.zeros(DAYS)
    for d in range(1, DAYS):
        level[d] = r * level[d - 1] + rng.normal(scale=0.3)
    return level


def main(shops: int = 40, models: int = 5) -> None:
    """Writes the table beside this script."""
    lines = [(__doc__ or "").split("\n\n", 1)[1], "", "| readings | intervals | hold the true slope |", "|---|---|---|"]
    for number, kind in enumerate(KINDS):
        rng = np.random.default_rng([SEED, number])
        held = sum(holds(rng, kind, models) for _ in range(shops))
        lines.append(f"| {kind} | {shops * models} | {held / (shops * models):.3f} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()
