"""The demo shop as it is when nothing is wrong: models, people, means, spreads and faults. What is planted stands in
planted.toml.

All names are invented. Volumes, minutes, shares and spreads are common practice, no published source; the means are
near the targets in specs.csv. Units: mm, cents, minutes.
"""

import tomllib
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np


@cache
def read_toml(name: str) -> dict[str, Any]:
    """A TOML file that lies beside this module, also in an installed wheel."""
    return tomllib.loads(files("demo_data").joinpath(name).read_text(encoding="utf-8"))


SHOP = read_toml("shop.toml")
PLANTED = {row["key"]: row for row in read_toml("planted.toml")["planted"]}
SEED: int = read_toml("planted.toml")["seed"]
LAST_DAY: date = read_toml("planted.toml")["last_day"]
WEEKS: int = read_toml("planted.toml")["weeks"]

STAGES: list[str] = [stage["key"] for stage in SHOP["stage"]]
PLACE = {stage: place for place, stage in enumerate(STAGES)}
MODELS: list[str] = [model["key"] for model in SHOP["model"]]
FAMILY: list[str] = [model["family"] for model in SHOP["model"]]
STRINGS = np.array([model["strings"] for model in SHOP["model"]])
SCALE = np.array([float(model["scale"].split()[0]) for model in SHOP["model"]])  # mm
TECHS: list[str] = [tech["key"] for tech in SHOP["tech"]]
TECH = {tech: place for place, tech in enumerate(TECHS)}
STARTED = np.array([tech["started"] for tech in SHOP["tech"]], dtype="datetime64[D]")
NOBODY = -1  # nobody works at the rest

PREFIX = ("L2", "L4", "PC", "HO", "HD", "HX", "D5", "DR", "K2", "K3")  # of a serial, model by model
OF_FIXED = {"bridge foot gap": "saddle not flat"}  # what a fault is called where the bridge is fixed: it has a saddle
FIXED_BRIDGE = np.array([model["bridge"] == "fixed" for model in SHOP["model"]])
SHORT_STRING = np.array([model.get("short_string", {}).get("string", 0) for model in SHOP["model"]])  # 0 = none
STARTS_AT = np.array([model.get("short_string", {}).get("starts_at", 0) for model in SHOP["model"]])
PER_DAY = np.array([7.0, 4.0, 10.0, 12.0, 10.0, 0.18, 10.0, 3.0, 10.5, 3.2])  # common practice, no published source
FIRST_DAY = np.array(["2000-01-01"] * 9 + ["2026-10-19"], dtype="datetime64[D]")  # the last model is new
DAY_FROM, DAY_TO = 62, 72  # instruments taken in on a day

# Planned minutes are in shop.toml; what a visit takes scatters round them by so much (standard deviation of the
# logarithm).
MINUTES_SCATTER = 0.28
AS_NEEDED = {"levelling": 0.6, "crowning": 0.6}  # share of the ukuleles that need it; all others do


def planned_minutes() -> np.ndarray:
    """Planned minutes, shape (models, stages)."""
    table = np.zeros((len(MODELS), len(STAGES)))
    for place, stage in enumerate(SHOP["stage"]):
        minutes = stage.get("minutes", 0)
        for model, family in enumerate(FAMILY):
            table[model, place] = minutes.get(family, minutes.get("other")) if isinstance(minutes, dict) else minutes
    return table


def routes() -> np.ndarray:
    """Which stages a model passes, bool, shape (models, stages); the repair bench is on no route."""
    table = np.ones((len(MODELS), len(STAGES)), dtype=bool)
    for place, stage in enumerate(SHOP["stage"]):
        for model, family in enumerate(FAMILY):
            table[model, place] = stage["role"] != "repair" and (
                not stage.get("families") or family in stage["families"]
            )
    return table


