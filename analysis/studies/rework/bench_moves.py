"""The bench as moves between states: from each visit of round 1 to the next, in and out of loops.

A state is a stage and a context: first pass, or in a loop caused here and caught there, opened within such and such
other loops. (Without the outer ones the chain would forget, after a loop within a loop, that the outer one is still to
be paid for.)
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import sparse

from analysis.methods.segments import Floats, Ints
from analysis.studies.story.passes import last_before
from ingest.shopfiles.shop import Shop
from ingest.terms import tables

FIRST = -1  # the context of a visit outside every loop


@dataclass(frozen=True)
class Tally:
    """What weighted instruments did, summed."""

    instruments: float
    moves: Floats  # (t,) how often each kind of move was made
    left: Floats  # (k,) how often each state was left
    spent: Floats  # (k, 2) minutes and days in each state that are a loop's
    redone: Floats  # (p, 2) of them those of the causing stage, or of a repair, in loops of each pair
    heard: Floats  # (p, 2) visits that tell of the pair's fault, and of them those sent back for it; see _fresh
    passed: Floats  # (f,) visits at `instead` that would have told of it, by pair and state
    seen: Floats  # (s,) visits to each stage
    looked: Floats  # (s, 2) minutes and days of those visits

    @property
    def visits(self) -> Floats:
        """Expected visits of one instrument to each state (k,)."""
        return self.left / self.instruments

    def chance(self, pair: int) -> float:
        """How often the causing stage leaves this pair's fault, as far as the visits say that could tell."""
        heard, back = self.heard[pair]
        return float(back / heard) if heard > 0 else 0.0

    @property
    def per_visit(self) -> Floats:
        """Minutes and days of a visit in each state (k, 2)."""
        return self.spent / np.maximum(self.left, 1)[:, None]


@dataclass(frozen=True)
class Bench:
    """Round-1 visits as moves between states. Pairs are (caused, caught) of send-backs; k states, t kinds of move, p
    pairs, s stages.
    """

    instruments: int
    states: Ints  # (k, 2) stage, context: FIRST, or the number of a nest of loops
    moves: Ints  # (t, 3) state, pair sent back or -1, next state or k at the end; sorted by state
    pairs: list[tuple[str, str]]
    instead: Ints  # (p,) stage after the causing one where it could be caught, -1 none
    caught: Ints  # (p,) stage
    rank: Ints  # (p,) place of the causing stage: supplier first, then the bench, handling and unknown last
    fresh: Ints  # (f, 2) pair, state at its `instead`: where early finding could be
    each: sparse.csr_matrix  # (t + 2k + 4p + f + 3s, instruments) what each instrument adds to a tally

    def tally(self, weights: Floats) -> list[Tally]:
        """One tally for each row of weights (d, instruments)."""
        k, p = len(self.states), len(self.pairs)
        stages = (self.each.shape[0] - len(self.moves) - 2 * k - 4 * p - len(self.fresh)) // 3
        sizes = [len(self.moves), 2 * k, 2 * p, 2 * p, len(self.fresh), stages, 2 * stages]
        starts = np.flatnonzero(np.diff(self.moves[:, 0], prepend=-1))
        tallies = []
        for sums, weight in zip((self.each @ weights.T).T, weights, strict=True):
            moves, spent, redone, heard, passed, seen, looked = np.split(sums, np.cumsum(sizes)[:-1])
            spent, redone, heard, looked = (part.reshape(-1, 2) for part in (spent, redone, heard, looked))
            tallies.append(
                Tally(
                    float(weight.sum()),
                    moves,
                    np.add.reduceat(moves, starts),
                    spent,
                    redone,
                    heard,
                    passed,
                    seen,
                    looked,
                )
            )
        return tallies


