"""One rule of decimals a column, in every table of every page and of all that opens on it; and nowhere a nought with an
interval of noughts, which says less than it seems to.
"""

import importlib
import re
from collections import defaultdict

import pytest
from dash import html
from dash.development.base_component import Component

from dashboard.app import FURTHER, PAGES, make_app
from dashboard.desk import desk
from tests.ingest.strangers.all_ten import stranger
from tests.ingest.strangers.walk import walk

FIGURE = re.compile(r"[+\u2212-]?[\d,]+(?:\.(\d+))?(?: ([^\d(]*).*)?")  # decimals, and the unit
NOUGHT = re.compile(r"(?<![\d.])0\.0+(?: \S+)? \([+\u2212]?0\.0+(?: \S+)? to [+\u2212]?0\.0+(?: [^\d)]+)?\)")
AS_WRITTEN = {"As typed"}  # a column that shows what somebody wrote, as it was written


def listed(children):
    return list(children) if isinstance(children, list | tuple) else [children]


def parts_of(made):
    """A tree of components, from the root down."""
    for one in listed(made):
        if isinstance(one, Component):
            yield one
            yield from parts_of(getattr(one, "children", None))


def words(made):
    told = []
    for one in listed(made):
        text = words(getattr(one, "children", None)) if isinstance(one, Component) else one
        told += [] if text is None else [str(text)]
    return " ".join(told).replace("\xa0", " ")


def columns(table):
    """Heading and cells of each column."""
    head = next((one for one in listed(table.children) if isinstance(one, html.Thead)), None)
    body = next(one for one in listed(table.children) if isinstance(one, html.Tbody))
    names = [words(cell) for cell in listed(listed(head.children)[0].children)] if head else []
    rows = [[words(cell) for cell in listed(row.children)] for row in listed(body.children)]
    for place in range(max((len(row) for row in rows), default=0)):
        yield names[place] if place < len(names) else "", [row[place] for row in rows if place < len(row)]


def uneven(cells):
    """Of the figures of a column that have one unit: those written with different decimals."""
    by = defaultdict(lambda: defaultdict(list))
    for cell in cells:
        if found := FIGURE.fullmatch(cell.strip()):
            by[(found[2] or "").partition(" to ")[0].strip()][len(found[1] or "")].append(cell)
    return [dict(decimals) for decimals in by.values() if len(decimals) > 1]


def opened():
    """Every page of the app as it stands, and with each of its folds open."""
    for name in (*PAGES.values(), *FURTHER):
        page = importlib.import_module(f"dashboard.pages.{name}")
        made = page.layout()
        yield page.NAME, made
        ids = [getattr(one, "id", None) for one in parts_of(made)]
        for fold in (id.removeprefix("fold-") for id in ids if isinstance(id, str) and id.startswith("fold-")):
            yield f"{page.NAME}, {fold}", page.layout(open=fold)


def found_uneven(counter):
    make_app(counter)
    seen, wrong = 0, []
    for name, made in opened():
        for table in (one for one in parts_of(made) if isinstance(one, html.Table)):
            for heading, cells in columns(table):
                seen += 1
                wrong += [(name, heading, one) for one in uneven(cells) if heading not in AS_WRITTEN]
        wrong += [(name, "", one) for one in NOUGHT.findall(words(made))]
    return seen, wrong


def test_a_column_with_two_rules_and_a_nought_among_noughts_are_seen():
    assert uneven(["2.40 mm", "2.4 mm", "7 %", "none"]) == [{2: ["2.40 mm"], 1: ["2.4 mm"]}]
    assert uneven(["2.40 mm (2.1 to 2.5)", "\u22122.41 mm", "1,204", "7 %", "5 to 9 %"]) == []
    assert NOUGHT.findall("0.00 mm from it; 0.00 mm (0.00 to 0.00)") == ["0.00 mm (0.00 to 0.00)"]
    assert NOUGHT.findall("0.00 mm (0.00 to 0.01 mm), 10.00 mm (0.00 to 0.00)") == []


@pytest.fixture(scope="module")
def abroad(tmp_path_factory):
    """A workshop with German words, decimal commas and fractions; tests/trials/even_columns.py does the demo."""
    folder = tmp_path_factory.mktemp("abroad") / "shop"
    walk(stranger("workshop", 60), folder)
    return desk.Desk(folder)


def test_every_table_of_a_shop_abroad_has_one_rule_of_decimals_a_column(abroad):
    seen, wrong = found_uneven(abroad)
    assert wrong == []
    assert seen > 100
