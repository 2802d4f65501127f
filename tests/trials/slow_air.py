"""Does the interval of a slope from week to week hold what it says: python -m tests.trials.slow_air

Readings of 90 and of 126 days, six and 25 a day, beside air that comes as weather (`weather`), that dries by 16 % in
six weeks (`drying`), that has a season too (`season`) or wanders at random from day to day (`walk`). The readings have
nothing to do with it, as they come (`null`), with a mean that walks at random by a tenth of a sigma a day (`walk`),
with a slope over the weeks (`trend`), with a first-order series from day to day (`days`), or with a slow swing of their
own (`swing`); or they follow it by .004 mm for 1 % RH at a sigma of .03 mm (`follows`). Counted are intervals that hold
the true slope, and what Capability would tell: intervals that leave 0 out, and a tenth of the spread.
"""

import numpy as np

from analysis.methods.slow_slope import slow_slopes
from tests.trials.air import weather
from tests.trials.written import write

SEED = 20270311
AIRS = ("weather", "drying", "season", "walk")
KINDS = ("null", "walk", "trend", "days", "swing", "follows")
SIGMA, FOLLOWS, TENTH = 0.03, 0.004, 0.1
FIRST_DAY = 18_323  # a Monday, in days since 1970-01-01


def room(rng: np.random.Generator, kind: str, days: int) -> np.ndarray:
    """Humidity every hour of so many days."""
    rh = np.concatenate([weather(rng)[240:] for _ in range(2)])[: 24 * days]
    day = np.arange(len(rh)) / 24
    if kind == "drying":
        return 0.25 * rh + 36 - 16 * np.clip((day - rng.uniform(0.1, 0.5) * days) / 42, 0, 1)
    if kind == "season":
        return rh + 10 * np.sin(day / 30 + rng.uniform(0, 2 * np.pi))
    return 48 + np.repeat(np.cumsum(rng.normal(size=days)), 24) if kind == "walk" else rh


def level(rng: np.random.Generator, kind: str, days: int) -> np.ndarray:
    """What readings do beside the air, a value a day in sigmas."""
    if kind == "walk":
        return np.cumsum(rng.normal(scale=0.1, size=days))
    if kind == "trend":
        return np.arange(days) * 2.0 / days
    if kind == "swing":
        return 1.5 * np.sin(np.arange(days) / rng.uniform(15, 40) + rng.uniform(0, 2 * np.pi))
    found = np.zeros(days)
    for d in range(1, days if kind == "days" else 0):
        found[d] = 0.7 * found[d - 1] + rng.normal(scale=0.3)
    return found


def one(rng: np.random.Generator, air: str, kind: str, days: int, per_day: int) -> tuple[bool, bool]:
    """Does the interval hold the true slope (none holds it), and is it told."""
    day = np.repeat(np.arange(days), per_day)
    rh = room(rng, air, days)[np.arange(days * per_day) * 24 // per_day]
    true = FOLLOWS if kind == "follows" else 0.0
    y = 0.2 + SIGMA * (level(rng, kind, days)[day] + rng.normal(size=len(day))) + true * (rh - 48)
    found = slow_slopes(y, rh, np.zeros(len(y), dtype=np.int64), FIRST_DAY + day, least=25)
    slope, half, share = found.slope[0], found.half[0], found.share[0]
    return not abs(slope - true) > half, bool(abs(slope) > half and share >= TENTH)


def main(times: int = 100) -> None:
    """Writes the table beside this script."""
    lines = [
        (__doc__ or "").split("\n\n", 1)[1],
        "",
        "| air | readings | intervals | hold it | told |",
        "|" + "---|" * 5,
    ]
    for i, air in enumerate(AIRS):
        for j, kind in enumerate(KINDS):
            rng = np.random.default_rng([SEED, i, j])
            found = [one(rng, air, kind, days, n) for days in (90, 126) for n in (6, 25) for _ in range(times)]
            held, told = np.mean(found, axis=0)
            lines.append(f"| {air} | {kind} | {len(found)} | {held:.3f} | {told:.3f} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()
