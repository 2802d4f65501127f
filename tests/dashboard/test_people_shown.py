"""[people] show holds wherever something leaves the program: names that nobody else bears are looked for everywhere."""

import importlib
import re
import shutil

import polars as pl
import pytest

from dashboard.app import FURTHER, PAGES, SAVED, make_app
from dashboard.desk import desk
from dashboard.desk.people_shown import Veil
from dashboard.exports.figures import NotWritten, write_figures
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.dashboard.pages.said import said
from tests.dashboard.test_odd_shops import DEMO, NOW, stands

NAMES = ("Zebulon Quince", "Zeb. Q", "Quillon Marsh", "Orsolya Vane")  # of a tech, how he signs, and two nobody listed
CODES = ("T03", "T05", "T07")


@pytest.fixture(scope="module")
def loaded(tmp_path_factory):
    """The demo week with a tech who has a name and signs with it, one nobody listed, and a row of another set aside."""
    folder = tmp_path_factory.mktemp("shown") / "shop"
    folder.mkdir()
    toml = (DEMO / "shop.toml").read_text()
    listed = toml.replace('key = "T03"\nwords = ["PK"]', 'key = "T03"\nname = "Zebulon Quince"\nwords = ["Zeb. Q"]')
    assert "Zebulon" in listed
    assert 'show = "codes"' in listed
    stands(folder, logs="final|play|receiving", first=80)
    (folder / "shop.toml").write_text(listed)
    head, *rows = (DEMO / "logs" / "final_2026-W47.csv").read_text().splitlines(keepends=True)
    place = head.split(";").index("Inspector")
    out = [head]
    for number, row in enumerate(rows[80:140]):
        cells = row.rstrip("\n").split(";")
        cells[place] = ("Zeb. Q", "Quillon Marsh", "T05")[number % 3]
        if number % 10 == 0:
            cells[place], cells[0] = ("Orsolya Vane", "Zebulon Quince")[number % 20 == 0], ""  # no serial: set aside
        out.append(";".join(cells) + "\n")
    (folder / "final_2026-W48.csv").write_text("".join(out))
    load(folder, [folder / "final_2026-W48.csv"], now=NOW)
    return folder


@pytest.fixture
def named_shop(loaded, tmp_path):
    """A copy of it that shows people as asked."""

    def stands_with(show):
        folder = shutil.copytree(loaded, tmp_path / "shop")
        toml = (folder / "shop.toml").read_text()
        (folder / "shop.toml").write_text(toml.replace('show = "codes"', f'show = "{show}"'))
        return folder

    return stands_with


def everything(folder, tmp_path):
    """All that leaves the program: place -> text."""
    app = make_app(desk.Desk(folder))
    client = app.server.test_client()
    told = {}
    for page in (*PAGES.values(), *FURTHER):
        module = importlib.import_module(f"dashboard.pages.{page}")
        with app.server.test_request_context("/"):
            told[page] = said(module.layout())
    snapshot = desk.here().snapshot()
    asked = snapshot.table("set_aside").row(0, named=True)
    with app.server.test_request_context("/"):
        logs = importlib.import_module("dashboard.pages.logs.page")
        told["a question"] = said(logs.layout(question=f"{asked['log_id']}:{asked['line']}:{asked['column']}"))
        serial = snapshot.table("visits").filter(snapshot.table("visits")["tech"] == "T03")["serial"][0]
        told["an instrument"] = said(importlib.import_module("dashboard.pages.logs.instrument").layout(serial=serial))
        work = importlib.import_module("dashboard.pages.logs.work")
        groups = [group for one in work.decisions() for group in one.groups]
        told["rows about questions"] = said([work.story_of(group.key) for group in groups])
        again = (folder / "final_2026-W48.csv").read_bytes() + b"\n"
        job = desk.here().jobs.wait(desk.here().jobs.load([("final_2026-W48.csv", again)], check=True))
        assert job.state == "done", job
        assert job.files[0].notes
        told["a load"] = said(logs.told(job)) + str(job.files)
    for name in SAVED:
        told[f"save {name}"] = client.get(f"/save/{name}").get_data(as_text=True)
    told["save readings of one"] = client.get("/save/readings?tech=T03").get_data(as_text=True)
    for paper in ("week", "necks?supplier=Oxbow+Necks", "bench?tech=T03"):
        told[f"paper {paper}"] = client.get(f"/papers/{paper}").get_data(as_text=True)
    for kind in (False, True):
        for path in write_figures(snapshot, tmp_path / str(kind), as_json=kind):
            assert not isinstance(path, NotWritten), path
            told[f"figures {path.name}"] = path.read_text()
    return told


def shown(told, words):
    return sorted({(place, word) for place, text in told.items() for word in words if word in text})


def test_nobody_is_shown_anywhere(named_shop, tmp_path):
    told = everything(named_shop("none"), tmp_path)
    assert shown(told, NAMES) == []
    assert [place for place, text in told.items() if re.search(r"\bT0[357]\b", text)] == []


@pytest.mark.long
def test_codes_are_shown_and_no_name(named_shop, tmp_path):
    told = everything(named_shop("codes"), tmp_path)
    assert shown(told, NAMES) == []
    assert shown(told, CODES[:1])
    assert "unlisted-" in told["logs.page"]  # asked about all the same, with the line where the name stands


def test_who_is_not_listed_is_answered_by_code(named_shop):
    make_app(desk.Desk(named_shop("codes")))
    work = importlib.import_module("dashboard.pages.logs.work")
    group = next(group for one in work.decisions() for group in one.groups if group.field == "tech")
    assert group.typed.startswith("unlisted-")
    job = desk.here().jobs.wait(desk.here().jobs.answers([(group, "T07")], "Mo", "it is she"))
    assert job.state == "done", job.problem
    words = desk.here().snapshot().table("words")
    assert words.select("word", "means").rows() == [("Quillon Marsh", "T07")]
    assert not [group for one in work.decisions() for group in one.groups if group.field == "tech"]


def test_a_slip_of_a_listed_name_is_guessed_though_it_stands_as_a_code(named_shop):
    folder = named_shop("codes")
    toml = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(toml + '\n[[tech]]\nkey = "Quilon Marsh"\n')
    make_app(desk.Desk(folder))
    work = importlib.import_module("dashboard.pages.logs.work")
    group = next(group for one in work.decisions() for group in one.groups if group.field == "tech")
    assert group.typed.startswith("unlisted-")
    assert (group.guess, group.sure, group.choices[0]) == ("Quilon Marsh", False, "Quilon Marsh")
    shown_there = said(work.laid_out("tech", []))
    assert "by its letters; look" in shown_there
    assert "Quillon Marsh" not in shown_there


def test_names_are_shown_where_the_shop_says_so(named_shop):
    make_app(desk.Desk(named_shop("names")))
    assert "Zebulon Quince" in said(importlib.import_module("dashboard.pages.bench.page").layout(tech="T03"))


@pytest.mark.parametrize("show", ["codes", "none"])
def test_a_table_is_shown_as_its_texts_are_one_by_one(named_shop, show):
    veil = Veil(open_snapshot(named_shop(show)))
    texts = ["", "ring", "Zebulon Quince, Zeb. Q", "said QUILLON MARSH", "Quillon Marshal", None, "Orsolya Vane."]
    lines = pl.DataFrame({"text": texts, "who": ["Mo"] * 7, "why": texts[::-1], "owner": [None] * 7}).cast(pl.String)
    shown = veil._over("bench_book", lines)
    assert shown["text"].to_list() != texts
    for name in lines.columns:
        assert shown[name].to_list() == [None if text is None else veil.text(text) for text in lines[name]]
