"""Two logs of one name that share some visits: the question stands on Logs with its two answers, and is answered."""

import pytest

from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.logs import page as logs
from dashboard.pages.logs import same_name
from ingest.verbs.load import load
from tests.dashboard.pages.said import said
from tests.ingest.bench import NOW, log, shop


@pytest.fixture
def two_of_one_name(tmp_path):
    folder = shop(tmp_path)
    for place, serials in (("one", "ABCDE"), ("two", "EFGHI")):
        (tmp_path / place).mkdir()
        rows = [f"{s},LARK-25,play_test,T01,2026-03-02 {8 + 'ABCDEFGHI'.index(s):02}:00,pass" for s in serials]
        sheet = log(tmp_path / place, "bench.csv", rows, "serial,model,stage,tech,started_at,outcome")
        [came] = load(folder, [sheet], now=NOW)
        assert came.outcome == "loaded"
    make_app(desk.Desk(folder))
    return folder


def test_the_question_stands_with_its_answers_and_is_answered(two_of_one_name):
    [row] = same_name.asked().iter_rows(named=True)
    assert (row["shared"], row["of"]) == (1, 5)
    assert "tells of 1 of 5 visits of the log of that name" in said(logs.layout())
    pressed = {"type": same_name.VERDICT, "key": f"other:{row['newer']}:{row['older']}"}
    assert same_name.say(logs.told, pressed, [1], "", "two benches")[0] == "An answer wants who gives it and why."
    told, _, still = same_name.say(logs.told, pressed, [1], "Mo", "two benches")
    assert (told, still) == ("Written into the book.", False)
    job = desk.here().jobs.wait(desk.here().jobs.latest().number)
    assert job.state == "done", job.problem
    assert same_name.asked().is_empty()
    assert "Sheets of one name" not in said(logs.layout())


def test_without_a_press_nothing_is_said(two_of_one_name):
    assert all(one is not None for one in same_name.say(logs.told, None, [None], "Mo", "why"))
    assert len(same_name.asked()) == 1
