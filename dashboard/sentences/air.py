"""Where the air takes wood, in words."""

from analysis.studies.room.wood import Wood
from dashboard import numbers

MOVED = 0.5  # % of moisture; below it wood is not said to be on its way anywhere


def heading(found: Wood) -> str:
    """`The air of the last seven days (35 % RH, 21 °C) takes wood to 6.8 % of moisture, from 9.0 % ...: it dries.`"""
    share = f"{numbers.NBSP}%"
    air = f"{numbers.plain(found.now.rh, 0)}{share} RH, {numbers.plain(found.now.celsius, 0)}{numbers.NBSP}°C"
    said = f"The air of the last seven days on file ({air}) takes wood to {numbers.plain(found.now.moisture, 1)}{share}"
    if found.before is None:
        return f"{said} of moisture; thick wood is there after days to weeks."
    change = found.now.moisture - found.before.moisture
    way = "as before" if abs(change) < MOVED else "it dries" if change < 0 else "it takes up water"
    weeks = f"that of the four weeks before to {numbers.plain(found.before.moisture, 1)}{share}"
    return f"{said} of moisture, {weeks}: {way}. Thick wood follows after days to weeks."
