"""A week that was reviewed: page and paper show it as it was then, whatever is written or loaded later; it can be taken
back that day, and a name that is forgotten leaves it too.
"""

import json
from dataclasses import dataclass, fields, is_dataclass
from datetime import UTC, date, datetime
from typing import get_args, get_type_hints

import numpy as np
import polars as pl
import pytest

from analysis.studies.matters import register
from dashboard.app import make_app
from dashboard.commands import cli
from dashboard.desk import desk
from dashboard.exports import copies
from dashboard.pages.book import deeds
from dashboard.pages.week import page, reviewed
from dashboard.pages.week import shown as week_shown
from dashboard.papers import week as paper
from ingest.store import book
from ingest.verbs.backup import backup
from ingest.verbs.forget import forget
from ingest.verbs.load import load
from ingest.verbs.restore import restore
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said

WEEK = date(2026, 3, 30)
LATE = """serial,model,stage,tech,started_at,finished_at,outcome,gauge,relief (mm),action bass (mm),action treble (mm)
ZZ-1,LARK-25,final_inspection,T02,2026-04-02 15:00,2026-04-02 15:05,send back,taper,0.20,2.60,2.40
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """The moving shop: an action was given to somebody, the week reviewed, then more was written and loaded."""
    folder = moving_shop.stands(tmp_path_factory.mktemp("reviewed") / "shop", people='names"\npurpose = "coaching')
    make_app(desk.Desk(folder))
    before = said(page.layout())
    take("measure ten blanks", "bridge bench, Rowan Okafor")
    shown = said(page.layout())
    printed = paper.paper()[1]
    assert reviewed.write(reviewed.SAY, "Mara", WEEK) == ""
    kept = said(page.layout())
    take("throw them away", "somebody else")
    (folder / "late.csv").write_text(LATE)
    load(folder, [folder / "late.csv"], now=moving_shop.NOW)
    return folder, before, shown, printed, kept


def take(action, owner):
    (one,) = (one for one in desk.ask(register.register) if one.matter is not None and one.waits)
    assert deeds.write(one.key, "take", {"action": action, "owner": owner, "due": "2026-04-09", "who": "Mara"}) == ""


@pytest.fixture
def counter(shop):
    made = desk.Desk(shop[0])
    make_app(made)
    return made


def test_a_reviewed_week_says_so_and_shows_what_was_decided_by_then(shop, counter):
    _, before, shown, _, kept = shop
    assert "Reviewed by Mara" not in before + shown
    for text in (kept, said(page.layout())):
        assert "Reviewed by Mara on" in text
        assert "Action treble on LARK-25 moved up 0.29" in text
        assert "bridge bench, Rowan Okafor" in text
        assert "throw them away" not in text
        assert "somebody else" not in text
        assert "ZZ-1" not in text
    assert "One line was written into the book since:" in said(page.layout())
    assert "throw them away" in said(page.layout(anew="1"))


def test_its_paper_is_the_same_to_the_last_figure(shop, counter):
    printed = shop[3]
    name, again = paper.paper()
    assert name == "weekly-review-2026-03-30"

    def body(html):
        return html[html.index("<h1") : html.index("Names no tech")]

    assert body(again) == body(printed)
    assert "Reviewed by Mara on" in again
    assert "throw them away" not in again


def test_told_anew_the_page_says_what_has_changed(counter):
    text = said(page.layout(anew="1"))
    assert "Since it was reviewed:" in text
    assert "judged 40, now 41" in text or "judged 55, now 56" in text or "never sent back" in text


def test_figures_of_a_reviewed_week_recompute_it_and_say_what_has_changed(shop, tmp_path, capsys):
    assert cli.run(["figures", "--shop", str(shop[0]), "--of", "2026-04-05", "--out", str(tmp_path)]) == 0
    said_by = capsys.readouterr().out
    assert "Week of 30 March 2026: Reviewed by Mara on" in said_by.replace("\u00a0", " ")
    assert "Since it was reviewed: " in said_by


def test_it_can_be_taken_back_and_the_week_is_told_from_the_logs_again(tmp_path, shop):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "shop")))
    assert reviewed.write(reviewed.SAY, "  ", WEEK).startswith("Say who reviewed it")
    assert reviewed.write(reviewed.SAY, "Mara", WEEK) == ""
    assert week_shown.kept(WEEK) is not None
    assert "Take that back" in said(page.layout())
    assert reviewed.write(reviewed.BACK, "Mara", WEEK) == ""
    assert week_shown.kept(WEEK) is None
    assert "The week is reviewed" in said(page.layout())


def test_backup_and_restore_keep_it_and_forget_rewrites_it(shop, tmp_path):
    folder = shop[0]
    backup(folder, tmp_path / "kept.zip", now=datetime.now(UTC))
    restore(tmp_path / "back", tmp_path / "kept.zip", now=datetime.now(UTC))
    copied = tmp_path / "back"
    make_app(desk.Desk(copied))
    assert "bridge bench, Rowan Okafor" in said(page.layout())
    forget(copied, "Rowan Okafor", now=moving_shop.NOW)
    make_app(desk.Desk(copied))
    text = said(page.layout())
    assert "Reviewed by Mara on" in text
    assert "Okafor" not in text
    assert "bridge bench, " in text
    with book.reading(copied) as connection:
        line = connection.execute("SELECT sequence FROM weeks_reviewed").fetchone()[0]
    assert "Okafor" not in book.week_copy(copied, line)


def test_with_codes_a_copy_made_with_names_shows_none(shop, tmp_path):
    folder = shop[0]
    backup(folder, tmp_path / "kept.zip", now=datetime.now(UTC))
    restore(tmp_path / "back", tmp_path / "kept.zip", now=datetime.now(UTC))
    toml = tmp_path / "back" / "shop.toml"
    toml.write_text(toml.read_text().replace('show = "names"', 'show = "codes"'))
    made = desk.Desk(tmp_path / "back")
    make_app(made)
    lives = week_shown.kept(WEEK).lives
    assert all("Okafor" not in line.text for one in lives.values() for line in one.lines)


def test_a_copy_that_cannot_be_read_is_told_from_the_logs(tmp_path):
    folder = moving_shop.stands(tmp_path / "shop")
    make_app(desk.Desk(folder))
    row = {"week": WEEK, "what": "reviewed", "copy_format": 99, "copy": '{"~":"Later","of":{}}'}
    book.write_week(folder, row, "Mara", now=datetime.now(UTC))
    assert week_shown.kept(WEEK) is None
    assert "What to know" in said(page.layout())


@dataclass(frozen=True)
class Held:
    day: date
    at: datetime
    table: pl.DataFrame
    pair: tuple[float, float]
    by: dict
    many: list
    text: str = ""


def test_a_copy_gives_back_what_it_was_made_of():
    table = pl.DataFrame(
        {"n": [1, None], "x": [0.1, float("nan")], "at": [datetime(2026, 3, 1, tzinfo=UTC), None], "t": [["a"], []]},
        schema_overrides={"at": pl.Datetime("us", "UTC")},
    )
    made = Held(
        date(2026, 3, 1), datetime(2026, 3, 1, 7, tzinfo=UTC), table, (1.5, -2.0), {("a", 1): None}, [1, "x"], "é"
    )
    back = copies.from_text(copies.to_text(made), [Held])
    assert back.table.equals(table)
    assert back.table.schema == table.schema
    assert (back.day, back.at, back.pair, back.by, back.many) == (made.day, made.at, made.pair, made.by, made.many)
    assert copies.from_text(copies.to_text(made), [Held], words=["text"], put=str.upper).text == "É"
    assert copies.to_text(np.float64(0.25)) == "0.25"


@pytest.mark.parametrize("text", ["", "[1", '{"~":"Held","of":{"nobody":1}}', '{"~":"Strange","of":{}}', '{"of":1}'])
def test_a_text_that_is_no_copy_is_refused(text):
    with pytest.raises(copies.NoCopy):
        copies.from_text(text, [Held])


def test_a_field_that_a_later_version_dropped_is_passed_over():
    made = json.loads(copies.to_text(Held(date(2026, 3, 1), datetime(2026, 3, 1), pl.DataFrame(), (1.0, 2.0), {}, [])))
    made["of"]["gone"] = 1
    assert copies.from_text(json.dumps(made), [Held]).day == date(2026, 3, 1)


def test_all_that_a_week_of_the_demo_shows_can_be_kept(demo_desk):
    told = week_shown.told()
    text = copies.to_text(told)
    back = copies.from_text(text, week_shown.CLASSES)
    assert copies.to_text(back) == text
    assert len(text) < 1_000_000


def hangs_on(made, *, seen):
    """Every dataclass that one holds, by its annotations."""
    hints = get_type_hints(made)
    for each in fields(made):
        for one in parts_of(hints[each.name]):
            if is_dataclass(one) and one not in seen and each.metadata.get("kept", True):
                seen.add(one)
                hangs_on(one, seen=seen)
    return seen


def parts_of(hint):
    return [hint] if not get_args(hint) else [one for each in get_args(hint) for one in parts_of(each)]


def test_whatever_a_week_may_hold_can_be_read_back():
    assert hangs_on(week_shown.WeekShown, seen={week_shown.WeekShown}) <= set(week_shown.CLASSES)
