"""The way in on Logs, as plain functions: nothing is written before somebody says so, and nothing is ever
overwritten.
"""

import base64
import json
import tomllib

import plotly.utils
import polars as pl
import pytest

from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.drift import asked
from dashboard.pages.logs import mapping
from dashboard.pages.logs import new as logs_new
from dashboard.pages.logs import page as logs
from ingest.beginning.new import propose

SHEET = "Serial,Date,Relief (mm)\nA1,2026-03-02,0.2\nA2,2026-03-03,0.3\n"


@pytest.fixture
def counter(tmp_path):
    counter = desk.Desk(tmp_path / "shop")
    make_app(counter)
    return counter


def dropped(text, name="line.csv"):
    return ["data:text/csv;base64," + base64.b64encode(text.encode()).decode()], [name]


def said(component):
    return json.dumps(component, cls=plotly.utils.PlotlyJSONEncoder, ensure_ascii=False).replace("\u00a0", " ")


def begin(answers, text=SHEET):
    ids = [{"type": logs_new.ANSWER, "key": key} for key in answers]
    return logs_new.begin(1, list(answers.values()), ids, *dropped(text))


ANSWERS = {
    "name": "Quay Street",
    "timezone": "Europe/Dublin",
    "stage of line.csv": "final_inspection",
    "family": "not said",
}


def test_without_a_shop_logs_asks_for_a_sheet_and_writes_nothing(counter):
    page = said(logs.layout())
    assert "No shop here yet." in page
    assert "Bring your first sheet" in page
    shown = said(logs_new.look_at(*dropped(SHEET)))
    assert "2 rows, a row a visit" in shown
    assert "relief (mm)" in shown
    assert "at which stage were Relief (mm) measured" in shown
    assert not counter.folder.exists()


def test_the_answers_make_a_shop_and_its_sheet_is_loaded(counter):
    told, wrong, _, still, _ = begin(ANSWERS)
    assert (wrong, still) == ("", False)
    assert "Written:" in said(told)
    job = counter.jobs.wait(1)
    assert (job.state, job.files[0].accepted) == ("done", 2)
    shop = tomllib.loads((counter.folder / "shop.toml").read_text(encoding="utf-8"))
    assert (shop["shop"]["name"], shop["log"][0]["stage"]) == ("Quay Street", "final_inspection")
    assert "1 log loaded; no question waits." in said(logs.layout())
    assert counter.shop_words()[0] == "Quay Street"


def test_a_question_that_an_answer_brings_up_is_asked_before_anything_is_written(counter):
    told, *_ = begin(ANSWERS | {"stage of line.csv": "play_test"})
    assert "1 more to ask" in said(told)
    assert "judged for the last time" in said(told)
    assert '"Quay Street"' in said(told)
    assert not counter.folder.exists()


def test_a_shop_that_came_meanwhile_is_not_overwritten(counter):
    counter.folder.mkdir()
    (counter.folder / "shop.toml").write_text("mine")
    _, wrong, *_ = begin(ANSWERS)
    assert "already there and is not overwritten" in wrong
    assert (counter.folder / "shop.toml").read_text() == "mine"


@pytest.mark.parametrize(
    ("text", "words"), [("", "empty"), ("1,2,3\n4,5,6\n", "no heading line"), ("a,b,c\n", "no heading line")]
)
def test_what_is_no_sheet_is_one_line(counter, text, words):
    shown = said(logs_new.look_at(*dropped(text)))
    assert words in shown
    assert "Traceback" not in shown


def test_a_sheet_the_shop_reads_already_lacks_nothing(counter):
    begin(ANSWERS)
    counter.jobs.wait(1)
    assert "It lacks nothing for this sheet" in said(logs_new.look_at(*dropped(SHEET.replace("A", "B"), "line.csv")))
    assert "[[log]]" in said(logs_new.look_at(*dropped(SHEET, "other.csv")))


def test_a_page_of_figures_is_laid_out_only_where_there_is_a_shop(counter):
    from dash import page_registry

    layout = next(page["layout"] for page in page_registry.values() if page["path"] == asked.PATH)
    assert "Bring a sheet" in said(layout())
    begin(ANSWERS)
    counter.jobs.wait(1)
    assert "Bring a sheet" not in said(layout())


def picked(**choices):
    """The lists of columns as the browser sends them."""
    ids = [{"type": mapping.PICK, "key": f"line.csv{mapping.APART}{mapping.APART}{heading}"} for heading in choices]
    return list(choices.values()), ids


ODD = "Serial,Date,Zq\n" + "".join(f"A{n},2026-03-0{n},2.{n}0\n" for n in range(1, 7))


def test_choosing_what_a_column_is_counts_anew_what_would_be_read(counter):
    assert "0 readings would be read" in said(logs_new.look_at(*dropped(ODD)))
    assert "'Zq' is not read (6 cells)" in said(logs_new.look_at(*dropped(ODD)))
    values, ids = picked(Zq="action bass")
    told = said(logs_new.count_again(values, ["mm"], ids, [{"key": "unit of action in line.csv"}], *dropped(ODD)))
    assert "6 readings would be read" in told
    assert "action bass 6" in told
    assert "stages Final inspection; measurements Action at fret 12" in told
    assert not counter.folder.exists()


