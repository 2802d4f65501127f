"""Each unit a shop reads, on pages, cards and papers: the same shop in mm, inches, thou and 64ths says the same
lengths, and known readings stand in their own unit.
"""

import importlib
import json
import re
import shutil
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from analysis.studies.people import targets
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.desk.cards import CardDesk
from dashboard.exports.figures import FIGURES
from dashboard.pages.bench import parts
from dashboard.papers import bench as card
from dashboard.papers import necks as packet
from dashboard.papers import week as review
from dashboard.sentences import targets as sentences_targets
from ingest.beginning.new import propose
from ingest.verbs.load import load
from tests.dashboard.pages import marks_shop, people_shop
from tests.dashboard.pages.said import said

INCH = 25.4
START = datetime(2026, 5, 4, 8)
NUMBER = re.compile(r"(?<![\w.#])[−+-]?\d[\d,]*(?:\.\d+)?(?![\w])")
BEHIND = re.compile(r"[ \u00a0](mm|in|thou|64ths)\b")
UNITS = {"in": INCH, "thou": INCH / 1000, "64ths": INCH / 64}  # mm
IN_64THS = re.compile(r"(\d)/64(?:([ \u00a0])in\b)?")  # read as a number and a unit: `5.5/64 in` is 5.5 64ths
PAGES = [("necks", "necks.page"), ("necks", "capability.page"), ("moved", "drift.page"), ("moved", "week.page")]
PAPERS = {
    ("necks", "neck packet"): lambda: packet.paper(people_shop.SUPPLIERS[0]),
    ("moved", "weekly review"): review.paper,
}


LEAST = {  # lengths that the page or paper tells at least
    "necks.page": 50,
    "capability.page": 12,
    "drift.page": 25,
    "week.page": 3,
    "neck packet": 100,
    "weekly review": 2,
}
ANGLES = """[shop]
name = "Weir Lane Instruments"
timezone = "UTC"

[[stage]]
key = "neck_setting"
minutes = 12

[[stage]]
key = "final"
role = "final"
minutes = 6

[[characteristic]]
key = "neck_angle"
quantity = "angle"
set_at = "neck_setting"

[[characteristic]]
key = "intonation"
quantity = "pitch"
set_at = "neck_setting"

[[model]]
key = "LARK"
family = "guitar"

[[tech]]
key = "T1"
qualified = ["neck_setting"]

[[tech]]
key = "T2"
"""
ASKED = """characteristic,position,model,target,lower,upper,unit
neck_angle,,,3,1,5,deg
intonation,,,-6,-16,4,cents
"""


@pytest.fixture(scope="module")
def shops(tmp_path_factory, people_desk, moving_desk):
    """Each shop as it shows millimetres, inches, and each length in thou or 64ths of its own."""
    base, found = tmp_path_factory.mktemp("units"), {}
    for name, shown in (("necks", people_desk), ("moved", moving_desk)):
        found[name] = {"mm": shown}
        for unit in UNITS:
            folder = shutil.copytree(shown.folder, base / f"{name} {unit}")
            toml = folder / "shop.toml"
            toml.write_text(in_unit(toml.read_text(), unit))
            found[name][unit] = desk.Desk(folder)
    return found


def in_unit(text, unit):
    """A shop file of a shop that shows every length in a unit: inches as the shop's one, others of each measurement."""
    if unit == "in":
        return text.replace("[shop]\n", '[shop]\nlength = "in"\n')
    head, *measures = text.split("[[characteristic]]\n")
    shown = [each if "quantity" in each.partition("\n[[")[0] else f'length = "{unit}"\n{each}' for each in measures]
    return "[[characteristic]]\n".join([head, *shown])


def on_page(counter, name, **address):
    """What a page says in words."""
    app = make_app(counter)
    with app.server.test_request_context("/"):
        return list(words(json.loads(said(importlib.import_module(f"dashboard.pages.{name}").layout(**address)))))


