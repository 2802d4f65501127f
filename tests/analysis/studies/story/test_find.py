"""What goes by a few letters."""

import pytest

from analysis.studies.story.find import LOG, LOT, MODEL, SERIAL, TECH, find
from tests.analysis.studies.benches import bench


def keys(found, kind):
    return [hit.key for hit in found.hits if hit.kind == kind]


def test_a_serial_is_found_whatever_its_capitals_spaces_and_hyphens(demo):
    serial = demo.table("visits", "serial")["serial"].drop_nulls().sort()[100]
    for typed in (serial, serial.lower(), serial.replace("-", " "), f" {serial} "):
        found = find(demo, words=typed)
        assert found.one is not None
        assert (found.one.kind, found.one.key, found.one.exact) == (SERIAL, serial, True)


def test_lots_models_techs_and_logs_are_found_by_a_part_of_their_name(demo):
    lot, supplier = demo.table("lots", "lot", "supplier").row(0)
    hit = next(hit for hit in find(demo, words=lot).hits if hit.kind == LOT)
    assert (hit.key, hit.about) == (lot, supplier)
    model = demo.shop.models[0]
    assert model.key in keys(find(demo, words=model.key[:4]), MODEL)
    tech = (
        demo.table("visits", "tech")["tech"]
        .drop_nulls()
        .filter(demo.table("visits", "tech")["tech"].drop_nulls() != "")[0]
    )
    assert keys(find(demo, words=tech), TECH)[0] == tech
    assert keys(find(demo, words=tech, people=False), TECH) == []
    log = demo.table("logs", "name")["name"][0]
    assert log in keys(find(demo, words=log), LOG)


def test_the_closest_stand_first_and_the_rest_is_counted(demo):
    found = find(demo, words="2")
    serials = keys(found, SERIAL)
    assert len(serials) == 12
    assert found.counted[SERIAL] > 12
    starts = [key.startswith("2") for key in serials]
    assert starts == sorted(starts, reverse=True)


@pytest.mark.parametrize("words", ["", " - ", "///", "no such thing at all"])
def test_nothing_is_found_without_a_letter_or_where_nothing_goes_by_it(demo, words):
    found = find(demo, words=words)
    assert found.hits == ()
    assert found.one is None


@pytest.mark.parametrize("loose", [True, False])
def test_zeros_before_a_number_tell_nothing_apart_where_serials_are_typed_loosely(loose):
    rows = "A-0042 2 9 nut pass\nA-420 2 9 nut pass"
    about = {"name": "Bench", "timezone": "UTC", "serials": "loose" if loose else "exact"}
    named = bench(rows, shop=about)
    found = find(named, words="a 42")
    assert keys(found, SERIAL) == (["A-0042", "A-420"] if loose else ["A-420"])
    assert (found.one.key if found.one else "") == ("A-0042" if loose else "A-420")
