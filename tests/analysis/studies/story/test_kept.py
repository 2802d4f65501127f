"""The story kept beside the store is the one worked out of all rows, to the last digit and type, whatever happens to
the shop in between; what is kept may be damaged, deleted, or taken away at any time.
"""

import dataclasses
import shutil
from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from analysis.studies.story import kept, merged_readings
from analysis.studies.story.of_visits import CAUSED_BY
from analysis.studies.story.story import Story, story
from dashboard.desk.people_shown import Veil
from ingest.store import book, delta, keeping, kept_tables
from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from ingest.verbs import forget
from ingest.verbs.again import again
from ingest.verbs.backup import backup
from ingest.verbs.load import load, unload
from ingest.verbs.mend import correct
from ingest.verbs.restore import restore
from tests.ingest.bench import GROWING, NOW, log, shop

HEADER = (
    "serial,model,stage,tech,started_at,finished_at,outcome,fault,cause,sent_back_to,neck,lot,relief (mm),"
    "action bass (mm),note"
)
WIDE = "serial,model,started_at,outcome,relief (mm) @ play_test,relief (mm) @ final_inspection"
STAGES = ("receiving", "neck_straightening", "play_test", "final_inspection", "packing")
OUTCOMES = ("pass", "pass", "pass", "send back", "fixed", "reject", "hold", "")
PEOPLE = """
[[tech]]
key = "T01"
words = ["Jo Reed"]
"""


@pytest.fixture(autouse=True)
def small_shops_too(monkeypatch):
    monkeypatch.setattr(kept, "LEAST", 0)
    monkeypatch.setattr(kept_tables, "SOME", 1e9)
    monkeypatch.setattr(kept, "MOST", 1.0)
    monkeypatch.setattr(keeping, "FRESH", 1e9)


