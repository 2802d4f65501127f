"""A stage's weeks as a small drawing: band, dots and wedges where they belong, in both schemes."""

import re
from urllib.parse import unquote

from dashboard.charts import style
from dashboard.charts.weekly import HEIGHT, WIDTH, Week, weekly


def drawn(weeks, usual=0.05):
    return tuple(unquote(uri) for uri in weekly(weeks, usual))


def test_every_week_has_its_dot_and_its_own_limits_and_this_one_is_large():
    light, _ = drawn([Week(k, 0.04 + k / 1000, 0.01, 0.09, "within") for k in range(13)])
    assert light.count("<circle") == 13
    assert light.count("<rect") == 13
    assert light.count('r="5"') == 1
    assert style.MOVED not in light


def test_a_week_outside_has_a_wedge_and_only_this_one_is_filled():
    light, dark = drawn([Week(4, 0.12, 0.0, 0.08, "above"), Week(12, 0.0, 0.02, 0.08, "below")])
    assert light.count(style.LIGHT_FILL) == 1
    assert light.count("l10 0l0") == 2
    assert style.DARK["moved"] in dark
    assert style.LIGHT["ink3"] not in dark


def test_weeks_without_limits_are_dots_alone():
    light, _ = drawn([Week(12, 0.5, None, None, "no base")], None)
    assert "<rect" not in light
    assert light.count("<circle") == 1


def test_nothing_leaves_the_drawing():
    light, _ = drawn(
        [Week(k, 0.3 * (k % 2), 0.0, 0.1 + k / 50, "above" if k % 2 else "within") for k in range(13)], 0.1
    )
    for x, y in re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', light):
        assert 0 <= float(x) <= WIDTH
        assert 0 <= float(y) <= HEIGHT
    for y in re.findall(r"M[\d.]+ (-?[\d.]+)l10", light):
        assert 8 <= float(y) <= HEIGHT


def test_a_quiet_stage_is_drawn_too():
    assert "<circle" in drawn([Week(12, 0.0, 0.0, 0.0, "within")], 0.0)[0]
