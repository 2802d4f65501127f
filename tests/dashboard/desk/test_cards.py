"""Card's side of the counter: what is asked, how a value lies, what is kept and undone, and how quick it answers."""

import shutil
import time
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.story.conformity import with_specs
from dashboard.desk import cards as cards_module
from dashboard.desk.cards import CardDesk
from dashboard.desk.desk import Desk
from dashboard.desk.gauge_in_hand import InHand, gauges, typed
from ingest.shopfiles.shop import checked_shop
from ingest.store import at_bench
from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from ingest.verbs.load import load

NOW = datetime(2026, 11, 30, 10, tzinfo=UTC)
SHOP = """
[shop]
name = "Weir Lane Instruments"
timezone = "Europe/Dublin"
[[stage]]
key = "receiving"
role = "receiving"
[[stage]]
key = "head_tension"
families = ["banjo"]
[[stage]]
key = "nut_slotting"
name = "Nut slotting"
[[stage]]
key = "bridge_fitting"
name = "Bridge fitting"
[[stage]]
key = "rest"
role = "rest"
[[stage]]
key = "final_inspection"
name = "Final inspection"
role = "final"
[[characteristic]]
key = "relief"
name = "Neck relief"
plausible = ["-1 mm", "3 mm"]
[[characteristic]]
key = "action"
name = "Action at 12"
set_at = "bridge_fitting"
positions = ["bass", "treble"]
plausible = ["0.5 mm", "6 mm"]
[[characteristic]]
key = "finish"
name = "Finish"
quantity = "class"
set_at = "final_inspection"
values = ["clean", "scratch", "ding"]
good = ["clean"]
[[gauge]]
key = "rule"
name = "Rule"
measures = ["action"]
resolution = "0.5/64 in"
master = "6/64 in"
check_days = 7
[[gauge]]
key = "leaves"
name = "Leaves"
measures = ["relief"]
resolution = "0.001 in"
[[model]]
key = "LARK-25"
family = "tenor ukulele"
strings = 4
[[model]]
key = "DRAY-5"
family = "banjo"
strings = 5
[[fault]]
key = "open-string buzz"
suspect = "nut_slotting"
[[fault]]
key = "buzz mid neck"
[[tech]]
key = "T01"
name = "Rowan"
[[reaction]]
characteristic = "action"
check = ["saddle blank or bridge feet"]
"""
SPECS = """characteristic,position,target,lower,upper,unit
relief,,0.20,0.05,0.30,mm
action,bass,2.40,2.10,2.70,mm
action,treble,1.80,1.50,2.10,mm
"""
HEAD = "serial,model,stage,tech,finished_at,outcome,fault,lot,relief (mm),action bass (mm),action treble (mm)\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The shop that each test is given a copy of."""
    folder = tmp_path_factory.mktemp("made")
    (folder / "shop.toml").write_text(SHOP)
    (folder / "specs.csv").write_text(SPECS)
    lines = []
    for k in range(12):
        at = datetime(2026, 11, 23, 8) + timedelta(hours=k)
        for stage, hour, cells in (("nut_slotting", 0, ",,"), ("bridge_fitting", 1, f",{2.3 + k / 100:.2f},1.80")):
            when = f"{at + timedelta(minutes=10 * hour):%Y-%m-%d %H:%M}"
            lines.append(f"L-{100 + k},LARK-25,{stage},T01,{when},pass,,OX-1,{cells}")
        if k < 10:
            fault, outcome = ("open-string buzz", "send back") if k == 4 else ("", "pass")
            lines.append(f"L-{100 + k},LARK-25,final_inspection,T01,{at + timedelta(days=1):%Y-%m-%d %H:%M},{outcome},"
                         f"{fault},,0.20,2.40,1.80")  # fmt: skip
    path = folder / "as_typed.csv"
    path.write_text(HEAD + "\n".join(lines) + "\n")
    load(folder, [path], now=NOW)
    return folder


@pytest.fixture
def folder(made, tmp_path):
    return shutil.copytree(made, tmp_path, dirs_exist_ok=True)


