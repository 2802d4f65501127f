"""What was not read is told, and nothing that needs it is shown as good: four shops whose sheets lack something."""

from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from analysis.review import review
from analysis.studies.people.first_work import tech_rows
from analysis.studies.rework import rework
from analysis.studies.rework.savings import saving_rows
from analysis.studies.story import unread as study
from analysis.studies.story.story import story
from analysis.studies.story.unread import unread
from analysis.studies.week.weeks import week_rows
from dashboard import numbers
from dashboard.sentences import findings as sentences
from dashboard.sentences import shared
from dashboard.sentences import unread as words
from dashboard.sentences import week as week_words
from ingest.shopfiles.shop_parts import Log
from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW, SHOP, log

SPECS = "characteristic,position,family,model,stage,supplier,target,lower,upper,unit,from_date,agreed_on,note\n"
COLUMNS = (
    "serial",
    "model",
    "stage",
    "tech",
    "started_at",
    "outcome",
    "sent_back_to",
    "relief (mm)",
    "action bass (mm)",
)
STAGES = ("neck_straightening", "play_test", "final_inspection", "packing")


def shop_of(
    tmp_path: Path,
    *,
    without: tuple[str, ...] = (),
    renamed: dict[str, str] | None = None,
    more: str = "",
    sent: str = "send back",
    at: str = "final_inspection",
) -> Snapshot:
    """A shop of forty instruments, one in eight sent back at play test, whose sheet lacks some columns. sent : its
    outcome.  at : the stage at which it is measured.
    """
    tmp_path.mkdir(exist_ok=True)
    minutes = SHOP.replace('key = "neck_straightening"', 'key = "neck_straightening"\nminutes = 9')
    for stage, planned in (("play_test", 6), ("final_inspection", 4), ("packing", 3)):
        minutes = minutes.replace(f'key = "{stage}"\n', f'key = "{stage}"\nminutes = {planned}\n')
    (tmp_path / "shop.toml").write_text(
        minutes.replace('timezone = "Europe/Dublin"', 'timezone = "Europe/Dublin"\nlabour_per_hour = 30') + more
    )
    (tmp_path / "specs.csv").write_text(
        SPECS + ("" if "limits" in without else "relief,,,,,,0.2,0.1,0.3,mm,,,\naction,,,,,,2.4,2.0,2.8,mm,,,\n")
    )
    kept = [name for name in COLUMNS if name not in without]
    rows = []
    for number in range(40):
        day = 2 + number // 10
        visits = list(STAGES)
        if number % 8 == 0:
            visits = ["neck_straightening", "play_test", *STAGES]
        for hour, stage in enumerate(visits):
            back = number % 8 == 0 and hour == 1
            cell = {
                "serial": f"S{number:03}", "model": "LARK-25", "stage": stage, "tech": "T01" if number % 2 else "T02",
                "started_at": f"2026-03-{day:02} {8 + hour:02}:{number % 10:02}",
                "outcome": sent if back else "pass", "sent_back_to": "neck_straightening" if back else "",
                "relief (mm)": "0.2" if stage == at else "",
                "action bass (mm)": f"2.{3 + number % 3}" if stage == at else "",
            }  # fmt: skip
            rows.append(",".join(cell[name] for name in kept))
    header = ",".join((renamed or {}).get(name, name) for name in kept)
    [came] = load(tmp_path, [log(tmp_path, "week.csv", rows, header)], now=NOW)
    assert came.outcome == "loaded"
    return open_snapshot(tmp_path)


def said(snapshot: Snapshot, page: str = "week") -> str:
    return "\n".join(words.lines(snapshot.once(unread), snapshot.shop, page))


def test_where_all_was_read_nothing_is_said(tmp_path):
    snapshot = shop_of(tmp_path, more="")
    told = snapshot.once(unread)
    assert told.filter(~pl.col("what").is_in(["stage"])).is_empty()
    assert week_rows(snapshot)["never_sent_back"].to_list() == [35 / 40]
    assert dict(rework.stages(snapshot).select("stage", "caused_here").iter_rows())["neck_straightening"] == 5


