"""What may be a spelling of a word on a list, and what is a word of its own."""

import pytest

from ingest.reading.spellings import short_name, spelled_alike


@pytest.mark.parametrize(
    ("word", "other", "alike"),
    [
        ("LARK25", "LARK-25", True),
        ("Lark 25", "lark_25", True),
        ("LARK-2S", "LARK-25", False),
        ("LARK-26", "LARK-25", False),  # a number tells models apart
        ("LARK-52", "LARK-25", False),
        ("LARK-4O", "LARK-40", True),  # the letter O for a nought
        ("Lark", "LARK-25", True),  # short for it
        ("Dove B", "Dove C", False),
        ("Dvoe C", "Dove C", True),
        ("Rook D", "Rook OM", False),
        ("Dove conc.", "Dove concert", True),
        ("Dove cocnert", "Dove concert", True),
        ("Dove baritone", "Dove concert", False),
        ("Dove baritone", "Dove", False),  # it says more
        ("Ukulele tenor T3", "Tenor T3", True),  # one number, told with more words
        ("Ukulele tenor T3", "Ukulélé ténor T3", True),
        ("OB-12", "OB-12 A-Scale", True),
        ("OB-12 L", "OB-12", False),
        ("T3", "Tenor T3", True),
        ("Tenor T4", "Tenor T3", False),
        ("Heron", "Lark", False),
        ("", "Lark", False),
    ],
)
def test_a_spelling_is_told_from_a_word_of_its_own(word, other, alike):
    assert spelled_alike(word, other) is alike


@pytest.mark.parametrize(
    ("word", "name", "short"),
    [
        ("HB", "Hélène Bertin", True),
        ("H.B.", "Hélène Bertin", True),
        ("H. Bertin", "Hélène Bertin", True),
        ("Hélène", "Hélène Bertin", True),
        ("helene", "Hélène Bertin", True),
        ("YLG", "Yann Le Goff", True),
        ("Y. Le Goff", "Yann Le Goff", True),
        ("M. Bertin", "Hélène Bertin", False),
        ("HD", "Hélène Bertin", False),
        ("Le", "Yann Le Goff", False),
        ("Hélène Bertin", "Hélène Bertin", False),  # the name itself
        ("HB", "HB", False),
        ("", "Hélène Bertin", False),
    ],
)
def test_a_short_form_of_a_name_is_told(word, name, short):
    assert short_name(word, name) is short
