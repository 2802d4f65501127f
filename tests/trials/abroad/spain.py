"""Three Spanish guitar makers with a book each, in cp1252: who did it stands in the file's name alone, two of them
write both outer strings into one cell, one the treble first. Made after a shop that somebody invented without having
seen the reader."""

from datetime import date, timedelta

from tests.trials.abroad.bench import Key, Plan, Reading, Shop, Station, Truth, happened
from tests.trials.abroad.paper import comma, sheet, steps

MONTHS = ("enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre", "octubre")
RELIEF = (("relief", ""),)
SET = (("nut", "bass"), ("nut", "treble"), ("action", "bass"), ("action", "treble"))
BOOKS = {
    "Marta": ["Entrada", "Nº serie", "Modelo", "Alivio antes", "Alivio después", "Ceja 6ª", "Ceja 1ª"],
    "Jordi": ["Fecha", "Serie", "Mod.", "Alivio llegada", "Alivio salida", "Cej. 6ª", "Cej. 1ª"],
    "Amparo": ["Fecha entrada", "Número", "Modelo", "Alivio entrada", "Alivio final", "Ceja 6ª", "Ceja 1ª"],
}
HEIGHTS = {"Marta": ["Altura XII 6ª/1ª"], "Jordi": ["Alt. 6ª", "Alt. 1ª"], "Amparo": ["Altura traste 12, 1ª/6ª"]}
WORDS = {"Marta": ("Bien", "Vuelve"), "Jordi": ("SI", "NO"), "Amparo": ("correcta", "devuelta")}


def guitar(action: float) -> dict[Key, tuple[float, float]]:
    """Settings of one model."""
    return {
        ("relief", ""): (0.20, 0.04),
        ("nut", "bass"): (0.75, 0.03),
        ("nut", "treble"): (0.60, 0.03),
        ("action", "bass"): (action, 0.10),
        ("action", "treble"): (action - 0.8, 0.09),
    }


PLAN = Plan(
    seed=9341,
    start=date(2026, 2, 2),
    a_day=5,
    models={"Concierto 1": guitar(4.0), "Flamenca F": guitar(3.5)},
    route=(
        Station("setup", tuple(BOOKS), found=RELIEF, left=(*RELIEF, *SET), sets=(*RELIEF, *SET)),
        Station("final_inspection", ("-",)),
    ),
    serials=("LT", 2601),
    off=("Jordi", ("action", "treble"), 0.30),
    culprit=("setup", 0.09),
    tight="Flamenca F",
)


def halves(rng, truth: Truth, serial: str, values: dict[Key, float], keys: list[Key]) -> str:
    """Numbers of one cell with a slash between, now and then one of them left out."""
    parts = []
    for key in keys:
        shown = steps(values[key], 0.1)
        if rng.random() < 0.01:
            parts.append("-" if len(keys) > 1 else "")
            continue
        truth.readings.append(Reading(serial, *key, "", "", shown))
        parts.append(comma(shown, 1))
    return "/".join(parts)


def shop() -> Shop:
    """`Ficha Marta 2026.csv` and two more."""
    visits, rng = happened(PLAN)
    facts = {"off": "Jordi action treble", "tight": "Flamenca F"}
    truth = Truth(facts=facts, instruments=PLAN.instruments)
    back = {visit.serial for visit in visits if visit.verdict == "send back"}
    rows: dict[str, list[list[str]]] = {who: [] for who in BOOKS}
    month, day = 0, None
    for visit in visits:
        if visit.stage != "setup" or visit.again:
            continue
        who, serial, came, gone = visit.who, visit.serial, visit.at.date(), visit.at.date() + timedelta(days=3)
        if who == "Marta" and came.month != month:
            month = came.month
            rows[who].append([f"{MONTHS[month - 1].upper()} {came.year}"])
        days = {"Marta": f"{came:%d/%m/%Y}", "Jordi": "" if came == day else f"{came.day}/{came.month}/{came:%y}"}
        days["Amparo"] = f"{came.day} {MONTHS[came.month - 1][:3]} {came.year}"
        day = came if who == "Jordi" else day
        number = f"{serial[:2]}-{serial[2:]}/26" if rng.random() < 0.97 else f"{serial[:2].lower()} {serial[2:]}/26"
        mine = f"{serial}/26"
        cells = [days[who], number, visit.model]
        for key, values, moment in ((RELIEF[0], visit.found, "found"), (RELIEF[0], visit.left, "left")):
            shown = max(0.05, steps(values[key], 0.05))
            truth.readings.append(Reading(mine, *key, "", moment, shown))
            cells.append(comma(shown, 2))
        for key in SET[:2]:
            shown = steps(visit.left[key], 0.01)
            truth.readings.append(Reading(mine, *key, "", "", shown))
            cells.append(comma(shown, 2) if rng.random() > 0.01 else f"{shown:.2f} mm")
        both = [SET[2], SET[3]]
        cells += (
            [halves(rng, truth, mine, visit.left, [key]) for key in both]
            if who == "Jordi"
            else [halves(rng, truth, mine, visit.left, both if who == "Marta" else both[::-1])]
        )
        result = WORDS[who][serial in back]
        if serial in back:
            truth.send_backs.append((mine, "final_inspection"))
        rows[who].append([*cells, f"{gone:%d/%m/%Y}", result])
    rows["Marta"].append([f"Total guitarras: {sum(len(row) > 1 for row in rows['Marta'])}"])
    files = {}
    for who, heads in BOOKS.items():
        head = [*heads, *HEIGHTS[who], "Salida", "Resultado"]
        wide = [[*row, *[""] * (len(head) - len(row))] for row in rows[who]]
        files[f"Ficha {who} 2026.csv"] = sheet([head, *wide], ";").encode("cp1252")
    knows = (
        "Europe/Madrid. Guitarras clásicas. Todo en mm, alturas en el traste 12. Cada ficha es de quien da su nombre. "
        "Alivio antes = como llega, después = como sale. Vuelve, NO y devuelta = no pasa."
    )
    return Shop("spain", files, truth, knows)