def test_without_an_outcome_column_no_yield_and_no_send_back_stands(tmp_path):
    snapshot = shop_of(tmp_path, without=("outcome", "sent_back_to"))
    assert said(snapshot).startswith("Outcomes are not read: no column says how any of 170 visits ended.")
    weeks = week_rows(snapshot)
    for name in ("rolled_yield", "never_sent_back", "loop_minutes", "loop_cost"):
        assert weeks[name].to_list() == [None], name
    stages = rework.stages(snapshot)
    for name in ("yield_caught", "yield_caused", "caught_here", "caused_here", "loop_minutes", "loop_cost"):
        here = stages.filter(pl.col("visits") > 0)[name]
        assert here.null_count() == len(here), name
    for rows in (rework.send_backs(snapshot), saving_rows(snapshot)):  # not empty, which would say that none came back
        told = rows.select(pl.selectors.numeric())
        assert (rows.height, told.null_count().sum_horizontal().item()) == (1, told.width)
    assert weeks["finished"].to_list() == [None]
    techs = tech_rows(snapshot)
    for name in ("charged", "expected", "ratio", "ratio_low", "ratio_high", "outside_funnel"):
        assert techs[name].null_count() == len(techs) > 0, name
    found = review(snapshot)
    assert sentences.headline(found, snapshot.shop).startswith("Not read: outcomes.")
    finished, straight, _ = shared.normal(found, snapshot.shop)
    assert (finished[1], straight[1]) == ("not read", "not read")
    assert "%" not in straight[2]
    assert ("not read", "finished this week") in week_words.on_the_bench(found)
    assert week_words.nothing_shipped(found, snapshot.shop).startswith("Not read")


def test_where_no_stream_can_be_judged_no_signal_is_counted(tmp_path):
    text = "\n[judging]\nleast_readings = 60\nbaseline_readings = 100\n"
    snapshot = shop_of(tmp_path, more=text)
    assert week_rows(snapshot)["signals_opened"].to_list() == [None]
    _, figure, say = shared.normal(review(snapshot), snapshot.shop)[2]
    assert figure == numbers.NONE
    assert say == "Nothing could be judged: no series has 60 readings and a spread yet."


def test_where_a_stream_can_be_judged_its_signals_are_counted(tmp_path):
    assert week_rows(shop_of(tmp_path))["signals_opened"].to_list() == [0]


def test_without_causes_no_stage_is_called_free_of_them(tmp_path):
    snapshot = shop_of(tmp_path, without=("sent_back_to",))
    assert "Causes are not read" in said(snapshot, "rework")
    stages = rework.stages(snapshot)
    bench = stages.filter(pl.col("stage").is_in(STAGES))
    assert bench["yield_caused"].null_count() == bench["caused_here"].null_count() == 4
    assert bench["yield_caught"].null_count() == 0
    unknown = stages.filter(pl.col("stage") == "unknown").row(0, named=True)
    assert unknown["caused_here"] == 5
    assert stages["caused_here"].sum() == rework.send_backs(snapshot)["count"].sum()
    assert tech_rows(snapshot)["charged"].null_count() == tech_rows(snapshot).height


def test_an_outcome_that_says_where_work_went_tells_causes(tmp_path):
    snapshot = shop_of(tmp_path, without=("sent_back_to",), sent="send back: neck_straightening")
    assert "Causes are not read" not in said(snapshot, "rework")
    assert dict(rework.stages(snapshot).select("stage", "caused_here").iter_rows())["neck_straightening"] == 5


def test_without_limits_nothing_is_called_inside(tmp_path):
    snapshot = shop_of(tmp_path, without=("limits",))
    assert "Relief: no limits in specs.csv; 40 readings are held against none." in said(snapshot, "capability")
    assert review(snapshot).outside.is_empty()


