"""Where a sheet as a whole turns: how many rows, words and cells make a question, a pattern or a second value."""

import tomllib
from dataclasses import replace

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.guesses import Guess
from ingest.beginning.new import Proposal, propose
from ingest.beginning.profiles import profile
from ingest.beginning.two_values import two_values
from tests.ingest.beginning.test_proposed import DAYS, SHOP
from tests.ingest.small_shop import csv


def proposed(head: str, *rows: str, name: str = "s.csv", **more: object) -> Proposal:
    return propose([(name, csv(head, *rows))], said=checked_answers(SHOP | more))


def asked(proposal: Proposal) -> set[str]:
    return {ask.key.partition(" \x1f ")[0] for ask in proposal.asks}


def entry(proposal: Proposal) -> dict:
    return tomllib.loads(proposal.shop_toml)["log"][0]


@pytest.mark.parametrize(("filled", "numbers", "told"), [(6, 6, True), (5, 5, False), (20, 17, True), (20, 16, False)])
def test_a_column_of_numbers_that_nobody_knows_is_asked_about_from_six_cells_on(filled, numbers, told):
    cells = [f"{7 - n % 4 + n % 3 / 10:.1f}" if n < numbers else "x y" for n in range(filled)]
    rows = [f"A{n},{DAYS[n % 26]},final,0.1{n % 9},{cells[n] if n < filled else ''}" for n in range(30)]
    found = proposed("Serial,Date,Stage,Relief (mm),Q7", *rows)
    assert ("column Q7" in asked(found)) is told


@pytest.mark.parametrize(("empty", "told"), [(20, False), (21, True)])
def test_empty_results_are_asked_about_where_they_are_more_than_a_fifth(empty, told):
    rows = [f"A{n},{DAYS[n % 26]},final,0.1{n % 9},{'' if n < empty else 'ok'}" for n in range(100)]
    assert ("empty result in s.csv" in asked(proposed("Serial,Date,Stage,Relief (mm),Result", *rows))) is told


@pytest.mark.parametrize(("unknown", "rows", "read"), [(1, 50, False), (1, 51, True), (2, 101, True), (2, 100, False)])
def test_results_are_read_where_under_two_rows_of_a_hundred_are_not_understood(unknown, rows, read):
    lines = [f"A{n},{DAYS[n % 26]},final,0.1{n % 9},{'qx' if n < unknown else 'ok'}" for n in range(rows)]
    found = proposed("Serial,Date,Stage,Relief (mm),Result", *lines)
    assert (entry(found)["headings"]["Result"] == "outcome") is read


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (("y", "n"), {"y": "pass", "n": "send back"}),
        (("ja", "nein"), {"ja": "pass", "nein": "send back"}),
        (("p", "f"), {"p": "pass", "f": "send back"}),
        (("ok", "n"), {"ok": "pass", "n": "send back"}),
        (("y", "zz"), None),  # without its counterpart it may be anything
        (("zz", "n"), None),
    ],
)
def test_short_results_are_understood_beside_their_counterpart(words, meant):
    rows = [f"A{n},{DAYS[n % 26]},final,0.1{n % 9},{words[n % 2]}" for n in range(40)]
    found = entry(proposed("Serial,Date,Stage,Relief (mm),Result", *rows))
    assert (found["words"]["outcome"] if found["headings"]["Result"] == "outcome" else None) == meant


@pytest.mark.parametrize(
    ("mine", "of", "elsewhere", "told"),
    [(3, 3, 0, True), (2, 2, 0, False), (9, 10, 0, True), (8, 10, 0, False), (10, 10, 1, True), (10, 10, 2, False)],
)
def test_a_result_of_rows_that_went_back_means_so_whatever_the_word(mine, of, elsewhere, told):
    back = [1] * mine + [0] * (of - mine) + [1] * elsewhere + [0] * (60 - elsewhere)
    results = ["qx"] * of + ["ok"] * 60
    rows = [
        f"A{n},{DAYS[n % 26]},final,{result},{'nut' if gone else ''}"
        for n, (result, gone) in enumerate(zip(results, back, strict=True))
    ]
    found = entry(proposed("Serial,Date,Stage,Result,Back to", *rows))
    assert (found.get("words", {}).get("outcome", {}).get("qx") == "send back") is told


@pytest.mark.parametrize(("rows", "default"), [(30, "final_inspection"), (31, "ask")])
def test_a_sheet_without_a_stage_is_of_the_final_inspection_unless_instruments_come_again(rows, default):
    lines = [f"A{n % 20},{DAYS[n % 26]},0.1{n % 9}" for n in range(rows)]  # of twenty instruments
    (ask,) = [ask for ask in proposed("Serial,Date,Relief (mm)", *lines).asks if ask.key == "stage of s.csv"]
    assert ask.default == default


