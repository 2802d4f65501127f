"""All studies of one week: what the weekly review says, before it is put into words."""

from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import polars as pl

from analysis.brings import Brought, brings
from analysis.methods.next_value import COUNT, SHARE, next_value
from analysis.methods.problems import UnusableData
from analysis.studies.drift import states
from analysis.studies.drift.actions import actions, last_week
from analysis.studies.drift.rack import place_of
from analysis.studies.drift.streams import KEY
from analysis.studies.matters.in_sight import cost_if_left, in_sight
from analysis.studies.matters.matters import ended_matters, open_matters
from analysis.studies.matters.records import Matter
from analysis.studies.matters.register import ACTION, OPEN, Entry, due
from analysis.studies.necks import apart as far_lots
from analysis.studies.necks import lots, of_week
from analysis.studies.people.catchers import Caught, caught_by_one
from analysis.studies.rework import rework
from analysis.studies.room.coarse_of_late import coarse_of_late
from analysis.studies.room.settling import SETTLING
from analysis.studies.story.scope import Scope
from analysis.studies.story.story import story
from analysis.studies.story.unread import STAGE, UNREAD, unread
from analysis.studies.story.waiting import waiting
from analysis.studies.week import weeks
from analysis.studies.week.arrived import arrived, review_week
from analysis.studies.week.gaps import Parts
from analysis.studies.week.leaving import outside_as_set, shipped_in_doubt
from analysis.studies.week.not_passed import NOT_PASSED, not_passed
from analysis.studies.week.on_hold import ON_HOLD, on_hold
from analysis.studies.week.refused_lots import REFUSED_LOTS, refused_lots
from analysis.studies.week.returned import Returned, returned
from analysis.studies.week.silent import SILENT, silent
from analysis.studies.week.slips import SLIPS, slips
from analysis.studies.week.wider import WIDER, wider
from ingest.store.snapshot import Snapshot

SEEN_WEEKS = 13
USUAL_WEEKS = (20, 52)  # from so many weeks on it is said what is usual; and of so many at most


@dataclass(frozen=True)
class MatterSeen:
    """A matter as the week shows it."""

    matter: Matter
    new: bool  # opened in the week under review
    line: list[float | None]  # the running average of its main stream, shares of `rack.scale`, oldest first
    light_from: int | None
    caught: Caught | None = None  # of a share that rose: one of several testers who sends more back
    brought: Brought | None = None  # more that came back of the same cause, which stands in no line of its own


@dataclass(frozen=True)
class Review:
    """Everything that the review of one week found, before it is put into words."""

    week: date  # its first day
    last_day: date
    arrived: pl.DataFrame
    questions: int  # rows and cells set aside that still wait
    weeks: pl.DataFrame  # the `weeks` figures, thirteen weeks up to this one
    usual: dict[
        str, tuple[float, float]
    ]  # of finished, never_sent_back, signals_opened: where nineteen weeks of twenty will lie, by those before
    matters: list[MatterSeen]  # open as of the review and shown by the readings, new and large first
    known: list[MatterSeen]  # marked known by a person
    streams: int  # of all techs
    steady: int
    moved: int
    thin: int
    # streams of all techs whose gauge is coarse: rows of the `streams` figures; and of late (`coarse_of_late`): step,
    # declared and since as well
    coarse: pl.DataFrame
    lots: pl.DataFrame  # rows of the `lots` figures, measured in the week, whose plan says reject
    flows: pl.DataFrame  # caused_at x caught_at of the week, largest minutes first
    flows_before: pl.DataFrame  # the same over the four weeks before
    outside: pl.DataFrame
    shipped: pl.DataFrame
    actions: pl.DataFrame
    decision: dict[str, object] | None
    due: list[Entry]  # over its day, or due up to the end of the week to come
    finished: int | None  # None: no log says what passed its last stage
    bench: pl.DataFrame  # instruments on the bench, on hold or lost from sight
    computed_from: dict[str, object]
    gaps: dict[str, str] = field(default_factory=dict)  # parts that could not be worked out -> why, one line each
    unread: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=UNREAD))  # what no log tells
    unjudged_lots: pl.DataFrame = field(default_factory=pl.DataFrame)
    """Rows of the `lots` figures, measured in the week, with necks outside and no plan that judges them."""
    apart_lots: pl.DataFrame = field(default_factory=pl.DataFrame)
    """Rows of `necks.apart`, of lots measured in the week that stand apart from their supplier's others, mean, and what
    of it goes with the air (`necks.air`)."""
    unshown: list[MatterSeen] = field(default_factory=list)
    """Open, but all readings since then do not show that anything moved, and nobody does anything about it."""
    back: list[Matter] = field(default_factory=list)  # that ended in this week or the one before, a chart still open
    slips: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=SLIPS))  # readings that may be mistyped
    silent: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=SILENT))  # weeks before without a row
    not_passed: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=NOT_PASSED))
    """Stages at which more is put right on the spot, or refused, than before."""
    rested: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=of_week.RESTED))
    """Suppliers whose latest lots come back after straightening, and of which more is sent back to it."""
    refused_lots: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=REFUSED_LOTS))
    on_hold: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=ON_HOLD))  # where many wait
    returned: Returned = field(default_factory=Returned)  # after packing
    wider: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=WIDER))  # what spreads wider than before
    settling: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=SETTLING))
    """Rows of the `settling` figures, of all years: the paper asks for them, `review` does not."""


