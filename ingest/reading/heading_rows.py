"""Headings that stand over several rows: what is merged or grouped above and what each column says below, in one."""

import re
from collections.abc import Sequence

MOST_ROWS = 3  # rows that headings stand over
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")
_FEW = re.compile(r"[1-9]|1\d|2[0-4]")  # the number of a string or fret
_DATED = re.compile(r"\d[-/.:]\d{1,2}[-/.:]\d|\d{5}|\d:\d\d")


def looks_like_headings(cells: Sequence[str]) -> bool:
    """Is a row words only: no number but that of a string or fret, no day or time in a cell, nothing long?"""
    filled = [cell.strip() for cell in cells if cell.strip()]
    return bool(filled) and not any(
        (_NUMBER.fullmatch(cell) and not _FEW.fullmatch(cell)) or _DATED.search(cell) or len(cell) > 80 or "=" in cell
        for cell in filled
    )


def joined(above: Sequence[str], below: Sequence[str]) -> list[str]:
    """Two rows of headings as one. A cell above that is empty goes on with the one left of it, as merged cells do,
    where something stands below.
    """
    wide = max(len(above), len(below))
    upper = [cell.strip() for cell in above] + [""] * (wide - len(above))
    lower = [cell.strip() for cell in below] + [""] * (wide - len(below))
    out, held = [], ""
    for high, low in zip(upper, lower, strict=True):
        held = high or held
        out.append(high if not low else f"{high or held} {low}".strip())
    return out


def is_title(above: Sequence[str], below: Sequence[Sequence[str]]) -> bool:
    """Is a row over rows of headings their title: one cell, where they begin? A group of columns has others before."""
    filled = [place for place, cell in enumerate(above) if cell.strip()]
    begins = [place for row in below for place, cell in enumerate(row) if cell.strip()]
    return len(filled) == 1 and bool(begins) and filled[0] <= min(begins)


def headings_over(rows: Sequence[Sequence[str]]) -> list[str]:
    """So many rows of headings as one line."""
    line = [cell.strip() for cell in rows[-1]]
    for above in reversed(rows[:-1]):
        line = joined(above, line)
    return line
