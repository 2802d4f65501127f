"""What comes in by the web: odd addresses and forged callbacks get a readable answer, faults one line."""

import importlib
import json
import re

import pytest

from dashboard import app, doors, faults, kept
from dashboard.desk import desk
from dashboard.pages import addresses
from tests.dashboard.test_odd_shops import stands

TELLS = re.compile(r"Traceback|File \"|site-packages|/tmp/|\.py\b")
BAD = [
    "/logs?question=abc:²:col",
    "/logs?question=abc:1",
    "/?week=2026-11-09&week=2026-11-16",
    "/?week=yesterday",
    "/?week=9999-12-31",
    "/papers/week?week=9999-12-31",
    "/papers/week?week=0001-01-01",
    "/papers/week?letter=1&letter=1",
    "/papers/necks?supplier=a&supplier=b",
    "/papers/bench?tech=%00",
    "/drift?model=LARK-25&model=LARK-25",
    "/capability?by=" + "x" * 3_000,
    "/rework?week=2026-02-30",
    "/logs/readings?from=2026-13-01",
    "/logs/readings?outside=yes",
    "/logs/visits?confirmed=2",
    "/save/readings?judged_to=x",
    "/save/gauges?word=a&word=b",
]
VALUES = ["", "x" * 30_000, "²", 1.5, True, [None], {"points": ["x"]}, {"a": [1]}, "?x=%zz", "\x00"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return stands(tmp_path_factory.mktemp("doors"), logs="final|play", first=60)


@pytest.fixture
def client(folder, monkeypatch):
    monkeypatch.setattr(faults, "loud", False)
    (folder / "store" / "program.log").unlink(missing_ok=True)
    made = app.make_app(desk.Desk(folder))
    client = made.server.test_client()
    client.dash_app = made
    return client


def sent(client, pathname, search=""):
    """What the pages' own callback answers for an address."""
    ids = [{"id": "_pages_location", "property": name} for name in ("pathname", "search")]
    body = {
        "output": ".._pages_content.children..._pages_store.data..",
        "outputs": [{"id": "_pages_content", "property": "children"}, {"id": "_pages_store", "property": "data"}],
        "inputs": [{**one, "value": value} for one, value in zip(ids, (pathname, search), strict=True)],
        "changedPropIds": ["_pages_location.pathname"],
    }
    answer = client.post(doors.CALLBACKS, json=body)
    assert answer.status_code == 200
    return json.dumps(answer.get_json(), ensure_ascii=False)


@pytest.mark.parametrize("bad", BAD)
def test_a_bad_value_gets_a_page_that_says_which(client, bad):
    answer = client.get(bad)
    text = answer.get_data(as_text=True)
    assert answer.status_code == 400, text
    name = re.split(r"[?=&]", bad)[1]
    assert name in text
    assert "wanted" in text
    assert not TELLS.search(text)


@pytest.mark.parametrize("bad", [one for one in BAD if not one.startswith(("/papers", "/save"))])
def test_a_bad_value_met_on_the_way_leaves_the_frame(client, bad):
    path, _, search = bad.partition("?")
    client.get("/")
    assert "This address cannot be read." in sent(client, path, f"?{search}")


def test_what_is_not_there_is_a_readable_404(client):
    for path in ("/nothing/here", "/save/nothing", "/assets/nothing.css", "/_dash-component-suites/x/y.js"):
        answer = client.get(path)
        if path != "/nothing/here":  # the frame says so
            assert answer.status_code == 404, path
        assert not TELLS.search(answer.get_data(as_text=True)), path


def test_every_path_has_its_type():
    modules = (*app.PAGES.values(), *app.FURTHER)
    pages = {importlib.import_module(f"dashboard.pages.{name}").PATH for name in modules}
    papers = {f"/papers/{name}" for name in ("week", "necks", "bench", "shops", "traveller", "day-sheet", "sheet-csv")}
    assert set(addresses.ADDRESSES) == pages | papers | {"/go"} | {f"/save/{name}" for name in app.SAVED}


def callbacks(client, folder):
    """Each callback of the app as its page would send it, with empty values."""
    client.get("/")
    for output, callback in client.dash_app.callback_map.items():
        if "callback" in callback:
            several = output.strip(".").split("...") if output.startswith("..") else [output]
            outputs = [dict(zip(("id", "property"), one.rsplit(".", 1), strict=True)) for one in several]
            yield {
                "output": output,
                "outputs": outputs if output.startswith("..") else outputs[0],
                "inputs": [{**one, "value": None} for one in callback["inputs"]],
                "state": [{**one, "value": None} for one in callback["state"]],
                "changedPropIds": [],
            }


def forged(body):
    """The same with one thing wrong at a time."""
    for value in VALUES:
        for part in ("inputs", "state"):
            for place in range(len(body[part])):
                copy = json.loads(json.dumps(body))
                copy[part][place]["value"] = value
                copy["changedPropIds"] = [f"{body[part][place]['id']}.{body[part][place]['property']}"]
                yield copy
    for name in body:
        for value in (None, "x", 5, [], {}, [{}], [[]], [None]):
            yield {**body, name: value}
        yield {key: value for key, value in body.items() if key != name}


def test_what_pages_keep_in_the_browser_has_its_shape(client, folder):
    asked = {
        str(one["id"])
        for callback in client.dash_app.callback_map.values()
        for one in (*callback["inputs"], *callback["state"])
        if one["property"] == "data" and "callback" in callback
    }
    assert asked == set(kept.KEPT)
    seen = dict(pair for path in ("/", "/drift", "/bench", "/logs") for pair in kept_in(json.loads(sent(client, path))))
    assert {"week-on", "drift-about", "logs-here"} <= {*seen}
    assert [id for id, value in seen.items() if id in asked and not kept.fits(id, value)] == []
    for id, fits in kept.KEPT.items():
        assert sum(map(fits, ("2026-11-16", 1.5, [], {}, [[]], {"a": 1}, True, ["x"], 7))) < 4, id


def test_what_is_typed_or_chosen_is_a_text(client):
    paths = ("/", "/drift", "/capability", "/rework", "/necks", "/bench", "/book", "/logs", "/logs/readings")
    for path in paths:
        for props in chosen_in(json.loads(sent(client, path))):
            groups = [one.get("items", [one]) if isinstance(one, dict) else [one] for one in props["data"]]
            offered = [one["value"] if isinstance(one, dict) else one for group in groups for one in group]
            assert all(isinstance(each, str) for each in (*offered, props.get("value") or "")), (path, props["id"])


def chosen_in(part):
    """The props of every list to choose from."""
    if isinstance(part, dict):
        props = part.get("props", {})
        if isinstance(props, dict) and "id" in props and part.get("type") in ("Select", "Dropdown", "SegmentedControl"):
            yield props
        part = list(part.values())
    for each in part if isinstance(part, list) else ():
        yield from chosen_in(each)


def kept_in(part):
    """Every id of what a page keeps in the browser, with what it keeps."""
    if isinstance(part, dict):
        if part.get("type") == "Store":
            yield part["props"]["id"], part["props"].get("data")
        part = list(part.values())
    for each in part if isinstance(part, list) else ():
        yield from kept_in(each)


def test_no_forged_callback_is_answered_with_a_fault(client, folder):
    tried, told = 0, {200: 0, 204: 0, 400: 0}
    for body in list(callbacks(client, folder)):
        for one in forged(body):
            answer = client.post(doors.CALLBACKS, json=one)
            tried += 1
            assert answer.status_code in told, (one, answer.get_data(as_text=True))
            told[answer.status_code] += 1
            assert not TELLS.search(answer.get_data(as_text=True)[:2_000]), one
    for body in (b"", b"null", b"[]", b"5", b"{", b'{"output": null}', b"\xff\xfe"):
        assert client.post(doors.CALLBACKS, data=body, content_type="application/json").status_code == 400
    assert tried > 484
    assert told[400] > tried / 2, told


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("drift-said.children", "Say who writes this"),
        ("drift-proposal.children", "Name the first and the last day"),
        ("logs-new-said.children", "Your shop"),
    ],
)
def test_a_form_with_nothing_in_it_answers_what_it_wants(client, folder, said, words):
    [body] = [one for one in callbacks(client, folder) if said in one["output"]]
    body["inputs"][0]["value"] = 1
    body["changedPropIds"] = [f"{body['inputs'][0]['id']}.n_clicks"]
    for part in ("inputs", "state"):
        body[part] = [[] if one["id"].startswith("{") else one for one in body[part]]  # every field of a kind: none
    assert words in client.post(doors.CALLBACKS, json=body).get_data(as_text=True)


