"""Necks by lot with what bow costs put in: rows as `bow.instruments` gives them."""

import numpy as np
import polars as pl

STRAIGHTENERS = ("A", "B", "C")


def supplied(
    rng: np.random.Generator, *, lots: int = 40, necks: int = 30, a_tenth: float = 2.0, lot_minutes: float = 1.0
) -> pl.DataFrame:
    """Bow varies between lots and within; minutes: 60, or 90 of a model that comes more bowed, a straightener's own
    pace, `a_tenth` for each tenth of a mm, what comes with a lot, and the day's noise.
    """
    lot = np.repeat(np.arange(lots), necks)
    model = (lot % 2).astype(np.int64)
    bow = np.abs(0.08 + 0.05 * model + rng.normal(scale=0.05, size=lots)[lot] + rng.normal(scale=0.05, size=len(lot)))
    hand = np.where(
        rng.random(len(lot)) < 0.3 + 0.4 * model, 0, rng.integers(1, 3, len(lot))
    )  # A gets more of the bowed model
    minutes = (
        60
        + 30 * model
        + np.array([6.0, 0.0, 3.0])[hand]
        + a_tenth * 10 * bow
        + rng.normal(scale=lot_minutes, size=lots)[lot]
    )
    minutes = minutes + rng.normal(scale=8, size=len(lot))
    return pl.DataFrame(
        {
            "serial": [f"S{k:05d}" for k in range(len(lot))],
            "model": [f"M{m}" for m in model],
            "lot_key": [f"L{k}" for k in lot],
            "straightener": [STRAIGHTENERS[h] for h in hand],
            "bow": bow,
            "minutes": minutes,
            "straightening": minutes / 10,
            "send_backs": (rng.random(len(lot)) < 0.1 + bow).astype(float),
            "rejected": np.zeros(len(lot)),
        }
    )
