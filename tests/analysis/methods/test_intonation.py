import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.methods.intonation import String, cents, cents_short, fret_places, sensitivity, setbacks, stiffness
from analysis.methods.problems import UnusableData
from tests.published.cases import case

PRINT = case("trade/intonation_published")
INVERSE = case("trade/intonation_inverse")
PLAIN_B = String(645.0, 0.5, 5.0, 251.0, stiffness(251.0, 0.2032, 645.0))
strings = st.builds(
    String, st.floats(340, 700), st.floats(0.2, 0.8), st.floats(3, 6), st.floats(40, 250), st.floats(0, 0.004)
)


@pytest.mark.parametrize("instrument", case("trade/fret_positions").scales)
def test_frets_lie_where_twelve_equal_steps_put_them(instrument):
    # Varieschi & Gower 2010, equation 4; three decimals, exact arithmetic on common scale lengths.
    scale = case("trade/fret_positions").scales[instrument]
    assert fret_places(scale["scale_mm"]) == pytest.approx(scale["nut_to_fret_mm"], abs=5.1e-4)


@pytest.mark.parametrize("strings", ["normal", "hard", "light"])
def test_nylon_strings_have_the_printed_setbacks(strings):
    # Anderson & Beausoleil 2024: 18 strings, X0 650, b 1, H 5; printed kappa and radius have three digits, which leaves
    # .02 mm and .012 cents.
    printed = PRINT.AB2024_nylon_sets_strings_E4_B3_G3_D3_A2_E2[strings]
    for j, kappa in enumerate(printed["kappa"]):
        string = String(650.0, 1.0, 5.0, kappa, stiffness(kappa, printed["radius_mm"][j], 650.0))
        back, nut = setbacks(string)
        left = cents(string, np.arange(1, 13), saddle_back=back, nut_set=nut)
        assert string.stiffness == pytest.approx(printed["B0"][j], abs=1.01e-5)
        assert back == pytest.approx(printed["dS_mm"][j], abs=0.0175)
        assert nut == pytest.approx(printed["dN_mm"][j], abs=0.0075)
        assert np.sqrt((left**2).mean()) == pytest.approx(printed["rms_cents"][j], abs=0.0125)


def test_the_short_form_is_too_short_for_setbacks():
    # It misses by up to .13 mm, so the exact one must be the one that is fitted.
    kappa, radius, want = (
        PRINT.AB2024_nylon_sets_strings_E4_B3_G3_D3_A2_E2["light"][name][2] for name in ("kappa", "radius_mm", "dS_mm")
    )
    string = String(650.0, 1.0, 5.0, kappa, stiffness(kappa, radius, 650.0))
    over = 2 ** (np.arange(1, 13) / 12) - 1
    slope = np.polyfit(over, cents_short(string, np.arange(1, 13)) / 1731.234, 1)[0]
    assert abs(650 * slope - want) > 0.05
    assert cents_short(string, [12]) == pytest.approx(cents(string, [12]), abs=0.7)


def test_a_measured_string_has_the_printed_fit():
    # Byers 1996, table 8 to table 7, G string: least squares of measured places on 2^(-n/12) and a constant.
    printed = PRINT.Byers1996["table8_G_string"]
    n, measured = np.array(printed["n"]), np.array(printed["B_measured_mm"])
    slope, back = np.polyfit(2 ** (-n / 12), measured, 1)
    want = PRINT.Byers1996["table7_experiment"]["G3"]
    assert (slope, back, 650 - (slope + back)) == tuple(pytest.approx(value, abs=0.0051) for value in want[:3])


@pytest.mark.parametrize("kind", ["uncompensated", "compensated"])
def test_printed_hertz_give_the_printed_cents(kind):
    # Varieschi & Gower 2010, table II, string 1: cents recomputed from hertz differ by up to .04.
    table = PRINT.VG2010_Table_II_string1
    got = 1200 * np.log2(np.array(table[f"{kind}_hz"]) / table["open_hz" if "open_hz" in table else f"{kind}_hz"][0])
    assert got - 100 * np.array(table["fret"]) == pytest.approx(table[f"{kind}_cents"], abs=0.06)


def test_the_designed_pattern_of_a_plain_string_is_the_known_one():
    # Two decimals from another program, 645 mm plain B with a set-back of 3.87 mm.
    example = INVERSE.worked_example_1
    assert cents(PLAIN_B, example["frets"], saddle_back=3.87) == pytest.approx(example["baseline_cents"], abs=0.0051)