@pytest.fixture
def cards(folder):
    moment, desk = iter(NOW + timedelta(seconds=k) for k in range(100_000)), Desk(folder)
    desk.jobs.clock = lambda: NOW + timedelta(days=1)
    return CardDesk(desk, clock=lambda: next(moment))


def given(number, serial, **more):
    return {
        "card": f"c-{number}", "bench": "bench 2", "stage": "bridge_fitting", "tech": "T01", "serial": serial,
        "model": "LARK-25", "opened_at": NOW.isoformat(), "outcome": "pass",
        "values": [{"characteristic": "action", "position": "bass", "gauge": "rule", "found": "6½", "left": ""}],
    } | more  # fmt: skip


def test_a_card_asks_what_is_set_or_was_measured_here_of_this_family_in_the_gauges_unit(cards):
    card = cards.card("bridge_fitting", "L-111")
    assert [(one["characteristic"], one["position"]) for one in card["fields"]] == [
        ("action", "bass"),
        ("action", "treble"),
    ]
    bass = card["fields"][0]
    assert (bass["gauges"][0]["unit"], bass["gauges"][0]["step"]) == ("64ths", 0.5)
    assert bass["gauges"][0]["lower"] == pytest.approx(2.10 / 25.4 * 64)
    assert [round(one * 25.4 / 64, 2) for one in bass["gauges"][0]["last"]] == [2.37, 2.38, 2.39, 2.40, 2.41]
    assert (card["model"], card["lot"], card["on_file"], card["came_back"]) == ("LARK-25", "OX-1", True, 0)
    assert [one["key"] for one in card["route"]] == ["receiving", "nut_slotting", "bridge_fitting", "final_inspection"]


def test_final_inspection_asks_checks_too_and_says_what_was_skipped(cards):
    keep = {"values": [], "stage": "nut_slotting"}
    cards.keep(given(1, "N-1", **keep))
    card = cards.card("final_inspection", "N-1")
    assert card["due"] == ["Not on file: Bridge fitting"]
    assert "finish" in {one["characteristic"] for one in card["fields"]}
    assert cards.judge("final_inspection", "LARK-25", "finish", "", "scratch", "")["state"] == "outside"
    assert cards.judge("final_inspection", "LARK-25", "finish", "", "clean", "")["state"] == "inside"


@pytest.mark.parametrize(
    ("text", "state"),
    [("6", "inside"), ("6½", "inside"), ("6.5/64", "inside"), ("6 1/2", "inside"), ("2.58mm", "inside"),
     ("5.5", "on the limit"), ("7", "on the limit"), ("8", "outside"), ("5", "outside"), ("50", "asks"),
     ("about", "unread"), ("", "")],
)  # fmt: skip
def test_a_value_is_answered_at_once(cards, text, state):
    assert cards.judge("bridge_fitting", "LARK-25", "action", "bass", text, "rule")["state"] == state


def test_outside_says_what_this_shop_looks_at_first(cards):
    assert "saddle blank" in cards.judge("bridge_fitting", "LARK-25", "action", "bass", "8", "rule")["why"]


def test_card_and_studies_judge_by_one_rule(cards):
    snapshot, hand = cards.desk.snapshot(), gauges(cards.shop, cards.shop.by_characteristic["action"])[0]
    for step in range(8, 18):
        text = f"{step / 2:g}"
        value = typed(text, hand).value
        row = pl.DataFrame({"characteristic": ["action"], "position": ["bass"], "family": ["tenor ukulele"],
                            "model": ["LARK-25"], "stage": ["bridge_fitting"], "supplier": [""],
                            "set_on": [NOW.date()], "value": [value], "gauge": ["rule"]})  # fmt: skip
        told = with_specs(snapshot, row).row(0, named=True)
        wanted = "outside" if told["outside"] else "on the limit" if told["on_limit"] else "inside"
        assert cards.judge("bridge_fitting", "LARK-25", "action", "bass", text, "rule")["state"] == wanted


