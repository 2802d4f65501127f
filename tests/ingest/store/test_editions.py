"""Newer editions of a sheet: held against a plain telling of the definition, whatever the order of loading and
unloading.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.sentences import logs as telling
from ingest.store import editions
from ingest.store.store import open_snapshot
from ingest.terms.tables import GONE
from ingest.verbs.load import ensure, load, unload
from ingest.verbs.mend import correct, settle
from tests.ingest.bench import NOW, account, held, log, row, shop
from tests.ingest.verbs.test_load import adds_up, same

START = datetime(2026, 3, 2, 9)


@dataclass(frozen=True)
class Line:
    """One visit: what makes it the same visit, and what is said of it."""

    serial: str
    hours: int  # after START
    relief: str = "0.20"

    @property
    def key(self):
        return (self.serial, self.hours)

    @property
    def day(self):
        return (START + timedelta(hours=self.hours)).date()

    def text(self):
        start = START + timedelta(hours=self.hours)
        return row(self.serial, start=f"{start:%Y-%m-%d %H:%M}", finish="", relief=self.relief)


def told(files: dict[str, list[Line]]) -> dict[tuple, set[str]]:
    """What should count of each visit, of files in the order they were loaded: the values one of which counts.

    One value where the definition leaves no choice; several where two different logs contradict each other.
    """
    order = list(files)

    def later(one, other):
        ends = [max(line.hours for line in files[name]) for name in (one, other)]
        return ends[0] > ends[1] or (ends[0] == ends[1] and order.index(one) > order.index(other))

    def is_edition(new, old):
        keys = [{line.key for line in files[name]} for name in (new, old)]
        return new != old and later(new, old) and 2 * len(keys[0] & keys[1]) >= len(keys[1])

    def covers(name, line):
        lines = files[name]
        return min(each.hours for each in lines) <= line.hours and line.day <= max(each.day for each in lines)

    standing: dict[tuple, set[str]] = {}
    for name, lines in files.items():
        newer = [other for other in files if is_edition(other, name)]
        for line in lines:
            if not any(covers(other, line) for other in newer):
                standing.setdefault(line.key, set()).add(line.relief)
    return standing


def counted(folder) -> dict[tuple, str]:
    readings = open_snapshot(folder).table("readings").filter(pl.col("characteristic") == "relief")
    out = {}
    for serial, at, raw in readings.select("serial", "taken_at", "raw").iter_rows():
        assert (serial, at) not in out, "a visit is held twice"
        out[serial, int((at.replace(tzinfo=None) - START).total_seconds()) // 3600] = raw
    return out


def agrees(folder, files) -> None:
    found, wanted = counted(folder), told(files)
    assert found.keys() == wanted.keys()
    for key, values in wanted.items():
        assert found[key] in values, key
    conflicts = open_snapshot(folder).table("set_aside").height
    assert conflicts == sum(len(values) - 1 for values in wanted.values())
    logs = open_snapshot(folder).table("logs")
    assert (logs["rows_read"] == logs["accepted"] + logs["changed"] + logs["already_held"] + logs["set_aside"]).all()
    assert logs["accepted"].sum() + logs["changed"].sum() == len(wanted)


LINES = st.builds(Line, st.sampled_from("ABC"), st.sampled_from([0, 1, 24, 48, 49]), st.sampled_from(["0.20", "0.25"]))
SHEETS = st.lists(st.lists(LINES, min_size=1, max_size=6, unique_by=lambda line: line.key), min_size=2, max_size=4)


@pytest.mark.long
@settings(max_examples=4)
@given(SHEETS, st.randoms(use_true_random=False))
def test_any_history_of_loading_and_unloading_leaves_what_the_definition_says(tmp_path_factory, sheets, chance):
    folder = shop(tmp_path_factory.mktemp("shop"))
    files: dict[str, list[Line]] = {}
    paths = {
        f"{number}.csv": (
            log(
                folder,
                f"{number}.csv",
                [line.text() for line in lines] + [row(f"Z{number}", start="2026-02-02 08:00", finish="")],
            ),
            lines,
        )
        for number, lines in enumerate(sheets)
    }
    own = {name: Line(f"Z{name[0]}", -673) for name in paths}
    for name in [*paths, *chance.choices(list(paths), k=3)]:
        if name in files:
            unload(folder, name, now=NOW)
            del files[name]
        else:
            [came] = load(folder, [paths[name][0]], now=NOW)
            assert adds_up(came)
            files[name] = [*paths[name][1], own[name]]
        agrees(folder, files)


@pytest.mark.long
@settings(max_examples=3)
@given(SHEETS, st.randoms(use_true_random=False))
def test_editions_in_any_order_give_the_same_store(tmp_path_factory, sheets, chance):
    """Each sheet ends at a moment of its own, so that no order hangs on loading."""
    stores = []
    for _ in range(2):
        folder = shop(tmp_path_factory.mktemp("shop"))
        paths = [
            log(folder, f"{number}.csv", [*(line.text() for line in lines), Line("Z", 50 + number).text()])
            for number, lines in enumerate(sheets)
        ]
        chance.shuffle(paths)
        for path in paths:
            load(folder, [path], now=NOW)
        stores.append(held(folder, where=False))
    same(*stores)


def week(*serials: str, **changed: str) -> list[str]:
    """A sheet of one visit an hour; `changed` gives the relief of some serials."""
    return [Line(serial, hours, changed.get(serial, "0.20")).text() for hours, serial in enumerate(serials)]


def many(count: int) -> list[str]:
    return [f"S{number:03}" for number in range(count)]


def test_of_a_hundred_corrected_cells_a_hundred_new_values_count_and_no_old_one(tmp_path):
    folder = shop(tmp_path)
    names = many(140)
    load(folder, [log(folder, "week.csv", week(*names))], now=NOW)
    changed = dict.fromkeys(names[:100], "0.31")
    [came] = load(folder, [log(folder, "week.csv", week(*names, **changed))], now=NOW)
    values = [raw for _, raw in counted(folder).items()]
    assert (values.count("0.31"), values.count("0.20")) == (100, 40)
    assert (came.accepted, came.changed, came.already_held, came.set_aside) == (0, 100, 40, 0)
    [pair] = came.told.pairs.rows(named=True)
    assert (pair["adds"], pair["changes"], pair["drops"], pair["holds"]) == (0, 100, 0, True)
    assert came.told.cells.height == 100
    assert set(came.told.cells.select("column", "before", "after").rows()) == {("relief", "0.20", "0.31")}
    assert open_snapshot(folder).table("set_aside").is_empty()


def test_an_edition_adds_changes_and_drops_and_can_be_taken_back(tmp_path):
    folder = shop(tmp_path)
    older = week("A", "B", "C", "D")
    load(folder, [log(folder, "one.csv", older)], now=NOW)
    before = held(folder)
    newer = week("A", "B", "C", "D", "E", B="0.4")
    del newer[3]
    [came] = load(folder, [log(folder, "two.csv", newer)], now=NOW)
    assert [key[0] for key in sorted(counted(folder))] == ["A", "B", "C", "E"]
    [pair] = came.told.pairs.rows(named=True)
    assert (pair["name"], pair["shared"], pair["of"], pair["adds"], pair["changes"], pair["drops"]) == (
        "one.csv", 3, 4, 1, 1, 1,
    )  # fmt: skip
    assert account(open_snapshot(folder), "one.csv") == (4, 2, 0, 2, 0, 0, 0)
    unload(folder, "two.csv", now=NOW)
    same(held(folder), before)


def test_a_visit_given_to_another_tech_is_told_as_a_cell_that_differs(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "one.csv", week("A", "B", "C"))], now=NOW)
    newer = [text.replace("T01", "T02") if text.startswith("B,") else text for text in week("A", "B", "C")]
    assert newer != week("A", "B", "C")
    [came] = load(folder, [log(folder, "two.csv", newer)], now=NOW)
    assert came.told.pairs.select("adds", "changes", "drops").row(0) == (1, 0, 1)
    [cell] = came.told.cells.rows(named=True)
    assert (cell["serial"], cell["column"], cell["before"], cell["after"]) == ("B", "tech", "T01", "T02")
    assert "    B, play_test, line 3: tech 'T01' is now 'T02'" in list(telling.editions(came))


def test_a_check_says_what_an_edition_would_change_and_changes_nothing(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "one.csv", week("A", "B", "C"))], now=NOW)
    before = held(folder)
    [came] = load(folder, [log(folder, "two.csv", week("A", "B", "D", A="0.3"))], check=True, now=NOW)
    assert came.told.pairs.select("adds", "changes", "drops").row(0) == (1, 1, 1)
    cells = came.told.cells.select("serial", "column", "before", "after").rows()
    assert cells == [("C", GONE, "", ""), ("A", "relief", "0.20", "0.3")]
    same(held(folder), before)


def test_days_that_a_newer_edition_does_not_cover_stay_as_the_older_told_them(tmp_path):
    folder = shop(tmp_path)
    days = [Line("A", 0), Line("B", 24), Line("C", 48), Line("D", 49)]
    load(folder, [log(folder, "one.csv", [line.text() for line in days])], now=NOW)
    load(folder, [log(folder, "two.csv", [line.text() for line in (*days[2:], Line("E", 72))])], now=NOW)
    assert [key[0] for key in sorted(counted(folder))] == list("ABCDE")


def test_of_two_uploads_that_overlap_on_a_day_the_earlier_hours_stay(tmp_path):
    folder = shop(tmp_path)
    morning = [Line(f"M{hour}", hour) for hour in range(6)]
    later = [*morning[2:], Line("E", 6), Line("F", 7)]  # holds more than half of the morning, and goes on
    for name, lines in (("a.csv", morning), ("b.csv", later)):
        [came] = load(folder, [log(folder, name, [line.text() for line in lines])], now=NOW)
    assert [key[0] for key in sorted(counted(folder), key=lambda key: key[1])] == [
        *(f"M{n}" for n in range(6)),
        "E",
        "F",
    ]
    assert came.told.pairs.select("holds", "drops").row(0) == (True, 0)
    before = held(folder, where=False)
    other = shop(tmp_path / "other")
    for name, lines in (("b.csv", later), ("a.csv", morning)):
        load(other, [log(other, name, [line.text() for line in lines])], now=NOW)
    same(held(other, where=False), before)


def test_what_the_newer_upload_leaves_out_since_its_own_first_visit_is_dropped(tmp_path):
    folder = shop(tmp_path)
    morning = [Line(f"M{hour}", hour) for hour in range(6)]
    load(folder, [log(folder, "a.csv", [line.text() for line in morning])], now=NOW)
    later = [morning[1], *morning[3:], Line("E", 6)]
    [came] = load(folder, [log(folder, "b.csv", [line.text() for line in later])], now=NOW)
    assert sorted(key[0] for key in counted(folder)) == ["E", "M0", "M1", "M3", "M4", "M5"]
    assert came.told.pairs["drops"].item() == 1


def test_an_edition_that_comes_after_a_newer_one_brings_only_the_days_that_one_does_not_cover(tmp_path):
    folder = shop(tmp_path)
    load(
        folder,
        [log(folder, "two.csv", [Line(serial, 48 + n, "0.5").text() for n, serial in enumerate("CDE")])],
        now=NOW,
    )
    older = [Line("A", 0), Line("C", 48), Line("D", 49), Line("X", 36)]
    [came] = load(folder, [log(folder, "one.csv", [line.text() for line in older])], now=NOW)
    assert (came.accepted, came.already_held, came.set_aside) == (2, 2, 0)
    assert sorted(counted(folder).items()) == [
        (("A", 0), "0.20"), (("C", 48), "0.5"), (("D", 49), "0.5"), (("E", 50), "0.5"), (("X", 36), "0.20"),
    ]  # fmt: skip


def test_one_name_without_a_shared_visit_is_another_log(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "week.csv", week("A", "B"))], now=NOW)
    [came] = load(folder, [log(folder, "week.csv", week("C", "D"))], now=NOW)
    assert came.told.pairs.is_empty()
    assert len(counted(folder)) == 4


def test_one_name_and_under_half_shared_is_one_question(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "week.csv", week("A", "B", "C"))], now=NOW)
    [came] = load(folder, [log(folder, "week.csv", week("A", "Y", "Z"))], now=NOW)
    assert came.told.pairs.select("shared", "of", "holds", "asked").rows() == [(1, 3, False, True)]
    assert len(counted(folder)) == 5


def test_columns_that_nobody_has_mapped_never_make_two_rows_differ(tmp_path):
    folder = shop(tmp_path)
    header = "serial,model,stage,tech,started_at,outcome,relief (mm),exported at"
    rows = [f"A{n},LARK-25,play_test,T01,2026-03-02 09:{n:02},pass,0.2" for n in range(30)]
    first = log(folder, "day1.csv", [f"{line},2026-03-02 18:00" for line in rows[:20]], header)
    second = log(folder, "day2.csv", [f"{line},2026-03-03 18:00" for line in rows[15:]], header)
    load(folder, [first, second], now=NOW)
    assert open_snapshot(folder).table("set_aside").is_empty()
    assert open_snapshot(folder).table("visits").height == 30


def test_questions_of_an_older_edition_go_with_its_rows(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "one.csv", [*week("A", "B", "C", B="x"), row("D", stage="attic")])], now=NOW)
    assert open_snapshot(folder).table("set_aside").height == 2
    before = held(folder)
    load(folder, [log(folder, "two.csv", week("A", "B", "C", "E", B="0.3"))], now=NOW)
    assert open_snapshot(folder).table("set_aside").is_empty()
    assert account(open_snapshot(folder), "one.csv") == (4, 2, 0, 2, 0, 0, 0)
    unload(folder, "two.csv", now=NOW)
    same(held(folder), before)


def test_a_correction_follows_its_visit_into_the_newer_edition(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "one.csv", week("A", "B", "C", B="2.9"))], now=NOW)
    correct(folder, "one.csv", 3, "relief (mm)", "0.29", who="Mo", why="a point was lost", now=NOW)
    newer = [row("N", start="2026-03-02 08:30", finish=""), *week("A", "B", "C", B="2.9")]
    newer[2] = newer[2].replace("pass", "fixed")
    load(folder, [log(folder, "two.csv", newer)], now=NOW)
    readings = open_snapshot(folder).table("readings").filter(pl.col("characteristic") == "relief")
    assert dict(readings.select("serial", "value").iter_rows())["B"] == pytest.approx(0.29)
    assert readings.filter(pl.col("serial") == "B")["flag"].item() == "corrected"
    line = open_snapshot(folder).table("corrections").row(-1, named=True)
    assert (line["line"], line["column"], line["value"], line["who"]) == (4, "relief (mm)", "0.29", "Mo")


def test_a_correction_stands_where_the_newer_edition_says_something_else_and_it_is_said(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "one.csv", week("A", "B", "C", B="2.9"))], now=NOW)
    correct(folder, "one.csv", 3, "relief (mm)", "0.29", who="Mo", why="a point was lost", now=NOW)
    [came] = load(folder, [log(folder, "two.csv", week("A", "B", "C", B="0.33"))], now=NOW)
    assert [note for note in came.notes if "the correction stands" in note]
    readings = open_snapshot(folder).table("readings").filter(pl.col("characteristic") == "relief")
    assert dict(readings.select("serial", "value").iter_rows())["B"] == pytest.approx(0.29)


def test_a_value_that_somebody_called_real_stays_real_in_the_newer_edition(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "one.csv", week("A", "B", "C", B="25"))], now=NOW)
    settle(folder, "one.csv", 3, "relief (mm)", "it is real", who="Mo", why="a broken rod", now=NOW)
    newer = week("A", "B", "C", B="25")
    newer[1] = newer[1].replace("pass", "fixed")
    load(folder, [log(folder, "two.csv", newer)], now=NOW)
    assert open_snapshot(folder).table("set_aside").is_empty()
    assert counted(folder)["B", 1] == "25"


def test_a_person_may_say_that_a_log_is_no_edition_of_another(tmp_path):
    from ingest.verbs.mend import say_edition

    folder = shop(tmp_path)
    load(folder, [log(folder, "one.csv", week("A", "B", "C")), log(folder, "two.csv", week("A", "B", "D"))], now=NOW)
    assert sorted(key[0] for key in counted(folder)) == ["A", "B", "D"]
    say_edition(folder, "two.csv", "one.csv", editions.OTHER, "Mo", "two benches", now=NOW)
    assert sorted(key[0] for key in counted(folder)) == ["A", "B", "C", "D"]
    before = held(folder)
    import shutil

    shutil.rmtree(folder / "store")
    ensure(folder, now=NOW)
    same(held(folder), before)
    say_edition(folder, "two.csv", "one.csv", editions.EDITION, "Mo", "one bench after all", now=NOW)
    assert sorted(key[0] for key in counted(folder)) == ["A", "B", "D"]


@pytest.mark.parametrize("spans", [[(1, 5), (4, 9)], [(1, 9), (4, 5)], [(1, 4), (4, 9)], [(1, 9)]])
def test_a_row_gives_way_where_newer_editions_together_hold_its_time(spans):
    hours = [0, 1, 2, 5, 9, 10]
    times = [START + timedelta(hours=hour) for hour in hours]
    rows = pl.DataFrame(
        {"log_id": ["old"] * 5 + ["other"], "time": times}, schema_overrides={"time": pl.Datetime("us")}
    )
    covers = {f"new{n}": [(START + timedelta(hours=low), START + timedelta(hours=high))]
              for n, (low, high) in enumerate(spans)}  # fmt: skip
    pairs = pl.DataFrame({"older": ["old"] * len(spans), "newer": list(covers), "holds": [True] * len(spans)})
    gone = [hour for hour, out in zip(hours, editions.superseded(rows, pairs, covers), strict=True) if out]
    assert gone == [1, 2, 5]  # a span ends before its last time
    assert not editions.superseded(rows, pairs.with_columns(holds=False), covers).any()
