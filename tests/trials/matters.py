"""Is one cause one line, rightly named: python -m tests.trials.matters [SHOPS]

Whole shops from readings to matters: ten models, fifty instruments a day on eighteen weeks, set by four people after
three others at an earlier stage, read with three gauges, necks from three suppliers in lots of forty, two open at a
time, humidity that wanders. After fourteen weeks one cause moves relief on one model, three or all: a tech, a gauge,
a lot of eighty necks, a tech of the earlier stage, damp air on half of the days, a dated change; by .75, 1 or 1.5
sigma. The shop is looked at on the second and the fourth Friday after.

Counted are Fridays on which the cause lasts (an instrument that it touches was read within five working days: a lot is
through after two weeks or three) and with enough to go by ("enough": at least 55 readings touched; lots: 1.5 sigma, or
three models or more). *Open*: a matter of its direction is open that names it or holds a signal opened since it began.
*Right*, of those that are open: it is named first, alone or with what cannot be told from it. *Lines*: matters up to
the fourth Friday with a signal of its direction, opened since it began on a chart that holds an instrument it touched;
beside them, for a third of the shops, the same count in the same shop, number for number, where the cause has no size:
false signals that the shop's budget of one a week asks for.
The bound is what the best test could do that knew everything but whether this very cause moved, and named 2 % by
mistake: it is told beside ours where readings are few. *Covered*: sizes whose 95 % interval holds the true one, once a
shop. Where nothing moved, matters and those of them that name something are counted on three Fridays of each shop.
"""

import sys
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from scipy.special import ndtr, ndtri

from analysis.studies.drift.signals import signals
from analysis.studies.matters.matters import matters, open_matters
from analysis.studies.matters.records import Matter
from tests.trials.caused_shops import MODELS, SIGMA, WANTED, Cause, Shop, hour_of, lasts, on_chart, planted
from tests.trials.written import write

SEED = 20280117
AT = 70
SCOPES = {"one": 1, "three": 3, "all": MODELS}
SIZES = (0.75, 1.0, 1.5)
WEEKS = (2, 4)
ENOUGH = 55
MISTAKE = 0.02
WITHOUT = 1.0  # shops of this size are looked at without the cause too


@dataclass(frozen=True)
class Looked:
    """One shop on one Friday."""

    enough: bool
    open: bool
    right: bool
    wrong: bool  # only others are named
    start: bool | None  # within seven days; None: not named
    off: float | None  # size told less the true one, in its standard errors as told; None: not named, or the air
    bound: float


def shop_of(seed: list[int], kind: str, scope: str, size: float) -> Shop:
    """A shop with one cause after fourteen weeks; kind 'none': nothing moves."""
    causes = [] if kind == "none" else [Cause(kind, SCOPES[scope], size, AT)]
    return planted(np.random.default_rng(seed), causes)


def looked(one: Shop, weeks: int) -> Looked | None:
    """What is told of the planted cause on one Friday; None where it is over."""
    (cause,), (touched,) = one.causes, one.touched
    days = AT + 5 * weeks
    if not lasts(one, 0, days):
        return None
    seen = one.until(days)
    mine = [m for m in seen.once(open_matters) if (m.size or 0.0) > 0 and (cause.named_by(m) or _since(one, m, seen))]
    right = [m for m in mine if cause.named_by(m)]
    wrong = [m for m in mine if m.moves_with.named and not cause.named_by(m)]
    n = int((touched & (one.hours < hour_of(days))).sum())
    start = off = None
    if right:
        found = right[0]
        assert found.began_at is not None
        assert found.size is not None
        assert found.size_high is not None
        start = abs(found.began_at - cause.began) <= timedelta(days=7)
        error = (found.size_high - found.size) / 1.96
        off = (found.size - cause.size * SIGMA) / error if cause.kind != "air" else None
    enough = n >= ENOUGH and (cause.kind != "lot" or cause.size >= 1.5 or cause.models >= 3)
    bound = float(ndtr(cause.size * np.sqrt(n) - ndtri(1 - MISTAKE)))
    return Looked(enough, bool(mine), bool(right), bool(wrong) and not right, start, off, bound)


