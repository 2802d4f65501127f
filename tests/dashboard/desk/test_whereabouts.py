"""Where an instrument stands when its card is opened, on file and by cards kept since."""

import tomllib
from datetime import UTC, datetime, timedelta

import pytest

from dashboard.desk.kept_cards import Kept
from dashboard.desk.whereabouts import Whereabouts
from ingest.shopfiles.shop import checked_shop
from ingest.store.at_bench import Seen

AT = datetime(2026, 11, 23, 9, tzinfo=UTC)
NOW = AT + timedelta(days=3)
STAGES = ("receiving", "stringing", "head_retension", "nut_slotting", "play_test", "final_inspection", "packing")
ROLES = {"receiving": "receiving", "play_test": "test", "final_inspection": "final", "packing": "packing"}
STAGE = '[[stage]]\nkey = "{}"\nname = "{}"\nrole = "{}"\n'


@pytest.fixture(scope="module")
def shop():
    text = '[shop]\nname = "Weir Lane"\ntimezone = "UTC"\n'
    text += "".join(STAGE.format(key, key.replace("_", " ").capitalize(), ROLES.get(key, "bench")) for key in STAGES)
    text += STAGE.format("repair", "Repair bench", "repair")
    return checked_shop(
        tomllib.loads(text + '[[characteristic]]\nkey = "nut"\n[[model]]\nkey = "DRAY-5"\nfamily = "banjo"\n')
    )


def at(shop, here: str, seen: Seen | None, *since: Kept) -> Whereabouts:
    return Whereabouts(shop, shop.by_stage[here], shop.by_model["DRAY-5"], seen, list(since))


def on_file(*passed: str, outcome: str = "pass", last: str = "", **more) -> Seen:
    told = {"sent_to": "", "came_back": 0} | more
    return Seen("D-1", "DRAY-5", "", "", passed, last or passed[-1], AT, outcome, **told)


def kept(stage: str, outcome: str = "pass", to: str = "", fault: str = "") -> Kept:
    row = {"stage": stage, "outcome": outcome, "sent_back_to": to, "fault": fault, "fault_at": "", "serial": "D-1"}
    return Kept("card.csv", row, AT + timedelta(days=1))


def test_what_was_skipped_before_this_stage_is_due_and_what_comes_after_is_not(shop):
    seen = on_file("receiving", "stringing", "nut_slotting")
    assert at(shop, "play_test", seen).due() == ["Not on file: Head retension"]
    assert at(shop, "head_retension", seen).due() == []
    assert at(shop, "play_test", seen, kept("head_retension")).due() == []


def test_of_many_the_first_three_are_named(shop):
    due = at(shop, "packing", on_file("receiving")).due()
    assert due == ["Not on file: Stringing; Head retension; Nut slotting and 2 more"]


def test_a_check_that_sent_it_back_is_due_until_it_has_had_it_again(shop):
    way = ("receiving", "stringing", "head_retension", "nut_slotting", "play_test", "final_inspection")
    seen = on_file(*way, waits=("play_test",))
    assert at(shop, "packing", seen).due() == ["Play test sent it back and has not had it since"]
    assert at(shop, "packing", seen, kept("play_test")).due() == []
    assert at(shop, "nut_slotting", seen).due() == []


def test_it_says_why_an_instrument_is_here_or_where_it_was_sent(shop):
    why = {"outcome": "send back", "sent_to": "nut_slotting", "why": "open-string buzz", "where": "2 fret 3"}
    seen = on_file("receiving", "stringing", "nut_slotting", "play_test", waits=("play_test",), **why)
    line = at(shop, "nut_slotting", seen).sent(NOW)
    assert line.replace("\xa0", " ") == "Play test sent it here on 23 Nov: open-string buzz, 2 fret 3."
    assert at(shop, "stringing", seen).sent(NOW).endswith("Nut slotting has not had it yet.")
    assert at(shop, "play_test", seen).sent(NOW).endswith("no other bench has had it since.")
    assert at(shop, "play_test", seen, kept("nut_slotting")).sent(NOW) == ""  # put right: it comes as it should
    assert at(shop, "stringing", seen, kept("nut_slotting")).further_on(NOW) == ""  # and may pass benches again


def test_one_that_stands_further_on_or_goes_no_further_is_said(shop):
    packed = on_file("receiving", "nut_slotting", "packing")
    line = at(shop, "nut_slotting", packed).further_on(NOW).replace("\xa0", " ")
    assert line == "It stands further on: Packing had it on 23 Nov. It was at this bench before; this is another visit."
    assert (
        at(shop, "nut_slotting", on_file("receiving", "repair")).further_on(NOW) == ""
    )  # the repair bench is on no route
    held = at(shop, "nut_slotting", on_file("receiving", outcome="hold")).sent(NOW).replace("\xa0", " ")
    assert held == "Receiving put it on hold on 23 Nov."
    assert at(shop, "nut_slotting", None).sent(NOW) == ""
    assert at(shop, "nut_slotting", on_file("receiving")).further_on(NOW) == ""
