"""Shops that write German: a workshop's log, a factory's codes, tabs, a measurement a row; and one of neither."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from tests.ingest.strangers.english import text_of
from tests.ingest.strangers.sheets import csv_bytes, workbook_bytes
from tests.ingest.strangers.truth import Stranger, Truth, tell
from tests.ingest.strangers.world import Measure, Plan, Step, live


def workshop(instruments: int, seed: int) -> Stranger:
    """Ein Buch der Werkstatt: a row a visit, decimal comma, day first, from and to, 'zurück an' in words."""
    rng = np.random.default_rng(seed)
    action = (
        Measure("action", "bass", "mm comma", 4.0, 0.12),
        Measure("action", "treble", "mm comma", 3.2, 0.12, shift=0.25),
    )
    relief = (Measure("relief", "", "mm comma", 0.16, 0.03),)
    nut = (
        Measure("nut_height", "bass", "mm comma", 0.75, 0.05),
        Measure("nut_height", "treble", "mm comma", 0.6, 0.05),
    )
    words = {
        "receiving": "Wareneingang",
        "levelling": "Abrichten",
        "stringing": "Besaiten",
        "nut_slotting": "Sattel kerben",
        "bridge_fitting": "Stegeinlage",
        "play_test": "Anspielen",
        "final_inspection": "Endkontrolle",
        "packing": "Verpacken",
    }
    route = (
        Step("receiving", ("Meier",), 3),
        Step("levelling", ("Kern", "Meier"), 12),
        Step("stringing", ("Kern", "Voss"), 7),
        Step("nut_slotting", ("Voss", "Abt"), 9, nut),
        Step("bridge_fitting", ("Abt", "Kern"), 8, action),
        Step("play_test", ("Lang",), 4, (*action, *relief), "nut_slotting", 0.1, ("schnarrt leer", "Sattel zu tief")),
        Step(
            "final_inspection",
            ("Lang", "Meier"),
            5,
            (*action, *relief),
            "bridge_fitting",
            0.08,
            ("Saitenlage zu hoch", "klappert"),
            waits=1,
        ),
        Step("packing", ("Voss",), 4),
    )
    models = ("Konzertgitarre K10", "Konzertgitarre K20", "Oktavgitarre", "Westerngitarre W1")
    visits = live(Plan(models, "LH-{:05d}", 51007, route, 8, datetime(2026, 8, 3)), instruments, rng)
    head = [
        "Datum",
        "von",
        "bis",
        "Seriennummer",
        "Modell",
        "Arbeitsgang",
        "Mitarbeiter",
        "Saitenlage 12. Bund Bass [mm]",
        "Saitenlage 12. Bund Diskant [mm]",
        "Halskrümmung [mm]",
        "Sattelhöhe 1. Bund Bass [mm]",
        "Sattelhöhe 1. Bund Diskant [mm]",
        "Ergebnis",
        "zurück an",
        "Fehler",
        "Bemerkung",
    ]
    rows: list[list[object]] = [head]
    for v in visits:
        rows.append(
            [
                v.started.strftime("%d.%m.%Y"),
                v.started.strftime("%H:%M"),
                v.finished.strftime("%H:%M"),
                v.serial,
                v.model,
                words[v.stage],
                v.person,
                text_of(v, "action", "bass"),
                text_of(v, "action", "treble"),
                text_of(v, "relief", ""),
                text_of(v, "nut_height", "bass"),
                text_of(v, "nut_height", "treble"),
                "n.i.O." if v.outcome == "send back" else "i.O.",
                words.get(v.sent_back_to, ""),
                v.fault,
                "Kunde wartet" if rng.random() < 0.03 else "",
            ]
        )
    answers = """
