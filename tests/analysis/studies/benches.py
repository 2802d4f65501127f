"""Small shops and hand-made benches for tests: visits written as short lines."""

from datetime import UTC, datetime

import polars as pl

from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot

STAGES = [
    ("receiving", "receiving", 4),
    ("neck", "bench", 5),
    ("frets", "bench", 10),
    ("nut", "bench", 8),
    ("bridge", "bench", 6),
    ("play", "test", 4),
    ("rest", "rest", 0),
    ("final", "final", 5),
    ("packing", "packing", 5),
    ("luthier", "repair", 20),
]


def shop(**tables: object) -> Shop:
    """Ten stages, two models of two families, one tech's clock: UTC, 60 an hour, so that a minute costs 1."""
    return Shop.model_validate(
        {
            "shop": {"name": "Test bench", "timezone": "UTC", "labour_per_hour": 60.0},
            "stage": [{"key": key, "role": role, "minutes": minutes} for key, role, minutes in STAGES],
            "characteristic": [
                {"key": "relief", "set_at": "neck"},
                {"key": "action", "set_at": "bridge", "positions": ["bass", "treble"]},
                {"key": "neck_bow"},
            ],
            "model": [{"key": "LARK", "family": "tenor ukulele"}, {"key": "WREN", "family": "banjo"}],
        }
        | tables
    )


def bench(text: str, **tables: object) -> Snapshot:
    """A snapshot from lines `serial day hour stage outcome [key=value ...]`.

    day: of March 2026 (2 March is a Monday); hour: `9` or `9:30` (finished then, minutes as planned), `-` (a date
    only). A value may hold `_` for a blank. `fault=a;b` gives two faults; `relief=0.2` and the like a found reading.
    The line number is the log line.
    """
    as_of = tables.pop("as_of", None)
    visits, faults, readings = [], [], []
    keys = {"relief", "action_bass", "action_treble", "neck_bow"}
    for line, words in enumerate((row.split() for row in text.strip().splitlines()), start=1):
        serial, day, hour, stage, outcome, *more = words
        given = {key: value.replace("_", " ") for key, value in (item.split("=") for item in more)}
        at = datetime(2026, 3, 1, tzinfo=UTC).replace(day=int(day))
        if hour != "-":
            hours, _, minutes = hour.partition(":")
            at = at.replace(hour=int(hours), minute=int(minutes or 0))
        serial = "" if serial == "." else serial
        place = {
            "log_id": given.pop("log", "log"),
            "line": int(given.pop("line", line)),
            "serial": serial,
            "stage": stage,
        }
        for fault in given.pop("fault", "").split(";"):
            if fault:
                faults.append(place | {"fault": fault, "raw": fault})
        for key in keys & given.keys():
            name, _, position = key.partition("_") if key != "neck_bow" else (key, "", "")
            readings.append(
                place
                | {
                    "taken_at": at,
                    "characteristic": name,
                    "position": position,
                    "moment": "found",
                    "value": float(given.pop(key)),
                }
            )
        minutes = given.pop("minutes", None)
        visits.append(
            place
            | {
                "model": "LARK",
                "outcome": outcome.replace("_", " "),
                "time_known": hour != "-",
                "started_at": None if hour != "-" else at,
                "finished_at": at if hour != "-" else None,
                "minutes": None if minutes is None else float(minutes),
            }
            | {key: given[key] for key in given}
        )
    frames = {
        "visits": pl.DataFrame(visits, infer_schema_length=None),
        "faults": pl.DataFrame(faults),
        "readings": pl.DataFrame(readings),
    }
    return Snapshot.of(shop(**tables), as_of=as_of, **frames)
