"""Bench as plain functions: whom it shows and how, what it says of a person, and what it writes into the book."""

import re
import shutil
from datetime import UTC, date, datetime
from types import SimpleNamespace

import polars as pl
import pytest
from dash import no_update

from analysis.methods.problems import UnusableData
from analysis.studies.drift.shares import Since
from analysis.studies.drift.shares_standing import Standing
from analysis.studies.people import first_work, targets
from analysis.studies.people.bands import bands as target_bands
from analysis.studies.people.catchers import Caught
from dashboard import parts
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.bench import deeds, moved
from dashboard.pages.bench import page as bench
from dashboard.papers import bench as card
from dashboard.sentences import bench as sentences_bench
from dashboard.sentences import targets as sentences_targets
from tests.dashboard.pages import moving_shop, people_shop
from tests.dashboard.pages.said import said
from tests.dashboard.pages.test_necks import BLAMING
from tests.dashboard.papers.test_necks import words

NAMES = list(people_shop.TECHS.values())


@pytest.fixture
def stands(people_desk):
    return people_desk.folder


@pytest.fixture
def looked_at(people_desk):
    make_app(people_desk)
    return people_desk


def test_it_opens_on_the_new_tech_and_tells_targets_one_by_one(looked_at):
    text = said(bench.layout())
    assert "T09 at nut slotting: two targets shown to hold, two not yet; more came back than chance and mix" in text
    assert "21.5 thou" in text  # 0.55 mm: 21.65 thousandths, to the half
    assert "Runs" in text


def test_every_page_says_where_a_look_together_may_help_in_bench_order(looked_at):
    rows = looked_at.ask(first_work.first_work).filter(pl.col("more").fill_null(False), pl.col("ratio_low") >= 1)
    assert [row["tech"] for row in rows.to_dicts()] == ["T09"]
    other = next(one for one in looked_at.snapshot().shop.techs if one.key != "T09").key
    page = bench.layout(tech=other)
    assert "Where a look together may help: " in said(page)
    assert "T09 at nut slotting, " in said(page)
    assert "tech=T09&stage=nut_slotting" in str(page)


def test_figures_are_said_to_be_for_coaching_and_law_to_decide(looked_at):
    text = said(bench.layout())
    assert "These figures are for coaching" in text
    assert "Local law and agreements decide their use" in text
    assert "fewer than 30 instruments is few" in text


def test_work_that_came_back_is_told_against_the_same_mix_with_its_interval(looked_at):
    row = looked_at.ask(first_work.first_work).filter(tech="T09", stage="nut_slotting").row(0, named=True)
    told = f"{row['came_back']} of {row['judged']} judged instruments came back"
    expected = f"; from the others about {row['expected']:.1f} would have come back on the same mix: between"
    text = said(bench.layout())
    assert told in text
    assert expected in text


def test_more_than_chance_and_mix_is_said_with_how_often_that_errs_and_apart_from_the_funnel(looked_at):
    row = looked_at.ask(first_work.first_work).filter(tech="T09", stage="nut_slotting").row(0, named=True)
    assert row["more"]
    more, funnel = sentences_bench.chance_and_mix(row)
    assert more == (
        "More came back than chance and mix explain (of people whose work is as the others', 1 in 20 or fewer would "
        "be told so). "
        "Look at the work together, and at what came with it."
    )
    assert "998 of 1,000" in funnel
    assert "More came back than chance and mix explain" in said(bench.layout())
    alike = row | {"more": False, "expected": 5.2, "outside_funnel": False}
    assert (
        "fewer than 12 are expected, even twice as much often cannot be told from chance."
        in sentences_bench.chance_and_mix(alike)[0]
    )
    assert (
        sentences_bench.chance_and_mix(alike | {"expected": 40.0})[0]
        == "Not more came back than chance and mix explain."
    )
    assert sentences_bench.chance_and_mix(row | {"ratio": None}) == ("", "")
    assert sentences_bench.chance_and_mix(None) == ("", "")


