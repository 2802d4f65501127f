"""What the address of each page, paper and table may say: one type a path, read before anything is worked out."""

from __future__ import annotations

from pydantic import Field

from dashboard.address import Address, Day, Flag, QuestionKey, Text


class Week(Address):
    """What page Week takes."""

    week: Day = ""
    anew: Flag = ""
    at: Text = ""


class Drift(Address):
    """What page Drift takes."""

    stage: Text = ""
    models: Text = ""
    tech: Text = ""
    state: Text = ""
    weeks: Text = ""
    by: Text = ""
    characteristic: Text = ""
    position: Text = ""
    model: Text = ""
    open: Text = ""
    page: Text = ""
    first: Day = Field("", alias="from")
    to: Day = ""


class Capability(Address):
    """What page Capability takes."""

    when: Text = ""
    characteristic: Text = ""
    model: Text = ""
    by: Text = ""
    stream: Text = ""
    open: Text = ""
    sort: Text = ""
    page: Text = ""
    word: Text = ""
    first: Day = Field("", alias="from")
    to: Day = ""


class Rework(Address):
    """What page Rework takes."""

    model: Text = ""
    family: Text = ""
    weeks: Text = ""
    width: Text = ""
    week: Day = ""
    first: Day = Field("", alias="from")
    to: Day = ""
    caused_at: Text = ""
    caught_at: Text = ""
    open: Text = ""
    page: Text = ""


class Necks(Address):
    """What page Necks takes."""

    supplier: Text = ""
    model: Text = ""
    goes: Text = ""
    lot: Text = ""
    first: Day = Field("", alias="from")
    to: Day = ""


class Bench(Address):
    """What page Bench takes."""

    tech: Text = ""
    stage: Text = ""
    characteristic: Text = ""
    first: Day = Field("", alias="from")
    to: Day = ""


class Gauges(Address):
    """What page Gauges takes."""

    characteristic: Text = ""
    word: Text = ""


class Logs(Address):
    """What page Logs takes."""

    question: QuestionKey = ""
    changed: Text = ""


class Readings(Address):
    """Of the page behind a number and of the table saved from it."""

    characteristic: Text = ""
    position: Text = ""
    model: Text = ""
    stage: Text = ""
    role: Text = ""
    tech: Text = ""
    supplier: Text = ""
    lot: Text = ""
    serials: Text = ""
    outside: Flag = ""
    judged_from: Day = ""
    judged_to: Day = ""
    first: Day = Field("", alias="from")
    to: Day = ""
    page: Text = ""


class Visits(Address):
    """What the list of visits takes."""

    caused_at: Text = ""
    caught_at: Text = ""
    fault: Text = ""
    model: Text = ""
    judged_from: Day = ""
    judged_to: Day = ""
    first: Day = Field("", alias="from")
    to: Day = ""
    confirmed: Flag = ""
    page: Text = ""


class Instrument(Address):
    """What an instrument's story takes."""

    serial: Text = ""


class Correct(Address):
    """What the form for one cell takes."""

    log: Text = ""
    line: Text = ""
    column: Text = ""
    serial: Text = ""


class Book(Address):
    """What page Book takes."""

    state: Text = ""
    who: Text = ""
    key: Text = ""
    at: Text = ""


class Find(Address):
    """What the header's field takes."""

    q: Text = ""


class Against(Address):
    """What the page that holds one group against another takes."""

    what: Text = ""
    a_model: Text = ""
    a_tech: Text = ""
    a_lot: Text = ""
    a_gauge: Text = ""
    a_from: Day = ""
    a_to: Day = ""
    b_model: Text = ""
    b_tech: Text = ""
    b_lot: Text = ""
    b_gauge: Text = ""
    b_from: Day = ""
    b_to: Day = ""


class WeekPaper(Address):
    """What the weekly paper takes."""

    week: Day = ""
    letter: Text = ""


class NeckPaper(Address):
    """What the neck packet takes."""

    supplier: Text = ""
    money: Text = ""
    letter: Text = ""


class Traveller(Address):
    """What travellers take: serials with a comma between."""

    serial: Text = ""
    letter: Text = ""


class StageSheet(Address):
    """What a bench's day sheet and its empty CSV take."""

    stage: Text = ""
    letter: Text = ""


class ShopsPaper(Address):
    """What the paper of several shops takes."""

    letter: Text = ""


class BenchPaper(Address):
    """What the target card takes."""

    tech: Text = ""
    letter: Text = ""


ADDRESSES: dict[str, type[Address]] = {
    "/": Week,
    "/drift": Drift,
    "/capability": Capability,
    "/rework": Rework,
    "/necks": Necks,
    "/bench": Bench,
    "/gauges": Gauges,
    "/logs": Logs,
    "/logs/readings": Readings,
    "/logs/visits": Visits,
    "/logs/instrument": Instrument,
    "/logs/correct": Correct,
    "/book": Book,
    "/save/book": Book,
    "/find": Find,
    "/against": Against,
    "/go": Find,
    "/papers/week": WeekPaper,
    "/papers/necks": NeckPaper,
    "/papers/bench": BenchPaper,
    "/papers/shops": ShopsPaper,
    "/shops": Address,
    "/save/shops": Address,
    "/papers/traveller": Traveller,
    "/papers/day-sheet": StageSheet,
    "/papers/sheet-csv": StageSheet,
    "/sheets": Traveller,
    "/save/readings": Readings,
    "/save/questions": Logs,
    "/save/capability": Capability,
    "/save/gauges": Gauges,
}


def of(path: str) -> type[Address]:
    """The type of a path; of one that is not known, a type that takes any single value."""
    return ADDRESSES.get(path.removesuffix(".xlsx").rstrip("/") or "/", Address)
