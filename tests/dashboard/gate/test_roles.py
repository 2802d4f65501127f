"""Every address, table, callback and door of the program, from its own registry, as each role and as nobody: nothing is
shown or done that the role may not.
"""

import json
import re

import dash
import pytest

from dashboard.app import SAVED
from dashboard.gate import roles
from ingest.store import book
from tests.dashboard.gate.served_shop import BASE, ORIGIN, browser, made

ROLES = ("manager", "trainer", "bench", "guest", roles.NOBODY)
SECRET = ("Weir Lane", "Mary Quill", "T02", "A001")  # the shop, people, a serial
FILLED = {
    "<path:filename>": "tokens.css",
    "<string:package_name>/<path:fingerprinted_path>": "dash/dash-renderer/build/dash_renderer.min.js",
    "<key>": "0" * 32,
}


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    app, folder = made(tmp_path_factory.mktemp("roles") / "shop")
    browsers = {role: browser(app, "" if role == roles.NOBODY else role) for role in ROLES}
    browsers["manager"].get("/_dash-layout", base_url=BASE)  # the app is whole once it was asked
    return app, folder, browsers


@pytest.fixture(scope="module")
def rules(served):
    return [rule for rule in served[0].server.url_map.iter_rules() if rule.endpoint != "static"]


def refused(answer):
    """Was nothing given away?"""
    return answer.status_code in (303, 401, 403, 404, 405) and not any(word in answer.text for word in SECRET)


def test_every_route_page_table_and_callback_of_the_program_is_named_and_nothing_else_is(served, rules):
    app, _, _ = served
    here = {rule.rule for rule in rules} - {"/", "/<path:path>", "/save/<name>"}
    assert here == set(roles.ROUTES)
    assert {page["path"] for page in dash.page_registry.values()} == set(roles.PAGES)
    assert set(SAVED) == set(roles.SAVED)
    names = [roles.callback_name(output, known["inputs"]) for output, known in app.callback_map.items()]
    assert sorted(names) == sorted(set(names)), "two callbacks of one name"
    assert set(names) == set(roles.CALLBACKS)


def test_a_page_that_nobody_has_named_is_closed_to_everybody():
    assert roles.of_page("/new-page") == roles.of_route("/new-door", "/new-door") == frozenset()
    assert roles.of_route("/save/<name>", "/save/new") == frozenset()


@pytest.mark.parametrize("role", ROLES)
def test_every_route_opens_to_those_it_is_named_for_and_to_no_other(served, rules, role):
    _, folder, browsers = served
    before = book.last_sequence(folder)
    for rule in rules:
        path = rule.rule
        for hole, filled in FILLED.items():
            path = path.replace(hole, filled)
        names = {"/save/<name>": [f"/save/{name}{more}" for name in SAVED for more in ("", ".xlsx")],
                 "/card/<name>": ["/card/card.js"], "/<path:path>": [*roles.PAGES, "/nope"]}  # fmt: skip
        for asked in names.get(path, [path]):
            may = role in roles.of_route(rule.rule, asked)
            if may and asked == "/sign-out":
                continue
            for method in rule.methods - {"OPTIONS"}:
                answer = browsers[role].open(asked, method=method, base_url=BASE, headers=ORIGIN)
                own_only = role == "bench" and asked in roles.OWN
                if may and not own_only:
                    assert (
                        answer.status_code not in (303, 401, 403)
                        or asked.startswith("/me/")
                        or (asked in ("/sign-in", "/enrol", "/go", "/people/revoke", "/me/password"))
                    ), (method, asked)
                else:
                    assert refused(answer), (method, asked, answer.status_code)
                answer.close()
    assert book.last_sequence(folder) == before


def ask(client, output, known, **values):
    """A callback as a page sends it."""

    def given(one):
        id = json.loads(one["id"]) if one["id"].startswith("{") else one["id"]
        value = values.get(one["property"])
        filled = {"id": id, "property": one["property"], "value": value}
        return [] if '["ALL' in one["id"] else filled

    told = output.strip(".").split("...")
    outputs = [{"id": one.rpartition(".")[0], "property": one.rpartition(".")[2].split("@")[0]} for one in told]
    body = {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": [given(one) for one in known["inputs"]],
        "state": [given(one) for one in known["state"]],
        "changedPropIds": [],
    }
    return client.post("/_dash-update-component", base_url=BASE, json=body, headers=ORIGIN)


@pytest.mark.parametrize("role", ROLES)
def test_every_callback_answers_those_it_is_named_for_and_no_other(served, role):
    app, folder, browsers = served
    before = book.last_sequence(folder)
    for output, known in app.callback_map.items():
        name = roles.callback_name(output, known["inputs"])
        if "callback" not in known or name == roles.ROUTER:
            continue
        answer = ask(browsers[role], output, known)
        if role in roles.CALLBACKS[name]:
            assert answer.status_code not in (401, 403), name
        else:
            assert refused(answer), name
    assert book.last_sequence(folder) == before


