"""The weekly review on paper: what stands on it, that it computes again to the same bytes, and how it prints."""

import re
from dataclasses import replace
from datetime import date
from html import unescape

import pytest

from analysis.methods.problems import UnusableData
from analysis.review import review
from analysis.studies.matters import register
from dashboard.app import make_app
from dashboard.commands import cli
from dashboard.commands.serving import _week_in_sentences
from dashboard.desk import desk
from dashboard.pages.book import deeds
from dashboard.papers import pdf, week
from dashboard.sentences import book as sentences_book
from dashboard.sentences import findings
from ingest.verbs.load import load
from tests.dashboard.pages import moving_shop

ONE_DAY = "serial,model,stage,tech,started_at,finished_at,outcome,relief (mm)"


@pytest.fixture(scope="module")
def stands(tmp_path_factory):
    folder = moving_shop.stands(tmp_path_factory.mktemp("paper") / "shop")
    counter = desk.Desk(folder)
    counter.write_entry(
        "decision",
        "Measure 20 saddle blanks <against> 20 old ones",
        who="R. Marsh",
        owner="R. Marsh",
        due=date(2026, 4, 10),
        week=date(2026, 3, 30),
    )
    return folder


@pytest.fixture(scope="module")
def counter(stands):
    return desk.Desk(stands)  # read only


@pytest.fixture
def looked_at(counter):
    desk.use(counter)
    return counter


def small(folder, rows):
    """A shop with a few rows loaded, and no more."""
    moving_shop.stands(folder, with_logs=False)
    if rows:
        path = folder / "day.csv"
        path.write_text("\n".join([ONE_DAY, *rows]) + "\n")
        load(folder, [path], now=moving_shop.NOW)
    desk.use(desk.Desk(folder))
    return folder


def one_day(n, outcome="pass"):
    stages = (("bridge_fitting", "pass"), ("final_inspection", outcome), ("packing", "pass"))
    return [
        f"A{k},LARK-25,{stage},T01,2026-03-02 {9 + place}:{k:02d},2026-03-02 "
        f"{9 + place}:{k + 5:02d},{end},{'0.2' if place == 1 else ''}"
        for k in range(n)
        for place, (stage, end) in enumerate(stages)
    ]


