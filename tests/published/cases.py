"""Reads the published cases that lie beside this file."""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any


def case(name: str) -> Any:
    """One case with its `data`, what is `published`, the `tolerance` of the printed digits, the `source` and
    `notes`.
    """
    return SimpleNamespace(**json.loads((Path(__file__).parent / f"{name}.json").read_text(encoding="utf-8")))


def tolerance(found: Any, what: str) -> float:
    """How far a value may lie from print: half a unit of the last digit, more where `notes` say why."""
    return float(found.tolerance.get(what, found.tolerance["default"]))
