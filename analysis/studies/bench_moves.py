"""The bench as moves between states: from each visit of round 1 to the next, in and out of loops.

A state is a stage and a context: first pass, or in a loop caused here and caught there.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Floats, Ints
from ingest.shop import Shop

FIRST = -1  # the context of a visit outside every loop


@dataclass(frozen=True)
class Bench:
    """Round-1 visits as moves between states, and what each cost. Pairs are (caused, caught) of send-backs."""

    instruments: int
    instrument: Ints  # (n,)
    state: Ints  # (n,)
    cell: Ints  # (n,) which kind of move
    cost: Floats  # (n, 2) minutes and days where they are a loop's
    redone: Ints  # (n,) pair whose causing stage, or a repair, this visit in its loop redoes; -1 none
    stage: Ints  # (n,)
    whole: Floats  # (n, 2) minutes and days of any visit
    states: Ints  # (k, 2) stage, context
    cells: Ints  # (t, 3) state, pair sent back or -1, next state or k
    pairs: list[tuple[str, str]]
    instead: Ints  # (p,) stage after the causing one where it could be caught, -1 none
    caught: Ints  # (p,) stage
    rank: Ints  # (p,) place of the causing stage: supplier first, then the bench, handling and unknown last


def bench_of(visits: pl.DataFrame, loops: pl.DataFrame, shop: Shop) -> Bench:
    """visits : of round 1, in time order, instrument after instrument; loops : all of the story's."""
    found = loops.select("caused_at", "caught_at").unique().join(
        visits.filter(pl.col("outcome") == "send back").select("caused_at", pl.col("stage").alias("caught_at")).unique(),
        on=["caused_at", "caught_at"], how="semi").sort("caused_at", "caught_at")  # fmt: skip
    pairs = [(caused, caught) for caused, caught in found.iter_rows()]
    number = {pair: i for i, pair in enumerate(pairs)}
    of_loop = np.array([number.get(pair, FIRST) for pair in loops.select("caused_at", "caught_at").iter_rows()], dtype=np.int64)
    instrument = visits["serial"].rle_id().to_numpy().astype(np.int64)
    stage = visits["bench_order"].to_numpy()
    loop = visits["loop"].fill_null(-1).to_numpy()
    context = np.append(of_loop, FIRST)[loop]
    stages = len(shop.stages)
    states, state = np.unique((context + 1) * stages + stage, return_inverse=True)
    k = len(states)
    last = np.diff(instrument, append=-1) != 0
    following = np.where(last, k, np.append(state[1:], k))
    opened = loops.select("visit", pl.Series("pair", of_loop))
    sent = visits.select("visit").join(opened, on="visit", how="left", maintain_order="left")["pair"].fill_null(-1).to_numpy()
    kinds, cell = np.unique((state * (len(pairs) + 1) + sent + 1) * (k + 1) + following, return_inverse=True)
    cells = np.column_stack([kinds // (k + 1) // (len(pairs) + 1), kinds // (k + 1) % (len(pairs) + 1) - 1, kinds % (k + 1)])
    time = visits["taken_at"].cast(pl.Int64).to_numpy() / 86_400e6
    days = np.where(np.diff(instrument, prepend=-1) != 0, 0.0, np.maximum(np.diff(time, prepend=time[:1]), 0.0)) if len(time) else time
    repair = (visits["role"] == "repair").to_numpy()
    counts = (loop >= 0) & ((visits["pass_no"].to_numpy() > 1) | repair)
    whole = np.column_stack([visits["minutes"].to_numpy(), days])
    order = shop.bench_order
    causing = np.array([order.get(caused, -2) for caused, _ in pairs] + [-2], dtype=np.int64)
    redone = np.where(counts & (repair | (stage == causing[context])), context, -1)
    return Bench(
        int(instrument[-1]) + 1 if len(instrument) else 0, instrument, state, cell, np.where(counts[:, None], whole, 0.0), redone, stage, whole,
        np.column_stack([states % stages, states // stages - 1]), cells, pairs, _instead(pairs, visits, shop),
        np.array([order[caught] for _, caught in pairs], dtype=np.int64),
        np.array([-1 if caused == "supplier" else order.get(caused, stages) for caused, _ in pairs], dtype=np.int64),
    )  # fmt: skip


def _instead(pairs: list[tuple[str, str]], visits: pl.DataFrame, shop: Shop) -> Ints:
    """For each pair the stage after the causing one on the route of the family most sent back so, where it lies before the catching one."""
    back = visits.filter(pl.col("outcome") == "send back").group_by("caused_at", "stage", "family").len()
    back = back.sort("len", "family", descending=[True, False])
    family: dict[tuple[str, str], str] = {}
    for caused, caught, name, _ in back.iter_rows():
        family.setdefault((caused, caught), name)
    instead = []
    for caused, caught in pairs:
        after = shop.stages[shop.bench_order[caused] + 1 : shop.bench_order[caught]] if caused in shop.bench_order else ()
        looks = [stage for stage in after if stage.role not in ("rest", "repair") and stage.holds_for(family[caused, caught])]
        along = "repair" not in (shop.roles.get(caused), shop.roles[caught])
        instead.append(shop.bench_order[looks[0].key] if looks and along else -1)
    return np.array(instead, dtype=np.int64)