def words(html):
    """What the paper says, without scripts, styles and marks; blanks that hold together are blanks."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", html, flags=re.S)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " "))


def test_whoever_pulls_what_was_shipped_has_every_serial_on_paper(looked_at, monkeypatch):
    told = [(f"LA-{k}", "neck relief: 0.40 mm, limit 0.35 mm") for k in range(20)]
    monkeypatch.setattr(week.sentences_week, "shipped", lambda *_: told)
    paper = words(week.paper()[1])
    assert [serial for serial, _ in told if f"{serial} neck relief" not in paper] == []
    assert "more, on Week" not in paper
    assert "a sheet may be late" not in paper  # each of them has its final inspection


def test_the_agenda_stands_on_it_in_its_order(looked_at):
    said = words(week.paper()[1])
    agenda = [
        "Did the data arrive?",
        "Is it a normal week?",
        "What to know",
        "What moved, reading by reading",
        "What came back",
        "As set, outside limits",
        "Neck lots in doubt",
        "On the bench",
        "Actions so far: did it move?",
        "Shipped outside, or without final",
        "Decision of the week",
        "Owner",
        "By",
    ]
    at = 0
    for name in agenda:  # each after the one before it
        at = said.index(name, at)
    assert (
        "What the rest does" not in said
    )  # this shop has neither a rest nor a hygrometer, and its paper no empty heading


def test_the_rest_and_the_air_are_told_where_they_are_seen(looked_at, monkeypatch):
    told = {
        "what": "Action bass on",
        "model": "LARK-25",
        "mean": "−0.14 mm",
        "range": "−0.21 to −0.07",
        "pairs": "12 pairs, few",
        "left_out": "3",
    }
    monkeypatch.setattr(week, "_settling", lambda found, shop: [told])
    said = words(week.paper()[1])
    assert (
        "What the rest does mean change, 95 % interval, all weeks Action bass on LARK-25 −0.14 mm −0.21 to −0.07 12 "
        "pairs, few" in said
    )
    assert "No reading is seen to follow the humidity" in said


def test_the_headline_and_sentences_are_those_of_the_page(looked_at):
    found, shop = looked_at.ask(review), looked_at.snapshot().shop
    said = words(week.paper()[1])
    first = findings.first(found, shop)
    assert week.paper()[1].count(f"<h1>{first}</h1>") == 1  # what weighs most, on page and paper alike
    assert findings.headline(found, shop) in said
    for one in findings.week(found, shop):
        assert f"{one.lead}".replace("\u00a0", " ") in said


def test_the_first_page_says_who_has_a_matter_in_hand(tmp_path):
    counter = desk.Desk(moving_shop.stands(tmp_path / "shop"))
    desk.use(counter)
    one = next(
        each for each in counter.ask(register.register) if each.matter is not None and each.state == register.OPEN
    )
    assert "Nobody has it yet." in words(week.paper()[1])
    taken = {"action": "measure 20 blanks", "owner": "the foreman", "due": "2026-04-10", "who": "Mara"}
    assert deeds.write(one.key, "take", taken) == ""
    text = words(week.paper()[1])
    assert "the foreman has it, by 10 Apr." in text
    assert "In hand: the foreman, by 10 Apr: measure 20 blanks." in text
    assert "has it yet" not in text
    assert text.index("In hand: the foreman") < text.index("What moved, reading by reading")
    assert deeds.write(one.key, "done", {"done_on": "2026-04-02", "who": "Mara"}) == ""
    assert "Done 2 Apr" in words(week.paper()[1])


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"state": "action", "over": 3, "due": date(2026, 4, 1)}, "In hand: Olek, 3 days over: ten blanks."),
        ({"state": "action", "due": date(2026, 4, 8)}, "In hand: Olek, by 8 Apr: ten blanks."),
        ({"state": "action", "owner": "", "action": ""}, "In hand: nobody named."),
        ({"state": "done", "done_on": date(2026, 4, 2)}, "Done 2 Apr, Olek: ten blanks."),
        ({"state": "open", "action": ""}, "Nobody has it yet."),
        ({"state": "closed", "closed_on": date(2026, 4, 3)}, "Closed 3 Apr: ten blanks."),
    ],
)
def test_how_far_it_has_come_is_told_in_a_line(looked_at, changed, said):
    one = next(
        each for each in looked_at.ask(register.register) if each.matter is not None and each.state == register.OPEN
    )
    made = replace(one, **{"owner": "Olek", "action": "ten blanks"} | changed)
    shop = looked_at.snapshot().shop
    assert sentences_book.in_hand(made, shop, date(2026, 4, 4)).replace("\u00a0", " ") == said


def test_the_decision_of_the_week_stands_on_its_line_as_it_was_typed(looked_at):
    html = week.paper()[1]
    assert "Measure 20 saddle blanks &lt;against&gt; 20 old ones" in html
    assert "R. Marsh" in words(html)
    assert "Fri 10 Apr" in words(html)


def test_nobody_of_the_bench_is_named_whatever_the_shop_shows(tmp_path):
    desk.use(desk.Desk(moving_shop.stands(tmp_path / "names", people='names"\npurpose = "coaching')))
    html = re.sub(r"<script>.*?</script>|base64,[^)]*", "", week.paper()[1], flags=re.S)
    assert "action" in html.lower()
    for name in ("T01", "T02", "Okafor", "Lindqvist"):
        assert name not in html


def test_the_same_version_gives_the_same_bytes(stands):
    made = []
    for _ in range(2):
        desk.use(desk.Desk(stands))
        made.append(week.paper())
    assert made[0] == made[1]


def test_it_says_what_it_was_computed_from(looked_at):
    snapshot = looked_at.snapshot()
    said = words(week.paper()[1])
    assert (
        f"store version {snapshot.version}, bench book {snapshot.book_sequence}, shop files "
        f"{snapshot.shop_files[:12]}, Truerun " in said
    )


def test_it_needs_nothing_from_elsewhere(looked_at):
    html = week.paper()[1]
    page = re.sub(r"<script>.*?</script>", "", html, flags=re.S)
    assert not re.findall(r"""(?:src|href)=["'](?!data:)""", page)
    assert "url(http" not in page
    assert "<script" not in html