def test_where_rows_of_whole_instruments_are_read_at_a_bench_it_is_said_where_to_say_otherwise(tmp_path):
    snapshot = shop_of(tmp_path, at="neck_straightening")
    logs = (Log(files="*.csv", shape="instrument"),)
    snapshot = replace(snapshot, shop=snapshot.shop.model_copy(update={"logs": logs}))
    told = snapshot.once(unread).filter(pl.col("what") == study.JUDGED)
    assert told.select("key", "cells", "of").rows() == [("neck_straightening", 90, 90)]
    for page in ("week", "capability", "bench"):
        assert "limits are held at final inspection, and all readings stand at neck straightening" in said(
            snapshot, page
        )
    assert "limits are held at" not in said(snapshot, "drift")


def test_where_rows_say_at_which_bench_they_were_read_nothing_is_advised_and_the_week_says_it_last(tmp_path):
    snapshot = shop_of(tmp_path, at="neck_straightening")
    told = snapshot.once(unread)
    assert told.filter(what=study.LAST).select("key", "cells", "of").rows() == [("neck_straightening", 90, 90)]
    before, behind = words.first_and_later(told, snapshot.shop)
    assert before == []
    assert behind == [
        "Nothing is judged as it leaves: readings stand at neck straightening, and none at final inspection or a play "
        "test."
    ]
    assert words.first_and_later(told, snapshot.shop, "capability") == (behind, [])


def test_a_bench_that_is_reached_only_by_send_backs_is_asked_to_be_one_of_repairs(tmp_path):
    """Four stages, of which the first is only done where the play test asks for it."""
    snapshot = shop_of(tmp_path)
    held = snapshot.once(story)
    stray = pl.col("stage") == "neck_straightening"
    first = pl.col("pass_no") == 1
    asked = held.visits.filter(~stray | pl.col("loop").is_not_null())  # their first visit there was never made
    told = replace(held, visits=asked.with_columns(pass_no=pl.when(stray).then(1).otherwise("pass_no")))
    assert study._repairs(snapshot, told) == []  # five instruments are too few to say so
    many = replace(told, visits=pl.concat([told.visits] * 2))
    assert study._repairs(snapshot, many) == [(study.REPAIRS, "neck_straightening", 10, 10, 1)]
    some = replace(held, visits=pl.concat([held.visits.filter(first)] * 2))
    assert study._repairs(snapshot, some) == []
    row = dict(zip(study.UNREAD, (study.REPAIRS, "neck_straightening", 10, 10, 1), strict=True))
    assert words.line(row, snapshot.shop).replace("\u00a0", " ") == (
        "Instruments come to neck straightening (10 of 10) only when they are sent back to it, and the first work "
        'there counts as nobody\'s rework: role = "repair" in its [[stage]] says so.'
    )


def test_where_some_readings_are_of_a_play_test_all_are_judged_there(tmp_path):
    told = shop_of(tmp_path, at="play_test").once(unread)
    assert study.JUDGED not in told["what"].to_list()


def test_a_characteristic_that_nobody_mapped_is_named_with_its_cells(tmp_path):
    snapshot = shop_of(tmp_path, renamed={"action bass (mm)": "Saitenlage"})
    told = said(snapshot, "drift")
    assert "Action: not read; no column tells it." in told
    assert "Saitenlage: 40 cells not read; nobody has said what the column is." in told
    assert sentences.headline(review(snapshot), snapshot.shop).startswith("Not read: action.")


