"""Serials that people type in several ways: whether capitals and spaces tell instruments apart."""

from collections.abc import Sequence

from ingest.beginning.asking import Asker
from ingest.beginning.survey import Survey
from ingest.reading.oddities import one_way

APART = 0.2  # of the serials typed in several ways stand so twice at one stage: they may be two instruments
YES, NO = "yes", "no"
DASHES = "serials with dashes"


def serials_typed(surveys: Sequence[Survey], asker: Asker) -> tuple[str, bool]:
    """('loose' where capitals and spaces in a serial mean nothing, 'bare' where dashes do not either, '' where none
    differ by them alone or where they do; was it said).
    """
    loose = _ask(surveys, asker, "loose", "serials", "typed in several ways", "whatever the capitals and spaces")
    bare = None
    if loose is not False:
        bare = _ask(surveys, asker, "bare", DASHES, "typed with and without dashes", "with or without them")
    return "bare" if bare else "loose" if loose else "", bool({"serials", DASHES} & asker.answers.keys())


def _ask(surveys: Sequence[Survey], asker: Asker, how: str, key: str, typed: str, whatever: str) -> bool | None:
    """Are serials that differ by so much alone one instrument each? Asked where some do, else None."""
    ways: dict[str, set[str]] = {}
    here: dict[tuple[int, str, str], set[str]] = {}
    for kind, seen in enumerate(surveys):
        serial, stage = seen.column("serial"), seen.column("stage")
        if serial is None:
            continue
        stages = stage.cells if stage else ("",) * len(serial.cells)
        for cell, where in zip(serial.cells, stages, strict=True):
            if text := cell.strip():
                text = text if how == "loose" else one_way(text)
                ways.setdefault(one_way(text, how), set()).add(text)
                here.setdefault((kind, where.strip(), one_way(text, how)), set()).add(text)
    several = {key: forms for key, forms in ways.items() if len(forms) > 1}
    if not several:
        return None
    apart = {key for (_, _, key), forms in here.items() if len(forms) > 1}
    such = " and ".join(repr(each) for each in sorted(next(iter(several.values())))[:2])
    question = (
        f"{len(several)} of {len(ways):,} serials are {typed}, such as {such}: are they one instrument, {whatever}?"
    )
    return asker.ask(key, question, (YES, NO), YES if len(apart) <= APART * len(several) else NO) == YES
