"""When each row was taken: the date, start and finish cells of a table as UTC, and what is wrong with them."""

from zoneinfo import ZoneInfo

import polars as pl

from ingest.reading.cells import Cells, Refusals
from ingest.reading.day_orders import ENOUGH, date_order, days_in, orders_of
from ingest.reading.nights import AS_IT_STANDS, moved, night_in
from ingest.reading.sheet import Reading
from ingest.terms import clock
from ingest.terms.zone_letters import letters_of

FUTURE = "the future"  # why a row is set aside that lies after the clock
LOOKED_AT = 2000  # different days by which their order is doubted
APART = 4  # times as many months: days that lie so in the one order and together in the other are doubted
FALLS = "times the clock falls past midnight within one day"
BOTH = ("start", "end")
TWO_DAYS = (
    "rows have two days and no clock: what was found before something was left stands on the earlier one, all else "
    "that they say on the later one"
)


def read_times(cells: Cells, refused: Refusals, reading: Reading, *, day_only: bool = False) -> pl.DataFrame:
    """started_at, finished_at (UTC), time_known, clock_twice and came_at, row for row; rows whose time cannot stand are
    refused. Of two days without a clock the later one is when the visit was, came_at (else null) the earlier one.

    day_only : a time of day is not taken, since one row speaks for several stages.
    """
    order, zone = reading.log.date_order, reading.shop.zone
    stamps: dict[str, pl.DataFrame] = {}
    for field in ("date", "started_at", "finished_at"):
        column = cells.column(field)
        if column is None:
            stamps[field] = clock.no_stamps(cells.rows.height)
        else:
            text = cells.text(field)
            _doubt_order(text, order, column.heading, reading)
            stamps[field] = read = _of_its_zone(clock.read_stamps(text, order), refused, zone)
            unread = (text != "") & read["local"].is_null() & read["utc"].is_null()
            refused.add(unread, "a time that cannot be read", _wanted(text, order, column.heading, unread))
    frame = _on_the_wall(stamps, zone, reading.log.night_until)
    if not reading.log.night_until:
        _doubt_nights(cells, stamps, reading)
    homeless = frame.select(
        (pl.col("start_clock") & ~pl.col("start_day") & pl.col("day").is_null())
        | (pl.col("end_clock") & ~pl.col("end_day") & pl.col("end").is_null())
    ).to_series()
    refused.add(homeless, "a time of day without a date", "a date beside it")
    if day_only:
        frame = frame.with_columns(start_clock=pl.lit(False), end_clock=pl.lit(False))
    frame = frame.with_columns(
        started=pl.when("start_clock").then(pl.coalesce("start_utc", clock.to_utc(pl.col("start"), zone))),
        finished=pl.when("end_clock").then(pl.coalesce("end_utc", clock.to_utc(pl.col("end"), zone))),
        time_known=pl.col("start_clock") | pl.col("end_clock"),
    )
    skipped = frame.select(
        (pl.col("start_clock") & pl.col("start").is_not_null() & pl.col("started").is_null())
        | (pl.col("end_clock") & pl.col("end").is_not_null() & pl.col("finished").is_null())
    ).to_series()
    refused.add(
        skipped & ~homeless,
        "a time that does not exist",
        f"a time on the clock of {zone.key}: that night it went forward over this hour",
    )
    twice = [pl.col("start_utc").is_null() & clock.shown_again(pl.col("start"), pl.col("started"), zone)]
    twice += [pl.col("end_utc").is_null() & clock.shown_again(pl.col("end"), pl.col("finished"), zone)]
    frame = frame.with_columns(clock_twice=twice[0] | twice[1], started_at="started", finished_at="finished")
    if not frame["time_known"].all():
        begins = clock.day_begins(pl.coalesce("end", "start"), zone)
        frame = frame.with_columns(started_at=pl.when("time_known").then("started").otherwise(begins))
    refused.add(frame["start"].is_null() & frame["end"].is_null(), "no date", "the day of the visit")
    refused.add(frame["finished_at"] < frame["started_at"], "finished before started", "a finish after the start")
    if reading.limit is not None:
        taken = frame.select(pl.coalesce("finished_at", "started_at")).to_series()
        refused.add(
            taken > reading.limit, FUTURE, f"a time before {reading.limit:%Y-%m-%d %H:%M} UTC, when the file was loaded"
        )
    twice_shown = int(frame["clock_twice"].sum())
    reading.count(
        twice_shown, "rows have a time that the clock showed twice that night; the earlier is taken and flagged"
    )
    later = ~pl.col("time_known") & (pl.col("end").dt.date() > pl.col("start").dt.date())
    reading.count(frame.filter(later).height, TWO_DAYS)
    came = clock.day_begins(pl.col("start"), zone)
    frame = frame.with_columns(came_at=pl.when(later).then(came))
    return frame.select("started_at", "finished_at", "time_known", "clock_twice", "came_at")


