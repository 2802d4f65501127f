"""What the cumulative chart of weekly shares sees of a rise that stays, and how often it is false: python -m
tests.trials.lasting_shares

Shops of one stage and two years of weeks. In control: openings over those that the rate plans. Then a share that rises
after 60 weeks, or 20, and stays, or for one week: how many shops see it within a quarter and a year, and after how many
weeks half of them do. Beside it what stood in its place: each week at half the rate against the twelve weeks before it,
and four weeks together at the other half against the twelve before them; and both ways at half the rate each.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl

from analysis.methods.counts_ahead import binomial_ahead
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.drift.share_signals import beyond_limits, signal_rows
from analysis.studies.drift.shares import Shares
from analysis.studies.rework.since_weeks import bases
from tests.trials.written import write

SEED = 20261130
RATE, RISE_RATE = 0.002, 0.0005  # a week, over both sides; the second about what a shop of 25 a week allows
WEEKS = 104
SIZES, SHARES, TIMES = (15, 25, 50, 300), (0.03, 0.06, 0.1, 0.2), (1.5, 2.0, 3.0)
FROM, YOUNG = 60, 20


@dataclass(frozen=True)
class Shops:
    """Counts of shops, weeks and kinds of model, shape (shops, weeks, models)."""

    size: Ints
    back: Ints

    def hundreds(self) -> list["Shops"]:
        """A hundred of them at a time."""
        return [Shops(self.size[at : at + 100], self.back[at : at + 100]) for at in range(0, len(self.size), 100)]

    def charts(self) -> Shares:
        """Each shop as a stage."""
        shops, weeks, models = self.size.shape
        n = shops * weeks
        rows = pl.DataFrame(
            {
                "stage": np.repeat(np.arange(shops), weeks),
                "week": np.tile(np.arange(weeks), shops),
                "instruments": self.size.sum(axis=2).ravel(),
                "came_back": self.back.sum(axis=2).ravel(),
            }
        )
        some = self.size.ravel() > 0
        mix = pl.DataFrame(
            {
                "row": np.repeat(np.arange(n), models)[some],
                "model": np.tile(np.arange(models), n)[some],
                "inspector": np.zeros(int(some.sum()), dtype=np.int64),
                "instruments": self.size.ravel()[some],
                "came_back": self.back.ravel()[some],
            }
        )
        starts = np.arange(0, n, weeks)
        held = bases(mix, starts, n)
        own = np.full(n, -1, dtype=np.int64)
        for number, base in enumerate(held):
            own[base.end : base.until] = number
        monday = date(2020, 1, 6)
        taken = pl.Series([monday + timedelta(weeks=int(week)) for week in rows["week"]])
        return Shares(
            rows, starts, starts, rows["week"].to_numpy(), taken, {}, held, own, [f"M{k}" for k in range(models)]
        )


def even(rng: np.random.Generator, shops: int, week: int, share: Floats, widening: float = 1.0) -> Shops:
    """Shops of one model; share (weeks,); widening: variance of a week's count over that of chance alone."""
    size = np.full((shops, len(share)), week)
    chance = np.broadcast_to(share, size.shape)
    if widening > 1:
        together = (week - 1) / (widening - 1) - 1
        chance = rng.beta(share * together, (1 - share) * together, size.shape)
    return Shops(size[:, :, None], rng.binomial(size, chance)[:, :, None])


def mixed(rng: np.random.Generator, shops: int, week: int, *, hard: float = 0.3, new: bool = False) -> Shops:
    """Shops of eight models, a hard one (of the others 5 % come back) that is a tenth of the work and for a quarter of
    each year a half; new: it comes in week 60, three tenths of the work, and was never there before.
    """
    part = np.where(np.arange(WEEKS) % 52 >= 39, 0.5, 0.1)
    if new:
        part = np.where(np.arange(WEEKS) >= FROM, 0.3, 0.0)
    parts = np.column_stack([part, *[(1 - part) / 7] * 7])
    size = rng.multinomial(week, np.broadcast_to(parts, (shops, WEEKS, 8)))
    return Shops(size, rng.binomial(size, np.array([hard] + [0.05] * 7)))


def openings(shops: Shops, rate: float) -> tuple[int, float]:
    """Signals of all models together that opened, with the life they have, and how many the rate plans."""
    opened, planned = 0, 0.0
    for some in shops.hundreds():
        found = some.charts()
        opened += sum(row["model"] == "" for row in signal_rows(found, np.full(len(found.weeks), rate)))
        planned += rate * float(found.judged.sum())
    return opened, planned


def sees(shops: Shops, rate: float) -> Flags:
    """Weeks up to which more came back than the base lets expect, shape (shops, weeks)."""
    found = shops.charts()
    beyond = beyond_limits(found, np.full(len(found.weeks), rate))
    out = np.zeros(len(found.weeks), dtype=bool)
    out[beyond.last[beyond.score > 0]] = True
    return out.reshape(shops.size.shape[:2])


