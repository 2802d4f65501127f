"""Cards as files: a row once whatever is sent twice or cut short, undone rows kept aside, one log a bench and day."""

from datetime import UTC, date, datetime
from multiprocessing import get_context

import polars as pl
import pytest

from ingest.reading import card_sheet
from ingest.store.store import open_snapshot
from ingest.verbs import cards, check, forget, load
from tests.ingest.bench import SHOP
from tests.ingest.small_shop import small_shop

DAY = date(2026, 3, 2)
NOW = datetime(2026, 3, 2, 18, tzinfo=UTC)
HEAD = card_sheet.header(small_shop())


def row(number, **given):
    usual = {
        "serial": f"A{number}",
        "model": "LARK-25",
        "stage": "final_inspection",
        "started_at": f"2026-03-02T10:{number:02d}:00+00:00",
        "finished_at": f"2026-03-02T10:{number:02d}:40+00:00",
        "outcome": "pass",
        "card": f"card-{number}",
        "relief": "8 thou",
        "action bass": "6.5/64 in",
    }
    return usual | given


def kept(folder, bench="bench 2"):
    return [each["card"] for _, each in cards.rows_since(folder, DAY) if each]


def test_a_card_sent_twice_is_written_once(tmp_path):
    assert cards.keep(tmp_path, DAY, "bench 2", HEAD, row(1))
    assert not cards.keep(tmp_path, DAY, "bench 2", HEAD, row(1))
    assert cards.keep(tmp_path, DAY, "bench 2", HEAD, row(2))
    assert kept(tmp_path) == ["card-1", "card-2"]


def test_a_line_cut_short_by_a_kill_is_no_row_and_does_not_spoil_the_next(tmp_path):
    cards.keep(tmp_path, DAY, "bench 2", HEAD, row(1))
    (path,) = cards.sheets(tmp_path)
    whole = path.read_bytes()
    for cut in (1, 5, 40):
        path.write_bytes(whole + card_sheet.line(HEAD, row(2))[:cut])
        assert kept(tmp_path) == ["card-1"]
    assert cards.keep(tmp_path, DAY, "bench 2", HEAD, row(2))
    assert path.read_bytes() == whole + card_sheet.line(HEAD, row(2))


def test_an_undone_card_leaves_its_sheet_and_stays_in_the_folder(tmp_path):
    for number in (1, 2, 3):
        cards.keep(tmp_path, DAY, "bench 2", HEAD, row(number))
    gone = cards.undo(tmp_path, DAY, "bench 2", "card-2", now=NOW)
    assert gone is not None
    assert gone["serial"] == "A2"
    assert kept(tmp_path) == ["card-1", "card-3"]
    assert "card-2" in (tmp_path / "cards" / cards.UNDONE).read_text()
    assert cards.undo(tmp_path, DAY, "bench 2", "card-9", now=NOW) is None


def test_an_undo_whose_answer_was_lost_is_answered_again_and_a_card_that_comes_late_stays_undone(tmp_path):
    cards.keep(tmp_path, DAY, "bench 2", HEAD, row(1, note='the player\'s own, "as is"'))
    first = cards.undo(tmp_path, DAY, "bench 2", "card-1", now=NOW)
    assert cards.undo(tmp_path, DAY, "bench 2", "card-1", now=NOW) == first
    assert not cards.keep(tmp_path, DAY, "bench 2", HEAD, row(1))
    assert kept(tmp_path) == []


def test_a_sheet_that_grows_all_day_keeps_one_original(tmp_path):
    (tmp_path / "shop.toml").write_text(SHOP)
    for number in range(1, 5):
        cards.keep(tmp_path, DAY, "bench 2", HEAD, row(number))
        cards.take_in(tmp_path, now=NOW)
    kept_files = [path.name for path in (tmp_path / "originals").iterdir()]
    assert len(kept_files) == 2  # the newest, and the note beside it
    assert open_snapshot(tmp_path).table("visits").height == 4
    assert all(one.whole for one in check.check(tmp_path, now=NOW))
    load.unload(tmp_path, cards.sheets(tmp_path)[0].name, now=NOW)
    cards.take_in(tmp_path, now=NOW)
    assert open_snapshot(tmp_path).table("visits").height == 4


def test_new_columns_during_the_day_begin_another_sheet(tmp_path):
    cards.keep(tmp_path, DAY, "bench 2", HEAD, row(1))
    cards.keep(tmp_path, DAY, "bench 2", [*HEAD, "nut width"], row(2))
    assert [path.name for path in cards.sheets(tmp_path)] == [
        "card_2026-03-02_bench-2.csv",
        "card_2026-03-02_bench-2_2.csv",
    ]
    assert not cards.keep(tmp_path, DAY, "bench 2", [*HEAD, "nut width"], row(1))


