"""Two shops that no mending has looked at: a Danish workbook with a tab a month; a German log with before and after."""

from datetime import date

from tests.trials.abroad.bench import Plan, Reading, Shop, Station, Truth, happened
from tests.trials.abroad.germany import guitar
from tests.trials.abroad.lowlands import small
from tests.trials.abroad.paper import comma, sheet, steps, workbook

ACTION = (("action", "bass"), ("action", "treble"))
NUT = (("nut", "bass"), ("nut", "treble"))
BOW = (("neck_bow", ""),)
RELIEF = (("relief", ""),)
MONTHS = [
    "Januar",
    "Februar",
    "Marts",
    "April",
    "Maj",
    "Juni",
    "Juli",
    "August",
    "September",
    "Oktober",
    "November",
    "December",
]
DANISH = Plan(
    seed=4421,
    start=date(2026, 2, 2),
    a_day=11,
    models={
        "Solsort": small(2.5, 2.5, 0.07, 0.56),
        "Stær": small(2.4, 1.8, 0.16, 0.52),
        "Musvit": small(2.4, 1.8, 0.16, 0.52),
    },
    route=(
        Station("receiving", ("Palle",), found=BOW),
        Station("neck_straightening", ("Palle", "Gerda"), left=RELIEF, sets=RELIEF),
        Station("nut_slotting", ("Gerda", "Niels"), left=NUT, sets=NUT),
        Station("bridge_fitting", ("Niels", "Ulla", "Palle"), left=ACTION, sets=ACTION),
        Station("final_inspection", ("Ulla", "Jens"), left=(*ACTION, *RELIEF)),
    ),
    lots=("H1", "H2", "H3", "H4", "H5"),
    serials=("DK-", 410),
    off=("Niels", ("action", "bass"), 0.27),
    bad_lot=("H3", 0.20),
    culprit=("bridge_fitting", 0.10),
    tight="Musvit",
)
PLACES = {
    "receiving": "Modtagelse",
    "neck_straightening": "Halsretning",
    "nut_slotting": "Oversadel",
    "bridge_fitting": "Stol",
    "final_inspection": "Slutkontrol",
}
AT = {
    ("neck_bow", ""): 5,
    ("relief", ""): 6,
    ("nut", "bass"): 7,
    ("nut", "treble"): 8,
    ("action", "bass"): 9,
    ("action", "treble"): 10,
}
HEADINGS = ["Dato", "Kl.", "Nr.", "Model", "Plads", "Skæv hals", "Halsbue", "Oversadel bas", "Oversadel diskant"]
HEADINGS += ["Strengehøjde bas", "Strengehøjde diskant", "Af", "Resultat", "Sendt til", "Parti", "Bem."]


def danish() -> Shop:
    """`Værksted 2026.xlsx`, a tab a month, all alike, with a title and one tab of notes."""
    visits, rng = happened(DANISH)
    truth = Truth(facts={"off": "Niels action bass", "lot": "H3", "culprit": "bridge_fitting", "tight": "Musvit"})
    truth.instruments = DANISH.instruments
    tabs: dict[str, dict] = {"Noter": {"rows": [["Husk nye følere"], ["Ring til leverandør om hals H3"]]}}
    for visit in visits:
        month = MONTHS[visit.at.month - 1]
        tab = tabs.setdefault(month, {"rows": [[f"{month} 2026 (alle mål i mm)"], HEADINGS]})
        cells: list = [
            visit.at.date(),
            visit.at.time().replace(second=0),
            visit.serial,
            visit.model,
            PLACES[visit.stage],
        ]
        cells += [None] * 6
        for key, value in (*visit.found.items(), *visit.left.items()):
            if rng.random() < 0.01:
                continue
            shown = steps(value, 0.02)
            truth.readings.append(Reading(visit.serial, *key, visit.stage, "", shown))
            cells[AT[key]] = comma(shown, 2) if rng.random() < 0.02 else shown
        back = visit.verdict == "send back"
        cells += [visit.who, {"pass": "ok", "fixed": "rettet", "send back": "retur"}[visit.verdict]]
        cells += [PLACES[visit.back_to] if back else None, visit.lot if visit.stage == "receiving" else None, None]
        if back:
            truth.send_backs.append((visit.serial, visit.stage))
        tab["rows"].append(cells)
    knows = (
        "Europe/Copenhagen. Solsort er sopranukuleler, Stær og Musvit westernguitarer. Skæv hals: som den kommer, uden "
        "strenge. Halsbue: med strenge. Oversadel: over 1. bånd. retur = sendt tilbage til pladsen i Sendt til."
    )
    return Shop("danish", {"Værksted 2026.xlsx": workbook(tabs)}, truth, knows)


