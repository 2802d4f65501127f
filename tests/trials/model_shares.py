"""What the charts of single models see of a rise on one of them, and how often they are false: python -m
tests.trials.model_shares

Shops of one stage, several models and two years of weeks. In control: openings of the models' charts over those that
the rate plans, for models alike, of unequal work and unequal shares, with a hard one that comes and goes, and with
weeks that vary beyond chance. Then one model's share rises after 60 weeks, or 20, and stays: how many shops see it
within a quarter and a year, and after how many weeks half of them do; beside it the chart over all models. Last the
week that is told as the start, once 6 and 12 weeks have passed since it.
"""

import numpy as np

from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.drift.model_shares import model_windows
from analysis.studies.drift.share_signals import signal_rows
from analysis.studies.drift.shares import limits
from tests.trials.lasting_shares import FROM, RATE, RISE_RATE, WEEKS, YOUNG, Shops, delay, mixed, sees
from tests.trials.written import write

SEED = 20261202
PARTS = {"alike": (0.25,) * 4, "unequal": (0.55, 0.25, 0.12, 0.08), "two": (0.55, 0.45), "ten": (0.1,) * 10}


def several(
    rng: np.random.Generator, shops: int, week: int, parts: tuple[float, ...], share: Floats, widening: float = 1.0
) -> Shops:
    """Shops of models that are such parts of the work; share (weeks, models); widening: variance of a model's week over
    that of chance, at its mean size.
    """
    size = rng.multinomial(week, np.broadcast_to(np.array(parts), (shops, len(share), len(parts))))
    chance = np.broadcast_to(share, size.shape)
    if widening > 1:
        together = np.maximum(week * np.array(parts) - 1, 1.0) / (widening - 1) - 1
        chance = rng.beta(share * together, (1 - share) * together, size.shape)
    return Shops(size, rng.binomial(size, chance))


def level(models: int, share: float | Floats, *, times: float = 1.0, start: int = WEEKS) -> Floats:
    """Shares (weeks, models); the first model's is so many times as large from a week on."""
    out = np.broadcast_to(np.asarray(share, dtype=np.float64), (WEEKS, models)).copy()
    out[start:, 0] *= times
    return out


def openings(shops: Shops, rate: float) -> tuple[int, float]:
    """Signals of single models that opened, with the life they have, and how many the rate plans."""
    opened, planned = 0, 0.0
    for some in shops.hundreds():
        found = some.charts()
        rows = signal_rows(found, np.full(len(found.weeks), rate))
        opened += sum(row["model"] != "" for row in rows)
        planned += rate * len(found.looked()[0])
    return opened, planned


def sees_first(shops: Shops, rate: float) -> Flags:
    """Weeks up to which more came back of the first model than its base lets expect, shape (shops, weeks)."""
    found = shops.charts()
    beyond, models = model_windows(found, limits(found, np.full(len(found.weeks), 2 * rate)))
    out = np.zeros(len(found.weeks), dtype=bool)
    out[beyond.last[models == 0]] = True
    return out.reshape(shops.size.shape[:2])


def starts(shops: Shops, rate: float, start: int, after: int) -> Ints:
    """How many weeks after the true start the first model's rise is told to have begun, so many weeks after it."""
    some = Shops(shops.size[:, : start + after], shops.back[:, : start + after])
    found = some.charts()
    rows = signal_rows(found, np.full(len(found.weeks), rate))
    weeks = {moment: place for place, moment in enumerate(found.taken[: start + after])}
    told = [weeks[row["began_at"] or row["opened_at"]] for row in rows if row["model"] == "M0" and not row["closed_at"]]
    return np.array([one - start for one in told if one > start - 26], dtype=np.int64)


def false_lines(rng: np.random.Generator, shops: int) -> list[str]:
    """In control, a row a kind of shop."""
    lines = ["| shops in control | rate | opened | planned | of the plan |", "|---|---|---|---|---|"]

    def row(name: str, made: Shops, rate: float = RATE) -> None:
        opened, planned = openings(made, rate)
        error = np.sqrt(max(opened, 1)) / planned
        lines.append(f"| {name} | {rate} | {opened} | {planned:.0f} | {opened / planned:.2f} +- {error:.2f} |")

    for week in (25, 60, 300):
        for share in (0.03, 0.06, 0.2):
            for name, parts in PARTS.items():
                made = several(rng, shops, week, parts, level(len(parts), share))
                row(f"{week} a week, {share:.0%}, {name}", made)
    for week in (60, 300):
        uneven = np.array([0.02, 0.05, 0.1, 0.3])
        row(f"{week} a week, unequal, 2, 5, 10 and 30 %", several(rng, shops, week, PARTS["unequal"], level(4, uneven)))
        row(f"{week} a week, hard models come and go", mixed(rng, shops, week))
        for rate in (RATE / 4, RATE * 4):
            row(f"{week} a week, 6 %, unequal", several(rng, shops, week, PARTS["unequal"], level(4, 0.06)), rate)
        for wide in (1.1, 1.25):
            made = several(rng, shops, week, PARTS["unequal"], level(4, 0.06), wide)
            row(f"{week} a week, 6 %, unequal, weeks' variance {wide} of chance", made)
    return lines


def rise_lines(rng: np.random.Generator, shops: int) -> list[str]:
    """A rise on one model, a row a kind of shop."""
    lines = ["| one model rises | its own chart | all models | start told after 6, 12 weeks |", "|---|---|---|---|"]
    for name in ("two", "alike", "ten"):
        for week in (60, 200):
            for share in (0.03, 0.06):
                for times in (2.0, 3.0):
                    for start in (YOUNG, FROM):
                        shares = level(len(PARTS[name]), share, times=times, start=start)
                        made = several(rng, shops, week, PARTS[name], shares)
                        cells = []
                        for seen in (sees_first(made, RISE_RATE), sees(made, RISE_RATE)):
                            soon, ever, half = delay(seen, start)
                            cells.append(f"{soon:.2f} / {ever:.2f} / {half}")
                        off = []
                        for after in (6, 12):
                            weeks = starts(made, RISE_RATE, start, after)
                            some = len(weeks) > 0
                            near = (
                                f"{np.median(weeks):+.0f}, {np.mean(np.abs(weeks) <= 2):.0%} within 2" if some else "-"
                            )
                            off.append(near)
                        what = f"{name}, {week} a week, {share:.0%} to {times * share:.0%} after {start}"
                        lines.append(f"| {what} | {' | '.join(cells)} | {'; '.join(off)} |")
    return lines


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"400 shops a row of {WEEKS} weeks, one stage each; wanted at most 1.15 of the plan.",
        "",
        *false_lines(rng, 400),
        "",
        f"100 shops a row, a rate of {RISE_RATE}: seen within 13 weeks / within 44 / after so many weeks by half.",
        "",
        *rise_lines(rng, 100),
    ]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()
