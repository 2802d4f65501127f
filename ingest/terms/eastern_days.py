"""Days as they are written in east Asia: 2026年9月10日, R8.9.7, 令和8年9月7日, 2026년 9월 10일; pure."""

import re
from datetime import timedelta

ERAS = {"R": 2018, "H": 1988, "S": 1925, "令和": 2018, "平成": 1988, "昭和": 1925}  # the year before the first
_ERA = "|".join(ERAS)
_DAY = re.compile(
    rf"(?:(?P<of>{_ERA})\s*)?(?P<y>\d{{1,4}}|元)\s*[年년]\s*(?P<m>\d{{1,2}})\s*[月월]\s*(?P<d>\d{{1,2}})\s*[日일号]"
    rf"|(?P<era>{_ERA})\s*(?P<ey>\d{{1,2}})\s*(?P<sign>[./])\s*(?P<em>\d{{1,2}})\s*(?P=sign)\s*(?P<ed>\d{{1,2}})"
)
_WEEKDAY = re.compile(r"\s*\(?[月火水木金土日](?:曜日?)?\)?(?=\s|$)")
_CLOCK = re.compile(
    r"(?P<half>午前|午後|上午|下午|오전|오후)?\s*(?P<hour>\d{1,2})\s*(?:[時时시]\s*(?:(?P<minute>\d{1,2})\s*[分분])?|:(?P<of>\d{2}))"
)
_AFTER_NOON = ("午後", "下午", "오후")


def eastern_day(text: str) -> tuple[int, int, int, str] | None:
    """(year, month, day, what stands behind them) of a day written so; None where it is none. A year without an era has
    four figures, or two of this century.
    """
    found = _DAY.match(text)
    if found is None:
        return None
    era = found["of"] or found["era"]
    typed = found["y"] or found["ey"]
    number = 1 if typed == "元" else int(typed)
    year = ERAS[era] + number if era else number + (2000 if len(typed) == 2 else 0)
    rest = _WEEKDAY.sub("", text[found.end() :], count=1).strip(" T,")
    return year, int(found["m"] or found["em"]), int(found["d"] or found["ed"]), rest


def eastern_clock(text: str) -> timedelta | None:
    """The time of day of 午後3時5分 or 15時; None where it is none."""
    found = _CLOCK.fullmatch(text)
    if found is None:
        return None
    hour, minute = int(found["hour"]), int(found["minute"] or found["of"] or 0)
    if found["half"]:
        if hour > 12:
            return None
        hour = hour % 12 + (12 if found["half"] in _AFTER_NOON else 0)
    return timedelta(hours=hour, minutes=minute) if hour < 24 and minute < 60 else None
