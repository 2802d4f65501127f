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
    StartingStage("neck_angle", "Neck angle", "bench", 3, ("angle", "neck set")),
    StartingStage(
        "nut_slotting", "Nut slotting", "bench", 9, ("nut", "nut slot", "nut slots", "slotting", "sattel", "sillet")
    ),
    StartingStage(
        "bridge_fitting", "Bridge fitting", "bench", 6, ("bridge", "saddle", "steg", "stegeinlage", "chevalet")
    ),
    StartingStage("intonation", "Intonation", "bench", 6, ("inton", "intonate", "oktavreinheit", "justesse")),
    StartingStage("tailpiece", "Tailpiece", "bench", 2, ("tail", "cordier")),
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
        "head",
        "Head gauge",
        "plain",
        "head_tension",
        False,
        None,
        ("head", "head gauge", "head tension", "drum", "dial"),
    ),
)

# family -> words; relief, action 12 bass and treble, over fret 1 bass and treble (nominal, low, high in mm), intonation
# at 12 (cents either way)
Limits = tuple[float, float, float]
FAMILIES: dict[str, tuple[tuple[str, ...], Limits, Limits, Limits, Limits, Limits, float]] = {
    "soprano ukulele": (
        ("soprano",),
        (0.05, 0, 0.15),
        (2.5, 2.1, 2.9),
        (2.5, 2.1, 2.9),
        (0.55, 0.40, 0.75),
        (0.50, 0.35, 0.70),
        8,
    ),
    "concert ukulele": (
        ("concert",),
        (0.05, 0, 0.15),
        (2.5, 2.1, 2.9),
        (2.5, 2.1, 2.9),
        (0.55, 0.40, 0.75),
        (0.50, 0.35, 0.70),
        8,
    ),
    "tenor ukulele": (
        ("tenor", "ukulele", "uke"),
        (0.08, 0, 0.20),
        (2.6, 2.2, 3.0),
        (2.5, 2.1, 2.9),
        (0.55, 0.40, 0.75),
        (0.50, 0.35, 0.70),
        7,
    ),
    "steel-string guitar": (
        ("steel", "guitar", "dreadnought", "western"),
        (0.15, 0.05, 0.30),
        (2.4, 2.1, 2.7),
        (1.8, 1.5, 2.1),
        (0.55, 0.45, 0.65),
        (0.35, 0.25, 0.45),
        5,
    ),
    "classical guitar": (
        ("classical", "nylon", "konzertgitarre"),
        (0.15, 0.05, 0.35),
        (4.0, 3.6, 4.4),
        (3.2, 2.8, 3.6),
        (0.75, 0.60, 0.90),
        (0.60, 0.45, 0.75),
        5,
    ),
    "resonator guitar": (
        ("resonator guitar", "reso"),
        (0.20, 0.05, 0.35),
        (2.6, 2.2, 3.0),
        (2.0, 1.6, 2.4),
        (0.55, 0.43, 0.68),
        (0.40, 0.28, 0.52),
        5,
    ),
    "mandolin": (
        ("mandolin", "mando"),
        (0.10, 0, 0.20),
        (1.9, 1.65, 2.15),
        (1.6, 1.35, 1.85),
        (0.60, 0.45, 0.75),
        (0.45, 0.33, 0.57),
        5,
    ),
    "open-back banjo": (
        ("open-back", "open back", "openback", "banjo"),
        (0.20, 0.10, 0.40),
        (2.8, 2.3, 3.3),
        (2.8, 2.3, 3.3),
        (0.65, 0.45, 0.85),
        (0.60, 0.40, 0.80),
        5,
    ),
    "resonator banjo": (
        ("resonator banjo",),
        (0.20, 0.10, 0.35),
        (2.4, 2.0, 2.8),
        (2.4, 2.0, 2.8),
        (0.60, 0.45, 0.80),
        (0.55, 0.40, 0.75),
        5,
    ),
    "electric guitar": (
        ("electric", "e-gitarre"),
        (0.15, 0.05, 0.25),
        (2.0, 1.75, 2.25),
        (1.6, 1.35, 1.85),
        (0.50, 0.40, 0.60),
        (0.30, 0.22, 0.40),
        3,
    ),
}

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

OUTCOMES: dict[str, tuple[str, ...]] = {  # how sheets write an outcome
    "pass": ("pass", "passed", "ok", "o.k.", "p", "good", "yes", "y", "done", "✓", "io", "i.o.", "gut", "bon", "oui"),
    "fixed": ("fixed", "touched up", "fixed here", "nachgestellt"),
    "send back": (
        "send back",
        "sent back",
        "back",
        "fail",
        "failed",
        "f",
        "rework",
        "redo",
        "no",
        "n",
        "nio",
        "n.i.o.",
        "zurück",
        "retour",
        "refait",
    ),
    "hold": ("hold", "on hold", "waiting", "warten"),
    "second": ("second", "b", "b-stock", "b stock", "2nd", "b-ware"),
    "reject": ("reject", "rejected", "scrap", "ausschuss", "rebut"),
    "return": ("return", "returned", "customer return", "rma"),
    "pulled": ("pulled",),
}

FIELD_WORDS: dict[
    str, tuple[str, ...]
] = {  # further headings of the fields of a visit; the English ones are in `headings`
    "serial": (
        "serial",
        "seriennummer",
        "seriennr",
        "serien-nr",
        "ser-nr",
        "numéro de série",
        "no série",
        "nummer",
        "instrument",
        "id",
        "#",
    ),
    "model": ("model", "modell", "modèle", "type", "typ", "product", "sku"),
    "stage": ("stage", "step", "station", "arbeitsgang", "schritt", "poste", "étape", "process"),
    "tech": (
        "tech",
        "by",
        "who",
        "name",
        "initials",
        "kürzel",
        "mitarbeiter",
        "technicien",
        "checked by",
        "prüfer",
        "luthier",
    ),
    "date": ("date", "datum", "tag", "jour", "when", "date done", "timestamp", "time stamp"),
    "started_at": ("started", "start", "beginn", "début"),
    "finished_at": ("finished", "end", "ende", "fin", "completed"),
    "minutes": ("minutes", "min", "minuten", "time spent", "dauer", "durée"),
    "outcome": ("outcome", "result", "ergebnis", "résultat", "status", "ok?", "pass?", "p/f"),
    "fault": ("fault", "defect", "fehler", "défaut", "issue", "issues", "what was wrong"),
    "note": ("note", "notes", "remarks", "bemerkung", "bemerkungen", "remarque", "remarques", "comment", "comments"),
    "rh": ("rh", "humidity", "luftfeuchte", "humidité"),
    "temperature": ("temp", "temperature", "temperatur", "température"),
    "supplier": ("supplier", "lieferant", "fournisseur", "neck maker"),
    "lot": ("lot", "batch", "charge", "neck batch"),
    "sent_back_to": ("sent back to", "back to", "zurück an", "retour à"),
}
BASS = ("bass", "b", "low", "low e", "grave", "bassseite")
TREBLE = ("treble", "t", "high", "high e", "diskant", "d", "hi", "aigu", "trebleside")
