"""What if: what it would save if a send-back came half as often, or were caught one stage after it is caused.

The bench is an absorbing Markov chain whose states are stage x (first pass | in a loop caused, caught), counted from the logs, so that the
loop minutes of the chain are exactly those of the logs. A change moves some of its chances; the difference is the saving.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import sparse

from analysis.methods.changed_chain import Solved, solved
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints
from analysis.studies.bench_moves import FIRST, Bench, Tally, bench_of
from analysis.studies.scope import ALL, Scope, judged
from analysis.studies.story import story
from ingest.shop import Shop
from ingest.snapshot import Snapshot

BEST = 5
CONSIDERED = 20  # changes that resampling chooses among: the most that promise most
DRAWS = 200
SEED = 20260302


@dataclass(frozen=True)
class WhatIf:
    rows: pl.DataFrame
    """The five changes worth most: change (in words), kind (halved | caught earlier), caused_at, caught_at, instead_at ('' if halved), count
    (send-backs behind it), minutes, minutes_low, minutes_high, days, days_low, days_high (elapsed), cost, cost_low, cost_high. Savings over
    all the instruments, with 95 % bounds that allow for having been chosen as the best."""
    instruments: int
    weeks: int  # weeks the instruments were begun in, for a saving a week
    loop_minutes: float  # of the chain; those of the logs
    loop_days: float  # elapsed in visits that repeat


def what_if(snapshot: Snapshot, scope: Scope = ALL, *, seed: int = SEED, draws: int = DRAWS) -> WhatIf:
    """The five changes worth most.

    scope : with weeks, instruments judged in them; else all. draws : bootstrap samples of instruments. Each chooses its own five best, and
    what these promise beyond what all the instruments say of the same changes is the optimism of choosing. The bounds hold both the middle
    95 % of a change's own resampled savings and the saving less the middle 95 % of the optimism at its rank. Measured by making the changes:
    95 % of real savings lay within the bounds told by shops of 1,000 instruments, 92 % within those told by 4,000 (tests/trials/savings.md),
    since what faults hide each other can only be guessed from who was sent back.

    Halved: of the send-backs of one cause caught at one stage half go on as the other visits there did that passed or were sent back for a
    later cause: an instrument with two faults is taken to go back for the earlier one, so that without it the later would have shown.
    Caught earlier: all do; as many are found at the next stage of the route that can look (no rest), and cost the redoing (causing stage
    and repair) and that stage once more.
    """
    labour = snapshot.shop.shop.labour_per_hour / 60
    told = snapshot.once(story)
    instruments = judged(snapshot, scope) if scope.first or scope.last else scope.models_of(told.instruments)
    rows = told.visits.filter(pl.col("round") == 1).join(instruments.select("serial"), on="serial", how="semi", maintain_order="left")
    weeks = rows.group_by("serial").agg(pl.col("week").first())["week"].n_unique()
    bench = bench_of(rows, told.loops, snapshot.shop)
    if not bench.pairs:
        return WhatIf(pl.DataFrame(schema=_SCHEMA), bench.instruments, weeks, 0.0, 0.0)
    firsts = {int(stage) for stage, context in bench.states if context == FIRST}
    changes = [(pair, early) for pair in range(len(bench.pairs)) for early in (False, True) if not early or int(bench.instead[pair]) in firsts]
    [today] = bench.tally(np.ones((1, bench.instruments)))
    saved = _Changes(bench, changes).saved(today)
    order = np.argsort(-saved[:, 0], kind="stable")[:CONSIDERED]
    changes, saved = [changes[i] for i in order], saved[order]
    best = min(BEST, len(changes))
    rng = np.random.default_rng(seed)
    weights = rng.multinomial(bench.instruments, np.full(bench.instruments, 1 / bench.instruments), size=draws).astype(np.float64)
    ready = _Changes(bench, changes)
    own, optimism = np.empty((draws, best, 2)), np.empty((draws, best, 2))
    for draw, tally in enumerate(bench.tally(weights)):
        again = ready.saved(tally)
        chosen = np.argsort(-again[:, 0], kind="stable")[:best]
        own[draw], optimism[draw] = again[:best], again[chosen] - saved[chosen]
    ends = np.array([0.025, 0.975])
    bounds = np.stack([np.quantile(own, ends, axis=0), saved[:best] - np.quantile(optimism, 1 - ends, axis=0)])
    low, high = bounds[:, 0].min(axis=0), bounds[:, 1].max(axis=0)
    named = [_row(bench, snapshot.shop, change, int(today.moves[bench.moves[:, 1] == change[0]].sum())) for change in changes[:best]]
    numbers = {f"{name}{side}": values[:, i] * factor for i, name, factor in ((0, "minutes", 1.0), (1, "days", 1.0), (0, "cost", labour))
               for side, values in (("", saved[:best]), ("_low", low), ("_high", high))}  # fmt: skip
    total = today.visits @ today.per_visit * bench.instruments
    return WhatIf(pl.DataFrame(named).with_columns(**{name: pl.Series(value) for name, value in numbers.items()}).select(*_SCHEMA),
                  bench.instruments, weeks, float(total[0]), float(total[1]))  # fmt: skip


def table(snapshot: Snapshot, *, seed: int = SEED) -> pl.DataFrame:
    """`savings` of the figures: change, minutes, minutes_low, minutes_high, cost of the five changes worth most over all the logs."""
    return what_if(snapshot, seed=seed).rows.select("change", "minutes", "minutes_low", "minutes_high", "cost")


_SCHEMA = dict.fromkeys(("change", "kind", "caused_at", "caught_at", "instead_at"), pl.String) | {"count": pl.Int64} | dict.fromkeys(
    (f"{name}{side}" for name in ("minutes", "days", "cost") for side in ("", "_low", "_high")), pl.Float64)  # fmt: skip


def _row(bench: Bench, shop: Shop, change: tuple[int, bool], count: int) -> dict[str, str | int]:
    pair, early = change
    caused, caught = bench.pairs[pair]
    instead = shop.stages[int(bench.instead[pair])].key if early else ""
    words = f"{caused} caught at {caught}: " + (f"caught at {instead} instead" if early else "half as often")
    return {"change": words, "kind": "caught earlier" if early else "halved", "caused_at": caused, "caught_at": caught, "instead_at": instead,
            "count": count}  # fmt: skip


class _Changes:
    """Changes of one bench, made ready so that each tally costs little."""

    def __init__(self, bench: Bench, changes: list[tuple[int, bool]]) -> None:
        self.bench, self.changes = bench, changes
        self.firsts = {int(stage): i for i, (stage, context) in enumerate(bench.states) if context == FIRST}
        self.ready = [self._ready(pair) for pair, _ in changes]
        touched = np.isin(bench.states[:, 0], [bench.caught[pair] for pair, _ in changes])
        touched[[self.firsts[int(bench.instead[pair])] for pair, early in changes if early]] = True
        self.touched = np.flatnonzero(touched)

    def _ready(self, pair: int) -> tuple[Ints, list[tuple[Ints, Ints]]]:
        """The states whose moves change, and for the moves sent back as this pair and those that went on: which, and their place in (rows, k + 1)."""
        bench, k = self.bench, len(self.bench.states)
        rows = np.flatnonzero(bench.states[:, 0] == bench.caught[pair])
        row_of = np.full(k, -1, dtype=np.int64)
        row_of[rows] = np.arange(len(rows))
        later = np.append(bench.rank, np.iinfo(np.int64).max)[bench.moves[:, 1]] > bench.rank[pair]
        picks = [np.flatnonzero(wanted & (row_of[bench.moves[:, 0]] >= 0)) for wanted in (bench.moves[:, 1] == pair, later)]
        return rows, [(pick, row_of[bench.moves[pick, 0]] * (k + 1) + bench.moves[pick, 2]) for pick in picks]

    def saved(self, tally: Tally) -> Floats:
        """Minutes and days that each change would save over all the instruments of a tally, shape (c, 2)."""
        bench, k = self.bench, len(self.bench.states)
        share = tally.moves / np.maximum(tally.left, 1)[bench.moves[:, 0]]
        inside = bench.moves[:, 2] < k
        among = sparse.csr_matrix((share[inside], (bench.moves[inside, 0], bench.moves[inside, 2])), shape=(k, k))
        chain = solved(among, tally.per_visit, tally.visits, self.touched)
        return np.array([-tally.instruments * self._change(i, tally, chain, share) for i in range(len(self.changes))])

    def _change(self, change: int, tally: Tally, chain: Solved, share: Floats) -> Floats:
        """Change in minutes and days of one instrument."""
        k = len(self.bench.states)
        (pair, early), (rows, picks) = self.changes[change], self.ready[change]
        mine, on = (np.bincount(at, weights=share[pick], minlength=len(rows) * (k + 1)).reshape(len(rows), k + 1) for pick, at in picks)
        went_on = on.sum(axis=1, keepdims=True)
        usual = self.firsts.get(int(self.bench.caught[pair]), -1)
        spare = on[rows == usual].sum(axis=0) / max(went_on[rows == usual].sum(), 1e-300)  # where nobody went on: as in the first pass
        instead = np.where(went_on > 0, on / np.where(went_on > 0, went_on, 1.0), spare)
        moves = (1.0 if early else 0.5) * (mine.sum(axis=1, keepdims=True) * instead - mine)
        costs = np.zeros((len(rows), 2))
        if early:
            found_at, stage = self.firsts[int(self.bench.instead[pair])], int(self.bench.instead[pair])
            sent = float(tally.left[rows] @ mine.sum(axis=1))
            if tally.left[found_at] == 0 or sent == 0:
                return np.zeros(2)  # nobody of this sample came there
            extra = tally.redone[pair] / sent + tally.looked[stage] / tally.seen[stage]
            found = tally.found_early(pair, float(tally.left[(self.bench.states == (stage, pair)).all(axis=1)].sum()))
            rows = np.append(rows, found_at)
            moves = np.vstack([moves, np.zeros(k + 1)])
            costs = np.vstack([costs, found / tally.left[found_at] * extra])
        try:
            return chain.change(rows, moves[:, :k], costs)
        except UnusableData:  # a handful of instruments, all of which came back: what else they might have done was never seen
            return np.zeros(2)
