"""Since when a matter lasts, in words."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from analysis.studies.matters.matters import open_matters
from dashboard.sentences import matters
from dashboard.sentences.since import since

NOW = date(2026, 9, 7)
MAY, JUNE, ONE = (date(2026, 5, 4), date(2026, 5, 15)), (date(2026, 6, 8), date(2026, 6, 19)), (date(2026, 5, 4),) * 2


@pytest.mark.parametrize(
    ("earlier", "said"),
    [
        ((), "since about 24 Aug"),
        ((MAY,), "again since about 24 Aug, as from 4 May to 15 May"),
        ((ONE,), "again since about 24 Aug, as on 4 May"),
        ((MAY, JUNE), "again since about 24 Aug, as two times before, the last from 8 Jun to 19 Jun"),
    ],
)
def test_a_spell_is_told_since_it_began_and_when_it_came_before(moving_desk, earlier, said):
    shop, (one, *_) = moving_desk.snapshot().shop, moving_desk.ask(open_matters)
    found = replace(one, began_at=datetime(2026, 8, 24, 9, tzinfo=UTC), earlier=earlier)
    assert since(found, shop, NOW).replace("\u00a0", " ") == said
    for text in (matters.line(found, shop, NOW)[0], matters.whole(found, shop, NOW)):
        assert said in text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("earlier", "lots", "whose", "said"),
    [
        ((MAY,), ("NH1",), "", "again since about 24 Aug, as lot NH1 from 4 May to 15 May"),
        (
            (MAY, JUNE),
            ("NH1", "NH3"),
            "",
            "again since about 24 Aug, as two lots before, the last NH3 from 8 Jun to 19 Jun",
        ),
        (
            (MAY, JUNE),
            ("NH1", "NH3"),
            "Nordhals",
            "again since about 24 Aug, as two lots before, the last NH3 from 8 Jun to 19 Jun: "
            "every other lot of Nordhals",
        ),
    ],
)
def test_lots_that_come_again_are_told_by_their_names_and_whose_they_are(moving_desk, earlier, lots, whose, said):
    shop, (one, *_) = moving_desk.snapshot().shop, moving_desk.ask(open_matters)
    began = datetime(2026, 8, 24, 9, tzinfo=UTC)
    found = replace(one, began_at=began, earlier=earlier, earlier_lots=lots, every_other=whose)
    for text in (since(found, shop, NOW), matters.line(found, shop, NOW)[0], matters.whole(found, shop, NOW)):
        assert said in text.replace("\u00a0", " ")


def test_long_names_of_several_models_are_told_by_their_number(moving_desk):
    shop, (one, *_) = moving_desk.snapshot().shop, moving_desk.ask(open_matters)
    long = ["HERON-D Concert Grand Auditorium Mk 1", "HERON-D Octave Archtop Mk 4"]
    assert matters.models(replace(one, models=long), shop) == "two models"
    assert matters.models(replace(one, models=long[:1]), shop) == long[0]
    assert (
        matters.models(replace(one, models=["HERON-D", "LARK-25", "LARK-40"]), shop) == "HERON-D, LARK-25 and LARK-40"
    )