def test_a_page_whose_code_fails_says_so_in_the_frame_and_the_others_stand(client, folder, monkeypatch):
    monkeypatch.setattr("dashboard.pages.drift.page.body", lambda asked: 1 / 0)
    client.get("/")
    text = sent(client, "/drift")
    assert "Drift cannot be shown now." in text
    assert "the details stand in store/program.log" in text
    assert not TELLS.search(text)
    assert "ZeroDivisionError" in (folder / "store" / "program.log").read_text()
    assert "Gauges" in sent(client, "/gauges")


def test_a_paper_or_table_that_fails_is_a_page_that_tells_nothing_of_the_machine(client, folder, monkeypatch):
    monkeypatch.setattr("dashboard.pages.gauges.saved", lambda **_: 1 / 0)
    answer = client.get("/save/gauges")
    assert answer.status_code == 500
    assert "the details stand in store/program.log" in answer.get_data(as_text=True)
    assert not TELLS.search(answer.get_data(as_text=True))
    assert "ZeroDivisionError" in (folder / "store" / "program.log").read_text()


def test_a_callback_that_fails_is_a_line_in_the_frame(client, monkeypatch):
    monkeypatch.setattr("dashboard.pages.week.reviewed.write", lambda *_: 1 / 0)
    body = next(one for one in callbacks(client, None) if "week-say-reviewed" in [each["id"] for each in one["inputs"]])
    for given, value in zip((*body["inputs"], *body["state"]), (1, "Mara", "2026-11-16", ""), strict=True):
        given["value"] = value
    answer = client.post(doors.CALLBACKS, json=body)
    assert answer.status_code == 200
    assert "Nothing was changed on this page" in json.dumps(answer.get_json()["sideUpdate"][doors.NOTICE])