def _since(one: Shop, matter: Matter, seen: object) -> bool:
    """Does it hold a signal of the cause's direction that opened since it began, on a chart it touched?"""
    judged = seen.once(signals)  # type: ignore[attr-defined]
    (cause,), (touched,) = one.causes, one.touched
    for member in matter.signals:
        row = (judged.found if member.table == "found" else judged.others).row(member.row, named=True)
        if row["opened_at"] >= cause.began and row["side"] == 1 and (touched & on_chart(one, row)).any():
            return True
    return False


def lines_of(one: Shop) -> int:
    """Matters up to the fourth Friday that tell of the cause, rightly or not."""
    seen = one.until(AT + 20)
    return sum(_since(one, m, seen) for m in seen.once(matters))


@dataclass(frozen=True)
class Told:
    """All shops of one kind of cause."""

    looks: list[Looked]
    lines: list[int]
    without: list[int]  # lines of the same shops where the cause has no size
    off: list[float]  # of each shop, on the last Friday on which the cause is named


def trial(kind: str, shops: int, number: int, *, seed: int = SEED) -> Told:
    """So many shops in each cell of streams touched and sizes."""
    told = Told([], [], [], [])
    for s, scope in enumerate(SCOPES):
        for z, size in enumerate(SIZES):
            for k in range(shops):
                one = shop_of([seed, number, s, z, k], kind, scope, size)
                looks = [look for weeks in WEEKS if (look := looked(one, weeks)) is not None]
                told.looks.extend(looks)
                told.lines.append(lines_of(one))
                if size == WITHOUT:
                    told.without.append(lines_of(shop_of([seed, number, s, z, k], kind, scope, 0.0)))
                told.off.extend([look.off for look in looks if look.off is not None][-1:])
    return told


def in_control(shops: int, *, seed: int = SEED) -> tuple[int, int, int]:
    """Fridays, open matters on them, and those of them that name something, where nothing moved."""
    fridays = found = named = 0
    for k in range(shops):
        one = shop_of([seed, 99, k], "none", "all", 0.0)
        for weeks in (0, 2, 4):
            told = one.until(AT + 5 * weeks).once(open_matters)
            fridays, found, named = fridays + 1, found + len(told), named + sum(bool(m.moves_with.named) for m in told)
    return fridays, found, named


def row_of(kind: str, told: Told) -> str:
    """The line of the table."""
    enough = [one for one in told.looks if one.enough]
    seen = [one for one in enough if one.open]
    few = [one for one in told.looks if not one.enough]
    named = [one for one in told.looks if one.right]
    cells = [
        share([one.open for one in enough]),
        share([one.right for one in seen]),
        share([one.wrong for one in seen]),
        share([bool(one.start) for one in named]),
        share([abs(off) <= 1.96 for off in told.off]),
        share([one.right for one in few]),
        f"{np.mean([one.bound for one in few]):.2f}" if few else "-",
        _lines(told.lines),
        _lines(told.without),
    ]
    return f"| {kind} | {' | '.join(cells)} |"


def main(shops: int = 1) -> None:
    """Writes the table beside this script."""
    head = "| cause | open | right | wrong | start within 7 days | covered | right, fewer readings | bound "
    head += "| lines a cause: median, nine in ten | without it |"
    each = (
        f"{shops} shops a cell, {9 * shops} a cause, {9 * shops * len(WANTED)} in all; {8 * shops} where nothing moved."
    )
    lines = [(__doc__ or "").split("\n\n", 1)[1], each, "", head, "|" + "---|" * 10]
    off: list[float] = []
    for number, kind in enumerate(WANTED):
        told = trial(kind, shops, number)
        off += told.off
        lines.append(row_of(kind, told))
        sys.stderr.write(f"{lines[-1]}\n")
    fridays, found, named = in_control(8 * shops)
    lines += [
        "",
        f"Sizes over all cells together: {share([abs(one) <= 1.96 for one in off])} covered; what they miss the true "
        f"one by has a spread of {np.std(off):.2f} of the standard errors told.",
        "",
        f"Where nothing moved: {found} open matters on {fridays} Fridays, {found / fridays:.2f} each; a cause is named "
        f"in {named}.",
    ]
    write(__file__, "\n".join(lines))


def _lines(count: list[int]) -> str:
    return f"{np.median(count):.0f}, {np.quantile(count, 0.9):.0f}"


def share(flags: list[bool]) -> str:
    """A share and of how many."""
    return f"{np.mean(flags):.2f} of {len(flags)}" if flags else "-"


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
