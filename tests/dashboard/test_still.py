"""What stands still on a page goes as text, and nothing else does."""

from dash import dcc, html

from dashboard import parts
from dashboard.still import Round, Still, stilled

ROWS = [{"a": "x < y & z", "b": html.Span("2.40", className="n", style={"gridColumn": "1"})}]


def test_a_table_is_one_component_and_reads_as_it_did():
    made = stilled(parts.plain_table(ROWS, [("a", "A"), ("b", "B", "n")]), set())
    assert isinstance(made, Still)
    assert (made.tag, made.told) == ("div", {"className": "table-wrap"})
    assert made.inside == (
        '<table class="plain"><thead><tr><th class="" scope="col">A</th><th class="n" scope="col">B</th></tr></thead>'
        '<tbody><tr><td class="">x &lt; y &amp; z</td><td class="n"><span class="n" style="grid-column:1">2.40</span>'
        "</td></tr></tbody></table>"
    )


def test_what_a_callback_reads_or_writes_stays_a_component_and_all_round_it_is_one():
    button = html.Button("Write", id="write")
    line = html.P(["in ", None, [button, " or ", 2]], id="line")
    tree = html.Section([html.H2("A"), html.Ul([html.Li("1"), html.Li("<2>")], className="u"), line])
    made = stilled(tree, {"write"})
    assert isinstance(made, Round)
    assert made.children == [button]
    assert made.tree == [
        "section",
        {},
        {"tag": "h2", "told": {}, "inside": "A"},
        {"tag": "ul", "told": {"className": "u"}, "inside": "<li>1</li><li>&lt;2&gt;</li>"},
        ["p", {"id": "line"}, "in ", 0, " or ", "2"],
    ]
    assert isinstance(stilled(tree, set()), Still)
    assert tree.children[2] is line, "the tree that was given stays as it was"


def test_within_what_moves_the_rest_stands_still_too():
    inner = html.Div([html.Ul([html.Li("1"), html.Li("2")]), html.P(html.Button("x", id="x"))], id="place")
    made = stilled(html.Div(inner), {"place", "x"})
    [place] = made.children
    assert (made.tree, place.id) == (["div", {}, 0], "place")
    assert [type(one) for one in place.children] == [Still, Round]


def test_a_link_leads_on_without_loading_the_page_anew_and_a_plain_one_does_not():
    drift, paper = dcc.Link("Drift", href="/drift?a=1&b=2", className="go"), html.A("Paper", href="/papers/week")
    made = stilled(html.P([drift, paper]), set())
    assert made.inside == '<a href="/drift?a=1&amp;b=2" class="go" data-go>Drift</a><a href="/papers/week">Paper</a>'
    assert stilled(dcc.Link("Drift", href="/drift"), set()).told == {"href": "/drift", "data-go": ""}


def test_fields_charts_and_what_is_not_known_stay_components():
    for one in (parts.field("A", "a", None, ["x"]), html.Div(html.Button("x", autoFocus=True)), dcc.Store(id="s")):
        assert not isinstance(stilled(html.Div([one, html.B("1"), html.B("2")]), set()), Still), one


def test_a_fold_is_open_only_where_it_says_so_and_a_line_breaks():
    fold = html.Details([html.Summary("A"), html.P(["1", html.Br(), 2, None])], open=False)
    made = stilled(html.Div([fold, html.Details(html.Summary("B"), open=True)]), set())
    assert (
        made.inside
        == "<details><summary>A</summary><p>1<br>2</p></details><details open><summary>B</summary></details>"
    )


def test_a_picture_is_drawn_when_it_is_seen():
    made = stilled(html.Div([html.Img(src="a.svg", alt="A"), html.B("1"), html.B("2")]), set())
    assert made.inside == '<img alt="A" src="a.svg" loading="lazy"><b>1</b><b>2</b>'
