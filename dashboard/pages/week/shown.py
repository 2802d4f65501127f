"""What a week is shown from, on page and paper: worked out now, or the copy that was kept when it was reviewed. Later
words never reach a kept one.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import partial
from pathlib import Path
from time import monotonic
from typing import Any

import polars as pl

from analysis.brings import Brought
from analysis.methods.problems import NotWorkedOut, UnusableData
from analysis.review import MatterSeen, Review, review
from analysis.studies.gauges.read_on import read_on
from analysis.studies.gauges.register import Standing
from analysis.studies.matters import records, register
from analysis.studies.matters.calls import Calls, calls
from analysis.studies.matters.register import Entry
from analysis.studies.people.catchers import Caught
from analysis.studies.people.touched import Touched
from analysis.studies.rework import rework
from analysis.studies.room import climate, play_test, settling
from analysis.studies.story.scope import Scope
from analysis.studies.week.arrived import review_week
from analysis.studies.week.returned import Returned
from analysis.studies.week.silent import awaited
from dashboard.charts.stream import view as charts
from dashboard.charts.stream.view import StreamView
from dashboard.desk import desk, gauges_now, looking_back, signed
from dashboard.exports import copies
from dashboard.pages.drift import on_chart as drift_on_chart
from dashboard.pages.drift import seen as drift_seen
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import findings, silent
from dashboard.sentences import shared as sentences
from dashboard.sentences.gauges import notes
from dashboard.sentences.matters import moved
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot, code_of

CHARTS, WEEKS = 3, 13  # charts of open matters, and the weeks they show
REVIEWED, TAKEN_BACK = "reviewed", "taken back"
PEOPLE = ("owner", "who", "done_by")  # who somebody is, in the copy
WORDS = ("text", "action", *PEOPLE)  # what somebody wrote, in the copy
SOMEBODY = "somebody"
LONG = 1.0  # seconds; what took so long to work out is kept beside the store


@dataclass(frozen=True)
class Drawn:
    """An open matter as the chart of its main stream."""

    name: str
    n: int  # readings
    also: str  # where the same was seen
    said: str  # the finding, for those who do not see the chart
    view: StreamView


@dataclass(frozen=True)
class WeekShown:
    """Everything that page and paper of one week show."""

    review: Review
    lives: dict[str, Entry]  # of the matters shown, by their key
    drawn: list[Drawn]
    calls: Calls | None
    total: dict[str, Any]  # of what came back: rework.Flows.total; {} where it could not be worked out
    air: pl.DataFrame  # climate.slopes
    as_of: datetime
    version: int  # of the store
    book: int  # sequence of the bench book
    played: tuple[play_test.Advice, ...] = ()  # what the week's first play tests say
    gauges: tuple[Standing, ...] = ()  # those not in order
    notes: dict[str, str] = field(default_factory=dict)  # of matters that rest on one of these, by their key
    reviewed: Reviewed | None = field(default=None, metadata={"kept": False})


@dataclass(frozen=True)
class Reviewed:
    """That a week was reviewed: by whom and when, and which line of the book keeps it."""

    sequence: int
    at: datetime
    who: str
    lines_since: int  # written into the bench book since then


CLASSES = (
    WeekShown, Reviewed, Drawn, Review, MatterSeen, Entry, register.Line, register.Checked, Calls, records.Matter,
    records.MovesWith, records.Candidate, records.TellApart, records.Planned, records.Member, StreamView, charts.Asked,
    charts.Limits, charts.Signal, charts.Began, charts.Change, charts.Run, charts.Odd, play_test.Advice, Standing,
    Caught, Brought, Touched, records.Creeping, Returned,
)  # fmt: skip


def told(week: date | None = None) -> WeekShown:
    """All that is shown of a week, worked out now (its first day; None: the last whole one). UnusableData without any
    reading. Asked within `desk.as_it_stood` it is told as of then.
    """
    shown: WeekShown = desk.ask(_whole, week=week)
    out = gauges_now.out_of_order()  # by what Card last measured of them
    said = notes(shown.review, out, desk.here().snapshot().shop, desk.ask(read_on)) if out else {}
    return for_reader(replace(shown, gauges=out, notes=said))


def of_page(week: date | None = None) -> WeekShown:
    """The same without what only the paper shows."""
    return for_reader(desk.ask(_of_page, week=week))


def _whole(snapshot: Snapshot, *, week: date | None) -> WeekShown:
    return _as_kept(snapshot, "paper", week, partial(_made, week, snapshot))


def _of_page(snapshot: Snapshot, *, week: date | None) -> WeekShown:
    return _as_kept(snapshot, "page", week, partial(_made_for_page, week, snapshot))


def _as_kept(snapshot: Snapshot, what: str, week: date | None, make: Callable[[], WeekShown]) -> WeekShown:
    """What is kept beside the store of the shop as it stands; else what `make` gives, kept where it took long and
    nothing in it failed: who opens the shop next has its week at once, however many years lie behind it.
    """
    for table in ("bench_book", "targets_by_hand", "weeks_reviewed"):
        snapshot.table(table)  # it hangs on them whole, whether it is read or made
    place, key = snapshot.kept_texts, repr((what, _code(), snapshot.key, snapshot.laid_over, week))
    text = place.of(key) if place is not None else None
    if text is not None:
        with suppress(copies.NoCopy):
            there = copies.from_text(text, CLASSES)
            if isinstance(there, WeekShown):
                return there
    begun = monotonic()
    made = make()
    stands = desk.here().snapshot().key == snapshot.key  # what was asked on the way was asked of the shop as it stands
    if place is not None and stands and not made.review.gaps and monotonic() - begun > LONG:
        place.keep(key, copies.to_text(made))
    return made


def _code() -> str:
    house = Path(__file__).parents[3]
    return code_of(house / "ingest", house / "analysis", house / "dashboard", built_on=("numpy", "scipy", "polars"))


def _made(week: date | None, snapshot: Snapshot) -> WeekShown:
    page = _made_for_page(week, snapshot)
    found, gaps = page.review, dict(page.review.gaps)
    return replace(
        page,
        drawn=_drawn(found, snapshot.shop),
        calls=_or(None, "calls", gaps, lambda: desk.ask(calls)),
        total=_or(dict[str, Any](), "flows", gaps, lambda: _total(found.week)),
        air=_or(pl.DataFrame(), "air", gaps, lambda: desk.ask(climate.slopes)),
        played=_or((), "played", gaps, lambda: _played(found, snapshot.shop)),
        review=replace(found, settling=_or(found.settling, "settling", gaps, _settling), gaps=gaps),
    )


def _made_for_page(week: date | None, snapshot: Snapshot) -> WeekShown:
    found: Review = desk.ask(review, week=week)
    return WeekShown(
        review=found,
        lives=lives(found, snapshot.shop),
        drawn=[],
        calls=None,
        total={},
        air=pl.DataFrame(),
        as_of=snapshot.as_of,
        version=snapshot.version,
        book=snapshot.book_sequence,
    )


def awaited_since(found: Review) -> pl.DataFrame:
    """Weeks after the one under review that are over by the clock and of which nothing was read."""
    rows: pl.DataFrame = desk.ask(awaited, today=desk.here().today())
    return rows.filter(pl.col("first") > found.last_day)


def for_reader(shown: WeekShown) -> WeekShown:
    """The week as whoever asks may see it: for a guest without anybody's name, wherever it stands."""
    if not signed.is_guest():
        return shown
    counter = desk.here()
    nobody, text = counter.nobody_shown(), copies.to_text(shown)
    made = copies.from_text(text, CLASSES, words=PEOPLE, put=lambda said: SOMEBODY if said else "")
    text = copies.to_text(made)
    made = copies.from_text(text, CLASSES, words=("text", "action"), put=nobody.text)
    return made if isinstance(made, WeekShown) else shown


