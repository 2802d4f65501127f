"""The letters of a time zone behind a time, as in 07:51 AM EDT: whose they are, and how far from UTC. Pure."""

import re
from datetime import UTC, datetime
from functools import cache
from zoneinfo import ZoneInfo

OF_UTC = ("UTC", "GMT", "Z")
# Letters -> a place whose clocks have them; those of several lands, as IST, name none.
PLACES = {
    "EST": "America/New_York", "EDT": "America/New_York", "CST": "America/Chicago", "CDT": "America/Chicago",
    "MST": "America/Denver", "MDT": "America/Denver", "PST": "America/Los_Angeles", "PDT": "America/Los_Angeles",
    "AKST": "America/Anchorage", "AKDT": "America/Anchorage", "HST": "Pacific/Honolulu", "CET": "Europe/Berlin",
    "CEST": "Europe/Berlin", "MEZ": "Europe/Berlin", "MESZ": "Europe/Berlin", "EET": "Europe/Helsinki",
    "EEST": "Europe/Helsinki", "WEST": "Europe/Lisbon", "JST": "Asia/Tokyo", "KST": "Asia/Seoul",
    "AEST": "Australia/Sydney", "AEDT": "Australia/Sydney", "NZST": "Pacific/Auckland", "NZDT": "Pacific/Auckland",
}  # fmt: skip
_SEVERAL = ("IST", "BST", "AST", "ADT", "NST", "NDT", "SAST", "MSK", "SGT", "HKT", "ACST", "ACDT", "AWST", "WIB", "WET")
_OWN = {"MEZ": "CET", "MESZ": "CEST"}  # as their people say it
_WHOLE_YEAR = {"ET": "EST", "CT": "CST", "MT": "MST", "PT": "PST"}  # summer and winter alike
KNOWN = (*PLACES, *_SEVERAL, *_WHOLE_YEAR)
BEHIND = rf"(?i)\d\s*(?:[ap]\.?m\.?)?\s*({'|'.join(KNOWN)})\s*$"


@cache
def letters_of(zone: str) -> dict[str, int | None]:
    """Each word for the clock of a zone and how many seconds it is before UTC; None where it says so in summer and in
    winter alike. Those of the years 2000 to 2037.
    """
    place = ZoneInfo(zone)
    moments = [
        datetime(year, month, 15, tzinfo=UTC).astimezone(place) for year in range(2000, 2038) for month in (1, 7)
    ]
    seconds = {(each.tzname() or ""): each.utcoffset() for each in moments}
    found: dict[str, int | None] = {
        name: int(offset.total_seconds()) for name, offset in seconds.items() if name.isalpha() and offset is not None
    }
    found |= {typed: found[name] for typed, name in _OWN.items() if name in found}
    return found | {typed: None for typed, name in _WHOLE_YEAR.items() if name in found}


def zone_in(text: str) -> str:
    """The letters of a zone behind a time, in capitals; '' where there are none, or those of UTC."""
    found = re.search(BEHIND, text)
    return found[1].upper() if found else ""


def place_of(letters: str) -> str:
    """A zone whose clocks have these letters, '' where none or several lands' do."""
    return PLACES.get(_WHOLE_YEAR.get(letters.upper(), letters.upper()), "")