def words(node):
    if isinstance(node, str):
        yield node
    elif isinstance(node, list):
        for each in node:
            yield from words(each)
    elif isinstance(node, dict) and "props" in node:
        yield from words(node["props"].get("children"))
        yield from words(node["props"].get("alt"))
        for row in node["props"].get("data") or node["props"].get("rowData") or []:
            yield from words(list(row.values())) if isinstance(row, dict) else ()


def on_paper(counter, made):
    """What a paper says in words, without its drawings."""
    make_app(counter)
    html = re.sub(r'(?s)<div class="drawn".*?</svg></div>', " ", made()[1])
    html = re.sub(r"(?s)<(style|svg|script).*?</\1>", " ", html)
    return [text for text in re.split(r"<[^>]*>", html.replace("\u00a0", " ")) if text.strip()]


def numbers_of(text):
    """(value, half of its last digit, the unit of length behind it or '') of each number in a text."""
    text = IN_64THS.sub(lambda found: found[1] + (f"{found[2]}64ths" if found[2] else ""), text)
    for found in NUMBER.finditer(text):
        digits = found[0].replace(",", "").replace("−", "-")
        unit = BEHIND.match(text[found.end() :])
        yield float(digits), 0.5001 * 10.0 ** -len(digits.partition(".")[2]), unit[1] if unit else ""


def converted(in_mm, in_other, other_unit):
    """How many numbers are the same length in the other unit; each other number is the same as it was."""
    assert len(in_mm) == len(in_other)
    seen, size = 0, UNITS[other_unit]
    for one, other in zip(in_mm, in_other, strict=True):
        for (mm, about_mm, unit), (value, about, there) in zip(numbers_of(one), numbers_of(other), strict=True):
            turned = (unit, there) == ("mm", other_unit)
            if turned or (mm != value and unit == there == ""):
                assert abs(mm / size - value) <= about_mm / size + about, (one, other)
            else:
                assert (mm, unit) == (value, there), (one, other)
            seen += mm != value
    return seen


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize(("shop", "name"), PAGES)
def test_a_page_says_the_same_lengths_in_another_unit(shops, shop, name, unit):
    opened = {"open": "figures"} if name == "capability.page" else {}
    assert converted(*(on_page(shops[shop][each], name, **opened) for each in ("mm", unit)), unit) >= LEAST[name]


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize(("shop", "name"), PAPERS)
def test_a_paper_says_the_same_lengths_in_another_unit(shops, shop, name, unit):
    assert converted(*(on_paper(shops[shop][each], PAPERS[shop, name]) for each in ("mm", unit)), unit) >= LEAST[name]


@pytest.fixture(scope="module")
def angles(tmp_path_factory):
    """A shop that measures degrees and cents: 80 instruments, twelve minutes each at the stage that sets both."""
    folder = tmp_path_factory.mktemp("angles")
    (folder / "shop.toml").write_text(ANGLES)
    (folder / "specs.csv").write_text(ASKED)
    lines, at = ["serial,model,stage,tech,started_at,finished_at,outcome,neck_angle (deg),intonation (cents)"], START
    for k in range(80):
        angle, pitch = 3 + 0.5 * (k % 3 - 1), -7 + 2 * (k % 4 - 1)
        for stage, tech, minutes, values in (
            ("neck_setting", ("T1", "T2")[k % 2], 12, ","),
            ("final", "T1", 6, f"{angle},{pitch}"),
        ):
            end = at + timedelta(minutes=minutes)
            lines.append(f"S{k},LARK,{stage},{tech},{at:%Y-%m-%d %H:%M},{end:%Y-%m-%d %H:%M},pass,{values}")
            at = end
        at += timedelta(hours=1)
    path = folder / "bench.csv"
    path.write_text("\n".join(lines) + "\n")
    load(folder, [path], now=datetime(2026, 6, 1, tzinfo=UTC))
    return desk.Desk(folder)


