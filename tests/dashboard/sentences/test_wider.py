"""What spreads wider than before, in words."""

from datetime import date

import polars as pl

from analysis.studies.week.wider import WIDER
from dashboard.sentences import findings
from tests.dashboard.sentences.test_shared import SHOP, found, matter


def review(*, models=(), of_one=False, matters=()):
    row = ("action", "final_inspection", list(models), date(2026, 3, 23), 2.07, 1.94, 2.21, 300, of_one)
    return found(wider=pl.DataFrame([row], schema=WIDER, orient="row"), matters=list(matters))


def test_a_wider_spread_heads_a_week_in_which_nothing_moved():
    told = review()
    assert findings.first(told, SHOP) == "Action at final inspection spreads 2.1 times as wide as before."
    [line, *_] = findings.week(told, SHOP)
    assert line.text == (
        "Action at final inspection spreads 2.1 times as wide as before (1.9 to 2.2), since about the week of "
        "23\u00a0Mar. Whoever sets it, within each series, gauge and lot; no mean need have moved. Look first at tools "
        "and gauge."
    )
    assert line.link.startswith("/drift?")
    assert "one spreads wider" in findings.headline(told, SHOP).lower()
    assert "tools and gauge" in findings.next_step(told, SHOP)


def test_it_stands_behind_what_moved_and_names_models_but_nobody():
    told = review(models=["LARK-25"], of_one=True, matters=[matter()])
    first, line = findings.week(told, SHOP)[:2]
    assert "moved up" in first.text
    assert line.text.startswith("Action on LARK-25 at final inspection spreads 2.1 times as wide")
    assert line.why == "Without one of those who set it hardly: see Bench."
