"""What a broken tablet or somebody curious sends to Card: a readable answer, and sheets that can still be read."""

import json

import pytest

from dashboard import faults
from dashboard.app import make_app
from dashboard.desk import desk
from ingest.reading import card_sheet
from ingest.verbs import cards
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop

GOOD = {"stage": "final_inspection", "serial": "A1", "card": "c1", "bench": "final", "outcome": "pass", "faults": []}
NAMES = [
    "Žofie Ľ",
    "محمد",
    "\u202eevil",
    "e\u0301",
    "👩‍🔧",
    "a\u0000b",
    "=1+1",
    '"',
    "a\nb",
    "x" * 5_000,
    "../../up",
    "CON",
]
ODD = [5, None, {}, [5], [{"characteristic": 5}]]


@pytest.fixture
def client(tmp_path, monkeypatch):
    monkeypatch.setattr(faults, "loud", False)
    folder = shop(tmp_path / "shop")
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    counter = desk.Desk(folder)
    monkeypatch.setattr(counter.jobs, "_begin", lambda *_: 1)  # what is kept is not taken in meanwhile
    made = make_app(counter).server.test_client()
    made.folder = folder
    return made


def test_odd_cards_are_kept_as_text_or_refused_in_a_line(client):
    kept = set()
    for name in (*GOOD, "values", "note", "tech", "model", "opened_at", "sent_to", "gauge"):
        for place, odd in enumerate([*ODD, *(NAMES if name in ("serial", "bench") else [])]):
            card = {**GOOD, "card": f"{name} {place}", name: odd}
            answer = client.post("/card/keep", json=card)
            assert answer.status_code in (200, 422), (name, odd, answer.text)
            if answer.status_code == 200:
                kept.add(" ".join(str(card["card"]).split())[:80])
    for path in ("open", "faults", "judge", "undo", "check", "today"):
        for odd in (5, {}, "../../up"):
            given = dict.fromkeys(("stage", "serial", "bench", "text", "card"), odd)
            assert client.post(f"/card/{path}", json={**GOOD, **given}).status_code < 500, (path, odd)
    sheets = list((client.folder / "cards").glob("card_*.csv"))
    assert sheets
    assert all(path.parent == client.folder / "cards" for path in sheets)
    held = {line["card"] for path in sheets for line in card_sheet.rows_of(path.read_bytes())[1]}
    assert len(held & kept) > len(kept) - len(ODD)  # but for those that were undone
    assert not (client.folder / "store" / "program.log").exists()


def test_halves_of_letters_and_other_bodies_are_no_request(client):
    half = json.dumps({**GOOD, "note": "a\ud800"})
    for body in (half, "[" * 50_000, "{", '"x"', "null", "\x00"):
        answer = client.post("/card/keep", data=body, content_type="application/json")
        assert answer.status_code == 400, body[:20]
    whole = json.dumps({**GOOD, "note": "👩"})  # a pair of halves is a letter
    assert "\\ud8" in whole
    assert client.post("/card/keep", data=whole, content_type="application/json").status_code == 200
    assert client.post("/_dash-update-component", data=half, content_type="application/json").status_code == 400


@pytest.mark.parametrize("step", ["write_whole", "_append", "_sure_of_the_folder"])
def test_a_full_disk_is_said_and_the_card_can_be_kept_again(client, monkeypatch, step):
    def full(*_args, **_more):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(cards, step, full)
        answer = client.post("/card/keep", json=GOOD)
    assert (answer.status_code, "No space left on device" in answer.json["problem"]) == (503, True)
    assert client.post("/card/keep", json=GOOD).json["kept"] is True
    [sheet] = (client.folder / "cards").glob("card_*.csv")
    assert [line["card"] for line in card_sheet.rows_of(sheet.read_bytes())[1]] == ["c1"]
