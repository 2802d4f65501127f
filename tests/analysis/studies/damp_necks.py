"""A shop of three suppliers whose necks all read more in a damp month: Ash always bowed by more, Bell with bad lots."""

from tests.analysis.studies.measured import made, visit

BOW, ASH, BAD, DAMP = 0.08, 0.03, 0.12, 0.05  # mm: usual, Ash's more, a bad lot's more, the damp month's more
BAD_LOTS = ("Bell-3", "Bell-6", "Bell-11")  # of weeks; Bell-6 came in the damp month
DAMP_WEEKS = (5, 6, 7)
WEEKS, NECKS = 14, 16
A_MM = 25.0  # minutes of straightening for a mm of bow
LIMITS = {"characteristic": "neck_bow", "lower": -0.25, "upper": 0.25}
STAGES = [
    {"key": "receiving", "role": "receiving", "minutes": 4},
    {"key": "neck_straightening", "role": "bench", "minutes": 4},
    {"key": "final", "role": "final", "minutes": 5},
]


def visits(rng, *, damp=DAMP, ash=ASH, bad=BAD, minutes=True, air=True):
    """Cedar comes from week 4 to 8 alone, as good as Bell's good lots; WREN necks bow by 0.02 more than LARK's."""
    told = []
    for week in range(WEEKS):
        wet = week in DAMP_WEEKS
        for supplier in ("Ash", "Bell", "Cedar"):
            if supplier == "Cedar" and week not in (4, 5, 6, 7, 8):
                continue
            lot = f"{supplier}-{week}"
            for k in range(NECKS):
                model = "WREN" if rng.random() < 0.5 else "LARK"
                mean = BOW + ash * (supplier == "Ash") + bad * (lot in BAD_LOTS) + damp * wet + 0.02 * (model == "WREN")
                bow = float(rng.normal(mean, 0.03))
                same = {"supplier": supplier, "lot": lot, "model": model}
                if air:
                    same["rh"] = float(48 + 18 * wet + rng.normal(0, 1))
                serial, at = f"{lot}-{k:02d}", 168 * week + k / 10
                told.append(visit(serial, at, "receiving", readings={"neck_bow": bow}, minutes=4.0, **same))
                took = float(3 + A_MM * bow + rng.normal(0, 0.5))
                more = {"minutes": took, "minutes_from": "typed"} if minutes else {}
                told.append(visit(serial, at + 1, "neck_straightening", tech="T1", model=model, **more))
                told.append(visit(serial, at + 2, "final", model=model, minutes=5.0))
    return told


def shop(rng, **more):
    """The snapshot of these visits; the shop measures no relief."""
    return made(visits(rng, **more), [LIMITS], stage=STAGES, characteristic=[{"key": "neck_bow"}])