def test_others_are_rings_without_a_name(looked_at):
    text = said(bench.layout(tech="T09", stage="nut_slotting"))
    sheets = text[text.index("Targets: set by hand") :]
    filters = sheets.index("bench-stage")
    assert "another person" in sheets
    assert not re.search(r"T0[23]", sheets[filters:])


def test_minutes_stand_after_targets_and_after_what_came_back(looked_at):
    text = said(bench.layout())
    names = (
        "Work that came back to this bench",
        "Send-backs with practice",
        "What is set here",
        "Minutes a visit",
        "A person signs",
    )
    places = [text.index(name) for name in names]
    assert places == sorted(places)


@pytest.mark.parametrize("tech", ["T01", "T02", "T09", "T99", ""])
@pytest.mark.parametrize("stage", ["nut_slotting", "final_inspection", "nowhere"])
def test_every_person_and_stage_has_a_page_that_blames_nobody(looked_at, tech, stage):
    text = said(bench.layout(tech=tech, stage=stage)).lower()
    assert [word for word in BLAMING if word in text] == []
    assert " nan" not in text


def test_codes_show_no_name_and_names_show_no_more_than_asked(looked_at, tmp_path):
    assert [name for name in NAMES if name in said(bench.layout())] == []
    make_app(desk.Desk(people_shop.stands(tmp_path / "names", people="names")))
    text = said(bench.layout())
    assert "Pell Asterby at nut slotting" in text
    assert "These figures are for coaching of new techs" in text


def test_nobody_shown_is_the_page_that_says_what_to_settle_first(stands, tmp_path):
    folder = shutil.copytree(stands, tmp_path / "none")
    (folder / "shop.toml").write_text((folder / "shop.toml").read_text().replace('show = "codes"', 'show = "none"'))
    make_app(desk.Desk(folder))
    text = said(bench.layout(tech="T09", stage="nut_slotting"))
    assert "What to settle first" in text
    assert "works council" in text
    assert [key for key in [*people_shop.TECHS, *NAMES] if key in text] == []


def test_a_person_who_left_long_ago_has_no_page_and_no_card(stands):
    later = desk.Desk(stands, as_of=datetime(2029, 1, 1, tzinfo=UTC))
    make_app(later)
    text = said(bench.layout(tech="T09"))
    assert "Figures of one person are shown for 24 months after their last visit" in text
    assert "truerun forget T01 takes a name out of every file" in text
    assert "at nut slotting" not in text
    with pytest.raises(UnusableData, match=r"nothing stands here of T09 \(\d+.\w+ 2026\)"):
        card.paper("T09")


def test_a_person_signs_into_the_bench_book(stands, tmp_path):
    counter = desk.Desk(shutil.copytree(stands, tmp_path / "copy"))
    make_app(counter)
    about = {"tech": "T09", "stage": "nut_slotting"}
    assert deeds.agreed(None, "x", "y", "", about) is no_update
    assert deeds.agreed(1, "Stop at 23 thou", "", "", about).startswith("Write the next step and who agreed it")
    told = deeds.agreed(1, "Stop at 23 thou", "R. Marsh", "light is bad at bench 4", about)
    assert told == "Written into the bench book as the next step. Nothing is signed off by it."
    text = said(bench.layout(**about))
    assert "Stop at 23 thou. Remark: light is bad at bench 4" in text
    assert "Written by R. Marsh" in text
    assert "Signed off by R. Marsh" not in text
    assert "Stop at 23 thou" not in said(bench.layout(tech="T02", stage="nut_slotting"))


def test_a_shop_without_logs_or_without_known_techs_says_what_is_missing(tmp_path):
    make_app(desk.Desk(people_shop.stands(tmp_path / "empty", with_logs=False)))
    text = said(bench.layout())
    assert "no target band yet" in text
    assert "Set a target by hand below: it holds from the first instrument on." in text