def _wanted(text: pl.Series, order: clock.Order, heading: str, unread: pl.Series) -> pl.Series | str:
    """What is wanted in the place of each stamp that cannot be read."""
    if not unread.any():
        return ""
    year = text.str.extract(r"(?:^|\D)(\d{4})(?:\D|$)").cast(pl.Int32, strict=False)
    years = f"a year from {clock.FIRST_YEAR} to {clock.LAST_YEAR} under {heading!r}; found "
    wanted = f"{clock.WRITTEN[order]} and hour:minute under {heading!r}; found "
    if not text.str.contains(":").any():
        wanted = wanted.replace(" and hour:minute", "")
    out_of_time = year.is_not_null() & ~year.is_between(clock.FIRST_YEAR, clock.LAST_YEAR)
    lead = pl.when(out_of_time).then(pl.lit(years)).otherwise(pl.lit(wanted))
    return pl.select(lead + "'" + text.str.slice(0, 60) + "'").to_series()


def _doubt_order(text: pl.Series, order: clock.Order, heading: str, reading: Reading) -> None:
    """Say so where days lie together in another order than the log's, or the calendar allows them in another alone."""
    typed = text.unique(maintain_order=True).head(LOOKED_AT).to_list()
    meant, sure = date_order(typed)
    if meant == order or not sure:
        return
    such = f"the days under {heading!r}, such as {next(filter(None, typed))!r}"
    mend = f'if that is meant, date_order = "{meant}" in the [[log]], then `truerun again --all`'
    some, every = len(days_in(typed, order)), len(days_in(typed, meant))
    if order not in orders_of(typed):
        if ENOUGH <= every == sum(map(bool, typed)) and some < every:
            told = f"are all of them days as {clock.WRITTEN[meant]}, {some} of {every} as {clock.WRITTEN[order]}"
            reading.note(f"{such}, {told}: {mend}, for the files loaded before were read so too")
        return
    years, close = (len({day.year for day in days_in(typed, each)}) for each in (order, meant))
    months, near = (len({(day.year, day.month) for day in days_in(typed, each)}) for each in (order, meant))
    if close < years:
        told = f"are read as {clock.WRITTEN[order]} and lie in {years} years so, as {clock.WRITTEN[meant]} in {close}"
    elif near * APART <= months:
        told = f"are read as {clock.WRITTEN[order]} and lie in {months} months so, as {clock.WRITTEN[meant]} in {near}"
    else:
        return
    reading.note(f"{such}, {told}: {mend}")


def _doubt_nights(cells: Cells, stamps: dict[str, pl.DataFrame], reading: Reading) -> None:
    """Say so where the clock falls past midnight within one day."""
    if cells.column("date") is None or not any(cells.column(field) for field in ("started_at", "finished_at")):
        return
    texts = pl.DataFrame([cells.text("date").alias("day"), cells.text("serial").alias("serial")])
    night = night_in(texts, *(stamps[field] for field in ("date", "started_at", "finished_at")))
    if night is None:
        return
    told = next((text for text in reading.counted if text.startswith(FALLS)), "")
    until = night.until or "06:00"
    new = (
        f"{FALLS}, such as {night.day}: {night.before}, then {night.after}. If a night writes the day of its evening, "
        f'night_until = "{until}" in the [[log]] {reading.log.name!r} takes earlier times for those of the day after; '
        f'"{AS_IT_STANDS}" says that days stand right. Then `truerun again --all`'
    )
    reading.count(night.times, told or new)