def test_every_chart_says_its_finding_and_is_grey(looked_at):
    html = week.paper()[1]
    assert (
        len(re.findall(r'class="chart(?: off-phone)?" role="img" aria-label="[^"]{10,}"', html)) == 5
    )  # three weeks, one stream, shares
    colours = set(re.findall(r"#([0-9A-Fa-f]{6})\b", html[html.index("<body") :]))
    assert colours
    assert all(c[:2] == c[2:4] == c[4:] for c in colours)


def test_an_empty_shop_has_no_paper_and_says_why(tmp_path):
    small(tmp_path / "shop", [])
    with pytest.raises(UnusableData, match="no log is loaded yet"):
        week.paper()


@pytest.mark.parametrize(("n", "outcome"), [(1, "pass"), (12, "pass"), (3, "hold")])
def test_one_day_of_one_model_is_a_paper_that_calls_itself_small(tmp_path, n, outcome):
    small(tmp_path / "shop", one_day(n, outcome))
    said = words(week.paper()[1])
    assert "Few instruments so far." in said
    assert "nan" not in said.lower().split()
    assert "None" not in said.replace("None judged", "").replace("None of those", "").replace("None: all", "")


def test_the_page_serves_it_and_says_what_is_wrong_with_an_address(stands, tmp_path):
    app = make_app(desk.Desk(stands))
    client = app.server.test_client()
    answer = client.get("/papers/week?week=2026-04-01&letter=1")
    assert answer.status_code == 200
    assert "size: letter" in answer.text
    assert "Week of Monday 30 March 2026" in words(answer.text)
    assert (
        client.get("/papers/week?week=soon").status_code,
        "wanted a day" in client.get("/papers/week?week=soon").text,
    ) == (400, True)
    empty = (
        make_app(desk.Desk(moving_shop.stands(tmp_path / "empty", with_logs=False)))
        .server.test_client()
        .get("/papers/week")
    )
    assert empty.status_code == 404
    assert "No log is loaded yet; load one to see a week." in words(empty.text)


def test_the_command_writes_the_paper_of_a_past_week_as_that_week_ended(stands, tmp_path, capsys):
    assert cli.run(["week", "--shop", str(stands), "--of", "2026-03-25", "--out", str(tmp_path)]) == 0
    path = tmp_path / "weekly-review-2026-03-23.html"
    assert capsys.readouterr().out.strip() == str(path)
    said = words(path.read_text())
    assert "Week of Monday 23 March 2026 as of Sun 29 Mar 2026, 23:59" in said
    assert "moved up" not in said  # its treble action moved the week after


def test_the_command_says_in_one_line_what_is_missing(tmp_path, capsys, monkeypatch):
    folder = moving_shop.stands(tmp_path / "empty", with_logs=False)
    assert cli.run(["week", "--shop", str(folder), "--out", str(tmp_path)]) == 2
    assert capsys.readouterr().err.splitlines() == ["no log is loaded yet; load one to see a week"]
    monkeypatch.setenv(pdf.OWN, str(tmp_path / "no such program"))
    small(tmp_path / "shop", one_day(3))
    assert cli.run(["week", "--shop", str(tmp_path / "shop"), "--out", str(tmp_path), "--pdf", "--letter"]) == 2
    assert "no Chromium was found" in capsys.readouterr().err
    assert "size: letter" in (tmp_path / "weekly-review-2026-03-02.html").read_text()


def test_the_demo_tells_the_week_in_plain_lines(looked_at):
    lines = list(_week_in_sentences(looked_at))
    assert lines[0] == "Weir Lane Instruments: One new thing moved, and the rest ran true."
    assert 2 <= len(lines) <= 1 + findings.MOST
    size = re.match(r"  - Action treble on LARK-25 moved up ([\d.]+)\xa0mm \(([\d.]+) to ([\d.]+)\)", lines[1])
    assert size is not None
    told, low, high = map(float, size.groups())
    assert low < moving_shop.MOVED_BY < high
    assert low < told < high
    assert not any(mark in "".join(lines) for mark in "<>*_")


def test_every_monday_is_told_for_the_scheduler_and_writes_nothing(tmp_path, capsys):
    assert cli.run(["week", "--every", "monday", "--shop", str(tmp_path / "a shop"), "--out", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "0 7 * * 1 " in said or "/D MON" in said
    assert "a shop" in said
    assert list(tmp_path.iterdir()) == []
    assert cli.run(["week", "--every", "someday", "--shop", str(tmp_path)]) == 2
    assert "is no day of the week" in capsys.readouterr().err