@pytest.mark.parametrize(("meaning", "said_so"), [("other", False), ("not said", True)])
def test_a_column_kept_as_text_on_purpose_is_no_loss_and_one_nobody_has_said_is(tmp_path, meaning, said_so):
    kind = f'\n[[log]]\nname = "week"\nfiles = "*.csv"\nheadings = {{ "Saitenlage" = "{meaning}" }}\n'
    snapshot = shop_of(tmp_path, renamed={"action bass (mm)": "Saitenlage"}, more=kind)
    field = snapshot.table("columns").filter(pl.col("heading") == "Saitenlage")["field"].to_list()
    assert field == ["other" if said_so else "text"]
    assert ("nobody has said what the column is" in said(snapshot)) == said_so


def test_cells_that_could_not_be_read_are_counted(tmp_path):
    snapshot = shop_of(tmp_path, renamed={"action bass (mm)": "action bass (in)"})
    assert "Action: 40 cells not read." in said(snapshot)


def test_a_stage_without_minutes_has_no_cost_and_says_so(tmp_path):
    snapshot = shop_of(tmp_path)
    text = (tmp_path / "shop.toml").read_text()
    (tmp_path / "shop.toml").write_text("\n".join(line for line in text.splitlines() if not line.startswith("minutes")))
    snapshot = open_snapshot(tmp_path)
    assert "neck_straightening" in said(snapshot, "rework").lower().replace(" ", "_")
    assert rework.stages(snapshot).filter(pl.col("visits") > 0)["minutes"].null_count() == 4
    assert week_rows(snapshot)["loop_cost"].to_list() == [None]


@pytest.mark.parametrize("without", [("outcome", "sent_back_to"), ("sent_back_to",), ("limits",)])
def test_every_page_says_it_before_anything_else_and_week_what_takes_nothing_from_it_below(tmp_path, without):
    from dashboard.app import make_app
    from dashboard.desk.desk import Desk
    from dashboard.pages import unread as page

    shop_of(tmp_path, without=without)
    make_app(Desk(tmp_path))
    touched = [name for name in words.TOUCHES if page.strip(name) is not None]
    assert ("week" in touched) == (without != ("sent_back_to",))
    assert (page.behind("week") is not None) == (without == ("sent_back_to",))
    assert {"rework", "bench"} <= set(touched) or without == ("limits",)


def test_where_only_final_inspections_outcomes_are_unread_nobody_is_said_to_have_never_come_back(tmp_path):
    (tmp_path / "shop.toml").write_text(SHOP)
    head = "serial,model,stage,tech,started_at"
    benches = [
        f"S{n},LARK-25,{stage},T01,2026-03-02 0{hour}:1{n},pass"
        for n in range(8)
        for hour, stage in ((8, "neck_straightening"), (9, "play_test"))
    ]
    finals = [f"S{n},LARK-25,final_inspection,T02,2026-03-02 10:1{n}" for n in range(8)]
    logs = [log(tmp_path, "bench.csv", benches, f"{head},outcome"), log(tmp_path, "final.csv", finals, head)]
    assert [came.outcome for came in load(tmp_path, logs, now=NOW)] == ["loaded", "loaded"]
    snapshot = open_snapshot(tmp_path)
    assert week_rows(snapshot)["judged"].to_list() == [8]
    assert week_rows(snapshot)["never_sent_back"].to_list() == [None]
    assert week_rows(snapshot)["rolled_yield"].to_list() == [None]
    _, figure, say = shared.normal(review(snapshot), snapshot.shop)[1]
    assert figure == "not read"
    assert "%" not in say


def test_the_papers_say_first_what_was_not_read(tmp_path):
    from dashboard.app import make_app
    from dashboard.desk.desk import Desk
    from dashboard.papers import bench, necks

    shown = '\n[people]\nshow = "codes"\n[[tech]]\nkey = "T01"\n'
    shown += '[[characteristic]]\nkey = "neck_bow"\nquantity = "length"\n'
    shop_of(tmp_path, without=("outcome", "sent_back_to"), more=shown)
    rows = [f"N{n},LARK-25,receiving,2026-03-02 08:{n:02},Acme,A1,0.1" for n in range(9)]
    head = "serial,model,stage,started_at,supplier,lot,neck_bow (mm)"
    [came] = load(tmp_path, [log(tmp_path, "necks.csv", rows, head)], now=NOW)
    assert came.outcome == "loaded"
    make_app(Desk(tmp_path))
    for _, html in (bench.paper("T01"), necks.paper("Acme")):
        before = html.partition('<section class="unread">')[2].partition("</section>")[0]
        assert "Outcomes are not read: no column says how any of 179 visits ended." in before
    assert "Neck bow: no limits in specs.csv; 9 readings" in before


