"""Strings by their notes where a row says the note: E is the second string of a ukulele and the first of a baritone, so
the tuning of the row's model says which. What no tuning says is asked about, never taken for another model's string.
"""

import re
from collections.abc import Collection, Mapping, Sequence

import polars as pl

from ingest.reading.cells import Cells
from ingest.reading.headings import plain
from ingest.reading.sheet import Reading

NOTE = re.compile(r"([A-Ha-h])([#♯b♭]?)('?)")
SELDOM = 0.05  # of the notes of a model: so few that nobody has explained are slips, and say nothing of the others


def note_in(text: str) -> str:
    """The note that a cell holds and nothing else: `E`; `E'`, also typed `e`, the thin one of two; '' where none."""
    found = NOTE.fullmatch(text.strip())
    if found is None:
        return ""
    return (
        found[1].upper() + found[2].replace("♯", "#").replace("♭", "b") + ("'" * bool(found[3] or found[1].islower()))
    )


def string_of(note: str, tuning: Sequence[str], seen: Collection[str]) -> str:
    """The number of a note's string, '' where the tuning has none or two of it and the sheet does not tell them apart.

    tuning : its notes from the highest number down, the thin one of two of one letter with a '.  seen : all notes met.
    """
    letters, letter = [each.rstrip("'") for each in tuning], note.rstrip("'")
    if letters.count(letter) == 1:
        return str(len(tuning) - letters.index(letter))
    return str(len(tuning) - tuning.index(note)) if note in tuning and {letter, f"{letter}'"} <= {*seen} else ""


def by_tuning(cells: Cells, reading: Reading) -> pl.Series:
    """The place of each row, a note as the number of its string, one that is asked about as 'E of MODEL'."""
    places = cells.text("position")
    typed = places.unique().to_list()
    notes = {text: note for text in typed if (note := note_in(text))}
    if not notes:
        return places
    own = {plain(word): place for word, place in reading.log.words.get("position", {}).items()}
    both = pl.DataFrame({"model": _models(cells, reading), "place": places})
    told: dict[tuple[str, str], str] = {}
    mine = both.filter(pl.col("place").is_in(list(notes))).group_by("model", "place", maintain_order=True).len()
    for (model,), rows in mine.group_by("model", maintain_order=True):
        counts = dict(rows.select("place", "len").rows())
        told |= {(str(model), text): place for text, place in _told(str(model), counts, notes, own, reading).items()}
    pairs = [(model, text, place) for (model, text), place in told.items()]
    table = pl.DataFrame(pairs, schema={"model": pl.String, "place": pl.String, "string": pl.String}, orient="row")
    joined = both.join(table, on=["model", "place"], how="left", maintain_order="left")
    return joined.select(pl.coalesce("string", "place").alias("position")).to_series()


def _told(
    model: str, counts: Mapping[str, int], notes: Mapping[str, str], own: Mapping[str, str], reading: Reading
) -> dict[str, str]:
    """What each note of one model is read as: the string of its tuning; without one what the words of the sheet say, if
    they explain the model's other notes too and give no string to two of them.
    """
    known = reading.shop.by_model.get(model)
    asked = {text: f"{text} of {model}" if model else text for text in counts}
    if known is not None and known.tuning:
        seen, sides = {notes[text] for text in counts}, {word for word, place in own.items() if not place.isdecimal()}
        strings = {text: string_of(notes[text], known.tuning.split(), seen) for text in counts}
        return {text: text if plain(text) in sides else strings[text] or asked[text] for text in counts}
    unsaid = sum(number for text, number in counts.items() if plain(text) not in own)
    meant = {plain(text).replace("h", "b"): own[plain(text)] for text in counts if plain(text) in own}
    told = [place for place in meant.values() if place.isdecimal()]
    if unsaid > SELDOM * sum(counts.values()) or len({*told}) < len(told):
        return asked
    return {text: text if plain(text) in own else asked[text] for text in counts}


def _models(cells: Cells, reading: Reading) -> pl.Series:
    """The model of each row; of a row that says none that of the other rows of its serial, where they agree."""
    keys = reading.words.translate("model", cells.text("model")).fill_null("")
    only = reading.shop.models[0].key if len(reading.shop.models) == 1 else ""
    frame = pl.DataFrame({"serial": cells.text("serial"), "model": keys})
    one = frame.filter(pl.col("model") != "").group_by("serial").agg(pl.col("model").unique())
    one = one.filter(pl.col("model").list.len() == 1).select("serial", other=pl.col("model").list.first())
    joined = frame.join(one, on="serial", how="left", maintain_order="left")
    said = pl.when(pl.col("model") != "").then("model").otherwise(pl.coalesce("other", pl.lit(only)))
    return joined.select(said.alias("model")).to_series()
