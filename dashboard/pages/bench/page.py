"""Bench: one person at one stage, for coaching - targets, work that came back, practice, minutes last; then a person
signs.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl
from dash import Dash, dcc, html

from analysis.methods.problems import UnusableData
from analysis.studies.people import bands, first_work, learning_curves, set_spread, targets, techs
from analysis.studies.people.keeping import past_keeping
from analysis.studies.story.unlisted import OF_LATE, unlisted
from analysis.studies.story.unread import unread
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk, signed
from dashboard.pages import days
from dashboard.pages import period as periods
from dashboard.pages.bench import deeds, moved, practice
from dashboard.pages.bench import parts as bench_parts
from dashboard.pages.held import held
from dashboard.sentences import bench as sentences_bench
from dashboard.sentences import practice as practice_words
from dashboard.sentences import shared
from dashboard.sentences import targets as sentences_targets
from dashboard.sentences import unread as words
from ingest.shopfiles.shop import Shop

PATH, NAME = "/bench", "Bench"
TECH, STAGE = "bench-tech", "bench-stage"
SINCE, UNTIL = "bench-since", "bench-until"
ALL = "all"


def layout(tech: str | None = None, stage: str | None = None, characteristic: str | None = None, **more: str) -> Any:
    """The page as its address asks for it; `from`, `to`: what was set in these days, beside each target."""
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    if shop.people.show == "none":
        return nobody_shown()
    past = desk.ask(past_keeping)
    here = [person.key for person in shop.techs if person.key not in past]
    people = desk.ask(first_work.first_work).filter(pl.col("tech").is_in(here))
    if not here:
        why = sentences_bench.past_keeping(shop, past) or "shop.toml names no tech: a [[tech]] with a key each."
        empty = parts.empty_state(why, "Load a log", "/logs")
        return parts.page(
            parts.page_head(
                "Nobody to coach in this shop yet.", "Work at a bench stands here once shop.toml names who does it."
            ),
            empty,
        )
    if tech and tech not in here and tech in desk.ask(unlisted)["tech"]:
        return _in_no_list(tech)
    new = desk.ask(learning_curves.new_techs).filter(~pl.col("tech").is_in(list(past)))
    default = _newest(new, shop) or (people["tech"][0] if len(people) else here[0])
    tech = addresses.chosen(tech, here, moved.whose(stage, characteristic, here) or default) or default
    done = people.filter(pl.col("tech") == tech)["stage"].to_list()
    stages = [*done, *[one.key for one in shop.stages if one.key in _sets(shop) and one.key not in done]]
    if not stages:
        stages = [one.key for one in shop.stages]
    item = shop.by_characteristic.get(characteristic or "")
    wish = stage if stage in stages else next((one for one in item.set_stages if one in stages), None) if item else None
    signed.read_figures(tech, NAME)
    stands = desk.ask(targets.stands, tech=tech)
    stage = (
        addresses.chosen(wish, stages, _first(stages, new.filter(pl.col("tech") == tech)["stage"].to_list(), stands))
        or stages[0]
    )
    at = stands_at(tech, stage)
    found = _practice(new, tech, stage)
    starting = bands.of_starting_values(snapshot, [stand.band for stand in at])
    row = next(people.filter((pl.col("tech") == tech) & (pl.col("stage") == stage)).iter_rows(named=True), None)
    name = sentences_bench.who(shop, tech)
    period = periods.read(more)
    then = desk.ask(targets.stands, tech=tech, since=period.first, until=period.last) if period else None
    days = bench_parts.Days(period, then) if then is not None else None
    sheets: list[Any] = [held("Targets", bench_parts.targets_sheet, at, shop, (tech, stage), days)]
    gaps = [words.OF_CAUSES] if words.causes_missing(desk.ask(unread)) else []
    came_back = held("Work that came back", bench_parts.came_back_sheet, stage, tech, shop, gaps=gaps)
    spread = held("What is set here", practice.spread_sheet, stage, tech, shop, found, at)
    if found is not None:
        back = held("Send-backs with practice", practice.send_backs_sheet, found, gaps=gaps)
        if len(found.minutes.value):
            minutes = held("Minutes a visit", practice.minutes_sheet, found, row)
            sheets += [parts.row("66", came_back, back), parts.row("66", spread, minutes)]
        else:  # a sheet with nothing to draw would stand as tall as its neighbour
            none = html.P(practice_words.minutes(found), className="small")
            sheets += [parts.row("66", came_back, html.Div([back, spread, none], className="stack"))]
    elif row is not None:
        sheets += [parts.row("66", came_back, spread), practice.minutes_sheet(None, row)]
    return parts.page(
        parts.page_head(
            sentences_bench.headline(shop, tech, stage, at, row, bench_parts.late_of(row)),
            _under(found, row, _signing(new, found, row, shop)) + (f" {shared.STARTING}" if starting else ""),
            sentences_bench.caution(shop, name),
        ),
        *_together(people, shop, tech),
        _filters(here, stages, shop, (tech, stage), period),
        *[html.P(text) for text in [*moved.moved_here(shop, tech, stage, row), *moved.planned(shop, tech, stage)]],
        *[html.P(text) for text in moved.more_came_back(shop, stage) if row is not None and not gaps],
        *sheets,
        deeds.sheet(shop, tech, stage, name, at),
        *[html.P(text, className="small") for text in [sentences_bench.past_keeping(shop, past)] if text],
    )


def _in_no_list(tech: str) -> Any:
    """Of a name of the logs that shop.toml does not list: how it gets there, and nobody else's figures."""
    row = desk.ask(unlisted).row(by_predicate=pl.col("tech") == tech, named=True)
    told = sentences_bench.in_no_list(row)
    return parts.page(parts.page_head(*told), parts.empty_state(sentences_bench.NAME_THEM, "Open Logs", "/logs"))


