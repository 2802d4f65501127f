"""Partial pooling over shops and the report of several shops, full size: python -m tests.trials.several_shops

How often 95 % intervals hold the true value of a group (a shop), by how many groups there are and how far they lie
apart in standard errors; how often equal groups are told apart; how often a report of shops that are alike in
everything says that something differs, and how often it tells what was planted.
"""

import numpy as np

from analysis.methods.partial_pooling import equal, pooled, standing_out
from analysis.studies.shops.same_change import same_change
from analysis.studies.shops.same_gauge import same_gauge
from analysis.studies.shops.same_lots import GAUGE, NECKS, pairs, standing
from analysis.studies.shops.same_matter import same_matter
from analysis.studies.shops.same_model import same_model
from analysis.studies.shops.same_rework import same_rework
from tests.analysis.studies.shops.invented import Planted, several
from tests.trials.written import write

SEED = 20270301
GROUPS, BETWEEN = (3, 5, 10, 20, 60), (0.0, 0.25, 0.5, 1.0, 2.0, 5.0)
SHOPS_OF_ALL = 2_400  # groups a row
REPORTS = 80
FAMILIES = 200_000  # of equal groups, by which small chances are counted
FREEDOM = {"4, 6 and 60": (4, 6, 60), "8": (8,), "25": (25,), "one in ten 6, else 60": (6, *[60] * 9)}
LEVELS = (0.05, 0.01, 0.001, 0.0001)


def rates(groups: int, between: float, rng: np.random.Generator) -> tuple[float, float, float]:
    """Coverage of a group's value, of the common mean, and the share of families in which somebody is told apart."""
    families = SHOPS_OF_ALL // groups
    true = rng.normal(0.0, 1.0, (families, groups)) * between
    free = rng.integers(12, 60, true.shape)
    error = rng.uniform(0.6, 1.6, true.shape)
    seen = true + rng.normal(0.0, error)
    told = error * np.sqrt(rng.chisquare(free) / free)
    found = pooled(seen.ravel(), told.ravel(), np.arange(families) * groups, freedom=free.ravel())
    covered = np.mean((found.low <= true.ravel()) & (true.ravel() <= found.high))
    mean = np.mean((found.mean_low <= 0) & (found.mean_high >= 0))
    out = standing_out(seen.ravel(), told.ravel(), np.arange(families) * groups, freedom=free.ravel())
    out = out.reshape(true.shape).any(axis=1)
    return float(covered), float(mean), float(out.mean())


def too_often(groups: int, freedom: tuple[int, ...], rng: np.random.Generator) -> list[float]:
    """How many times as often as promised equal groups have a chance under each of LEVELS."""
    free = rng.choice(np.array(freedom, dtype=np.float64), (FAMILIES, groups))
    error = np.exp(rng.normal(0.0, 0.5, free.shape))
    seen, told = rng.normal(0.0, error), error * np.sqrt(rng.chisquare(free) / free)
    chance = equal(seen.ravel(), told.ravel(), np.arange(FAMILIES) * groups, freedom=free.ravel())
    return [float((chance < level).mean() / level) for level in LEVELS]


def reported(planted: Planted, shops: int, seed: int) -> set[str]:
    """What a report names: streams with a shop that stands out, lots, pairs of shops with their verdict, changes."""
    told = several(np.random.default_rng([SEED, shops, seed]), shops, planted)
    models = same_model(told["levels"], told["capability"]).filter("apart")
    lots = standing(told["lots"]).filter("apart")
    two = pairs(told["lots"])
    two = two.filter(two["what"].is_in([GAUGE, NECKS]))
    own = same_gauge(told["lots"]).filter("apart")
    moved = same_change(told["dated"]).filter("moved")
    one = same_matter(told["matters"], told["levels"]).filter("one")
    work = same_rework(told["mix"]).filter("apart")
    return {
        *(f"model {' '.join(each)}" for each in models.select("question", "model", "shop").iter_rows()),
        *(f"lot {lot}" for lot in lots["lot"]),
        *(f"gauge of {shop}" for shop in own["shop"]),
        *(f"{what} {shop} {other}" for what, shop, other in two.select("what", "shop", "other").iter_rows()),
        *(f"change {' '.join(each)}" for each in moved.select("model", "shop").iter_rows()),
        *(f"matter {each} {'up' if up else 'down'}" for each, up in one.select("characteristic", "up").iter_rows()),
        *(f"rework {each}" for each in work["shop"]),
    }


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"{SHOPS_OF_ALL:,} groups a row; errors of .6 to 1.6 known from 12 to 60 degrees of freedom, `between` in",
        "errors of 1.",
        "",
        "| groups | between | 95 % of a group holds | 95 % of the mean holds | somebody is told apart |",
        "|---|---|---|---|---|",
    ]
    for groups in GROUPS:
        for between in BETWEEN:
            covered, mean, out = rates(groups, between, rng)
            lines.append(f"| {groups} | {between} | {covered:.3f} | {mean:.3f} | {out:.3f} |")
    lines += [
        "",
        f"Equal groups, {FAMILIES:,} families a row, by the degrees of freedom behind their errors: how many times as",
        "often as promised a chance is under .05, .01, .001 and .0001.",
        "",
        "| groups | freedom | .05 | .01 | .001 | .0001 |",
        "|---|---|---|---|---|---|",
    ]
    for groups in (2, 3, 10, 20):
        for name, freedom in FREEDOM.items():
            seen = " | ".join(f"{each:.2f}" for each in too_often(groups, freedom, rng))
            lines.append(f"| {groups} | {name} | {seen} |")
    lines += [
        "",
        f"Reports, {REPORTS} each (of 24 shops {REPORTS // 4}); one says too much where it names what was not planted.",
        "",
    ]
    lines += ["| shops | planted | all that was planted is named | says too much |", "|---|---|---|---|"]
    for shops in (3, 8, 24):
        many = REPORTS if shops < 24 else REPORTS // 4
        names = [f"shop-{k + 1:02d}" for k in range(shops)]
        gauges = {f"{GAUGE} {' '.join(sorted((names[2], other)))}" for other in names if other != names[2]}
        blanks = {f"change LARK-25 {name}" for name in names[:2]}
        cases = {
            "nothing": (Planted(), set()),
            "one level 0.06 mm off": (Planted(level={(1, "LARK-25"): 0.06}), {"model level LARK-25 shop-02"}),
            "one lot 0.4 mm more hollow, in up to four shops": (
                Planted(lot={"M-03": 0.4}, always=("M-03",)),
                {"lot M-03"},
            ),
            "one neck gauge 0.08 mm high (against all)": (Planted(gauge={2: 0.08}), {f"gauge of {names[2]}"}),
            "new blanks moved two shops by 0.08 mm": (Planted(blanks={0: 0.08, 1: 0.08}), blanks),
            "1.8 times as much comes back of one shop's fretting": (Planted(back={1: 1.8}), {"rework shop-02"}),
            "three shops in four moved within two weeks": (
                Planted(together=tuple(range(min(13, 3 * shops // 4)))),
                {"matter action up"},
            ),
        }
        for name, (planted, wanted) in cases.items():
            said = [reported(planted, shops, seed) for seed in range(many)]
            named = np.mean([wanted <= one for one in said])
            alright = wanted | (gauges if "gauge" in name else set())  # its pairs are as true, where they are named
            more = np.mean([bool(one - alright) for one in said])
            lines.append(f"| {shops} | {name} | {f'{named:.3f}' if wanted else ''} | {more:.3f} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()