[shop]
name = "Werkstatt Lindenhof"
timezone = "Europe/Berlin"
[[log]]
words = { outcome = { "n.i.O." = "send back" } }
"""
    return Stranger(
        "workshop",
        {"Werkstattbuch.csv": csv_bytes(rows, separator=";", encoding="cp1252")},
        answers,
        tell(Truth(), visits),
    )


def coded_export(instruments: int, seed: int) -> Stranger:
    """A factory's export: stations 10 to 50, results 0 and 9, defect codes, compact stamps, article numbers."""
    rng = np.random.default_rng(seed)
    action = (
        Measure("action", "bass", "mm short comma", 2.4, 0.1),
        Measure("action", "treble", "mm short comma", 1.8, 0.1),
    )
    relief = (Measure("relief", "", "mm short comma", 0.15, 0.03),)
    codes = {
        "receiving": "10",
        "neck_straightening": "20",
        "nut_slotting": "30",
        "play_test": "40",
        "final_inspection": "50",
    }
    route = (
        Step("receiving", ("101",), 3),
        Step("neck_straightening", ("101", "117"), 6, relief),
        Step("nut_slotting", ("117", "122"), 9),
        Step("play_test", ("131", "122"), 5, (*action, *relief), "nut_slotting", 0.1, ("F07", "F12")),
        Step("final_inspection", ("140",), 5, (*action, *relief), "neck_straightening", 0.07, ("F03", "F20"), waits=1),
    )
    visits = live(
        Plan(("400210", "400220", "400310"), "26{:06d}", 318840, route, 12, datetime(2026, 8, 31)), instruments, rng
    )
    head = [
        "FA_NR",
        "SNR",
        "ARTIKEL",
        "AG",
        "PERS",
        "DAT",
        "UZ_VON",
        "UZ_BIS",
        "SL_B",
        "SL_D",
        "HK",
        "ERG",
        "F_CODE",
        "RUECK_AG",
    ]
    rows: list[list[object]] = [head]
    for v in visits:
        rows.append(
            [
                f"FA{int(v.serial) // 24:07d}",
                v.serial,
                v.model,
                codes[v.stage],
                v.person,
                v.started.strftime("%Y%m%d"),
                v.started.strftime("%H%M"),
                v.finished.strftime("%H%M"),
                text_of(v, "action", "bass"),
                text_of(v, "action", "treble"),
                text_of(v, "relief", ""),
                "9" if v.outcome == "send back" else "0",
                v.fault,
                codes.get(v.sent_back_to, ""),
            ]
        )
    answers = """
[shop]
name = "Werk 2"
timezone = "Europe/Vienna"
[[log]]
[log.headings]
SNR = "serial"
SL_B = "action bass"
SL_D = "action treble"
HK = "relief"
RUECK_AG = "sent_back_to"
F_CODE = "fault"
[log.words]
outcome = { "0" = "pass", "9" = "send back" }
[log.words.stage]
10 = "receiving"
20 = "neck_straightening"
30 = "nut_slotting"
40 = "play_test"
50 = "final_inspection"
[[model]]
key = "400210"
family = "steel-string guitar"
strings = 6
"""
    return Stranger("coded_export", {"export_ag.csv": csv_bytes(rows, separator=";")}, answers, tell(Truth(), visits))


