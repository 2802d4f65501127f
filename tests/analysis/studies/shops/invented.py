"""Figures of several invented shops as they publish them: three models, three suppliers' lots, and what is planted."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl

SUPPLIERS = ("Marrow & Pine", "Tollgate Necks", "Sallow Brothers")
MODELS = ("LARK-25", "HERON-D", "DRAY-5")
AT = datetime(2026, 6, 1, tzinfo=UTC)
SD, LOT_SD, NECK_SD = 0.06, 0.03, 0.05  # mm: of a reading, between lots, within one


@dataclass(frozen=True)
class Planted:
    """What differs, in mm; nothing by default."""

    level: dict[tuple[int, str], float] = field(default_factory=dict)  # (shop, model) -> its action is off
    gauge: dict[int, float] = field(default_factory=dict)  # shop -> its neck gauge reads so much more
    lot: dict[str, float] = field(default_factory=dict)  # lot -> its necks bow so much more
    usual: float = 0.0  # standard deviation of the level between shops
    lots: int = 10  # of each supplier
    wherever: float = 0.5  # share of lots that a shop gets a part of
    always: tuple[str, ...] = ()  # lots that go to the first four shops for sure
    blanks: dict[int, float] = field(default_factory=dict)  # shop -> its action moved so much with new saddle blanks
    halves: float = 0.0  # standard deviation between parts of one lot
    back: dict[int, float] = field(default_factory=dict)  # shop -> so many times as much comes back of its fretting
    together: tuple[int, ...] = ()  # shops whose action went up within two weeks


def several(rng: np.random.Generator, shops: int, planted: Planted) -> dict[str, pl.DataFrame]:
    """levels, capability, lots and meanings of many shops."""
    names = [f"shop-{k + 1:02d}" for k in range(shops)]
    return {
        "levels": _levels(rng, names, planted),
        "capability": _capability(rng, names),
        "lots": _lots(rng, names, planted),
        "dated": _dated(names, planted, int(rng.integers(2**32))),
        "mix": _mix(names, planted, int(rng.integers(2**32))),
        "matters": _matters(names, planted, int(rng.integers(2**32))),
        "meanings": pl.DataFrame(
            [
                (name, "characteristic", key, said, "length", "mm")
                for name in names
                for key, said in (("action", "String height"), ("neck_bow", "Neck bow"))
            ],
            schema=["shop", "kind", "key", "name", "quantity", "unit"],
            orient="row",
        ),
    }


def _levels(rng: np.random.Generator, names: list[str], planted: Planted) -> pl.DataFrame:
    rows = []
    for k, name in enumerate(names):
        for model in MODELS:
            n = int(rng.integers(40, 300))
            true = 2.3 + planted.level.get((k, model), 0.0) + rng.normal(0, 1) * planted.usual
            seen = rng.normal(true, SD, n)
            rows.append((name, "action", "bass", model, "final", n, seen.mean(), seen.std(ddof=1)))
    told = pl.DataFrame(
        rows, schema=["shop", "characteristic", "position", "model", "stage", "n", "mean", "sd"], orient="row"
    )
    return told.with_columns(
        mean_error=pl.col("sd") / pl.col("n").sqrt(),
        freedom=pl.col("n") - 1.0,
        log_sd_error=1 / (2.0 * (pl.col("n") - 1)).sqrt(),
        step=pl.lit(0.01),
        first_at=pl.lit(AT),
        last_at=pl.lit(AT),
    )


def _capability(rng: np.random.Generator, names: list[str]) -> pl.DataFrame:
    rows = []
    for name in names:
        for model in MODELS:
            n = int(rng.integers(60, 300))
            seen = rng.normal(2.3, SD, n)
            ppk = min(2.5 - seen.mean(), seen.mean() - 2.1) / (3 * seen.std(ddof=1))
            reach = 1.959964 * np.sqrt(1 / (9 * n) + ppk**2 / (2 * (n - 1)))
            rows.append((name, "action", "bass", model, "final", "", AT, n, float(n), ppk, ppk - reach, ppk + reach))
    columns = ["shop", "characteristic", "position", "model", "stage", "tech", "last_at", "n", "n_effective"]
    return pl.DataFrame(rows, schema=[*columns, "ppk", "ppk_low", "ppk_high"], orient="row")


def _dated(names: list[str], planted: Planted, seed: int) -> pl.DataFrame:
    """New saddle blanks in every shop, on a day of its own."""
    rng = np.random.default_rng(seed)
    rows = []
    for k, name in enumerate(names):
        for model in MODELS[:2]:
            n, day = 40, date(2026, 4, 1) + timedelta(days=3 * k)
            error = SD * np.sqrt(2 / n)
            size = rng.normal(planted.blanks.get(k, 0.0) * (model == "LARK-25"), error)
            row = (name, "action", "bass", model, "final", "change", "New saddle blanks", day, n, n, size, error)
            rows.append((*row, 2.0 * n - 2, day + timedelta(days=1), day - timedelta(days=2), day + timedelta(days=4)))
    columns = ["shop", "characteristic", "position", "model", "stage", "kind", "what", "said_on", "n_before", "n_after"]
    more = ["size", "size_error", "freedom", "read_on", "read_from", "read_to"]
    return pl.DataFrame(rows, schema=[*columns, *more], orient="row")


def _lots(rng: np.random.Generator, names: list[str], planted: Planted) -> pl.DataFrame:
    rows = []
    for supplier in SUPPLIERS:
        for number in range(planted.lots):
            lot = f"{supplier[0]}-{number + 1:02d}"
            true = 0.1 + rng.normal(0, LOT_SD) + planted.lot.get(lot, 0.0)
            for k, name in enumerate(names):
                if rng.random() > planted.wherever and not (lot in planted.always and k < 4):
                    continue
                n = int(rng.integers(12, 40))
                here = true + planted.gauge.get(k, 0.0) + rng.normal(0, 1) * planted.halves
                seen = rng.normal(here, NECK_SD, n)
                rows.append((name, supplier, lot, "neck_bow", n, seen.mean(), seen.std(ddof=1)))
    columns = ["shop", "supplier", "lot", "characteristic", "n", "mean", "sd"]
    return pl.DataFrame(rows, schema=columns, orient="row")


def _mix(names: list[str], planted: Planted, seed: int) -> pl.DataFrame:
    """What came back of fretting, by model; each shop has a mix of its own."""
    rng = np.random.default_rng(seed)
    rows = []
    for k, name in enumerate(names):
        for model, share, p in zip(MODELS, rng.dirichlet([2, 2, 2]), (0.02, 0.05, 0.12), strict=True):
            n = int(2000 * share)
            rows.append((name, "fretting", model, n, rng.binomial(n, p * planted.back.get(k, 1.0)), 26, 1.0))
    columns = ["shop", "stage", "model", "instruments", "came_back", "weeks", "widening"]
    return pl.DataFrame(rows, schema=columns, orient="row")


def _matters(names: list[str], planted: Planted, seed: int) -> pl.DataFrame:
    """Two matters a shop on any day, and the one that came to several."""
    rng = np.random.default_rng(seed)
    rows = []
    for k, name in enumerate(names):
        days = [(float(day), "action" if j else "neck_bow", -0.05) for j, day in enumerate(rng.uniform(0, 180, 3))]
        days += [(100.0 + k, "action", 0.08)] if k in planted.together else []
        for day, key, size in days:
            at = AT - timedelta(days=182 - day)
            rows.append(
                (name, f"{name} {day}", key, "LARK-25", "final", "open", "", "", size, at, at, at + timedelta(2))
            )
    columns = ["shop", "matter", "characteristic", "models", "stages", "state", "cause", "cause_value"]
    return pl.DataFrame(rows, schema=[*columns, "size", "began_low", "began_at", "began_high"], orient="row")
