"""What is wrong with the meaning that a [[log]] gives to a heading, in words."""

from ingest.shopfiles.shop_parts import Characteristic
from ingest.terms.units import spelled


def names_nothing(heading: str, target: str, unit: str, of: Characteristic | None, near: str) -> str:
    """A meaning that names no column: for want of a known unit where the rest of it is a measurement (`of`), else as a
    whole, with the nearest that is known.
    """
    told = f"this [[log]] maps the heading {heading!r} to {target!r}"
    if of is not None:
        return f"{told}, and {unit!r} is no unit of {of.key}; wanted one of {spelled(of.quantity)}"
    such = f", such as {near!r}" if near else ""
    return f"{told}, which names no column; wanted a field or CHARACTERISTIC [POSITION] [found|left] [(UNIT)]{such}"
