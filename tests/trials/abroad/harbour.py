"""A factory's coded export, a row a measurement, with what came in and what went out beside each other, rows of the
paint line among those of the benches; written from the README before the reader was looked at."""

from datetime import date

from tests.trials.abroad.bench import Key, Plan, Reading, Shop, Station, Truth, Visit, happened
from tests.trials.abroad.paper import sheet, steps

ACTION = (("action", "bass"), ("action", "treble"))
NUT = (("nut", "bass"), ("nut", "treble"))
BOW = (("neck_bow", ""),)
RELIEF = (("relief", ""),)


def guitar(bass: float, treble: float, relief: float, nut: float) -> dict[Key, tuple[float, float]]:
    """Settings of one model."""
    return {
        ("neck_bow", ""): (0.09, 0.05),
        ("relief", ""): (relief, 0.03),
        ("nut", "bass"): (nut, 0.025),
        ("nut", "treble"): (nut - 0.18, 0.025),
        ("action", "bass"): (bass, 0.07),
        ("action", "treble"): (treble, 0.07),
    }


PLAN = Plan(
    seed=4432,
    start=date(2026, 4, 13),
    a_day=14,
    models={
        "110": guitar(2.4, 1.8, 0.16, 0.55),
        "120": guitar(2.4, 1.8, 0.16, 0.55),
        "310": guitar(2.0, 1.6, 0.15, 0.50),
    },
    route=(
        Station("receiving", ("4402",), found=BOW),
        Station("neck_straightening", ("4410", "4417"), found=RELIEF, left=RELIEF, sets=RELIEF),
        Station("nut_slotting", ("4417", "4423"), found=NUT, left=NUT, sets=NUT),
        Station("bridge_fitting", ("4423", "4431", "4410"), found=ACTION, left=ACTION, sets=ACTION),
        Station("final_inspection", ("4490",), found=(*ACTION, *RELIEF)),
    ),
    lots=("77101", "77102", "77103", "77104", "77105"),
    serials=("", 60018001),
    off=("4431", ("action", "bass"), 0.27),
    bad_lot=("77103", 0.20),
    culprit=("nut_slotting", 0.10),
    tight="120",
)
WC = {
    "receiving": "100",
    "neck_straightening": "200",
    "nut_slotting": "300",
    "bridge_fitting": "400",
    "final_inspection": "700",
}
CH = {
    ("neck_bow", ""): "01",
    ("relief", ""): "02",
    ("nut", "bass"): "11",
    ("nut", "treble"): "12",
    ("action", "bass"): "21",
    ("action", "treble"): "22",
}
HEADINGS = ["REC", "DT", "TM", "WC", "OPR", "SNO", "TYP", "BATCH", "CHR", "V_IN", "V_OUT", "RC", "RWC"]


def rows_of(truth: Truth, rng, visit: Visit) -> list[list[str]]:
    """The lines of a visit, one a characteristic; the result stands on each of them."""
    out = []
    back = visit.verdict == "send back"
    code = {"pass": "0", "fixed": "1", "send back": "9"}[visit.verdict]
    for key in visit.found:
        cells = []
        for values, moment in ((visit.found, "found" if visit.left else ""), (visit.left, "left")):
            if key not in values or rng.random() < 0.01:
                cells.append("")
                continue
            shown = steps(values[key], 0.01)
            truth.readings.append(Reading(visit.serial, *key, visit.stage, moment, shown))
            cells.append(f"{shown:.2f}")
        out.append(
            [
                "",
                f"{visit.at:%Y%m%d}",
                f"{visit.at:%H:%M:%S}",
                WC[visit.stage],
                visit.who,
                visit.serial,
                visit.model,
                visit.lot,
                CH[key],
                *cells,
                code,
                WC[visit.back_to] if back else "",
            ]
        )
    if back:
        truth.send_backs.append((visit.serial, visit.stage))
    return out


def painted(rng, visit: Visit) -> list[list[str]]:
    """Two rows of the paint line for the same instrument: gloss, and thickness in micrometres."""
    head = ["", f"{visit.at:%Y%m%d}", f"{visit.at:%H:%M:%S}", "850", "4477", visit.serial, visit.model, visit.lot]
    gloss, thick = f"{rng.normal(88, 2):.1f}", f"{rng.normal(140, 9):.0f}"
    return [[*head, "81", gloss, gloss, "0", ""], [*head, "82", thick, "", "0" if rng.random() > 0.05 else "9", ""]]


def shop() -> Shop:
    """`EXP_2026_04.csv` and so on, a file a month."""
    visits, rng = happened(PLAN)
    truth = Truth(facts={"off": "4431 action bass", "lot": "77103", "culprit": "nut_slotting", "tight": "120"})
    truth.instruments = PLAN.instruments
    files: dict[str, list[list[str]]] = {}
    for visit in visits:
        rows = files.setdefault(f"EXP_{visit.at:%Y_%m}.csv", [HEADINGS])
        lines = rows_of(truth, rng, visit)
        if visit.stage == "receiving" and rng.random() < 0.5:
            lines = [*painted(rng, visit), *lines]
        for line in lines:
            line[0] = str(len(rows))
            rows.append(line)
    knows = (
        "Europe/Madrid. Types 110 and 120 are steel-string guitars, 310 is an electric guitar. WC 850 is the paint "
        "line and none of ours. RC 0 fine, 1 reworked, 9 sent back to RWC. Lengths in mm. CHR 01 neck bow as it comes, "
        "02 relief, 11 and 12 over fret 1 bass and treble, 21 and 22 action. V_IN as it came to the bench, V_OUT as "
        "it left it."
    )
    return Shop("harbour", {name: sheet(rows, ";").encode() for name, rows in files.items()}, truth, knows)
