"""A French luthier alone: seven columns, no unit, no station, no name; cp1252, semicolons and decimal commas."""

from datetime import date

from tests.trials.abroad.bench import Plan, Reading, Shop, Station, Truth, happened
from tests.trials.abroad.paper import comma, sheet, steps

ACTION = (("action", "bass"), ("action", "treble"))
RELIEF = (("relief", ""),)


def nylon(bass: float, treble: float) -> dict[tuple[str, str], tuple[float, float]]:
    """Settings of one model."""
    return {("relief", ""): (0.17, 0.035), ("action", "bass"): (bass, 0.11), ("action", "treble"): (treble, 0.11)}


PLAN = Plan(
    seed=4417,
    start=date(2025, 9, 1),
    a_day=6,
    models={"Grive étude": nylon(4.0, 3.2), "Grive concert": nylon(4.0, 3.2), "Rossignol": nylon(2.4, 1.8)},
    route=(
        Station("bridge_fitting", ("moi",), left=(*ACTION, *RELIEF), sets=(*ACTION, *RELIEF)),
        Station("final_inspection", ("moi",)),
    ),
    serials=("", 2150),
    culprit=("bridge_fitting", 0.07),
    tight="Grive concert",
)


def shop() -> Shop:
    """`cahier.csv`."""
    visits, rng = happened(PLAN)
    truth = Truth(facts={"tight": "Grive concert"}, instruments=PLAN.instruments)
    ends: dict[str, list] = {}
    for visit in visits:
        if visit.stage == "final_inspection":
            ends.setdefault(visit.serial, []).append(visit)
    rows = [["N°", "Modèle", "Fait le", "Grave", "Aigu", "Creux", "Écoute"]]
    for visit in visits:
        if visit.stage != "bridge_fitting":
            continue
        cells = []
        for key, value in visit.left.items():
            if rng.random() < 0.015:
                cells.append("")
                continue
            shown = steps(value, 0.05 if key[0] == "relief" else 0.1)
            truth.readings.append(Reading(visit.serial, *key, "", "", shown))
            cells.append(comma(shown, 2 if key[0] == "relief" else 1))
        back = ends[visit.serial][1 if visit.again else 0].verdict == "send back"
        if back:
            truth.send_backs.append((visit.serial, ""))
        rows.append(
            [
                visit.serial,
                visit.model,
                f"{visit.at:%d/%m/%Y}",
                *cells,
                "à reprendre" if back else str(rng.choice(["bien", "bien", "ok"])),
            ]
        )
    knows = (
        "Europe/Paris. Grive: guitares classiques, Rossignol: folk (cordes acier). Grave et aigu: hauteur à la 12e "
        "case, en mm. Creux: la flèche du manche, cordes tendues. à reprendre: je la reprends à l'établi."
    )
    return Shop("france", {"cahier.csv": sheet(rows, ";").encode("cp1252")}, truth, knows)
