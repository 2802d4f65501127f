"""An Austrian banjo shop: one tab with a row a banjo, stations merged over two rows of headings, feelers in thou, and
one tab of what came back; written from the README before the reader was looked at."""

from datetime import date
from itertools import pairwise

from tests.trials.abroad.bench import Key, Plan, Reading, Shop, Station, Truth, Visit, happened
from tests.trials.abroad.paper import comma, steps, workbook

ACTION = (("action", "bass"), ("action", "treble"))
NUT = (("nut", "bass"), ("nut", "treble"))
BOW = (("neck_bow", ""),)
RELIEF = (("relief", ""),)
HEAD = (("head", ""),)
THOU = 0.0254


def banjo(action: float, head: float) -> dict[Key, tuple[float, float]]:
    """Settings of one model; the head in units of its dial gauge."""
    return {
        ("neck_bow", ""): (0.10, 0.05),
        ("relief", ""): (0.21, 0.03),
        ("nut", "bass"): (0.62, 0.03),
        ("nut", "treble"): (0.57, 0.03),
        ("action", "bass"): (action, 0.08),
        ("action", "treble"): (action, 0.08),
        ("head", ""): (head, 0.8),
    }


PLAN = Plan(
    seed=4431,
    start=date(2026, 2, 9),
    a_day=9,
    models={"Enns 5": banjo(2.8, 86.5), "Traun R": banjo(2.4, 90.0), "Ybbs R": banjo(2.4, 90.0)},
    route=(
        Station("receiving", ("Alois",), found=BOW, minutes=3),
        Station("head_tension", ("Resi", "Alois"), left=HEAD, minutes=9, sets=HEAD),
        Station("neck_straightening", ("Resi", "Ferdl"), found=RELIEF, left=RELIEF, minutes=8, sets=RELIEF),
        Station("nut_slotting", ("Ferdl", "Vroni"), left=NUT, minutes=12, sets=NUT),
        Station("bridge_fitting", ("Vroni", "Sepp", "Resi"), left=ACTION, minutes=10, sets=ACTION),
        Station("final_inspection", ("Burgl",), found=(*ACTION, *RELIEF), minutes=6),
    ),
    lots=("H26/1", "H26/2", "H26/3", "H26/4", "H26/5", "H26/6"),
    serials=("EB", 2001),
    off=("Sepp", ("action", "bass"), 0.28),
    bad_lot=("H26/4", 0.20),
    culprit=("bridge_fitting", 0.10),
    tight="Ybbs R",
)
PLACE = {
    "receiving": "Wareneingang",
    "head_tension": "Fell spannen",
    "neck_straightening": "Hals richten",
    "nut_slotting": "Sattel kerben",
    "bridge_fitting": "Steg setzen",
    "final_inspection": "Endabnahme",
}
# station over its columns; the second row; what each column holds of a visit
TOP: list[tuple[str, list[str]]] = [
    ("Instrument", ["Nr.", "Typ", "Hals-Los"]),
    ("Wareneingang", ["Datum", "von", "Halskrümmung"]),
    ("Fell spannen", ["Datum", "von", "Fellspannung"]),
    ("Hals richten", ["Datum", "von", "Relief vorher", "Relief nachher"]),
    ("Sattel kerben", ["Datum", "von", "1. Bund Bass", "1. Bund Diskant"]),
    ("Steg setzen", ["Datum", "von", "Saitenlage Bass [mm]", "Saitenlage Diskant [mm]"]),
    (
        "Endabnahme",
        ["Datum", "von", "Saitenlage Bass [mm]", "Saitenlage Diskant [mm]", "Relief", "Ergebnis", "zurück zu"],
    ),
]
AGAIN = ["Nr.", "Datum", "Arbeitsplatz", "von", "Saitenlage Bass [mm]", "Saitenlage Diskant [mm]", "Relief", "Ergebnis"]