@pytest.mark.parametrize(
    ("scale", "cents_a_mm"),
    [
        (346.0, -5.0),
        (381.0, -4.5),
        (432.0, -4.0),
        (650.0, -2.7),
        (645.0, -2.7),
        (352.4, -4.9),
        (667.0, -2.6),
        (648.0, -2.7),
    ],
)
def test_a_millimetre_of_bridge_is_worth_the_known_cents(scale, cents_a_mm):
    # Own computation of one decimal, rounded from the derivative -C / X0, so a stretch of the string is left out.
    assert sensitivity(String(scale, 0.5, 3.0, 50.0, 0.0)).bridge_mm == pytest.approx(cents_a_mm, abs=0.07)


def test_nut_and_action_are_worth_little_on_a_plain_string():
    found = sensitivity(PLAIN_B, saddle_back=3.87)
    assert found.nut_tenth == pytest.approx(0.7, abs=0.05)
    assert found.action_fifth == pytest.approx(1.2, abs=0.15)  # known for an action we do not know exactly


@settings(max_examples=50)
@given(strings, st.floats(-3, 3), st.floats(-1, 1))
def test_a_larger_instrument_of_the_same_shape_sounds_the_same(string, back, nut):
    larger = String(
        string.scale * 1.5, string.nut_height * 1.5, string.saddle_height * 1.5, string.kappa, string.stiffness
    )
    n = np.arange(0, 20)
    same = cents(string, n, saddle_back=back, nut_set=nut)
    assert cents(larger, n, saddle_back=back * 1.5, nut_set=nut * 1.5) == pytest.approx(same, abs=1e-8)
    assert same[0] == 0


@settings(max_examples=50)
@given(strings)
def test_other_setbacks_are_worse(string):
    back, nut = setbacks(string)
    before, after = cents(string, np.arange(1, 13)), cents(string, np.arange(1, 13), saddle_back=back, nut_set=nut)
    assert (after**2).sum() < (before**2).sum()
    for off in (
        -0.5,
        0.5,
    ):  # first order in the set-backs, so up to a few tenths from the true minimum on short stiff strings
        for other in ({"saddle_back": back + off, "nut_set": nut}, {"saddle_back": back, "nut_set": nut + off}):
            assert (after**2).sum() < (cents(string, np.arange(1, 13), **other) ** 2).sum()


def test_back_moves_flatten_and_a_nut_moved_in_flattens_all_fretted_notes():
    n = np.arange(1, 13)
    assert (np.diff(cents(PLAIN_B, n, saddle_back=1.0) - cents(PLAIN_B, n)) < 0).all()
    moved = cents(PLAIN_B, n, nut_set=-0.5) - cents(PLAIN_B, n)
    assert moved == pytest.approx(np.full(12, -0.5 * 1731.234 / 645), rel=0.06)


@pytest.mark.parametrize(
    "call",
    [
        lambda: String(0.0, 1, 1, 1, 0),
        lambda: String(650.0, 1, 1, -1, 0),
        lambda: cents(PLAIN_B, [-1]),
        lambda: setbacks(PLAIN_B, [5]),
    ],
)
def test_what_is_no_string_is_refused(call):
    with pytest.raises(UnusableData):
        call()


@pytest.mark.parametrize("moved", [{}, {"saddle_back": 2.0}, {"nut_set": -0.6}, {"saddle_back": 2.0, "nut_set": -0.6}])
def test_the_short_form_is_the_exact_one_where_its_causes_are_small(moved):
    small = 1e-3
    root = np.sqrt(small)  # heights come in squared, set-backs and stiffness as they are
    held = String(650.0, 1.0 * root, 6.0 * root, 60.0, 0.01 * small)
    back = {name: by * small for name, by in moved.items()}
    frets = np.array([0, 1, 3, 7, 12, 19])
    exact, short = cents(held, frets, **back), cents_short(held, frets, **back)
    assert np.abs(exact - short).max() < 0.025 * np.abs(exact).max()  # it leaves out one of kappa's sixty-one


def test_a_string_without_stiffness_or_height_is_sharp_by_its_stretch_alone():
    held = String(650.0, 1.0, 6.0, 60.0, 0.0)
    g = 2.0  # at the octave
    whole, sounding, behind = np.hypot(650, 5.0), np.hypot(325, 6.0), np.hypot(325, 1.0)
    stretch = (sounding + behind - whole) / whole
    pitch = 1200 * np.log2(whole / (g * sounding) * np.sqrt((1 + stretch) * (1 + 60 * stretch)))
    assert cents(held, [12])[0] == pytest.approx(pitch)