def test_degrees_cents_and_minutes_stand_on_the_sheet_of_one_instrument(angles):
    text = on_page(angles, "logs.instrument", serial="S3")
    for said_there in ("12 min by the clock", "6 min by the clock", "2.5 °", "1.0 to 5.0 °", "−3 cents"):
        assert said_there in text
    assert "−16 to 4 cents" in text


def test_degrees_and_cents_of_what_is_behind_a_number_are_those_read(angles):
    assert {"2.5 °", "3.0 °", "3.5 °"} <= set(on_page(angles, "logs.readings", characteristic="neck_angle"))
    cents = set(on_page(angles, "logs.readings", characteristic="intonation"))
    assert {"−9 cents", "−7 cents", "−5 cents", "−3 cents"} <= cents


def test_degrees_cents_and_minutes_stand_on_bench_and_on_the_card(angles):
    page = " ".join(on_page(angles, "bench.page"))
    assert "aim at 3.0 °" in page
    assert "aim at −6 cents" in page
    assert "About 12.0 min now" in page
    paper = " ".join(on_paper(angles, lambda: card.paper("T2")))
    assert "3.0 °" in paper
    assert "−6 cents" in paper


def test_cents_stand_on_the_chart_of_their_stream(angles):
    text = " ".join(
        on_page(angles, "drift.page", model="LARK", characteristic="intonation", position="", stage="final")
    )
    assert "by 1.3 cents in" in text  # half a sigma: mean moving range 3 / 1.128 = 2.66 cents
    assert "−9 cents" in text


@pytest.mark.parametrize(
    ("resolution", "scale", "ends"),
    [("0.05 mm", 1.0, ("0.30", "0.41 mm")), ("0.001 in", 1000 / INCH, ("12", "16 thou")), ("1/64 in", 64 / INCH, None)],
)
def test_the_drawn_band_stands_in_the_unit_of_its_gauge(shops, resolution, scale, ends):
    shop = shops["necks"]["mm"].snapshot().shop
    band = {"characteristic": "nut", "position": "bass", "model": "LARK-25", "resolution": resolution}
    band |= {"lower": 0.3048, "upper": 0.4064, "target": 0.3556}
    [one, *_] = shops["necks"]["mm"].ask(targets.stands, tech="T09")
    stand = replace(one, band=band, values=[0.2, 0.5], serials=["a", "b"], mean=0.35, mean_low=0.34, mean_high=0.36)
    view = parts.band_view(stand, shop)
    assert view.values == pytest.approx([0.2 * scale, 0.5 * scale])
    drawn = (view.lower, view.upper, view.target, view.mean, view.low, view.high)
    assert drawn == pytest.approx([scale * value for value in (0.3048, 0.4064, 0.3556, 0.35, 0.34, 0.36)])
    if ends:
        assert (view.lower_words, view.upper_words.replace("\u00a0", " ")) == ends


@pytest.fixture(scope="module")
def marks(tmp_path_factory):
    """A shop in inches that reads action in 64ths, relief and nut in thou, saddles in decimals."""
    return desk.Desk(marks_shop.stands(tmp_path_factory.mktemp("marks") / "shop"))


def plain(texts):
    return " | ".join(texts).replace("\u00a0", " ")


STREAM = {"model": "HERON-D", "stage": "final_inspection"}


def test_week_and_its_paper_say_each_move_in_its_own_unit(marks):
    for text in (plain(on_page(marks, "week.page")), " ".join(on_paper(marks, review.paper))):
        assert re.search(r"Neck relief on HERON-D moved up \d\.\d thou \(\d\.\d to \d\.\d\)", text)
        assert re.search(r"Action treble on HERON-D moved up \d\.\d/64 in \(\d\.\d to \d\.\d\)", text)
        assert not re.search(r"\d mm\b", text)
    assert "asked, 64ths" in review.paper()[1]
    assert "asked, thou" in review.paper()[1]


