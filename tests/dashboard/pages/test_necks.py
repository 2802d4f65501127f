"""Necks as plain functions: what the page says of lots, where its numbers lead, and what it does with little."""

import shutil

import pytest

from analysis.studies.necks import bow, lots, necks
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.necks import page, strips
from dashboard.sentences import bow as sentences_bow
from dashboard.sentences import necks as words
from tests.dashboard.pages import moving_shop, people_shop
from tests.dashboard.pages.said import said

BLAMING = ("mistake", "blame", "worst", "failed", "poor ", "bad ", "guilty", "culprit", "sloppy", "careless", "rank")


@pytest.fixture
def stands(people_desk):
    return people_desk.folder


@pytest.fixture
def looked_at(people_desk):
    make_app(people_desk)
    return people_desk


def test_the_headline_is_the_lot_that_the_plan_does_not_take(looked_at):
    row = next(row for row in looked_at.ask(necks.by_lot).iter_rows(named=True) if row["lot"] == people_shop.HOLLOW)
    assert row["verdict"] == "reject"
    outside = round(row["outside"] * row["n"])
    assert f"Lot MP-15 fails the agreed plan: {outside} of 24 outside" in said(page.layout())


def test_every_lot_stands_in_the_table_with_its_way_to_the_readings(looked_at):
    text = said(page.layout())
    for k in range(people_shop.LOTS):
        supplier, lot = people_shop.lot(k)
        assert f"lot={lot}" in text, lot
        assert supplier in text


def test_a_filter_leaves_one_supplier_and_the_talk_is_with_them(looked_at):
    text = said(page.layout(supplier="Tollgate Necks"))
    assert "TN-16" in text
    assert "MP-16" not in text
    assert "For the talk with Tollgate Necks" in text
    assert "/papers/necks?supplier=Tollgate+Necks" in text


@pytest.mark.parametrize(
    "given", [{"supplier": "nobody"}, {"model": "x"}, {"goes": "x"}, {"lot": "x"}, {"unheard": "of"}]
)
def test_an_address_that_fits_nothing_shows_all(looked_at, given):
    assert said(page.layout(**given)) == said(page.layout())


@pytest.mark.parametrize("measure", bow.MEASURES)
def test_what_goes_with_bow_is_told_with_its_interval_and_its_lots(looked_at, measure):
    found = looked_at.ask(bow.goes_with, measure=measure)
    words = sentences_bow.per_tenth(found, looked_at.snapshot().shop, "neck_bow")
    assert "288 necks of 12 lots" in words
    assert "(" in words.partition("more")[2]
    assert words.replace("\u00a0", " ") in said(page.layout(goes=measure))


def test_the_plan_is_told_by_what_it_lets_through(looked_at):
    text = said(page.layout())
    # binomial, 20 necks, at most 2 outside: half of the lots with 13.1 % pass (Pr(X <= 2) = .5 at p = .1315)
    assert "This plan lets through a lot with 13 % outside half of the time." in text


def test_a_lot_of_under_thirty_necks_is_called_few(looked_at):
    assert "24, few" in said(page.layout())


def test_money_follows_the_labour_rate_and_can_be_left_out(looked_at):
    shop, found = looked_at.snapshot().shop, looked_at.ask(bow.goes_with, measure="minutes")
    told = sentences_bow.per_tenth(found, shop, "neck_bow")
    assert f"{found.slope * 36 / 60:.2f}\u00a0EUR" in told
    assert "EUR" not in sentences_bow.per_tenth(found, shop, "neck_bow", money=False)


def test_no_word_blames_a_supplier(looked_at):
    text = said(page.layout()).lower()
    assert [word for word in BLAMING if word in text] == []


def test_a_shop_without_logs_says_what_it_wants(tmp_path):
    make_app(desk.Desk(people_shop.stands(tmp_path / "empty", with_logs=False)))
    assert "No neck has been measured at receiving yet" in said(page.layout())


def test_bow_read_at_a_bench_is_not_told_as_no_bow(tmp_path):
    folder = people_shop.stands(tmp_path / "bench")
    told = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(told.replace('role = "receiving"', 'role = "bench"'))
    make_app(desk.Desk(folder))
    text = said(page.layout())
    assert "On file are 576 readings of neck bow with supplier or lot, taken at receiving inspection" in text
    assert "No neck has been measured" not in text