def workbook_of_tabs(instruments: int, seed: int) -> Stranger:
    """A workbook: a tab a stage, headings of two rows with merged cells, real dates, and tabs that are no log."""
    rng = np.random.default_rng(seed)
    bow = (Measure("neck_bow", "bass", "mm", 0.1, 0.06), Measure("neck_bow", "treble", "mm", 0.08, 0.06))
    action = (Measure("action", "bass", "mm", 2.4, 0.12), Measure("action", "treble", "mm", 2.4, 0.12))
    head_tension = (Measure("head_tension", "", "units", 90, 1.2),)
    route = (
        Step("receiving", ("Uwe",), 5, bow),
        Step("head_tension", ("Uwe", "Ida"), 9, head_tension),
        Step("bridge_fitting", ("Ida", "Jan"), 9, action),
        Step(
            "final_inspection", ("Eva",), 5, (*action, *head_tension), "bridge_fitting", 0.1, ("Saitenlage",), waits=1
        ),
    )
    tabs = {
        "receiving": "Wareneingang",
        "head_tension": "Fellspannung",
        "bridge_fitting": "Steg",
        "final_inspection": "Endprüfung",
    }
    models = ("5-saitiges Banjo Resonator", "5-saitiges Banjo offen", "Tenorbanjo", "Banjolele")
    visits = live(Plan(models, "B{:04d}", 1207, route, 6, datetime(2026, 8, 17)), instruments, rng)
    columns = {"neck_bow": "Halskrümmung (mm)", "action": "Saitenlage 12. Bund (mm)", "head_tension": "Fellspannung"}
    book: dict[str, list[list[object]]] = {
        "Legende": [["Kürzel", "Bedeutung"], ["i.O.", "in Ordnung"], ["NA", "Nacharbeit, geht zurück"]]
    }
    merged: dict[str, list[tuple[int, int, int, int, str]]] = {}
    for stage, tab in tabs.items():
        here = [v for v in visits if v.stage == stage]
        kinds = list(dict.fromkeys((what, position) for v in here for what, position, _ in v.readings))
        over: list[object] = ["Serien-Nr.", "Instrument", "Datum", "Prüfer"]
        under: list[object] = ["", "", "", ""]
        spans = []
        for what in dict.fromkeys(what for what, _ in kinds):
            positions = [p for w, p in kinds if w == what]
            if len(positions) > 1:
                spans.append((0, len(over), 0, len(over) + len(positions) - 1, columns[what]))
            over += [columns[what]] + [""] * (len(positions) - 1)
            under += [{"bass": "Bass", "treble": "Diskant"}.get(p, "") for p in positions]
        over, under = [*over, "Befund", "Bemerkung"], [*under, "", ""]
        merged[tab] = spans
        rows: list[list[object]] = [over, under]
        for v in here:
            rows.append(
                [
                    v.serial,
                    v.model,
                    v.started.date(),
                    v.person,
                    *(float(text_of(v, w, p)) for w, p in kinds),
                    "NA" if v.outcome == "send back" else "i.O.",
                    "Kratzer" if rng.random() < 0.03 else "",
                ]
            )
        book[tab] = rows
    book["Auswertung"] = [["Monat", "Stück", "Anteil i.O."], ["August", 60, 0.91], ["September", 118, 0.93]]
    answers = """
[shop]
name = "Banjobau"
timezone = "Europe/Berlin"
[[log]]
words = { outcome = { NA = "send back" } }
"""
    truth = tell(Truth(), visits)
    truth.send_backs = [(s, at, "") for s, at, _ in truth.send_backs]
    return Stranger("workbook_of_tabs", {"Prüfbuch 2026.xlsx": workbook_bytes(book, merged)}, answers, truth)


def inspection_lines(instruments: int, seed: int) -> Stranger:
    """Eine Zeile je Messung: Merkmal mit Seite in einem Wort, Wert und Einheit, zweistellige Jahre."""
    rng = np.random.default_rng(seed)
    action = (
        Measure("action", "bass", "mm short comma", 2.6, 0.1, shift=0.22),
        Measure("action", "treble", "mm short comma", 2.5, 0.1),
    )
    relief = (Measure("relief", "", "mm short comma", 0.1, 0.03),)
    strings = tuple(Measure("intonation", str(s), "cents comma", 1.0, 2.0) for s in (1, 2, 3, 4))
    route = (
        Step("play_test", ("Bär", "Ott"), 5, (*action, *relief)),
        Step("final_inspection", ("Zech",), 5, (*action, *strings), "play_test", 0.08, ("Schnarren",), waits=1),
    )
    visits = live(
        Plan(("Ukulele Tenor", "Ukulele Konzert", "Ukulele Bariton"), "U{:05d}", 30011, route, 8, datetime(2026, 9, 7)),
        instruments,
        rng,
    )
    stations = {"play_test": "Anspielprobe", "final_inspection": "Endkontrolle"}
    rows: list[list[object]] = [
        [
            "Prüfdatum",
            "Uhrzeit",
            "Instrumentennummer",
            "Typ",
            "Prüfplatz",
            "Prüfer",
            "Merkmal",
            "Messwert",
            "Einheit",
            "Bewertung",
        ]
    ]
    sides = {"bass": " Bassseite", "treble": " Diskantseite", "": ""}
    for v in visits:
        for (what, position, _), written in v.readings.items():
            name = {
                "action": f"Saitenlage{sides.get(position, '')}",
                "relief": "Halsdurchbiegung",
                "intonation": f"Oktavreinheit {position}. Saite",
            }[what]
            rows.append(
                [
                    v.started.strftime("%d.%m.%y"),
                    v.started.strftime("%H:%M"),
                    v.serial,
                    v.model,
                    stations[v.stage],
                    v.person,
                    name,
                    written.text,
                    "Cent" if what == "intonation" else "mm",
                    "Nacharbeit" if v.outcome == "send back" else "gut",
                ]
            )
    answers = """
[shop]
name = "Ukulelenbau"
timezone = "Europe/Zurich"
[[log]]
shape = "measurement"
words = { outcome = { Nacharbeit = "send back" } }
"""
    truth = tell(Truth(), visits)
    truth.send_backs = [(s, at, "") for s, at, _ in truth.send_backs]
    return Stranger("inspection_lines", {"Prüfprotokoll.csv": csv_bytes(rows, separator=";")}, answers, truth)