# Who works where, and how much of the bench is theirs. The two new techs take their share from the day they start.
TEAMS: dict[str, dict[str, float]] = {
    "receiving": {"T01": 0.7, "T12": 0.3},
    "head_tension": {"T04": 0.5, "T07": 0.5},
    "neck_straightening": {"T03": 0.4, "T07": 0.4, "T11": 0.2},
    "levelling": {"T03": 0.4, "T08": 0.6},
    "crowning": {"T04": 0.5, "T08": 0.5},
    "polishing": {"T10": 0.7, "T12": 0.3},
    "conditioning": {"T01": 0.3, "T10": 0.5, "T12": 0.2},
    "head_retension": {"T04": 0.5, "T07": 0.5},
    "stringing": {"T10": 0.6, "T11": 0.4},
    "neck_angle": {"T03": 0.5, "T07": 0.5},
    "nut_slotting": {"T05": 0.34, "T06": 0.26, "T09": 0.4},
    "bridge_fitting": {"T05": 0.5, "T09": 0.5},
    "intonation": {"T04": 0.34, "T06": 0.33, "T09": 0.33},
    "tailpiece": {"T04": 0.5, "T07": 0.5},
    "play_test": {"T02": 0.6, "T08": 0.4},
    "final_inspection": {"T01": 0.5, "T02": 0.5},
    "packing": {"T01": 0.4, "T10": 0.6},
    "repair": {"T03": 1.0},
}


@dataclass(frozen=True)
class Trouble:
    """What a stage leaves behind: how often a visit does, the names it goes by, where it is caught."""

    share: float
    names: dict[str, float]
    caught: dict[str, float]
    where: str = ""  # 'string', 'fret' or '': what `fault_at` says
    after: tuple[str, ...] = field(default=())  # stages to pass again once it is put right


_TEST = {"play_test": 0.8, "final_inspection": 0.2}
NUT_SHARE = PLANTED["nut_rework"]["size"]
TROUBLES: dict[str, Trouble] = {
    "head_tension": Trouble(
        0.015,
        {"head uneven": 1},
        {"head_retension": 0.3, "final_inspection": 0.7},
        "",
        ("intonation", "play_test", "rest"),
    ),
    "neck_straightening": Trouble(
        0.010,
        {"buzz at frets 1-3": 0.6, "back-bow": 0.4},
        {"stringing": 0.1, "play_test": 0.7, "final_inspection": 0.2},
        "fret",
        ("play_test", "rest"),
    ),
    "levelling": Trouble(
        0.014,
        {"buzz mid neck": 0.5, "dead note": 0.3, "high fret": 0.2},
        {"crowning": 0.2, "play_test": 0.7, "final_inspection": 0.1},
        "fret",
        ("crowning", "polishing", "stringing", "intonation", "play_test", "rest"),
    ),
    "crowning": Trouble(
        0.005,
        {"one fret out on all strings": 1},
        _TEST,
        "fret",
        ("polishing", "stringing", "intonation", "play_test", "rest"),
    ),
    "polishing": Trouble(0.004, {"scratchy frets": 1}, {"final_inspection": 1}, "", ("conditioning",)),
    "stringing": Trouble(
        0.008,
        {"string slips": 0.5, "one string false": 0.3, "wrong string": 0.2},
        {"intonation": 0.5, "play_test": 0.3, "final_inspection": 0.2},
        "string",
        ("intonation", "play_test", "rest"),
    ),
    "neck_angle": Trouble(
        0.004, {"buzz up the neck": 1}, _TEST, "fret", ("bridge_fitting", "intonation", "play_test", "rest")
    ),
    "nut_slotting": Trouble(
        NUT_SHARE,
        {"open-string buzz": 0.6, "sharp at first frets": 0.2, "slot too narrow": 0.2},
        {"intonation": 0.15, "play_test": 0.65, "final_inspection": 0.2},
        "string",
        ("intonation", "play_test", "rest"),
    ),
    "bridge_fitting": Trouble(
        0.010,
        {"buzz at the bridge": 0.6, "bridge foot gap": 0.4},
        {"intonation": 0.2, "play_test": 0.6, "final_inspection": 0.2},
        "string",
        ("intonation", "play_test", "rest"),
    ),
    "intonation": Trouble(0.004, {"sharp at 12": 0.5, "flat at 12": 0.5}, _TEST, "string", ("play_test", "rest")),
    "tailpiece": Trouble(0.008, {"tailpiece rattle": 1}, {"play_test": 1}),
    "receiving": Trouble(  # not the shop's own work: the supplier's
        0.010,
        {"finish flaw": 0.4, "loose fret": 0.3, "stiff tuner": 0.3},
        {"levelling": 0.3, "stringing": 0.2, "final_inspection": 0.5},
    ),
}
MEASURED_OUT = {
    "relief": "relief out",
    "action": "action out after settling",
    "nut": "sharp at first frets",
    "intonation": "sharp at 12",
}