def test_half_a_sixty_fourth_on_its_gauge_is_one_value_however_it_is_written():
    shop = checked_shop({"shop": {"name": "x", "timezone": "UTC"}, "stage": [{"key": "a"}],
                         "characteristic": [{"key": "action"}], "model": [{"key": "M", "family": "f"}],
                         "gauge": [{"key": "r", "measures": ["action"], "resolution": "1/64 in"}]})  # fmt: skip
    hand = gauges(shop, shop.by_characteristic["action"])[0]
    assert {typed(text, hand).cell for text in ("6.5", "6½", "6,5", "6 1/2", "6.5/64")} == {"6.5/64 in"}
    assert typed("2.58mm", hand).cell == "2.58 mm"
    assert typed("six", hand).value is None
    assert typed("six", hand).why == "write 64ths, such as 6½"


@pytest.mark.parametrize(
    ("shown", "gauge", "unit"),
    [
        ("64ths", None, ("64ths", 0.5)),
        ("thou", None, ("thou", 1.0)),
        ("mm", None, ("mm", 0.05)),
        (None, None, ("thou", 1.0)),
        ("64ths", {}, ("64ths", 0.5)),
        ("64ths", {"resolution": "0.001 in"}, ("thou", 1.0)),
    ],
)
def test_a_gauge_that_says_no_step_is_read_in_the_unit_that_is_shown(shown, gauge, unit):
    item = {"key": "action"} | ({"length": shown} if shown else {})
    table = {"shop": {"name": "x", "timezone": "UTC", "length": "in"}, "stage": [{"key": "a"}],
             "characteristic": [item], "model": [{"key": "M", "family": "f"}]}  # fmt: skip
    if gauge is not None:
        table["gauge"] = [{"key": "r", "measures": ["action"]} | gauge]
    shop = checked_shop(table)
    hand = gauges(shop, shop.by_characteristic["action"])[0]
    assert (hand.unit, hand.step, hand.key) == (*unit, "" if gauge is None else "r")


@pytest.mark.parametrize(
    ("unit", "step", "limits", "said"),
    [
        ("thou", 1.0, (17.7, 25.6), "18 to 26"),
        ("thou", 1.0, (17.5, 25.5), "18 to 25"),  # halfway between two marks: the inner one
        ("thou", 1.0, (-3.94, 9.84), "-4 to 10"),
        ("thou", 1.0, (None, 0.3), "up to 0"),
        ("64ths", 0.5, (5.54, 7.56), "5½ to 7½"),
        ("64ths", 1.0, (5.54, 7.56), "6 to 8"),
        ("mm", 0.05, (2.2, 3.0), "2.20 to 3.00"),
        ("cents", 0.5, (-5.0, None), "from -5"),
    ],
)
def test_a_limit_is_said_as_its_gauge_reads_it(unit, step, limits, said):
    hand = InHand("", "", unit, step, "pitch" if unit == "cents" else "length")
    assert hand.limits(*(None if one is None else one * hand.mm for one in limits)) == said


@pytest.mark.parametrize(("text", "value"), [("0,55 mm", 0.55), ("2,5", 2.5), ("-0,1", -0.1), (",5mm", 0.5)])
def test_a_comma_at_a_bench_is_a_decimal_sign(text, value):
    told = typed(text, InHand("", "", "mm", 0.05, "length"))
    assert told.value == pytest.approx(value)


def test_a_comma_that_may_part_thousands_is_asked_about():
    told = typed("1,250", InHand("", "", "", 1.0, "plain"))
    assert (told.value, told.why) == (None, "1250 or 1.250")
    assert typed("1,2.5", InHand("", "", "mm", 0.05, "length")).why == "a point or a comma, not both"


def test_what_can_hardly_be_is_asked_in_whole_steps_of_the_gauge(cards):
    told = cards.judge("bridge_fitting", "LARK-25", "action", "bass", "50", "rule")
    assert told["why"] == "readings lie within 1.5 to 15/64 in: type it again"


def test_kept_is_in_the_folder_before_it_is_said_and_counts_once(cards, folder):
    told = cards.keep(given(1, "L-110"))
    assert (told["new"], told["today"]["cards"]) == (True, 1)
    (sheet,) = (folder / "cards").glob("card_*.csv")
    assert "6.5/64 in" in sheet.read_text()
    assert cards.keep(given(1, "L-110"))["new"] is False
    assert cards.today("bench 2")["outcomes"]["pass"] == 1


