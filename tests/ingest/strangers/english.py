"""Shops that write English: bench log, one-person book, a measurement a row, a file a station, headings of two rows."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from tests.ingest.strangers.sheets import csv_bytes, workbook_bytes
from tests.ingest.strangers.truth import Stranger, Truth, tell
from tests.ingest.strangers.world import Measure, Plan, Step, Visit, live


def text_of(visit: Visit, what: str, position: str, moment: str = "found") -> str:
    """What was written for this reading, or nothing."""
    written = visit.readings.get((what, position, moment))
    return "" if written is None else written.text


def bench_log(instruments: int, seed: int) -> Stranger:
    """A row a visit, inches and thou, month first, a date and two clock times, a stage word, a word for the outcome."""
    rng = np.random.default_rng(seed)
    action = (
        Measure("action", "bass", "bare inch", 2.4, 0.1, shift=0.25),
        Measure("action", "treble", "bare inch", 1.8, 0.1),
    )
    nut = (
        Measure("nut_height", "bass", "bare inch", 0.55, 0.04),
        Measure("nut_height", "treble", "bare inch", 0.38, 0.03),
    )
    relief = (Measure("relief", "", "thou", 0.16, 0.04),)
    words = {
        "receiving": "Recv",
        "neck_straightening": "Neck",
        "levelling": "Level",
        "nut_slotting": "Nut",
        "bridge_fitting": "Bridge",
        "play_test": "Play",
        "final_inspection": "Final",
        "packing": "Pack",
    }
    route = (
        Step("receiving", ("Ann",), 3),
        Step("neck_straightening", ("Ann", "Gus"), 5, relief),
        Step("levelling", ("Gus", "Pia"), 11),
        Step("nut_slotting", ("Lou", "Pia"), 9, nut),
        Step("bridge_fitting", ("Lou", "Tom"), 8, action),
        Step("play_test", ("Tom",), 4, action, "nut_slotting", 0.1, ("buzz open", "high nut")),
        Step(
            "final_inspection",
            ("Ruth", "Ann"),
            5,
            (*action, *relief),
            "bridge_fitting",
            0.08,
            ("action high", "rattle"),
            waits=1,
        ),
        Step("packing", ("Bo",), 5),
    )
    models = ("Meadow Dreadnought", "Meadow OM", "Brook 12-String", "Brook Parlor")
    visits = live(Plan(models, "MD{:05d}", 20311, route, 9, datetime(2026, 8, 3)), instruments, rng)
    head = [
        "Date",
        "In",
        "Out",
        "S/N",
        "Instrument",
        "Bench",
        "By",
        "Act. B @12",
        "Act. T @12",
        "Relief (thou)",
        "1st fret B",
        "1st fret T",
        "Result",
        "Back to",
        "Why",
        "Remarks",
    ]
    rows: list[list[object]] = [["Meadow & Brook bench log 2026"], [], head]
    for v in visits:
        result = "RTN" if v.outcome == "send back" else "OK"
        rows.append(
            [
                v.started.strftime("%m/%d/%Y"),
                clock12(v.started),
                clock12(v.finished),
                v.serial,
                v.model,
                words[v.stage],
                v.person,
                text_of(v, "action", "bass"),
                text_of(v, "action", "treble"),
                text_of(v, "relief", ""),
                text_of(v, "nut_height", "bass"),
                text_of(v, "nut_height", "treble"),
                result,
                words.get(v.sent_back_to, ""),
                v.fault,
                "customer waiting" if rng.random() < 0.03 else "",
            ]
        )
    answers = """