def _played(found: Review, shop: Shop) -> tuple[play_test.Advice, ...]:
    """What first play tests of the week say."""
    said: tuple[play_test.Advice, ...] = desk.ask(play_test.advice)
    return tuple(one for one in said if found.week <= sentences.local(shop, one.taken_at).date() <= found.last_day)


def lives(found: Review, shop: Shop) -> dict[str, Entry]:
    """The register's rows of the matters that a review tells, by the matter's key."""
    known = {one.matter.key for one in (*found.matters, *found.known)}
    keys = tuple(one.key for one in findings.week(found, shop) if one.key in known)
    try:
        rows: dict[str, Entry] = desk.ask(register.rows_of, keys=keys)
    except NotWorkedOut:  # said where the register stands
        return {}
    return rows


def reviewed(week: date | None) -> Reviewed | None:
    """Was the week (its first day) reviewed, by the newest line about it?"""
    if week is None:
        return None
    snapshot = desk.here().snapshot()
    lines = snapshot.table("weeks_reviewed").filter(pl.col("week") == week).sort("sequence")
    if lines.is_empty() or lines["what"][-1] != REVIEWED:
        return None
    row = lines.row(-1, named=True)
    since = snapshot.table("bench_book").filter(pl.col("sequence") > row["sequence"]).height
    return Reviewed(row["sequence"], row["at"], row["who"], since)


