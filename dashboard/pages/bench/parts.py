"""The sheets of the Bench page: targets, work that came back, practice, spread, and the line a person signs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl
from dash import html

from analysis.methods.problems import UnusableData
from analysis.studies.people import alone, first_work, targets, techs
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.band import BandView, band
from dashboard.charts.evidence import EvidenceView, evidence
from dashboard.charts.funnel import FunnelView, funnel
from dashboard.desk import desk
from dashboard.pages.bench import ways
from dashboard.pages.period import Period
from dashboard.sentences import alone as alone_words
from dashboard.sentences import bench as sentences_bench
from dashboard.sentences import coaching
from dashboard.sentences import shared as sentences
from dashboard.sentences import targets as sentences_targets
from ingest.shopfiles.shop import Shop

DRAWN = 3  # targets drawn; the others stand in the table
Row = dict[str, Any]
REST = (("hold", "Hold"), ("word", ""), ("say", "Where it stands"))  # of a target that is not drawn
PLACE = ("characteristic", "position", "model")  # a target


@dataclass(frozen=True)
class Days:
    """The days somebody asks about, and where the person stood by what was set in them."""

    period: Period
    stands: list[targets.Stand]

    def of(self, stand: targets.Stand) -> targets.Stand | None:
        """The same target by these days; None where nothing of it was set in them."""
        same = [one for one in self.stands if all(one.band[name] == stand.band[name] for name in PLACE)]
        return same[0] if same else None


def band_view(stand: targets.Stand, shop: Shop) -> BandView:
    """A target band with the readings on it, in the unit of the gauge."""
    row = stand.band
    quantity = sentences.quantity(shop, str(row["characteristic"]))
    scale = numbers.in_unit(1.0, quantity, shown=sentences_targets.band_unit(shop, row))

    def scaled(value: Any) -> float | None:
        return None if value is None else float(value) * scale

    def words(value: Any, *, bare: bool = False) -> str:
        text = sentences_targets.in_gauge(shop, row, value) if value is not None else ""
        return text.partition(numbers.NBSP)[0] if bare else text

    return BandView(
        [value * scale for value in stand.values],
        stand.serials,
        scaled(row["lower"]),
        scaled(row["upper"]),
        scaled(row["target"]),
        scaled(stand.mean),
        scaled(stand.mean_low),
        scaled(stand.mean_high),
        words(row["lower"], bare=True),
        words(row["upper"]),
        words(row["target"], bare=True),
    )


def evidence_view(stand: targets.Stand) -> EvidenceView:
    """A target's test as its chart draws it."""
    path, shown, practise = targets.evidence(stand)
    return EvidenceView(path, shown, practise, numbers.count(stand.decided_at))


def targets_sheet(
    stands: list[targets.Stand], shop: Shop, who: tuple[str, str], days: Days | None = None
) -> html.Section:
    """Where somebody (tech, stage) stands against each band, with the evidence that led there; with `days` the bands
    show what was set in them, while the word stays that of all days: a test that somebody cuts to days of their
    choice keeps no promise.
    """
    tech, stage = who
    right = f"in the unit of the gauge; blue: {sentences_bench.who(shop, tech)}, mean with 95 % interval"
    if not stands:
        text = (
            "Nothing that is set here has a reading, here or at final inspection, and limits in specs.csv. Set a "
            "target by hand below: it holds from the first instrument on."
        )
        return parts.sheet("Targets", right, parts.empty_state(text, "Open Capability", "/capability"))
    of_book = desk.here().snapshot().lines(*coaching.SIGNINGS)
    signed = of_book.filter((pl.col("tech") == tech) & (pl.col("stage") == stage))
    lines = [_target_line(k, stands, shop, signed.to_dicts(), days) for k in range(min(DRAWN, len(stands)))]
    rest = [_rest_line(stand, shop) for stand in stands[DRAWN:]]
    more = (
        [
            parts.behind(
                parts.plain_table(rest, [("what", "Target"), *((*column, "wide-only") for column in REST)]),
                f"{numbers.count(len(rest))} more targets",
            )
        ]
        if rest
        else []
    )
    about = html.P(sentences_targets.test_words(stands[0].lasts), className="small")
    said = []
    if days is not None:
        some = any(days.of(stand) for stand in stands)
        words = days.period.words()
        said = [html.P(sentences_targets.in_days(words) if some else sentences_targets.nothing_in_days(words))]
    return parts.sheet("Targets", right, [*said, html.Div(lines, className="targets"), *more, about])


def _rest_line(stand: targets.Stand, shop: Shop) -> Row:
    """A target that is not drawn, as a line of the table; on a phone all of it stands under its name."""
    hold, say = sentences_targets.hold(shop, stand.band), sentences_targets.standing(shop, stand)
    word = sentences_targets.MARKS[stand.verdict]
    name = parts.to_readings(ways.of_target(stand), _name(stand, shop))
    return {
        "what": [html.Span(name), parts.on_a_phone(f"{hold}: {parts.MARKS[word]}. {say}")],
        "hold": hold,
        "word": parts.mark(word),
        "say": say,
    }


def _name(stand: targets.Stand, shop: Shop) -> str:
    row = stand.band
    return f"{sentences.characteristic(shop, str(row['characteristic']), str(row['position']))}, {row['model']}"


