"""Figures that are kept to the sixth digit: what a shop read yesterday it reads today.

Snapshots, values that only we computed; what they ought to be is shown beside them, method by method, against print,
laws and twins. `python -m tests.analysis.methods.kept` writes kept_figures.txt anew: read the difference before keeping
it.
"""

import dataclasses
import importlib
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

HERE = Path(__file__).with_name("kept_figures.txt")
CASES_IN = ("charts", "spread", "counts")  # test_kept_*.py
MOST = 24  # values of one figure that are kept one by one; of more their sums and some of them
STREAMS = np.array([0, 9, 30, 62])  # of 9, 21, 32 and 58 readings


class Cases(dict[str, Callable[[], object]]):
    """Cases by name; a function is put among them as a decorator does."""

    def __call__(self, made: Callable[[], object]) -> Callable[[], object]:
        """The function itself, kept under its name."""
        self[made.__name__] = made
        return made


def rng(seed: int) -> np.random.Generator:
    """Chance that is the same each time."""
    return np.random.default_rng([20290105, seed])


def readings(seed: int, n: int = 120) -> np.ndarray:
    """Independent ones about 0.2 mm."""
    return 0.2 + 0.03 * rng(seed).normal(size=n)


def dependent(seed: int, n: int = 120, phi: float = 0.6) -> np.ndarray:
    """Readings that resemble their neighbours."""
    x = rng(seed).normal(size=n)
    for k in range(1, n):
        x[k] += phi * x[k - 1]
    return x


def or_fault(of: Callable[..., object], *given: object, **named: object) -> object:
    """What a call gives, or the name of what it raised."""
    try:
        return of(*given, **named)
    except (ValueError, KeyError) as fault:
        return type(fault).__name__


def flat(name: str, told: object) -> Iterator[tuple[str, str | np.ndarray]]:
    """Every figure of a result by name: a text, or numbers."""
    if dataclasses.is_dataclass(told) and not isinstance(told, type):
        for each in dataclasses.fields(told):
            yield from flat(f"{name}.{each.name}", getattr(told, each.name))
    elif isinstance(told, dict):
        for key in told:
            yield from flat(f"{name}.{key}", told[key])
    elif isinstance(told, list | tuple):
        if told and all(isinstance(each, int | float | np.number) for each in told):
            yield name, np.array(told, dtype=np.float64)
        else:
            for k, each in enumerate(told):
                yield from flat(f"{name}.{k}", each)
    elif told is None or isinstance(told, str):
        yield name, str(told)
    elif isinstance(told, int | float | np.number | np.ndarray):
        yield name, np.atleast_1d(np.asarray(told, dtype=np.float64)).ravel()


def few(values: np.ndarray) -> np.ndarray:
    """All of a few; of many their sums, plain and each times a weight of its place, and every so-manieth."""
    if len(values) <= MOST:
        return values
    known = np.where(np.isfinite(values), values, 0.0)
    return np.array([len(values), known.sum(), known @ np.cos(np.arange(len(values))), *values[:: len(values) // 6]])


def told(name: str, cases: Cases) -> dict[str, str]:
    """Figures of a case as they are written."""
    found = flat(name, cases[name]())
    return {
        figure: value if isinstance(value, str) else " ".join(f"{each:.10g}" for each in few(value))
        for figure, value in found
    }


def check(name: str, cases: Cases) -> None:
    """Are all figures of a case there, and as they were kept?"""
    lines = (line.partition(": ") for line in HERE.read_text(encoding="utf-8").splitlines())
    held = {figure: value for figure, _, value in lines if figure.split(".")[0] == name}
    now = told(name, cases)
    assert now.keys() == held.keys()
    for figure, value in now.items():
        if value != held[figure]:
            before, after = ([float(each) for each in text.split()] for text in (held[figure], value))
            assert after == pytest.approx(before, rel=1e-6, abs=1e-8, nan_ok=True), figure


if __name__ == "__main__":
    modules = [importlib.import_module(f"tests.analysis.methods.test_kept_{each}") for each in CASES_IN]
    figures = [(name, one.case) for one in modules for name in one.case]
    text = "".join(f"{figure}: {value}\n" for name, of in figures for figure, value in told(name, of).items())
    HERE.write_text(text, encoding="utf-8")