class Bench:
    """A shop to which something happens again and again."""

    def __init__(self, seed: int, folder) -> None:
        self.rng, self.folder = np.random.default_rng(seed), folder
        self.now, self.day, self.logs, self.number = NOW, 2, {}, 0
        shop(folder, GROWING + PEOPLE)
        self.happens("load")

    def rows(self, first: int, last: int, n: int, month: int = 3) -> list[str]:
        """Visits of some days, a third of them without a clock, a tenth of necks that no instrument has taken yet."""
        rng = self.rng
        made = []
        for _ in range(n):
            serial, stage = f"A{rng.integers(30)}", str(rng.choice(STAGES))
            neck = f"N{rng.integers(9)}" if rng.random() < 0.4 else ""
            if rng.random() < 0.15:
                serial, stage, neck = "", "receiving", neck or "N1"
            day = f"2026-{month:02d}-{rng.integers(first, last + 1):02d}"
            minute = int(rng.integers(0, 600))
            start = day if rng.random() < 0.3 else f"{day} {8 + minute // 60:02d}:{minute % 60:02d}"
            outcome = str(rng.choice(OUTCOMES)) if stage != "receiving" else "pass"
            fault = "open-string buzz" if outcome in ("send back", "fixed", "reject") else ""
            cells = [serial, rng.choice(["", "LARK-25", "HERON"]), stage, rng.choice(["T01", "T02", "Jo Reed", "T03"])]
            cells += [start, "", outcome, fault, rng.choice(["", "play_test", "supplier"]) if fault else ""]
            cells += [rng.choice(["", *STAGES]) if outcome == "send back" else "", neck, rng.choice(["", "L1", "L2"])]
            relief, action = (f"{rng.integers(10, 60) / 100:.2f}" for _ in range(2))
            made.append(",".join([*map(str, cells), relief if rng.random() < 0.9 else "", f"2{action[1:]}", ""]))
        return made

    def happens(self, what: str = "") -> str:
        """More logs, early ones late, one of two months later (whoever is not in it is lost from sight until it goes
        out again), newer editions, corrections, causes, logs out and in, new shop files, somebody forgotten.
        """
        rng, folder = self.rng, self.folder
        self.now += timedelta(minutes=1)
        odds = {"load": 4, "late": 2, "edition": 2, "correct": 2, "cause": 2, "unload": 1, "back": 1, "shop": 1}
        odds |= {"lots": 1, "forget": 0.4, "later": 0.7, "wide": 0.5}
        share = np.array(list(odds.values()))
        what = what or str(rng.choice(list(odds), p=share / share.sum()))
        self.number += 1
        there = [name for name in self.logs if name in set(open_snapshot(folder).table("logs")["name"])]
        if what in ("load", "late"):
            first = self.day if what == "load" else 2
            self.day = min(self.day + 2, 26) if what == "load" else self.day
            kind = ("cards", "grow", "left")[int(rng.integers(3))]
            self.logs[f"{kind}_{self.number}.csv"] = self.rows(first, min(first + 3, 28), int(rng.integers(4, 14)))
            self.loads(f"{kind}_{self.number}.csv")
        elif what == "later":
            self.logs[f"cards_{self.number}.csv"] = self.rows(20, 22, 2, month=5)
            self.loads(f"cards_{self.number}.csv")
        elif what == "wide":
            days, serials = rng.integers(2, 28, 4), rng.choice(30, 4, replace=False)
            rows = [
                f"A{one},LARK-25,2026-03-{day:02d},pass,0.2{day % 7},0.3"
                for one, day in zip(serials, days, strict=True)
            ]
            self.logs[f"wide_{self.number}.csv"] = rows
            self.loads(f"wide_{self.number}.csv")
        elif what == "edition" and there:
            name = str(rng.choice([each for each in there if not each.startswith("wide")] or [*self.logs]))
            rows = [*self.logs[name]]
            rows[int(rng.integers(len(rows)))] = self.rows(2, self.day, 1)[0]
            self.logs[f"grow_{self.number}.csv"] = rows + self.rows(self.day, self.day + 1, 2)
            self.loads(f"grow_{self.number}.csv")
        elif what == "correct" and there:
            name = str(rng.choice(there))
            line = int(rng.integers(2, 2 + len(self.logs[name])))
            column, value = (("relief (mm)", "0.33"), ("tech", "T02"), ("serial", "A3"))[int(rng.integers(3))]
            correct(folder, name, line, column, value, who="Mo", why="slip", now=self.now)
        elif what == "cause":
            loops = open_snapshot(folder).once(story).loops
            if len(loops):
                row = loops.row(int(rng.integers(len(loops))), named=True)
                about = {"serial": row["serial"], "stage": row["caught_at"], "opened_at": row["opened_at"]}
                text = str(rng.choice(["play_test", "handling", ""]))
                book.write_entry(folder, CAUSED_BY, text, "Mo", now=self.now, **about)
        elif what == "unload" and len(there) > 1:
            unload(folder, str(rng.choice(there)), now=self.now)
        elif what == "back" and self.logs:
            self.loads(str(rng.choice(list(self.logs))))
        elif what == "shop":
            path = folder / "shop.toml"
            path.write_text(path.read_text() + f'\n[[model]]\nkey = "M{self.number}"\nfamily = "tenor ukulele"\n')
            again(folder, now=self.now)
        elif what == "lots":
            (folder / "lots.csv").write_text(f"supplier,lot,received_on\nTansy,L1,2026-02-{1 + self.number % 28:02d}\n")
        elif what == "forget":
            if any("Jo Reed" in one for rows in self.logs.values() for one in rows):
                forget.forget(folder, "T01", now=self.now)
                assert not (folder / "store" / kept_tables.FOLDER).exists()
                path = folder / "shop.toml"
                path.write_text(path.read_text() if "[[tech]]" in path.read_text() else path.read_text() + PEOPLE)
            self.logs = {name: rows for name, rows in self.logs.items() if name not in there}
        return what

    def loads(self, name: str) -> None:
        load(self.folder, [log(self.folder, name, self.logs[name], header_of(name))], now=self.now)


def header_of(name: str) -> str:
    """Sheets of one kind say only what was left of relief; of action one in three says what was found."""
    kind, _, number = name.removesuffix(".csv").partition("_")
    if kind == "wide":
        return WIDE
    left = ("relief", "action bass")[: 1 + (int(number) % 3 > 0)] if kind == "left" else ()
    header = HEADER
    for each in left:
        header = header.replace(f"{each} (mm)", f"{each} left (mm)")
    return header


def tables_of(told: Story) -> dict[str, pl.DataFrame]:
    tables = {"visits": told.visits.whole(), "readings": told.readings.whole(), "marks": told.rest["marks"].whole()}
    return tables | {name: getattr(told, name) for name in ("faults", "instruments", "loops", "caused", "days")}


