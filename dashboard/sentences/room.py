"""Room between the limits in words: what to do about the series that needs most."""

from typing import Any

from analysis.studies.room import capability
from dashboard import numbers
from dashboard.sentences import shared
from ingest.shopfiles.shop import Shop

NAMED = 3  # instruments
DOTS = (
    "A dot is a model: three standard deviations in shares of the way to the nearer limit; its line is what the "
    "readings leave open (95 %). Past the edge some will lie outside. A ring is no promise: thin, not steady, read "
    "too coarsely or with a reading that may be mistyped."
)


def what(shop: Shop, row: dict[str, Any]) -> str:
    """`intonation string 4 on KITE-M2`."""
    name = shared.characteristic(shop, row["characteristic"], row["position"]).lower()
    return f"{name} on {shared.model(shop, row['model'])}"


def at_bench(shop: Shop, row: dict[str, Any]) -> str:
    """The name of the bench where a row of `room` was read; '' where it is of the end, or of a play test."""
    stages = [stage for stage in row.get("stages") or () if stage in shop.by_stage]
    benches = [stage for stage in stages if shop.by_stage[stage].role not in ("final", "test")]
    return shop.stage_name(benches[0]).lower() if benches and len(benches) == len(stages) else ""


def when_read(shop: Shop, row: dict[str, Any], when: str) -> str:
    """`as set`; of what only the bench reads `as set at nut slotting`."""
    bench = at_bench(shop, row)
    return f"{when} at {bench}" if bench else when


def slips(row: dict[str, Any]) -> str:
    """`a reading far from all others (RK-1213) is mistyped; without it Ppk is 1.02`; '' without one."""
    serials = list(row["slips"] or [])
    if not serials:
        return ""
    named = ", ".join(serials[:NAMED]) + (
        f" and {numbers.in_words(len(serials) - NAMED)} more" if serials[NAMED:] else ""
    )
    them = "it" if len(serials) == 1 else "them"
    without = f"; without {them} Ppk is {numbers.plain(row['ppk_without'])}" if row["ppk_without"] is not None else ""
    if len(serials) > 1:
        return f"readings far from all others ({named}) are mistyped{without}"
    return f"a reading far from all others ({named}) is mistyped{without}"


def next_step(shop: Shop, row: dict[str, Any]) -> str:
    """Whether its mean or its spread takes the room, and what that asks for. row : of `room.need.needs`."""
    if slips(row):
        them = "it" if len(row["slips"]) == 1 else "them"
        return f"see whether {slips(row)}, and correct {them}: until then {what(shop, row)} is no promise."
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
