"""The unit of bare numbers by their size, their steps and the other columns of a sheet."""

from collections.abc import Sequence
from statistics import median

from ingest.beginning.starting_values import StartingMeasure
from ingest.reading.amounts import tidy

METRIC, INCHES = ("mm", "cm"), ("in", "thou", "64ths")


def bare_unit(item: StartingMeasure, cells: Sequence[str], system: str = "") -> str:
    """The unit of the bare numbers of a measurement: the one in which the middle number is a usual reading and the
    numbers lie on its steps; '' where none or several.

    system : 'mm' or 'in' where the sheet's headings speak of one of them only.
    """
    numbers = [abs(float(tidy(cell).replace(",", "."))) for cell in cells]
    numbers = [number for number in numbers if number] or numbers
    if not numbers or item.quantity not in ("length", "pitch", "angle"):
        return ""
    if item.quantity == "angle":
        return "deg"
    middle = median(numbers)
    fits = [unit for unit, low, high in item.units if low <= middle <= high]
    halves = sum(1 for number in numbers if 2 * number == int(2 * number)) / len(numbers)
    if len(fits) > 1 and "64ths" in fits and "mm" in fits:
        stepped = halves > 0.98 and len(set(numbers)) > 3 and system != "mm"
        fits = [unit for unit in fits if unit != ("mm" if stepped else "64ths")]
        if halves > 0.98 and not system:
            return ""  # 4, 4.5 and 3.5 may be either
    if len(fits) > 1 and system:
        fits = [unit for unit in fits if unit in (METRIC if system == "mm" else INCHES)]
    return fits[0] if len(fits) == 1 and not _of_two(numbers, fits[0], item) else ""


def _of_two(numbers: Sequence[float], unit: str, item: StartingMeasure) -> bool:
    """Are some of the numbers plainly of another unit, as where two people write in one column?"""
    ranges = {name: (low, high) for name, low, high in item.units}
    low, high = ranges[unit]
    strange = [number for number in numbers if not low / 3 <= number <= high * 3]
    others = [bounds for name, bounds in ranges.items() if name != unit]
    mixed = sum(1 for number in strange if any(least <= number <= most for least, most in others))
    return mixed > 0.03 * len(numbers)
