"""Numbers for each reading, one for what it says itself and one for what was done to its instrument as well: where two
stories have the same number, they say the same of it (`numbered`). They name no row, so they stay what they are for
whatever else is loaded, and are carried on with the story: whoever must know whether some readings are those of before
asks nothing else of the story.
"""

from collections.abc import Callable
from itertools import chain
from typing import TypeAlias

import numpy as np
import polars as pl

from analysis.methods.segments import lengths
from analysis.studies.story.numbered import NONE, Digits, digits, mixed, of_word, stirred

MARKS, MARK, SAYS = "marks", "mark", "says"  # a table of two columns, Int64, a row a reading of the story
OF_READING = ("day", "set_on", "setup", "set_by", "lot", "supplier", "gauge", "unit", "position", "taken_at")
OF_VISIT = ("stage", "tech", "string_set", "rh", "temperature")  # of first passes
OF_ITSELF = ("serial", "taken_at", "value", "set_by", "gauge")  # what a chart asks of a reading of one stream
Table: TypeAlias = Callable[[str], pl.Series]  # a column by its name


def says(readings: Table) -> pl.Series:
    """Of each reading what it says itself (OF_ITSELF), whatever was done to its instrument; shape (n,)."""
    return pl.Series(SAYS, mixed(digits(readings(name)) for name in OF_ITSELF).view(np.int64))


def marks(visits: Table, readings: Table) -> pl.Series:
    """Of each reading: what it says (OF_READING), the serial, and what was done to its instrument in its first passes
    (OF_VISIT), in their order; shape (n,).

    visits, readings : those of the story; of readings `visit` is the row of `visits`.
    """
    visit = readings("visit").fill_null(-1).to_numpy()
    of = np.append(_instruments(visits), NONE)[visit]
    parts = np.flatnonzero(visit < 0)
    if len(parts):
        of[parts] = digits(readings("serial").gather(parts))
    said = (digits(readings(name)) for name in OF_READING)  # each let go when it is mixed in
    return pl.Series(MARK, mixed(chain([of], said)).view(np.int64))


def _instruments(visits: Table) -> Digits:
    """Of the instrument of each visit; those of one stand together (v,)."""
    serial = visits("serial")
    which = serial.rle_id().to_numpy()
    starts = np.flatnonzero(np.diff(which, prepend=-1))
    first = np.flatnonzero(visits("first_pass").to_numpy())
    mine = which[first]  # rising
    place = np.arange(len(first)) - np.searchsorted(mine, mine)
    each = stirred(mixed([*(digits(visits(name).gather(first)) for name in OF_VISIT), place.astype(np.uint64)]))
    done = np.zeros(len(starts), dtype=np.uint64)
    np.add.at(done, mine, each)
    names = np.array([of_word(word) for word in serial.gather(starts).cast(pl.String)], dtype=np.uint64)
    return np.repeat(mixed([names, done]), lengths(starts, len(serial)))
