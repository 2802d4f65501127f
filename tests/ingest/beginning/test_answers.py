"""Words that somebody answers with: which may stand, and which was meant where one is mistyped."""

import pytest

from ingest.beginning.answers import LogSaid, Said, said_guess, slip, unheard


@pytest.mark.parametrize(
    ("typed", "declared", "meant"),
    [
        ("relief", (), ""),
        ("relif", (), "relief"),
        ("Saitenlage", (), ""),  # the trade's word in another language
        ("serial", (), ""),  # a field
        ("fret_wear", ("fret_wear",), ""),
        ("Fret wear", ("fret_wear",), ""),
        ("fret_weer", ("fret_wear",), "fret_wear"),
        ("zzz", ("fret_wear",), ""),  # near nothing: a measurement of the shop's own
    ],
)
def test_a_mistyped_measurement_is_held_against_those_there_are(typed, declared, meant):
    assert slip(typed, declared) == meant


def test_a_heading_may_be_said_without_the_unit_that_goes_with_it():
    told = LogSaid(headings={"Bench Relief left": "relief left @ setup", "Count": "other"})
    assert said_guess("Bench Relief left thou", told).said == "relief left @ setup"
    assert said_guess("Bench Relief left", told).said == "relief left @ setup"
    assert said_guess("Bench Relief left side", told) is None
    said = Said({"log": [{"headings": dict(told.headings)}]})
    assert unheard(said, [("a.csv", "", ["Bench Relief left thou", "Count"])]) == []
    assert len(unheard(said, [("a.csv", "", ["Bench Relief thou", "Count"])])) == 1