def test_the_next_bench_sees_a_card_at_once_and_so_does_one_begun_anew(cards):
    cards.keep(given(1, "NEW-1", model="DRAY-5"))
    again = CardDesk(cards.desk, clock=lambda: NOW + timedelta(minutes=5))
    for desk in (cards, again):
        card = desk.card("final_inspection", "NEW-1")
        assert (card["on_file"], card["model"]) == (True, "DRAY-5")
        assert [one["key"] for one in card["route"] if one["passed"]] == ["bridge_fitting"]
    assert [round(v, 2) for v in cards.card("bridge_fitting", "L-1")["fields"][0]["gauges"][0]["last"]][
        -1
    ] != 6.5  # another setup


def test_the_last_five_take_in_what_was_kept_just_now(cards):
    cards.keep(given(1, "L-110"))
    assert cards.card("bridge_fitting", "L-111")["fields"][0]["gauges"][0]["last"][-1] == pytest.approx(6.5)


def test_undo_takes_a_card_back_until_the_next_stage_has_opened_it(cards):
    cards.keep(given(1, "L-110"))
    assert cards.undo("bench 2", "c-1")["row"]["action bass"] == "6.5/64 in"
    assert cards.today("bench 2")["cards"] == 0
    cards.keep(given(2, "L-110"))
    cards.keep(given(3, "L-110", stage="final_inspection", bench="bench 3", values=[]))
    with pytest.raises(UnusableData, match="Final inspection has it already"):
        cards.undo("bench 2", "c-2")


@pytest.mark.parametrize(
    "wrong",
    [{"serial": ""}, {"outcome": "perfect"}, {"model": "NOBODY"}, {"stage": "moon"}, {"sent_to": "moon"}, {"card": ""}],
)
def test_what_a_page_of_ours_would_not_send_is_refused_in_words(cards, folder, wrong):
    with pytest.raises(UnusableData):
        cards.keep(given(1, "L-110") | wrong)
    assert not list((folder / "cards").glob("card_*.csv")) if (folder / "cards").exists() else True


def test_an_unreadable_value_is_kept_as_typed_and_becomes_a_question(cards, folder):
    cards.keep(given(1, "L-110", values=[{"characteristic": "action", "position": "bass", "found": "hm", "gauge": ""}]))
    job = cards.desk.jobs.wait(cards.desk.jobs.cards())
    assert job.state == "done"
    asked = open_snapshot(folder).table("set_aside")
    assert asked["raw"].to_list() == ["hm"]
    assert (
        open_snapshot(folder)
        .table("visits")
        .filter(pl.col("serial") == "L-110")["stage"]
        .to_list()
        .count("bridge_fitting")
        == 2
    )


def test_a_card_kept_while_the_sheets_rest_is_loaded_by_itself(cards, folder, monkeypatch):
    monkeypatch.setattr(cards_module, "TAKEN_IN", 0.3)
    monkeypatch.setattr(cards_module, "AGAIN", 0.05)
    cards.keep(given(1, "L-110"))  # loaded at once
    cards.keep(given(2, "L-111"))  # too early, and nobody keeps another one
    end = time.monotonic() + 60
    while time.monotonic() < end:
        visits = open_snapshot(folder).table("visits", "serial", "finished_at")
        if set(visits.filter(pl.col("finished_at") >= NOW)["serial"]) == {"L-110", "L-111"}:
            break
        time.sleep(0.05)
    else:
        pytest.fail("the second card was never loaded")


def test_a_check_that_is_not_good_counts_as_a_fault(cards, folder):
    values = [{"characteristic": "finish", "position": "", "found": "scratch", "gauge": ""}]
    cards.keep(given(1, "L-110", stage="final_inspection", values=values, outcome="fixed"))
    cards.desk.jobs.wait(cards.desk.jobs.cards())
    faults = open_snapshot(folder).table("faults").filter(pl.col("serial") == "L-110")
    assert faults["fault"].to_list() == ["Finish: scratch"]