def kept(week: date | None) -> WeekShown | None:
    """The week as it was shown when it was reviewed; None where it was not, or its copy is of a format that this
    version does not read.
    """
    said = reviewed(week)
    if said is None:
        return None
    shown: WeekShown | None = desk.ask(_read, sequence=said.sequence)
    return for_reader(replace(shown, reviewed=said)) if shown is not None else None


def _read(snapshot: Any, *, sequence: int) -> WeekShown | None:
    try:
        made = copies.from_text(desk.here().kept_week(sequence), CLASSES, words=WORDS, put=desk.here().veil().text)
    except copies.NoCopy:
        return None
    return made if isinstance(made, WeekShown) else None


def keep(week: date, who: str) -> None:
    """Keep the week as it is shown now: somebody says that it was reviewed."""
    asked = looking_back.asked(None if week == desk.ask(review_week) else week)
    with desk.as_it_stood(asked.end):
        shown = told(week)
    row = {
        "week": week,
        "what": REVIEWED,
        "as_of": shown.as_of,
        "copy_format": copies.FORMAT,
        "copy": copies.to_text(shown),
    }
    desk.here().keep_week(row, who=who)


def take_back(week: date, who: str) -> None:
    """The week is told from the logs again."""
    desk.here().keep_week({"week": week, "what": TAKEN_BACK}, who=who)


def _or(instead: Any, part: str, gaps: dict[str, str], work: Any) -> Any:
    """What `work` gives; where it could not be worked out what stands instead, and its line among the gaps."""
    try:
        return work()
    except NotWorkedOut as why:
        gaps[part] = str(why)
        return instead


def _settling() -> pl.DataFrame:
    return desk.ask(settling.settling_rows)


def _total(week: date) -> dict[str, Any]:
    return desk.ask(rework.flows, scope=Scope(first=week, last=week)).total.row(0, named=True)


def _drawn(found: Review, shop: Shop) -> list[Drawn]:
    """The largest open matters as stream charts; what moved only for some who set it is looked at on Bench, and a
    series that is back where it was while its matter lasts is not drawn.
    """
    drawn: list[Drawn] = []
    if silent.is_silent(found.silent, found.week):
        return drawn  # what stands open is of before it
    now = sentences.local(shop, desk.here().snapshot().as_of)
    away_first = sorted(found.matters, key=lambda one: one.matter.to_target)
    lasting = [one for one in away_first if not one.matter.only_some and one.matter.main.get("closed_at") is None]
    for one in lasting[:CHARTS]:
        row = dict(one.matter.main)
        try:
            seen = drift_seen.look(row, "", WEEKS, now)
        except UnusableData:  # a share or a pair of readings together: no single stream
            continue
        view = _quiet(drift_on_chart.chart_view(_begun(seen, one.matter), "", shop))
        name = sentences_drift.stream_name(shop, row, stage=True)
        said = moved(one, shop, now.date()).text
        drawn.append(Drawn(name, len(seen.view.readings), _also(one.matter, shop), said, view))
    return drawn


def _begun(seen: drift_seen.Seen, matter: records.Matter) -> drift_seen.Seen:
    """The series with the start of its matter, which is that of all its readings: sentence and drawing say one day."""
    start = {name: getattr(matter, name) for name in ("began_at", "began_low", "began_high")}
    if seen.signal is None or None in start.values():
        return seen
    return replace(seen, signal={**seen.signal, **start})


def _quiet(view: StreamView) -> StreamView:
    """The stream without what opens nothing: run marks go, odd instruments keep their mark and lose their words."""
    return replace(view, runs=(), odd=[replace(odd, words="") for odd in view.odd])


def _also(matter: records.Matter, shop: Shop) -> str:
    """Other stages at which the same was seen."""
    others = [shop.stage_name(stage).lower() for stage in matter.stages if stage and stage != matter.main["stage"]]
    return f"Seen at {' and '.join(others)} too." if others else ""
