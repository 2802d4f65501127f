"""A Dutch shop whose program writes a CSV each evening with the last three days: semicolons, decimal comma, a BOM."""

from datetime import date, timedelta

from tests.trials.abroad.bench import Plan, Reading, Shop, Station, Truth, Visit, happened
from tests.trials.abroad.paper import comma, sheet, steps

ACTION = (("action", "bass"), ("action", "treble"))
NUT = (("nut", "bass"), ("nut", "treble"))
BOW = (("neck_bow", ""),)
RELIEF = (("relief", ""),)


def small(bass: float, treble: float, relief: float, nut: float) -> dict[tuple[str, str], tuple[float, float]]:
    """Settings of one model."""
    return {
        ("neck_bow", ""): (0.10, 0.05),
        ("relief", ""): (relief, 0.028),
        ("nut", "bass"): (nut, 0.035),
        ("nut", "treble"): (nut - 0.06, 0.035),
        ("action", "bass"): (bass, 0.09),
        ("action", "treble"): (treble, 0.09),
    }


PLAN = Plan(
    seed=4415,
    start=date(2026, 1, 12),
    a_day=12,
    models={
        "Merel sopraan": small(2.5, 2.5, 0.07, 0.56),
        "Merel tenor": small(2.6, 2.5, 0.08, 0.56),
        "Kievit western": small(2.4, 1.8, 0.16, 0.45),
    },
    route=(
        Station("receiving", ("Bram", "Fenna"), found=BOW, minutes=4),
        Station("neck_straightening", ("Fenna", "Joost"), left=RELIEF, minutes=11, sets=RELIEF),
        Station("nut_slotting", ("Bram", "Sjoerd"), left=NUT, minutes=13, sets=NUT),
        Station("bridge_fitting", ("Sjoerd", "Joost", "Fenna"), left=ACTION, minutes=15, sets=ACTION),
        Station("final_inspection", ("Wil", "Ans"), left=(*ACTION, *RELIEF), minutes=6),
    ),
    lots=("P-2204", "P-2205", "P-2206", "P-2207", "P-2208", "P-2209"),
    serials=("NL", 55010),
    off=("Sjoerd", ("action", "bass"), 0.28),
    bad_lot=("P-2207", 0.20),
    culprit=("nut_slotting", 0.11),
    tight="Merel tenor",
)
PLACE = {
    "receiving": "Ontvangst",
    "neck_straightening": "Hals richten",
    "nut_slotting": "Topkam",
    "bridge_fitting": "Brug",
    "final_inspection": "Eindcontrole",
}
FAULT = {
    "receiving": "lakschade",
    "neck_straightening": "hals krom",
    "nut_slotting": "snaar rammelt open",
    "bridge_fitting": "snaarhoogte",
}
COLUMNS = {
    ("neck_bow", ""): 6,
    ("relief", ""): 7,
    ("nut", "bass"): 8,
    ("nut", "treble"): 9,
    ("action", "bass"): 10,
    ("action", "treble"): 11,
}
HEADINGS = "Geëxporteerd;Serienummer;Model;Werkplek;Begin;Eind;Halskromming (mm);Reliëf (mm);Topkam bas (mm)"
HEADINGS += (
    ";Topkam discant (mm);Snaarhoogte bas (mm);Snaarhoogte discant (mm);Medewerker;Resultaat;Fout;Terug naar;Partij"
)


def shop() -> Shop:
    """`werkbank_2026-01-12.csv` and so on, a file a working day, each with the last three calendar days in it."""
    visits, rng = happened(PLAN)
    truth = Truth(
        facts={"off": "Sjoerd action bass", "lot": "P-2207", "culprit": "nut_slotting", "tight": "Merel tenor"}
    )
    truth.instruments = PLAN.instruments
    rows = [(visit.at.date(), row(visit, truth, rng)) for visit in visits]
    files = {}
    for day in sorted({day for day, _ in rows}):
        stamp = f"{day.day}-{day.month}-{day.year} 18:{int(rng.integers(60)):02d}"
        those = [[stamp, *cells[1:]] for at, cells in rows if day - timedelta(days=3) < at <= day]
        files[f"werkbank_{day}.csv"] = sheet([HEADINGS.split(";"), *those], ";").encode("utf-8-sig")
    knows = (
        "Europe/Amsterdam. Merel zijn ukeleles (sopraan, tenor), Kievit is een western gitaar. Halskromming zoals hij "
        "binnenkomt. Topkam is de hoogte van de snaar boven fret 1, snaarhoogte boven fret 12. goed = pass, hersteld = "
        "fixed, terug = send back. Partij is de partij van de leverancier."
    )
    return Shop("lowlands", files, truth, knows)


def row(visit: Visit, truth: Truth, rng) -> list[str]:
    """One line of the export; the first cell is the stamp of whoever exports it."""
    cells = [""] * 17
    begin, end = visit.at, visit.at + timedelta(minutes=visit.minutes)
    cells[1:6] = [visit.serial, visit.model, PLACE[visit.stage], clock(begin), clock(end)]
    for key, value in (*visit.found.items(), *visit.left.items()):
        if rng.random() < 0.01:
            continue
        shown = steps(value, 0.01)
        truth.readings.append(Reading(visit.serial, *key, visit.stage, "", shown))
        cells[COLUMNS[key]] = comma(shown, 2)
    cells[12] = visit.who
    cells[13] = {"pass": "goed", "fixed": "hersteld", "send back": "terug"}[visit.verdict]
    if visit.back_to:
        cells[14], cells[15] = FAULT[visit.back_to], PLACE[visit.back_to]
        truth.send_backs.append((visit.serial, visit.stage))
    cells[16] = visit.lot if visit.stage == "receiving" else ""
    return cells


def clock(at) -> str:
    """Day, month and time as the Dutch write them."""
    return f"{at.day}-{at.month}-{at.year} {at.hour}:{at.minute:02d}"
