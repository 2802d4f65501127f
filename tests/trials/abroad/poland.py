"""A Polish factory's export: every word a code, lengths in hundredths of a millimetre, the list in somebody's head."""

from datetime import date

from tests.trials.abroad.bench import Plan, Reading, Shop, Station, Truth, Visit, happened
from tests.trials.abroad.paper import sheet, steps

ACTION = (("action", "bass"), ("action", "treble"))
NUT = (("nut", "bass"), ("nut", "treble"))
BOW = (("neck_bow", ""),)
RELIEF = (("relief", ""),)


def made(bass: float, treble: float, relief: float, nut: float) -> dict[tuple[str, str], tuple[float, float]]:
    """Settings of one type."""
    return {
        ("neck_bow", ""): (0.10, 0.05),
        ("relief", ""): (relief, 0.03),
        ("nut", "bass"): (nut, 0.03),
        ("nut", "treble"): (nut - 0.18, 0.03),
        ("action", "bass"): (bass, 0.08),
        ("action", "treble"): (treble, 0.08),
    }


PLAN = Plan(
    seed=4418,
    start=date(2026, 4, 13),
    a_day=14,
    models={"T1": made(2.4, 1.8, 0.16, 0.55), "T2": made(4.0, 3.2, 0.18, 0.76), "T3": made(2.0, 1.6, 0.14, 0.50)},
    route=(
        Station("receiving", ("04", "07"), found=BOW, minutes=3),
        Station("neck_straightening", ("07", "11"), left=RELIEF, minutes=10, sets=RELIEF),
        Station("nut_slotting", ("04", "12"), left=NUT, minutes=12, sets=NUT),
        Station("bridge_fitting", ("12", "15", "11"), left=ACTION, minutes=14, sets=ACTION),
        Station("final_inspection", ("21", "22"), left=(*ACTION, *RELIEF), minutes=5),
    ),
    lots=("60311", "60312", "60313", "60314", "60315", "60316"),
    serials=("", 2604001),
    off=("12", ("action", "bass"), 0.25),
    bad_lot=("60313", 0.20),
    culprit=("nut_slotting", 0.10),
    tight="T3",
)
OP = {
    "receiving": "10",
    "neck_straightening": "20",
    "nut_slotting": "30",
    "bridge_fitting": "40",
    "final_inspection": "90",
}
P = {
    ("action", "bass"): 7,
    ("action", "treble"): 8,
    ("relief", ""): 9,
    ("nut", "bass"): 10,
    ("nut", "treble"): 11,
    ("neck_bow", ""): 12,
}
KB = {"receiving": "02", "neck_straightening": "14", "nut_slotting": "31", "bridge_fitting": "35"}
HEADINGS = [
    "NRSER",
    "TYP",
    "PARTIA",
    "OP",
    "OPER",
    "DATA",
    "GODZ",
    "P01",
    "P02",
    "P03",
    "P04",
    "P05",
    "P06",
    "W",
    "KB",
    "OPZ",
]


def shop() -> Shop:
    """`EXP_202604.csv` and so on, a file a month."""
    visits, rng = happened(PLAN)
    truth = Truth(facts={"off": "12 action bass", "lot": "60313", "culprit": "nut_slotting", "tight": "T3"})
    truth.instruments = PLAN.instruments
    files: dict[str, list[list[str]]] = {}
    for visit in visits:
        name = f"EXP_{visit.at:%Y%m}.csv"
        files.setdefault(name, [HEADINGS]).append(row(visit, truth, rng))
    knows = (
        "Europe/Warsaw. T1 gitara akustyczna, T2 klasyczna, T3 elektryczna. OP 10 przyjecie, 20 prostowanie gryfu, 30 "
        "siodelko, 40 mostek, 90 kontrola koncowa. P01 akcja bas, P02 akcja wiolin, P03 krzywizna ze strunami. "
        "P04 i P05 siodelko (nad progiem 1) bas i wiolin, P06 krzywizna przy przyjeciu. Wszystko w setnych milimetra. "
        "W 0 dobry, 1 poprawiony, 9 cofniety; KB kod braku; OPZ operacja, na ktora cofnieto."
    )
    return Shop("poland", {name: sheet(rows, ";").encode() for name, rows in files.items()}, truth, knows)


def row(visit: Visit, truth: Truth, rng) -> list[str]:
    """One line of the export."""
    cells = [
        visit.serial,
        visit.model,
        visit.lot,
        OP[visit.stage],
        visit.who,
        f"{visit.at:%Y%m%d}",
        f"{visit.at:%H%M%S}",
    ]
    cells += [""] * 9
    for key, value in (*visit.found.items(), *visit.left.items()):
        if rng.random() < 0.01:
            continue
        hundredths = round(steps(value, 0.01) * 100)
        truth.readings.append(Reading(visit.serial, *key, visit.stage, "", hundredths / 100))
        cells[P[key]] = str(hundredths)
    cells[13] = {"pass": "0", "fixed": "1", "send back": "9"}[visit.verdict]
    if visit.back_to:
        cells[14], cells[15] = KB[visit.back_to], OP[visit.back_to]
        truth.send_backs.append((visit.serial, visit.stage))
    return cells