def test_signing_off_is_a_deed_of_its_own_and_keeps_what_the_test_said(stands, tmp_path):
    counter = desk.Desk(shutil.copytree(stands, tmp_path / "signs"))
    make_app(counter)
    about = {"tech": "T09", "stage": "nut_slotting"}
    shown = card.choose(counter.ask(targets.stands, tech="T09"), {"nut_slotting"})[2].band
    which = f"{shown['characteristic']}|{shown['position']}|{shown['model']}"
    assert deeds.signed_off(1, which, " ", about).startswith("Choose the target and write who")
    assert deeds.signed_off(1, "nut|treble|nowhere", "R. Marsh", about).startswith(
        "That target does not stand any more"
    )
    assert deeds.signed_off(1, which, "R. Marsh", about).startswith("Signed off by R. Marsh, now.")
    line = counter.snapshot().lines("signed off").row(0, named=True)
    assert (line["who"], line["tech"], line["characteristic"], line["position"]) == (
        "R. Marsh",
        "T09",
        "nut",
        shown["position"],
    )
    assert "target shown" in line["text"]
    text = said(bench.layout(**about))
    assert text.count("Signed off by R. Marsh") == 2  # beside the target, and in the book
    assert "Signed off by R. Marsh" in words(card.paper("T09")[1])


def test_a_sign_off_is_taken_back_with_who_and_why_and_can_be_given_again(stands, tmp_path):
    counter = desk.Desk(shutil.copytree(stands, tmp_path / "back"))
    make_app(counter)
    about = {"tech": "T09", "stage": "nut_slotting"}
    shown = card.choose(counter.ask(targets.stands, tech="T09"), {"nut_slotting"})[2].band
    which = f"{shown['characteristic']}|{shown['position']}|{shown['model']}"
    assert deeds.taken_back(None, which, "x", "y", about) is no_update
    assert deeds.taken_back(1, which, "R. Marsh", " ", about).startswith("Choose the target, and write who")
    assert deeds.taken_back(1, which, "R. Marsh", "wrong bench", about).startswith("That target is not signed off")
    deeds.signed_off(1, which, "R. Marsh", about)
    told = deeds.taken_back(1, which, "O. Vane", "signed at the wrong bench", about)
    assert told.startswith("Taken back by O. Vane, now.")
    for text in (said(bench.layout(**about)), words(card.paper("T09")[1])):
        assert "Not signed off: the sign-off of R. Marsh" in text
        assert "signed at the wrong bench" in text
    assert "Signed off by R. Marsh" in said(bench.layout(**about))  # the book keeps both lines
    assert deeds.taken_back(1, which, "O. Vane", "again", about).startswith("That target is not signed off")
    deeds.signed_off(1, which, "R. Marsh", about)
    assert "Not signed off" not in said(bench.layout(**about))


def test_a_target_by_hand_holds_from_the_first_day_and_can_be_taken_back(stands, tmp_path):
    counter = desk.Desk(shutil.copytree(stands, tmp_path / "by_hand"))
    make_app(counter)
    about = {"tech": "T01", "stage": "nut_slotting"}
    hand = ("nut|bass", "HERON-D")
    assert "has no unit that fits" in deeds.set_by_hand(1, *hand, "20", "24 thou", "", "R. Marsh", about)
    assert deeds.set_by_hand(1, *hand, "24 thou", "20 thou", "", "R. Marsh", about) == "From must lie below to."
    told = deeds.set_by_hand(1, *hand, "20 thou", "24 thou", "0.55 mm", "R. Marsh", about)
    assert told.startswith("Set by R. Marsh, now.")
    first = bench.stands_at("T01", "nut_slotting")[0]  # what was set by hand comes first
    assert (first.band["source"], first.band["who"], first.verdict) == ("by hand", "R. Marsh", "too few to say")
    assert (first.band["lower"], first.band["upper"]) == pytest.approx((0.508, 0.6096))
    text = said(bench.layout(**about)).replace("\u00a0", " ")
    assert "20 to 24 thou (0.51 to 0.61 mm)" in text
    assert "Set by hand by R. Marsh." in text
    assert bench.stands_at("T09", "nut_slotting")[0].band["source"] == "qualified"  # it is nobody else's
    assert deeds.set_by_hand(1, *hand, "", "", "", "R. Marsh", about) == "Taken back."
    assert bench.stands_at("T01", "nut_slotting")[0].band["source"] == "qualified"


