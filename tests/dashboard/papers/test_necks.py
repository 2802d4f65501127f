"""The neck packet: what stands on it, and that the whole file holds nothing of anybody else."""

import re
import shutil
from dataclasses import replace
from datetime import date
from html import unescape

import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.necks import bow, lots, necks
from dashboard.app import make_app
from dashboard.commands import cli
from dashboard.desk import desk
from dashboard.pages.necks import talk
from dashboard.papers import necks as packet
from dashboard.papers.paper import named
from dashboard.sentences import bow as sentences_bow
from dashboard.sentences import necks as sentences_necks
from tests.dashboard.pages import people_shop
from tests.dashboard.pages.test_necks import BLAMING

OWN, OTHER = people_shop.SUPPLIERS
FILE = "bench-cards-may"


@pytest.fixture(scope="module")
def stands(tmp_path_factory):
    return people_shop.stands(tmp_path_factory.mktemp("packet") / "shop", people="names")


@pytest.fixture(scope="module")
def counter(stands):
    return desk.Desk(stands)  # read only


@pytest.fixture
def looked_at(counter):
    make_app(counter)
    return counter


def own_words(html):
    """The file without the font, which is the same in every paper; escapes undone."""
    bare = re.sub(r"base64,[^)]*", "", html)
    return unescape(bare).encode().decode("unicode_escape", errors="ignore") + unescape(bare)


def words(html):
    text = re.sub(r"<(script|style)[^>]*>.*?</\1>", " ", html, flags=re.S)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " "))


