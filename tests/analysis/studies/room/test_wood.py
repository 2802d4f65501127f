"""Where the air takes wood: the last seven days against the four weeks before, of one room, a day counting once."""

from datetime import timedelta

import polars as pl
import pytest

from analysis.studies.room.wood import wood
from tests.analysis.studies.measured import START, made, visit

DAYS = 35


def stands(rows):
    """A shop with these readings of its hygrometers: (hours from the start, room, rh, temperature)."""
    at = [START + timedelta(hours=hours) for hours, *_ in rows]
    climate = pl.DataFrame(
        {
            "at": at,
            "room": [one[1] for one in rows],
            "rh": [one[2] for one in rows],
            "temperature": [one[3] for one in rows],
        },
        schema_overrides={"rh": pl.Float64, "temperature": pl.Float64},
    )
    return made([visit("S1", 24 * DAYS, "final", readings={"relief": 0.2})], frames={"climate": climate})


def dried(now=(35.0, 21.1), before=(50.0, 21.1)):
    """Four weeks of one air, then seven days of another, read at noon."""
    return [(24 * day, "bench", *(now if day >= DAYS - 7 else before)) for day in range(DAYS)]


def test_a_dry_week_takes_wood_where_the_handbook_says():
    # Wood Handbook, table 4-2 at 70 F: 9.2 % at 50 % RH, 6.9 % at 35 %; the formula is within 0.1 of both
    found = wood(stands(dried()))
    assert (found.now.rh, found.now.celsius) == (pytest.approx(35.0), pytest.approx(21.1))
    assert found.now.moisture == pytest.approx(6.9, abs=0.1)
    assert found.before.moisture == pytest.approx(9.2, abs=0.1)
    assert found.last == START + timedelta(days=DAYS - 1)


def test_a_day_read_every_hour_counts_once_and_another_room_not_at_all():
    often = [(24 * (DAYS - 1) - hour / 4, "bench", 35.0, 21.1) for hour in range(1, 20)]
    damp = [(24 * day + 1, "store", 80.0, 10.0) for day in range(DAYS)]
    rows = dried(now=(45.0, 21.1)) + often + damp
    found = wood(stands(rows))
    of_last_day = (45 + 19 * 35) / 20
    assert found.now.rh == pytest.approx((6 * 45 + of_last_day) / 7)


def test_too_few_days_or_a_broken_sensor_say_nothing():
    assert wood(stands(dried()[-3:])) is None
    assert wood(stands(dried()[-6:])).before is None
    assert wood(stands([(hours, room, None, heat) for hours, room, _, heat in dried()])) is None
    assert wood(stands(dried(now=(130.0, 21.1)))) is None
