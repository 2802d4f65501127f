"""From a target to the readings it stands on, wherever these are read."""

import csv
import io
import json
from urllib.parse import parse_qs, urlparse

import pytest

from analysis.studies.people import targets
from dashboard.app import make_app
from dashboard.pages.bench import page as bench
from dashboard.pages.bench import ways
from dashboard.pages.logs import readings
from tests.dashboard.pages import people_shop
from tests.dashboard.pages.said import said
from tests.dashboard.pages.typed_anew import typed_anew

NUT = ("nut bass (mm)", "nut treble (mm)")


def at_the_nut_alone(folder):
    """`people_shop` where nut slots are read at their own bench and never at a final inspection."""
    people_shop.stands(folder, with_logs=False)
    rows = list(csv.DictReader(io.StringIO(people_shop.log())))
    read = {row["serial"]: [row[name] for name in NUT] for row in rows if row["nut bass (mm)"]}
    for row in rows:
        values = read[row["serial"]] if row["stage"] == "nut_slotting" else ["", ""]
        row.update(zip(NUT, values, strict=True))
    return typed_anew(folder, rows, people_shop.NOW)


@pytest.mark.parametrize("alone", [True, False])
def test_a_target_leads_to_its_own_readings_wherever_they_are_taken(tmp_path, people_desk, alone):
    counter = at_the_nut_alone(tmp_path / "shop") if alone else people_desk
    make_app(counter)
    stands = [one for one in counter.ask(targets.stands, tech="T09") if one.band["characteristic"] == "nut"]
    assert len(stands) == 4
    for one in stands:
        asked = {name: value[0] for name, value in parse_qs(urlparse(ways.of_target(one)).query).items()}
        assert asked.get("stage" if alone else "role") == ("nut_slotting" if alone else "final")
        text = said(readings.layout(**asked)).replace("\u00a0", " ")
        assert f": {len(one.values) + sum(left.n for left in one.left_out)} readings." in text
    page = json.dumps(said(bench.layout(tech="T09", stage="nut_slotting")))
    assert ("role=final" in page) is not alone