def same(one: Story, other: Story) -> None:
    ours, theirs = tables_of(one), tables_of(other)
    assert len(ours["marks"]) == len(ours["readings"])
    for name, rows in theirs.items():
        assert ours[name].schema == rows.schema, name
        assert_frame_equal(ours[name], rows, check_exact=True, categorical_as_str=True)


def alone(snapshot: Snapshot) -> Story:
    """The story of the same shop, of which nothing is kept."""
    return dataclasses.replace(snapshot, kept_tables=None, _kept={}, _book_kinds={}, _turns={}).once(story)


@pytest.fixture
def carried(monkeypatch):
    """How many readings stood as they were kept, each time that a story was carried on."""
    found = []
    stands = merged_readings._stands

    def counted(*asked):
        stand = stands(*asked)
        found.append((len(stand), int(stand.sum())))
        return stand

    monkeypatch.setattr(merged_readings, "_stands", counted)
    return found


def walked(bench: Bench, steps: int) -> None:
    for _ in range(steps):
        bench.happens()
        snapshot = open_snapshot(bench.folder)
        told = snapshot.once(story)
        same(told, alone(snapshot))
        same(open_snapshot(bench.folder).once(story), told)  # by what is kept now


def often(carried: list, steps: int) -> None:
    """What is never carried on tests nothing."""
    assert len(carried) >= steps // 3
    assert sum(stood for _, stood in carried) > 0.2 * sum(of for of, _ in carried)


def test_over_a_history_the_story_carried_on_is_the_one_worked_out_again(tmp_path, carried):
    walked(Bench(20270201, tmp_path / "shop"), 6)
    often(carried, 6)


@pytest.mark.long
@pytest.mark.parametrize(
    (
        "fresh",
        "files",
    ),  # over what was written whole once; now and then whole again, and the store's files put together
    [(1e9, 40), (0.3, 2)],
)
@pytest.mark.parametrize("seed", [20270202, 20270204, 20270206])
def test_over_random_histories_the_story_carried_on_is_that_of_a_store_made_again(
    seed, fresh, files, tmp_path, carried, monkeypatch
):
    monkeypatch.setattr(delta, "MANY_FILES", files)
    monkeypatch.setattr(keeping, "FRESH", fresh)
    bench = Bench(seed, tmp_path / "shop")
    for turn in range(3):
        walked(bench, 6)
        other = tmp_path / f"again {turn}"
        shutil.copytree(bench.folder, other)
        shutil.rmtree(other / "store")
        again(other, now=bench.now)
        same(open_snapshot(bench.folder).once(story), alone(open_snapshot(other)))
    often(carried, 18)


def kept_of(folder):
    return sorted((folder / "store" / kept_tables.FOLDER).glob("[!.]*"))


@pytest.fixture
def bench(tmp_path):
    return Bench(20270220, tmp_path / "shop")


def test_a_story_is_kept_for_whoever_opens_the_shop_next_and_the_one_before_it_for_a_while(bench, monkeypatch):
    told = []
    for _ in range(4):
        bench.happens("load")
        told.append(open_snapshot(bench.folder).once(story))
        assert len(kept_of(bench.folder)) <= kept_tables.TURNS
    monkeypatch.setattr(kept, "_worked_out", lambda _: pytest.fail("worked out again"))
    monkeypatch.setattr(kept, "merged", lambda *_: pytest.fail("carried on again"))
    same(open_snapshot(bench.folder).once(story), told[-1])


def test_of_a_few_visits_nothing_is_kept(bench, monkeypatch):
    monkeypatch.setattr(kept, "LEAST", open_snapshot(bench.folder).table("visits").height + 1)
    open_snapshot(bench.folder).once(story)
    assert not kept_of(bench.folder)


def test_a_column_is_read_when_it_is_asked_for_and_not_before(bench, monkeypatch):
    open_snapshot(bench.folder).once(story)
    asked = []
    column = kept_tables.Kept.column
    monkeypatch.setattr(kept_tables.Kept, "column", lambda self, *which: asked.append(which) or column(self, *which))
    told = open_snapshot(bench.folder).once(story)
    assert not asked
    assert told.loops is told.loops
    assert {table for table, _ in asked} == {"loops"}
    asked.clear()
    told.readings.filter(pl.col("value") > 0.2, pl.col("stage").is_in(STAGES))[["serial"]]
    assert asked[:2] == [("readings", "value"), ("readings", "stage")]
    asked.clear()
    told.readings.select("value", late=pl.col("taken_at") > NOW)
    assert asked == [("readings", "taken_at")]
    told.visits.group_by("stage").agg(pl.col("minutes").sum())
    assert asked[1:] == [("visits", "stage"), ("visits", "minutes")]


