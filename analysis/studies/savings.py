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
from analysis.studies.bench_moves import FIRST, Bench, bench_of
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

    scope : with weeks, instruments judged in them; else all. draws : bootstrap samples of instruments; each chooses its own five best, and
    what these promise beyond what all the instruments say of the same changes is the optimism that the bounds allow for.

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
    changes = [(pair, early) for pair in range(len(bench.pairs)) for early in (False, True) if not early or bench.instead[pair] >= 0]
    fitted, saved = _saved(bench, np.ones(bench.instruments), changes)
    order = np.argsort(-saved[:, 0], kind="stable")[:CONSIDERED]
    changes, saved = [changes[i] for i in order], saved[order]
    best = min(BEST, len(changes))
    rng = np.random.default_rng(seed)
    optimism = np.empty((draws, best, 2))
    for draw in range(draws):
        weight = rng.multinomial(bench.instruments, np.full(bench.instruments, 1 / bench.instruments)).astype(np.float64)
        again = _saved(bench, weight, changes)[1]
        chosen = np.argsort(-again[:, 0], kind="stable")[:best]
        optimism[draw] = again[chosen] - saved[chosen]
    low, high = saved[:best] - np.quantile(optimism, 0.975, axis=0), saved[:best] - np.quantile(optimism, 0.025, axis=0)
    sent = np.bincount(bench.cells[bench.cell, 1] + 1, minlength=len(bench.pairs) + 1)[1:]
    table = [_row(bench, snapshot.shop, change, int(sent[change[0]])) for change in changes[:best]]
    numbers = {f"{name}{side}": values[:, i] * factor for i, name, factor in ((0, "minutes", 1.0), (1, "days", 1.0), (0, "cost", labour))
               for side, values in (("", saved[:best]), ("_low", low), ("_high", high))}  # fmt: skip
    total = fitted.visits @ fitted.per_visit * bench.instruments
    return WhatIf(pl.DataFrame(table).with_columns(**{name: pl.Series(value) for name, value in numbers.items()}).select(*_SCHEMA),
                  bench.instruments, weeks, float(total[0]), float(total[1]))  # fmt: skip


def savings(snapshot: Snapshot, *, seed: int = SEED) -> pl.DataFrame:
    """change, minutes, minutes_low, minutes_high, cost of the five changes worth most over all the logs."""
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


@dataclass(frozen=True)
class _Fitted:
    """The chain fitted to weighted instruments."""

    moves: Floats  # (t,) how often each kind of move was made
    left: Floats  # (k,) how often each state was left
    visits: Floats  # (k,) expected visits of one instrument
    per_visit: Floats  # (k, 2) minutes and days


def _fitted(bench: Bench, weight: Floats) -> _Fitted:
    k = len(bench.states)
    each = weight[bench.instrument]
    moves: Floats = np.bincount(bench.cell, weights=each, minlength=len(bench.cells)).astype(np.float64)
    left: Floats = np.bincount(bench.state, weights=each, minlength=k).astype(np.float64)
    spent = np.column_stack([np.bincount(bench.state, weights=each * bench.cost[:, i], minlength=k) for i in (0, 1)])
    return _Fitted(moves, left, left / weight.sum(), spent / np.maximum(left, 1)[:, None])


def _saved(bench: Bench, weight: Floats, changes: list[tuple[int, bool]]) -> tuple[_Fitted, Floats]:
    """Minutes and days that each change would save over all the weighted instruments, shape (c, 2)."""
    fitted = _fitted(bench, weight)
    k = len(bench.states)
    share = fitted.moves / np.maximum(fitted.left, 1)[bench.cells[:, 0]]
    inside = bench.cells[:, 2] < k
    among = sparse.csr_matrix((share[inside], (bench.cells[inside, 0], bench.cells[inside, 2])), shape=(k, k))
    firsts = {int(stage): i for i, (stage, context) in enumerate(bench.states) if context == FIRST}
    caught = {int(bench.caught[pair]) for pair, _ in changes}
    touched = np.isin(bench.states[:, 0], list(caught))
    touched[[firsts[int(bench.instead[pair])] for pair, early in changes if early and int(bench.instead[pair]) in firsts]] = True
    chain = solved(among, fitted.per_visit, fitted.visits, np.flatnonzero(touched))
    extra = _early_cost(bench, weight)
    saved = np.zeros((len(changes), 2))
    for i, (pair, early) in enumerate(changes):
        saved[i] = -weight.sum() * _change(bench, fitted, chain, share, pair, firsts, extra if early else None)
    return fitted, saved


