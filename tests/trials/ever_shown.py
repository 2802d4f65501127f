"""What people are told within 300 instruments by a test that begins anew: python -m tests.trials.ever_shown

The answers are those of the Bench page (`targets.latest` over the lasting test), looked at after every instrument, so
that `ever` is what somebody was told at any time. The old way - a test that keeps 10 % once, begun again and again -
stands beside it.
"""

import numpy as np

from analysis.methods.ever_shown import ever_shown
from analysis.methods.sequential import SequentialPlan, plan
from analysis.studies.people.targets import lasting_test
from tests.trials.written import write

SEED = 20261212
PEOPLE, WITHIN = 20_000, 300
SHARES = (0.02, 0.05, 0.10, 0.15, 0.20, 0.25, 0.30)


def told(test: SequentialPlan, p: float, people: int, rng: np.random.Generator) -> tuple[float, float, float]:
    """Shares of people with `p` outside who are ever told shown, whose latest answer is shown, and not shown yet."""
    n, d = np.zeros(people, dtype=np.int64), np.zeros(people, dtype=np.int64)
    ever, latest = np.zeros(people, dtype=bool), np.zeros(people, dtype=np.int64)
    for _ in range(WITHIN):
        n, d = n + 1, d + (rng.random(people) < p)
        shown, not_shown = d <= test.shown_at[n - 1], d >= test.not_shown_at[n - 1]
        ever |= shown
        latest = np.select([shown, not_shown], [1, -1], latest)
        ended = shown | not_shown | (n == test.longest)
        n, d = np.where(ended, 0, n), np.where(ended, 0, d)
    return float(ever.mean()), float((latest == 1).mean()), float((latest == -1).mean())


def main() -> None:
    rng = np.random.default_rng(SEED)
    lasts, once = lasting_test(0.05, 0.20), plan(0.05, 0.20)
    lines = [
        f"Target: 5 % outside the band against 20 %; {PEOPLE:,} people a row, {WITHIN} instruments each. At 20 % at",
        "most 10 % may ever be told shown, at 5 % at least 90 %.",
        "",
        "| share outside | ever told shown | exact | latest answer shown | latest answer not yet | ever, "
        "were each test at 10 % |",
        "|---|---|---|---|---|---|",
    ]
    for p in SHARES:
        ever, shown, not_yet = told(lasts.test, p, PEOPLE, rng)
        again, *_ = told(once, p, PEOPLE, rng)
        exact = ever_shown(lasts.test, p).at_all
        lines.append(f"| {p:.0%} | {ever:.4f} | {exact:.4f} | {shown:.3f} | {not_yet:.3f} | {again:.3f} |")
    lines += ["", f"Of those at 5 % half are told by instrument {lasts.half_by}, nine in ten by {lasts.nine_by}."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()