@pytest.mark.parametrize("damage", ["cut", "flipped", "half gone", "said"])
def test_what_is_damaged_is_worked_out_anew_and_the_log_of_the_store_says_so(bench, damage):
    snapshot = open_snapshot(bench.folder)
    whole = alone(snapshot)
    snapshot.once(story)
    (path,) = kept_of(bench.folder)
    files = sorted(file for file in path.iterdir() if file.name != kept_tables.SAID)
    for file in [path / kept_tables.SAID] if damage == "said" else files:
        data = file.read_bytes()
        if damage != "half gone":
            file.write_bytes(data[:-1] if damage == "cut" else data[:-1] + bytes([data[-1] ^ 1]))
        elif file in files[::2]:
            file.unlink()
    same(open_snapshot(bench.folder).once(story), whole)
    said = (bench.folder / "store" / "program.log").read_text().splitlines()
    assert len(said) >= 1
    assert all("kept tables are worked out anew" in line for line in said)
    same(open_snapshot(bench.folder).once(story), whole)
    bench.happens("load")
    snapshot = open_snapshot(bench.folder)
    same(snapshot.once(story), alone(snapshot))


def test_a_column_damaged_after_the_shop_was_opened_is_worked_out_anew(bench):
    open_snapshot(bench.folder).once(story)
    snapshot = open_snapshot(bench.folder)
    told = snapshot.once(story)
    shutil.rmtree(bench.folder / "store" / kept_tables.FOLDER)
    same(told, alone(snapshot))


def test_a_backup_holds_none_and_a_restore_leaves_none(bench, tmp_path):
    open_snapshot(bench.folder).once(story)
    made = backup(bench.folder, tmp_path / "all.zip", now=NOW, why="")
    assert kept_tables.FOLDER.encode() not in made.path.read_bytes()
    restore(bench.folder, made.path, now=NOW)
    assert not kept_of(bench.folder)
    snapshot = open_snapshot(bench.folder)
    same(snapshot.once(story), alone(snapshot))


def test_a_shop_that_cannot_be_written_tells_its_story_all_the_same(bench):
    (bench.folder / "store" / kept_tables.FOLDER).write_text("in the way")
    snapshot = open_snapshot(bench.folder)
    same(snapshot.once(story), alone(snapshot))


def test_how_the_shop_stood_before_is_not_kept(bench):
    bench.happens("load")
    now = open_snapshot(bench.folder)
    then = open_snapshot(bench.folder, as_of=now.as_of - timedelta(days=1))
    then.once(story)
    assert not kept_of(bench.folder)
    later = open_snapshot(bench.folder, as_of=now.as_of + timedelta(days=90))
    same(later.once(story), alone(later))
    same(now.once(story), alone(now))


@pytest.mark.parametrize("show", ["codes", pytest.param("none", marks=pytest.mark.long)])
def test_people_as_the_shop_wishes_them_shown_are_kept_by_themselves(bench, show):
    path = bench.folder / "shop.toml"
    path.write_text(path.read_text() + f'\n[people]\nshow = "{show}"\n')
    for _ in range(2):
        bare = open_snapshot(bench.folder)
        veiled = Veil(dataclasses.replace(bare, _kept={}, _book_kinds={}, _turns={})).snapshot()
        same(veiled.once(story), alone(veiled))
        same(bare.once(story), alone(bare))
        book.write(
            bench.folder,
            "words",
            pl.DataFrame({"field": ["tech"], "word": ["T03"], "means": ["T01"]}),
            who="Mo",
            why="",
            now=NOW,
        )
        veiled = Veil(open_snapshot(bench.folder)).snapshot()
        same(veiled.once(story), alone(veiled))
        bench.happens("load")