@pytest.mark.parametrize("role", ROLES)
def test_every_page_is_laid_out_for_those_it_is_named_for_and_for_no_other(served, role):
    app, _, browsers = served
    output = next(key for key, known in app.callback_map.items()
                  if roles.callback_name(key, known["inputs"]) == roles.ROUTER)  # fmt: skip
    for path in roles.PAGES:
        for asked in (path, f"{path.rstrip('/')}/", f"/{path}", f"//{path}//"):
            answer = ask(browsers[role], output, app.callback_map[output], pathname=asked, search="")
            if role in roles.PAGES[path]:
                assert answer.status_code == 200, path
            else:
                assert refused(answer), path


@pytest.mark.parametrize("inputs", [-1, None, {}, [], [None], [[]], "x", [{"property": "pathname", "value": 7}]])
def test_a_callback_that_names_its_page_in_no_way_of_ours_is_no_fault_and_no_way_in(served, inputs):
    app, _, browsers = served
    output = next(key for key, known in app.callback_map.items()
                  if roles.callback_name(key, known["inputs"]) == roles.ROUTER)  # fmt: skip
    body = {"output": output, "outputs": [], "inputs": inputs, "state": [], "changedPropIds": []}
    answer = browsers["guest"].post("/_dash-update-component", base_url=BASE, json=body, headers=ORIGIN)
    assert answer.status_code == 400


def test_a_bench_reads_figures_of_its_own_tech_and_no_other_ones(served):
    bench = served[2]["bench"]
    for search in ("", "?tech=T02", "?tech=T01&tech=T02", "?tech=T02&tech=T01", "?tech=t01", "?tech=T01%20"):
        assert bench.get(f"/papers/bench{search}", base_url=BASE).status_code == 403, search
    own = bench.get("/papers/bench?tech=T01", base_url=BASE)
    assert own.status_code in (200, 404)  # 404: nothing of theirs has a target yet
    assert "T02" not in own.text
    assert "Jo Fenn" not in own.text


@pytest.mark.parametrize("role", ["trainer", "guest"])
def test_the_frame_leads_only_where_the_role_may_go(served, role):
    laid_out = json.dumps(served[2][role].get("/_dash-layout", base_url=BASE).json)
    leads = set(re.findall(r'"href": "([^"]*)"', laid_out)) - {"#main"}
    assert {"/", "/me"} <= leads
    assert all(roles.may_open(role, href) for href in leads)


def test_nobody_is_told_the_shops_name_only_where_to_sign_in(served):
    client = served[2][roles.NOBODY]
    for path in ("/_dash-layout", "/_dash-dependencies", "/card/benches", "/bring/" + "0" * 32):
        answer = client.open(path, method="GET" if path.startswith("/_") else "POST", base_url=BASE, headers=ORIGIN)
        assert (answer.status_code, "Weir" in answer.text) == (401, False)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "https://shop.example:8050"},
        {"Origin": "http://shop.example:9"},
        {},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site", "Origin": BASE},
        {"Sec-Fetch-Site": "none"},
    ],
)
@pytest.mark.parametrize("path", ["/sign-in", "/card/keep", "/_dash-update-component", "/people/tablet", "/sign-out"])
def test_what_another_page_sends_with_a_managers_cookie_is_refused(served, headers, path):
    answer = served[2]["manager"].post(path, base_url=BASE, data={"name": "x"}, headers=headers)
    assert answer.status_code == 400
    assert served[2]["manager"].get("/people", base_url=BASE).status_code == 200


@pytest.mark.parametrize("host", ["elsewhere.example", "shop.example.evil.example", "127.0.0.1.example", ""])
def test_a_name_that_was_pointed_here_reads_nothing_on_the_network_either(served, host):
    for path in ("/", "/sign-in", "/people", "/assets/tokens.css"):
        answer = served[2]["manager"].get(path, base_url=BASE, headers={"Host": host})
        assert answer.status_code == 400, path
    assert served[2]["manager"].get("/sign-in", base_url="http://192.168.1.20:8050").status_code == 200


def test_no_page_may_be_framed(served):
    for path in ("/", "/sign-in", "/card", "/me"):
        told = served[2]["manager"].get(path, base_url=BASE).headers
        assert told["X-Frame-Options"] == "DENY"
        assert "frame-ancestors 'none'" in told["Content-Security-Policy"]


def test_on_one_machine_alone_nobody_signs_in(tmp_path):
    from dashboard.app import make_app
    from dashboard.desk.desk import Desk
    from tests.ingest.bench import shop

    client = make_app(Desk(shop(tmp_path / "shop"))).server.test_client()
    assert client.get("/card").status_code == 200
    assert client.get("/sign-in").text.count("Sign in") == 0
    assert client.get("/people").text.count("may sign in") == 0