def cell(truth: Truth, rng, visit: Visit, key: Key, value: float, moment: str):
    """As the bench writes it: feelers in thou with their mark, the rule in mm, the dial in whole units."""
    if rng.random() < 0.01:
        return None
    if key[0] == "head":
        shown = float(round(value))
        truth.readings.append(Reading(visit.serial, *key, visit.stage, moment, shown))
        return shown
    if key[0] == "action":
        shown = steps(value, 0.05)
        truth.readings.append(Reading(visit.serial, *key, visit.stage, moment, shown))
        return comma(shown, 2) if rng.random() < 0.03 else shown
    leaf = max(0, round(value / THOU))
    truth.readings.append(Reading(visit.serial, *key, visit.stage, moment, leaf * THOU))
    draw = rng.random()
    if draw < 0.7:
        return f"{leaf} Tsd"
    if draw < 0.9:
        return f"{leaf} Tsd."
    return f'0,{leaf:03d}"'


def shop() -> Shop:
    """`Banjobuch 2026.xlsx`."""
    visits, rng = happened(PLAN)
    truth = Truth(facts={"off": "Sepp action bass", "lot": "H26/4", "culprit": "bridge_fitting", "tight": "Ybbs R"})
    truth.instruments = PLAN.instruments
    mine: dict[str, list[Visit]] = {}
    for visit in visits:
        mine.setdefault(visit.serial, []).append(visit)
    first = [name if i == 0 else "" for name, below in TOP for i in range(len(below))]
    second = [text for _, below in TOP for text in below]
    rows: list[list] = [["Banjobuch 2026 - ein Banjo, eine Zeile"], [], first, second]
    again: list[list] = [["Was zurückkam"], AGAIN]
    for serial, walked in mine.items():
        row: list = [serial, walked[0].model, walked[0].lot]
        for visit in walked:
            if visit.again:
                continue
            row += [visit.at.date(), visit.who]
            row += [cell(truth, rng, visit, k, v, "found" if visit.left else "") for k, v in visit.found.items()]
            row += [cell(truth, rng, visit, k, v, "left" if visit.found else "") for k, v in visit.left.items()]
            if visit.stage == "final_inspection":
                back = visit.verdict == "send back"
                row += ["zurück" if back else "in Ordnung", PLACE[visit.back_to] if back else None]
                if back:
                    truth.send_backs.append((visit.serial, visit.stage))
        rows.append(row)
    for visit in visits:
        if visit.again:
            again.append(came_again(truth, rng, visit))
    tabs = {
        "Banjos": {"rows": rows, "merged": merged(first)},
        "Nacharbeit": {"rows": again, "merged": [(0, 0, 0, len(AGAIN) - 1)]},
        "Kürzel": {"rows": [["Tsd", "Tausendstel Zoll (Fühlerlehre)"], ["Fellspannung", "Uhr, 0 bis 100"]]},
    }
    knows = (
        "Europe/Vienna. Enns 5 ist ein offenes fünfsaitiges Banjo, Traun R und Ybbs R sind Resonatorbanjos. Tsd sind "
        "Tausendstel Zoll. zurück = zurückgeschickt an den Platz unter 'zurück zu'; behoben = nachgearbeitet. "
        "Halskrümmung: wie der Hals kommt, ohne Saiten. 1. Bund: Saite über dem 1. Bund. Relief mit Saiten."
    )
    return Shop("austria", {"Banjobuch 2026.xlsx": workbook(tabs)}, truth, knows)


def came_again(truth: Truth, rng, visit: Visit) -> list:
    """A row of the second tab: the bench that put it right, then the last one once more."""
    written = {key: (value, "found" if visit.left else "") for key, value in visit.found.items()}
    written |= {key: (value, "") for key, value in visit.left.items()}  # the tab has one column: what was left
    cells: list = []
    for key in (*ACTION, *RELIEF):
        value, moment = written.get(key, (None, ""))
        cells.append(None if value is None else cell(truth, rng, visit, key, value, moment))
    word = "behoben" if visit.verdict == "fixed" else "in Ordnung"
    return [visit.serial, visit.at.date(), PLACE[visit.stage], visit.who, *cells, word]


def merged(first: list[str]) -> list[tuple[int, int, int, int]]:
    """The title over all, each station over its columns."""
    starts = [c for c, text in enumerate(first) if text] + [len(first)]
    spans = [(2, a, 2, b - 1) for a, b in pairwise(starts)]
    return [(0, 0, 0, len(first) - 1), *spans]
