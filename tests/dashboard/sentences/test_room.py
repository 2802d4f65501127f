"""What to do about the series that needs most: its cause, its gauge, its middle, or its spread."""

import pytest

from dashboard.sentences import room
from tests.dashboard.sentences.test_shared import SHOP, plain


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"flags": "not steady"}, "see on Drift what moved action treble on LARK-25"),
        ({"flags": "coarse"}, "measure action treble on LARK-25 with a finer gauge"),
        ({}, "set action treble on LARK-25 0.12 mm further down: its spread fits, its middle is off."),
        ({"off": -0.12}, "set action treble on LARK-25 0.12 mm further up"),
        (
            {"widest": 1.52},
            "look at how action treble on LARK-25 is set and measured, or agree other limits: its spread",
        ),
        ({"widest": None}, "see the readings of action treble on LARK-25 below."),
        (
            {"slips": ["T738"], "ppk_without": 1.016, "flags": "not steady"},
            "see whether a reading far from all others (T738) is mistyped; without it Ppk is 1.02, and correct it",
        ),
        (
            {"slips": ["A", "B", "C", "D"], "ppk_without": None},
            "see whether readings far from all others (A, B, C and one more) are mistyped, and correct them",
        ),
    ],
)
def test_the_next_step_hangs_on_what_takes_the_room(more, said):
    row = {
        "characteristic": "action",
        "position": "treble",
        "model": "LARK-25",
        "flags": "",
        "off": 0.12,
        "widest": 0.8,
        "slips": [],
        "ppk_without": None,
    }
    assert plain(room.next_step(SHOP, row | more)).startswith(said)