def _together(people: pl.DataFrame, shop: Shop, tech: str) -> list[html.P]:
    """Where a look together may help, in bench order: by what came back, and by what was set of late; nothing where
    nobody's work says so, and of nobody who has not worked there of late.
    """
    now = desk.here().snapshot().as_of.astimezone(shop.zone).date()
    working = techs.at_work(people, now)
    rows = working.filter(pl.col("ratio").is_not_null()).to_dicts()
    still = [row for row in rows if (half := bench_parts.late_of(row)) is None or not half.over]
    back = sentences_bench.look_together(still, shop)
    late = desk.ask(set_spread.spreads, since=now - OF_LATE)
    late = late.join(working.select("stage", "tech"), on=["stage", "tech"], how="semi", maintain_order="left")
    apart = sentences_bench.set_apart(late.to_dicts(), shop)
    if any(who != tech for who, _, _ in [*back, *apart]):
        signed.read_figures(signed.EVERYBODY, NAME)
    told = [
        ("Where a look together may help: ", back, sentences_bench.by_chance(len(rows))),
        ("Whose work stands apart from the others', of late: ", apart, sentences_bench.apart_by_chance()),
    ]
    return [_ways(*each) for each in told if each[1]]


def _ways(lead: str, told: list[tuple[str, str, str]], chance: str) -> html.P:
    ways: list[Any] = []
    for who, stage, say in told:
        ways += ["; " if ways else "", dcc.Link(say, href=addresses.address(PATH, tech=who, stage=stage))]
    return html.P([html.B(lead), *ways, html.Span(f". {chance}", className="small")], className="no-print")


def stands_at(tech: str, stage: str) -> list[targets.Stand]:
    """Where somebody stands at a stage; the targets they begin with where no reading of theirs is on file."""
    stands = [stand for stand in desk.ask(targets.stands, tech=tech) if stand.band["stage"] == stage]
    return targets.foremost_first(stands) or desk.ask(targets.first_stands, tech=tech, stage=stage)


def _sets(shop: Shop) -> set[str]:
    return {one for item in shop.characteristics for one in item.set_stages}


