"""What is said of where the air takes wood."""

from datetime import UTC, datetime

import pytest

from analysis.studies.room.wood import Air, Wood
from dashboard.sentences.air import heading

LAST = datetime(2026, 11, 20, tzinfo=UTC)


@pytest.mark.parametrize(("before", "way"), [(9.0, "it dries"), (6.9, "as before"), (5.9, "it takes up water")])
def test_the_last_days_are_held_against_the_weeks_before(before, way):
    text = heading(Wood(LAST, Air(35.2, 21.4, 6.77), Air(50.0, 21.0, before))).replace("\u00a0", " ")
    assert text == (
        "The air of the last seven days on file (35 % RH, 21 °C) takes wood to 6.8 % of moisture, that of the four "
        f"weeks before to {before} %: {way}. Thick wood follows after days to weeks."
    )


def test_without_weeks_before_only_the_place_is_said():
    text = heading(Wood(LAST, Air(35.2, 21.4, 6.77), None)).replace("\u00a0", " ")
    assert text.endswith("takes wood to 6.8 % of moisture; thick wood is there after days to weeks.")
