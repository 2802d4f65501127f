"""A small invented shop, and logs written for it, that the tests of ingest share."""

import copy
from typing import Any

from ingest.shopfiles.shop import Shop, checked_shop

TABLE: dict[str, Any] = {
    "shop": {"name": "Test bench", "timezone": "Europe/Dublin"},
    "stage": [
        {"key": "receiving", "role": "receiving"},
        {"key": "nut_slotting", "name": "Nut slotting", "minutes": 9},
        {"key": "play_test", "role": "test"},
        {"key": "rest", "role": "rest"},
        {"key": "final_inspection", "name": "Final inspection", "role": "final", "minutes": {"banjo": 6, "other": 4}},
        {"key": "packing", "role": "packing"},
    ],
    "characteristic": [
        {"key": "relief", "name": "Neck relief", "set_at": "nut_slotting", "plausible": ["-1 mm", "3 mm"]},
        {"key": "action", "positions": ["bass", "treble"], "plausible": ["0.5 mm", "9 mm"]},
        {
            "key": "intonation",
            "quantity": "pitch",
            "positions": ["1", "2", "3", "4"],
            "plausible": ["-60 cents", "60 cents"],
        },
        {"key": "head", "quantity": "plain", "positions": ["1", "2", "3", "4"]},
        {"key": "neck_bow", "positions": ["bass", "treble"]},
    ],
    "gauge": [
        {"key": "leaves", "measures": ["relief"], "resolution": "0.001 in", "words": ["feeler"]},
        {"key": "rule", "measures": ["action"], "resolution": "1/64 in"},
    ],
    "model": [
        {"key": "LARK-25", "family": "tenor ukulele", "setup": "tenor", "words": ["L25"]},
        {"key": "LARK-40", "family": "tenor ukulele", "setup": "tenor"},
        {"key": "DRAY-5", "family": "banjo"},
    ],
    "fault": [{"key": "open-string buzz", "words": ["buzz open"], "suspect": "nut_slotting"}, {"key": "high fret"}],
    "tech": [{"key": "T07", "words": ["JR", "J.R."], "qualified": ["nut_slotting"]}, {"key": "T08", "words": ["AO"]}],
    "log": [
        {
            "name": "bench",
            "files": "*.csv",
            "units": {"relief": "in", "action": "mm", "intonation": "cents"},
            "words": {"outcome": {"ok": "pass"}},
        }
    ],
}


def small_shop(**log: Any) -> Shop:
    """The small shop; keywords change its one kind of sheet."""
    table = copy.deepcopy(TABLE)
    table["log"][0] |= log
    return checked_shop(table)


def csv(*rows: str) -> bytes:
    """A log of these lines."""
    return ("\n".join(rows) + "\n").encode()