[shop]
name = "Meadow and Brook"
timezone = "America/New_York"
length = "in"
[[log]]
date_order = "mdy"
units = { action = "in", nut_height = "in" }
words = { outcome = { RTN = "send back" } }
"""
    return Stranger("bench_log", {"bench log 2026.csv": csv_bytes(rows)}, answers, tell(Truth(), visits))


def clock12(when: datetime) -> str:
    """7:05 AM"""
    return when.strftime("%I:%M %p").lstrip("0")


def one_person(instruments: int, seed: int) -> Stranger:
    """One person's workbook: a row a job, running numbers, 'in' and 'out' columns in fractions, no stage, no tech."""
    rng = np.random.default_rng(seed)
    measures = (
        Measure("action", "bass", "64ths", 2.4, 0.15, received=3.1),
        Measure("action", "treble", "64ths", 1.8, 0.15, received=2.3),
        Measure("relief", "", "inch", 0.18, 0.04, received=0.35),
    )
    route = (Step("setup", ("me",), 90, measures),)
    models = ("tenor banjo", "octave mandolin", "classical", "archtop", "open back banjo", "ukulele (concert)", "bass")
    visits = live(Plan(models, "{:d}", 1, route, 2, datetime(2026, 1, 12)), instruments, rng)
    names = ("Mr Penn", "Ms Ode", "school", "walk-in", "J. Oak", "choir", "Mrs Ash", "Dee")
    head = [
        "Job",
        "Instrument",
        "Customer",
        "Date in",
        "Date out",
        "Action in 6th",
        "Action in 1st",
        "Relief in",
        "Action out 6th",
        "Action out 1st",
        "Relief out",
        "Strings",
        "Paid",
    ]
    rows: list[list[object]] = [head]
    for v in visits:
        rows.append(
            [
                int(v.serial),
                v.model,
                str(rng.choice(names)),
                v.started.date(),
                v.finished.date(),
                text_of(v, "action", "bass"),
                text_of(v, "action", "treble"),
                text_of(v, "relief", ""),
                text_of(v, "action", "bass", "left"),
                text_of(v, "action", "treble", "left"),
                text_of(v, "relief", "", "left"),
                str(rng.choice(["light", "medium", "silk"])),
                float(rng.choice([60, 75, 90])),
            ]
        )
    answers = """
[shop]
name = "The back room"
timezone = "Europe/Dublin"
length = "in"
[[stage]]
key = "setup"
name = "Setup"
role = "bench"
minutes = 90
[[log]]
stage = "setup"
headings = { "Job" = "serial" }
units = { relief = "in" }
"""
    return Stranger("one_person", {"jobs.xlsx": workbook_bytes({"Jobs": rows})}, answers, tell(Truth(), visits))


def measurement_a_row(instruments: int, seed: int) -> Stranger:
    """A row a measurement: what, side, value and unit each in a column of their own, ISO stamps, a result a row."""
    rng = np.random.default_rng(seed)
    action = (Measure("action", "bass", "mm", 2.6, 0.12), Measure("action", "treble", "mm", 2.5, 0.12))
    strings = tuple(Measure("intonation", str(s), "cents", 1.0, 2.0) for s in (1, 2, 3, 4))
    nut = (Measure("nut_height", "bass", "inch", 0.55, 0.05), Measure("nut_height", "treble", "inch", 0.5, 0.05))
    route = (
        Step("nut_slotting", ("op-11", "op-14"), 8, nut),
        Step("bridge_fitting", ("op-14", "op-20"), 8, action),
        Step("final_inspection", ("op-31",), 5, (*action, *strings), "bridge_fitting", 0.1, ("action",), waits=1),
    )
    stations = {"nut_slotting": "NUT", "bridge_fitting": "BRG", "final_inspection": "FIN"}
    names = {"action": "String height 12th", "intonation": "Cents @12", "nut_height": "Gap over 1st"}
    visits = live(
        Plan(("Wren Tenor", "Wren Concert", "Wren Soprano"), "W{:06d}", 104410, route, 8, datetime(2026, 9, 1)),
        instruments,
        rng,
    )
    rows: list[list[object]] = [
        [
            "Timestamp",
            "Serial No",
            "Product",
            "Station",
            "Operator",
            "Characteristic",
            "Side/String",
            "Value",
            "Unit",
            "Result",
        ]
    ]
    for v in visits:
        for (what, position, _), written in v.readings.items():
            unit = {"action": "mm", "intonation": "ct", "nut_height": "in"}[what]
            rows.append(
                [
                    v.started.strftime("%Y-%m-%d %H:%M:%S"),
                    v.serial,
                    v.model,
                    stations[v.stage],
                    v.person,
                    names[what],
                    {"bass": "B", "treble": "T"}.get(position, position),
                    written.text,
                    unit,
                    "NOK" if v.outcome == "send back" else "OK",
                ]
            )
    answers = """
[shop]
name = "Wren Works"
timezone = "Europe/London"
[[log]]
shape = "measurement"
headings = { "Side/String" = "position" }
[log.words]
outcome = { NOK = "send back" }
what = { "Gap over 1st" = "nut_height" }
"""
    truth = tell(Truth(), visits)
    truth.send_backs = [(s, at, "") for s, at, _ in truth.send_backs]
    return Stranger("measurement_a_row", {"measurements.csv": csv_bytes(rows)}, answers, truth)