def review(snapshot: Snapshot, *, week: date | None = None) -> Review:
    """The review of one week (its first day); by default the last that is over. UnusableData without any
    reading. A part that cannot be worked out is empty, and its line stands in `gaps`.
    """
    found = week or review_week(snapshot)
    if found is None:
        raise UnusableData("no log is loaded yet; load one to see a week")
    last = found + timedelta(days=6)
    part = Parts(snapshot)
    weekly = part.table("weeks", lambda: weeks.week_rows(snapshot, _shown_from(snapshot, found)))
    seen = weekly.filter(pl.col("week") <= found).tail(SEEN_WEEKS)
    none: list[MatterSeen] = []
    matters = part.of("matters", lambda: _matters(snapshot, found), none)
    parted: dict[str, list[MatterSeen]] = {place: [] for place in ("matters", "known", "unshown")}
    for one in matters:
        parted[_place(one.matter, last)].append(one)
    judged = part.table("streams", lambda: snapshot.once(states.stream_rows))
    streams = judged.filter(pl.col("tech") == "")
    apart = pl.DataFrame() if "streams" in part.gaps else states.unjudged_streams(snapshot)
    if len(apart):
        part.gaps["unjudged"] = _unjudged(apart)
    measured = part.table(
        "lots", lambda: of_week.measured(snapshot, found), {**lots.LOTS, "agreed_limit": pl.Float64()}
    )
    book = snapshot.table("bench_book")
    decisions = book.filter((pl.col("kind") == "decision") & (pl.col("week") == found)).sort("sequence")
    return Review(
        week=found,
        last_day=last,
        arrived=part.table("arrived", lambda: arrived(snapshot, week=found)),
        questions=waiting(snapshot).height,
        weeks=seen,
        usual=_usual(weekly, found, _since(parted["matters"])),
        matters=part.of("matters", lambda: _with_what_they_bring(snapshot, parted["matters"]), parted["matters"]),
        known=parted["known"],
        streams=len(streams),
        steady=int((streams["state"] == states.STEADY).sum()),
        moved=int((streams["state"] == states.MOVED).sum()),
        thin=int((streams["state"] == states.THIN).sum()),
        coarse=part.table("coarse", lambda: _coarse(snapshot, streams), states.STREAMS),
        lots=measured.filter(pl.col("verdict") == lots.REJECT),
        apart_lots=part.table(
            "lots", lambda: of_week.apart_of(snapshot, measured), {**far_lots.STANDING, "mean": pl.Float64()}
        ),
        unjudged_lots=measured.filter(pl.col("verdict").is_null(), pl.col("lot") != "", pl.col("outside") > 0),
        flows=part.table("flows", lambda: _flows(snapshot, found, found)),
        flows_before=part.table(
            "flows", lambda: _flows(snapshot, found - timedelta(weeks=4), found - timedelta(weeks=1))
        ),
        outside=part.table("outside", lambda: outside_as_set(snapshot, first=found, last=found)),
        shipped=part.table("shipped", lambda: shipped_in_doubt(snapshot, week=found)),
        actions=part.table("actions", lambda: actions(snapshot, since=last_week(found))),
        decision=decisions.row(-1, named=True) if len(decisions) else None,
        due=part.of("due", lambda: due(snapshot, by=last + timedelta(weeks=1)), list[Entry]()),
        finished=None if _packing_unread(snapshot) else _finished(seen, found),
        bench=part.table("bench", lambda: rework.on_the_bench(snapshot)),
        computed_from={
            "version": snapshot.version,
            "book": snapshot.book_sequence,
            "shop_files": snapshot.shop_files,
            "as_of": snapshot.as_of,
        },
        gaps=part.gaps,
        unread=part.of("unread", lambda: snapshot.once(unread), pl.DataFrame(schema=UNREAD)),
        unshown=parted["unshown"],
        back=part.of("matters", lambda: _back(snapshot, found), list[Matter]()),
        slips=part.table("slips", lambda: slips(snapshot, week=found)),
        silent=part.table("arrived", lambda: silent(snapshot, week=found), SILENT),
        refused_lots=part.table("refused_lots", lambda: refused_lots(snapshot, week=found), REFUSED_LOTS),
        on_hold=part.table("on_hold", lambda: on_hold(snapshot), ON_HOLD),
        returned=part.of("returned", lambda: returned(snapshot, week=found), Returned()),
        wider=part.table("wider", lambda: wider(snapshot, week=found), WIDER),
        not_passed=part.table("not_passed", lambda: not_passed(snapshot, week=found), NOT_PASSED),
        rested=part.table("rested", lambda: of_week.rested(snapshot, found), of_week.RESTED),
    )


