"""A German guitar workshop: a workbook, a tab a bench, headings over two rows under a title, tabs that are no logs."""

from datetime import date

from tests.trials.abroad.bench import Plan, Reading, Shop, Station, Truth, Visit, happened
from tests.trials.abroad.paper import steps, workbook

BOW = (("neck_bow", "bass"), ("neck_bow", "treble"))
ACTION = (("action", "bass"), ("action", "treble"))
NUT = (("nut", "bass"), ("nut", "treble"))
RELIEF = (("relief", ""),)
CENTS = (("intonation", "1"), ("intonation", "6"))


def guitar(bass: float, treble: float, relief: float, first: float) -> dict[tuple[str, str], tuple[float, float]]:
    """Settings of a guitar, with spreads of a steady bench."""
    return {
        ("neck_bow", "bass"): (0.09, 0.05),
        ("neck_bow", "treble"): (0.08, 0.05),
        ("relief", ""): (relief, 0.03),
        ("nut", "bass"): (first, 0.025),
        ("nut", "treble"): (first - 0.17, 0.025),
        ("action", "bass"): (bass, 0.07),
        ("action", "treble"): (treble, 0.07),
        ("intonation", "1"): (0.4, 1.2),
        ("intonation", "6"): (0.9, 1.3),
    }


PLAN = Plan(
    seed=4411,
    start=date(2026, 3, 2),
    a_day=11,
    models={
        "Auerhahn W": guitar(2.4, 1.8, 0.16, 0.55),
        "Auerhahn 12": guitar(2.4, 1.8, 0.16, 0.55),
        "Fasan K": guitar(4.0, 3.2, 0.18, 0.75),
    },
    route=(
        Station("receiving", ("Gr", "Ho"), found=BOW, minutes=3),
        Station("neck_straightening", ("Gr", "Mü", "Ts"), found=RELIEF, left=RELIEF, minutes=12, sets=RELIEF),
        Station("nut_slotting", ("Ho", "Kl"), left=NUT, minutes=14, sets=NUT),
        Station("bridge_fitting", ("Kl", "Mü", "Ts"), left=ACTION, minutes=16, sets=(*ACTION, *CENTS)),
        Station("final_inspection", ("We", "Ba"), left=(*ACTION, *RELIEF, *CENTS), minutes=7),
    ),
    lots=("L-03", "L-04", "L-05", "L-06", "L-07", "L-08", "L-09", "L-10"),
    serials=("26-", 1001),
    off=("Kl", ("action", "bass"), 0.26),
    bad_lot=("L-07", 0.20),
    culprit=("nut_slotting", 0.10),
    tight="Auerhahn 12",
)
TABS = {
    "receiving": "Wareneingang",
    "neck_straightening": "Hals richten",
    "nut_slotting": "Sattel",
    "bridge_fitting": "Steg",
    "final_inspection": "Endkontrolle",
}
FAULT = {
    "receiving": "Lack",
    "neck_straightening": "Hals",
    "nut_slotting": "Schnarrt leer",
    "bridge_fitting": "Saitenlage",
}
STEP = {"neck_bow": 0.05, "relief": 0.05, "nut": 0.05, "action": 0.1, "intonation": 1.0}
TOP = {  # first heading row (merged to the right over empty ones), second heading row
    "receiving": (
        ["Datum", "Instr.-Nr.", "Modell", "Los", "Halskrümmung [mm]", "", "Kürzel"],
        ["", "", "", "", "Bass", "Diskant", ""],
    ),
    "neck_straightening": (
        ["Datum", "Instr.-Nr.", "Modell", "Halsrelief [mm]", "", "Min.", "Kürzel"],
        ["", "", "", "vorher", "nachher", "", ""],
    ),
    "nut_slotting": (
        ["Datum", "Instr.-Nr.", "Modell", "Saite über 1. Bund [mm]", "", "Min.", "Kürzel"],
        ["", "", "", "Bass", "Diskant", "", ""],
    ),
    "bridge_fitting": (
        ["Datum", "Instr.-Nr.", "Modell", "Saitenlage 12. Bund [mm]", "", "Min.", "Kürzel"],
        ["", "", "", "Bass", "Diskant", "", ""],
    ),
    "final_inspection": (
        [
            "Datum",
            "Instr.-Nr.",
            "Modell",
            "Saitenlage 12. Bund [mm]",
            "",
            "Relief",
            "Intonation 12. Bund [Cent]",
            "",
            "Befund",
            "zurück an",
            "Fehler",
            "Kürzel",
            "Bemerkung",
        ],
        ["", "", "", "Bass", "Diskant", "", "e'", "E", "", "", "", "", ""],
    ),
}


