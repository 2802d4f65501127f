"""Bench: one person at one stage, for coaching - targets, work that came back, practice, minutes last; then a person
signs.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl
from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.methods.problems import UnusableData
from analysis.studies.people import learning_curves, targets, techs
from analysis.studies.people.keeping import past_keeping
from analysis.studies.story.unread import unread
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages.bench import parts as bench_parts
from dashboard.pages.held import held
from dashboard.sentences import bench as sentences_bench
from dashboard.sentences import shared as sentences
from dashboard.sentences import unread as words
from ingest.shopfiles.shop import Shop

PATH, NAME = "/bench", "Bench"
TECH, STAGE = "bench-tech", "bench-stage"
STEP, TRAINER, REMARK, SIGN, SAID, ABOUT = (
    "bench-step",
    "bench-trainer",
    "bench-remark",
    "bench-sign",
    "bench-said",
    "bench-about",
)
ALL = "all"
SHOWN = 6  # lines of the book


def layout(
    tech: str | None = None, stage: str | None = None, characteristic: str | None = None, **_address: str
) -> Any:
    """The page as its address asks for it."""
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    if shop.people.show == "none":
        return nobody_shown()
    if words.causes_missing(desk.ask(unread)):
        return parts.page(
            parts.page_head("What came back to a bench is not read.", "No log on file says where a fault came from."),
            parts.empty_state(
                "Say in Logs which columns tell outcomes and causes, or where work was sent back to.", "Logs", "/logs"
            ),
        )
    past = desk.ask(past_keeping)
    people = desk.ask(techs.people).filter(
        pl.col("tech").is_in([person.key for person in shop.techs if person.key not in past])
    )
    if people.is_empty():
        why = sentences_bench.past_keeping(shop, past) or "No visit on file bears the name of a tech in shop.toml."
        empty = parts.empty_state(why, "Load a log", "/logs")
        return parts.page(
            parts.page_head(
                "Nobody to coach from these logs yet.", "Work at a bench stands here once visits name who did it."
            ),
            empty,
        )
    new = desk.ask(learning_curves.new_techs).filter(~pl.col("tech").is_in(list(past)))
    default = _newest(new, shop) or people["tech"][0]
    tech = addresses.chosen(tech, people["tech"].unique().to_list(), default) or default
    stages = people.filter(pl.col("tech") == tech)["stage"].to_list()
    item = shop.by_characteristic.get(characteristic or "")
    wish = stage if stage in stages else next((one for one in item.set_stages if one in stages), None) if item else None
    stands = desk.ask(targets.stands, tech=tech)
    stage = (
        addresses.chosen(wish, stages, _first(stages, new.filter(pl.col("tech") == tech)["stage"].to_list(), stands))
        or stages[0]
    )
    here = [stand for stand in stands if stand.band["stage"] == stage]
    found = _practice(new, tech, stage)
    row = people.filter((pl.col("tech") == tech) & (pl.col("stage") == stage)).row(0, named=True)
    name = sentences_bench.who(shop, tech)
    sheets: list[Any] = [held("Targets", bench_parts.targets_sheet, here, shop, tech)]
    came_back: Any
    spread: Any
    came_back, spread = (
        held("Work that came back", bench_parts.came_back_sheet, stage, tech, shop),
        held("What is set here", bench_parts.spread_sheet, stage, tech, shop, found),
    )
    if found is not None:
        minutes = held("Minutes a visit", bench_parts.minutes_sheet, found, row)
        sheets += [
            parts.row("66", came_back, held("Send-backs with practice", bench_parts.send_backs_sheet, found)),
            parts.row("66", spread, minutes),
        ]
    else:
        sheets += [parts.row("66", came_back, spread), bench_parts.minutes_sheet(None, row)]
    return parts.page(
        parts.page_head(
            sentences_bench.headline(shop, tech, stage, here), _under(found, row), sentences_bench.caution(shop, name)
        ),
        _filters(people, stages, shop, tech, stage),
        *sheets,
        _signs(shop, tech, stage, name),
        *[html.P(text, className="small") for text in [sentences_bench.past_keeping(shop, past)] if text],
    )


def _newest(new: pl.DataFrame, shop: Shop) -> str:
    """Of those new at a stage where something is set, who started last; '' where nobody is."""
    sets = {one for item in shop.characteristics for one in item.set_stages}
    here = set(new.filter(pl.col("stage").is_in(list(sets)))["tech"].to_list())
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


def _under(found: learning_curves.Learning | None, row: dict[str, Any]) -> str:
    bands = "Targets come from what qualified people hold on the same models."
    if found is not None:
        return f"New here. {sentences_bench.counted(found)} {bands}"
    few = ", few" if row["judged"] < sentences_bench.FEW else ""
    return f"Qualified here by shop.toml, or not new. {numbers.count(row['judged'])} judged instruments{few}. {bands}"


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


def _filters(people: pl.DataFrame, stages: list[str], shop: Shop, tech: str, stage: str) -> html.Div:
    keys = [
        person.key for person in shop.techs if person.key in set(people["tech"].to_list())
    ]  # in the order of shop.toml, never of a figure
    return parts.fields(
        parts.field("Who", TECH, tech, [{"value": key, "label": sentences_bench.who(shop, key)} for key in keys]),
        parts.field("Bench", STAGE, stage, [{"value": key, "label": shop.stage_name(key)} for key in stages]),
    )


def _signs(shop: Shop, tech: str, stage: str, name: str) -> html.Section:
    """The line a person signs; the page proposes and qualifies nobody."""
    card = html.A(
        "Print the target card", href=addresses.address("/papers/bench", tech=tech), target="_blank", className="button"
    )
    form = html.Div(
        [
            html.Div(
                [
                    parts.text_field(f"Next step, agreed with {name}", STEP),
                    parts.text_field("Trainer", TRAINER),
                    parts.text_field(f"{name}'s remark", REMARK),
                ],
                className="ruled",
            ),
            html.Div(
                [html.Button("Put in the bench book", id=SIGN, className="button primary"), card], className="acts"
            ),
            html.P(id=SAID, className="small", role="status"),
            dcc.Store(id=ABOUT, data={"tech": tech, "stage": stage}),
        ],
        className="no-print",
    )
    return parts.sheet(
        "A person signs", "the page proposes, it does not qualify anyone", [form, _book(shop, tech, stage)]
    )


def _book(shop: Shop, tech: str, stage: str) -> html.Div:
    snapshot = desk.here().snapshot()
    lines = (
        snapshot.table("bench_book")
        .filter((pl.col("kind") == "note") & (pl.col("tech") == tech) & (pl.col("stage") == stage))
        .sort("sequence")
    )
    if lines.is_empty():
        return html.Div()
    told = [
        html.Li(
            [
                html.Span(line["text"]),
                html.Br(),
                html.Span(
                    f"Signed off by {line['who']}, {numbers.clock(sentences.local(shop, line['at']))}",
                    className="small",
                ),
            ]
        )
        for line in lines.reverse().head(SHOWN).iter_rows(named=True)
    ]
    return html.Div(html.Ul(told, className="book"))


def connect(app: Dash) -> None:
    """The page's callbacks."""
    parts.filters_to_address(app, PATH, {"tech": TECH, "stage": STAGE}, everything=ALL)
    app.callback(
        Output(SAID, "children"),
        Input(SIGN, "n_clicks"),
        State(STEP, "value"),
        State(TRAINER, "value"),
        State(REMARK, "value"),
        State(ABOUT, "data"),
        prevent_initial_call=True,
    )(signed)


def signed(clicks: int | None, step: str | None, trainer: str | None, remark: str | None, about: dict[str, str]) -> Any:
    """Put the agreed step into the bench book, signed by the trainer."""
    if not clicks:
        return no_update
    step, trainer, remark = (str(text or "").strip() for text in (step, trainer, remark))
    if not step or not trainer:
        return "Write the next step and who signs it; the book keeps who wrote what and when."
    text = f"{step}. Remark: {remark}" if remark else step
    desk.here().write_entry("note", text, who=trainer, tech=about["tech"], stage=about["stage"])
    return "Written into the bench book."
