"""Where a page says what was not read."""

import json

import pytest
from dash import page_registry

from dashboard.app import make_app
from dashboard.desk import desk
from tests.dashboard.pages import moving_shop

LISTED = '[[tech]]\nkey = "T02"\nname = "Mara Lindqvist"\n'
PACKED = '[[stage]]\nkey = "packing"\nrole = "packing"\n'
HEADLINE, PEOPLE, LIMITS = "on LARK-25 moved up", "stands in no list", "no limits in specs.csv"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A shop that lists one of its two people: nothing of this week is less for it."""
    folder = moving_shop.stands(tmp_path_factory.mktemp("unread") / "shop")
    toml = folder / "shop.toml"
    told = toml.read_text()
    assert LISTED in told
    assert PACKED in told
    toml.write_text(told.replace(LISTED, "").replace(PACKED, ""))
    return folder


def week(folder):
    """All that the page Week says, in its order."""
    app = make_app(desk.Desk(folder))
    [page] = [one for one in page_registry.values() if one["path"] == "/"]
    with app.server.test_request_context("/"):
        return json.dumps(
            page["layout"]().to_plotly_json(), default=lambda one: one.to_plotly_json(), ensure_ascii=False
        )


def test_what_takes_nothing_from_the_week_is_told_below_it(folder):
    said = week(folder)
    assert -1 < said.index(HEADLINE) < said.index("Decision of the week") < said.index(PEOPLE)
    assert "not read" not in said[: said.index(HEADLINE)]


def test_what_the_week_cannot_be_judged_without_stands_above_it_and_the_rest_below(folder):
    specs = folder / "specs.csv"
    specs.write_text("\n".join(line for line in specs.read_text().split("\n") if "relief" not in line))
    said = week(folder)
    assert said.index(LIMITS) < said.index(HEADLINE) < said.index(PEOPLE)
