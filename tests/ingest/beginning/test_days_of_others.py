"""Days that may be read in two orders: what other sheets and the file's name tell of them, and what is asked."""

import tomllib
from datetime import date, timedelta

import pytest

from ingest.beginning.new import propose

HEADINGS = "Serial,Date,Stage,Relief (mm)\n"
DAYS = [date(2026, 9, 14) + timedelta(days=n) for n in range(60) if n % 7 < 5]


def sheet(name, days, written, *, headings=HEADINGS):
    rows = [f"B{n},{day:{written}},final,0.{10 + n % 20}" for n, day in enumerate(days)]
    return name, (headings + "\n".join(rows) + "\n").encode()


def asked(*files):
    told = propose(files)
    logs = tomllib.loads(told.shop_toml)["log"]
    return [ask for ask in told.asks if ask.key.startswith("dates of")], {
        log["files"]: log["date_order"] for log in logs
    }


def test_a_file_of_one_day_is_read_as_others_under_its_headings_are():
    full, again = sheet("bench_01.csv", DAYS, "%m/%d/%Y"), sheet("again.csv", [date(2026, 10, 8)] * 9, "%m/%d/%Y")
    questions, orders = asked(full, again)
    assert not questions
    assert set(orders.values()) == {"mdy"}
    other = sheet("again.csv", [date(2026, 10, 8)] * 9, "%m/%d/%Y", headings="No,Day,Stage,Relief (mm)\n")
    questions, orders = asked(full, other)
    assert [(ask.key, ask.default) for ask in questions] == [("dates of again.csv", "mdy")], (
        "asked, the nearer one first"
    )


@pytest.mark.parametrize(("written", "order"), [("%m/%d/%Y", "mdy"), ("%d/%m/%Y", "dmy"), ("%y/%m/%d", "ymd")])
def test_the_day_in_the_name_of_a_file_says_how_its_days_are_written(written, order):
    assert asked(sheet("bench_2026-10-08_b.csv", [date(2026, 10, 8)] * 9, written)) == ([], {"bench_*_b.csv": order})
    assert len(asked(sheet("bench_2026-11-20.csv", [date(2026, 10, 8)] * 9, written))[0]) == 1


def test_years_of_two_figures_say_in_the_shop_file_that_they_are_a_guess_and_are_asked_about_where_they_are_few():
    told = propose([sheet("a.csv", DAYS, "%y/%m/%d")])
    assert 'date_order = "ymd"  # guess: as its days lie together' in told.shop_toml
    (question,), _ = asked(sheet("a.csv", [date(2026, 9, 7)] * 9, "%y/%m/%d"))
    assert question.text == "a.csv: are the dates day-month-year or year-month-day, such as '26/09/07'?"
    near = sheet("b.csv", DAYS, "%Y-%m-%d", headings="No,Day,Stage,Relief (mm)\n")
    assert asked(sheet("a.csv", [date(2026, 9, 7)] * 9, "%y/%m/%d"), near)[0][0].default == "ymd"


def test_the_months_in_the_names_of_files_say_how_their_days_are_written():
    for names, months in ((("Batch Mar 2026.csv", "Batch Apr 2026.csv"), (3, 4)), (("batch_märz.csv",), (3,))):
        for written, order in (("%m/%d/%Y", "mdy"), ("%d/%m/%Y", "dmy")):
            days = [[date(2026, month, 2)] * 9 for month in months]
            files = [sheet(name, own, written) for name, own in zip(names, days, strict=True)]
            questions, orders = asked(*files)
            assert not questions, (names, written)
            assert set(orders.values()) == {order}
    assert len(asked(sheet("Batch May 2026.csv", [date(2026, 3, 4)] * 9, "%m/%d/%Y"))[0]) == 1
    assert len(asked(sheet("Batch.csv", [date(2026, 3, 4)] * 9, "%m/%d/%Y"))[0]) == 1