def test_benches_have_names_of_their_own(tmp_path):
    cards.keep(tmp_path, DAY, "Bank 1/ä", HEAD, row(1))
    (path,) = cards.sheets(tmp_path)
    assert path.name == "card_2026-03-02_bank-1.csv"
    assert not card_sheet.is_card(cards.UNDONE)


def _keep_many(folder, bench, numbers):
    for number in numbers:
        cards.keep(folder, DAY, bench, HEAD, row(number))


def test_two_programs_that_write_at_once_lose_nothing(tmp_path):
    context = get_context("spawn")
    workers = [context.Process(target=_keep_many, args=(tmp_path, "bench 2", range(k, 40, 2))) for k in (0, 1)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
        assert worker.exitcode == 0
    assert sorted(kept(tmp_path)) == sorted(f"card-{number}" for number in range(40))


def shop_in(folder):
    (folder / "shop.toml").write_text(SHOP)
    return folder


def test_the_days_sheet_is_loaded_as_any_log_and_grows_in_its_place(tmp_path):
    folder = shop_in(tmp_path)
    cards.keep(folder, DAY, "bench 2", HEAD, row(1))
    (became,) = cards.take_in(folder, now=NOW)
    assert became.outcome == "loaded"
    cards.keep(folder, DAY, "bench 2", HEAD, row(2, relief="9 thou"))
    cards.take_in(folder, now=NOW)
    assert cards.take_in(folder, now=NOW) == []
    snapshot = open_snapshot(folder)
    assert sorted(snapshot.table("visits")["serial"]) == ["A1", "A2"]
    relief = snapshot.table("readings").filter(pl.col("characteristic") == "relief").sort("serial")
    assert relief["value"].to_list() == [8 * 0.0254, 9 * 0.0254]
    action = snapshot.table("readings").filter(pl.col("characteristic") == "action")
    assert set(action["value"]) == {6.5 * 25.4 / 64}
    assert snapshot.table("set_aside").is_empty()
    assert snapshot.table("logs")["name"].to_list() == ["card_2026-03-02_bench-2.csv"]
    cards.undo(folder, DAY, "bench 2", "card-1", now=NOW)
    cards.take_in(folder, now=NOW)
    assert open_snapshot(folder).table("visits")["serial"].to_list() == ["A2"]
    assert [one for one in check.check(folder, now=NOW) if not one.whole] == []


def test_a_card_sheet_reads_the_same_by_hand_whatever_kinds_of_log_the_shop_has(tmp_path):
    odd = '[[log]]\nname = "odd"\nfiles = "*.csv"\ndate_order = "dmy"\ndecimal = ","\nshape = "instrument"\n'
    (tmp_path / "shop.toml").write_text(SHOP + odd)
    cards.keep(tmp_path, DAY, "bench 2", HEAD, row(1, **{"action bass left": "6/64 in", "outcome": "fixed"}))
    (became,) = load.load(tmp_path, cards.sheets(tmp_path), now=NOW)
    assert became.outcome == "loaded"
    readings = open_snapshot(tmp_path).table("readings").filter(pl.col("characteristic") == "action")
    told = dict(readings.select("moment", "value").iter_rows())
    assert told == {"found": pytest.approx(6.5 * 25.4 / 64), "left": pytest.approx(6 * 25.4 / 64)}


def test_a_forgotten_name_leaves_the_cards_too_and_does_not_come_back(tmp_path):
    folder = shop_in(tmp_path)
    cards.keep(folder, DAY, "bench 2", HEAD, row(1, tech="Marlowe Quist"))
    cards.keep(folder, DAY, "bench 2", HEAD, row(2, tech="T02"))
    cards.undo(folder, DAY, "bench 2", "card-1", now=NOW)
    cards.keep(folder, DAY, "bench 2", HEAD, row(3, tech="Marlowe Quist"))
    cards.take_in(folder, now=NOW)
    forget.forget(folder, "Marlowe Quist", now=NOW)
    assert not [path for path in folder.rglob("*") if path.is_file() and b"Marlowe" in path.read_bytes()]
    assert cards.take_in(folder, now=NOW) == []
    assert sorted(open_snapshot(folder).table("visits")["serial"]) == ["A2", "A3"]


def test_checks_of_a_gauge_are_read_back_and_a_spoilt_line_is_passed_over(tmp_path):
    cards.check_gauge(tmp_path, "rule", 2.38125, "T01", now=NOW)
    with (tmp_path / "cards" / cards.CHECKS).open("ab") as file:
        file.write(b"yesterday,rule,about,\n")
    assert cards.gauge_checks(tmp_path) == [(NOW, "rule", 2.38125)]
