"""Is it one reading that lies far out, and the others say nothing: a slip, or one bad instrument, is no move."""

import numpy as np

from analysis.studies.matters.explained import Explained

WILD = 4.0  # sigma from the baseline in force
SHOWN = 2.0  # standard errors by which the others must lie off to the same side


def one_reading(part: Explained) -> bool:
    """Does the farthest of the readings it touches make it alone, less what else moved them? Nobody asks it of the air,
    which moves by degrees.
    """
    sized = part.sized
    beside = sized.known if part.narrowed is not None else part.beside
    off = (sized.evidence.values - sum(beside, np.zeros(len(sized.column))))[sized.column != 0]
    off = off * np.sign(sized.best.effect)
    if sized.best.factor in sized.evidence.airs or not len(off) or off.max() < WILD:
        return False
    others = np.delete(off, off.argmax())
    return not len(others) or bool(others.sum() < SHOWN * np.sqrt(len(others)))