def test_a_shop_that_measures_no_necks_says_so(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "none")))
    assert "No incoming neck to judge yet." in said(page.layout())


def test_a_shop_without_a_plan_or_limits_takes_and_refuses_nothing(stands, tmp_path):
    folder = shutil.copytree(stands, tmp_path / "plain")
    text = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(text[: text.index("[[plan]]")])
    (folder / "specs.csv").write_text("characteristic,position,model,target,lower,upper,unit\n")
    make_app(desk.Desk(folder))
    shown = said(page.layout())
    assert "without limits nothing can be called outside" in shown
    assert "No plan is agreed" in shown
    assert "bring to the supplier" not in shown


def test_what_lots_csv_leaves_open_is_asked(stands, tmp_path):
    folder = shutil.copytree(stands, tmp_path / "open")
    head, *rows = (folder / "lots.csv").read_text().splitlines()
    place = head.split(",").index("quantity")

    def with_lots(quantity: str, disposition: str) -> str:
        told = [f"{head},disposition"]
        for row in rows:
            cells = row.split(",")
            hollow = people_shop.HOLLOW in cells
            told.append(",".join([*cells[:place], quantity if hollow else cells[place], *cells[place + 1 :]]))
            told[-1] += f",{disposition}" if hollow else ","
        (folder / "lots.csv").write_text("\n".join(told) + "\n")
        make_app(desk.Desk(folder))
        return said(page.layout())

    text = with_lots("7", "")
    assert "Lot MP-15: 24 necks are measured, and lots.csv says that 7 came. Which is right?" in text
    assert "What became of lot MP-15: used, sorted or returned?" in text
    text = with_lots("24", "returned")
    assert "Which is right?" not in text
    assert "What became of lot" not in text


def lot(name, supplier, out, n, verdict=None, apart=None, more=None):
    low = max(out / n - 0.1, 0.0) if n > 5 else 0.0
    told = {"lot": name, "supplier": supplier, "outside": out / n, "outside_low": low, "n": n, "verdict": verdict}
    return told | {"apart": apart, "more_outside": more, "quantity": None}


def test_without_a_plan_the_lot_with_most_outside_is_spoken_of_drawn_first_and_its_supplier_talked_to():
    rows = [lot(f"B{k}", "Birkwood", 1, 20) for k in range(12)] + [
        lot("H9", "Holm", 24, 26, more=True),
        lot("H1", "Holm", 1, 1),
    ]
    assert words.foremost(rows)["lot"] == "H9"  # one of one tells less than 24 of 26
    assert "H9" in [row["lot"] for row in strips.to_draw(rows, strips.STRIPS)]
    assert words.foremost([lot("B1", "Birkwood", 0, 20)]) is None


def test_of_lots_that_differ_as_chance_has_it_none_leads():
    rows = [lot(f"B{k}", "Birkwood", int(k in (3, 7)), 45) for k in range(36)]
    assert words.foremost(rows) is None
    said = words.headline(rows, None).replace("\u00a0", " ")
    assert said == "No lot stands apart: 2 of 1,620 necks lie outside their limits, the largest share in B3 (1 of 45)."
    said = words.headline(rows[3:5], None).replace("\u00a0", " ")
    assert said == "No lot stands apart: 1 of 90 necks lies outside its limits, in lot B3."


def test_with_a_plan_the_newest_that_it_does_not_take_comes_first():
    rows = [lot("B1", "Birkwood", 1, 20, lots.ACCEPT), lot("B2", "Birkwood", 9, 20, lots.REJECT)]
    assert words.foremost(rows)["lot"] == "B2"
    assert words.foremost(rows[:1]) is None


def test_a_lot_that_stands_apart_is_spoken_of_before_those_with_a_few_outside_and_after_one_not_taken():
    rows = [lot("B1", "Birkwood", 2, 20), lot("B2", "Birkwood", 0, 20, apart=True), lot("B3", "Birkwood", 1, 20)]
    assert words.foremost(rows)["lot"] == "B2"
    assert words.foremost([*rows, lot("B4", "Birkwood", 9, 20, lots.REJECT)])["lot"] == "B4"
    assert words.foremost([lot("B1", "Birkwood", 0, 20, lots.ACCEPT), rows[1]])["lot"] == "B2"