def in_weeks(shops: Shops, rate: float, run: int, last: int = 12) -> Flags:
    """Weeks up to which so many together show more than the twelve before them let expect, shape (shops, weeks)."""
    size, back = (np.pad(part.sum(axis=2), ((0, 0), (last + run, 0))) for part in (shops.size, shops.back))
    sums = [np.cumsum(np.pad(part, ((0, 0), (1, 0))), axis=1) for part in (size, back)]
    at = np.arange(last + run, size.shape[1]) + 1
    now, before = ([s[:, at - low] - s[:, at - high] for s in sums] for low, high in ((0, run), (run, run + last)))
    most = np.full(now[0].shape, np.inf)
    held = before[0] > 0
    most[held] = binomial_ahead(before[1][held], before[0][held], now[0][held], false_rate=rate / 2)[1]
    return np.asarray(now[1] > most)


def delay(seen: Flags, start: int) -> tuple[float, float, str]:
    """Shares of shops that see it within 13 weeks and within 44, and after how many weeks half of them do."""
    after = seen[:, start:]
    first = np.where(after.any(axis=1), after.argmax(axis=1) + 1, after.shape[1] + 1)
    half = int(np.sort(first)[(len(first) - 1) // 2])
    return (
        float((first <= min(13, after.shape[1])).mean()),
        float((first <= min(44, after.shape[1])).mean()),
        str(half) if half <= after.shape[1] else "-",
    )


def compared(shops: Shops) -> tuple[Flags, Flags, Flags]:
    """What weeks and four weeks saw at half the rate each, the cumulative chart, and weeks beside it at half each."""
    weeks = in_weeks(shops, RISE_RATE / 2, 1)
    four = in_weeks(shops, RISE_RATE / 2, 4)
    return weeks | four, sees(shops, RISE_RATE), weeks | sees(shops, RISE_RATE / 2)


def false_lines(rng: np.random.Generator, shops: int) -> list[str]:
    """In control, a row a kind of shop."""
    lines = ["| shops in control | rate | opened | planned | of the plan |", "|---|---|---|---|---|"]

    def row(name: str, made: Shops, rate: float) -> None:
        opened, planned = openings(made, rate)
        error = np.sqrt(max(opened, 1)) / planned
        lines.append(f"| {name} | {rate} | {opened} | {planned:.0f} | {opened / planned:.2f} +- {error:.2f} |")

    for week in SIZES:
        for share in SHARES:
            row(f"{week} a week, {share:.0%}", even(rng, shops, week, np.full(WEEKS, share)), RATE)
    for week, share in ((25, 0.06), (300, 0.06)):
        for rate in (RATE / 4, RATE * 4):
            row(f"{week} a week, {share:.0%}", even(rng, shops, week, np.full(WEEKS, share)), rate)
    for week in (25, 60, 300):
        row(f"{week} a week, hard models come and go", mixed(rng, shops, week), RATE)
        row(f"{week} a week, a new model, 8%, the others 5%", mixed(rng, shops, week, hard=0.08, new=True), RATE)
        row(f"{week} a week, a new model, 30%, the others 5% (a rise)", mixed(rng, shops, week, new=True), RATE)
    for week in (25, 300):
        for widening in (1.1, 1.25):
            made = even(rng, shops, week, np.full(WEEKS, 0.06), widening)
            row(f"{week} a week, 6%, weeks' variance {widening} of chance", made, RATE)
    return lines


def rise_lines(rng: np.random.Generator, shops: int) -> list[str]:
    """Rises, a row a kind of shop and rise."""
    lines = ["| rise | week and four weeks | cumulative | week and cumulative, halves |", "|---|---|---|---|"]

    def row(name: str, made: Shops, start: int) -> None:
        told = [delay(seen, start) for seen in compared(made)]
        cells = [f"{soon:.2f} / {ever:.2f} / {half}" for soon, ever, half in told]
        lines.append(f"| {name} | {' | '.join(cells)} |")

    for week in SIZES:
        for share in SHARES:
            for times in TIMES:
                level = np.where(np.arange(WEEKS) >= FROM, times * share, share)
                row(f"{week} a week, {share:.0%} to {times * share:.1%}", even(rng, shops, week, level), FROM)
    for week in SIZES:
        level = np.where(np.arange(WEEKS) >= YOUNG, 0.16, 0.06)
        row(f"{week} a week, 6% to 16% after {YOUNG} weeks", even(rng, shops, week, level), YOUNG)
    for week in SIZES:
        level = np.where(np.arange(WEEKS) == FROM, 0.3, 0.06)[: FROM + 1]
        row(f"{week} a week, 6%, one week of 30%", even(rng, shops, week, level), FROM)
    return lines


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"1,000 shops a row of {WEEKS} weeks, one stage each; wanted at most 1.15 of the plan.",
        "",
        *false_lines(rng, 1000),
        "",
        f"200 shops a row, a rate of {RISE_RATE}: seen within 13 weeks / within 44 / after so many weeks by half.",
        "",
        *rise_lines(rng, 200),
    ]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()