def bench_of(visits: pl.DataFrame, loops: pl.DataFrame, shop: Shop) -> Bench:
    """visits : of round 1, in time order, instrument after instrument; loops : all of the story's."""
    found = (
        loops.select("caused_at", "caught_at")
        .unique()
        .join(
            visits.filter(pl.col("outcome") == "send back")
            .select("caused_at", pl.col("stage").alias("caught_at"))
            .unique()
            .pipe(tables.plain),
            on=["caused_at", "caught_at"],
            how="semi",
        )
        .sort("caused_at", "caught_at")
    )
    pairs = [(caused, caught) for caused, caught in found.iter_rows()]
    number = {pair: i for i, pair in enumerate(pairs)}
    of_loop = np.array(
        [number.get(pair, FIRST) for pair in loops.select("caused_at", "caught_at").iter_rows()], dtype=np.int64
    )
    instrument = visits["serial"].rle_id().to_numpy().astype(np.int64)
    stage = visits["bench_order"].to_numpy()
    loop = visits["loop"].fill_null(-1).to_numpy()
    context = np.append(of_loop, FIRST)[loop]
    stages = len(shop.stages)
    nest = np.append(_nests(of_loop, loops["parent"].fill_null(-1).to_list()), FIRST)[loop]
    states, state = np.unique((nest + 1) * stages + stage, return_inverse=True)
    k = len(states)
    last = np.diff(instrument, append=-1) != 0
    following = np.where(last, k, np.append(state[1:], k))
    opened = loops.select("visit", pl.Series("pair", of_loop))
    sent = (
        visits.select("visit")
        .join(opened, on="visit", how="left", maintain_order="left")["pair"]
        .fill_null(-1)
        .to_numpy()
    )
    kinds, move = np.unique((state * (len(pairs) + 1) + sent + 1) * (k + 1) + following, return_inverse=True)
    moves = np.column_stack(
        [kinds // (k + 1) // (len(pairs) + 1), kinds // (k + 1) % (len(pairs) + 1) - 1, kinds % (k + 1)]
    )
    time = visits["taken_at"].cast(pl.Int64).to_numpy() / 86_400e6
    days = (
        np.where(np.diff(instrument, prepend=-1) != 0, 0.0, np.maximum(np.diff(time, prepend=time[:1]), 0.0))
        if len(time)
        else time
    )
    repair = (visits["role"] == "repair").to_numpy()
    counts = (loop >= 0) & ((visits["pass_no"].to_numpy() > 1) | repair)
    whole = np.column_stack([visits["minutes"].to_numpy(), days])
    order = shop.bench_order
    causing = np.array([order.get(caused, -2) for caused, _ in pairs] + [-2], dtype=np.int64)
    redone = np.where(counts & (repair | (stage == causing[context])), context, -1)
    rank = np.array([-1 if caused == "supplier" else order.get(caused, stages) for caused, _ in pairs], dtype=np.int64)
    catching = np.array([order[caught] for _, caught in pairs], dtype=np.int64)
    instead = _instead(pairs, visits, shop)
    heard, of_heard = _fresh(visits, sent, causing, catching, rank, itself=True)
    passed, of_passed = _fresh(visits, sent, causing, instead, rank, itself=False)
    fresh, of_fresh = np.unique(of_passed * k + state[passed], return_inverse=True)
    back = (sent[heard] == of_heard).astype(np.float64)
    return Bench(
        int(instrument[-1]) + 1 if len(instrument) else 0,
        np.column_stack([states % stages, states // stages - 1]),
        moves,
        pairs,
        instead,
        catching,
        rank,
        np.column_stack([fresh // k, fresh % k]),
        _stacked(
            [
                (instrument, move, len(moves), None),
                (instrument, state, k, np.where(counts[:, None], whole, 0.0)),
                (instrument, redone, len(pairs), whole),
                (instrument[heard], of_heard, len(pairs), np.column_stack([np.ones(len(back)), back])),
                (instrument[passed], of_fresh, len(fresh), None),
                (instrument, stage, stages, None),
                (instrument, stage, stages, whole),
            ],
            int(instrument.max(initial=-1)) + 1,
        ),
    )


def _nests(pairs: Ints, parents: list[int]) -> Ints:
    """For each loop the number of its nest: its pair and those of the loops it was opened in. A loop stands after the
    one it was opened in.
    """
    numbers: dict[tuple[int, int], int] = {}
    nests: list[int] = []
    for pair, parent in zip(pairs.tolist(), parents, strict=True):
        nests.append(numbers.setdefault((nests[parent] if parent >= 0 else FIRST, pair), len(numbers)))
    return np.array(nests, dtype=np.int64)


def _fresh(
    visits: pl.DataFrame, sent: Ints, causing: Ints, looking: Ints, rank: Ints, *, itself: bool
) -> tuple[Ints, Ints]:
    """Visits at each pair's looking stage that can tell whether the causing stage left its fault: row of the visit, and
    pair.

    A visit that was sent back for an earlier cause tells nothing (that hides a later one), nor, without `itself`, does
    one sent back for the same cause; the others tell of what the causing stage did since the last that told.
    """
    numbered = visits.with_columns(pl.col("serial").rle_id().cast(pl.Int64).alias("who"))
    who = numbered["who"].to_numpy()
    of_sent = np.append(rank, np.iinfo(np.int64).max)[sent]
    order = visits["bench_order"].to_numpy()
    none = np.zeros(0, dtype=np.int64)
    rows, before, pairs = [none], [none], [none]
    for pair in np.flatnonzero((causing[:-1] >= 0) & (looking >= 0)):
        at = np.flatnonzero((order == looking[pair]) & ((of_sent >= rank[pair]) if itself else (of_sent > rank[pair])))
        rows.append(at)
        before.append(np.where(np.diff(who[at], prepend=-1) == 0, np.append(-1, at[:-1])[: len(at)], -1))
        pairs.append(np.full(len(at), pair))
    row, told, of = np.concatenate(rows), np.concatenate(before), np.concatenate(pairs)
    tells = last_before(numbered, row, causing[of], itself=False) > told
    return row[tells], of[tells]


def _stacked(parts: list[tuple[Ints, Ints, int, Floats | None]], instruments: int) -> sparse.csr_matrix:
    """Rows of what is summed by instrument: for each part (whose, which of so many, -1 none; two numbers each, or None
    to count).
    """
    blocks = []
    for whose, which, many, values in parts:
        known = which >= 0
        if values is None:
            blocks.append(
                sparse.csr_matrix((np.ones(int(known.sum())), (which[known], whose[known])), shape=(many, instruments))
            )
        else:
            rows = (2 * which[known])[:, None] + np.arange(2)
            blocks.append(
                sparse.csr_matrix(
                    (values[known].ravel(), (rows.ravel(), np.repeat(whose[known], 2))), shape=(2 * many, instruments)
                )
            )
    return sparse.vstack(blocks, format="csr")


def _instead(pairs: list[tuple[str, str]], visits: pl.DataFrame, shop: Shop) -> Ints:
    """For each pair the first stage between the causing and the catching one that can look and that stands on the bench
    of every family sent back so: in shop.toml, and in its visits.
    """
    back = visits.filter(pl.col("outcome") == "send back").select("caused_at", "stage", "family").unique()
    families: dict[tuple[str, str], set[str]] = {}
    for caused, caught, family in back.iter_rows():
        families.setdefault((caused, caught), set()).add(family)
    been = set(visits.select("family", "stage").unique().iter_rows())
    instead = []
    for caused, caught in pairs:
        after = (
            shop.stages[shop.bench_order[caused] + 1 : shop.bench_order[caught]] if caused in shop.bench_order else ()
        )
        looks = [
            stage
            for stage in after
            if stage.role not in ("rest", "repair")
            and all(stage.holds_for(family) and (family, stage.key) in been for family in families[caused, caught])
        ]
        along = "repair" not in (shop.roles.get(caused), shop.roles[caught])
        instead.append(shop.bench_order[looks[0].key] if looks and along else -1)
    return np.array(instead, dtype=np.int64)
