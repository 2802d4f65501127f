"""What an answer holds, and options as the key of a question."""

import sys
from collections.abc import Hashable
from datetime import date
from typing import Any

import numpy as np
import polars as pl


def weight(answer: Any, depth: int = 0) -> int:
    """About how many bytes an answer holds."""
    if isinstance(answer, pl.DataFrame | pl.Series):
        return int(answer.estimated_size())
    if isinstance(answer, np.ndarray):
        return int(answer.nbytes)
    if depth < 4 and isinstance(answer, dict):
        return sum(weight(item, depth + 1) for item in answer.values()) + 64 * len(answer)
    if depth < 4 and isinstance(answer, list | tuple):
        return sum(weight(item, depth + 1) for item in answer) + 64
    if depth < 4 and hasattr(answer, "__dataclass_fields__"):
        return sum(weight(getattr(answer, name), depth + 1) for name in answer.__dataclass_fields__)
    return sys.getsizeof(answer)


def frozen(value: Any) -> Hashable:
    """An option as a part of a key."""
    if isinstance(value, list | tuple | set):
        return tuple(frozen(item) for item in value)
    if isinstance(value, date | str | int | float | bool) or value is None:
        return value
    return repr(value)