def _of_its_zone(stamps: pl.DataFrame, refused: Refusals, zone: ZoneInfo) -> pl.DataFrame:
    """STAMPS with utc where the letters of a zone behind a time say which of a clock's times it is; a time of another
    zone than the shop's is refused.
    """
    letters = clock.zone_typed(stamps["text"])
    if letters.null_count() == len(letters):
        return stamps
    own = letters_of(zone.key)
    wanted = f"a time on the clock of {zone.key} ({', '.join(sorted(own)) or 'without letters'}); found "
    refused.add(
        ~letters.is_in(list(own)),
        "a time of another zone than the shop's",
        pl.select(pl.lit(wanted) + "'" + stamps["text"].str.slice(0, 60) + "'").to_series(),
    )
    seconds = letters.replace_strict(own, default=None, return_dtype=pl.Int64)
    told = pl.col("local") - pl.duration(seconds=pl.lit(seconds))
    return stamps.with_columns(
        utc=pl.when(pl.col("has_day")).then(pl.coalesce("utc", told.dt.replace_time_zone("UTC"))).otherwise("utc")
    )


def _on_the_wall(stamps: dict[str, pl.DataFrame], zone: ZoneInfo, night_until: str) -> pl.DataFrame:
    """day, start and end on the shop's clock with what each is known by: the date column gives the day of a bare clock,
    and the start where there is none. night_until : see `nights`.
    """
    day, start, end = stamps["date"], stamps["started_at"], stamps["finished_at"]
    frame = pl.DataFrame(
        {
            "day": day["local"],
            "day_utc": day["utc"],
            "day_clock": day["has_clock"],
            "day_is": day["has_day"],
            "start": start["local"],
            "start_utc": start["utc"],
            "start_day": start["has_day"],
            "start_clock": start["has_clock"],
            "end": end["local"],
            "end_utc": end["utc"],
            "end_day": end["has_day"],
            "end_clock": end["has_clock"],
        }
    )
    for name in ("day", "start", "end"):
        if (
            frame[f"{name}_utc"].null_count() < frame.height
        ):  # a stamp with an offset stands on the shop's clock too, for its day
            frame = frame.with_columns(pl.coalesce(name, clock.to_local(pl.col(f"{name}_utc"), zone)).alias(name))
    if frame["day_is"].any() or frame["day"].null_count() < frame.height:
        alone = pl.col("start").is_null() & pl.col("day_is")
        frame = frame.with_columns(
            day=pl.when("day_is").then("day"),
            start=pl.when(alone).then("day").otherwise("start"),
            start_utc=pl.when(alone).then("day_utc").otherwise("start_utc"),
            start_clock=pl.when(alone).then("day_clock").otherwise("start_clock"),
            start_day=pl.col("start_day") | alone,
        )
    if frame.select(
        ((pl.col("start_clock") & ~pl.col("start_day")) | (pl.col("end_clock") & ~pl.col("end_day"))).any()
    ).item():
        frame = frame.with_columns(start=_on_day("start", pl.col("day")))
        frame = frame.with_columns(end=_on_day("end", pl.coalesce("day", pl.when("start_day").then("start"))))
        frame = _of_the_night(frame, night_until) if night_until else frame
    return frame


def _of_the_night(frame: pl.DataFrame, until: str) -> pl.DataFrame:
    """Times of day before an hour moved to the day after; what begins before it may end behind it."""
    bare = {name: pl.col(f"{name}_clock") & ~pl.col(f"{name}_day") & pl.col("day").is_not_null() for name in BOTH}
    typed = frame["start"]
    frame = frame.with_columns(
        pl.when(mine).then(moved(pl.col(name), until)).otherwise(pl.col(name)).alias(name)
        for name, mine in bare.items()
    )
    over = bare["start"] & bare["end"] & (pl.col("start") > typed) & (pl.col("end") < pl.col("start"))
    return frame.with_columns(end=pl.when(over).then(pl.col("end").dt.offset_by("1d")).otherwise("end"))


def _on_day(name: str, day: pl.Expr) -> pl.Expr:
    """A bare clock moved to its day (null where no day is known); a stamp with a day as it is."""
    on_day = day.dt.truncate("1d") + (pl.col(name) - pl.lit(clock.EXCEL_DAY_0))
    return pl.when(pl.col(f"{name}_clock") & ~pl.col(f"{name}_day")).then(on_day).otherwise(pl.col(name)).alias(name)
