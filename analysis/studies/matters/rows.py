"""Two tables of the figures: `matters`, a row a matter, and `signals` with what each moves together with."""

import polars as pl

from analysis.studies.drift import signals as drift_signals
from analysis.studies.drift.signals import signals
from analysis.studies.matters.matters import matters
from analysis.studies.matters.records import Matter
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

MATTERS: dict[str, pl.DataType] = {
    "matter": pl.String(),
    "opened_at": TIME,
    "closed_at": TIME,
    "cause": pl.String(),
    "cause_value": pl.String(),
    "probability": pl.Float64(),
    "characteristic": pl.String(),
    "positions": pl.String(),
    "models": pl.String(),
    "stages": pl.String(),
    "size": pl.Float64(),
    "size_low": pl.Float64(),
    "size_high": pl.Float64(),
    "share_of_tolerance": pl.Float64(),
    "began_at": TIME,
    "began_low": TIME,
    "began_high": TIME,
    "signals": pl.Int64(),
    "streams": pl.Int64(),
    "state": pl.String(),
    "action": pl.String(),
    "owner": pl.String(),
    "due": pl.Date(),
}
JOIN = "; "


def matter_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`matters` of the figures: a row a matter, by opening. probability: that one of those named in `cause` is right,
    null where none is named. With [people] show = none a cause that is a person stands without a value.
    """
    nobody = snapshot.shop.people.show == "none"
    rows = [_row(one, nobody=nobody) for one in snapshot.once(matters)]
    return pl.DataFrame(rows, schema=MATTERS).sort("opened_at", "matter")


def _row(one: Matter, *, nobody: bool) -> dict[str, object]:
    named = one.moves_with.named
    return {
        "matter": one.key,
        "opened_at": one.opened_at,
        "closed_at": one.closed_at,
        "cause": JOIN.join(cause.name for cause in named),
        "cause_value": JOIN.join("" if nobody and cause.of_people else cause.value for cause in named),
        "probability": min(1.0, sum(cause.probability for cause in named)) if named else None,
        "characteristic": JOIN.join(one.characteristics),
        "positions": JOIN.join(one.positions),
        "models": JOIN.join(one.models),
        "stages": JOIN.join(one.stages),
        "size": one.size,
        "size_low": one.size_low,
        "size_high": one.size_high,
        "share_of_tolerance": one.share_of_tolerance,
        "began_at": one.began_at,
        "began_low": one.began_low,
        "began_high": one.began_high,
        "signals": len(one.signals),
        "streams": one.streams,
        "state": one.state,
        "action": one.action,
        "owner": one.owner,
        "due": one.due,
    }


def signal_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`signals` of the figures: a row a signal, with what its matter moves together with."""
    rows = snapshot.once(drift_signals.signal_rows)
    judged = snapshot.once(signals)
    if judged is None:
        return rows.with_columns(moves_with=pl.lit(""), moves_with_value=pl.lit(""))
    names = ["chart", "characteristic", "position", "model", "stage", "tech", "opened_at", "serial"]
    names += [name for name in ("over", "gauge") if name in rows.columns and name in judged.others.columns]
    told = []
    for one in snapshot.once(matters):
        named = one.moves_with.named
        words = (JOIN.join(cause.name for cause in named), JOIN.join(cause.value for cause in named))
        for member in one.signals:
            frame = judged.found if member.table == "found" else judged.others
            told.append((*(frame[name][member.row] for name in names), *words))
    schema = {name: rows.schema[name] for name in names} | {"moves_with": pl.String(), "moves_with_value": pl.String()}
    moves = pl.DataFrame(told, schema=schema, orient="row").unique(names, keep="first")
    joined = rows.join(moves, on=names, how="left", maintain_order="left", nulls_equal=True)
    return joined.with_columns(pl.col("moves_with", "moves_with_value").fill_null(""))


def moves_of(snapshot: Snapshot) -> dict[tuple[str, int], Matter]:
    """The matter of each signal, by table (found | others) and row."""
    return {(member.table, member.row): one for one in snapshot.once(matters) for member in one.signals}
