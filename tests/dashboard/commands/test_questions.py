"""Questions worked off at the command line: a file to fill in, and its answers taken in."""

import csv

import pytest

from dashboard.commands import cli
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, shop
from tests.ingest.verbs.test_answers import story


@pytest.fixture
def folder(tmp_path):
    folder = shop(tmp_path / "shop")
    rows = [line for n in range(12) for line in story(f"S{n}", n, **({"play_test": "paly_test"} if n % 2 else {}))]
    load(folder, [log(folder, "bench.csv", rows)], now=NOW)
    return folder


def test_questions_are_written_filled_in_and_taken_in(folder, tmp_path, capsys):
    out = tmp_path / "questions.csv"
    assert cli.run(["again", "--shop", str(folder), "--questions", str(out)]) == 0
    [line] = list(csv.DictReader(out.read_text(encoding="utf-8").splitlines()))
    assert (line["as typed"], line["rows"], line["guess"], line["answer"]) == (
        "paly_test",
        "6",
        "play_test",
        "play_test",
    )
    assert cli.run(["again", "--shop", str(folder), "--answers", str(out), "--who", "Mo"]) == 0
    assert "1 question answered: 6 rows and cells came in, 0 are left." in capsys.readouterr().out
    assert open_snapshot(folder).table("visits").filter(stage="play_test").height == 12
    assert cli.run(["again", "--shop", str(folder), "--answers", str(out), "--who", "Mo"]) == 2


def test_answers_of_nobody_or_of_another_file_change_nothing(folder, tmp_path, capsys):
    out = tmp_path / "questions.csv"
    assert cli.run(["again", "--shop", str(folder), "--questions", str(out)]) == 0
    assert cli.run(["again", "--shop", str(folder), "--answers", str(out)]) == 2
    out.write_text("a,b\n1,2\n", encoding="utf-8")
    assert cli.run(["again", "--shop", str(folder), "--answers", str(out), "--who", "Mo"]) == 2
    assert cli.run(["again", "--shop", str(folder), "--answers", str(tmp_path / "none.csv"), "--who", "Mo"]) == 2
    assert all("\n" not in line for line in capsys.readouterr().err.splitlines())
    assert open_snapshot(folder).version == 1
