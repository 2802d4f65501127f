"""A Swedish bench whose sheet grew out of notes on a phone: days in words and once only, rows for months and sums."""

from datetime import date

from tests.trials.abroad.bench import Plan, Reading, Shop, Station, Truth, happened
from tests.trials.abroad.paper import comma, sheet, steps

ACTION = (("action", "bass"), ("action", "treble"))
RELIEF = (("relief", ""),)
MONTHS = [
    "januari",
    "februari",
    "mars",
    "april",
    "maj",
    "juni",
    "juli",
    "augusti",
    "september",
    "oktober",
    "november",
    "december",
]
PLAN = Plan(
    seed=4416,
    start=date(2026, 3, 2),
    a_day=10,
    models={
        "Lärka": {("relief", ""): (0.15, 0.03), ("action", "bass"): (2.4, 0.08), ("action", "treble"): (1.8, 0.08)},
        "Göken": {("relief", ""): (0.15, 0.03), ("action", "bass"): (2.4, 0.08), ("action", "treble"): (1.8, 0.08)},
        "Tofsvipa": {("relief", ""): (0.15, 0.03), ("action", "bass"): (2.0, 0.07), ("action", "treble"): (1.6, 0.07)},
    },
    route=(
        Station("nut_slotting", ("Åke", "Birgit")),
        Station("bridge_fitting", ("Åke", "Birgit", "Sören"), left=(*ACTION, *RELIEF), sets=(*ACTION, *RELIEF)),
        Station("final_inspection", ("Birgit",)),
    ),
    serials=("", 801),
    off=("Åke", ("action", "bass"), 0.24),
    culprit=("nut_slotting", 0.10),
    others=0.015,
    tight="Göken",
)
HEADINGS = ["Dag", "Nr", "Modell", "Stränghöjd bas", "Stränghöjd diskant", "Halsens båge", "Vem", "Resultat", "Anm."]


def shop() -> Shop:
    """`uppställning 2026.txt` in cp1252, tabs between: an instrument a row, twice where it came back."""
    visits, rng = happened(PLAN)
    truth = Truth(facts={"off": "Åke action bass", "tight": "Göken"}, instruments=PLAN.instruments)
    ends: dict[str, list] = {}
    for visit in visits:
        if visit.stage == "final_inspection":
            ends.setdefault(visit.serial, []).append(visit)
    rows: list[list[str]] = [["Uppställningar verkstan"], [], HEADINGS]
    month, day, count = 0, None, 0
    for visit in visits:
        again = visit.again and visit.stage != "final_inspection"
        if visit.stage != "bridge_fitting" and not again:
            continue
        if visit.at.month != month:
            if month:
                rows.append([f"Summa {MONTHS[month - 1]}", f"{count} st", "", "", "", "", "", "", ""])
            month, count = visit.at.month, 0
            rows.append([f"{MONTHS[month - 1].upper()} {visit.at.year}", *[""] * 8])
        end = ends[visit.serial][1 if visit.again else 0]
        cells = []
        for key in (*ACTION, *RELIEF):
            if key not in visit.left or rng.random() < 0.012:
                cells.append("")
                continue
            shown = steps(visit.left[key], 0.05)
            truth.readings.append(Reading(visit.serial, *key, "", "", shown))
            style = rng.random()
            text = comma(shown, 2).rstrip("0").rstrip(",") if key[0] == "action" else comma(shown, 2)
            cells.append(f"{text} mm" if style < 0.02 else text.replace(",", ".") if style < 0.03 else text)
        result = "ok"
        if end.verdict == "send back":
            result = {"nut_slotting": "tillbaka sadel", "bridge_fitting": "tillbaka stall"}[end.back_to]
            truth.send_backs.append((visit.serial, ""))
        said = f"{visit.at.day} {MONTHS[visit.at.month - 1]} {visit.at.year}" if visit.at.date() != day else ""
        day = visit.at.date()
        rows.append([said, visit.serial, visit.model, *cells, visit.who, result, "igen" if visit.again else ""])
        count += 1
    rows.append([f"Summa {MONTHS[month - 1]}", f"{count} st", *[""] * 7])
    knows = (
        "Europe/Stockholm. Lärka och Göken är stålsträngade gitarrer, Tofsvipa en elgitarr. Allt i mm, stränghöjd vid "
        "band 12. Dagen står en gång och gäller tills nästa. tillbaka ... = skickad tillbaka till sadel eller stall."
    )
    return Shop("sweden", {"uppställning 2026.txt": sheet(rows, "\t").encode("cp1252")}, truth, knows)
