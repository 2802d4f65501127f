"""What a heading may mean by its words and parts of words: measurement, position, moment, unit, stage, field."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

from ingest.beginning.starting_values import MEASURES, STAGES
from ingest.beginning.trade_words import (
    FIELD_PHRASES,
    MEASURE_PHRASES,
    MOMENT_PHRASES,
    NOISE,
    POSITION_PHRASES,
    STAGE_PHRASES,
    TARGETS,
    UNIT_WORDS,
)
from ingest.reading.fields import FIELDS
from ingest.reading.headings import plain, sides_in_order
from ingest.terms.units import straight, unit_of

Mark = tuple[str, str]  # kind, meaning
_UNIT = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_ORDINAL = re.compile(r"(\d{1,2})(?:st|nd|rd|th|a|\.)$")  # 6a: the Spanish sixth
_STRING = re.compile(r"^(?:s|str|string|saite|corde)(\d{1,2})$")
_EAST_STRING = re.compile(r"^(?:第)?(\d{1,2})弦(?:側)?$")
_EAST = re.compile(r"[\u3040-\u30ff\u3400-\u9fff]")
JOINS = ("の", "・", "時", "側")  # between the words of a heading of the east
_FRET = re.compile(
    r"(?:@|\bat\b)\s*(?:fret|bund|f)?\s*(\d{1,2})\b(?:th|st)?|\b(?:fret|bund|f)\s*(\d{1,2})\b"
    r"|\b(\d{1,2})(?:\.|th|st)\s*(?:bund|fret)\b|\b(\d{1,2})\s*(?:bund|fret)\b(?!\s*\d)"  # 3 fret 5: string 3
)
_NOTED = re.compile("^(?:e1|b2|h2|g3|d4|a5|e6|a1|e2|c3|g4|a2|d3|d1|g5|g1|d2|a3|e4)$")  # a string: its note, its number
_JOINED = re.compile(r"^([a-z]{3,})([1-6]|12)$")  # 'act12', 'int6'; more figures may be a fret or a string
_ROMAN = {"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5", "vi": "6"}
_TARGET = re.compile(rf"\b(?:{'|'.join(sorted(TARGETS, key=len, reverse=True))})\b")
_BY = re.compile(r"\w\s+(?:by|von|par|door|av|af)$")  # 'strung by': hands, whatever they did
_CHECKS = re.compile(
    r"\b(?:check|inspect|looked over|looked at|seen by"
    r"|prüf|geprüft|kontroll|contrôl|gecontrol|signed|released|freigegeben|qc\b)"
)
LONGEST = 5  # words of a phrase
HEADING_ONLY = frozenset(
    ("nacharbeit", "rework", "repair", "setup", "set up", "test", "rest")
)  # too common in other senses to name a stage inside a heading
DE_SUFFIX: dict[str, Mark] = {  # ends of compounds
    "datum": ("field", "date"),
    "uhrzeit": ("field", "time"),
    "nummer": ("number", ""),
    "nr": ("number", ""),
    "prüfer": ("field", "tech"),
    "platz": ("field", "stage"),
    "seite": ("noise", ""),
    "höhe": ("noise", ""),
    "saite": ("noise", ""),
    "code": ("noise", ""),
    "wert": ("field", "value"),
    "merkmal": ("field", "what"),
    "ergebnis": ("field", "outcome"),
    "zeit": ("field", "time"),
    "bemerkung": ("field", "note"),
    "dauer": ("field", "minutes"),
    "fehler": ("field", "fault"),
}
DE_NUMBER = {  # what a number is of, before 'nummer' and 'nr'
    **dict.fromkeys(("serie", "serien", "instrument", "instrumenten", "geräte", "gerät"), "serial"),
    **dict.fromkeys(("artikel", "modell", "typ"), "model"),
    **dict.fromkeys(("auftrag", "auftrags"), "job"),
    **dict.fromkeys(("los", "chargen"), "lot"),
    **dict.fromkeys(("personal", "pers"), "tech"),
}


def _book() -> dict[str, list[Mark]]:
    """Every phrase with all it may mean."""
    found: dict[str, list[Mark]] = {}

    def put(phrase: str, mark: Mark) -> None:
        held = found.setdefault(" ".join(words_of(phrase)), [])
        if mark not in held:
            held.append(mark)

    for measure, phrases in MEASURE_PHRASES.items():
        for phrase in phrases:
            put(phrase, ("measure", measure))
    for item in MEASURES:
        for phrase in (item.key, item.name, *item.words):
            put(phrase, ("measure", item.key))
    for name, phrases in FIELD_PHRASES.items():
        for phrase in (name, *phrases, *FIELDS.get(name, ())):
            put(phrase, ("field", name))
    for stage in STAGES:
        for phrase in (stage.key, stage.name, *stage.words, *STAGE_PHRASES.get(stage.key, ())):
            if phrase not in HEADING_ONLY:
                put(phrase, ("stage", stage.key))
    for place, phrases in POSITION_PHRASES.items():
        for phrase in phrases:
            put(phrase, ("position", place))
    for moment, phrases in MOMENT_PHRASES.items():
        for phrase in phrases:
            put(phrase, ("moment", moment))
    for word, unit in UNIT_WORDS.items():
        put(word, ("unit", unit))
    return found


@lru_cache(maxsize=8192)
def words_of(text: str) -> list[str]:
    """A heading as single words, letters and figures apart only where a figure ends a word."""
    text = straight(plain(text)).replace("ue", "ü") if "rueck" in plain(text) else straight(plain(text))
    text = re.sub(r"\bs/n\b", "s/n", text)
    text = re.sub(r"(?<![sp])/(?![nf])|[,;:|+?!()\[\]{}]|(?<=\s)-(?=\s)|@", " ", text)
    text = re.sub(r"(?<=[a-zäöü])[-.](?=[a-zäöü])", " ", text)
    text = re.sub(r"\.(?=\s|$)", lambda found: "." if re.search(r"\d$", text[: found.start()]) else " ", text)
    text = re.sub(r"(?<=[a-zäöüß])\.(?=\d)", " ", text)
    return [word for word in text.replace("#", " # ").split() if word not in ("-", ".", "/")]


_BOOK: dict[str, list[Mark]] = {}


def book() -> dict[str, list[Mark]]:
    """The phrases of the trade, made once."""
    if not _BOOK:
        _BOOK.update(_book())
    return _BOOK


@dataclass
class Sense:
    """What stands in one heading."""

    heading: str
    whole: str = ""  # the field that the heading as a whole names
    fields: list[str] = field(default_factory=list)
    measures: list[str] = field(default_factory=list)
    stages: list[str] = field(default_factory=list)
    position: str = ""
    both_sides: str = ""  # 'bass/treble', or the other way round
    moments: list[str] = field(default_factory=list)
    unit: str = ""
    in_is: str = ""  # 'in' may be the unit or the moment: the word stands here until its neighbours say which
    strange: list[str] = field(default_factory=list)  # words that mean nothing here
    ordinal: str = ""  # a string by its number
    over_first: bool = False  # 'Nut 1st': over fret 1, unless a sister such as 'Nut 6th' counts strings
    noted: bool = False  # told by the note of the string too, as E1 is
    fret: int | None = None  # named in the heading
    target: bool = False  # what a reading should be or must not pass


@lru_cache(maxsize=8192)
def sense_of(heading: str) -> Sense:
    """All that the words of a heading may mean."""
    sense = Sense(heading)
    text = straight(plain(heading))
    sense.target = bool(_TARGET.search(text))
    for found in _UNIT.finditer(text):
        unit = next(
            (unit for quantity in ("length", "pitch", "angle") if (unit := unit_of(found[1].strip(), quantity))), ""
        )
        if unit and unit != "C":
            sense.unit = unit
            text = text.replace(found[0], " ")
    whole = " ".join(words_of(text))
    for kind, meaning in book().get(whole, []):
        if kind == "field" and not sense.whole:
            sense.whole = meaning
    if sides := sides_in_order(heading):
        sense.both_sides = "/".join(sides)
        text = re.sub(r"[^\s/|]+\s*[/|]\s*[^\s/|(\[]+", " ", text)
    if fret := _FRET.search(text):
        sense.fret = int(next(group for group in fret.groups() if group))
        text = _FRET.sub(" 12th ", text) if sense.fret != 1 else text
    _walk(words_of(text), sense)
    if sense.fret in (1, 12) and _over_a_fret(sense):
        sense.measures, sense.fields, sense.whole = ["action"], [], ""
    if sense.fret == 1 and sense.measures == ["action"]:
        sense.measures = ["nut"]
    if not sense.whole and not sense.measures and not sense.fields and _BY.search(text):
        sense.fields, sense.stages, sense.strange = ["tech"], [], []
    if sense.measures == ["nut"] and sense.ordinal == "1" and not sense.noted:
        sense.ordinal, sense.over_first = "", True
    return sense


def names_hands(heading: str) -> bool:
    """Does a heading end in a word that may say whose hands it was?"""
    return bool(_BY.search(f"x {straight(plain(heading))}"))


def checks_only(heading: str) -> bool:
    """Does a heading speak of who looked it over, beside whom another column may name who did the work?"""
    return bool(_CHECKS.search(plain(heading)))


def _over_a_fret(sense: Sense) -> bool:
    """Does a heading name a side or a unit beside a fret, and nothing else?"""
    other = sense.measures or set(sense.fields) - {"position"} or sense.stages or sense.moments or sense.strange
    return bool(sense.position or sense.unit) and not other


def _walk(words: list[str], sense: Sense) -> None:
    at = 0
    while at < len(words):
        for length in range(min(LONGEST, len(words) - at), 0, -1):
            phrase = " ".join(words[at : at + length])
            if marks := book().get(phrase, []):
                _take(phrase, marks, words, at, length, sense)
                at += length
                break
        else:
            _single(words[at], sense)
            at += 1


def _take(phrase: str, marks: list[Mark], words: list[str], at: int, length: int, sense: Sense) -> None:
    kinds = dict(reversed(marks))
    if phrase == "in":
        sense.in_is = "in"
        return
    if length == 1 and phrase in ("b", "t", "d", "tr", "hi", "lo", "low") and "position" in kinds:
        sense.position = kinds["position"]
        return
    if "position" in kinds and not ("field" in kinds and len(words) == length):
        sense.position = kinds["position"]
        return
    if "measure" in kinds and "stage" in kinds:
        sense.measures.append(kinds["measure"])
        sense.stages.append(kinds["stage"])
    elif "measure" in kinds:
        sense.measures.append(kinds["measure"])
        if kinds["measure"] == "intonation" and phrase in ("cents", "cent"):
            sense.unit = sense.unit or "cents"
    elif "unit" in kinds and len(words) > length:
        sense.unit = sense.unit or kinds["unit"]
    elif "moment" in kinds and "field" not in kinds and "stage" not in kinds:
        sense.moments.append(kinds["moment"])
    elif "stage" in kinds and "field" not in kinds:
        sense.stages.append(kinds["stage"])
        if "moment" in kinds:
            sense.moments.append(kinds["moment"])
    elif "field" in kinds:
        sense.fields.append(kinds["field"])
        if "moment" in kinds:
            sense.moments.append(kinds["moment"])
    else:
        sense.strange.append(phrase)


def _single(word: str, sense: Sense) -> None:
    """A word that no phrase knows: an ordinal, a numbered string, a compound, noise, or strange."""
    if found := _STRING.match(word) or _EAST_STRING.match(word):
        sense.ordinal = str(int(found[1]))
    elif (parts := _east_parts(word)) and len(parts) > 1:
        _walk(parts, sense)
    elif _NOTED.match(word):
        sense.ordinal, sense.noted = word[1], True
    elif word in _ROMAN and (sense.measures or len(word) > 1):
        sense.ordinal = _ROMAN[word]
    elif (found := _JOINED.match(word)) and _of_strings(found[1]):
        _walk([found[1], *([found[2]] if found[2] != "12" else [])], sense)
    elif found := _ORDINAL.match(word):
        if found[1] not in ("12", "7", "8"):
            sense.ordinal = sense.ordinal or str(int(found[1]))
            sense.noted = sense.noted or word.endswith("a")  # a string, which is feminine; a fret is not
    elif word.isdecimal() and len(word) <= 2:
        if word not in ("12", "7", "8") or sense.measures[-1:] == ["intonation"]:
            sense.ordinal = sense.ordinal or str(int(word))
    elif word in ("#", '"'):
        sense.unit = sense.unit or ("in" if word == '"' else "")
    elif word in NOISE:
        return
    elif marks := _compound(word):
        for kind, meaning in marks:
            if kind == "measure":
                sense.measures.append(meaning)
            elif kind == "position":
                sense.position = meaning
            elif kind == "field" and meaning:
                sense.fields.append(meaning)
            elif kind == "stage":
                sense.stages.append(meaning)
    else:
        sense.strange.append(word)


def _east_parts(word: str) -> list[str]:
    """The phrases of a heading of the east, which has no spaces between, the longest first; nothing where it holds more
    than phrases that are known.
    """
    if not _EAST.search(word):
        return []
    parts, at = [], 0
    while at < len(word):
        end = next((end for end in range(len(word), at, -1) if word[at:end] in book() or word[at:end] in JOINS), at)
        if end == at:
            return []
        parts += [word[at:end]] if word[at:end] not in JOINS else []
        at = end
    return parts


def _of_strings(word: str) -> bool:
    """Is a word a measurement that is read string by string?"""
    return any(("measure", key) in book().get(word, []) for key in ("action", "nut", "intonation"))


def _compound(word: str) -> list[Mark]:
    """The parts of a compound such as 'bassseite', 'instrumentennummer', 'prüfplatz', where its end is a known word."""
    for end, mark in DE_SUFFIX.items():
        if word.endswith(end) and len(word) > len(end):
            start = word[: -len(end)].rstrip("-")
            if mark[0] == "number":
                return [("field", DE_NUMBER[start])] if start in DE_NUMBER else []
            known = book().get(start) or book().get(start.rstrip("s")) or book().get(start.removesuffix("en")) or []
            inner = [each for each in known if each[0] in ("position", "measure", "stage")][:1]
            if mark[0] == "noise":
                return inner
            return [*inner, mark]
    return []
