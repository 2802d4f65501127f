"""What an unknown word is taken for: by its letters, and by where it stands in the stories of its instruments."""

from datetime import UTC, datetime

import polars as pl
import pytest

from ingest.terms import tables
from ingest.verbs import guessed_words as module
from ingest.verbs.groups import Group
from ingest.verbs.guessed_words import guessed_words, nearest_keys
from tests.ingest.small_shop import small_shop

SHOP = small_shop()
KNOWN = {
    "nut slotting": "nut_slotting",
    "play test": "play_test",
    "final inspection": "final_inspection",
    "rest": "rest",
}


@pytest.mark.parametrize(
    ("typed", "key", "apart"),
    [
        ("play test", "play_test", 0.0),
        ("paly test", "play_test", 1 / 9),  # a transposition is one letter
        ("nut", "nut_slotting", 0.02),  # a part counts too, a little less
        ("slotting", "nut_slotting", 0.02),
        ("slot", "nut_slotting", 0.3),  # the beginning of a part
        ("fin", "final_inspection", 0.3),
        ("insp", "final_inspection", 0.3),
        ("rset", "rest", 0.25),
        ("p", "play_test", None),  # one letter begins too many words
    ],
)
def test_keys_come_near_by_the_share_of_letters_that_differ(typed, key, apart):
    found = {key: apart for apart, key in nearest_keys(typed, KNOWN)}
    assert found.get(key) == (None if apart is None else pytest.approx(apart))


def test_three_keys_at_most_the_nearest_first_and_none_that_differs_by_more_than_half():
    known = {"abcd": "one", "abce": "two", "abff": "three", "affe": "four", "abcde": "one"}
    assert [key for _, key in nearest_keys("abcd", known)] == ["one", "two", "three"]
    assert nearest_keys("ab", {"abcd": "half"}) == [(pytest.approx(0.3), "half")]  # a beginning comes nearer still
    assert nearest_keys("xbcd", {"abcd": "one", "ab": "far", "xbzz": "half"}) == [(0.25, "one"), (0.5, "half")]


def hour(at):
    return datetime(2026, 3, 2, at, tzinfo=UTC)


class Snapshot:
    """A store with these visits (serial, stage, model, hour) and one log."""

    shop, shop_files = SHOP, ""

    def __init__(self, *visits):
        rows = [(serial, stage, model, hour(at), None) for serial, stage, model, at in visits]
        schema = {
            "serial": pl.String,
            "stage": pl.String,
            "model": pl.String,
            "started_at": tables.TIME,
            "finished_at": tables.TIME,
        }
        self.visits = pl.DataFrame(rows, schema=schema, orient="row")

    def table(self, name, *columns):
        if name == "logs":
            return pl.DataFrame({"log_id": ["L1"], "name": ["a.csv"]})
        return self.visits.select(columns)


def group(typed, lines, field="stage"):
    return Group(f"{field} {typed}", "means", field, field, typed, "", tuple(("L1", line, field) for line in lines), "")


@pytest.fixture
def taken(monkeypatch, tmp_path):
    """Ask what groups are taken for; rows: line -> (serial, hour)."""

    def ask(groups, rows, *visits):
        def rows_read(_folder, _log_id, _name, _shop, lines):
            return [
                {"line": line, "serial": serial, "started_at": None if at % 2 else hour(at), "finished_at": hour(at)}
                for line, (serial, at) in rows.items()
                if line in lines
            ]

        monkeypatch.setattr(module, "rows_read", rows_read)
        monkeypatch.setattr(module, "explained", lambda _snapshot: [])
        return guessed_words(groups, SHOP, Snapshot(*visits), tmp_path)

    return ask


def of(one):
    return one.guess, one.fits, one.of, one.sure


BETWEEN = [("A1", "nut_slotting", "LARK-25", 8), ("A1", "final_inspection", "LARK-25", 14)]
ROW = {2: ("A1", 10)}


def test_a_stage_that_lies_between_its_neighbours_in_time_is_borne_out(taken):
    (one,) = taken([group("paly test", [2])], ROW, *BETWEEN)
    assert of(one) == ("play_test", 1, 1, True)
    assert one.choices[0] == "play_test"
    assert set(one.choices) == {stage.key for stage in SHOP.stages}


