"""An explanation told on the positions that moved alone: its start and its size."""

from bisect import bisect_left
from dataclasses import replace

import numpy as np

from analysis.methods.segments import Floats
from analysis.studies.matters.creeping import as_it_moves, asked
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.explained import Explained, Sized, explainer_of
from analysis.studies.matters.signalled import EARLIER


def narrowed(part: Explained, narrow: Evidence, *, until: int | None = None) -> Explained:
    """The same explanation with start and size taken on the positions that moved; `narrow` has those alone."""
    wide = part.evidence
    places = narrow.rows.select("serial", "visit").join(
        wide.rows.select("serial", "visit").with_row_index("wide"),
        on=["serial", "visit"],
        how="left",
        maintain_order="left",
    )["wide"]
    at = places.fill_null(len(wide.values)).to_numpy()
    keep = np.append(part.keep, True)[at] & (until is None or narrow.day <= until)
    held = _whole(part)
    base = np.append(held, 0.0)[at] * keep
    best = part.best
    start = bisect_left(narrow.days, wide.days[best.start])
    explainer = explainer_of(narrow, keep, start - EARLIER, np.append(part.away, False)[at])
    if explainer is None or not base[keep].any():
        return part
    low, high = start - (best.start - best.start_low), start + (best.start_high - best.start)
    explainer.taken = [np.append(column, 0.0)[at][keep] for column in part.beside if column.any()]
    known = [np.append(column, 0.0)[at] for column in part.known if column.any()]
    found, _ = explainer.measured(base[keep], low, high)
    found, crept = replace(found, factor=best.factor, level=best.level, kin=best.kin), None
    if part.creep is not None and best.factor in narrow.airs:
        crept = asked(narrow, explainer, found, base[keep] != 0, [column[keep] for column in known], keep)
    elif part.creep is not None:
        moves = as_it_moves(narrow, explainer, found, base[keep])
        found, crept = moves.best, moves.creep
    column = base * (narrow.day >= found.start)
    return replace(part, narrowed=Sized(narrow, found, column, crept, known))


def _whole(part: Explained) -> Floats:
    """The column of an explanation before its start is chosen (n,)."""
    found, best = part.evidence, part.best
    on = np.isin(found.stream, best.streams)
    on &= (found.day < best.end) | (best.end < 0)
    column = next((one.value for one in found.columns if one.name == best.factor), None)
    if column is not None:
        return np.asarray(column * on)
    code = next((one.code for one in found.factors if one.name == best.factor), None)
    if code is not None:
        return np.asarray((code == best.level) & on).astype(np.float64)
    return np.asarray(on if best.level == 0 else part.column != 0).astype(np.float64)
