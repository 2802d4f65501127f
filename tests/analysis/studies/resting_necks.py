"""A shop of three suppliers whose necks are read as they come, as straightening leaves them and after a day of rest:
from lot Ash-4 on those of Ash come back.
"""

from tests.analysis.studies.measured import made, visit

BACK, LEFT, BOW = 0.05, 0.05, 0.12  # mm
SINCE, LOTS, NECKS = 4, 8, 24
STAGES = [
    {"key": "receiving", "role": "receiving", "minutes": 4},
    {"key": "neck_straightening", "minutes": 8},
    {"key": "rest", "role": "rest"},
    {"key": "stringing", "minutes": 6},
    {"key": "final", "role": "final", "minutes": 5},
]


def visits(rng, *, back=BACK, air=0.0, share=(0.04, 0.25)):
    """A lot a supplier and week. air : by how much all necks, as they come and after the rest, bow more for one % RH,
    the rests of weeks from SINCE on being 10 % damper; share : that is sent back, as usual and of necks that come back.
    """
    told = []
    for week in range(LOTS):
        for supplier in ("Ash", "Bell", "Cedar"):
            lot = f"{supplier}-{week}"
            for k in range(NECKS):
                model = "WREN" if rng.random() < 0.5 else "LARK"
                serial, at = f"{lot}-{k:02d}", 168 * week + k / 10
                comes = supplier == "Ash" and week >= SINCE
                same = {"supplier": supplier, "lot": lot, "model": model}
                dry, damp = (float(rng.normal(48, 3)) for _ in range(2))
                damp += 10 * (week >= SINCE) if air else 0.0
                bow, left = (float(rng.normal(mean, 0.02)) for mean in (BOW, LEFT))
                bow += air * (dry - 48)
                after = left + back * comes + float(rng.normal(0, 0.01)) + air * (damp - dry)
                told += [
                    visit(serial, at, "receiving", readings={"neck_bow": bow}, rh=dry, **same),
                    visit(
                        serial, at + 1, "neck_straightening", readings={"neck_bow": bow}, left={"neck_bow": left},
                        tech="T1", model=model, rh=dry, minutes=8.0, minutes_from="typed",
                    ),
                    visit(serial, at + 25, "rest", readings={"neck_bow": after}, model=model, rh=damp),
                    visit(serial, at + 26, "stringing", model=model),
                ]  # fmt: skip
                if rng.random() < share[comes]:
                    told.append(
                        visit(serial, at + 27, "final", "send back", sent_back_to="neck_straightening", model=model)
                    )
                    told.append(
                        visit(
                            serial, at + 28, "neck_straightening", readings={"neck_bow": 0.5}, left={"neck_bow": 0.0},
                            tech="T1", model=model, minutes=20.0, minutes_from="typed",
                        )
                    )  # fmt: skip
                told.append(visit(serial, at + 29, "final", model=model))
    return told


def shop(rng, **more):
    """The snapshot of these visits."""
    return stood(visits(rng, **more))


def stood(some):
    """The snapshot of visits of this shop."""
    return made(some, stage=STAGES, characteristic=[{"key": "neck_bow"}])