def _place(matter: Matter, last: date) -> str:
    """In which list of the review a matter stands."""
    if matter.known_until is not None and matter.known_until > last:
        return "known"
    return "unshown" if matter.state == OPEN and not matter.shown else "matters"


def _packing_unread(snapshot: Snapshot) -> bool:
    """Is there a packing stage of which no log holds a row? Then nobody knows what was finished."""
    gone = snapshot.once(unread).filter(pl.col("what") == STAGE)["key"].to_list()
    packing = [stage.key for stage in snapshot.shop.stages if stage.role == "packing"]
    return bool(packing) and set(packing) <= set(gone)


def _finished(weekly: pl.DataFrame, week: date) -> int | None:
    """How many were finished in the week, None where nobody knows."""
    here = weekly.filter(pl.col("week") == week)["finished"]
    return None if here.null_count() else int(here.sum())


def _unjudged(apart: pl.DataFrame) -> str:
    """How many streams could not be judged, and why the first could not."""
    many = f"{len(apart)} series could not be judged and no other hangs on them"
    return f"{many}; the first: {apart['why'][0]}"


def _coarse(snapshot: Snapshot, streams: pl.DataFrame) -> pl.DataFrame:
    """Streams on a gauge too coarse for them, as it is declared or as their readings of late show."""
    late = snapshot.once(coarse_of_late)
    rows = streams.join(late.drop("sigma"), on=KEY, how="left", maintain_order="left")
    told = ((pl.col("gauge") == states.COARSE) | pl.col("step").is_not_null()) & (pl.col("state") != states.THIN)
    return rows.filter(told)


def _since(matters: list[MatterSeen]) -> date | None:
    """The week from which on more comes back than before, of matters that say so; None where none does."""
    began = [one.matter.began_at for one in matters if not one.matter.characteristics and one.matter.began_at]
    return min(began).date() if began else None


def _usual(weekly: pl.DataFrame, week: date, more_back: date | None) -> dict[str, tuple[float, float]]:
    """Where the next value lies nineteen times in twenty if nothing changes; only from twenty weeks on. Weeks since
    more comes back are none of those that say what is usual.
    """
    before = weekly.filter(pl.col("week") < week).tail(USUAL_WEEKS[1])
    calm = before if more_back is None else before.filter(pl.col("week") < more_back - timedelta(days=6))
    found = {}
    for name, kind in (("finished", COUNT), ("never_sent_back", SHARE), ("signals_opened", COUNT)):
        values = (calm if name == "never_sent_back" else before)[name].drop_nulls().to_numpy().astype(float)
        if len(values) >= USUAL_WEEKS[0]:
            found[name] = next_value(values, kind)
    return found


