"""Words that somebody answers with: which may stand, and which was meant where one is mistyped."""

import pytest

from ingest.beginning.answers import slip


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
