"""Gauges, inside Capability: can what was measured be trusted - steps against spread and tolerance, gauge studies."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import polars as pl
from dash import Dash, dcc, html

from analysis.studies.drift import states
from analysis.studies.gauges import rr as gauges
from analysis.studies.room.steps import steps
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages import gauge_register, planning
from dashboard.pages.held import held
from dashboard.sentences import shared as sentences
from dashboard.tables import leafed
from ingest.shopfiles.shop import Shop

PATH, NAME = "/gauges", "Gauges"
LONGEST = 200  # characters of what the headline names
FEW = 5  # series on a page of the table: it stands among other sheets
UNDER = (
    "A gauge is coarse where one step of it is more than the usual spread of its readings. It may still judge runs and "
    "shares."
)
JUDGED = (
    "Under 10 % is good, 10 to 30 % by agreement, over 30 % unfit; at least five classes (AIAG Measurement Systems "
    "Analysis, 4th edition). To see work drift the share of the spread counts, here of the study's own parts; to "
    "accept or refuse a piece, the share of the tolerance. Necks holds the gauge against the spread within lots, which "
    "is less than that of parts picked for a study, so the share there is larger."
)
GOOD, UNFIT = (
    0.10,
    0.30,
)  # of the spread: under a tenth good, over three tenths unfit; AIAG Measurement Systems Analysis, 4th edition


def layout(**_address: str) -> Any:
    """The page that was: it stands in Capability now, and an old address leads there."""
    return dcc.Location(href=addresses.address("/capability", open="gauges", **_address), id="gauges-moved")


def headline() -> str:
    """Which gauge is unfit or too coarse, in a sentence."""
    shop = desk.here().snapshot().shop
    return _headline(desk.ask(steps), desk.ask(gauges.study_rows), shop)


def inside(shop: Shop, asked: Mapping[str, Any]) -> html.Div:
    """What Capability opens of the gauges: studies, steps, what to do next, and how many a study asks for."""
    found, studies = desk.ask(steps), desk.ask(gauges.study_rows)
    characteristic = addresses.chosen(asked.get("characteristic"), found["characteristic"].unique().to_list(), None)
    word = addresses.chosen(asked.get("word"), (states.COARSE, states.UNFIT, states.FIT, states.UNTESTED), None)
    return html.Div(
        [
            held("Gauge studies", _studies, studies, shop),
            held(
                "Steps against spread and tolerance",
                _steps,
                found,
                shop,
                {**asked, "characteristic": characteristic, "word": word},
            ),
            held(gauge_register.NAME, gauge_register.sheet, shop),
            held("What to do next", _next, found, studies, shop),
        ]
    )


def _headline(found: pl.DataFrame, studies: pl.DataFrame, shop: Shop) -> str:
    unfit = studies.filter(pl.col("share_of_spread") > UNFIT)
    if len(unfit):
        row = unfit.sort("share_of_spread", descending=True).row(0, named=True)
        what = shop.characteristic_name(row["characteristic"]).lower()
        return f"The gauge takes {numbers.share(row['share_of_spread'], 100)} of the spread of {what}: unfit to judge."
    coarse = _coarse(found)
    if len(coarse):
        found_on = [
            (shop.characteristic_name(key).lower(), part["model"].unique(maintain_order=True).to_list())
            for (key,), part in coarse.group_by("characteristic", maintain_order=True)
        ][:3]
        told = "; ".join(_on(what, models) for what, models in found_on)
        if len(told) > LONGEST:  # of names that fill a screen their number is told; the table below has each
            told = "; ".join(f"{what} on {_many(models)}" for what, models in found_on)
        return f"Gauges are too coarse for {told}."
    if found.is_empty() and studies.is_empty():
        return "No gauge is declared yet."
    return "Every gauge with enough readings is fine enough for its series."


def _judged(share: float) -> str:
    """`7 %, good`."""
    word = "good" if share < GOOD else "by agreement" if share <= UNFIT else "unfit"
    return f"{numbers.share(share, 100)}, {word}"


def _coarse(found: pl.DataFrame) -> pl.DataFrame:
    """Streams that are read too coarsely and have readings enough to say so."""
    return found.filter((pl.col("gauge") == states.COARSE) & (pl.col("state") != states.THIN))


def _many(models: list[str]) -> str:
    return models[0] if len(models) == 1 else f"{numbers.in_words(len(models))} models"


def _on(what: str, models: list[str]) -> str:
    named = models if len(models) <= 3 else [*models[:3], f"{numbers.in_words(len(models) - 3)} more"]
    return f"{what} on {' and '.join(filter(None, [', '.join(named[:-1]), named[-1]]))}"


def _studies(studies: pl.DataFrame, shop: Shop) -> html.Section:
    right = "standard deviations by analysis of variance; share of spread: gauge and people together over total"
    if studies.is_empty():
        text = (
            "No gauge study is loaded. A sheet with the columns study, characteristic, part, tech, trial, value "
            "and unit brings one."
        )
        return parts.sheet("Gauge studies", right, parts.empty_state(text, "Load it on Logs", "/logs"))
    rows = []
    for row in studies.iter_rows(named=True):
        share = row["share_of_spread"]
        word, told = states.UNTESTED, "cannot be worked out: every reader must measure every part equally often"
        if share is not None:
            word = states.UNFIT if share > UNFIT else states.FIT
            told = _judged(share)
        parts_of = (row[name] for name in ("repeatability", "reproducibility", "rr", "part"))
        amount = [_spread(shop, row["characteristic"], value) for value in parts_of]
        tolerance = numbers.NONE if row["share_of_tolerance"] is None else _judged(row["share_of_tolerance"])
        rows.append(
            {
                "study": [
                    html.Span(row["study"]),
                    parts.on_a_phone(
                        f"{shop.characteristic_name(row['characteristic'])}: {amount[2]} both together; of the spread "
                        f"{told}; of the tolerance {tolerance}"
                    ),
                ],
                "what": shop.characteristic_name(row["characteristic"]),
                "word": parts.mark(word),
                "same": amount[0],
                "between": amount[1],
                "rr": amount[2],
                "part": amount[3],
                "share": told,
                "tolerance": tolerance,
                "ndc": numbers.count(row["ndc"]) if row["ndc"] is not None else numbers.NONE,
            }
        )
    columns = [
        ("study", "Study"),
        ("what", "Characteristic", "wide-only"),
        ("word", "Gauge"),
        ("same", "Same reader again", "n wide-only"),
        ("between", "Between readers", "n wide-only"),
        ("rr", "Both together", "n wide-only"),
        ("part", "Parts", "n wide-only"),
        ("share", "Of the spread: to see drift", "wide-only"),
        ("tolerance", "6 times both, of the tolerance: to accept or refuse", "wide-only"),
        ("ndc", "Classes told apart", "n wide-only"),
    ]
    return parts.sheet("Gauge studies", right, [parts.plain_table(rows, columns), html.P(JUDGED, className="small")])


def _spread(shop: Shop, key: str, value: float | None) -> str:
    """A standard deviation of a gauge study with its unit, a digit more than readings have."""
    if value is None:
        return numbers.NONE
    kind, shown = sentences.quantity(shop, key), shop.length_of(key)
    digits = numbers.decimals_of(kind, shown=shown) + 1 if kind == "length" else 3
    text = numbers.plain(numbers.in_unit(value, kind, shown=shown), digits)
    return numbers.with_unit(text, numbers.unit_of(kind, shown=shown))


def _steps(found: pl.DataFrame, shop: Shop, asked: Mapping[str, Any]) -> html.Section:
    characteristic, word = asked["characteristic"], asked["word"]
    if found.is_empty():
        text = (
            "No gauge with a resolution is declared in shop.toml. Add a [[gauge]] with what it measures and its "
            "resolution."
        )
        return parts.sheet("Steps against spread and tolerance", "", parts.empty_state(text))
    rows = _rows(found, characteristic, word)
    few = pl.col("state") == states.THIN
    told = [_line(row, shop) for row in rows.sort(few, maintain_order=True).iter_rows(named=True)]
    columns = [
        ("what", "Series"),
        ("stage", "Stage", "wide-only"),
        ("word", "Gauge"),
        ("step", "Step", "n"),
        ("sigma", "Usual spread", "n"),
        ("in_sigma", "Steps in the spread", "n wide-only"),
        ("in_tolerance", "Steps in the tolerance", "n wide-only"),
        ("gauges", "Taken with", "wide-only"),
        ("n", "n", "n wide-only"),
    ]
    save = parts.save_whole("gauges", characteristic=characteristic, word=word)
    body = (
        [html.P(UNDER, className="small"), leafed(told, columns, "gauges-steps", "/capability", asked, few=FEW), save]
        if told
        else html.P("No series of this kind.", className="small")
    )
    return parts.sheet("Steps against spread and tolerance", "the coarsest first; series of few readings last", body)


def _rows(found: pl.DataFrame, characteristic: str | None, word: str | None) -> pl.DataFrame:
    return found.filter(
        pl.col("characteristic") == (characteristic or pl.col("characteristic")),
        pl.col("gauge") == (word or pl.col("gauge")),
    )


def _line(row: dict[str, Any], shop: Shop) -> dict[str, Any]:
    kind, shown = sentences.quantity(shop, row["characteristic"]), shop.length_of(row["characteristic"])
    scale, decimals = numbers.in_unit(1.0, kind, shown=shown), numbers.decimals_of(kind, shown=shown) + 1

    def amount(value: float | None) -> str:
        return (
            numbers.with_unit(numbers.plain(scale * value, decimals), numbers.unit_of(kind, shown=shown))
            if value is not None
            else numbers.NONE
        )

    href = addresses.address(
        "/drift", characteristic=row["characteristic"], position=row["position"], model=row["model"], stage=row["stage"]
    )
    return {
        "what": f"{sentences.characteristic(shop, row['characteristic'], row['position'])}, {row['model']}",
        "href": href,
        "stage": shop.stage_name(row["stage"]),
        "word": row["gauge"] + (", few readings" if row["state"] == states.THIN else ""),
        "step": _step(row, amount, shop),
        "step_at": row["step"],
        "sigma": amount(row["sigma"]),
        "sigma_at": row["sigma"],
        "in_sigma_at": row["steps_in_sigma"],
        "in_tolerance_at": row["steps_in_tolerance"],
        "n_at": row["n"],
        "in_sigma": numbers.plain(row["steps_in_sigma"], 1) if row["steps_in_sigma"] is not None else numbers.NONE,
        "in_tolerance": numbers.plain(row["steps_in_tolerance"], 1)
        if row["steps_in_tolerance"] is not None
        else numbers.NONE,
        "gauges": row["gauges"] or "not named",
        "n": numbers.count(row["n"]),
    }


def _step(row: dict[str, Any], amount: Callable[[float | None], str], shop: Shop) -> str:
    """`0.200 mm since 21 Sep, declared 0.050 mm`: what its readings of late show where that is coarser."""
    since = f" since {numbers.day(sentences.local(shop, row['since']))}" if row["since"] is not None else ""
    said = f", declared {amount(row['declared'])}" if row["declared"] is not None else ""
    return f"{amount(row['step'])}{since}{said}"


def _next(found: pl.DataFrame, studies: pl.DataFrame, shop: Shop) -> html.Section:
    """What to do about it, in sentences."""
    between = [html.P(text) for text in sentences.between_marks(desk.here().snapshot().specs.between, shop)]
    say: list[Any] = []
    coarse = _coarse(found)
    if len(coarse):
        names, holds = [], []
        for (key,), part in coarse.group_by("characteristic", maintain_order=True):
            names.append(shop.characteristic_name(str(key)))
            fewest = part.select(pl.col("steps_in_tolerance").min()).item()
            holds += [f"{names[-1].lower()} {numbers.plain(fewest, 1)}"] if fewest is not None else []
        steps_held = f" Steps in the tolerance: {', '.join(holds)}; ten are common practice." if holds else ""
        tell = (
            f"read to the half step, or use a gauge with a finer one.{steps_held} Until then runs and shares outside "
            "are sounder than a spread."
        )
        say.append(html.P([html.B(f"{'; '.join(names)}: "), tell]))
    studied = set(studies["characteristic"].to_list())
    without = [
        shop.characteristic_name(key)
        for key in found["characteristic"].unique(maintain_order=True)
        if key not in studied
    ]
    if without:
        how = (
            "Ten parts, three readers, two or three trials each, blind and in mixed order, say how much of the "
            "spread is the gauge."
        )
        say.append(html.P([html.B("No study yet: "), f"{', '.join(without)}. {how}"]))
    if between:
        n = numbers.in_words(len(between), capital=True)
        many = "limit lies" if len(between) == 1 else "kinds of limit lie"
        say.append(parts.behind(between, f"{n} {many} between two marks of a gauge"))
    say = say or [html.P("Nothing: every gauge is fine enough and studied.")]
    return parts.sheet("What to do next", "", [*say, parts.behind(planning.gauges(), planning.NAME)])


def saved(**asked: str) -> tuple[str, pl.DataFrame]:
    """Steps of the streams shown, canonical units, unrounded."""
    return "gauges.csv", _rows(desk.ask(steps), asked.get("characteristic") or None, asked.get("word") or None)


def connect(app: Dash) -> None:
    """Nothing: the page only leads on."""