def _shown_from(snapshot: Snapshot, week: date) -> date | None:
    """The first week of which anything is shown, or that says what is usual; None where all are."""
    days = snapshot.once(story).days.filter("visited", pl.col("week") < week)
    back = days["week"].unique().sort().tail(max(SEEN_WEEKS, USUAL_WEEKS[1]))
    return back[0] if len(back) else None


def _flows(snapshot: Snapshot, first: date, last: date) -> pl.DataFrame:
    return rework.flows(snapshot, Scope(first=first, last=last)).rows


def _matters(snapshot: Snapshot, week: date) -> list[MatterSeen]:
    """Open matters: slight ones and those off a baseline that moved after others, what may be chance after what is
    surer, one model alone that nothing explains after what moved several or is named, new ones, those of all and those
    that put most instruments outside first, and of those that put as many the larger. A planned change that was
    followed is told in the week it showed and the next.
    """
    found = snapshot.once(open_matters)
    if not found:
        return []
    rows = in_sight(snapshot).streams
    lines = {tuple(row[:4]): row[4] for row in rows.select(*KEY, "line").iter_rows()}
    cost = {str(key): cost_if_left(part) for (key,), part in rows.group_by("matter") if key is not None}
    seen = []
    for one in found:
        gone = one.main["closed_at"] is not None  # that series is back, and says nothing of what lasts
        line = None if gone else lines.get(tuple(str(one.main[name]) for name in KEY))
        light_from = place_of(snapshot, one.began_at or one.opened_at)  # as its sentence says
        new = one.opened_at.astimezone(snapshot.shop.zone).date() >= week
        lately = one.planned is not None and one.planned.on >= week - timedelta(weeks=1)
        if one.planned is None or not one.planned.followed or new or lately:
            rose = not one.characteristics and (one.size or 0.0) > 0
            caught = caught_by_one(snapshot, str(one.main["stage"])) if rose else None
            seen.append(MatterSeen(one, new, list(line or []), light_from, caught))
    last = week + timedelta(days=6)
    return sorted(
        seen,
        key=lambda one: (
            _waits(one.matter, last),
            one.matter.stands_back,
            one.matter.may_be_chance,
            _lone(one.matter),
            not one.new,
            one.matter.only_some,
            -round(max(cost.get(one.matter.key) or 0.0, 0.0), 1),
            -_share(one.matter),
        ),
    )


def _with_what_they_bring(snapshot: Snapshot, seen: list[MatterSeen]) -> list[MatterSeen]:
    """The same, each move with what came back more of it, in the place of whichever of the two came first."""
    found = brings(snapshot, [one.matter for one in seen])
    mine = {brought.matter.key: key for key, brought in found.items()}
    moves = {one.matter.key: one for one in seen if one.matter.key in found}
    told: dict[str, MatterSeen] = {}
    for one in seen:
        key = mine.get(one.matter.key, one.matter.key)
        told.setdefault(key, replace(moves[key], brought=found[key]) if key in found else one)
    return list(told.values())


def _back(snapshot: Snapshot, week: date) -> list[Matter]:
    """What ended in a week or the one before: readings of some days say so, when its charts have not closed yet. What
    was sure to have ended before the week was told then.
    """
    found = []
    for one in snapshot.once(ended_matters):
        day, known = (
            when.astimezone(snapshot.shop.zone).date() if when else None for when in (one.back_since, one.known_over)
        )
        lately = day is not None and week - timedelta(weeks=1) <= day < week + timedelta(weeks=1)
        if lately and (known is None or known >= week) and one.shown and not one.slight:
            found.append(one)
    return found


def _share(matter: Matter) -> float:
    return matter.share_of_tolerance or 0.0


def _lone(matter: Matter) -> bool:
    """Readings of one model alone, with nothing that explains it: of such matters some are chance."""
    return (
        bool(matter.characteristics)
        and len(matter.models) <= 1
        and not matter.moves_with.named
        and matter.planned is None
    )


def _waits(matter: Matter, last: date) -> int:
    """What waits for somebody first: open without an action or over its day; actions running; done, or moved to its
    target; as planned.
    """
    if matter.planned is not None and matter.planned.followed:
        return 3
    if matter.state == OPEN and matter.to_target:
        return 2
    if matter.state == OPEN or (matter.state == ACTION and matter.due is not None and matter.due < last):
        return 0
    return 1 if matter.state == ACTION else 2
