"""The target card of one tech: at most three targets in the unit of the gauge, a line for the tech's own remark,
minutes last.
"""

from __future__ import annotations

import re
from typing import Any

import polars as pl

from analysis.methods.problems import UnusableData
from analysis.studies.people import gauge_part, learning_curves, targets, techs
from analysis.studies.people.keeping import past_keeping
from analysis.studies.story.unread import CHARACTERISTIC
from analysis.studies.story.unread import unread as unread_rows
from dashboard import numbers, parts
from dashboard.charts.band import band
from dashboard.desk import desk
from dashboard.pages.bench import parts as bench_parts
from dashboard.papers.paper import Paper, computed_from, named
from dashboard.sentences import bench as sentences_bench
from dashboard.sentences import coaching, unread
from dashboard.sentences import practice as practice_words
from dashboard.sentences import shared as sentences
from dashboard.sentences import targets as sentences_targets
from dashboard.sentences.cautions import LOCAL, cautions
from ingest.shopfiles.shop import Shop

MOST = 3
PICTURES = {targets.SHOWN: "take", targets.NOT_SHOWN: "not-shown", targets.TOO_FEW: "thin"}


def paper(tech: str, *, stage: str = "", letter: bool = False) -> tuple[str, str]:
    """The card as a name for its file and its HTML: of the targets at a stage, or ('') of all that the tech has set; of
    somebody without a reading those they begin with. UnusableData where people are not shown, or the tech is unknown or
    nothing that is set has a target.
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
    tech = named(tech, known)
    if tech not in known:
        raise UnusableData(f"no tech {tech!r} in shop.toml; wanted one of {', '.join(known) or 'none yet'}")
    past = desk.ask(past_keeping)
    if tech in past:
        raise UnusableData(sentences_bench.past_keeping(shop, {tech: past[tech]}))
    stands = _stands(shop, tech, stage)
    if not stands:
        raise UnusableData(
            f"no target for {tech} yet: nothing that is set at a bench has a reading at final inspection and limits; "
            "set one by hand on Bench, or load a log"
        )
    chosen = choose(stands, _new_at(tech))
    name = sentences_bench.who(shop, tech)
    made = Paper(f"Target card, {name}", shop.shop.name, computed_from(snapshot), letter=letter)
    stages = list(dict.fromkeys(str(stand.band["stage"]) for stand in chosen))
    purpose = shop.people.purpose.strip().rstrip(".") or "coaching"
    return f"target-card-{re.sub(r'[^A-Za-z0-9]+', '-', tech)}", made.html(
        "bench.html",
        name=name,
        unread=unread.lines(_unread(chosen), shop, "target card"),
        stop=sentences_bench.LIGHT_EFFORT,
        headline=_headline(shop, name, chosen),
        more=coaching.others([stand.verdict for stand in stands if stand not in chosen]),
        gauges=_gauges(shop, chosen),
        wide=sentences_targets.wide(shop, stands),
        targets=[_target(made, stand, shop) for stand in chosen],
        test=sentences_targets.test_short(chosen[0].lasts),
        ways=_ways(shop, chosen),
        sources=_sources(shop, chosen),
        practice=_practice(chosen[0]),
        steps=coaching.steps(shop, chosen[0], [one.verdict for one in stands]),
        cautions=cautions((shop.by_stage[stage] for stage in stages if stage in shop.by_stage), shop),
        local=LOCAL,
        minutes=[_minutes(shop, tech, stage) for stage in stages],
        purpose=purpose,
    )


def _unread(chosen: list[targets.Stand]) -> pl.DataFrame:
    """What was not read of what stands on the card: its characteristics, its stages, or all."""
    keys = {str(stand.band[name]) for stand in chosen for name in ("characteristic", "stage")}
    rows = desk.ask(unread_rows)
    return rows.filter(pl.col("key").is_in(sorted(keys)) | ((pl.col("key") == "") & (pl.col("what") != CHARACTERISTIC)))


def _stands(shop: Shop, tech: str, stage: str) -> list[targets.Stand]:
    """Where somebody stands, or the targets they begin with: at the stage asked for, else at the first that has any."""
    stands = [one for one in desk.ask(targets.stands, tech=tech) if stage in ("", one.band["stage"])]
    sets = {one for item in shop.characteristics for one in item.set_stages}
    wanted = [stage] if stage else [one.key for one in shop.stages if one.key in sets]
    for key in [] if stands else wanted:
        stands = desk.ask(targets.first_stands, tech=tech, stage=key)
        if stands:
            break
    return stands


def _ways(shop: Shop, chosen: list[targets.Stand]) -> list[tuple[str, str, str]]:
    """For each characteristic once: its name, what good looks like, how it is measured."""
    told = {str(one.band["characteristic"]): one.band for one in chosen}
    return [
        (shop.characteristic_name(key), coaching.looks_like(band), coaching.how(band)) for key, band in told.items()
    ]


def _gauges(shop: Shop, chosen: list[targets.Stand]) -> list[str]:
    """What the gauge takes of each spread, characteristic by characteristic."""
    told = {}
    for one in chosen:
        if len(one.values) > 1:
            key = str(one.band["characteristic"])
            part, what = desk.ask(gauge_part.gauge_part, characteristic=key, sd=one.sd), shop.characteristic_name(key)
            told[what] = coaching.gauge_takes(part.share if part else None, part.study if part else "", what)
    return list(told.values())


def _sources(shop: Shop, chosen: list[targets.Stand]) -> list[str]:
    """Where the targets come from, those of one source together."""
    told: dict[str, list[str]] = {}
    for one in chosen:
        row = one.band
        what = sentences.characteristic(shop, str(row["characteristic"]), str(row["position"]))
        told.setdefault(coaching.comes_from(row, shop), []).append(f"{what}, {row['model']}")
    return [f"{'; '.join(dict.fromkeys(names))}: {source}." for source, names in told.items()]


def _practice(stand: targets.Stand) -> str:
    model, stage = str(stand.band["model"]), str(stand.band["stage"])
    return coaching.practice(desk.ask(targets.practice_set, model=model, stage=stage), model)


def choose(stands: list[targets.Stand], new_at: set[str]) -> list[targets.Stand]:
    """At most three: of stages the tech is new at first, in the order of the Bench page."""
    return sorted(targets.foremost_first(stands), key=lambda one: one.band["stage"] not in new_at)[:MOST]


def _new_at(tech: str) -> set[str]:
    new = desk.ask(learning_curves.new_techs)
    return set(new.filter(pl.col("tech") == tech)["stage"].to_list())


def _headline(shop: Shop, name: str, chosen: list[targets.Stand]) -> str:
    stages = list(dict.fromkeys(shop.stage_name(str(stand.band["stage"])).lower() for stand in chosen))
    many = f"{numbers.in_words(len(chosen))} {'target' if len(chosen) == 1 else 'targets'}"
    return f"{name}: {many} at {' and '.join(stages)}"


def _target(made: Paper, stand: targets.Stand, shop: Shop) -> dict[str, Any]:
    row, say = stand.band, sentences_targets.standing(shop, stand)
    what = sentences.characteristic(shop, str(row["characteristic"]), str(row["position"]))
    return {
        "what": what,
        "model": row["model"],
        "stage": shop.stage_name(str(row["stage"])),
        "target": sentences_targets.target(shop, row),
        "hold": sentences_targets.hold(shop, row, with_mm=True),
        "gauge": row["gauge"] or "gauge not named",
        "say": say,
        "word": parts.MARKS[sentences_targets.MARKS[stand.verdict]],
        "mark": made.mark(PICTURES[stand.verdict]),
        "chart": made.chart(band(bench_parts.band_view(stand, shop)), f"{what}, {row['model']}: {say}"),
        "beside": " ".join(
            text for text in (coaching.left_out(shop, stand), coaching.signed_off(_signed(stand), shop, row)) if text
        ),
    }


def _signed(stand: targets.Stand) -> list[dict[str, Any]]:
    lines = desk.here().snapshot().lines(*coaching.SIGNINGS)
    return lines.filter((pl.col("tech") == stand.tech) & (pl.col("stage") == stand.band["stage"])).to_dicts()


def _minutes(shop: Shop, tech: str, stage: str) -> str:
    """Minutes, last: with the curve of practice where the tech is new there."""
    where = shop.stage_name(stage)
    try:
        if stage not in _new_at(tech):
            raise UnusableData("not new here")
        return f"{where}: {practice_words.minutes(desk.ask(learning_curves.learning_curve, stage=stage, tech=tech))}"
    except UnusableData:
        rows = desk.ask(techs.people).filter((pl.col("stage") == stage) & (pl.col("tech") == tech))
        told = sentences_bench.timed(rows.row(0, named=True) if len(rows) else None)
        return f"{where}: {told[:1].lower()}{told[1:]}"