def test_a_gauge_is_checked_in_two_touches_and_said_beside_what_rests_on_it(cards):
    assert "never checked" in cards.card("bridge_fitting", "L-111")["fields"][0]["gauges"][0]["note"]
    (rule,) = cards.gauges()["gauges"]
    assert (rule["master"], rule["step"], rule["due"]) == (6.0, 0.5, True)
    assert cards.check("rule", "6", "T01")["gauges"][0]["note"] == ""
    assert cards.card("bridge_fitting", "L-111")["fields"][0]["gauges"][0]["note"] == ""
    for _ in range(6):
        cards.check("rule", "6.5", "T01")
    note = cards.card("bridge_fitting", "L-111")["fields"][0]["gauges"][0]["note"]
    assert note == "reads 0.5/64 in high: check it first"
    with pytest.raises(UnusableData):
        cards.check("leaves", "6", "T01")


def test_faults_most_often_caught_here_come_first_with_where_they_are_sent(cards):
    cards.card("final_inspection", "L-100")
    first = cards.faults("final_inspection")["faults"][0]
    assert first == {"key": "open-string buzz", "suspect": "nut_slotting"}
    assert cards.faults("final_inspection")["here"] >= 1
    elsewhere = cards.faults("nut_slotting")  # where none was caught, the shop's most frequent come first
    assert (elsewhere["here"], elsewhere["faults"][0]) == (0, first)


def test_a_value_far_from_its_stream_is_said_and_a_rule_too_coarse_says_nothing(cards, folder):
    about = at_bench.Told(usual=[("final_inspection", "relief", "", "LARK-25", 0.20, 0.01, 0.04)])
    at_bench.make(folder, cards.desk.snapshot(), about)
    told = cards.judge("final_inspection", "LARK-25", "relief", "", "10", "leaves")
    assert (told["state"], told["why"]) == ("inside", "far from the usual 7.1 to 8.7: measure it again")
    assert cards.judge("final_inspection", "LARK-25", "relief", "", "9", "leaves")["why"] == ""
    assert cards.judge("bridge_fitting", "LARK-25", "action", "bass", "6.5", "rule")["why"] == ""


def test_what_moved_is_said_at_its_bench_and_of_one_tech_to_that_tech_alone(cards, folder):
    lines = [
        ("bridge_fitting", "LARK-25", "", "It moved."),
        ("bridge_fitting", "LARK-25", "T01", "Of your own: it moved."),
    ]
    about = at_bench.Told(said=[("L-111", "", "Relief was outside.")], moved=lines)
    at_bench.make(folder, cards.desk.snapshot(), about)
    assert cards.card("bridge_fitting", "L-111", tech="T02")["quiet"] == ["Relief was outside.", "It moved."]
    assert cards.card("bridge_fitting", "L-110", tech="T01")["quiet"] == ["It moved.", "Of your own: it moved."]
    assert "moved" not in "".join(cards.card("nut_slotting", "L-110", tech="T01")["quiet"])
    assert cards.card("final_inspection", "l-111")["serial"] == "L-111"  # capitals as on file


def test_a_gauge_says_all_in_its_own_unit(cards, folder):
    text = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(
        text
        + """
[[gauge]]
key = "taper"
measures = ["action"]
resolution = "0.05 mm"
"""
    )
    rule, taper = cards.card("bridge_fitting", "L-111")["fields"][0]["gauges"]
    assert (taper["unit"], taper["lower"], taper["upper"]) == ("mm", 2.10, 2.70)
    assert [one * 25.4 / 64 for one in rule["last"]] == pytest.approx(taper["last"], abs=1e-5)
    assert cards.judge("bridge_fitting", "LARK-25", "action", "bass", "2.4", "taper")["state"] == "inside"
    assert cards.judge("bridge_fitting", "LARK-25", "action", "bass", "6/64 in", "taper")["shown"] == pytest.approx(
        2.38125
    )


HEAD_BY_POINTS = """
[[characteristic]]
key = "head"
name = "Head tension"
quantity = "plain"
set_at = "head_tension"
positions = ["point 1", "point 2", "point 3", "point 4"]
even_within = "2"
"""


