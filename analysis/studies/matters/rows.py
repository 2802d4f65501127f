"""Two tables of the figures: `matters`, a row a matter, and `signals` with what each moves together with."""

import polars as pl

from analysis.studies.drift.signals import FOUND, signals
from analysis.studies.drift.streams import STREAM
from analysis.studies.matters.matters import ended_matters, matters, moves_with, open_matters
from analysis.studies.matters.records import Candidate, Matter
from analysis.studies.matters.register import register
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

MATTERS: dict[str, pl.DataType] = {
    "matter": pl.String(),
    "opened_at": TIME,
    "closed_at": TIME,
    "ended_at": TIME,
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
    "a_week": pl.Float64(),
    "a_week_low": pl.Float64(),
    "a_week_high": pl.Float64(),
    "rests_on": pl.Date(),
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
SIGNAL = [*STREAM, "chart", "rule", "opened_at", "serial", "value", "closed_at", "began_at", "began_low",
"began_high", "size",
          "over"]  # fmt: skip
JOIN = "; "


def matter_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`matters` of the figures: a row a matter, by opening. ended_at: the first reading without its cause, null
    while it lasts or where no reading says when; closed_at: when that was known. probability: that one of those
    named in `cause` is right, null where none is named. With [people] show = none a cause that is a person stands
    without a value. size: off the baseline on the average since it began; of what creeps where it stands by now.
    a_week: how much further it moves each week (95 %: a_week_low, a_week_high), null where it does not creep, 0
    where it came to rest on `rests_on`.
    """
    nobody = snapshot.shop.people.show == "none"
    state = {one.key: one.state for one in snapshot.once(register)}
    rows = [_row(one, nobody=nobody) | {"state": state.get(one.key, one.state)} for one in snapshot.once(matters)]
    return pl.DataFrame(rows, schema=MATTERS).sort("opened_at", "matter")


def _row(one: Matter, *, nobody: bool) -> dict[str, object]:
    named, creeping = one.moves_with.named, one.creeping
    return {
        "matter": one.key,
        "opened_at": one.opened_at,
        "closed_at": one.closed_at,
        "ended_at": one.ended_at,
        "cause": JOIN.join(cause.name for cause in named),
        "cause_value": JOIN.join(_value(cause, nobody) for cause in named),
        "probability": min(1.0, sum(cause.probability for cause in named)) if named else None,
        "characteristic": JOIN.join(one.characteristics),
        "positions": JOIN.join(one.positions),
        "models": JOIN.join(one.models),
        "stages": JOIN.join(one.stages),
        "size": one.size,
        "size_low": one.size_low,
        "size_high": one.size_high,
        "a_week": creeping.a_week if creeping else None,
        "a_week_low": creeping.a_week_low if creeping else None,
        "a_week_high": creeping.a_week_high if creeping else None,
        "rests_on": creeping.rests_on if creeping else None,
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
    judged = snapshot.once(signals)
    schema = {name: FOUND[name] for name in SIGNAL} | {"moves_with": pl.String(), "moves_with_value": pl.String()}
    if judged is None:
        return pl.DataFrame(schema=schema)
    nobody = snapshot.shop.people.show == "none"
    moves = snapshot.once(moves_with)
    parts = []
    for name, frame in (("found", judged.found), ("others", judged.others)):
        named = [moves[name, row].named if (name, row) in moves else [] for row in range(len(frame))]
        parts.append(
            frame.select(SIGNAL).with_columns(
                moves_with=pl.Series([JOIN.join(one.name for one in each) for each in named], dtype=pl.String),
                moves_with_value=pl.Series(
                    [JOIN.join(_value(one, nobody) for one in each) for each in named], dtype=pl.String
                ),
            )
        )
    return pl.concat(parts).cast(schema).sort("opened_at", *STREAM, "chart")  # type: ignore[arg-type]


def _value(one: Candidate, nobody: bool) -> str:
    return "" if nobody and one.of_people else one.value


def open_matter_of(snapshot: Snapshot) -> dict[tuple[str, int], Matter]:
    """The same of matters with an open signal only (of those that have ended too), which a page is not kept waiting
    for.
    """
    still = [*snapshot.once(ended_matters), *snapshot.once(open_matters)]
    return {(member.table, member.row): one for one in still for member in one.signals}
