"""Two shops in the States: a row a measurement in thou and 64ths; and a board with headings over three rows."""

from datetime import date

from tests.trials.abroad.bench import Plan, Reading, Shop, Station, Truth, Visit, happened
from tests.trials.abroad.paper import INCH, sheet, sixty_fourths, steps, workbook

ACTION = (("action", "bass"), ("action", "treble"))
NUT = (("nut", "bass"), ("nut", "treble"))
BOW = (("neck_bow", "bass"), ("neck_bow", "treble"))
RELIEF = (("relief", ""),)
TOP = (("intonation", "1"),)


def fretted(bass: float, treble: float, relief: float, nut: float) -> dict[tuple[str, str], tuple[float, float]]:
    """Settings of one model; the spreads of a steady bench."""
    return {
        ("neck_bow", "bass"): (0.11, 0.05),
        ("neck_bow", "treble"): (0.10, 0.05),
        ("relief", ""): (relief, 0.03),
        ("nut", "bass"): (nut, 0.04),
        ("nut", "treble"): (nut - 0.12, 0.04),
        ("action", "bass"): (bass, 0.09),
        ("action", "treble"): (treble, 0.09),
        ("intonation", "1"): (0.5, 1.4),
    }


LINES = Plan(
    seed=4413,
    start=date(2026, 4, 6),
    a_day=10,
    models={
        "Cardinal A": fretted(1.9, 1.6, 0.10, 0.60),
        "Cardinal F": fretted(1.9, 1.6, 0.10, 0.60),
        "Towhee OM": fretted(2.4, 1.8, 0.15, 0.52),
    },
    route=(
        Station("receiving", ("Ray", "Dot"), found=BOW),
        Station("neck_straightening", ("Dot", "Chuck"), left=RELIEF, sets=RELIEF),
        Station("nut_slotting", ("Ray", "Lena"), left=NUT, sets=NUT),
        Station("bridge_fitting", ("Ray", "Chuck", "Lena"), left=(*ACTION, *TOP), sets=(*ACTION, *TOP)),
        Station("final_inspection", ("Marge",), left=(*ACTION, *RELIEF, *TOP)),
    ),
    lots=("V118", "V119", "V120", "V121", "V122", "V123"),
    serials=("C", 7001),
    off=("Ray", ("action", "bass"), 0.30),
    bad_lot=("V120", 0.20),
    culprit=("nut_slotting", 0.10),
    tight="Cardinal F",
)
BENCH = {
    "receiving": "Receiving",
    "neck_straightening": "Neck jig",
    "nut_slotting": "Nut bench",
    "bridge_fitting": "Bridge bench",
    "final_inspection": "Final",
}
CHECK = {
    ("neck_bow", "bass"): "Neck straight B",
    ("neck_bow", "treble"): "Neck straight T",
    ("relief", ""): "Relief",
    ("nut", "bass"): "1st fret B",
    ("nut", "treble"): "1st fret T",
    ("action", "bass"): "Action 12 B",
    ("action", "treble"): "Action 12 T",
    ("intonation", "1"): "Inton. str 1",
}
GUILTY = {
    "nut_slotting": "Relief",
    "bridge_fitting": "Action 12 B",
    "neck_straightening": "Relief",
    "receiving": "Action 12 T",
}


def lines() -> Shop:
    """`qc_lines.csv`: each check a line; a failed one says F and where it went."""
    visits, rng = happened(LINES)
    truth = Truth(facts={"off": "Ray action bass", "lot": "V120", "culprit": "nut_slotting", "tight": "Cardinal F"})
    truth.instruments = LINES.instruments
    rows = [["Tag", "Model", "Vendor lot", "Bench", "Check", "Reading", "Unit", "By", "Date", "Time", "P/F", "Send to"]]
    for visit in visits:
        mine = []
        for key, value in (*visit.found.items(), *visit.left.items()):
            if rng.random() < 0.008:
                continue
            text, unit, true = written(key, value)
            truth.readings.append(Reading(visit.serial, *key, visit.stage, "", true))
            back = visit.verdict == "send back" and CHECK[key] == GUILTY[visit.back_to]
            mine.append(
                [
                    visit.serial,
                    visit.model,
                    visit.lot if visit.stage == "receiving" else "",
                    BENCH[visit.stage],
                    CHECK[key],
                    text,
                    unit,
                    visit.who,
                    f"{visit.at:%b} {visit.at.day} {visit.at.year}",
                    f"{visit.at:%I:%M %p}".lstrip("0"),
                    "F" if back else "P",
                    BENCH[visit.back_to] if back else "",
                ]
            )
        if any(line[10] == "F" for line in mine):
            truth.send_backs.append((visit.serial, visit.stage))
        rows += mine
    knows = (
        "America/Chicago. Cardinals are mandolins, Towhee is a steel-string guitar. Neck straight is bow as it comes "
        "in, no strings. F means it went back to the bench in Send to. Vendor lot is the neck maker's lot."
    )
    return Shop("lines", {"qc_lines.csv": sheet(rows).encode()}, truth, knows)


def written(key: tuple[str, str], value: float) -> tuple[str, str, float]:
    """Cell, unit as typed, and what it truly is in mm or cents."""
    if key[0] == "action":
        text, true = sixty_fourths(value)
        return text.removesuffix("/64"), "64ths", true
    if key[0] == "intonation":
        cents = steps(value, 0.5)
        return f"{cents:+g}" if cents else "0", "cents", cents
    thou = steps(value, 1.0, INCH / 1000)
    return f"{thou:g}", "thou", thou * INCH / 1000