def file_a_station(instruments: int, seed: int) -> Stranger:
    """A file a station, month separators, total rows, #N/A; mm in the heading; the stage only in the file's name."""
    rng = np.random.default_rng(seed)
    action = (Measure("action", "bass", "mm", 1.9, 0.08, shift=0.2), Measure("action", "treble", "mm", 1.6, 0.08))
    route = (
        Step("play_test", ("RK", "SL"), 4, (*action, Measure("relief", "", "mm", 0.1, 0.03)), waits=0),
        Step("final_inspection", ("DV", "SL"), 5, action, "play_test", 0.09, ("rattle", "buzz mid neck"), waits=1),
    )
    visits = live(
        Plan(("F-5 Elm", "A-5 Elm", "Mandola Elm", "Octave Elm"), "EL{:05d}", 7001, route, 7, datetime(2026, 8, 24)),
        instruments,
        rng,
    )
    head = [
        "No.",
        "Serial",
        "Model",
        "Date",
        "Time",
        "Tech",
        "Action bass side mm",
        "Action treble side mm",
        "Neck relief mm",
        "Pass?",
        "Notes",
    ]
    files: dict[str, bytes] = {}
    for stage, name in (("play_test", "play test 2026.csv"), ("final_inspection", "final inspection 2026.csv")):
        rows: list[list[object]] = [head]
        month = ""
        for number, v in enumerate((v for v in visits if v.stage == stage), 1):
            if v.started.strftime("%B %Y") != month:
                if month:
                    rows.append(["", "Total", number - 1, "", "", "", "", "", "", "", ""])
                month = v.started.strftime("%B %Y")
                rows.append([month])
            missing = rng.random() < 0.02
            relief = text_of(v, "relief", "") or ("#N/A" if rng.random() < 0.1 else "")
            if missing and stage == "play_test":
                v.readings.pop(("relief", "", "found"))
                relief = "#N/A"
            rows.append(
                [
                    number,
                    v.serial,
                    v.model,
                    v.started.strftime("%d/%m/%Y"),
                    v.started.strftime("%H:%M"),
                    v.person,
                    text_of(v, "action", "bass"),
                    text_of(v, "action", "treble"),
                    relief,
                    "N" if v.outcome == "send back" else "Y",
                    "restrung" if rng.random() < 0.04 else "",
                ]
            )
        files[name] = csv_bytes(rows)
    answers = """
[shop]
name = "Elm Mandolins"
timezone = "Europe/London"
[[log]]
date_order = "dmy"
words = { outcome = { N = "send back", Y = "pass" } }
"""
    truth = tell(Truth(), visits)
    truth.send_backs = [(s, at, "") for s, at, _ in truth.send_backs]
    return Stranger("file_a_station", files, answers, truth)


def three_heading_rows(instruments: int, seed: int) -> Stranger:
    """A row an instrument under headings of two rows: station over what and unit; each with its date and initials."""
    rng = np.random.default_rng(seed)
    relief = (Measure("relief", "", "thou", 0.2, 0.04),)
    action = (Measure("action", "bass", "inch", 2.6, 0.12), Measure("action", "treble", "inch", 2.1, 0.12))
    route = (
        Step("neck_straightening", ("WK", "HH"), 6, relief),
        Step("bridge_fitting", ("HH", "QS"), 9, action),
        Step("final_inspection", ("NB",), 5, (*action, *relief), waits=1),
    )
    visits = live(
        Plan(
            ("Hollis Square Neck", "Hollis Round Neck", "Hollis Long Scale Bass"),
            "{:d}",
            88120,
            route,
            6,
            datetime(2026, 7, 6),
            gap=1,
        ),
        instruments,
        rng,
    )
    visits = [v for v in visits if v.outcome == "pass"]
    over = ["", "", "Neck rod", "", "", "Bridge", "", "", "", "Final insp.", "", "", "", "", ""]
    under = [
        "Ser. #",
        "Model",
        "Date",
        "Init.",
        "Relief thou",
        "Date",
        "Init.",
        "Action bass in",
        "Action treb. in",
        "Date",
        "Init.",
        "Action bass in",
        "Action treb. in",
        "Relief thou",
        "Comment",
    ]
    rows: list[list[object]] = [over, under]
    spans = [(0, 2, 0, 4, "Neck rod"), (0, 5, 0, 8, "Bridge"), (0, 9, 0, 13, "Final insp.")]
    by_serial: dict[str, dict[str, Visit]] = {}
    for v in visits:
        by_serial.setdefault(v.serial, {})[v.stage] = v
    for serial, at in by_serial.items():
        neck, bridge, final = at["neck_straightening"], at["bridge_fitting"], at["final_inspection"]
        rows.append(
            [
                int(serial),
                neck.model,
                neck.started.date(),
                neck.person,
                int(text_of(neck, "relief", "")),
                bridge.started.date(),
                bridge.person,
                float(text_of(bridge, "action", "bass")),
                float(text_of(bridge, "action", "treble")),
                final.started.date(),
                final.person,
                float(text_of(final, "action", "bass")),
                float(text_of(final, "action", "treble")),
                int(text_of(final, "relief", "")),
                "nice" if rng.random() < 0.1 else "",
            ]
        )
    answers = """
[shop]
name = "Hollis"
timezone = "America/Chicago"
length = "in"
"""
    truth = tell(Truth(), visits)
    return Stranger(
        "three_heading_rows", {"setup book.xlsx": workbook_bytes({"2026": rows}, {"2026": spans})}, answers, truth
    )
