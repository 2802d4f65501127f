"""Four more shops, made before the reader was opened again: overlapping exports, stations over headings, a machine's
codes with stamps of UTC, files of central Europe. Their answers are few: the words they use, and what codes mean.
"""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from tests.ingest.strangers.english import text_of
from tests.ingest.strangers.sheets import csv_bytes, workbook_bytes
from tests.ingest.strangers.truth import Stranger, Truth, tell
from tests.ingest.strangers.world import Measure, Plan, Step, Visit, live


def overlapping_exports(instruments: int, seed: int) -> Stranger:
    """An export every few days that repeats the days before, each with its own stamp in another order of day."""
    rng = np.random.default_rng(seed)
    action = (Measure("action", "bass", "bare inch", 2.4, 0.1), Measure("action", "treble", "bare inch", 1.8, 0.1))
    nut = (
        Measure("nut_height", "bass", "bare inch", 0.55, 0.04),
        Measure("nut_height", "treble", "bare inch", 0.36, 0.03),
    )
    codes = {
        "receiving": "10-RECV",
        "nut_slotting": "30-NUT",
        "bridge_fitting": "40-BRDG",
        "final_inspection": "50-FQC",
    }
    route = (
        Step("receiving", ("E104",), 3),
        Step("nut_slotting", ("E117", "E122"), 9, nut),
        Step("bridge_fitting", ("E117", "E125"), 8, action),
        Step("final_inspection", ("E131",), 5, action, "bridge_fitting", 0.12, ("ACT-HI", "BUZZ"), waits=1),
    )
    visits = live(Plan(("PG-D28", "PG-OM"), "RB{:06d}", 260113, route, 8, datetime(2026, 6, 1)), instruments, rng)
    head = [
        "Exported",
        "Unit ID",
        "SKU",
        "WC",
        "Emp",
        "Clock On",
        "Clock Off",
        "Act 12 E6",
        "Act 12 E1",
        "Nut E6",
        "Nut E1",
    ]
    days = sorted({v.started.date() for v in visits})
    files = {}
    for at in range(0, len(days), 3):
        last, first = days[min(len(days) - 1, at + 2)], days[max(0, at - 2)]
        rows: list[list[object]] = [[*head, "Disp", "Route To", "Defect Cd"]]
        for v in visits:
            if not first <= v.started.date() <= last:
                continue
            cells = [text_of(v, what, side) for what in ("action", "nut_height") for side in ("bass", "treble")]
            stamps = [f"{when:%Y-%m-%d %H:%M}" for when in (v.started, v.finished)]
            back = "R" if v.outcome == "send back" else "A"
            who = [f"{last:%m/%d/%Y} 18:00", v.serial, v.model, codes[v.stage], v.person]
            rows.append([*who, *stamps, *cells, back, codes.get(v.sent_back_to, ""), v.fault])
        files[f"travelers_{last.isoformat()}.csv"] = csv_bytes(rows)
    answers = """
[shop]
name = "Ridgeback"
timezone = "America/Chicago"
[[log]]
units = { action = "in", nut_height = "in" }
words = { outcome = { A = "pass", R = "send back" } }
"""
    return Stranger("overlapping_exports", files, answers, tell(Truth(), visits))


def stations_over_headings(instruments: int, seed: int) -> Stranger:
    """A row an instrument under a title and three rows of merged headings: station, what, side and unit."""
    rng = np.random.default_rng(seed)
    relief = (Measure("relief", "", "thou", 0.14, 0.03),)
    route = (
        Step("receiving", ("JT",), 4, (Measure("neck_bow", "", "thou", 0.1, 0.05),)),
        Step("neck_straightening", ("JT", "Wes"), 6, relief),
        Step(
            "final_inspection",
            ("Cyn",),
            5,
            (Measure("action", "bass", "64ths", 1.9, 0.1), Measure("action", "treble", "64ths", 1.6, 0.1), *relief),
            waits=1,
        ),
    )
    plan = Plan(("F Mandolin No. 3", "A Mandolin No. 1"), "26-{:d}", 1501, route, 8, datetime(2026, 4, 6))
    visits = [v for v in live(plan, instruments, rng) if v.outcome == "pass"]
    one = ["Instrument", "", "", "Neck in", "", "", "", "Neck", "", "", "Final", "", "", "", ""]
    two = [
        "Serial",
        "Model",
        "Customer order",
        "Lot",
        "Date",
        "By",
        "Straightness",
        "Date",
        "By",
        "Relief",
        "Date",
        "By",
    ]
    two += ["Action at 12th", "", "Relief"]
    three = ["", "", "", "", "", "", "thou", "", "", "thou", "", "", "bass", "treble", "thou"]
    title = "Setup register"
    spans = [(0, 0, 0, 8, title), (1, 0, 1, 2, one[0]), (1, 3, 1, 6, one[3]), (1, 7, 1, 9, one[7])]
    spans += [(1, 10, 1, 14, one[10]), (2, 12, 2, 13, "Action at 12th")]
    by_serial: dict[str, dict[str, Visit]] = {}
    for v in visits:
        by_serial.setdefault(v.serial, {})[v.stage] = v
    rows: list[list[object]] = [[title], one, two, three]
    for number, (serial, at) in enumerate(by_serial.items()):
        neck_in, neck, final = at["receiving"], at["neck_straightening"], at["final_inspection"]
        row: list[object] = [serial, neck.model, f"SO{4000 + number}", f"NW-{311 + number // 40}"]
        row += [neck_in.started.date(), neck_in.person, int(text_of(neck_in, "neck_bow", ""))]
        row += [neck.started.date(), neck.person, int(text_of(neck, "relief", ""))]
        row += [
            final.started.date(),
            final.person,
            text_of(final, "action", "bass"),
            text_of(final, "action", "treble"),
        ]
        rows.append([*row, int(text_of(final, "relief", ""))])
    tabs = {"Register": rows, "How to": [["Fill in every box"], ["Relief with the string held down"]]}
    answers = '[shop]\nname = "Larkfield"\ntimezone = "America/Denver"\nlength = "in"\n'
    book = workbook_bytes(tabs, {"Register": spans})
    return Stranger("stations_over_headings", {"setup register.xlsx": book}, answers, tell(Truth(), visits))