SHARE_SENT_BACK = 0.72  # of the troubles caught; the rest is put right on the spot
SHARE_CAUSE_WRITTEN = 0.45  # someone confirmed where it came from
SHARE_SUPPLIER_WRITTEN = 0.85  # what came with the neck is written down more often than one's own slips
SHARE_SENT_ASTRAY = 0.12  # sent to a bench that did not cause it
SHARE_NOT_CHECKED_AGAIN = 0.08  # the re-check at the stage that caught it is missed
SHARE_BACK_AGAIN = 0.12  # the re-check finds it again
SHARE_ANOTHER = 0.05  # a visit on the way back finds something else
SHARES_OF_ENDS = {"reject": 0.005, "second": 0.007, "pulled": 0.003, "hold": 0.004, "return": 0.006}
SHARE_CARD_LOST = 0.003  # visits that nobody wrote down
SHARE_OPEN = 0.008  # visits without a result

# Means where nothing is planted, model by model; order of MODELS. mm.
RELIEF = np.array([0.09, 0.09, 0.075, 0.16, 0.16, 0.16, 0.22, 0.21, 0.10, 0.10])
ACTION = np.array([[2.60, 2.50], [2.60, 2.50], [2.50, 2.50], [2.40, 1.80], [2.40, 1.80], [2.40, 1.80],
                   [2.86, 2.86], [2.48, 2.48], [1.90, 1.59], [1.90, 1.59]])  # bass, treble  # fmt: skip
NUT = np.array([[0.56, 0.51], [0.56, 0.51], [0.56, 0.51], [0.55, 0.35], [0.55, 0.35], [0.55, 0.35],
                [0.65, 0.60], [0.60, 0.55], [0.60, 0.45], [0.60, 0.45]])  # bass, treble  # fmt: skip
HEAD = np.array([0, 0, 0, 0, 0, 0, 86.3, 89.8, 0, 0])
HEAD_FALLS = 0.6  # dial units that a head gives way under its strings in a day, before it is tensioned again
NECK_ANGLE = np.array([0, 0, 0, 0, 0, 0, 3.0, 3.0, 0, 0])  # degrees; banjos alone have one that is set
BOW = 0.07  # incoming, both edges

# Spreads: what a bench leaves, what a gauge and a hand add. Rounding to the gauge's step comes on top.
SET_SD = {"relief": 0.031, "action": 0.085, "head": 0.7, "neck_angle": 0.12}
NUT_SD = np.array([0.042, 0.042, 0.042, 0.031, 0.031, 0.031, 0.048, 0.048, 0.038, 0.038])
READ_SD = {"relief": 0.013, "action": 0.035, "nut": 0.010, "head": 0.4, "bow": 0.015, "neck_angle": 0.04}
BOW_NECK_SD, BOW_EDGE_SD = 0.047, 0.030
RELIEF_FOUND, RELIEF_FOUND_SD = 0.05, 0.055  # as the necks come to straightening, no strings
STRING_PULL = 0.09  # mm of relief that the strings add
SETTLING_SD = 0.03  # action over the rest
BRIDGE_SD, STRING_SD = 0.7, 0.7  # cents: shared by all strings of an instrument, and each string's own
PLUCK_SD = 2.0  # one pluck by one hand; Mottola 2018, same-fretted-note intonation variability
PLUCKS = 3  # the mean of three is written at the bench and at final; the play test writes one
STRING_OFFSET = np.array([0.4, -0.3, 0.2, 0.5, -0.2, 0.1])  # cents at fret 12, string by string

STEP = {"leaves": 0.0254, "taper in": 0.0508, "taper mm": 0.05, "rule 64": 25.4 / 128, "tuner": 0.5, "head dial": 0.5,
        "angle block": 0.1}  # fmt: skip
FRETS = (0, 1, 2, 3, 5, 7, 9, 12)
SHARE_PLAYED = 0.15  # of the instruments are played on several frets
SUPPLIERS = ("Marrow & Pine", "Oxbow Necks", "Tansy Hill")
LOT_PREFIX = ("MP", "OX", "TH")
SUPPLIERS_OF = (
    (1, 2),
    (1, 2),
    (1, 2),
    (0, 1),
    (0, 1),
    (0, 1),
    (0, 2),
    (0, 2),
    (1, 2),
    (1, 2),
)  # each model has two, half and half


def working_days(weeks: int) -> np.ndarray:
    """The last `weeks` working weeks up to LAST_DAY, Monday to Friday, datetime64[D]."""
    monday = LAST_DAY - timedelta(days=7 * weeks - 3)
    days = np.arange(np.datetime64(monday), np.datetime64(LAST_DAY) + 1)
    return days[np.is_busday(days)]