def _newest(new: pl.DataFrame, shop: Shop) -> str:
    """Of those new at a stage where something is set, who started last; '' where nobody is."""
    here = set(new.filter(pl.col("stage").is_in(list(_sets(shop))))["tech"].to_list())
    people = sorted((person for person in shop.techs if person.key in here), key=lambda one: one.started or date.min)
    return people[-1].key if people else ""


def _first(stages: list[str], new: list[str], stands: list[targets.Stand]) -> str:
    """Of a person's stages the first that they are new at and that has a target, else the first with a target, else the
    first.
    """
    with_band = [str(stand.band["stage"]) for stand in stands]
    for wanted in ([s for s in stages if s in new and s in with_band], [s for s in stages if s in with_band], stages):
        if wanted:
            return wanted[0]
    return ""


def _practice(new: pl.DataFrame, tech: str, stage: str) -> learning_curves.Learning | None:
    """Learning curves of somebody new at the stage; None of somebody qualified for it."""
    if new.filter((pl.col("tech") == tech) & (pl.col("stage") == stage)).is_empty():
        return None
    try:
        return desk.ask(learning_curves.learning_curve, stage=stage, tech=tech)
    except UnusableData:
        return None


def _signing(new: pl.DataFrame, found: learning_curves.Learning | None, row: dict[str, Any] | None, shop: Shop) -> str:
    """Whether somebody is new, not signed off or neither, in words."""
    if row is None or found is None:
        signs = row is None or any(row["stage"] in person.qualified for person in shop.techs)
        return "Not new here." if signs else "Nobody is signed off for this bench."
    began = new.filter((pl.col("tech") == found.tech) & (pl.col("stage") == found.stage))["began"].any()
    return "New here." if began or found.begins_in_logs else "Not signed off here."


def _under(found: learning_curves.Learning | None, row: dict[str, Any] | None, signing: str) -> str:
    bands = "Targets: set by hand, else what qualified people hold on the same models, else the limits."
    if row is None:
        return f"Nothing of theirs is on file here yet: what to hold from the first day. {bands}"
    if found is not None:
        return f"{signing} {practice_words.counted(found)} {bands}"
    few = ", few" if row["judged"] < sentences_targets.FEW else ""
    return f"{signing} {numbers.count(row['judged'])} judged instruments{few}. {bands}"


def nobody_shown() -> html.Div:
    """People are not shown: what to settle before they are."""
    settle = [
        html.P([parts.picture("question"), " ", html.B(f"{what}. "), say]) for what, say in sentences_bench.SETTLE
    ]
    after = (
        'Then, in shop.toml, [people] show = "codes" (or "names" with a purpose) opens this page. Until then no page '
        "or paper shows a figure of "
        "one person; the work of all is on Drift, Capability and Rework."
    )
    return parts.page(
        parts.page_head(
            "Figures of single people are not shown in this shop.",
            'This is the setting in shop.toml, [people] show = "none".',
        ),
        parts.sheet("What to settle first", "people told, law, agreement", [*settle, html.P(after)]),
        parts.sheet(
            "What such figures are for",
            "coaching",
            html.P(
                "To see where a new person stands against what qualified people hold, instrument by instrument, and "
                "what to practise next. They are "
                "never a list of people in an order, and a small sample is called small."
            ),
        ),
    )


def _filters(
    keys: list[str], stages: list[str], shop: Shop, chosen: tuple[str, str], period: periods.Period
) -> html.Div:
    """keys : in the order of shop.toml, never of a figure."""
    tech, stage = chosen
    return parts.fields(
        parts.field("Who", TECH, tech, [{"value": key, "label": sentences_bench.who(shop, key)} for key in keys]),
        parts.field("Bench", STAGE, stage, [{"value": key, "label": shop.stage_name(key)} for key in stages]),
        *periods.fields(period, SINCE, UNTIL),
    )


def connect(app: Dash) -> None:
    """The page's callbacks."""
    filters = {"tech": TECH, "stage": STAGE, "from": SINCE, "to": UNTIL}
    leaves = {"tech": "stage"}  # somebody else is shown where they work
    parts.filters_to_address(app, PATH, filters, everything=ALL, typed=days.FROM_TO, leaves=leaves)
    deeds.connect(app)
