"""Serials that people type in several ways: whether capitals and spaces tell instruments apart."""

from collections.abc import Sequence

from ingest.beginning.asking import Asker
from ingest.beginning.survey import Survey
from ingest.reading.oddities import one_way

APART = 0.2  # of the serials typed in several ways stand so twice at one stage: they may be two instruments
YES, NO = "yes", "no"


def serials_typed(surveys: Sequence[Survey], asker: Asker) -> tuple[str, bool]:
    """('loose' where capitals and spaces in a serial mean nothing, '' where none differ by them alone or where they do;
    was it said).
    """
    ways: dict[str, set[str]] = {}
    here: dict[tuple[int, str, str], set[str]] = {}
    for kind, seen in enumerate(surveys):
        serial, stage = seen.column("serial"), seen.column("stage")
        if serial is None:
            continue
        stages = stage.cells if stage else ("",) * len(serial.cells)
        for cell, where in zip(serial.cells, stages, strict=True):
            if text := cell.strip():
                ways.setdefault(one_way(text), set()).add(text)
                here.setdefault((kind, where.strip(), one_way(text)), set()).add(text)
    several = {key: typed for key, typed in ways.items() if len(typed) > 1}
    if not several:
        return "", False
    apart = {key for (_, _, key), typed in here.items() if len(typed) > 1}
    such = " and ".join(repr(each) for each in sorted(next(iter(several.values())))[:2])
    question = (
        f"{len(several)} of {len(ways):,} serials are typed in several ways, such as {such}: are they one instrument, "
        "whatever the capitals and spaces?"
    )
    answer = asker.ask("serials", question, (YES, NO), YES if len(apart) <= APART * len(several) else NO)
    return "loose" if answer == YES else "", "serials" in asker.answers