def machine_codes(instruments: int, seed: int) -> Stranger:
    """Codes for columns, stations and results, stamps of UTC, bars between the cells."""
    rng = np.random.default_rng(seed)
    action = (Measure("action", "bass", "mm", 2.0, 0.08), Measure("action", "treble", "mm", 1.6, 0.08))
    codes = {"neck_straightening": "S2", "bridge_fitting": "S4", "final_inspection": "S9"}
    route = (
        Step("neck_straightening", ("71", "72"), 6, (Measure("relief", "", "mm", 0.15, 0.03),)),
        Step("bridge_fitting", ("72", "75"), 8, action),
        Step("final_inspection", ("80",), 5, action, "bridge_fitting", 0.1, ("D11", "D40"), waits=1),
    )
    plan = Plan(("E-100", "E-200"), "A{:06d}", 550000, route, 9, datetime(2026, 5, 11))
    visits, zone = live(plan, instruments, rng), ZoneInfo("America/Toronto")
    rows: list[list[object]] = [
        ["REC", "SN", "PN", "STN", "OP", "TS_START", "TS_END", "M01", "M04", "M05", "RC", "DEF", "RTE"]
    ]
    for number, v in enumerate(visits, 1):
        stamps = [f"{when.replace(tzinfo=zone).astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}" for when in (v.started, v.finished)]
        cells = [text_of(v, "relief", ""), text_of(v, "action", "bass"), text_of(v, "action", "treble")]
        back = "3" if v.outcome == "send back" else "1"
        who = [f"{number:07d}", v.serial, v.model, codes[v.stage], v.person]
        rows.append([*who, *stamps, *cells, back, v.fault, codes.get(v.sent_back_to, "")])
    answers = """
[shop]
name = "Plant 4"
timezone = "America/Toronto"
[[log]]
headings = { M01 = "relief (mm)", M04 = "action bass (mm)", M05 = "action treble (mm)" }
[log.words]
outcome = { 1 = "pass", 3 = "send back" }
stage = { S2 = "neck_straightening", S4 = "bridge_fitting", S9 = "final_inspection" }
"""
    return Stranger("machine_codes", {"dump.txt": csv_bytes(rows, separator="|")}, answers, tell(Truth(), visits))


def central_europe(instruments: int, seed: int) -> Stranger:
    """Czech: a file a station, letters of Windows-1250, 'E' and 'e' the outer strings, the stage in its name."""
    rng = np.random.default_rng(seed)
    action = (Measure("action", "bass", "mm comma", 2.4, 0.1), Measure("action", "treble", "mm comma", 1.8, 0.1))
    route = (
        Step("bridge_fitting", ("Dvořák", "Malá"), 9, action),
        Step("final_inspection", ("Říhová",), 6, action, "bridge_fitting", 0.12, ("drnčí",), waits=1),
    )
    plan = Plan(("Kytara Javor", "Kytara Smrk"), "K{:d}", 9001, route, 6, datetime(2026, 6, 1))
    visits = live(plan, instruments, rng)
    files = {}
    for stage, name in (("bridge_fitting", "kobylka.csv"), ("final_inspection", "vystupni kontrola.csv")):
        head = ["Datum", "Čas", "Výrobní číslo", "Typ", "Kdo", "Výška E [mm]", "Výška e [mm]", "Výsledek", "Závada"]
        rows: list[list[object]] = [head]
        for v in visits:
            if v.stage == stage:
                day = f"{v.started.day}. {v.started.month}. {v.started.year}"
                back = "vrátit" if v.outcome == "send back" else "v pořádku"
                cells = [text_of(v, "action", "bass"), text_of(v, "action", "treble"), back, v.fault]
                rows.append([day, f"{v.started:%H:%M}", v.serial, v.model, v.person, *cells])
        files[name] = csv_bytes(rows, separator="\t", encoding="cp1250")
    answers = """
[shop]
name = "Kytary"
timezone = "Europe/Prague"
[[log]]
[log.headings]
"Výrobní číslo" = "serial"
Typ = "model"
Kdo = "tech"
"Výška E [mm]" = "action bass (mm)"
"Výška e [mm]" = "action treble (mm)"
"Závada" = "fault"
[log.words]
outcome = { "vrátit" = "send back", "v pořádku" = "pass" }
stage = { kobylka = "bridge_fitting", "vystupni kontrola" = "final_inspection" }
"""
    truth = tell(Truth(), visits)
    truth.send_backs = [(serial, at, "") for serial, at, _ in truth.send_backs]
    return Stranger("central_europe", files, answers, truth)
