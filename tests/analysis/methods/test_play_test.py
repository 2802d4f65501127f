"""All strings together: planted faults are found again, laws of the model, and the rates of the trial at a tenth."""

import numpy as np
import pytest

from analysis.methods.intonation import CENTS, gamma
from analysis.methods.play_test import choked, explain, stopped_by, usual_spread
from analysis.methods.play_test_shapes import BRIDGE, FRET, NUT, Played, Spread
from analysis.methods.problems import UnusableData
from tests.trials import play_test as trial

FRETS = np.array([0, 1, 2, 3, 5, 7, 9, 12])
BANJO = trial.layout(trial.MAKES[2])


def four(scale=645.0):
    string = np.repeat(np.arange(4), len(FRETS))
    fret = np.tile(FRETS, 4)
    return Played(string, fret, fret, np.full(4, scale), np.linspace(-1, 1, 4), np.full(4, 7.0))


def back(played, treble, bass):
    """Cents of a bridge that wants to go back by so many mm at its treble and bass side."""
    mm = (treble + bass) / 2 + (bass - treble) / 2 * played.place[played.string]
    return np.where(played.own > 0, CENTS * (gamma(played.own) - 1) / played.scale[played.string] * mm, 0.0)


def named(told, row=0):
    return [(told.causes[i].kind, told.causes[i].at) for i in np.flatnonzero(told.worth[row])]


def test_a_bridge_forward_of_its_place_goes_back_by_as_much():
    played = four()
    told = explain(played, back(played, 2.5, 2.5)[None, :], Spread(noise=0.5))
    (at,) = np.flatnonzero(told.worth[0])
    assert told.causes[at].kind == BRIDGE
    assert told.move[0, at] == pytest.approx([2.5, 2.5], abs=0.15)


def test_a_slanted_bridge_is_told_foot_by_foot_and_turning_the_strings_round_turns_the_feet():
    played = BANJO
    told = explain(played, back(played, 0.5, 3.5)[None, :], Spread(noise=0.5))
    at = int(told.chance[0].argmax())
    assert told.causes[at].kind == BRIDGE
    assert told.move[0, at] == pytest.approx([0.5, 3.5], abs=0.4)
    turned = Played(played.string, played.fret, played.own, played.scale, -played.place, played.nut_cents)
    other = explain(turned, back(played, 0.5, 3.5)[None, :], Spread(noise=0.5))
    assert other.move[0, at] == pytest.approx(told.move[0, at][::-1])
    assert other.chance[0] == pytest.approx(told.chance[0])


def test_the_order_of_notes_and_a_tuning_of_any_string_change_nothing():
    rng, played = np.random.default_rng(5), four()
    e = back(played, 2.0, 2.0)[None, :] + rng.normal(0, 1, (3, len(played.string)))
    order = rng.permutation(len(played.string))
    mixed = Played(
        played.string[order], played.fret[order], played.own[order], played.scale, played.place, played.nut_cents
    )
    plain = explain(played, e, Spread())
    assert explain(mixed, e[:, order], Spread()).chance == pytest.approx(plain.chance, abs=1e-9)
    tuned = explain(played, e + np.array([0.0, 3.0, -4.0, 2.0])[played.string], Spread())
    assert tuned.chance == pytest.approx(plain.chance, abs=0.02)


def test_chances_add_up_and_a_silent_instrument_is_told_nothing():
    told = explain(four(), np.zeros((1, 32)), Spread())
    assert named(told) == []
    assert told.nothing[0] > 0.75
    assert ((told.chance >= 0) & (told.chance <= 1)).all()


def test_a_fret_of_its_own_is_named_and_a_high_nut_is_told_in_millimetres():
    played = four()
    own = np.where(played.fret == 5, 8.0, 0.0)
    assert named(explain(played, own[None, :], Spread(noise=1.2))) == [(FRET, 5)]
    hook = np.where(played.own > 0, (gamma(1) - 1) / np.where(played.own > 0, gamma(played.own) - 1, 1.0), 0.0)
    told = explain(played, (0.6 * 7.0 * hook)[None, :], Spread(noise=0.5))
    (at,) = np.flatnonzero(told.worth[0])
    assert told.causes[at].kind == NUT
    assert told.high[0, at] == pytest.approx(np.full(4, 0.6), abs=0.08)


