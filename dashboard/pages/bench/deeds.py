"""What a person does on the Bench page: agree a next step, sign a target off or take that back, set a target by hand -
deeds of their own, each with who and when.
"""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.methods.problems import UnusableData
from analysis.studies.people.targets import Stand
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import coaching
from dashboard.sentences import shared as sentences
from dashboard.sentences import targets as sentences_targets
from ingest.shopfiles.shop import Shop

STEP, TRAINER, REMARK, AGREE, AGREED = "bench-step", "bench-trainer", "bench-remark", "bench-agree", "bench-agreed"
WHICH, SIGNER, SIGN, SIGNED = "bench-which", "bench-signer", "bench-sign", "bench-signed"
WHY, BACK, TAKEN = "bench-why", "bench-back", "bench-taken"
WHAT, MODEL, LOW, HIGH, AIM, SETTER, SET, SAID = (
    *("bench-hand-what", "bench-hand-model", "bench-hand-low", "bench-hand-high", "bench-hand-aim"),
    *("bench-hand-who", "bench-hand-set", "bench-hand-said"),
)
ABOUT = "bench-about"
PLACE = ("characteristic", "position", "model")  # a target
SHOWN = 6  # lines of the book
NAMES = {"step": "Next step", "signed off": "Signed off", "sign-off taken back": "Sign-off taken back", "note": "Note"}


def sheet(shop: Shop, tech: str, stage: str, name: str, stands: list[Stand]) -> html.Section:
    """The lines a person signs; the page proposes and qualifies nobody."""
    card = html.A(
        "Print the target card",
        href=addresses.address("/papers/bench", tech=tech, stage=stage),
        target="_blank",
        className="button",
    )
    agree = html.Div(
        [
            html.H3("Agree the next step"),
            parts.text_field(f"Next step, agreed with {name}", STEP),
            parts.text_field("Trainer", TRAINER),
            parts.text_field(f"{name}'s remark", REMARK),
            html.Button("Put in the bench book", id=AGREE, className="button"),
            html.P(id=AGREED, className="small", role="status"),
        ]
    )
    options = [{"value": _key(stand), "label": f"{_name(shop, stand)}: {stand.verdict}"} for stand in stands]
    sign = html.Div(
        [
            html.H3("Sign a target off"),
            parts.field("Target", WHICH, options[0]["value"] if options else None, options),
            parts.who_field(SIGNER, "Signed off by"),
            html.Button("Sign off", id=SIGN, className="button primary"),
            html.P(id=SIGNED, className="small", role="status"),
            parts.behind(
                html.Div(
                    [
                        html.P("Of the target above, by whoever is named there.", className="small"),
                        parts.text_field("Why it is taken back", WHY),
                        html.Button("Take the sign-off back", id=BACK, className="button"),
                        html.P(id=TAKEN, className="small", role="status"),
                    ]
                ),
                "Take a sign-off back",
            ),
        ]
    )
    form = html.Div(
        [
            html.Div([agree, *([sign] if options else [])], className="ruled"),
            html.Div([card], className="acts"),
            parts.behind(_by_hand(shop, stage, name), "Set a target by hand"),
            dcc.Store(id=ABOUT, data={"tech": tech, "stage": stage}),
        ],
        className="no-print",
    )
    return parts.sheet(
        "A person signs", "the page proposes, it does not qualify anyone", [form, _book(shop, tech, stage)]
    )


def _by_hand(shop: Shop, stage: str, name: str) -> html.Div:
    """The form for a target by hand: for a new tech, a new model, or where no band fits."""
    what = [
        {"value": f"{item.key}|{position}", "label": sentences.characteristic(shop, item.key, position)}
        for item in shop.characteristics
        if stage in item.set_stages
        for position in item.positions or [""]
    ]
    models = [{"value": key, "label": key} for key in dict.fromkeys([*shop.setups.values(), *shop.by_model])]
    return html.Div(
        [
            html.P(
                f"It holds for {name} until somebody sets another, and comes before what the qualified hold. Ends with "
                "their unit: 12 thou, 0.30 mm, 5/64 in, 4 cents; one end may stay empty, both empty takes it back.",
                className="small",
            ),
            html.Div(
                [
                    parts.field("What", WHAT, what[0]["value"] if what else None, what),
                    parts.field("Model", MODEL, models[0]["value"], models),
                    parts.text_field("From", LOW),
                    parts.text_field("To", HIGH),
                    parts.text_field("Aim at", AIM),
                    parts.who_field(SETTER, "Set by"),
                ],
                className="ruled",
            ),
            html.Button("Set this target", id=SET, className="button"),
            html.P(id=SAID, className="small", role="status"),
        ]
    )


def _key(stand: Stand) -> str:
    return "|".join(str(stand.band[name]) for name in PLACE)


def _name(shop: Shop, stand: Stand) -> str:
    row = stand.band
    return f"{sentences.characteristic(shop, str(row['characteristic']), str(row['position']))}, {row['model']}"


def _book(shop: Shop, tech: str, stage: str) -> html.Div:
    lines = desk.here().snapshot().lines(*NAMES).filter((pl.col("tech") == tech) & (pl.col("stage") == stage))
    if lines.is_empty():
        return html.Div()
    told = [
        html.Li(
            [
                html.B(f"{NAMES[line['kind']]}. "),
                html.Span(line["text"]),
                html.Br(),
                html.Span(_by(shop, line), className="small"),
            ]
        )
        for line in lines.sort("sequence", descending=True).head(SHOWN).iter_rows(named=True)
    ]
    return html.Div(html.Ul(told, className="book"))


