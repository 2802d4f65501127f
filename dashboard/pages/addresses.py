"""What the address of each page, paper and table may say: one type a path, read before anything is worked out."""

from __future__ import annotations

from pydantic import Field

from dashboard.address import Address, Day, Flag, QuestionKey, Text


class Week(Address):
    week: Day = ""


class Drift(Address):
    stage: Text = ""
    models: Text = ""
    tech: Text = ""
    state: Text = ""
    weeks: Text = ""
    by: Text = ""
    characteristic: Text = ""
    position: Text = ""
    model: Text = ""


class Capability(Address):
    when: Text = ""
    characteristic: Text = ""
    model: Text = ""
    by: Text = ""


class Rework(Address):
    model: Text = ""
    family: Text = ""
    weeks: Text = ""
    width: Text = ""
    week: Day = ""
    caused_at: Text = ""
    caught_at: Text = ""


class Necks(Address):
    supplier: Text = ""
    model: Text = ""
    goes: Text = ""
    lot: Text = ""


class Bench(Address):
    tech: Text = ""
    stage: Text = ""
    characteristic: Text = ""


class Gauges(Address):
    characteristic: Text = ""
    word: Text = ""


class Logs(Address):
    question: QuestionKey = ""


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


class Visits(Address):
    caused_at: Text = ""
    caught_at: Text = ""
    fault: Text = ""
    model: Text = ""
    judged_from: Day = ""
    judged_to: Day = ""
    first: Day = Field("", alias="from")
    to: Day = ""
    confirmed: Flag = ""


class Instrument(Address):
    serial: Text = ""


class WeekPaper(Address):
    week: Day = ""
    letter: Text = ""


class NeckPaper(Address):
    supplier: Text = ""
    money: Text = ""
    letter: Text = ""


class BenchPaper(Address):
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
    "/papers/week": WeekPaper,
    "/papers/necks": NeckPaper,
    "/papers/bench": BenchPaper,
    "/save/readings": Readings,
    "/save/questions": Logs,
    "/save/capability": Capability,
    "/save/gauges": Gauges,
}


def of(path: str) -> type[Address]:
    """The type of a path; of one that is not known, a type that takes any single value."""
    return ADDRESSES.get(path.rstrip("/") or "/", Address)
