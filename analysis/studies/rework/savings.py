"""What if: what it would save if a send-back came half as often, or were caught one stage after it is caused.

The bench is an absorbing Markov chain whose states are stage x (first pass | in a loop caused, caught), counted from
the logs, so that the loop minutes of the chain are exactly those of the logs. A change moves some of its chances; the
difference is the saving.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import sparse

from analysis.methods.changed_chain import Solved, solved
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints
from analysis.studies.rework.bench_moves import FIRST, Bench, Tally, bench_of
from analysis.studies.rework.rework import outcomes_unread
from analysis.studies.story.scope import ALL, Scope, judged
from analysis.studies.story.story import story
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot

BEST = 5
CONSIDERED = 20  # changes that resampling chooses among: the most that promise most
DRAWS = 200
TOGETHER = 0.95  # of the resampled shops, all changes named at once
SEED = 20260302


@dataclass(frozen=True)
class WhatIf:
    """What each change of the bench would save, with bounds that hold for all of them together."""

    rows: pl.DataFrame
    """The five changes worth most: change (in words), kind (halved | caught earlier), caused_at, caught_at,
    instead_at ('' if halved), count (send-backs behind it), minutes, minutes_low, minutes_high, days, days_low,
    days_high (elapsed), cost, cost_low, cost_high. Savings over all the instruments, with bounds that hold for all
    five together at 95 % and allow for having been chosen as the best.
    """
    instruments: int
    weeks: int  # weeks the instruments were begun in, for a saving a week
    loop_minutes: float  # of the chain; those of the logs
    loop_days: float  # elapsed in visits that repeat


def what_if(snapshot: Snapshot, scope: Scope = ALL, *, seed: int = SEED, draws: int = DRAWS) -> WhatIf:
    """The five changes worth most.

    scope : with weeks, instruments judged in them; else all. draws : bootstrap samples of instruments. Each chooses its
    own five best, and what these promise beyond what all the instruments say of the same changes is the optimism of
    choosing. The bounds are simultaneous: they reach so many spreads to either side, the same number for the five, that
    95 % of the samples lie within with all five at once - for a change's own resampled savings, for the saving less the
    optimism at its rank, and the wider of both is told. Measured by making the changes on benches of three kinds: all
    five real savings lay within in 290 of 300 shops (tests/trials/savings.md).

    Halved: of the send-backs of one cause caught at one stage half go on as the other visits there did that passed or
    were sent back for a later cause: an instrument with two faults is taken to go back for the earlier one, so that
    without it the later would have shown. Caught earlier: all do. At the next stage of the route that can look (no
    rest) the fault is found in as many of the visits that could tell as it is today where it is caught; one found is
    redone at the causing stage (and repaired), comes to that stage once more, and may be found or sent back there
    again.

    Source of simultaneous bounds: Westfall & Young 1993, Resampling-Based Multiple Testing, chapter 2 (from memory).
    """
    labour = snapshot.shop.shop.labour_per_hour / 60
    told = snapshot.once(story)
    instruments = judged(snapshot, scope) if scope.first or scope.last else scope.models_of(told.instruments)
    rows = told.visits.filter(pl.col("round") == 1).join(
        instruments.select("serial"), on="serial", how="semi", maintain_order="left"
    )
    weeks = rows.group_by("serial").agg(pl.col("week").first())["week"].n_unique()
    bench = bench_of(rows, told.loops, snapshot.shop)
    if not bench.pairs:
        return WhatIf(pl.DataFrame(schema=_SCHEMA), bench.instruments, weeks, 0.0, 0.0)
    firsts = {int(stage) for stage, context in bench.states if context == FIRST}
    changes = [
        (pair, early)
        for pair in range(len(bench.pairs))
        for early in (False, True)
        if not early or int(bench.instead[pair]) in firsts
    ]
    [today] = bench.tally(np.ones((1, bench.instruments)))
    saved = _Changes(bench, changes).saved(today)
    order = np.argsort(-saved[:, 0], kind="stable")[:CONSIDERED]
    changes, saved = [changes[i] for i in order], saved[order]
    best = min(BEST, len(changes))
    rng = np.random.default_rng(seed)
    weights = rng.multinomial(bench.instruments, np.full(bench.instruments, 1 / bench.instruments), size=draws).astype(
        np.float64
    )
    ready = _Changes(bench, changes)
    own, optimism = np.empty((draws, best, 2)), np.empty((draws, best, 2))
    for draw, tally in enumerate(bench.tally(weights)):
        again = ready.saved(tally)
        chosen = np.argsort(-again[:, 0], kind="stable")[:best]
        own[draw], optimism[draw] = again[:best], again[chosen] - saved[chosen]
    low, high = _together(saved[:best], own - saved[:best], optimism)
    named = [
        _row(bench, snapshot.shop, change, int(today.moves[bench.moves[:, 1] == change[0]].sum()))
        for change in changes[:best]
    ]
    numbers = {
        f"{name}{side}": values[:, i] * factor
        for i, name, factor in ((0, "minutes", 1.0), (1, "days", 1.0), (0, "cost", labour))
        for side, values in (("", saved[:best]), ("_low", low), ("_high", high))
    }
    total = today.visits @ today.per_visit * bench.instruments
    return WhatIf(
        pl.DataFrame(named)
        .with_columns(**{name: pl.Series(value) for name, value in numbers.items()})
        .select(*_SCHEMA),
        bench.instruments,
        weeks,
        float(total[0]),
        float(total[1]),
    )


def saving_rows(snapshot: Snapshot, *, seed: int = SEED) -> pl.DataFrame:
    """`savings` of the figures: change, minutes, minutes_low, minutes_high, cost of the five changes worth most over
    all the logs. Where no log says how a visit ended one row says so, every number null.
    """
    if outcomes_unread(snapshot):
        columns = ("change", "minutes", "minutes_low", "minutes_high", "cost")
        row = dict.fromkeys(columns) | {"change": "outcomes are not read"}
        return pl.DataFrame([row], schema={name: _SCHEMA[name] for name in columns})
    return what_if(snapshot, seed=seed).rows.select("change", "minutes", "minutes_low", "minutes_high", "cost")


_SCHEMA = (
    dict.fromkeys(("change", "kind", "caused_at", "caught_at", "instead_at"), pl.String)
    | {"count": pl.Int64}
    | dict.fromkeys(
        (f"{name}{side}" for name in ("minutes", "days", "cost") for side in ("", "_low", "_high")), pl.Float64
    )
)


def _row(bench: Bench, shop: Shop, change: tuple[int, bool], count: int) -> dict[str, str | int]:
    pair, early = change
    caused, caught = bench.pairs[pair]
    instead = shop.stages[int(bench.instead[pair])].key if early else ""
    words = f"{caused} caught at {caught}: " + (f"caught at {instead} instead" if early else "half as often")
    return {
        "change": words,
        "kind": "caught earlier" if early else "halved",
        "caused_at": caused,
        "caught_at": caught,
        "instead_at": instead,
        "count": count,
    }


def _together(saved: Floats, own: Floats, optimism: Floats) -> tuple[Floats, Floats]:
    """Lower and upper bounds (c, 2) of savings (c, 2) from deviations (d, c, 2), each measure for all c changes at
    once.
    """
    below, above = _reach(own)
    above_flattered, below_flattered = _reach(optimism)  # what a sample flatters by, the saving is less by
    return saved - np.maximum(below, below_flattered), saved + np.maximum(above, above_flattered)


def _reach(deviations: Floats) -> tuple[Floats, Floats]:
    """How far down and up the deviations (d, c, 2) reach, (c, 2) each: so many spreads of that side that 95 % of draws
    stay within at every c.
    """
    sides = []
    for far in (np.maximum(-deviations, 0.0), np.maximum(deviations, 0.0)):
        sides.append(np.sqrt((far**2).sum(axis=0) / np.maximum((far > 0).sum(axis=0), 1)))
    down, up = sides
    spread = np.where(deviations < 0, down, up)
    far = np.abs(deviations) / np.where(spread > 0, spread, 1.0)
    many = np.quantile(far.max(axis=1, initial=0.0), TOGETHER, axis=0, method="higher")
    return many * down, many * up


class _Changes:
    """Changes of one bench, made ready so that each tally costs little."""

    def __init__(self, bench: Bench, changes: list[tuple[int, bool]]) -> None:
        self.bench, self.changes = bench, changes
        sent = {pair: bench.moves[bench.moves[:, 1] == pair, 0] for pair, _ in changes}
        told = {pair: bench.fresh[bench.fresh[:, 0] == pair, 1] for pair, early in changes if early}
        self.caught = {pair: _At(bench, pair, int(bench.caught[pair]), states) for pair, states in sent.items()}
        self.early = {pair: _At(bench, pair, int(bench.instead[pair]), states) for pair, states in told.items()}
        self.touched = np.unique(np.concatenate([at.rows for at in [*self.caught.values(), *self.early.values()]]))

    def saved(self, tally: Tally) -> Floats:
        """Minutes and days that each change would save over all the instruments of a tally, shape (c, 2)."""
        bench, k = self.bench, len(self.bench.states)
        share = tally.moves / np.maximum(tally.left, 1)[bench.moves[:, 0]]
        inside = bench.moves[:, 2] < k
        among = sparse.csr_matrix((share[inside], (bench.moves[inside, 0], bench.moves[inside, 2])), shape=(k, k))
        chain = solved(among, tally.per_visit, tally.visits, self.touched)
        return np.array(
            [-tally.instruments * self._change(pair, early, tally, chain, share) for pair, early in self.changes]
        )

    def _change(self, pair: int, early: bool, tally: Tally, chain: Solved, share: Floats) -> Floats:
        """Change in minutes and days of one instrument."""
        k = len(self.bench.states)
        at = self.caught[pair]
        moves, costs = at.going_on(share, 1.0 if early else 0.5), np.zeros((len(at.rows), 2))
        rows = at.rows
        if early:
            sent = float(tally.moves[at.mine].sum())
            stage = self.bench.instead[pair]
            if sent == 0 or tally.seen[stage] == 0:
                return np.zeros(2)  # nobody of this sample
            sooner = self.early[pair]
            extra = tally.redone[pair] / sent + tally.looked[stage] / tally.seen[stage]
            more, found = sooner.found(share, tally, tally.chance(pair))
            rows, moves, costs = (
                np.append(rows, sooner.rows),
                np.vstack([moves, more]),
                np.vstack([costs, found[:, None] * extra]),
            )
        try:
            return chain.change(rows, moves[:, :k], costs)
        except (
            UnusableData
        ):  # a handful of instruments, all of which came back: what else they might have done was never seen
            return np.zeros(2)


class _At:
    """Those states of one stage that a change touches, and the first pass; and how they are left: sent back as the
    pair, for the same cause, or for a later one, as those that went on.
    """

    def __init__(self, bench: Bench, pair: int, stage: int, states: Ints) -> None:
        k = len(bench.states)
        usual = (bench.states == (stage, FIRST)).all(axis=1)
        self.rows = np.union1d(states, np.flatnonzero(usual))
        self.usual = usual[self.rows]
        self.size = (len(self.rows), k + 1)
        row_of = np.full(k, -1, dtype=np.int64)
        row_of[self.rows] = np.arange(len(self.rows))
        here = row_of[bench.moves[:, 0]] >= 0
        place = row_of[bench.moves[:, 0]] * (k + 1) + bench.moves[:, 2]
        rank = np.append(bench.rank, np.iinfo(np.int64).max)[bench.moves[:, 1]]
        self.mine, self.same, self.later = (
            np.flatnonzero(here & wanted)
            for wanted in (bench.moves[:, 1] == pair, rank == bench.rank[pair], rank > bench.rank[pair])
        )
        self.places = {"mine": place[self.mine], "same": place[self.same], "later": place[self.later]}
        fresh = np.flatnonzero((bench.fresh[:, 0] == pair) & (row_of[bench.fresh[:, 1]] >= 0))
        self.fresh, self.fresh_rows = fresh, row_of[bench.fresh[fresh, 1]]

    def _summed(self, name: str, share: Floats) -> Floats:
        """Chances of the moves of a name, shape (rows, k + 1)."""
        picked: Ints = getattr(self, name)
        summed: Floats = np.bincount(
            self.places[name], weights=share[picked], minlength=self.size[0] * self.size[1]
        ).astype(np.float64)
        return summed.reshape(self.size)

    def going_on(self, share: Floats, part: float) -> Floats:
        """Change of moves when a part of those sent back as the pair goes on as the later ones do; where nobody did, as
        in the first pass.
        """
        mine, on = self._summed("mine", share), self._summed("later", share)
        went_on = on.sum(axis=1, keepdims=True)
        spare = on[self.usual].sum(axis=0) / max(went_on[self.usual].sum(), 1e-300)
        instead = np.where(went_on > 0, on / np.where(went_on > 0, went_on, 1.0), spare)
        return np.asarray(part * (mine.sum(axis=1, keepdims=True) * instead - mine), dtype=np.float64)

    def found(self, share: Floats, tally: Tally, chance: float) -> tuple[Floats, Floats]:
        """Change of moves, and how often a visit finds the pair's fault, were every one found here.

        One found is redone and looked at here again: it may be sent back for another cause at that stage, found again,
        or go on.
        """
        same, on = self._summed("same", share), self._summed("later", share)
        went_on = on.sum(axis=1)
        able = np.bincount(self.fresh_rows, weights=tally.passed[self.fresh], minlength=len(self.rows)) / np.maximum(
            tally.left[self.rows], 1
        )
        again = went_on + same.sum(axis=1)
        share_on = went_on / np.where(again > 0, again, 1.0)
        first = np.minimum(able, went_on) * min(chance, 1 - 1e-9)
        many = first / (1 - share_on * min(chance, 1 - 1e-9))
        leaving = (same + (1 - chance) * on) / np.where(again > 0, again, 1.0)[:, None]
        lost = on * (first / np.where(went_on > 0, went_on, 1.0))[:, None]
        return many[:, None] * leaving - lost, many