@pytest.mark.parametrize(
    ("visits", "fits"),
    [
        (BETWEEN, 1),
        ([("A1", "play_test", "LARK-25", 8)], 0),  # it was there before
        ([("A1", "play_test", "LARK-25", 14)], 0),  # and it will be
        ([("A1", "final_inspection", "LARK-25", 8)], 0),  # what comes later came before
        ([("A1", "nut_slotting", "LARK-25", 14)], 0),  # what comes first came after
        ([("A1", "play_test", "LARK-25", 10)], 1),  # at the same time: nobody can say
        ([], 0),  # nothing is known of the instrument
        ([("B9", "nut_slotting", "LARK-25", 8)], 0),
    ],
)
def test_a_stage_is_contradicted_by_what_the_instrument_met_before_and_after(taken, visits, fits):
    (one,) = taken([group("paly test", [2])], ROW, *visits)
    assert of(one) == ("play_test", fits, 1, bool(fits))


def test_nine_rows_of_ten_must_bear_a_guess_out(taken):
    visits = [(f"A{n}", "nut_slotting", "LARK-25", 8) for n in range(10)]
    rows = {n: (f"A{n}", 10) for n in range(10)}
    (one,) = taken([group("paly test", range(10))], rows, *visits, ("A3", "packing", "LARK-25", 9))
    assert of(one) == ("play_test", 9, 10, True)
    spoilt = [("A3", "packing", "LARK-25", 9), ("A4", "packing", "LARK-25", 9)]
    (one,) = taken([group("paly test", range(10))], rows, *visits, *spoilt)
    assert of(one) == ("play_test", 8, 10, False)


def test_of_two_that_come_near_the_story_decides_and_where_it_cannot_the_nearer_if_it_is_clear(taken):
    known = nearest_keys("rest", {"rest": "rest", "play test": "play_test"})
    assert known[0][1] == "rest"
    story = [("A1", "play_test", "LARK-25", 8), ("A1", "final_inspection", "LARK-25", 14)]
    (one,) = taken([group("tests", [2])], ROW, *story)  # play_test or rest: it has been at the play test
    assert of(one) == ("rest", 1, 1, True)
    (one,) = taken([group("tests", [2])], ROW, ("A1", "nut_slotting", "LARK-25", 8))
    assert one.guess == "play_test"  # both fit
    assert (one.fits, one.of) == (1, 1)


def test_a_model_is_borne_out_where_no_visit_names_another(taken):
    for model, fits in (("LARK-25", 1), ("", 1), ("DRAY-5", 0)):
        (one,) = taken([group("LARK25", [2], "model")], ROW, ("A1", "nut_slotting", model, 8))
        assert of(one)[:3] == ("LARK-25", fits, 1), model
    (one,) = taken([group("LARK25", [2], "model")], ROW)
    assert of(one) == ("LARK-25", 0, 1, False)
    families = {"new: tenor ukulele", "new: banjo", "new:"}
    assert set(one.choices) == {"LARK-25", "LARK-40", "DRAY-5"} | families


def test_a_result_is_guessed_by_its_letters_alone(taken):
    (one,) = taken([group("psas", [2], "outcome")], ROW, *BETWEEN)
    assert (one.guess, one.sure) == ("pass", True)
    (one,) = taken([group("pa", [2], "outcome")], ROW, *BETWEEN)
    assert (one.guess, one.sure) == ("pass", False)
    assert set(one.choices) >= {"pass", "fixed", "send back", "hold", "second", "reject", "pulled", "return", "open"}


def test_a_word_near_nothing_has_no_guess_and_all_choices(taken):
    (one,) = taken([group("zzzzzz", [2])], ROW, *BETWEEN)
    assert (of(one), one.choices) == (("", 0, 0, False), tuple(stage.key for stage in SHOP.stages))


def test_nothing_is_looked_at_where_nothing_is_asked(taken):
    assert taken([], {}) == []


def test_forty_logs_at_most_are_read_again(monkeypatch, tmp_path):
    read = []
    monkeypatch.setattr(module, "rows_read", lambda _folder, log_id, *_: read.append(log_id) or [])
    monkeypatch.setattr(module, "explained", lambda _snapshot: [])
    rows = tuple((f"L{n}", 2, "stage") for n in range(50))
    one = Group("k", "means", "stage", "stage", "paly test", "", rows, "")
    guessed_words([one], SHOP, Snapshot(*BETWEEN), tmp_path)
    assert read == [f"L{n}" for n in range(40)]