def neither(instruments: int, seed: int) -> Stranger:
    """A shop that writes neither English nor German: every heading is asked, its cells tell days, times and words."""
    rng = np.random.default_rng(seed)
    action = (Measure("action", "bass", "mm comma", 2.6, 0.1), Measure("action", "treble", "mm comma", 2.5, 0.1))
    relief = (Measure("relief", "", "mm comma", 0.1, 0.03),)
    words = {"nut_slotting": "pestana", "bridge_fitting": "cavalete", "final_inspection": "inspeção"}
    route = (
        Step("nut_slotting", ("Zé", "Rui"), 9, relief),
        Step("bridge_fitting", ("Rui", "Ana"), 9, action),
        Step("final_inspection", ("Ana", "Inês"), 5, (*action, *relief), "bridge_fitting", 0.1, ("trasteja",), waits=1),
    )
    visits = live(
        Plan(("Cavaquinho C1", "Viola V2", "Guitarra G3"), "OF{:05d}", 9114, route, 7, datetime(2026, 9, 1)),
        instruments,
        rng,
    )
    rows: list[list[object]] = [
        [
            "Data",
            "Início",
            "Fim",
            "Nº de série",
            "Modelo",
            "Bancada",
            "Quem",
            "Altura bordão",
            "Altura prima",
            "Curvatura",
            "Resultado",
            "Voltou para",
            "Motivo",
            "Obs.",
        ]
    ]
    for v in visits:
        rows.append(
            [
                v.started.strftime("%d-%m-%Y"),
                v.started.strftime("%Hh%M"),
                v.finished.strftime("%Hh%M"),
                v.serial,
                v.model,
                words[v.stage],
                v.person,
                text_of(v, "action", "bass"),
                text_of(v, "action", "treble"),
                text_of(v, "relief", ""),
                "volta" if v.outcome == "send back" else "bom",
                words.get(v.sent_back_to, ""),
                v.fault,
                "",
            ]
        )
    answers = """
[shop]
name = "Oficina do Porto"
timezone = "Europe/Lisbon"
[[log]]
[log.headings]
"Nº de série" = "serial"
Modelo = "model"
Bancada = "stage"
Quem = "tech"
"Altura bordão" = "action bass (mm)"
"Altura prima" = "action treble (mm)"
Curvatura = "relief (mm)"
Resultado = "outcome"
"Voltou para" = "sent_back_to"
Motivo = "fault"
Data = "date"
"Início" = "started_at"
Fim = "finished_at"
[log.words]
outcome = { volta = "send back", bom = "pass" }
stage = { pestana = "nut_slotting", cavalete = "bridge_fitting", "inspeção" = "final_inspection" }
"""
    return Stranger("neither", {"livro.csv": csv_bytes(rows, separator=";")}, answers, tell(Truth(), visits))