class Days:
    """A shop whose logs are told one by one; each time the story carried on is held against the one worked out."""

    def __init__(self, folder, carried) -> None:
        self.folder, self.carried, self.now = shop(folder, GROWING), carried, NOW

    def loads(self, name: str, *rows: str, header: str = HEADER) -> Story:
        self.now += timedelta(minutes=1)
        load(self.folder, [log(self.folder, name, rows, header)], now=self.now)
        return self.told()

    def told(self) -> Story:
        snapshot = open_snapshot(self.folder)
        told = snapshot.once(story)
        same(told, alone(snapshot))
        return told


@pytest.fixture
def days(tmp_path, carried):
    return Days(tmp_path / "shop", carried)


def typed(serial, stage, start, outcome="pass", *, neck="", relief="0.20", note="", tech="T01") -> str:
    back = "play_test" if outcome == "send back" else ""
    fault = "open-string buzz" if back else ""
    return f"{serial},LARK-25,{stage},{tech},{start},,{outcome},{fault},,{back},{neck},L1,{relief},2.40,{note}"


def test_a_log_has_the_instruments_it_names_worked_out_anew_and_no_others(days, monkeypatch):
    days.loads("cards_1.csv", *(typed(f"A{n:02d}", "play_test", "2026-03-02 09:00") for n in range(40)))
    asked = []
    of_visits = kept.of_visits
    monkeypatch.setattr(
        kept, "of_visits", lambda one, *more: asked.append(one.table("visits").height) or of_visits(one, *more)
    )
    days.loads(
        "cards_2.csv", typed("A07", "final_inspection", "2026-03-03 09:00"), typed("B1", "play_test", "2026-03-03")
    )
    assert asked[0] == 3  # of A07 both visits
    assert days.carried == [(80, 78)]


def test_whoever_named_a_neck_first_takes_its_part_and_whoever_took_it_before_loses_it(days):
    part = typed("", "receiving", "2026-03-01 08:00", neck="N1")
    others = [typed(f"C{n}", "play_test", "2026-03-01 12:00") for n in range(9)]
    told = days.loads("cards_1.csv", part, *others)
    assert told.readings["part"].unique().to_list().count("\nN1") == 1
    told = days.loads("cards_2.csv", typed("A2", "play_test", "2026-03-04 09:00", neck="N1"))
    assert told.visits.filter(pl.col("stage") == "receiving")["serial"].to_list() == ["A2"]
    told = days.loads("cards_3.csv", typed("A1", "play_test", "2026-03-03 09:00", neck="N1"))
    assert told.visits.filter(pl.col("stage") == "receiving")["serial"].to_list() == ["A1"]
    assert told.instruments.filter(pl.col("serial") == "A2")["visits"].item() == 1
    unload(days.folder, "cards_3.csv", now=days.now + timedelta(seconds=1))
    assert days.told().visits.filter(pl.col("stage") == "receiving")["serial"].to_list() == ["A2"]
    unload(days.folder, "cards_2.csv", now=days.now + timedelta(seconds=2))
    assert days.told().visits.filter(pl.col("stage") == "receiving").is_empty()
    assert len(days.carried) == 4


def test_a_reading_corrected_of_a_part_whose_neck_nobody_took_is_the_only_one_that_moves(days):
    rows = [typed("", "receiving", "2026-03-01 08:00", neck=f"N{n}") for n in range(5)]
    days.loads("cards_1.csv", *rows, typed("A1", "play_test", "2026-03-02"))
    correct(days.folder, "cards_1.csv", 3, "relief (mm)", "0.44", who="Mo", why="slip", now=NOW)
    assert days.told().readings.filter(pl.col("value") == 0.44)["neck"].to_list() == ["N1"]
    assert days.carried == [(12, 10)]


def test_who_is_lost_from_sight_and_what_is_open_hangs_on_the_moment_not_on_what_was_touched(days):
    back = typed("A1", "final_inspection", "2026-03-02 09:00", "send back")
    told = days.loads("cards_1.csv", back, *(typed(f"C{n}", "play_test", "2026-03-02") for n in range(9)))
    assert (told.loops["closed_by"].to_list(), told.instruments["standing"][0]) == ([""], "bench")
    hours = told.loops["hours"].item()
    told = days.loads("cards_2.csv", typed("B1", "play_test", "2026-03-05 09:00"))
    assert told.loops["hours"].item() == hours + 72
    told = days.loads("cards_3.csv", typed("B2", "play_test", "2026-05-02 09:00"))
    assert (told.loops["closed_by"].to_list(), told.instruments["standing"][0]) == (["lost"], "lost")
    assert told.loops["closing_visit"].to_list() == told.loops["visit"].to_list()
    unload(days.folder, "cards_3.csv", now=days.now + timedelta(seconds=1))
    told = days.told()
    assert (told.loops["open"].to_list(), told.instruments["standing"][0]) == ([True], "bench")
    assert len(days.carried) == 3


