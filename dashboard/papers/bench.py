"""The target card of one tech: at most three targets in the unit of the gauge, a line for the tech's own remark,
minutes last.
"""

from __future__ import annotations

import re
from typing import Any

import polars as pl

from analysis.methods.problems import UnusableData
from analysis.studies.people import learning_curves, targets, techs
from analysis.studies.people.keeping import past_keeping
from dashboard import numbers
from dashboard.charts.band import band
from dashboard.desk import desk
from dashboard.pages.bench import parts as bench_parts
from dashboard.papers.cautions import LOCAL, cautions
from dashboard.papers.paper import Paper, computed_from
from dashboard.sentences import bench as sentences_bench
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

MOST = 3
PICTURES = {targets.SHOWN: "take", targets.NOT_SHOWN: "not-shown", targets.TOO_FEW: "thin"}
ORDER = (targets.NOT_SHOWN, targets.TOO_FEW, targets.SHOWN)  # what is to be practised comes first


def paper(tech: str, *, letter: bool = False) -> tuple[str, str]:
    """The card as a name for its file and its HTML. UnusableData where people are not shown, or the tech is unknown or
    has no target.
    """
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    if shop.people.show == "none":
        raise UnusableData(
            "figures of single people are not shown in this shop; settle who is told, the law and the agreement "
            "first, then set "
            '[people] show = "codes" in shop.toml'
        )
    known = [person.key for person in shop.techs]
    if tech not in known:
        raise UnusableData(f"no tech {tech!r} in shop.toml; wanted one of {', '.join(known) or 'none yet'}")
    past = desk.ask(past_keeping)
    if tech in past:
        raise UnusableData(sentences_bench.past_keeping(shop, {tech: past[tech]}))
    stands = desk.ask(targets.stands, tech=tech)
    if not stands:
        raise UnusableData(
            f"no target for {tech} yet: a band needs {targets.LEAST} readings as set by people qualified for the "
            "stage, and one of "
            "this tech; load more logs or name who is qualified in shop.toml"
        )
    chosen = choose(stands, _new_at(tech))
    name = sentences_bench.who(shop, tech)
    made = Paper(f"Target card, {name}", shop.shop.name, computed_from(snapshot), letter=letter)
    stages = list(dict.fromkeys(str(stand.band["stage"]) for stand in chosen))
    purpose = shop.people.purpose.strip().rstrip(".") or "coaching"
    return f"target-card-{re.sub(r'[^A-Za-z0-9]+', '-', tech)}", made.html(
        "bench.html",
        name=name,
        stop=sentences_bench.LIGHT_EFFORT,
        headline=_headline(shop, name, chosen),
        more=len(stands) - len(chosen),
        targets=[_target(made, stand, shop) for stand in chosen],
        test=sentences_bench.test_short(chosen[0].lasts),
        cautions=cautions(shop.stages[shop.bench_order[stage]] for stage in stages if stage in shop.bench_order),
        local=LOCAL,
        minutes=[_minutes(shop, tech, stage) for stage in stages],
        purpose=purpose,
    )


def choose(stands: list[targets.Stand], new_at: set[str]) -> list[targets.Stand]:
    """At most three: of stages the tech is new at first, then what is not shown yet, then what has too few, each by
    most readings.
    """
    return sorted(
        stands, key=lambda one: (one.band["stage"] not in new_at, ORDER.index(one.verdict), -len(one.values))
    )[:MOST]


def _new_at(tech: str) -> set[str]:
    new = desk.ask(learning_curves.new_techs)
    return set(new.filter(pl.col("tech") == tech)["stage"].to_list())


def _headline(shop: Shop, name: str, chosen: list[targets.Stand]) -> str:
    stages = list(dict.fromkeys(shop.stage_name(str(stand.band["stage"])).lower() for stand in chosen))
    many = f"{numbers.in_words(len(chosen))} {'target' if len(chosen) == 1 else 'targets'}"
    return f"{name}: {many} at {' and '.join(stages)}"


def _target(made: Paper, stand: targets.Stand, shop: Shop) -> dict[str, Any]:
    row, say = stand.band, sentences_bench.standing(shop, stand)
    what = sentences.characteristic(shop, str(row["characteristic"]), str(row["position"]))
    return {
        "what": what,
        "model": row["model"],
        "stage": shop.stage_name(str(row["stage"])),
        "target": sentences_bench.target(shop, row),
        "hold": sentences_bench.hold(shop, row, with_mm=True),
        "gauge": row["gauge"] or "gauge not named",
        "say": say,
        "word": stand.verdict,
        "mark": made.mark(PICTURES[stand.verdict]),
        "chart": made.chart(band(bench_parts.band_view(stand, shop)), f"{what}, {row['model']}: {say}"),
        "from": sentences_bench.band_from(row),
    }


def _minutes(shop: Shop, tech: str, stage: str) -> str:
    """Minutes, last: with the curve of practice where the tech is new there."""
    where = shop.stage_name(stage)
    try:
        if stage not in _new_at(tech):
            raise UnusableData("not new here")
        return f"{where}: {sentences_bench.minutes(desk.ask(learning_curves.learning_curve, stage=stage, tech=tech))}"
    except UnusableData:
        rows = desk.ask(techs.people).filter((pl.col("stage") == stage) & (pl.col("tech") == tech))
        middle = rows["minutes_median"][0] if len(rows) else None
        return (
            f"{where}: half of the first visits take {numbers.minutes(middle)} or less."
            if middle is not None
            else f"{where}: no minutes on file."
        )
