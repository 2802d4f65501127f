"""Days that may be read in two orders: told by the file's own name and by other sheets of the shop, else asked."""

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from statistics import median

import polars as pl

from ingest.beginning.asking import Asker
from ingest.beginning.file_names import months_in
from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.survey import Survey
from ingest.reading.day_orders import ORDERS, days_in, orders_of
from ingest.reading.headings import plain
from ingest.reading.nights import AS_IT_STANDS, ROWS, night_of
from ingest.terms.clock import WRITTEN, Order, read_stamp
from ingest.terms.zone_letters import place_of, zone_in

UTC = "UTC"  # where nothing tells a zone
NEAR = timedelta(days=92)  # of other sheets of the shop
FARTHER = 6  # times: how far the days of the other order lie off
_IN_NAME = re.compile(r"(?<!\d)(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)(?!\d)")


def with_orders(surveys: Sequence[Survey]) -> list[Survey]:
    """The sheets, each order of days that was not sure told by sheets under the same headings, or by the day in the
    name of its only file; else, still asked about, that in which its days lie by those of the others.
    """
    return [seen if seen.order_sure or seen.said.date_order else _told(seen, surveys) for seen in surveys]


def ask_order(draft: Draft, log: LogDraft, asker: Asker) -> None:
    """In which order days are written that the calendar allows in several."""
    seen, key = log.survey, f"dates of {log.survey.title}"
    possible = () if seen.said.date_order or seen.known else orders_of(seen.days())
    if seen.order_sure:
        draft.guesses[key] = "as its days lie together" if len(possible) > 1 else ""
        return
    two = [WRITTEN[order] for order in possible if order != "ymd"]
    told = " or ".join(two if len(two) > 1 and "ymd" not in possible else [WRITTEN[order] for order in possible])
    sample = f", such as {next(filter(None, map(str.strip, seen.days())))!r}" if "ymd" in possible else ""
    question = f"{seen.title}: are the dates {told or 'day-month-year or month-day-year'}{sample}?"
    log.order = asker.ask(key, question, ORDERS, seen.order)
    draft.guesses[key] = "" if key in asker.answers else "the calendar allows several"


def ask_night(draft: Draft, log: LogDraft, asker: Asker) -> None:
    """Whether a night writes the day of its evening, where the clock falls past midnight within days."""
    seen = log.survey
    day = seen.column("date")
    if seen.known or "night_until" in seen.said.rest or day is None:
        return
    others = [seen.column(field) for field in ("started_at", "finished_at", "serial")]
    cells = [column.cells if column else [""] * len(day.cells) for column in (day, *others)]
    texts = [pl.Series([cell.strip() for cell in held], dtype=pl.String) for held in cells]
    if len({len(held) for held in texts}) > 1:
        return
    night = night_of(pl.DataFrame(dict(zip(ROWS, texts, strict=True))), seen.order)
    if night is None or not night.until:
        return
    key = f"night of {seen.title}"
    question = (
        f"{seen.title}: {night.times} times the clock falls past midnight within one day, such as {night.day}: "
        f"{night.before}, then {night.after}. Is that the day of the evening, and what comes before {night.until} of "
        "the day after?"
    )
    answer = asker.ask(key, question, ("yes", "no"), "yes")
    log.night = night.until if answer == "yes" else AS_IT_STANDS
    draft.guesses[key] = "" if key in asker.answers else "the clock falls past midnight within one day"


def zone_of(surveys: Sequence[Survey]) -> str:
    """The time zone that the letters behind the times of all sheets tell, else UTC."""
    places = {place_of(letters) for seen in surveys for cell in seen.days() if (letters := zone_in(cell))}
    return (places.pop() or UTC) if len(places) == 1 else UTC


def _told(seen: Survey, surveys: Sequence[Survey]) -> Survey:
    possible = orders_of(seen.days())
    others = [other for other in surveys if other is not seen and other.order_sure]
    alike = {other.order for other in others if _headings(other) == _headings(seen) and orders_of(other.days())}
    told = alike.pop() if len(alike) == 1 else _by_name(seen, possible) or _by_months(seen, possible)
    if told in possible:
        return replace(seen, order=told, order_sure=True)
    near = _nearest(seen, possible, [day for other in others for day in _days(other)])
    return replace(seen, order=near) if near else seen


def _headings(seen: Survey) -> set[str]:
    return {plain(column.heading) for column in seen.columns}


def _by_name(seen: Survey, possible: Sequence[Order]) -> Order | None:
    """The only order in which all days of a file are that of its name, or the days beside it."""
    found = _IN_NAME.findall(seen.name)
    if len(seen.files) > 1 or len(found) != 1 or (stamp := read_stamp("-".join(found[0]), "ymd")) is None:
        return None
    named = (stamp[0] or stamp[1] or date.min).toordinal()
    fit = [order for order in possible if all(abs(day.toordinal() - named) <= 1 for day in days_in(seen.days(), order))]
    return fit[0] if len(fit) == 1 else None


def _by_months(seen: Survey, possible: Sequence[Order]) -> Order | None:
    """The only order in which all days are of the months that the names of its files say."""
    named = [months_in(name) for name in seen.files]
    if not named or not all(len(each) == 1 for each in named):
        return None
    whole = set[int]().union(*named)
    fit = [order for order in possible if {day.month for day in days_in(seen.days(), order)} == whole]
    return fit[0] if len(fit) == 1 else None


def _days(seen: Survey) -> list[date]:
    """The days of a sheet whose order is known, in whatever way they are written."""
    stamps = (read_stamp(cell, seen.order) for cell in dict.fromkeys(seen.days()))
    moments = (stamp[0] or stamp[1] for stamp in stamps if stamp and stamp[2])
    return [moment.date() for moment in moments if moment is not None]


def _nearest(seen: Survey, possible: Sequence[Order], known: Sequence[date]) -> Order | None:
    """The order in which the days of a sheet lie within, or near, those of the others and in no other so."""
    if not known or len(possible) < 2:
        return None
    first, last = min(known).toordinal(), max(known).toordinal()
    far = {}
    for order in possible:
        middle = median(day.toordinal() for day in days_in(seen.days(), order))
        far[order] = max(first - middle, middle - last, 0)
    best, other = sorted(far, key=lambda order: far[order])[:2]
    return best if far[best] <= NEAR.days and far[best] * FARTHER < far[other] else None
