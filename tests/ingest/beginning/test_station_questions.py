"""Groups of columns under words that the trade does not know are asked about once, and read as answered."""

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.new import propose
from ingest.beginning.station_questions import STATION, answered_stations
from ingest.beginning.stations import unknown_stations
from ingest.verbs.load import load
from tests.ingest.bench import NOW

SAID = {"shop": {"name": "B", "timezone": "UTC"}}
HEADING = "Serial,Model,Qwert Date,Qwert By,Qwert Relief (mm),Zuiop Date,Zuiop By,Zuiop Action bass (mm),Zuiop Result"
ROWS = [
    f"A{n:03},Wren tenor,2026-03-{2 + n % 20:02},{('Ann', 'Bo')[n % 2]},0.1{n % 9},2026-03-{3 + n % 20:02},"
    f"{('Cy', 'Di')[n % 2]},2.{n % 9}0,ok"
    for n in range(40)
]
DATA = "\n".join([HEADING, *ROWS]).encode()
ANSWERS = {"Qwert": "neck_straightening", "Zuiop": "final_inspection"}


def proposed(answers=None):
    return propose([("book.csv", DATA)], answers=answers, said=checked_answers(SAID))


def asked(proposal):
    return {ask.word: ask for ask in proposal.asks if ask.key.startswith(STATION)}


def test_each_group_is_asked_about_once_with_how_many_columns_it_has():
    found = asked(proposed())
    assert list(found) == ["Qwert", "Zuiop"]
    assert "of which stage are the 3 columns under 'Qwert', such as 'Qwert Date'?" in found["Qwert"].text


def test_as_answered_every_column_is_read_at_its_stage(tmp_path):
    answers = {ask.key: ANSWERS[word] for word, ask in asked(proposed()).items()}
    proposal = proposed(answers)
    assert not asked(proposal)
    told = {column.heading: column.guess.target(column.guess.stage) for column in proposal.surveys[0].columns}
    assert told["Qwert By"] == "tech @ neck_straightening"
    assert told["Qwert Relief (mm)"] == "relief (mm) @ neck_straightening"
    assert told["Zuiop Action bass (mm)"] == "action bass (mm) @ final_inspection"
    (tmp_path / "shop.toml").write_text(proposal.shop_toml)
    (tmp_path / "specs.csv").write_text(proposal.specs_csv)
    (tmp_path / "book.csv").write_bytes(DATA)
    [came] = load(tmp_path, [tmp_path / "book.csv"], now=NOW)
    assert (came.accepted, came.set_aside, came.cells_set_aside) == (40, 0, 0)


def test_an_answer_is_a_word_of_every_sheet_and_none_is_nothing():
    answers = {f"{STATION}Qwert": "levelling", f"{STATION}Zuiop": "leave out", "timezone": "UTC"}
    assert answered_stations(answers) == [{"words": {"stage": {"Qwert": "levelling"}}}]
    assert answered_stations({}) == []


@pytest.mark.parametrize("heading", ["Serial,Model,Date,Tech,Relief (mm)", "Serial,Start Date,Tech,Relief (mm)"])
def test_a_sheet_without_groups_is_asked_nothing(heading):
    cells = {"Serial": "A1", "Model": "Wren", "Date": "2026-03-02", "Start Date": "2026-03-02", "Tech": "Ann"}
    rows = [",".join(cells.get(name, f"0.1{n}") for name in heading.split(",")) for n in range(9)]
    proposal = propose([("a.csv", "\n".join([heading, *rows]).encode())], said=checked_answers(SAID))
    assert unknown_stations(proposal.surveys[0].columns, {}) == []
