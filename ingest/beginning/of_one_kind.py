"""Files and tabs that are of one kind, looked at as one sheet."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fnmatch import fnmatch

from ingest.beginning.file_names import pattern_of
from ingest.beginning.raw_tables import RawTable
from ingest.beginning.survey import Survey, survey_of
from ingest.beginning.worth_asking import with_asked
from ingest.reading.headings import plain


def is_kind_of(seen: Survey, name: str, table: RawTable) -> bool:
    """Is a table of another file one of these, by its headings and the file's name?"""
    alike = pattern_of(name) == pattern_of(seen.name) or bool(seen.said.files and fnmatch(name, seen.said.files))
    return alike and [plain(each) for each in table.headings] == [plain(column.heading) for column in seen.columns]


def with_more(seen: Survey, name: str, table: RawTable) -> Survey:
    """A sheet and the rows of another file as one, looked at anew."""
    cells = tuple((*column.cells, *more) for column, more in zip(seen.columns, table.columns, strict=True))
    headings = tuple(column.heading for column in seen.columns)
    table = RawTable(seen.tab, headings, cells, tuple(seen.notes), seen.hints)
    whole = with_asked(survey_of(seen.name, table, seen.said))
    return replace(whole, files=(*seen.files, name), tab=seen.tab, known=seen.known)


def together(surveys: Sequence[Survey]) -> list[Survey]:
    """Files that are of one kind as one survey: same headings, same tab and shape, same stage in their names."""
    groups: dict[tuple[object, ...], list[Survey]] = {}
    for seen in surveys:
        key = (
            tuple(plain(column.heading) for column in seen.columns),
            seen.stage,
            seen.said.mark,
            pattern_of(seen.name) if not seen.said.files else seen.said.files,
        )
        groups.setdefault(key, []).append(seen)
    kinds = Counter(name for group in groups.values() for name in {seen.name for seen in group})
    out: list[Survey] = []
    for group in groups.values():
        tab = _tabs(group, alone=all(kinds[seen.name] == 1 for seen in group))
        out += group if tab is None else [_joined(group, tab)]
    return out


def _tabs(group: Sequence[Survey], *, alone: bool) -> str | None:
    """How the tabs of a group are named together: by a pattern, or as all of the workbook; None where neither holds."""
    tabs = {seen.tab for seen in group}
    patterns = {re.sub(r"\d+", "*", tab) for tab in tabs}
    if len(tabs) == 1:
        return tabs.pop()
    if len(patterns) == 1 and patterns != {"*"}:
        return patterns.pop()
    return "" if alone else None


def _joined(group: Sequence[Survey], tab: str) -> Survey:
    """Several surveys of one kind as one, their cells behind each other; looked at anew."""
    if len(group) == 1:
        return group[0]
    first = group[0]
    cells = [tuple(cell for seen in group for cell in seen.columns[place].cells) for place in range(len(first.columns))]
    table = RawTable(
        first.tab, tuple(column.heading for column in first.columns), tuple(cells), tuple(first.notes), first.hints
    )
    whole = with_asked(survey_of(first.name, table, first.said))
    whole.known, whole.legend = first.known, first.legend
    whole.files = tuple(dict.fromkeys(seen.name for seen in group))
    whole.tab = tab
    return whole
