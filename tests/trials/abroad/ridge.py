"""A mandolin and banjo shop in Tennessee: a workbook with a tab a month, groups over names over units, weeks between
the rows, feelers in thou of which some are typed in inches, 64ths in all their spellings. Made after a shop that
somebody invented without having seen the reader."""

from datetime import date

from tests.trials.abroad.bench import Key, Plan, Reading, Shop, Station, Truth, Visit, happened
from tests.trials.abroad.paper import INCH, workbook

ACTION = (("action", "bass"), ("action", "treble"))
NUT = (("nut", "bass"), ("nut", "treble"))
BOW, RELIEF = (("neck_bow", ""),), (("relief", ""),)
TOP = [
    "No.",
    "Model",
    "Recd",
    "Coming in",
    "",
    "Bench",
    "",
    "",
    "",
    "",
    "",
    "",
    "",
    "Check",
    "",
    "",
    "",
    "",
    "",
    "Notes",
]
NAMES = [
    "",
    "",
    "",
    "Lot",
    "Bow",
    "By",
    "Done",
    "Relief found",
    "Relief left",
    "Nut B",
    "Nut T",
    "Action B",
    "Action T",
]
NAMES += ["By", "Date", "Action B", "Action T", "Result", "Back to", ""]
UNITS = ["", "", "", "", "thou", "", "", "thou", "thou", "thou", "thou", "64ths", "64ths", "", "", "64ths", "64ths"]
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August")
HAND = ("R.T.", "DL", "Wes")


def kind(action: float) -> dict[Key, tuple[float, float]]:
    """Settings of one model."""
    return {
        ("neck_bow", ""): (0.10, 0.04),
        ("relief", ""): (0.15, 0.03),
        ("nut", "bass"): (0.60, 0.03),
        ("nut", "treble"): (0.50, 0.03),
        ("action", "bass"): (action, 0.10),
        ("action", "treble"): (action - 0.2, 0.09),
    }


PLAN = Plan(
    seed=77213,
    start=date(2026, 1, 5),
    a_day=5,
    models={"F-style": kind(1.9), "A-style": kind(1.9), "Open-back 11": kind(2.8)},
    route=(
        Station("receiving", ("CK",), found=BOW),
        Station("setup", HAND, found=RELIEF, left=(*RELIEF, *NUT, *ACTION), sets=(*RELIEF, *NUT, *ACTION)),
        Station("final_inspection", ("CK",), found=ACTION),
    ),
    lots=("OX-1", "OX-2", "OX-3", "OX-4", "OX-5"),
    serials=("M", 1181),
    off=("R.T.", ("nut", "treble"), 0.12),
    bad_lot=("OX-4", 0.20),
    culprit=("setup", 0.08),
    tight="A-style",
)


def thou(rng, value: float) -> tuple[object, float]:
    """Whole leaves, now and then in inches or with their unit."""
    leaf, draw = max(1, round(value / INCH * 1000)), rng.random()
    return (leaf if draw < 0.9 else f".{leaf:03d}" if draw < 0.95 else f"{leaf} thou"), leaf * INCH / 1000


def marks(rng, value: float) -> tuple[object, float]:
    """Marks of a rule of 64ths, read to half."""
    half, draw = round(value / INCH * 128), rng.random()
    whole, odd = divmod(half, 2)
    plain = half / 2 if odd else whole
    spelt = f"{whole}½" if odd else f"{whole}/64"
    return (plain if draw < 0.7 else spelt if draw < 0.85 else f'{plain:g}/64"'), half * INCH / 128


def cell(truth: Truth, rng, visit: Visit, key: Key, value: float, moment: str) -> object:
    """As the bench writes it; sometimes nothing."""
    if rng.random() < 0.01:
        return "-"
    text, true = (marks if key[0] == "action" else thou)(rng, value)
    truth.readings.append(Reading(visit.serial, *key, visit.stage, moment, true))
    return text


def shop() -> Shop:
    """`Setup book 2026.xlsx`."""
    visits, rng = happened(PLAN)
    facts = {"off": "R.T. nut treble", "lot": "OX-4", "tight": "A-style"}
    truth = Truth(facts=facts, instruments=PLAN.instruments)
    mine: dict[str, list[Visit]] = {}
    for visit in visits:
        if not visit.again:
            mine.setdefault(visit.serial, []).append(visit)
    tabs: dict[str, dict] = {"Key": {"rows": [["Relief, Bow, Nut", "thousandths"], ["BK", "went back"]]}}
    week = None
    for serial, (came, bench, check) in mine.items():
        month = MONTHS[bench.at.month - 1]
        if month not in tabs:
            tabs[month] = {"rows": [[f"Setup book - {month} 2026"], [], TOP, NAMES, UNITS]}
        rows = tabs[month]["rows"]
        if bench.at.isocalendar().week != week:
            week = bench.at.isocalendar().week
            rows.append([f"wk of {bench.at:%b} {bench.at.day}"])
        row = [serial if rng.random() < 0.98 else serial.lower(), bench.model, came.at.date(), bench.lot]
        row += [cell(truth, rng, came, key, value, "") for key, value in came.found.items()]
        row += [bench.who, bench.at.date()]
        row += [cell(truth, rng, bench, key, value, "found") for key, value in bench.found.items()]
        row += [cell(truth, rng, bench, key, v, "left" if key in RELIEF else "") for key, v in bench.left.items()]
        row += [check.who, check.at.date()]
        row += [cell(truth, rng, check, key, value, "") for key, value in check.found.items()]
        back = check.verdict == "send back"
        rows.append([*row, "BK" if back else "OK", "bench" if back else "", ""])
        if back:
            truth.send_backs.append((serial, "final_inspection"))
    for name, tab in tabs.items():
        if name != "Key":
            tab["rows"] += [[], ["Total", sum(str(row[0])[1:2].isdigit() for row in tab["rows"] if row)]]
            tab["merged"] = [(2, 3, 2, 4), (2, 5, 2, 12), (2, 13, 2, 18)]
    knows = (
        "America/New_York. Open-back 11 is an open-back banjo, the others mandolins. Relief, bow, nut: thou, action: "
        "64ths. BK went back, OK passed. Bench is where everything is set up, Check the last look."
    )
    return Shop("ridge", {"Setup book 2026.xlsx": workbook(tabs)}, truth, knows)