GERMAN = Plan(
    seed=4422,
    start=date(2026, 5, 18),
    a_day=13,
    models={
        "GZ 10": guitar(4.0, 3.2, 0.18, 0.75),
        "GW 20": guitar(2.4, 1.8, 0.16, 0.55),
        "GW 21": guitar(2.4, 1.8, 0.16, 0.55),
    },
    route=(
        Station("neck_straightening", ("Ertl", "Voss"), found=RELIEF, left=RELIEF, sets=RELIEF),
        Station("nut_slotting", ("Ertl", "Lang"), found=NUT, left=NUT, sets=NUT),
        Station("bridge_fitting", ("Lang", "Voss", "Rieß"), found=ACTION, left=ACTION, sets=ACTION),
        Station("final_inspection", ("Pohl",), found=(*ACTION, *RELIEF)),
    ),
    serials=("S", 90310),
    off=("Lang", ("action", "bass"), 0.27),
    culprit=("neck_straightening", 0.10),
    tight="GW 21",
)
PLATZ = {
    "neck_straightening": "Hals",
    "nut_slotting": "Sattel",
    "bridge_fitting": "Stegeinlage",
    "final_inspection": "Endprüfung",
}
MERKMAL = {"relief": "Halsdurchbiegung", "nut": "Höhe 1. Bund", "action": "Saitenlage 12. Bund"}


def german() -> Shop:
    """`Prüfprotokoll.csv` in cp1252: a row a characteristic, with its nominal, as found and as left."""
    visits, rng = happened(GERMAN)
    truth = Truth(facts={"off": "Lang action bass", "culprit": "neck_straightening", "tight": "GW 21"})
    truth.instruments = GERMAN.instruments
    rows = [
        [
            "Lfd. Nr.",
            "Serien-Nr.",
            "Typ",
            "Platz",
            "Merkmal",
            "Seite",
            "Soll",
            "Ist vorher",
            "Ist nachher",
            "Einheit",
            "Prüfer",
            "Datum",
            "Zeit",
            "Befund",
            "Nacharbeit",
        ]
    ]
    for visit in visits:
        for nth, key in enumerate(visit.found):
            cells = []
            for values, moment in ((visit.found, "found" if visit.left else ""), (visit.left, "left")):
                if key not in values or rng.random() < 0.01:
                    cells.append("")
                    continue
                shown = steps(values[key], 0.05)
                truth.readings.append(Reading(visit.serial, *key, visit.stage, moment, shown))
                cells.append(comma(shown, 2))
            back = visit.verdict == "send back" and nth == 0
            if back:
                truth.send_backs.append((visit.serial, visit.stage))
            soll = comma(GERMAN.models[visit.model][key][0], 2)
            rows.append(
                [
                    str(len(rows)),
                    visit.serial,
                    visit.model,
                    PLATZ[visit.stage],
                    MERKMAL[key[0]],
                    {"bass": "Bass", "treble": "Diskant"}.get(key[1], ""),
                    soll,
                    *cells,
                    "mm",
                    visit.who,
                    f"{visit.at:%d.%m.%y}",
                    f"{visit.at:%H:%M}",
                    "n.i.O." if back else "i.O.",
                    PLATZ[visit.back_to] if back else "",
                ]
            )
    knows = (
        "Europe/Berlin. GZ 10 ist eine Konzertgitarre, GW sind Westerngitarren. n.i.O. geht zurück an den Platz unter "
        "Nacharbeit. Soll ist nur der Sollwert, nichts Gemessenes."
    )
    return Shop("german", {"Prüfprotokoll.csv": sheet(rows, ";").encode("cp1252")}, truth, knows)
