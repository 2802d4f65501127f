"""A ukulele importer in England: a row an instrument, received and left side by side, thou and mm mixed."""

from datetime import date

from tests.trials.abroad.bench import Plan, Reading, Shop, Station, Truth, happened
from tests.trials.abroad.paper import INCH, sheet, steps

ACTION = (("action", "bass"), ("action", "treble"))
NUT = (("nut", "bass"), ("nut", "treble"))
RELIEF = (("relief", ""),)


def uke(bass: float, treble: float) -> dict[tuple[str, str], tuple[float, float]]:
    """Settings of a ukulele."""
    return {
        ("relief", ""): (0.07, 0.022),
        ("nut", "bass"): (0.56, 0.04),
        ("nut", "treble"): (0.50, 0.04),
        ("action", "bass"): (bass, 0.09),
        ("action", "treble"): (treble, 0.09),
    }


PLAN = Plan(
    seed=4412,
    start=date(2026, 2, 16),
    a_day=9,
    models={"Wren Soprano": uke(2.5, 2.5), "Linnet Concert": uke(2.5, 2.5), "Dunnock Tenor": uke(2.6, 2.5)},
    route=(
        Station(
            "setup",
            ("DW", "PJ", "Sue"),
            found=(*RELIEF, *ACTION),
            left=(*RELIEF, *ACTION, *NUT),
            sets=(*RELIEF, *ACTION, *NUT),
        ),
        Station("check", ("Sue", "MB")),
    ),
    lots=("B41", "B42", "B43", "B44", "B45", "B46"),
    serials=("", 30411),
    off=("DW", ("action", "treble"), 0.25),
    bad_lot=("B44", 0.16),
    bad_key="relief",
    culprit=("setup", 0.11),
    tight="Linnet Concert",
)
HEADINGS = "Ser No,Model,Batch,Date in,Relief in (thou),Act B in,Act T in,Relief out (thou),Act B out,Act T out"
HEADINGS += ",Nut B (thou),Nut T (thou),Set up by,Checked by,Date out,OK?,Came back for,Notes"
WHY = ("nut", "buzz", "action", "scratchy frets")


def shop() -> Shop:
    """`setups 2026.csv`; what came back stands in a second row of the same number."""
    visits, rng = happened(PLAN)
    truth = Truth(
        facts={"off": "DW action treble", "lot": "B44", "tight": "Linnet Concert"}, instruments=PLAN.instruments
    )
    rows = [HEADINGS.split(",")]
    checks: dict[str, list] = {}
    for visit in visits:
        if visit.stage == "check":
            checks.setdefault(visit.serial, []).append(visit)
    for visit in visits:
        if visit.stage != "setup":
            continue
        checked = checks[visit.serial][1 if visit.again else 0]

        def cell(key, value, moment, visit=visit):
            if rng.random() < 0.012:
                return "" if rng.random() < 0.7 else "?"
            thou = key[0] in ("relief", "nut")
            shown = steps(value, 1.0, INCH / 1000) if thou else steps(value, 0.05)
            truth.readings.append(
                Reading(
                    visit.serial, *key, "", moment if key[0] != "nut" else "", shown * INCH / 1000 if thou else shown
                )
            )
            return f"{shown:g}"

        found = [cell(key, value, "found") for key, value in visit.found.items()]
        left = [cell(key, value, "left") for key, value in visit.left.items()]
        back = checked.verdict == "send back"
        if back:
            truth.send_backs.append((visit.serial, ""))
        rows.append(
            [
                visit.serial,
                visit.model,
                visit.lot,
                f"{visit.at:%d/%m/%y}",
                *found,
                *left,
                visit.who,
                checked.who,
                f"{checked.at:%d/%m/%y}",
                "N" if back else str(rng.choice(["Y", "Y", "y"])),
                str(rng.choice(WHY, p=[0.6, 0.2, 0.1, 0.1])) if back else "",
                "2nd go" if visit.again else "",
            ]
        )
    knows = (
        "Europe/London. Sopranos, concerts and tenors are ukuleles. Action is in mm at the 12th. N means it went back "
        "to the bench. 'in' is as it came, 'out' as it left the set-up. Batch is the maker's batch."
    )
    return Shop("britain", {"setups 2026.csv": sheet(rows).encode()}, truth, knows)
