"""What a first shop file starts from: the stages, measurements, limits and faults of the trade, and the words they go
by.

Everything here is common practice, no published source: a start that the shop replaces by its own. Words in other
languages are from memory.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class StartingStage:
    """A stage of the trade, and the words it goes by."""

    key: str
    name: str
    role: str
    minutes: float
    words: tuple[str, ...]


STAGES = (  # in bench order
    StartingStage(
        "receiving",
        "Receiving inspection",
        "receiving",
        3,
        ("receiving", "recv", "incoming", "intake", "goods in", "wareneingang", "réception"),
    ),
    StartingStage("head_tension", "Head tension", "bench", 9, ("head", "head tension", "tension", "head tight")),
    StartingStage(
        "neck_straightening",
        "Neck straightening",
        "bench",
        4,
        ("neck", "straighten", "neck straight", "rod", "truss rod", "hals", "manche"),
    ),
    StartingStage(
        "levelling", "Levelling", "bench", 11, ("level", "leveling", "fret level", "levelled", "abrichten", "planage")
    ),
    StartingStage("crowning", "Crowning", "bench", 9, ("crown", "crowned", "verrunden")),
    StartingStage("polishing", "Polishing", "bench", 6, ("polish", "polished", "polieren", "polissage")),
    StartingStage("conditioning", "Board conditioning", "bench", 3, ("oil", "oiling", "condition", "board")),
    StartingStage("stringing", "Stringing", "bench", 7, ("string", "strung", "string up", "besaiten", "cordes")),
    StartingStage("rod_at_pitch", "Rod at pitch", "bench", 3, ("rod at pitch", "truss rod at pitch", "rod strung")),
    StartingStage("neck_angle", "Neck angle", "bench", 3, ("angle", "neck set")),
    StartingStage(
        "nut_slotting", "Nut slotting", "bench", 9, ("nut", "nut slot", "nut slots", "slotting", "sattel", "sillet")
    ),
    StartingStage(
        "bridge_fitting", "Bridge fitting", "bench", 6, ("bridge", "saddle", "steg", "stegeinlage", "chevalet")
    ),
    StartingStage("intonation", "Intonation", "bench", 6, ("inton", "intonate", "oktavreinheit", "justesse")),
    StartingStage("tailpiece", "Tailpiece", "bench", 2, ("tail", "cordier")),
    StartingStage("setup", "Setup", "bench", 60, ("set up",)),
    StartingStage(
        "play_test", "Play test", "test", 4, ("play", "test", "playtest", "tested", "probespiel", "spielprobe", "essai")
    ),
    StartingStage("rest", "Rest", "rest", 0, ("settle", "settling", "resting", "ruhe", "repos")),
    StartingStage(
        "final_inspection",
        "Final inspection",
        "final",
        5,
        (
            "final",
            "fin",
            "inspection",
            "final check",
            "qc",
            "final qc",
            "checked",
            "endkontrolle",
            "kontrolle",
            "contrôle",
            "contrôle final",
        ),
    ),
    StartingStage(
        "packing", "Packing", "packing", 5, ("pack", "packed", "ship", "shipped", "versand", "verpacken", "emballage")
    ),
    StartingStage("repair", "Repair bench", "repair", 20, ("rework", "fix bench", "reparatur", "réparation")),
)


@dataclass(frozen=True)
class StartingMeasure:
    """A measurement of the trade: its quantity, where it is set, what is plausible, the words it goes by."""

    key: str
    name: str
    quantity: str
    set_at: str
    at_pitch: bool
    plausible: tuple[str, str] | None
    words: tuple[str, ...]
    units: tuple[tuple[str, float, float], ...] = ()  # unit and the range of a usual reading in it, for a bare number
    rather_at: str = ""  # where a shop has this stage, it is set there
    families_at: tuple[tuple[str, str], ...] = ()  # (word of a family's name, stage) of those that are set elsewhere


MEASURES = (
    StartingMeasure(
        "relief",
        "Neck relief",
        "length",
        "neck_straightening",
        True,
        ("-1 mm", "3 mm"),
        ("relief", "neck relief", "halskrümmung", "halsspannung", "creux", "courbure"),
        (("in", 0.0005, 0.025), ("mm", 0.04, 0.6), ("thou", 1, 25)),
        "rod_at_pitch",  # straightening before the strings are on sets bow: at pitch it is another reading
        (("ukulele", "levelling"), ("classical", "levelling")),  # most have no rod
    ),
    StartingMeasure(
        "action",
        "Action at fret 12",
        "length",
        "bridge_fitting",
        True,
        ("0.5 mm", "14 mm"),
        ("action", "act", "string height", "saitenlage", "hauteur des cordes", "hauteur"),
        (("in", 0.04, 0.2), ("mm", 0.8, 6), ("64ths", 3.0001, 12), ("thou", 40, 200)),
        families_at=(("banjo", "neck_angle"),),  # by the rods
    ),
    StartingMeasure(
        "nut",
        "Gap over fret 1",
        "length",
        "nut_slotting",
        True,
        ("0 mm", "2 mm"),
        ("nut", "nut height", "over fret 1", "1st fret", "first fret", "sattel", "sattelhöhe", "sillet"),
        (("in", 0.005, 0.05), ("mm", 0.2, 1.2), ("thou", 5, 50)),
    ),
    StartingMeasure(
        "neck_bow",
        "Neck bow, incoming",
        "length",
        "",
        False,
        ("-3 mm", "3 mm"),
        ("bow", "neck bow", "incoming bow", "straightness", "durchbiegung"),
        (("in", 0.0005, 0.02), ("mm", 0.03, 1), ("thou", 1, 20)),
    ),
    StartingMeasure(
        "intonation",
        "Intonation",
        "pitch",
        "intonation",
        True,
        ("-60 cents", "60 cents"),
        ("intonation", "inton", "int", "cents", "12th cents", "oktave", "oktavreinheit", "justesse"),
        (("cents", -60, 60),),
    ),
    StartingMeasure(
        "neck_angle",
        "Neck angle",
        "angle",
        "neck_angle",
        True,
        ("-5 deg", "10 deg"),
        ("neck angle",),
        (("deg", -5, 10),),
    ),
    StartingMeasure(
        "bridge_height",
        "Bridge height",
        "length",
        "bridge_fitting",
        False,
        ("1 mm", "40 mm"),
        ("bridge height",),
        (("mm", 3, 30), ("in", 0.15, 1.2)),
    ),
    StartingMeasure(
        "fret_height",
        "Fret height",
        "length",
        "levelling",
        False,
        ("0.2 mm", "2.5 mm"),
        ("fret height",),
        (("mm", 0.5, 1.8), ("in", 0.02, 0.07)),
    ),
    StartingMeasure(
        "fall_away",
        "Fall-away",
        "length",
        "levelling",
        False,
        ("-1 mm", "2 mm"),
        ("fall away",),
        (("mm", 0.03, 1), ("in", 0.001, 0.04)),
    ),
    StartingMeasure(
        "twist",
        "Neck twist",
        "length",
        "",
        False,
        ("-3 mm", "3 mm"),
        ("twist",),
        (("mm", 0.03, 1), ("in", 0.001, 0.04)),
    ),
    StartingMeasure(
        "compensation",
        "Compensation",
        "length",
        "intonation",
        True,
        ("-2 mm", "8 mm"),
        ("compensation",),
        (("mm", 0.5, 6),),
    ),
    StartingMeasure(
        "string_spacing",
        "String spacing",
        "length",
        "nut_slotting",
        False,
        ("5 mm", "80 mm"),
        ("string spacing",),
        (("mm", 20, 70), ("in", 0.8, 2.8)),
    ),
    StartingMeasure(
        "tuning",
        "Tuning at final",
        "pitch",
        "",
        True,
        ("-60 cents", "60 cents"),
        ("tuning offset",),
        (("cents", -60, 60),),
    ),
    StartingMeasure(
        "head",
        "Head gauge",
        "plain",
        "head_tension",
        False,
        None,
        ("head", "head gauge", "head tension", "drum", "dial"),
    ),
)

FAULTS: dict[str, tuple[str, ...]] = {  # words of a fault -> first suspect
    "nut_slotting": ("open-string buzz", "buzz open", "slot too narrow", "pinging", "sharp at first frets", "nut"),
    "neck_straightening": ("buzz at frets 1-3", "low buzz", "back buzz", "back-bow", "up-bow", "relief"),
    "levelling": ("buzz mid neck", "high fret", "dead note", "choked note", "fret buzz"),
    "neck_angle": ("buzz up the neck", "neck angle"),
    "intonation": ("sharp at 12", "flat at 12", "intonation"),
    "crowning": ("one fret out on all strings", "sharp ends"),
    "polishing": ("scratchy frets",),
    "bridge_fitting": (
        "sitar buzz",
        "buzz at the bridge",
        "bridge foot gap",
        "leaning bridge",
        "action high",
        "action low",
        "action out after settling",
    ),
    "head_tension": ("head uneven", "head slack", "head tight"),
    "tailpiece": ("tailpiece rattle",),
    "stringing": ("string slips", "wrong string", "one string false"),
    "supplier": (
        "loose fret",
        "low fret",
        "twist",
        "finish flaw",
        "scratch",
        "stiff tuner",
        "loose tuner",
        "crack",
        "body hump",
    ),
    "packing": ("missing part", "wrong label"),
}