def test_a_shop_file_that_cannot_be_read_leaves_the_frame(tmp_path, monkeypatch):
    monkeypatch.setattr(faults, "loud", False)
    (tmp_path / "shop.toml").write_text("[shop\n")
    client = app.make_app(desk.Desk(tmp_path)).server.test_client()
    assert client.get("/").status_code == 200
    assert client.get("/_dash-layout").status_code == 200
    assert "shop.toml" in sent(client, "/drift")
    assert client.get("/papers/week").status_code == 503


def test_shop_files_that_are_folders_or_nested_without_end_are_said(client, folder):
    nested, a_folder = "brackets nested deeper", "cannot be opened"
    for name, what in (("shop.toml", nested), ("shop.toml", a_folder), ("specs.csv", a_folder)):
        path, before = folder / name, (folder / name).read_bytes()
        try:
            path.unlink()
            if what == nested:
                path.write_text("a = " + "[" * 3_000 + "]" * 3_000)
            else:
                path.mkdir()
            assert f"{name}: {what}" in sent(client, "/"), (name, what)
            answer = client.get("/papers/week")
            assert (answer.status_code, what in answer.text) == (503, True)
        finally:
            path.rmdir() if path.is_dir() else path.unlink()
            path.write_bytes(before)
    assert not (folder / "store" / "program.log").exists()