@pytest.mark.parametrize(("many", "held"), [(60, 60), (61, 60)])
def test_sixty_faults_are_listed_at_most(many, held):
    rows = [f"A{n},{DAYS[n % 26]},final,0.1{n % 9},odd thing {n % many}" for n in range(2 * many)]
    table = tomllib.loads(proposed("Serial,Date,Stage,Relief (mm),Fault", *rows).shop_toml)
    assert len(table["fault"]) == held


def test_files_of_one_kind_have_the_numbers_of_their_names_left_open():
    sheet = csv("Serial,Date,Stage,Relief (mm)", *(f"A{n},{DAYS[n % 26]},final,0.1{n % 9}" for n in range(9)))
    for names, pattern in (
        (("book 03.csv", "book 04.csv"), "book *.csv"),
        (("book 2026-03.csv", "book 2026-04.csv"), "book *.csv"),
        (("a_1_2 x 3.csv", "a_4_5 x 6.csv"), "a_* x *.csv"),
    ):
        found = propose([(name, sheet) for name in names], said=checked_answers(SHOP))
        assert entry(found)["files"] == pattern


# -- two columns of values


class Column:
    """A column as the survey has it."""

    def __init__(self, guess: Guess, cells: tuple[str, ...]) -> None:
        self.guess, self.cells = guess, cells


NAMES = tuple(f"N{n % 5}" for n in range(50))
FIRST = tuple(f"{2 + n % 5 + n % 7 / 10:.1f}" for n in range(50))
WHAT, VALUE = Guess("What", "what", level="sure"), Guess("Value", "value", level="sure")


def second(cells, heading="W2", **look):
    """What a further column is taken for beside the value."""
    columns = [Column(WHAT, NAMES), Column(VALUE, FIRST), Column(Guess(heading), tuple(cells))]
    looks = [profile(column.cells) for column in columns]
    looks[2] = replace(looks[2], **look)
    return two_values(columns, [column.guess for column in columns], looks)[2]


def times(factor, seen=50):
    return [f"{float(cell) * factor:.3f}" if n < seen else "" for n, cell in enumerate(FIRST)]


@pytest.mark.parametrize(
    ("cells", "look", "told"),
    [
        (times(1.1), {}, True),
        (times(2.0), {}, True),  # as large: twice at most
        (times(2.01), {}, False),
        (times(0.5), {}, True),
        (times(0.49), {}, False),
        (times(1.1), {"measured": 0.81}, True),
        (times(1.1), {"measured": 0.8}, False),
        (times(1.1), {"dates": 0.05, "clocks": 0.04}, True),
        (times(1.1), {"dates": 0.05, "clocks": 0.05}, False),
        (times(1.1), {"running": True}, False),
        (times(1.1), {"filled": 5}, True),
        (times(1.1), {"filled": 4}, False),
        (times(1.1, 21), {}, True),  # five rows of a name at least
        (times(1.1, 20), {}, False),
        ([cell if n % 5 else "9000" for n, cell in enumerate(times(1.1))], {}, True),  # four of five names
        ([cell if n % 5 > 1 else "9000" for n, cell in enumerate(times(1.1))], {}, False),
        (["3.0"] * 50, {}, False),  # what a reading should be has few values
    ],
)
def test_a_second_value_is_as_large_as_the_first_name_by_name(cells, look, told):
    found = second(cells, **look)
    assert ((found.field, found.moment, found.level) == ("value", "left", "unsure")) is told
    if told:
        assert found.why == "its cells: as large as 'Value', name by name"


@pytest.mark.parametrize("heading", ["Relief", "Target", "Date", "Bass"])
def test_a_column_whose_heading_says_something_else_is_no_second_value(heading):
    assert second(times(1.1), heading).field != "value"


def test_without_names_of_what_was_measured_there_is_no_second_value():
    columns = [Column(VALUE, FIRST), Column(Guess("W2"), tuple(times(1.1)))]
    looks = [profile(column.cells) for column in columns]
    assert [guess.field for guess in two_values(columns, [c.guess for c in columns], looks)] == ["value", ""]


def test_a_value_before_another_is_what_was_found_whichever_stands_first():
    for first, last in (("Value in", "Value out"), ("Before", "After")):
        for turned in (False, True):
            pair = [Guess(last if turned else first), Guess(first if turned else last)]
            columns = [Column(WHAT, NAMES), *(Column(guess, FIRST) for guess in pair)]
            looks = [profile(column.cells) for column in columns]
            found = two_values(columns, [column.guess for column in columns], looks)[1:]
            assert [one.moment for one in found] == (["left", "found"] if turned else ["found", "left"])
            assert {one.level for one in found} == {"likely"}