def test_a_head_is_even_or_not_on_the_card_and_counts_as_a_fault_where_it_is_not(cards, folder):
    (folder / "shop.toml").write_text((folder / "shop.toml").read_text() + HEAD_BY_POINTS)
    card = cards.card("head_tension", "D-1", model="DRAY-5")
    assert [one["position"] for one in card["fields"]] == [f"point {k}" for k in range(1, 5)]
    here = ("head_tension", "DRAY-5", "head")
    assert cards.judge(*here, "point 2", "88", "", beside=["87", "86"])["state"] == "kept"
    told = cards.judge(*here, "point 4", "85", "", beside=["87", "88"])
    assert (told["state"], told["why"][:28]) == ("outside", "uneven: 85 to 88, at most 2 ")
    for number, last in ((1, "86"), (2, "84")):
        values = [{"characteristic": "head", "position": f"point {k}", "found": text, "gauge": ""}
                  for k, text in zip(range(1, 5), ("86", "87", "88", last), strict=True)]  # fmt: skip
        cards.keep(given(number, f"D-{number}", stage="head_tension", model="DRAY-5", values=values))
    assert cards.desk.jobs.wait(cards.desk.jobs.cards()).state == "done"
    faults = (
        open_snapshot(folder).table("faults", "serial", "fault", "fault_at", "raw").filter(pl.col("serial") == "D-2")
    )
    assert faults.rows() == [("D-2", "Head tension: uneven", "point 3, point 4", "84 to 88")]
    assert "D-1" not in open_snapshot(folder).table("faults")["serial"].to_list()


def test_order_and_destination_are_said_where_a_log_tells_them(cards, folder):
    path = folder / "orders.csv"
    path.write_text("serial,model,stage,finished_at,outcome,job,Destination climate\n"
                    "L-777,LARK-25,nut_slotting,2026-11-27 09:00,pass,4711,dry: 30 % RH\n")  # fmt: skip
    load(folder, [path], now=NOW)
    card = cards.card("bridge_fitting", "L-777")
    assert (card["order"], card["goes_to"]) == ("4711", "dry: 30 % RH")


def test_a_new_serial_takes_its_model_from_its_letters(cards):
    card = cards.card("bridge_fitting", "L-999")
    assert (card["model"], card["model_guessed"], card["on_file"]) == ("LARK-25", True, False)
    assert cards.card("bridge_fitting", "ZZ-1")["model"] == ""
    assert cards.card("bridge_fitting", "ZZ-1", model="DRAY-5")["model"] == "DRAY-5"


def test_an_answer_hangs_on_no_big_table(tmp_path, monkeypatch):
    # 60,000 visits and 120,000 readings: what an answer costs must not grow with them (2 M: tests/benchmarks/card.py).
    (tmp_path / "shop.toml").write_text(SHOP)
    (tmp_path / "specs.csv").write_text(SPECS)
    n = 60_000
    at = pl.datetime_range(datetime(2024, 1, 1), datetime(2024, 1, 1) + timedelta(minutes=n - 1), "1m", eager=True,
                           time_unit="us", time_zone="UTC")  # fmt: skip
    serial = pl.Series([f"S-{k // 2}" for k in range(n)])
    visits = pl.DataFrame({"log_id": ["x"] * n, "line": range(n), "serial": serial, "model": ["LARK-25"] * n,
                           "stage": ["nut_slotting", "bridge_fitting"] * (n // 2), "finished_at": at,
                           "outcome": ["pass"] * n})  # fmt: skip
    reading = pl.DataFrame({"log_id": ["x"] * n, "line": range(n), "serial": serial, "stage": visits["stage"],
                            "taken_at": at, "characteristic": ["action"] * n, "position": ["bass"] * n,
                            "moment": ["found"] * n, "value": [2.4] * n})  # fmt: skip
    shop = Desk(tmp_path).snapshot()
    at_bench.make(tmp_path, Snapshot.of(shop.shop, shop.specs, visits=visits, readings=reading))
    monkeypatch.setattr(at_bench, "version_of", lambda _: 0)
    cards = CardDesk(Desk(tmp_path), clock=lambda: NOW)
    cards.card("bridge_fitting", "S-10")
    monkeypatch.setattr(Snapshot, "table", None)  # whoever opens a table fails
    begun = time.process_time()
    for k in range(20):
        cards.card("bridge_fitting", f"S-{k}")
        cards.judge("bridge_fitting", "LARK-25", "action", "bass", "6.5", "rule")
    assert time.process_time() - begun < 20 * 2 * 0.1
