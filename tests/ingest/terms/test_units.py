"""Units: the inch is 25.4 mm by definition (international yard and pound agreement, 1959)."""

import pytest

from ingest.terms.units import amount, quantity_of, spelled, to_canonical, unit_of


@pytest.mark.parametrize(
    ("value", "unit", "quantity", "canonical"),
    [
        (1, "in", "length", 25.4),
        (10, "thou", "length", 0.254),
        (4, "64ths", "length", 1.5875),
        (3, "32nds", "length", 2.38125),
        (1, "cm", "length", 10),
        (50, "um", "length", 0.05),
        (3, "cents", "pitch", 3),
        (3, "deg", "angle", 3),
        (68, "F", "temperature", 20),
        (20, "C", "temperature", 20),
        (2, "h", "minutes", 120),
        (45, "%", "humidity", 45),
        (7, "", "count", 7),
        (86, "units", "plain", 86),
    ],
)
def test_a_number_in_its_unit_is_canonical(value, unit, quantity, canonical):
    assert to_canonical(value, unit, quantity) == pytest.approx(canonical, abs=1e-12)


@pytest.mark.parametrize(
    ("typed", "quantity", "unit"),
    [
        ("IN", "length", "in"),
        ("”", "length", "in"),
        ("″", "length", "in"),
        ("mil", "length", "thou"),
        ("1/64", "length", "64ths"),
        ("¢", "pitch", "cents"),
        ("㎜", "length", "mm"),
        ("ｍｍ", "length", "mm"),
        ("foo", "length", None),
        ("mm", "pitch", None),
        ("", "length", ""),
        ("notches", "plain", "notches"),
        ("mm", "count", None),
        ("°F", "temperature", "F"),
    ],
)
def test_a_unit_is_known_by_its_spellings(typed, quantity, unit):
    assert unit_of(typed, quantity) == unit


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0.001 in", 0.0254),
        ("1/128 in", 0.1984375),
        ("1 1/2 in", 38.1),
        ("-1 mm", -1.0),
        ("0.5 cents", 0.5),
        ("50", 50.0),
        ("−2 mm", -2.0),
    ],
)
def test_a_declared_amount_is_canonical(text, value):
    assert amount(text) == pytest.approx(value, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "quantity"),
    [("1", "length"), ("1 foo", "length"), ("", ""), ("x mm", ""), ("1 2 mm", ""), ("1/0 in", ""), ("3 mm", "pitch")],
)
def test_what_is_no_amount_is_refused(text, quantity):
    with pytest.raises(ValueError, match=r"wanted|divides"):
        amount(text, quantity)


def test_the_quantity_of_a_unit():
    assert [quantity_of(unit) for unit in ("in", "cents", "deg", "units", "")] == [
        "length",
        "pitch",
        "angle",
        "plain",
        "plain",
    ]


def test_every_unit_may_be_typed_by_the_name_that_a_message_gives_it():
    for quantity in ("length", "pitch", "angle", "temperature", "humidity", "minutes"):
        for name in spelled(quantity).split(", "):
            assert unit_of(name, quantity) == name