def test_without_anybody_qualified_the_limits_are_the_target(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "unqualified")))
    text = said(bench.layout())
    assert "targets shown" in text
    assert "The limits of the spec, since shop.toml signs nobody off for this bench." in text


def test_the_band_is_told_in_the_unit_of_its_gauge(looked_at):
    shop = looked_at.snapshot().shop
    band = looked_at.ask(target_bands).filter(characteristic="nut", position="bass", model="HERON-D").row(0, named=True)
    assert sentences_targets.hold(shop, band) == f"{band['lower_steps']} to {band['upper_steps']}\u00a0thou"
    assert [sentences_targets.gauge_unit(text) for text in ("0.001 in", "1/64 in", "0.05 mm", "", "0.5 cents")] == [
        "thou",
        "64ths",
        "mm",
        "mm",
        "mm",
    ]


def test_whoever_is_chosen_is_shown_where_they_work_and_a_bench_chosen_stays(monkeypatch):
    made = {}

    class App:
        def callback(self, output, *asked, **more):
            return lambda work: made.setdefault(output.component_id, work)

    monkeypatch.setattr(bench.deeds, "connect", lambda app: None)
    bench.connect(App())
    work = made["_pages_location"]
    for chosen, said_so in ((bench.TECH, "?tech=T02"), (bench.STAGE, "?tech=T02&stage=nut_slotting")):
        monkeypatch.setattr(parts, "ctx", SimpleNamespace(triggered_id=chosen))
        assert work("T02", "nut_slotting", "", "", "?tech=T09&stage=nut", "/bench") == said_so


def test_a_shop_that_signs_nobody_off_calls_nobody_new_for_that(stands, tmp_path):
    folder = shutil.copytree(stands, tmp_path / "unsigned")
    text = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(re.sub(r"(?m)^qualified = .*$", "", text))
    make_app(desk.Desk(folder))
    page = said(bench.layout(tech="T02", stage="nut_slotting"))
    assert "Nobody is signed off for this bench." in page
    assert "New here" not in page
    assert "nobody else who is qualified" not in page
    assert "since shop.toml signs nobody off for this bench" in page


def test_more_that_comes_back_to_this_bench_is_said_as_on_week_with_the_tester_and_without_a_name(
    looked_at, monkeypatch
):
    caught = Caught("final_inspection", 2, date(2026, 3, 9), 20, 90, 4, 100, 4, 100, 5, 100)
    monkeypatch.setattr(moved, "caught_by_one", lambda _snapshot, stage: caught if stage == "nut_slotting" else None)

    def text_of(found):
        def lasts(_snapshot, *, week):
            return [Standing("nut_slotting", date(2026, 3, 9), found), Standing("packing", date(2026, 3, 9), found)]

        lasts.__qualname__ = f"lasts {found}"  # answers are kept by it
        monkeypatch.setattr(moved, "standing", lasts)
        return said(bench.layout(tech="T09", stage="nut_slotting"))

    text = text_of(Since(9, 80, 2.0, 1.9, 9.0))
    assert "More than before at nut slotting since the week of 9 Mar: 9 of 80 instruments" in text
    assert "times as many. Of those that one of two at final inspection tried since the week of 9 Mar" in text
    assert "at packing since" not in text
    assert "than before at nut slotting" not in text_of(Since(1, 80, 6.0, 0.1, 0.9))