def _by(shop: Shop, line: dict[str, Any]) -> str:
    """Who did it, and when."""
    words = {"signed off": "Signed off by", "sign-off taken back": "Taken back by"}.get(line["kind"], "Written by")
    return f"{words} {line['who']}, {numbers.clock(sentences.local(shop, line['at']))}"


def connect(app: Dash) -> None:
    """The deeds."""
    app.callback(
        Output(AGREED, "children"),
        Input(AGREE, "n_clicks"),
        State(STEP, "value"),
        State(TRAINER, "value"),
        State(REMARK, "value"),
        State(ABOUT, "data"),
        prevent_initial_call=True,
    )(agreed)
    app.callback(
        Output(SIGNED, "children"),
        Input(SIGN, "n_clicks"),
        State(WHICH, "value"),
        State(SIGNER, "value"),
        State(ABOUT, "data"),
        prevent_initial_call=True,
    )(signed_off)
    app.callback(
        Output(TAKEN, "children"),
        Input(BACK, "n_clicks"),
        State(WHICH, "value"),
        State(SIGNER, "value"),
        State(WHY, "value"),
        State(ABOUT, "data"),
        prevent_initial_call=True,
    )(taken_back)
    app.callback(
        Output(SAID, "children"),
        Input(SET, "n_clicks"),
        *[State(id, "value") for id in (WHAT, MODEL, LOW, HIGH, AIM, SETTER)],
        State(ABOUT, "data"),
        prevent_initial_call=True,
    )(set_by_hand)


def agreed(clicks: int | None, step: str | None, trainer: str | None, remark: str | None, about: dict[str, str]) -> Any:
    """Put the agreed step into the bench book; that signs nothing off."""
    if not clicks:
        return no_update
    step, trainer, remark = (str(text or "").strip() for text in (step, trainer, remark))
    if not step or not trainer:
        return "Write the next step and who agreed it; the book keeps who wrote what and when."
    text = f"{step}. Remark: {remark}" if remark else step
    desk.here().write_entry("step", text, who=trainer, tech=about["tech"], stage=about["stage"])
    return "Written into the bench book as the next step. Nothing is signed off by it."


def signed_off(clicks: int | None, which: str | None, who: str | None, about: dict[str, str]) -> Any:
    """Sign a target off: a deed of its own, with what the test said at the time."""
    if not clicks:
        return no_update
    who = str(who or "").strip()
    if not which or not who:
        return "Choose the target and write who signs it off."
    from dashboard.pages.bench.page import stands_at

    shop = desk.here().snapshot().shop
    stand = next((one for one in stands_at(about["tech"], about["stage"]) if _key(one) == which), None)
    if stand is None:
        return "That target does not stand any more; open the page anew."
    text = f"{_name(shop, stand)}: {stand.verdict}. {sentences_targets.standing(shop, stand)}"
    place = about | dict(zip(PLACE, which.split("|"), strict=True))
    desk.here().write_entry("signed off", text, who=who, **place)
    return f"Signed off by {who}, now. The book keeps what the test said: {stand.verdict}."


def taken_back(clicks: int | None, which: str | None, who: str | None, why: str | None, about: dict[str, str]) -> Any:
    """Take the last sign-off of a target back; it stays in the book, with who took it back, when and why."""
    if not clicks:
        return no_update
    who, why = str(who or "").strip(), str(why or "").strip()
    if not which or not who or not why:
        return "Choose the target, and write who takes its sign-off back and why."
    place = about | dict(zip(PLACE, which.split("|"), strict=True))
    lines = desk.here().snapshot().lines(*coaching.SIGNINGS)
    same = lines.filter(pl.all_horizontal(pl.col(name) == value for name, value in place.items())).sort("sequence")
    if same.is_empty() or same["kind"][-1] != coaching.SIGNINGS[0]:
        return "That target is not signed off; there is nothing to take back."
    desk.here().write_entry(coaching.SIGNINGS[1], why, who=who, **place)
    return f"Taken back by {who}, now. The sign-off and why it does not hold stay in the book."


def set_by_hand(clicks: int | None, what: str | None, model: str | None, *told: Any) -> Any:
    """Set a target by hand; told: its ends and aim as typed, who sets it, and whom it is about."""
    *typed, who, about = told
    if not clicks:
        return no_update
    who = str(who or "").strip()
    if not what or not model or not who:
        return "Choose what and which model, and write who sets the target."
    characteristic, position = what.split("|")
    try:
        low, high, aim = (desk.here().amount(characteristic, str(text or "")) for text in typed)
    except UnusableData as problem:
        return str(problem)
    if low is not None and high is not None and low >= high:
        return "From must lie below to."
    row = {"characteristic": characteristic, "position": position, "model": model, "stage": about["stage"]}
    ends = {"tech": about["tech"], "lower": low, "upper": high, "target": aim}
    desk.here().write_target(row | ends, who=who)
    return (
        "Taken back." if low is None and high is None else f"Set by {who}, now. It holds from the first instrument on."
    )