NOTES = "Nr;Datum;Saitenlage G;Saitenlage A\n" + "".join(f"S-{n};0{n}.10.26;2,4{n};2,2{n}\n" for n in range(1, 8))


def test_an_answer_that_tells_columns_lays_them_anew_and_is_asked_no_more(counter):
    sheets, names = dropped(NOTES)
    store, *_ = logs_new.look_at(sheets, names)
    asked = {key: value for key, value in store.data["answers"].items() if not key.startswith("column")}
    picks = [{"type": mapping.PICK, "key": key} for key in store.data["shown"]]
    taken, ids = list(store.data["shown"].values()), [{"type": logs_new.ANSWER, "key": key} for key in asked]
    assert taken.count(mapping.NOT_YET) == 2
    values = list((asked | {"family": "concert ukulele"}).values())
    counts, anew = logs_new.count_again(taken, values, picks, ids, sheets, names, held=store.data)
    assert counts is logs_new.no_update
    told = anew[0].data["shown"]
    assert {"action 4", "action 1"} <= set(told.values())
    again = [{"type": logs_new.ANSWER, "key": key} for key in anew[0].data["answers"]]
    values = list(anew[0].data["answers"].values())
    counts, anew = logs_new.count_again(list(told.values()), values, picks, again, sheets, names, held=anew[0].data)
    assert anew is logs_new.no_update  # what is shown stands
    assert "14 readings would be read" in said(counts)


def test_a_column_that_nobody_has_said_is_not_called_kept_as_text(counter):
    (zq,) = (column for seen in propose([("line.csv", ODD.encode())]).surveys for column in seen.columns[-1:])
    assert mapping.value_of(zq) == mapping.NOT_YET
    before = {mapping.key_of(propose([("line.csv", ODD.encode())]).surveys[0], "Zq"): mapping.NOT_YET}
    assert mapping.picked(dict.fromkeys(before, mapping.NOT_YET), {}) == {}
    assert list(mapping.picked(dict.fromkeys(before, mapping.KEEP), before).values()) == ["other"]
    values, ids = picked(Zq=mapping.KEEP)
    answers = [{"type": logs_new.ANSWER, "key": key} for key in ANSWERS]
    logs_new.begin(1, list(ANSWERS.values()), answers, *dropped(ODD), picks=values, pick_ids=ids)
    counter.jobs.wait(1)
    text = (counter.folder / "shop.toml").read_text(encoding="utf-8")
    assert '"Zq" = "other"  # said; kept as text; 6 of 6 filled' in text
    assert counter.snapshot().table("columns").filter(pl.col("heading") == "Zq")["field"].item() == "text"


def test_what_was_mapped_is_written_loaded_and_can_be_taken_back(counter):
    values, ids = picked(Zq="action bass")
    more = {"unit of action in line.csv": "mm"}
    answers = ANSWERS | more
    asked = [{"type": logs_new.ANSWER, "key": key} for key in answers]
    told, wrong, *_ = logs_new.begin(1, list(answers.values()), asked, *dropped(ODD), picks=values, pick_ids=ids)
    assert (wrong, "Take it back" in said(told)) == ("", True)
    assert counter.jobs.wait(1).files[0].accepted == 6
    shop = tomllib.loads((counter.folder / "shop.toml").read_text(encoding="utf-8"))
    assert shop["log"][0]["headings"]["Zq"] == "action bass"
    logs_new.back(1, ["line.csv"])
    assert counter.jobs.wait(2).state == "done"
    assert not counter.has_shop
    assert (counter.folder / "shop.toml.taken-back").exists()


def test_every_column_has_its_own_meaning_among_its_choices(counter):
    (seen,) = propose([("line.csv", ODD.encode())]).surveys
    for column in seen.columns:
        assert mapping.value_of(column) in {choice["value"] for choice in mapping.choices(seen, column)}


CODED = "REC,SNO,DT,TM,WC,OPR,CHR,V_IN,V_OUT,RC,RWC\n" + "".join(
    f"{n + 1},{6000 + n // 4},202603{2 + n // 30:02d},{8 + n % 8:02d}:{n % 60:02d}:00,"
    f"{(10, 20, 50)[n % 3]},{(41, 42)[n % 2]},{(21, 22)[n % 2]},"
    f"2.{n % 9},2.{n % 8},{(0, 0, 0, 9)[n % 4]},{('', '', '', 20)[n % 4]}\n"
    for n in range(240)
)


def test_words_that_are_asked_alike_stand_under_one_question_and_measurements_are_a_list(counter):
    shown = logs_new.look_at(*dropped(CODED, "export.csv"))
    page = said(shown)
    for question in ("which bench is each of these?", "what is measured as each of these?"):
        assert page.count(f'"children": "export.csv: {question}"') == 1
    assert '"label": "21 (120 rows)"' in page
    assert '{"value": "action bass", "label": "Action at fret 12, bass"}' in page
    assert "none of ours" in page
    assert "value, as found" in page


def test_many_likely_columns_are_folded_under_a_line_that_says_what_they_are_taken_for(counter):
    page = said(logs_new.look_at(*dropped(CODED, "export.csv")))
    [line] = [text for text in page.split('"') if "columns are likely:" in text]
    assert "V_IN (value, as found), V_OUT (value, as left)" in line