BOARD = Plan(
    seed=4414,
    start=date(2026, 5, 4),
    a_day=12,
    models={
        "Old Mill open back": fretted(2.8, 2.8, 0.22, 0.66),
        "Old Mill resonator": fretted(2.4, 2.4, 0.20, 0.62),
        "Creek mandolin": fretted(1.9, 1.6, 0.10, 0.60),
    },
    route=(
        Station("receiving", ("AB", "TJ"), found=BOW),
        Station("neck_straightening", ("TJ", "Roy"), found=RELIEF, left=RELIEF, sets=RELIEF),
        Station("nut_slotting", ("Roy", "Cy"), left=NUT, sets=NUT),
        Station("bridge_fitting", ("Cy", "AB", "Roy"), left=ACTION, sets=ACTION),
        Station("final_inspection", ("Fay", "Lu"), left=(*ACTION, *RELIEF)),
    ),
    lots=("1-26", "2-26", "3-26", "4-26", "5-26"),
    serials=("OM", 2301),
    off=("Cy", ("action", "bass"), 0.33),
    bad_lot=("3-26", 0.20),
    culprit=("bridge_fitting", 0.10),
    tight="Creek mandolin",
)
COLUMNS = (  # station, heading, unit
    ("", "Serial", ""),
    ("", "Model", ""),
    ("", "Neck lot", ""),
    ("Receiving", "Date", ""),
    ("Receiving", "By", ""),
    ("Receiving", "Bow B", "thou"),
    ("Receiving", "Bow T", "thou"),
    ("Neck", "Date", ""),
    ("Neck", "By", ""),
    ("Neck", "Relief before", "thou"),
    ("Neck", "Relief after", "thou"),
    ("Nut", "By", ""),
    ("Nut", "Bass", "thou"),
    ("Nut", "Treble", "thou"),
    ("Bridge", "By", ""),
    ("Bridge", "Action B", "64ths"),
    ("Bridge", "Action T", "64ths"),
    ("Final", "Date", ""),
    ("Final", "By", ""),
    ("Final", "Action B", "64ths"),
    ("Final", "Action T", "64ths"),
    ("Final", "Relief", "thou"),
    ("Final", "Result", ""),
    ("Final", "Back to", ""),
)
STATION = {
    "receiving": "Receiving",
    "neck_straightening": "Neck",
    "nut_slotting": "Nut",
    "bridge_fitting": "Bridge",
    "final_inspection": "Final",
}


def board() -> Shop:
    """`Setup board.xlsx`: one wide tab; an instrument that came back has a second row with what was done again."""
    visits, rng = happened(BOARD)
    truth = Truth(
        facts={"off": "Cy action bass", "lot": "3-26", "culprit": "bridge_fitting", "tight": "Creek mandolin"}
    )
    truth.instruments = BOARD.instruments
    passes: dict[tuple[str, bool], list[Visit]] = {}
    for visit in visits:
        passes.setdefault((visit.serial, visit.again), []).append(visit)
    tops = [["Setup board 2026 - banjos & mandolins"], *([one[k] for one in COLUMNS] for k in range(3))]
    spans = [(0, 0, 0, len(COLUMNS) - 1)]
    for name in STATION.values():
        at = [i for i, one in enumerate(COLUMNS) if one[0] == name]
        spans.append((1, at[0], 1, at[-1]))
    rows = [wide(those, truth, rng) for those in passes.values()]
    book = workbook(
        {
            "Board": {"rows": [*tops, *rows], "merged": spans},
            "Parts to order": {"rows": [["Part", "Qty"], ["5/8 bridges", 40], ["nut blanks", 60]]},
        }
    )
    knows = (
        "America/New_York. Open back and resonator are banjos. Bow is the neck as it comes, no strings. BACK means "
        "it was sent back to the bench in Back to. Neck lot is the lot of necks."
    )
    return Shop("board", {"Setup board.xlsx": book}, truth, knows)


def wide(visits: list[Visit], truth: Truth, rng) -> list:
    """One row of the board."""
    cells: dict[tuple[str, str], object] = {
        ("", "Serial"): visits[0].serial,
        ("", "Model"): visits[0].model,
        ("", "Neck lot"): visits[0].lot,
    }
    for visit in visits:
        name = STATION[visit.stage]
        cells[name, "Date"], cells[name, "By"] = visit.at.date(), visit.who
        moment = {0: "found", 1: "left"} if visit.found and visit.left else {0: "", 1: ""}
        for k, values in enumerate((visit.found, visit.left)):
            for key, value in values.items():
                if rng.random() < 0.01:
                    continue
                text, _unit, true = written(key, value)
                truth.readings.append(Reading(visit.serial, *key, visit.stage, moment[k], true))
                cells[name, board_heading(visit.stage, key, k)] = float(text) if rng.random() > 0.02 else f"{text} "
        if visit.stage == "final_inspection":
            cells[name, "Result"] = "BACK" if visit.verdict == "send back" else "ok"
            if visit.verdict == "send back":
                cells[name, "Back to"] = STATION[visit.back_to]
                truth.send_backs.append((visit.serial, visit.stage))
    return [cells.get((one[0], one[1])) for one in COLUMNS]


def board_heading(stage: str, key: tuple[str, str], k: int) -> str:
    """The heading that a reading of this bench stands under."""
    side = {"bass": "B", "treble": "T"}.get(key[1], "")
    if stage == "receiving":
        return f"Bow {side}"
    if stage == "neck_straightening":
        return ("Relief before", "Relief after")[k]
    if stage == "nut_slotting":
        return {"bass": "Bass", "treble": "Treble"}[key[1]]
    return f"Action {side}" if key[0] == "action" else "Relief"
