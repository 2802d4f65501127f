"""Each unit a shop reads, on pages, cards and papers: the same shop in millimetres and in inches says the same lengths,
and known readings stand in their own unit.
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
from dashboard.pages.bench import parts
from dashboard.papers import bench as card
from dashboard.papers import necks as packet
from dashboard.papers import week as review
from ingest.verbs.load import load
from tests.dashboard.pages import people_shop
from tests.dashboard.pages.said import said

INCH = 25.4
START = datetime(2026, 5, 4, 8)
NUMBER = re.compile(r"(?<![\w.#])[−+-]?\d[\d,]*(?:\.\d+)?(?![\w])")
BEHIND = re.compile(r"[ \u00a0](mm|in)\b")
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
    """Each shop twice: it shows millimetres, and inches."""
    base, found = tmp_path_factory.mktemp("units"), {}
    for name, shown in (("necks", people_desk), ("moved", moving_desk)):
        folder = shutil.copytree(shown.folder, base / name)
        toml = folder / "shop.toml"
        toml.write_text(toml.read_text().replace("[shop]\n", '[shop]\nlength = "in"\n'))
        found[name] = {"mm": shown, "in": desk.Desk(folder)}
    return found


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
    for found in NUMBER.finditer(text):
        digits = found[0].replace(",", "").replace("−", "-")
        unit = BEHIND.match(text[found.end() :])
        yield float(digits), 0.5001 * 10.0 ** -len(digits.partition(".")[2]), unit[1] if unit else ""


def converted(in_mm, in_inches):
    """How many numbers are the same length in the other unit; each other number is the same as it was."""
    assert len(in_mm) == len(in_inches)
    seen = 0
    for one, other in zip(in_mm, in_inches, strict=True):
        for (mm, about_mm, unit), (inch, about_inch, there) in zip(numbers_of(one), numbers_of(other), strict=True):
            turned = (unit, there) == ("mm", "in")
            if turned or (mm != inch and unit == there == ""):
                assert abs(mm / INCH - inch) <= about_mm / INCH + about_inch, (one, other)
            else:
                assert (mm, unit) == (inch, there), (one, other)
            seen += mm != inch
    return seen


@pytest.mark.parametrize(("shop", "name"), PAGES)
def test_a_page_says_the_same_lengths_in_inches(shops, shop, name):
    opened = {"open": "figures"} if name == "capability.page" else {}
    assert converted(*(on_page(shops[shop][unit], name, **opened) for unit in ("mm", "in"))) >= LEAST[name]


@pytest.mark.parametrize(("shop", "name"), PAPERS)
def test_a_paper_says_the_same_lengths_in_inches(shops, shop, name):
    assert converted(*(on_paper(shops[shop][unit], PAPERS[shop, name]) for unit in ("mm", "in"))) >= LEAST[name]


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
