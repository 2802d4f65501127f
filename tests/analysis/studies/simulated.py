"""Benches that make their own rework, so that a change can be made for real and what it saved be counted.

Every visit at a causing stage leaves a fault of each kind with its chance; the stage that catches it sends back to the
causing one; from there the instrument goes along the bench again, or (as often as `skips` says) straight to the stage
that caught it. A dictionary holds the chance of each (caused, caught); `caught_at` moves the catching of some to
another stage.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import chain, product

import numpy as np
import polars as pl
from scipy import sparse
from scipy.sparse.linalg import spsolve

from ingest.store.snapshot import Snapshot
from tests.analysis.studies.benches import shop

Pair = tuple[str, str]


@dataclass(frozen=True)
class Kind:
    """One kind of bench: minutes of its stages in bench order, chance of each fault (caused, caught), share of redone
    work that skips.
    """

    minutes: dict[str, int]
    chances: dict[Pair, float]
    skips: float = 0.3

    @property
    def route(self) -> list[str]:
        return list(self.minutes)

    def changed(self, kind: str, pair: Pair) -> "Kind":
        """With one send-back half as often; a change of another kind is one of `moved`."""
        return replace(self, chances=self.chances | {pair: self.chances[pair] / 2}) if kind == "halved" else self


SHORT = Kind(
    {"receiving": 4, "neck": 5, "frets": 10, "nut": 8, "bridge": 6, "play": 4, "rest": 0, "final": 5, "packing": 5},
    {
        ("nut", "play"): 0.09,
        ("frets", "play"): 0.05,
        ("bridge", "play"): 0.04,
        ("neck", "final"): 0.03,
        ("nut", "final"): 0.02,
        ("bridge", "final"): 0.03,
        ("frets", "nut"): 0.02,
    },
)
LONG = Kind(  # more stages, three that look, most redone work goes straight back; never used while what-if was made
    {
        "receiving": 3,
        "neck": 12,
        "press": 7,
        "frets": 15,
        "ends": 4,
        "nut": 9,
        "saddle": 5,
        "strings": 6,
        "pitch": 5,
        "bridge": 8,
        "play": 6,
        "rest": 0,
        "final": 7,
        "packing": 4,
    },
    {
        ("neck", "pitch"): 0.04,
        ("press", "frets"): 0.05,
        ("frets", "play"): 0.06,
        ("ends", "final"): 0.05,
        ("nut", "pitch"): 0.07,
        ("nut", "final"): 0.03,
        ("saddle", "play"): 0.04,
        ("bridge", "final"): 0.06,
    },
    skips=0.6,
)


def drawn(rng: np.random.Generator) -> Kind:
    """A bench of the short one's stages whose minutes, faults and skips are drawn: five to eight faults, one to eight
    in a hundred visits each.
    """
    stages = list(SHORT.minutes)
    working = [stage for stage in stages if stage not in ("receiving", "rest", "packing")]
    every = [(caused, caught) for i, caused in enumerate(working[:-1]) for caught in working[i + 1 :]]
    picked = rng.choice(len(every), size=int(rng.integers(5, 9)), replace=False)
    minutes = {stage: 0 if stage == "rest" else int(rng.integers(3, 16)) for stage in stages}
    return Kind(
        minutes, {every[i]: float(rng.uniform(0.01, 0.08)) for i in sorted(picked)}, skips=float(rng.uniform(0.1, 0.8))
    )


def visits(
    instruments: int, rng: np.random.Generator, kind: Kind = SHORT, *, moved: dict[Pair, str] | None = None
) -> list[tuple[int, str, str, str, float]]:
    """(instrument, stage, outcome, sent back to, minutes) in order of time.

    Each instrument has its own draws, so that with the same `rng` a change leaves alone every instrument that it does
    not touch.
    """
    route, chances = kind.route, kind.chances
    moved = moved or {}
    chance_of = {stage: [(pair, chance) for pair, chance in chances.items() if pair[0] == stage] for stage in route}
    catches = {stage: {pair for pair in chances if moved.get(pair, pair[1]) == stage} for stage in route}
    rows = []
    for instrument, own in enumerate(rng.random((instruments, 64))):
        draws = chain(own.tolist(), _draws(instrument))
        at, target = 0, -1
        faults: set[tuple[str, str]] = set()
        while at < len(route):
            stage = route[at]
            for pair, chance in chance_of[stage]:
                faults.discard(pair)
                if next(draws) < chance:
                    faults.add(pair)
            caught = faults & catches[stage]
            minutes = kind.minutes[stage] * (0.7 + 0.6 * next(draws))
            if caught:
                pair = min(caught, key=lambda pair: route.index(pair[0]))
                rows.append((instrument, stage, "send back", pair[0], minutes))
                target = at if next(draws) < kind.skips else -1
                at = route.index(pair[0])
            else:
                rows.append((instrument, stage, "pass", "", minutes))
                if target > at:
                    at, target = target, -1
                else:
                    at += 1
    return rows


def expected_repeats(kind: Kind = SHORT, *, moved: dict[Pair, str] | None = None) -> float:
    """Minutes an instrument spends on this bench on stages gone through before, in the long run; exactly, without a
    draw.

    Every place on the route with every set of faults and every stage to skip to is a state; each state's expected
    visits solve one system. Each stage is gone through once at least, so that what exceeds one visit is repeated.
    """
    moved, route = moved or {}, kind.route
    begin = (0, frozenset(), -1)
    number, moves, todo = {begin: 0}, [], [begin]
    while todo:
        state = todo.pop()
        for chance, after in _after(state, kind, moved):
            if after is not None and after not in number:
                number[after] = len(number)
                todo.append(after)
            if after is not None:
                moves.append((number[state], number[after], chance))
    rows, columns, values = zip(*moves, strict=True)
    among = sparse.csc_matrix((values, (columns, rows)), shape=(len(number), len(number)))
    visits = spsolve(sparse.identity(len(number), format="csc") - among, np.eye(len(number))[0])
    return sum(visits[i] * kind.minutes[route[at]] for (at, _, _), i in number.items()) - sum(kind.minutes.values())


State = tuple[int, frozenset[tuple[str, str]], int]


def _after(state: State, kind: Kind, moved: dict[Pair, str]) -> Iterator[tuple[float, State | None]]:
    """What a visit leads to, with its chance; None at the end of the bench."""
    route, chances, skips = kind.route, kind.chances, kind.skips
    at, faults, target = state
    mine = [pair for pair in chances if pair[0] == route[at]]
    for left in product((False, True), repeat=len(mine)):
        chance = float(
            np.prod([chances[pair] if is_left else 1 - chances[pair] for pair, is_left in zip(mine, left, strict=True)])
        )
        now = frozenset(faults - set(mine) | {pair for pair, is_left in zip(mine, left, strict=True) if is_left})
        caught = [pair for pair in now if moved.get(pair, pair[1]) == route[at]]
        if caught:
            back = min(route.index(pair[0]) for pair in caught)
            yield chance * skips, (back, now, at)
            yield chance * (1 - skips), (back, now, -1)
        elif target > at:
            yield chance, (target, now, -1)
        else:
            yield chance, ((at + 1, now, target) if at + 1 < len(route) else None)


def _draws(instrument: int) -> Iterator[float]:
    """More draws for an instrument that comes back often."""
    rng = np.random.default_rng(instrument)
    while True:
        yield from rng.random(64).tolist()


def real_saving(kind: Kind, row: dict[str, str]) -> float:
    """Minutes an instrument that a change named by what-if saves when it is made on the bench."""
    pair = (row["caused_at"], row["caught_at"])
    moved = {pair: row["instead_at"]} if row["kind"] == "caught earlier" else {}
    return expected_repeats(kind) - expected_repeats(kind.changed(row["kind"], pair), moved=moved)


def snapshot(rows: list[tuple[int, str, str, str, float]], kind: Kind = SHORT) -> Snapshot:
    start = datetime(2026, 3, 2, tzinfo=UTC)
    frame = pl.DataFrame(
        rows, schema=["serial", "stage", "outcome", "sent_back_to", "minutes"], orient="row"
    ).with_row_index("line")
    roles = {"receiving": "receiving", "play": "test", "rest": "rest", "final": "final", "packing": "packing"}
    stages = [
        {"key": key, "role": roles.get(key, "bench"), "minutes": minutes} for key, minutes in kind.minutes.items()
    ]
    return Snapshot.of(
        shop(stage=stages),
        visits=frame.with_columns(
            pl.format("S{}", pl.col("serial").cast(pl.String).str.zfill(6)).alias("serial"),
            pl.lit("log").alias("log_id"),
            pl.lit("LARK").alias("model"),
            pl.lit(True).alias("time_known"),
            (pl.lit(start) + pl.duration(hours=pl.col("line") + 1)).alias("finished_at"),
        ),
    )