def test_a_stage_that_only_send_backs_name_is_not_missed_where_every_sheet_is_of_one_stage(tmp_path):
    snapshot = shop_of(tmp_path / "shop")

    def missed(*stages):
        logs = tuple(Log(files=f"{k}.csv", stage=stage) for k, stage in enumerate(stages))
        return study._stages(replace(snapshot, shop=snapshot.shop.model_copy(update={"logs": logs})), told)

    told = snapshot.once(story)
    told = replace(told, visits=told.visits.filter(pl.col("stage") == "final_inspection"))
    every = {key for _, key, *_ in missed("")}  # any stage may stand in its column
    assert {"play_test", "packing"} <= every
    assert {key for _, key, *_ in missed("final_inspection", "play_test")} == {"play_test"}


@pytest.mark.parametrize(("missing", "told"), [(1, []), (2, [("final_inspection", 2, 40)])])
def test_a_few_visits_without_minutes_are_not_worth_a_line(tmp_path, missing, told):
    snapshot = shop_of(tmp_path / "shop")
    visits = snapshot.once(story).visits.filter(pl.col("stage") == "final_inspection").head(40)
    assert len(visits) == 40
    minutes = pl.Series([0.0] * missing + [4.0] * (40 - missing))
    held = replace(snapshot.once(story), visits=visits.with_columns(minutes=minutes, minutes_from=pl.lit("planned")))
    rows = study._minutes(snapshot, held)
    assert [(key, cells, of) for _, key, cells, of, _ in rows] == told


BOOK = '\n[[log]]\nname = "book"\nshape = "instrument"\n'
WHOLE_ROWS = (
    "serial,model,date @ neck_straightening,tech @ neck_straightening,date @ final_inspection,{},"
    "relief (mm) @ final_inspection"
)


def book_of(folder: Path, result: str) -> Snapshot:
    """A book of a row an instrument with benches of which only one has a result."""
    folder.mkdir()
    (folder / "shop.toml").write_text(SHOP + BOOK)
    rows = [f"S{n},LARK-25,2026-03-{2 + n // 10:02},T01,2026-03-{3 + n // 10:02},pass,0.2" for n in range(40)]
    [came] = load(folder, [log(folder, "book.csv", rows, WHOLE_ROWS.format(result))], now=NOW)
    assert came.outcome == "loaded"
    return open_snapshot(folder)


def test_a_row_an_instrument_with_a_result_at_its_end_leaves_nothing_unread_of_its_benches(tmp_path):
    told = book_of(tmp_path / "book", "outcome @ final_inspection")
    assert told.once(unread).filter(pl.col("what").is_in([study.OUTCOMES, study.STAGE])).is_empty()
    assert "Outcomes" not in said(told)
    assert "No row read of" not in said(told)  # play test and packing have no column of this book
    assert "The sheets have no result at neck straightening" in said(told, "rework")


def test_a_result_before_the_end_tells_nothing_of_what_comes_after(tmp_path):
    assert "Outcomes are not read at final inspection" in said(
        book_of(tmp_path / "book", "outcome @ neck_straightening")
    )


def test_before_any_log_is_loaded_nothing_is_said_to_be_unread(tmp_path):
    (tmp_path / "shop.toml").write_text(SHOP)
    assert open_snapshot(tmp_path).once(unread).is_empty()
