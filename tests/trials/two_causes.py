"""Are two causes told apart: python -m tests.trials.two_causes [SHOPS]

Whole shops as in the trial of matters. *At once*: two causes of one sigma from the same day on, both on all models (a
lot: on three, since on all it is through within four days), looked at on the fourth Friday after (with a lot: the
second). *One ends as the other begins*: a gauge is off for three weeks, on the day it is mended a tech begins to be,
looked at on the fourth Friday after. Told apart: each is named by an open matter that does not name the other; that of
the one which ended is closed. *One tech on one model*: by 1.5 sigma, looked at after eight weeks, some fifty readings;
told apart: the tech is named and the matter is of that model alone.
"""

import sys
from collections.abc import Callable
from functools import partial

import numpy as np

from analysis.studies.matters.matters import matters
from analysis.studies.matters.records import Matter
from tests.trials.caused_shops import MODELS, Cause, Shop, planted
from tests.trials.written import write

SEED = 20281209
AT = 70
PAIRS = (("tech", "gauge"), ("tech", "early"), ("gauge", "change"), ("tech", "lot"), ("early", "lot"))


def at_once(rng: np.random.Generator, pair: tuple[str, str]) -> bool:
    """Both named, each by an open matter of its own."""
    causes = [Cause(kind, 3 if kind == "lot" else MODELS, 1.0, AT) for kind in pair]
    one = planted(rng, causes)
    found = _found(one, AT + (10 if "lot" in pair else 20))
    return all(_alone(found, this, other, still=True) for this, other in (causes, causes[::-1]))


def in_turn(rng: np.random.Generator) -> bool:
    """The one that ended is named by a closed matter, the other by an open one."""
    gauge, tech = Cause("gauge", MODELS, 1.0, AT - 15, AT), Cause("tech", MODELS, 1.0, AT)
    found = _found(planted(rng, [gauge, tech]), AT + 20)
    return _alone(found, gauge, tech, still=False) and _alone(found, tech, gauge, still=True)


def one_on_one(rng: np.random.Generator) -> bool:
    """The tech is named, on that model alone."""
    cause = Cause("tech", 1, 1.5, AT)
    found = _found(planted(rng, [cause], days=AT + 40), AT + 40)
    return any(one.open and cause.named_by(one) and one.models == ["M0"] for one in found)


def _found(one: Shop, days: int) -> list[Matter]:
    return one.until(days).once(matters)


def _alone(found: list[Matter], this: Cause, other: Cause, *, still: bool) -> bool:
    mine = [one for one in found if this.named_by(one) and not other.named_by(one)]
    return bool(mine) and any(one.open for one in mine) == still


def main(shops: int = 6) -> None:
    """Writes the table beside this script."""
    rows: dict[str, Callable[[np.random.Generator], bool]]
    rows = {f"{a} and {b} at once": partial(at_once, pair=(a, b)) for a, b in PAIRS}
    rows |= {"a gauge ends as a tech begins": in_turn, "one tech on one model": one_on_one}
    lines = [(__doc__ or "").split("\n\n", 1)[1], f"{shops} shops a row.", "", "| causes | told apart |", "|---|---|"]
    for number, (name, told) in enumerate(rows.items()):
        apart = [told(np.random.default_rng([SEED, number, k])) for k in range(shops)]
        lines.append(f"| {name} | {sum(apart)} of {shops} |")
        sys.stderr.write(f"{lines[-1]}\n")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6)