@pytest.mark.parametrize(
    ("key", "position", "reading", "axis"),
    [
        ("action", "treble", r"\| \d(\.5)?/64 in \|", "asked, 64ths"),
        ("relief", "", r"\| \d+ thou \|", "asked, thou"),
        ("saddle", "", r"\| 0\.3\d\d in \|", "asked, in"),
    ],
)
def test_a_chart_and_its_readings_stand_in_the_unit_of_what_was_measured(marks, key, position, reading, axis):
    make_app(marks)
    layout = importlib.import_module("dashboard.pages.drift.page").layout(
        characteristic=key, position=position, **STREAM
    )
    told = said(layout)
    assert re.search(reading, plain(words(json.loads(told))))
    assert axis in told


def test_a_table_of_several_characteristics_says_the_unit_in_each_row(marks):
    text = plain(on_page(marks, "capability.page", open="figures"))
    for mean, sd in (
        (r"5\.\d\d/64 in", r"0\.\d{3}/64, 0\.\d{3}/64 in"),
        (r"1\d\.\d thou", r"\d\.\d\d, \d\.\d\d thou"),
        (r"0\.3\d\d in", r"0\.\d{4}, 0\.\d{4} in"),
    ):
        assert re.search(rf"\| {mean} \| {sd} \|", text), mean
    one = plain(on_page(marks, "logs.instrument", serial="HD-1190"))
    for said_there in ("6/64 in", "5/64 to 7.5/64 in", "5 to 14 thou", "0.300 to 0.400 in", "\u22125 to 5 cents"):
        assert said_there in one


def test_a_card_asks_each_thing_in_its_marks(marks):
    fields = CardDesk(marks, clock=lambda: marks_shop.NOW).card("final_inspection", "HD-1199")["fields"]
    asked = {(one["characteristic"], one["position"]): one["gauges"][0] for one in fields}
    assert {key: (hand["unit"], hand["step"]) for (key, _), hand in asked.items()} == {
        "relief": ("thou", 1.0),
        "nut": ("thou", 1.0),
        "action": ("64ths", 0.5),
        "saddle": ("thou", 1.0),
        "intonation": ("cents", 1.0),
    }
    assert asked["action", "bass"]["asked"] == {"lower": "5", "target": "6", "upper": "7½"}
    assert asked["relief", ""]["asked"] == {"lower": "5", "target": "10", "upper": "14"}


def test_what_is_shown_moves_no_figure(marks, tmp_path):
    if job := marks.jobs.latest():  # the index for Card, which a test before this one has asked for
        marks.jobs.wait(job.number)
    folder = shutil.copytree(marks.folder, tmp_path / "plain")
    toml = folder / "shop.toml"
    toml.write_text(re.sub(r"(?m)^length = .*\n", "", toml.read_text()))
    shown, bare = marks.snapshot(), desk.Desk(folder).snapshot()
    for name in ("capability", "matters"):
        assert FIGURES[name](shown).equals(FIGURES[name](bare)), name


def test_a_target_without_a_gauge_stands_in_the_unit_that_is_shown(marks):
    shop = marks.snapshot().shop
    band = {"resolution": "", "lower": 2.0 * INCH / 64, "upper": 2.5 * INCH / 64}
    assert sentences_targets.hold(shop, band | {"characteristic": "action"}) == "2/64 to 2.5/64\u00a0in"
    assert sentences_targets.hold(shop, band | {"characteristic": "saddle"}) == "0.031 to 0.039\u00a0in"
    assert sentences_targets.hold(shop, band | {"characteristic": "nut", "resolution": "0.02 mm"}).endswith("thou")


def test_a_first_shop_shows_each_thing_as_its_column_is_headed():
    told = propose([("bench.csv", marks_shop.log().encode())]).shop_toml
    head, *measures = told.split("[[characteristic]]")
    assert 'length = "in"' in head
    units = {re.search('key = "(.*)"', one)[1]: re.search('\nlength = "(.*)"', one) for one in measures}
    assert {key: found and found[1] for key, found in units.items()} == {
        "relief": "thou",
        "nut": "thou",
        "action": "64ths",
        "intonation": None,
    }