def shop() -> Shop:
    """The workbook `Werkstattbuch_2026.xlsx`."""
    visits, rng = happened(PLAN)
    truth = Truth(facts={"off": "Kl action bass", "lot": "L-07", "culprit": "nut_slotting", "tight": "Auerhahn 12"})
    truth.instruments = PLAN.instruments
    tabs: dict[str, dict] = {
        "Info": {
            "rows": [
                ["Werkstattbuch 2026"],
                [],
                ["Bitte jeden Tag ausfüllen!"],
                ["Kürzel", "Name"],
                ["Gr", "Greta"],
                ["Kl", "Klaus"],
            ]
        }
    }
    for stage, name in TABS.items():
        first, second = TOP[stage]
        rows: list[list] = [[f"{name} 2026"], [], first, second]
        for visit in visits:
            if visit.stage == stage:
                rows.append(row(visit, truth, rng))
        tabs[name] = {"rows": rows, "merged": merged(first, second)}
    months: dict[tuple[str, str], int] = {}
    for visit in visits:
        if visit.stage == "final_inspection":
            at = (f"{visit.at:%m}/26", visit.model)
            months[at] = months.get(at, 0) + 1
    tabs["Auswertung"] = {"rows": [["Monat", "Modell", "Stück"], *([m, k, n] for (m, k), n in sorted(months.items()))]}
    tabs["Urlaub"] = {
        "rows": [
            ["Wer", "von", "bis"],
            ["Ts", date(2026, 4, 6), date(2026, 4, 10)],
            ["We", date(2026, 5, 18), date(2026, 5, 22)],
        ]
    }
    knows = (
        "Zeitzone Europe/Berlin. Auerhahn W und Auerhahn 12 sind Westerngitarren, Fasan K ist eine Konzertgitarre. "
        "zurück = zurückgeschickt, das Ziel heißt wie das Blatt. Relief in mm. e' ist die 1., E die 6. Saite. "
        "Los ist das Los des Halslieferanten."
    )
    return Shop("germany", {"Werkstattbuch_2026.xlsx": workbook(tabs)}, truth, knows)


def merged(first: list[str], second: list[str]) -> list[tuple[int, int, int, int]]:
    """The title over all, each wide heading over its columns, each lone heading over both rows."""
    spans = [(0, 0, 0, len(first) - 1)]
    for c, text in enumerate(first):
        if text and second[c] and c + 1 < len(first) and not first[c + 1] and second[c + 1]:
            spans.append((2, c, 2, c + 1))
        elif text and not second[c]:
            spans.append((2, c, 3, c))
    return spans


def row(visit: Visit, truth: Truth, rng) -> list:
    """What the bench writes; a cell in a hundred is forgotten, one in eighty is typed as text with a comma."""
    day = visit.at.date() if rng.random() > 0.01 else f"{visit.at:%d.%m.%Y}"

    def cell(key, value, moment):
        if rng.random() < 0.01:
            return None if rng.random() < 0.6 else "-"
        shown = steps(value, STEP[key[0]])
        truth.readings.append(Reading(visit.serial, *key, visit.stage, moment, shown))
        return f"{shown:.2f}".replace(".", ",") if rng.random() < 1 / 80 else shown

    cells = [cell(key, value, "found" if visit.left else "") for key, value in visit.found.items()]
    cells += [cell(key, value, "left" if visit.found else "") for key, value in visit.left.items()]
    head = [day, visit.serial, visit.model]
    if visit.stage == "receiving":
        return [*head, visit.lot, *cells, visit.who]
    if visit.stage != "final_inspection":
        return [*head, *cells, visit.minutes if rng.random() > 0.05 else None, visit.who]
    if visit.verdict == "send back":
        truth.send_backs.append((visit.serial, visit.stage))
        return [*head, *cells, "zurück", TABS[visit.back_to], FAULT[visit.back_to], visit.who, ""]
    fine = str(rng.choice(["i.O.", "i.O.", "i.O.", "iO"]))
    return [*head, *cells, fine, "", "", visit.who, "2. Mal" if visit.again else ""]
