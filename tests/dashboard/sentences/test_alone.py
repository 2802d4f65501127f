"""What Bench says of the only person of a shop."""

from types import SimpleNamespace

from analysis.studies.people.alone import Back
from dashboard.sentences import alone
from tests.analysis.studies.benches import shop


def test_what_came_back_is_told_by_its_cause():
    said = alone.came_back(shop(), Back(480, 32, [("unknown", 17), ("bridge", 15)])).replace("\u00a0", " ")
    assert said.startswith("32 of 480 judged instruments came back: 17 of a cause not known, 15 to bridge. Nobody else")
    assert alone.came_back(shop(), Back(480, 0, [])).replace("\u00a0", " ") == "0 of 480 judged instruments came back."


def test_level_and_spread_stand_beside_the_band():
    band = {"characteristic": "action", "position": "bass", "model": "LARK", "lower": 2.2, "upper": 2.8} | {
        "resolution": "", "target": 2.5
    }  # fmt: skip
    stand = SimpleNamespace(band=band, mean=2.51, sd=0.11, sd_low=0.1, sd_high=0.12)
    said = alone.spread(shop(), stand).replace("\u00a0", " ")
    assert "2.51 mm on average, spread (standard deviation) 0.11 mm (0.10 mm to 0.12 mm); the band is 2.20 to" in said
    stand.sd = None
    assert alone.spread(shop(), stand) == ""
