"""The October question is an address; what it asks for and is not there is said; the words agree with the study."""

import pytest

from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages import against as page
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said

WHAT = "action|treble|final_inspection"


@pytest.fixture
def looked_at(moving_desk):
    make_app(moving_desk)


def test_a_model_since_a_day_against_all_else_of_it_is_told_with_its_interval(looked_at):
    text = said(page.layout(what=WHAT, a_model="LARK-25", a_from="2026-03-30"))
    assert "LARK-25, since 30 Mar lies 0.30 mm higher" in text
    assert "higher than all else of LARK-25 (0." in text
    assert "mean (" in text
    assert "Both on one scale" in text


def test_what_a_setter_did_in_a_period_offers_the_time_before_and_the_others(looked_at):
    asked = {"a_model": "LARK-25", "a_tech": "T01", "a_from": "2026-03-09", "a_to": "2026-03-13"}
    text = said(page.layout(what=WHAT, **asked))
    assert "No difference is shown between LARK-25, set by T01, 9 Mar to 13 Mar and" in text
    assert "are for coaching" in text
    assert "against as many days before" in text
    assert "b_from=2026-03-04&b_to=2026-03-08" in text
    assert "against what others set" in text


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"a_model": "NOPE"}, "model 'NOPE'"),
        ({"b_tech": "T99"}, "set by 'T99'"),
        ({"what": "nothing|like|that"}, "nothing|like|that"),
    ],
)
def test_an_address_that_asks_for_what_is_not_there_says_so(looked_at, asked, told):
    text = said(page.layout(**asked))
    assert "That is not in this shop." in text
    assert told in text


def test_without_a_choice_it_asks_for_one_and_without_a_log_for_a_log(looked_at, tmp_path):
    assert "choose what to hold against what" in said(page.layout())
    make_app(desk.Desk(moving_shop.stands(tmp_path / "empty", with_logs=False)))
    assert "Nothing was read yet." in said(page.layout())


def test_without_a_choice_no_chart_is_drawn_and_an_example_leads_on(looked_at):
    page_as_it_is = page.layout()
    assert "Both on one scale" not in said(page_as_it_is)
    assert "a_model=LARK-25&a_from=2026-03-07&b_model=LARK-25&b_to=2026-03-06" in str(page_as_it_is)


def test_what_was_read_first_stands_left(looked_at):
    asked = {"a_model": "LARK-25", "a_from": "2026-03-30", "b_model": "LARK-25", "b_to": "2026-03-29"}
    text = said(page.layout(what=WHAT, **asked))
    assert "LARK-25, since 30 Mar lies 0.30 mm higher than LARK-25, up to 29 Mar (" in text
    sheet = text.partition("Both on one scale")[2]
    assert sheet.index("LARK-25, up to 29 Mar") < sheet.index("LARK-25, since 30 Mar")


def test_people_are_those_of_the_list_and_names_on_none_are_told(looked_at, monkeypatch):
    offer = page.on_offer(desk.here().snapshot())
    assert offer["tech"] == ["T01", "T02"]
    monkeypatch.setattr(desk, "ask", lambda study, **how: offer | {"tech on file": [*offer["tech"], "TO2"]}
                        if study is page.on_offer else desk.here().ask(study, **how))  # fmt: skip
    text = said(page.layout(what=WHAT, a_tech="T01"))
    assert "Names that no list has stand apart (TO2); Logs asks who they are." in text
    assert text.count("TO2") == 1


def test_no_setter_is_offered_where_nobody_is_shown(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "shop", people="none")))
    text = said(page.layout(what=WHAT, a_model="LARK-25"))
    assert "T01" not in text
    assert "set by" not in said(page.layout(what=WHAT, a_tech="T01")) or "That is not" in said(
        page.layout(what=WHAT, a_tech="T01")
    )
