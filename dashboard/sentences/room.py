"""Room between the limits in words: what to do about the series that needs most."""

from typing import Any

from analysis.studies.room import capability
from dashboard import numbers
from dashboard.sentences import shared
from ingest.shopfiles.shop import Shop

DOTS = (
    "A dot is a model: three standard deviations in shares of the way to the nearer limit; its line is what the "
    "readings leave open (95 %). Past the edge some will lie outside. A ring is no promise: thin, not steady or read "
    "too coarsely."
)


def what(shop: Shop, row: dict[str, Any]) -> str:
    """`intonation string 4 on KITE-M2`."""
    name = shared.characteristic(shop, row["characteristic"], row["position"]).lower()
    return f"{name} on {shared.model(shop, row['model'])}"


def next_step(shop: Shop, row: dict[str, Any]) -> str:
    """Whether its mean or its spread takes the room, and what that asks for. row : of `room.need.needs`."""
    if capability.NOT_STEADY in row["flags"]:
        return f"see on Drift what moved {what(shop, row)} before its limits or the way it is set are changed."
    if capability.COARSE in row["flags"]:
        return f"measure {what(shop, row)} with a finer gauge before anything is changed."
    if row["widest"] is None or row["off"] is None:
        return f"see the readings of {what(shop, row)} below."
    if row["widest"] <= 1:
        way = "down" if row["off"] > 0 else "up"
        by = shared.amount(shop, row["characteristic"], abs(row["off"]), mean=True)
        return f"set {what(shop, row)} {by} further {way}: its spread fits, its middle is off."
    times = numbers.plain(row["widest"], 1)
    return (
        f"look at how {what(shop, row)} is set and measured, or agree other limits: its spread alone takes {times} "
        "times the tolerance."
    )