def _change(bench: Bench, fitted: _Fitted, chain: Solved, share: Floats, pair: int, firsts: dict[int, int], extra: Floats | None) -> Floats:
    """Change in minutes and days of one instrument."""
    k = len(bench.states)
    rows = np.flatnonzero((bench.states[:, 0] == bench.caught[pair]) & (fitted.left > 0))
    row_of = np.full(k, -1, dtype=np.int64)
    row_of[rows] = np.arange(len(rows))
    mine = _dense(bench, share, row_of, bench.cells[:, 1] == pair, len(rows))
    on = _dense(bench, share, row_of, np.append(bench.rank, np.iinfo(np.int64).max)[bench.cells[:, 1]] > bench.rank[pair], len(rows))
    went_on = on.sum(axis=1)
    usual = firsts.get(int(bench.caught[pair]), -1)
    spare = on[row_of[usual]] / went_on[row_of[usual]] if usual >= 0 and row_of[usual] >= 0 and went_on[row_of[usual]] > 0 else np.zeros(k + 1)
    instead = np.where(went_on[:, None] > 0, on / np.where(went_on > 0, went_on, 1.0)[:, None], spare)
    part = 0.5 if extra is None else 1.0
    moves = part * (mine.sum(axis=1, keepdims=True) * instead - mine)
    costs = np.zeros((len(rows), 2))
    if extra is not None:
        found_at = firsts.get(int(bench.instead[pair]), -1)
        if found_at < 0 or fitted.left[found_at] == 0:
            return np.zeros(2)  # nobody of this sample came there
        rows = np.append(rows, found_at)
        moves = np.vstack([moves, np.zeros(k + 1)])
        sent = fitted.moves[bench.cells[:, 1] == pair].sum()
        costs = np.vstack([costs, sent / fitted.left[found_at] * extra[pair]])
    try:
        return chain.change(rows, moves[:, :k], costs)
    except UnusableData:  # a handful of instruments, all of which came back: what else they might have done was never seen
        return np.zeros(2)


def _dense(bench: Bench, share: Floats, row_of: Ints, wanted: Ints, rows: int) -> Floats:
    """Chances of the wanted moves from the rows, shape (rows, k + 1); the last column is the end."""
    pick = np.flatnonzero(wanted & (row_of[bench.cells[:, 0]] >= 0))
    dense = np.zeros((rows, len(bench.states) + 1))
    np.add.at(dense, (row_of[bench.cells[pick, 0]], bench.cells[pick, 2]), share[pick])
    return dense


def _early_cost(bench: Bench, weight: Floats) -> Floats:
    """Minutes and days of one send-back of each pair caught one stage after: redoing as today, and one more look, shape (p, 2)."""
    each = weight[bench.instrument]
    p = len(bench.pairs)
    sent = np.bincount(bench.cells[bench.cell, 1] + 1, weights=each, minlength=p + 1)[1:]
    seen = np.bincount(bench.stage, weights=each, minlength=int(bench.instead.max(initial=0)) + 1)
    extra = np.zeros((p, 2))
    for i in (0, 1):
        redone = np.bincount(bench.redone + 1, weights=each * bench.cost[:, i], minlength=p + 1)[1:]
        look = np.bincount(bench.stage, weights=each * bench.whole[:, i], minlength=len(seen)) / np.maximum(seen, 1)
        extra[:, i] = redone / np.maximum(sent, 1) + np.where(bench.instead >= 0, look[bench.instead], 0.0)
    return extra