def test_several_words_of_one_log_are_told_each_by_their_own_rows(taken):
    rows = {2: ("A1", 10), 3: ("A2", 10)}
    visits = [*BETWEEN, ("A2", "play_test", "LARK-25", 8)]
    one, other = taken([group("paly test", [2]), group("play tset", [3])], rows, *visits)
    assert (of(one), of(other)[:3]) == (("play_test", 1, 1, True), ("play_test", 0, 1))


CELLS = ["serial,stage,date,model", "A1,paly  test,2026-03-02,LARK-25", 'A2,"R""set",2026-03-02,LARK-25']
WORDS = [("stage", typed, "play_test") for typed in ("paly test", "PALY TEST", 'r"set', "rest", "test 2026")]


@pytest.mark.parametrize(
    ("data", "standing"),
    [
        ("\n".join(CELLS).encode(), WORDS[:3]),
        ("\n".join(CELLS).encode("utf-8-sig"), WORDS[:3]),
        ("\n".join(CELLS).encode("utf-16"), WORDS),  # it cannot be told which stand in it
        ("\n".join(CELLS).encode("utf-16-le"), WORDS),
        ("\n".join([*CELLS, "Ñ"]).encode("cp1252"), WORDS),
        (b"PK\x03\x04" + "\n".join(CELLS).encode(), WORDS),
    ],
)
def test_words_stand_in_a_log_as_they_are_compared(data, standing):
    assert list(module._standing_in(data, WORDS)) == standing


@pytest.fixture
def read(monkeypatch, tmp_path):
    """A folder of two originals, what is read of them, and which logs were read."""
    logs = {"a" * 16: "A1,paly test", "b" * 16: "B1,rset"}
    calls = []

    def rows_read(_folder, log_id, _name, shop, lines):
        calls.append(log_id)
        meant = shop.logs[0].words["stage"]
        rows = [(line, meant.get(logs[log_id].partition(",")[2])) for line in sorted(lines)]
        return [{"line": line, "serial": key, "started_at": None, "finished_at": hour(line)} for line, key in rows]

    monkeypatch.setattr(module, "rows_read", rows_read)
    monkeypatch.setattr(module, "original", lambda _folder, log_id: logs.get(log_id, "").encode() or None)
    return tmp_path, logs, calls


def test_a_log_is_read_again_only_where_what_its_own_words_are_taken_for_has_changed(read):
    folder, logs, calls = read
    first, second = logs
    shop = module._Reading(folder, "as it is", (), SHOP)
    words = [("stage", "paly test", "play_test")]
    assert shop.rows(first, "a.csv", words, {2, 3}) == ((2, "play_test", hour(2)), (3, "play_test", hour(3)))
    more = [*words, ("stage", "rset", "rest")]
    assert shop.rows(first, "a.csv", more, {2, 3})[0] == (2, "play_test", hour(2))
    assert calls == [first]
    assert shop.rows(second, "b.csv", more, {2}) == ((2, "rest", hour(2)),)
    assert shop.rows(first, "a.csv", [("stage", "paly test", "rest")], {2}) == ((2, "rest", hour(2)),)
    assert calls == [first, second, first]
    for other in (
        module._Reading(folder, "otherwise", (), SHOP),
        module._Reading(folder, "as it is", (("stage", "x", "rest"),), SHOP),
    ):
        other.rows(first, "a.csv", words, {2, 3})
    shop.rows(first, "a.csv", words, {2})
    shop.rows(first, "other.csv", words, {2})
    assert calls == [first, second, *[first] * 5]


def test_what_may_change_under_the_same_name_is_read_each_time(read):
    folder, logs, calls = read
    words = [("stage", "paly test", "play_test")]
    for _ in range(2):
        module._Reading(folder, "", (), SHOP).rows(next(iter(logs)), "a.csv", words, {2})
    log_id = next(iter(logs))
    text = logs.pop(log_id)
    for _ in range(2):
        with pytest.raises(KeyError):
            module._Reading(folder, "gone", (), SHOP).rows(log_id, "a.csv", words, {2})
    logs[log_id] = text
    assert module._Reading(folder, "gone", (), SHOP).rows(log_id, "a.csv", words, {2}) == ((2, "play_test", hour(2)),)
    assert len(calls) == 5
