"""A family that a model's name tells, held against how high its strings stand: a name alone is only a name."""

from collections.abc import Sequence
from statistics import median

from ingest.beginning.families import FAMILIES
from ingest.beginning.survey import Survey
from ingest.reading.amounts import tidy
from ingest.reading.headings import plain
from ingest.terms.units import to_canonical

ROOM = 0.25  # of a limit: a model's usual string may stand so far outside a family's limits
ENOUGH = 5  # readings


def doubt(name: str, family: str, surveys: Sequence[Survey]) -> str:
    """Why a model is hardly of a family, in words: its usual action lies far outside the family's limits; '' where
    nothing speaks against it.
    """
    found = [number for seen in surveys for number in _action(name, seen)]
    if len(found) < ENOUGH or family not in FAMILIES:
        return ""
    usual = median(found)
    sides = FAMILIES[family].action
    low, high = min(side[1] for side in sides), max(side[2] for side in sides)
    if low * (1 - ROOM) <= usual <= high * (1 + ROOM):
        return ""
    return f"its name says {family}, but its action is some {usual:.1f} mm"


def _action(name: str, seen: Survey) -> list[float]:
    """The actions of a model in mm, as far as plain numbers tell them."""
    model = seen.column("model")
    columns = [column for column in seen.measures() if column.guess.measure == "action"]
    if model is None or not columns:
        return []
    wanted, usual, out = plain(name), seen.usual_unit("action")[0], []
    rows = [place for place, cell in enumerate(model.cells) if plain(cell) == wanted]
    for column in columns:
        unit = column.guess.unit or usual
        for place in rows if unit else ():
            try:
                out.append(to_canonical(float(tidy(column.cells[place]).replace(",", ".")), unit, "length"))
            except ValueError:
                continue
    return out