def _coaching(stand: targets.Stand, shop: Shop, verdicts: list[str]) -> html.Div:
    """What good looks like, how it is measured, a practice set, the next three steps."""
    row = stand.band
    source = coaching.comes_from(row, shop)
    serials = desk.ask(targets.practice_set, model=str(row["model"]), stage=str(row["stage"]))
    told = [
        ("What good looks like", coaching.looks(shop, row)),
        ("How to measure it", coaching.how(row)),
        ("Practice set", coaching.practice(serials, str(row["model"]))),
        ("Where the target comes from", f"{source[0].upper()}{source[1:]}."),
    ]
    steps = html.Ol([html.Li(step) for step in coaching.steps(shop, stand, verdicts)])
    return html.Div(
        [*[html.P([html.B(f"{name}. "), say]) for name, say in told], html.P(html.B("Next three steps")), steps]
    )


def _target_line(k: int, stands: list[targets.Stand], shop: Shop, signed: list[Row], days: Days | None) -> html.Div:
    stand, verdicts = stands[k], [one.verdict for one in stands]
    then = days.of(stand) if days is not None else stand
    row, say = stand.band, sentences_targets.standing(shop, stand)
    name = sentences.characteristic(shop, str(row["characteristic"]), str(row["position"]))
    own = sentences_targets.of_days(then) if days is not None else ""
    beside = (own, coaching.left_out(shop, stand), coaching.signed_off(signed, shop, row))
    line = html.Div(
        [
            html.Div(
                [
                    html.B(parts.to_readings(ways.of_target(stand), name)),
                    html.Span(str(row["model"]), className="small"),
                ]
            ),
            html.Div(
                [
                    html.B(sentences_targets.target(shop, row)),
                    html.Span(sentences_targets.hold(shop, row, with_mm=True), className="small asked"),
                ]
            ),
            parts.graph(parts.both(band, band_view(then, shop)), f"{_name(stand, shop)}: {say}", f"bench-band-{k}")
            if then is not None
            else html.P("Nothing set in these days.", className="small"),
            parts.graph(
                parts.both(evidence, evidence_view(stand)), f"Evidence: {stand.verdict}", f"bench-evidence-{k}"
            ),
            html.Div(
                [
                    parts.mark(sentences_targets.MARKS[stand.verdict]),
                    html.Span(say, className="small"),
                    *[html.Span(text, className="small") for text in beside if text],
                ]
            ),
        ],
        className="target",
    )
    return html.Div(
        [
            line,
            parts.behind(
                _coaching(stand, shop, verdicts),
                ["How to get there", html.Span(f": {_name(stand, shop)}", className="spoken")],
            ),
        ],
        className="coached",
    )


def late_of(row: Row | None) -> first_work.Late | None:
    """The latter half of the work of somebody of whose more came back than chance and mix explain; None of others."""
    if row is None or not sentences_bench.is_found(row):
        return None
    return desk.ask(first_work.of_late, stage=row["stage"], tech=row["tech"])


def _came_back_alone(shop: Shop) -> html.Section:
    """Work that came back in a shop of one: all of it, for there is nobody to hold it against."""
    back = desk.ask(alone.came_back)
    link = parts.to_readings(addresses.address("/logs/visits"), "The send-backs")
    return parts.sheet(
        "Work that came back",
        f"of {numbers.count(back.judged)} judged instruments",
        [html.P(alone_words.came_back(shop, back)), html.P(link, className="small")],
    )


def came_back_sheet(stage: str, tech: str, shop: Shop) -> html.Section:
    """Work that came back to this bench against what the others would give on the same mix."""
    if desk.ask(alone.lone) == tech:
        return _came_back_alone(shop)
    rows = desk.ask(first_work.first_work).filter(pl.col("stage") == stage)
    own = next((row for row in rows.iter_rows(named=True) if row["tech"] == tech), None)
    say, late = sentences_bench.came_back(own), late_of(own)
    flags = [
        html.P(text, className=size)
        for text, size in zip(sentences_bench.chance_and_mix(own, late), (None, "small"), strict=True)
        if text
    ]
    flags += [html.P(text) for text in [sentences_bench.of_late(late)] if text]
    name, right = (
        "Work that came back to this bench",
        f"of {numbers.count(own['judged'] if own else 0)} judged instruments, same mix",
    )
    charged = html.P(sentences_bench.not_charged(desk.ask(techs.not_charged).to_dicts()), className="small")
    link = parts.to_readings(addresses.address("/logs/visits", caused_at=stage), "The send-backs caused at this stage")
    try:
        grid, low, high = desk.ask(first_work.funnel_curve, stage=stage, tech=tech)
    except UnusableData:
        return parts.sheet(name, right, [html.P(say), *flags, charged, html.P(link, className="small")])
    others = rows.filter((pl.col("tech") != tech) & pl.col("ratio").is_not_null()).select("expected", "ratio").rows()
    assert own is not None
    words = f"{numbers.count(own['came_back'])} came back, {numbers.plain(own['expected'], 1)} expected"
    stands = (own["expected"], own["ratio"], own["ratio_low"], own["ratio_high"])
    view = FunnelView(
        grid.tolist(),
        low.tolist(),
        high.tolist(),
        others,
        stands,
        words,
        f"{numbers.count(own['came_back'])} came back",
    )
    chart = parts.graph(parts.both(funnel, view), say, "bench-funnel")
    rings = html.P(
        "Rings: other people, not named. Grey: where chance, and an expectation known only so well, would put them.",
        className="small",
    )
    return parts.sheet(name, right, [chart, html.P(say), *flags, rings, charged, html.P(link, className="small")])