def strangers():
    """Everything that must not be in the packet of the first supplier."""
    others = [people_shop.lot(k)[1] for k in range(people_shop.LOTS) if people_shop.lot(k)[0] == OTHER]
    serials = [
        f"HO-{5000 + k}"
        for k in range(people_shop.LOT * people_shop.LOTS)
        if people_shop.lot(k // people_shop.LOT)[0] == OTHER
    ]
    return [
        OTHER,
        *others,
        *serials,
        *people_shop.TECHS,
        *people_shop.TECHS.values(),
        FILE,
        people_shop.NOTE,
        "bench cards",
    ]


@pytest.mark.parametrize("money", [False, True])
def test_the_whole_file_holds_no_tech_other_supplier_other_lot_file_name_or_note(looked_at, money):
    text = own_words(packet.paper(OWN, money=money)[1])
    assert [one for one in strangers() if one.lower() in text.lower()] == []
    assert OWN in text  # the search would find what is there
    assert "HO-5000" in text


def test_the_name_of_the_file_tells_only_the_supplier(looked_at):
    assert packet.paper(OWN)[0] == "neck-packet-marrow-pine"


def test_good_lots_stand_in_it_too_and_every_neck_of_the_lots_drawn(looked_at):
    text = words(packet.paper(OWN)[1])
    for k in range(0, people_shop.LOTS, 2):
        assert people_shop.lot(k)[1] in text
    own = [
        f"HO-{5000 + k}"
        for k in range(people_shop.LOT * people_shop.LOTS)
        if people_shop.lot(k // people_shop.LOT)[0] == OWN
    ]
    assert [serial for serial in own if serial not in text] == []


def test_results_stand_with_their_intervals_and_small_samples_are_called_few(looked_at):
    row = next(row for row in looked_at.ask(necks.by_lot).iter_rows(named=True) if row["lot"] == people_shop.HOLLOW)
    text = words(packet.paper(OWN)[1])
    assert f"{row['mean']:.3f} ({row['mean_low']:.3f} to {row['mean_high']:.3f})" in text
    assert f"{row['sd']:.3f} ({row['sd_low']:.3f} to {row['sd_high']:.3f})" in text
    assert f"{row['ppk']:.2f} ({row['ppk_low']:.2f} to {row['ppk_high']:.2f})" in text
    assert "few" in text


def test_of_a_lot_that_stands_apart_the_supplier_is_asked_whatever_lies_outside(looked_at):
    shop = looked_at.snapshot().shop
    own = [row | {"verdict": None} for row in looked_at.ask(necks.by_lot).rows(named=True) if row["supplier"] == OWN]
    assert packet.asked(own, shop, {}, date(2026, 8, 7))[0].startswith("Nothing is asked")
    far = own[1] | {"mean": 0.279, "off": 0.101, "off_low": 0.081, "off_high": 0.122, "others": 11, "apart": True}
    asks = packet.asked([own[0], far, *own[2:]], shop, {own[2]["lot"]: "Neck bow on LARK-25"}, date(2026, 8, 7))
    text = asks[0].replace("\u00a0", " ")
    assert text.startswith(f"Lot {far['lot']}, ")
    assert "0.279 mm, 0.101 mm (0.081 to 0.122) above that of its supplier's eleven other lots" in text
    assert "Say, by 21 Aug, what was other about it at your end" in text
    assert asks[1].startswith(f"Lot {own[2]['lot']}, ")
    assert "Neck bow on LARK-25 moved together with it" in asks[1]
    assert not any("Nothing is asked" in one for one in asks)
    said = sentences_necks.headline([own[0], far, *own[2:]], shop).replace("\u00a0", " ")
    assert said.startswith(f"Lot {far['lot']} stands apart: its mean bow is 0.279 mm, 0.101 mm (0.081 to 0.122) above")
    below = far | {"off": -0.101, "off_low": -0.122, "off_high": 0.005}
    assert "0.101 mm (−0.005 to 0.122) below" in sentences_necks.lots_apart([below], shop).replace("\u00a0", " ")
    assert sentences_necks.lots_apart([], shop) == ""


@pytest.mark.parametrize("verdict", [None, lots.REJECT])
def test_older_lots_of_which_the_same_is_asked_are_named(looked_at, verdict):
    shop = looked_at.snapshot().shop
    [row] = [one for one in looked_at.ask(necks.by_lot).rows(named=True) if one["lot"] == people_shop.HOLLOW]
    far = row | {"off": 0.1, "off_low": 0.08, "off_high": 0.12, "others": 11, "apart": True, "verdict": verdict}
    asks = [packet.asked([far | {"lot": f"L{k}"} for k in range(n)], shop, {}, date(2026, 8, 7)) for n in (4, 6, 18)]
    told = ["".join(re.findall(r"The same for ([^.;]*)", " ".join(one))) for one in asks]
    assert [one.partition(",")[0] for one in told[:1]] == ["the older lot L3"]
    assert told[1].startswith("three older lots (L3, L4 and L5)")
    assert "L14" in told[2]
    assert "; 3 more in the table" in " ".join(asks[2])


def test_a_reading_stands_with_as_many_digits_as_were_read(looked_at):
    rows = looked_at.ask(necks.by_lot).rows(named=True)[:1]
    own = looked_at.ask(lots.necks).filter(pl.col("lot") == rows[0]["lot"])
    for value, told in ((0.25, "0.25"), (0.125, "0.125")):
        listed = packet.serial_list(own.with_columns(value=pl.lit(value)), rows, "mm")
        assert {text for _, text, _ in listed[0][1]} == {told}


def test_it_holds_what_the_talk_needs_in_its_order(looked_at):
    text = words(packet.paper(OWN)[1])
    agenda = [
        "Lots, newest first",
        "What is asked",
        "What is agreed",
        "What was measured, and how",
        "How the sample was drawn",
        "Measured together",
        "Agreed: what is measured",
        "Run chart",
        "What the agreed plan lets through",
        "What more bow goes with at the bench",
        "Results of every lot",
        "Serial list",
    ]
    places = [text.find(name) for name in agenda]
    assert -1 not in places
    assert places == sorted(places)
    assert "Gauge: leaves (reads to 0.001 in)" in text
    assert "46 % RH, 26 hours in the room, rod: slack" in text
    assert "a hollow of 0.25 mm, agreed on 3 Mar 2026." in text


def test_many_states_are_told_as_their_range_and_each_lot_keeps_its_own():
    rows = [
        {"rh": 43.0 + k, "hours_acclimatised": 73 + k, "rod_state": "no rod" if k % 3 else "slack"} for k in range(9)
    ]
    assert (
        sentences_necks.states(rows)
        == "43 to 51\u00a0%\u00a0RH, 73 to 81 hours in the room, rod slack (3 lots), no rod (6 lots)"
    )
    rows[0]["rh"] = None
    assert "not on file for 1 lot)" in sentences_necks.states(rows)
    assert (
        sentences_necks.states([{"rh": None, "hours_acclimatised": None, "rod_state": None}] * 6)
        == "states not on file"
    )


def test_less_work_with_more_bow_is_said_as_less(looked_at):
    shop = looked_at.snapshot().shop
    found = looked_at.ask(bow.goes_with, measure="minutes")
    turned = replace(found, slope=-1.2, slope_low=-2.31, slope_high=0.04)
    assert "goes with 1.2 minutes less (\u22122.3 to 0.0)" in sentences_bow.per_tenth(
        turned, shop, "neck_bow", money=False
    )


def test_money_stands_only_where_it_is_asked_for(looked_at):
    assert "EUR" not in words(packet.paper(OWN)[1])
    assert "EUR" in words(packet.paper(OWN, money=True)[1])


def offered():
    """What the page has at hand for the talk."""
    rows = desk.ask(necks.by_lot).rows(named=True)
    return str(talk.talk(rows, desk.here().snapshot().shop, OWN))


def test_without_a_wage_the_command_says_why_no_money_stands_in_it_and_the_page_offers_none(stands, tmp_path, capsys):
    folder = shutil.copytree(stands, tmp_path / "shop")
    toml = folder / "shop.toml"
    toml.write_text(re.sub(r"(?m)^labour_per_hour = .*\n", "", toml.read_text()))
    assert cli.run(["necks", OWN, "--shop", str(folder), "--money", "--out", str(tmp_path / "out")]) == 0
    assert "No money stands in it: [shop] in shop.toml has no labour_per_hour." in capsys.readouterr().out.splitlines()
    assert "money=1" not in offered()
    assert cli.run(["necks", OWN, "--shop", str(stands), "--money", "--out", str(tmp_path / "out")]) == 0
    assert "No money" not in capsys.readouterr().out
    assert "money=1" in offered()


def test_no_word_blames(looked_at):
    text = words(packet.paper(OWN, money=True)[1]).lower()
    assert [word for word in BLAMING if word in text] == []


def test_the_same_version_gives_the_same_bytes(stands):
    made = []
    for _ in range(2):
        desk.use(desk.Desk(stands))
        made.append(packet.paper(OWN, money=True))
    assert made[0] == made[1]


def test_a_supplier_nobody_measured_is_refused_without_naming_the_others(looked_at):
    with pytest.raises(UnusableData, match="no neck of a supplier called 'Nobody'") as told:
        packet.paper("Nobody")
    assert OWN not in str(told.value)


def test_the_page_serves_it_and_says_what_is_wrong(stands):
    client = make_app(desk.Desk(stands)).server.test_client()
    answer = client.get("/papers/necks?supplier=Marrow+%26+Pine&letter=1")
    assert answer.status_code == 200
    assert "size: letter" in answer.text
    assert client.get("/papers/necks?supplier=x").status_code == 404


def test_a_supplier_is_known_whatever_its_capitals():
    assert named("holm", ["Holm", "Oxbow"]) == "Holm"
    assert named("HOLM", ["Holm", "hOLM"]) == "HOLM"  # either may be meant
    assert named("nobody", ["Holm"]) == "nobody"
