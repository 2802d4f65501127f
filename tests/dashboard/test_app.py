import json
import re
from pathlib import Path

import dash
import pytest

from dashboard import app, drawings, parts
from dashboard.charts import style
from dashboard.desk.desk import Desk


class CounterOfNoShop(Desk):
    """A desk without a shop folder that says it has one: enough for the frame."""

    has_shop = True

    def __init__(self) -> None:
        super().__init__(Path("nowhere"))

    def shop_words(self):
        return "Quayside Setup Shop", "as of Fri 13 Nov 2026, 16:40"


@pytest.fixture
def made():
    return app.make_app(CounterOfNoShop())


def test_the_pages_stand_in_order(made):
    pages = [(page["name"], page["path"]) for page in dash.page_registry.values()][: len(app.PAGES)]
    names = ["Week", "Drift", "Capability", "Rework", "Necks", "Bench", "Book", "Logs"]
    assert [name for name, _ in pages] == names
    assert pages[0][1] == "/"
    assert [path for _, path in pages[1:]] == [f"/{name.lower()}" for name, _ in pages[1:]]


def test_an_app_can_be_made_as_often_as_a_test_likes():
    first, second = app.make_app(CounterOfNoShop()), app.make_app(CounterOfNoShop())
    assert first is not second
    assert len(dash.page_registry) == len(app.PAGES) + len(app.FURTHER)


def test_the_first_page_names_no_other_host(made):
    text = made.server.test_client().get("/").get_data(as_text=True)
    assert not re.findall(r"https?://(?!127\.0\.0\.1|localhost)[\w.]+", text)
    assert "atkinson-hyperlegible-next-latin-wght-normal.woff2" in text


def test_font_and_marks_come_from_this_machine(made):
    client = made.server.test_client()
    for path in (
        "font/atkinson-hyperlegible-next-latin-wght-normal.woff2",
        "font/LICENSE.txt",
        "marks/logo.svg",
        "marks/moved-up.dark.svg",
    ):
        with client.get(f"/assets/{path}") as answer:
            assert len(answer.data) > 100


def test_stylesheets_ask_for_nothing_outside():
    for sheet in (Path(app.__file__).parent / "assets").glob("*.css"):
        assert not re.findall(r"https?:|@import|//[a-z]", sheet.read_text())


def test_the_header_names_shop_and_time_and_every_page_twice(made):
    text = json.dumps(made.layout().to_plotly_json(), cls=__import__("plotly").utils.PlotlyJSONEncoder)
    assert "Quayside Setup Shop" in text
    assert "as of Fri 13 Nov 2026, 16:40" in text
    assert text.count('"href": "/drift"') == 2  # the row of the desk and the list of the phone
    assert text.index("Skip to the page") < text.index('"href": "/drift"')


def test_it_is_served_on_this_machine_only(made, monkeypatch):
    from dashboard.gate.server import Server

    asked = []
    monkeypatch.setattr(Server, "run", lambda server: asked.append(server))
    app.serve(made, 0)
    asked[0].close()
    assert (asked[0].effective_host, asked[0].adj.url_scheme, asked[0].network) == ("127.0.0.1", "http", False)


@pytest.mark.parametrize("state", list(parts.MARKS))
def test_every_state_has_its_word_and_its_picture_in_both_schemes(state):
    picture, word = parts.mark(state).children
    assert word.children == parts.MARKS[state]
    name = picture.className.removeprefix("mark mark-")
    folder = Path(app.__file__).parent / "assets" / "marks"
    assert (folder / f"{name}.light.svg").exists()
    assert (folder / f"{name}.dark.svg").exists()


@pytest.mark.parametrize("name", parts.KEYS)
def test_every_key_picture_is_there_in_both_schemes(name):
    folder = Path(app.__file__).parent / "assets" / "marks"
    assert (folder / f"key-{name}.light.svg").exists()
    assert (folder / f"key-{name}.dark.svg").exists()


def test_a_chart_says_its_finding_and_has_its_table_behind_it():
    figure = style.empty("Nothing yet.", height=200)
    shown = parts.graph(
        figure, "Action bass runs at 2.49 mm", "test-chart", parts.plain_table([{"a": "1"}], [("a", "A")])
    )
    drawn, behind = shown.children
    assert getattr(drawn, "aria-label") == "Action bass runs at 2.49 mm"
    assert 'height="200"' in drawn.children.wide
    assert behind.className == "behind"


def test_columns_of_figures_stand_right_and_some_leave_the_phone():
    body = parts.plain_table(
        [{"stage": "Nut", "n": "43"}], [("stage", "Stage"), ("n", "Sent back", "n wide-only")]
    ).children.children[1]
    cells = body.children[0].children
    assert [cell.className for cell in cells] == ["", "n wide-only"]


def test_what_is_told_of_marks_is_sent_once_for_both_widths_and_leads_where_it_did():
    marks = "[[0.1,20,5,&quot;A &amp; B&quot;,&quot;/x&quot;],[{},30,5,&quot;C&quot;]]"
    told = f'<div class="drawn" data-told="{marks}"></div>'
    (wide, narrow), said = drawings.said_once(told.format(0.2), told.format(0.3))
    assert wide == '<div class="drawn" data-told="[[0.1,20,5,0],[0.2,30,5,1]]"></div>'
    assert narrow == '<div class="drawn" data-told="[[0.1,20,5,0],[0.3,30,5,1]]"></div>'
    assert said == '[["A & B","/x"],["C"]]'
    assert drawings.said_once("<svg/>", "<svg/>") == (["<svg/>", "<svg/>"], None)