def test_a_choke_is_far_sharp_never_flat_never_open_and_says_which_fret_stops_it():
    played = four()
    e = np.zeros((1, 32))
    e[0, 3], e[0, 12], e[0, 16] = 95.0, -95.0, 95.0  # fret 3 of string 1; flat; open string 3
    assert np.flatnonzero(choked(e, played.string, played.own)[0]).tolist() == [3]
    assert stopped_by([60.0, 99.0, 205.0], np.array([3, 3, 3])).tolist() == [4, 4, 5]


def test_the_short_string_is_shorter_and_its_frets_count_from_its_own_nut():
    assert BANJO.own[BANJO.string == 4].tolist() == [0, 2, 4, 7]
    assert BANJO.scale[4] == pytest.approx(667 * 2 ** (-5 / 12))


def test_noise_and_spread_of_accepted_instruments_are_found_again():
    rng, make = np.random.default_rng(9), trial.MAKES[3]
    played = trial.layout(make)
    good = np.stack([trial.notes(make, rng, trial.Fault(), played) for _ in range(120)])
    spread = usual_spread(played, good - np.median(good, axis=0))
    assert 1.19 < spread.noise < 1.19 * 1.2  # three plucks and whole cents; single slots and crowns stand in it too
    assert spread.bridge == Spread().bridge  # as wide as good work usually is, no wider
    wide = good - np.median(good, axis=0) + back(played, 1.0, 1.0) * rng.normal(0, 1.0, (120, 1))
    assert usual_spread(played, wide).bridge >= 1.3 * Spread().bridge


@pytest.mark.parametrize(
    "call",
    [
        lambda: explain(four(), np.zeros((1, 5)), Spread()),
        lambda: explain(four(), np.full((1, 32), np.nan), Spread()),
        lambda: explain(
            Played(np.zeros(3, int), FRETS[1:4], FRETS[1:4], np.full(1, 645.0), np.zeros(1), np.full(1, 7.0)),
            np.zeros((1, 3)),
            Spread(),
        ),
        lambda: Played(np.zeros(1, int), np.array([3]), np.array([-2]), np.ones(1), np.zeros(1), np.ones(1)),
    ],
)
def test_what_cannot_be_used_is_refused_with_words(call):
    with pytest.raises(UnusableData):
        call()


@pytest.mark.promise
@pytest.mark.parametrize(
    ("planted", "told", "wrong"),
    [
        ("nothing", 1.0, 0.03),
        ("bridge 2 mm", 0.85, 0.1),
        ("bridge 3 mm", 0.97, 0.1),
        ("nut .4 mm", 0.75, 0.1),
        ("choke", 0.9, 0.1),
        ("bridge 2 mm and nut .4 mm", 0.0, 0.1),
        ("bridge 2 mm and fret 7, 8 cents", 0.0, 0.1),
        ("nut .4 mm and a choke", 0.0, 0.1),
    ],
)
def test_play_tests_tell_what_was_planted(planted, told, wrong):
    # Twenty instruments a kind; three standard errors of slack. Full size: tests/trials/play_test.md.
    found = trial.trial(trial.FAULTS[planted], count=20, seed=trial.SEED).values()
    n = sum(one.n for one in found)
    share, off = sum(one.stage for one in found) / n, sum(one.wrong for one in found) / n
    assert share >= told - 3 * np.sqrt(told * (1 - told) / n)
    assert off <= wrong + 3 * np.sqrt(wrong * (1 - wrong) / n)
    if planted == "bridge 2 mm":
        assert sum(one.right for one in found) / n >= 0.85 - 3 * np.sqrt(0.85 * 0.15 / n)