def test_what_a_kind_of_sheet_never_said_it_says_of_all_its_logs(days):
    only_left = HEADER.replace("relief (mm)", "relief left (mm)")
    rows = [typed(f"A{n}", "play_test", "2026-03-02") for n in range(9)]
    told = days.loads("left_1.csv", *rows, header=only_left)
    relief = pl.col("characteristic") == "relief"
    assert told.readings.filter(relief)["only_left"].all()
    told = days.loads("left_2.csv", typed("B1", "play_test", "2026-03-03"), header=only_left)
    assert told.readings.filter(relief)["only_left"].sum() == 10
    told = days.loads("left_3.csv", typed("B2", "play_test", "2026-03-04"))
    assert not told.readings["only_left"].any()
    unload(days.folder, "left_3.csv", now=days.now + timedelta(seconds=1))
    assert days.told().readings["only_left"].sum() == 10
    assert len(days.carried) == 3


def test_a_note_on_somebody_who_signs_for_the_first_time_today_is_not_shown_as_it_was_kept(days):
    rows = [typed(f"A{n}", "play_test", "2026-03-02", note="Quillon Marsh saw it") for n in range(9)]
    path = days.folder / "shop.toml"
    path.write_text(path.read_text() + '\n[people]\nshow = "codes"\n')
    notes = []
    for name, more in (
        ("cards_1.csv", rows),
        ("cards_2.csv", [typed("B1", "play_test", "2026-03-03", tech="Quillon Marsh")]),
    ):
        days.loads(name, *more)
        veiled = Veil(open_snapshot(days.folder)).snapshot()
        same(veiled.once(story), alone(veiled))
        notes.append(veiled.once(story).visits["note"][0])
    assert notes[0] == "Quillon Marsh saw it"
    assert "Quillon" not in notes[1]


def test_a_cause_said_today_moves_the_instrument_it_is_said_of(days):
    back = typed("A1", "final_inspection", "2026-03-02 09:00", "send back")
    told = days.loads("cards_1.csv", back, *(typed(f"C{n}", "play_test", "2026-03-02") for n in range(9)))
    about = {"serial": "A1", "stage": "final_inspection", "opened_at": told.loops["opened_at"].item()}
    for word, caused in (("handling", "handling"), ("", "play_test")):
        book.write_entry(days.folder, CAUSED_BY, word, "Mo", now=NOW, **about)
        assert days.told().loops["caused_at"].to_list() == [caused]
    assert len(days.carried) == 2


def test_rows_of_a_log_that_tell_what_came_first_no_longer_move_whoever_stands_in_it_without_a_clock(days):
    day = "2026-03-03"
    sent = typed("A1", "final_inspection", day, "send back").replace(",play_test,", ",neck_straightening,")
    rows = [
        typed("B1", "neck_straightening", "2026-03-02"),
        sent.replace("A1", "B1"),
        typed("B1", "neck_straightening", day),
        typed("A1", "neck_straightening", day),
        typed("A1", "neck_straightening", day, tech="T02"),
        sent,
    ]
    told = days.loads("cards_1.csv", *rows, *(typed(f"C{n}", "play_test", "2026-03-02 09:00") for n in range(9)))
    mine = pl.col("serial") == "A1"
    assert told.visits.filter(mine)["stage"].to_list()[-1] == "final_inspection"
    days.loads("cards_2.csv", typed("C1", "packing", "2026-03-04"))
    correct(days.folder, "cards_1.csv", 3, "outcome", "pass", who="Mo", why="slip", now=NOW)
    told = days.told()
    assert told.visits.filter(mine)["stage"].to_list()[-1] == "neck_straightening"
    assert told.loops.filter(mine)["charged"].to_list() == ["T01"]
    assert [stood for _, stood in days.carried] == [28, 20]
