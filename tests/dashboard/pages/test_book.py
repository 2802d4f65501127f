"""The register: a matter from its signal over an action to done, checked and closed; a decision that hangs on none."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from analysis.studies.matters import register, telling
from analysis.studies.matters.records import MovesWith
from analysis.studies.matters.units import every_signal
from dashboard.desk import desk
from dashboard.pages import find
from dashboard.pages.book import deeds
from dashboard.pages.book import page as book
from dashboard.pages.drift import book as drift_book
from dashboard.pages.drift import limits
from dashboard.pages.drift import seen as drift_seen
from dashboard.sentences import book as words
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said


@pytest.fixture
def shop(tmp_path):
    """A desk of the moving shop, to write into."""
    return _opened(tmp_path)


def _opened(tmp_path):
    made = desk.Desk(moving_shop.stands(tmp_path / "shop"))
    desk.use(made)
    return made


def only():
    (one,) = (one for one in desk.ask(register.register) if one.matter is not None and one.waits)
    return one


def test_a_matter_lives_from_open_over_action_and_done_to_checked_and_closed(shop):
    one = only()
    assert (one.state, one.owner, one.reached) == (register.OPEN, "", 1)
    assert "Action treble, LARK-25: 0.29 mm higher" in said(book.layout())
    assert "One matter waits for somebody to take it" in said(book.layout())

    give = {"action": "measure ten blanks", "owner": "bridge bench", "due": "2026-04-02", "who": "Mara"}
    assert deeds.write(one.key, "take", give) == ""
    one = only()
    assert (one.state, one.owner, one.due, one.reached) == (register.ACTION, "bridge bench", date(2026, 4, 2), 2)
    assert one.over == (date(2026, 4, 3) - date(2026, 4, 2)).days
    assert "measure ten blanks" in said(book.layout(who="bridge bench"))
    assert deeds.write(one.key, "done", {"done_on": "2026-03-31", "who": "Mara"}) == ""
    one = only()
    assert one.done_on == date(2026, 3, 31)
    assert one.over == 0
    assert one.checked is not None
    assert one.checked.n == 24  # eight a day on 1, 2 and 3 April
    assert one.checked.verdict == "no change seen"  # the blanks are still in
    assert one.state == register.CHECKED
    assert "no change seen" in said(book.layout(state="checked"))

    assert deeds.write(one.key, "close", {"why": "blanks are back to the old ones", "who": "Mara"}) == ""
    assert [each.state for each in desk.ask(register.register) if each.matter is not None and each.key == one.key] == [
        register.CLOSED
    ]
    assert [each for each in desk.ask(register.register) if each.matter is not None and each.waits] == []


def test_what_was_done_on_the_day_it_moved_is_held_against_the_time_before(shop):
    key = only().key
    give = {"action": "new blanks, target agreed", "owner": "bridge bench", "due": "2026-03-30", "who": "Mara"}
    assert deeds.write(key, "take", give) == ""
    assert [one.key for one in desk.ask(register.due, by=date(2026, 4, 10))] == [key]
    assert deeds.write(key, "done", {"done_on": "2026-03-30", "who": "Mara"}) == ""
    one = only()
    assert one.checked.verdict == "moved on that day or since"
    assert one.checked.low < 0.29 < one.checked.high
    assert one.checked.n == 32  # eight a day from 31 March to 3 April
    assert one.steps == (True, True, True, True, False)
    assert desk.ask(register.due, by=date(2026, 4, 10)) == []  # it is done
    text = said(book.layout()).replace("\u00a0", " ")
    assert "moved on that day or since" in text
    assert "off the centre line, 32 readings since" in text
    assert "One is done and waits to be closed." in text


def test_what_its_readings_closed_shows_no_action_and_says_so():
    closed = _entry()
    closed = replace(closed, state=register.CLOSED, matter=object())
    assert closed.steps == (True, False, False, False, True)
    assert closed.closed_by == ""
    line = register.Line(1, datetime(2026, 4, 1, 10), "close", "old blanks", "Mara", "", None, None)
    assert replace(closed, lines=(line,)).closed_by == "Mara"


def test_two_who_decide_differently_at_once_are_both_kept_and_told(shop):
    key = only().key
    give = {"action": "measure ten blanks", "owner": "bridge bench", "due": "2026-04-02"}
    assert deeds.write(key, "take", {**give, "who": "Mara"}) == ""
    assert deeds.write(key, "take", {**give, "who": "Jonas"}) == ""
    assert only().apart is None  # they say the same
    assert deeds.write(key, "take", {**give, "owner": "nut bench", "who": "Mara"}) == ""
    told = said(book.layout())
    assert "Two decided at once: Jonas at " in told
    assert "(action: measure ten blanks: bridge bench), Mara at " in told
    assert "(action: measure ten blanks: nut bench). Both stand in the book; the later one counts." in told
    assert only().owner == "nut bench"
    assert deeds.write(key, "close", {"why": "old blanks", "who": "Mara"}) == ""
    (one,) = (each for each in desk.ask(register.register) if each.key == key)
    assert [line.kind for line in one.apart] == ["action", "close"]
    assert (one.apart[0].who, one.state) == ("Jonas", register.CLOSED)


@pytest.mark.parametrize(("minutes", "apart"), [(10, True), (11, False)])
def test_who_decides_a_while_later_knew_of_the_other(minutes, apart):
    first, last = (
        register.Line(n, datetime(2026, 4, 1, 10, at), "action", "look", who, "", None, None)
        for n, who, at in ((1, "Mara", 0), (2, "Jonas", minutes))
    )
    done = register.Line(3, datetime(2026, 4, 1, 10, 30), "done", "", "Jonas", "", None, date(2026, 4, 1))
    other = replace(first, text="order blanks")
    assert (_entry(other, last, done).apart is not None) == apart
    assert _entry(first, last).apart is None
    assert _entry(done).apart is None


def _entry(*lines):
    return register.Entry(
        "m", None, "", date(2026, 4, 1), register.ACTION, "", None, 0, "", None, "", None, None, lines
    )


def test_a_decision_is_written_done_closed_and_opened_again(shop):
    wish = {"action": "a gauge trial", "owner": "inspection", "due": "2026-03-30", "who": "Mara"}
    assert deeds.write("new", "decide", wish) == ""
    (one,) = (each for each in desk.ask(register.register) if each.matter is None)
    assert (one.text, one.state, one.over) == ("a gauge trial", register.ACTION, 4)
    assert one.key in {each.key for each in desk.ask(register.due, by=date(2026, 4, 10))}
    assert deeds.write(one.key, "done", {"done_on": "2026-04-01", "who": "Mara"}) == ""
    assert deeds.write(one.key, "close", {"why": "it passed", "who": "Mara"}) == ""

    def now():
        (standing,) = (each for each in desk.ask(register.register) if each.matter is None)
        return standing

    assert (now().state, now().over) == (register.CLOSED, 0)
    assert deeds.write(one.key, "reopen", {"who": "Mara"}) == ""
    assert now().state == register.DONE
    assert [line.kind for line in now().lines] == ["decision", "done", "close", "reopen"]


def test_a_form_says_what_is_missing_and_writes_nothing(shop):
    one = only()
    before = desk.here().snapshot().book_sequence
    assert deeds.write(one.key, "take", {"action": "x", "owner": "y"}).startswith("Say who writes this")
    assert deeds.write(one.key, "take", {"action": "x", "who": "M"}) == "Say what is to be done, and who does it."
    assert "is not a date" in deeds.write(one.key, "take", {"action": "x", "owner": "y", "due": "soon", "who": "M"})
    assert deeds.write(one.key, "done", {"done_on": "2099-01-01", "who": "M"}).startswith("On which day")
    assert deeds.write(one.key, "close", {"who": "M"}) == "Say in a word why it is closed."
    assert deeds.write("new", "decide", {"action": "x", "who": "M"}) == "A decision wants its words and an owner."
    assert deeds.write("gone", "take", {"action": "x", "owner": "y", "who": "M"}).startswith(
        "This row is no longer there"
    )
    assert desk.here().snapshot().book_sequence == before


def test_the_register_is_saved_as_it_is_shown(shop):
    one = only()
    deeds.write(one.key, "take", {"action": "look", "owner": "bridge bench", "due": "2026-05-01", "who": "Mara"})
    name, rows = book.saved(state="action")
    assert name == "book.csv"
    assert rows.select("owner", "due", "state", "days_over").rows() == [("bridge bench", date(2026, 5, 1), "action", 0)]
    assert book.saved(who="nobody")[1].is_empty()


def test_a_shop_where_nothing_moved_has_an_empty_book(tmp_path):
    desk.use(desk.Desk(moving_shop.stands(tmp_path / "shop", with_logs=False)))
    assert "Nothing waits in the book." in said(book.layout())


def test_done_known_and_closed_are_written_from_drift_too_and_in_all_streams(shop):
    one = only()
    main = one.matter.main
    about = {name: main[name] for name in drift_seen.KEY} | {
        "chart": main["chart"],
        "opened_at": main["opened_at"].isoformat(),
        "serial": main["serial"],
    }
    assert drift_book.write(drift_book.WRITE, about, action="measure ten", owner="bench", who="Mara") == ""
    assert only().state == register.ACTION
    assert drift_book.write(drift_book.DONE, about, who="Mara", done_on="2099-01-01").startswith("On which day")
    assert drift_book.write(drift_book.DONE, about, who="Mara", done_on="2026-03-31") == ""
    assert only().done_on == date(2026, 3, 31)
    signals = len(only().matter.signals)
    before = desk.here().snapshot().book_sequence
    assert drift_book.write(drift_book.CLOSE, about, cause="old blanks again", who="Mara") == ""
    assert desk.here().snapshot().book_sequence == before + signals
    assert [each for each in desk.ask(register.register) if each.matter is not None and each.waits] == []


def test_a_known_matter_leaves_what_waits(shop):
    one = only()
    assert deeds.write(one.key, "known", {"who": "Mara"}) == "Until when is it known? Choose the day."
    assert "has passed" in deeds.write(one.key, "known", {"who": "Mara", "until": "2026-04-01"})
    assert deeds.write(one.key, "known", {"who": "Mara", "until": "2099-01-01", "why": "new blanks"}) == ""
    (again,) = (each for each in desk.ask(register.register) if each.key == one.key)
    assert again.state == register.KNOWN


def test_limits_filed_for_a_matter_settle_it_in_all_its_streams(shop):
    one = only()
    main = one.matter.main
    about = {name: str(main[name]) for name in drift_seen.KEY}
    rows, _ = limits.proposal(about, date(2026, 3, 30), date(2026, 4, 3), limits.MATTER, ())
    streams = {tuple(row[name] for name in drift_seen.KEY) for row in desk.ask(register.members, key=one.key)}
    assert {tuple(row) for row in rows.select(drift_seen.KEY).rows()} <= streams
    assert len(rows) >= 1


def test_a_matter_is_found_by_the_number_of_any_of_its_signals(shop):
    one = only()
    held = {(member.table, member.row) for member in one.matter.signals}
    signals = [each for each in desk.ask(every_signal) if (each.table, each.row_number) in held]
    numbers = {telling.key_of_signal(each) for each in signals}
    assert one.key in numbers
    before = sorted(numbers - {one.key})[0]  # as it was called before an earlier signal was known to be of one cause
    page = said(book.layout(key=before))
    assert "Action treble, LARK-25: 0.29 mm higher" in page
    assert f"No. {before} is a part of it by now." in page
    assert "by now" not in said(book.layout(key=one.key))
    assert [each.key for each in find.matters(before)] == [one.key]
    assert len(desk.ask(register.members, key=before)) == len(signals)
    assert deeds.write(before, "close", {"why": "settled", "who": "Mara"}) == ""
    assert "Closed: settled" in said(book.layout(key=before))


def test_a_matter_is_open_since_its_signal_opened_not_since_it_may_have_begun(shop):
    one = only()
    opened = one.matter.opened_at.date()
    assert one.opened_on == opened
    early = replace(one, since=opened - timedelta(days=72))
    assert words.state(early, opened + timedelta(days=3)).replace("\u00a0", " ") == "open, 3 days"


def test_a_closed_matter_leads_to_the_days_it_lasted(shop):
    one = only()
    assert "to=" not in said(book.layout(key=one.key)).partition("/drift?")[2].partition('"')[0]
    assert deeds.write(one.key, "close", {"why": "settled", "who": "Mara"}) == ""
    (closed,) = (each for each in desk.ask(register.register) if each.key == one.key)
    way = said(book.layout(key=one.key)).partition("/drift?")[2].partition('"')[0]
    assert way.endswith(f"&from={one.since - timedelta(weeks=4)}&to={closed.closed_on}")


def test_work_that_came_back_names_its_stage_and_leads_to_its_instruments(shop):
    one = only()
    main = one.matter.main | {"stage": "bridge_fitting", "characteristic": ""}
    main |= {"came_back": 31, "instruments": 190, "expected": 12.0, "times_low": 1.7, "times_high": 3.9}
    back = replace(one, matter=replace(one.matter, characteristics=[], models=[], main=main, moves_with=MovesWith()))
    now = date(2026, 4, 3)
    row = said(book._row(back, desk.here().snapshot().shop, now)).replace("\u00a0", " ")
    assert "Work that came back to bridge fitting" in row
    assert "31 of 190 instruments" in row
    assert "Too few readings" not in row
    assert f"/rework?caused_at=bridge_fitting&from={back.since}&to={now}" in row
    assert "/drift" not in row
