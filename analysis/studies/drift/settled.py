"""How charts stood before a day some weeks ago, kept beside the store: who judges a day's readings then walks each
chart on from there, and not once more from its first reading.

It is taken where all readings are judged, and holds for other versions of the store as far as what lies before that day
is the same, which is compared and not believed: what each stream says up to then (`story/marks.SAYS`), limits, widths
and budget of then. Where a stream or a whole characteristic differs, where a signal was open on that day or one has
opened since, and where a person closed one, all of its readings are judged (`judged.py`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import blake2b
from pathlib import Path

import numpy as np
import polars as pl

from analysis.methods.segments import Ints, Rows, lengths
from analysis.studies.drift.judged import Pass
from analysis.studies.drift.looked import judges_a_stream
from analysis.studies.drift.reckoned import Reckoned
from analysis.studies.drift.standing import (
    CHART,
    Standing,
    Whole,
    before,
    full,
    lives_of,
    margins,
    of_streams,
    pooled_by,
    said,
    told_by,
)
from analysis.studies.drift.streams import STREAM, Streams
from analysis.studies.drift.watching import POOLED
from analysis.studies.drift.widths import week_numbers
from analysis.studies.drift.widths_then import Law, law
from analysis.studies.story.calendar import first_day
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import KeptStates, Snapshot, code_of

LEAST = 1_000_000  # readings of streams from which on it pays
LAG = timedelta(weeks=2)  # readings that came in so late change nothing of what is kept
HOLDS = timedelta(weeks=8)  # then it is taken anew
PLACED = ("reading", "began_reading", "first_reading", "last_reading")  # columns of signals that are rows of readings


@dataclass(frozen=True)
class Settled:
    """The tables that are kept."""

    head: pl.DataFrame  # since (a moment), arl, first_week and weeks (up to the moment)
    streams: pl.DataFrame  # STREAM, n, says, full: of readings before it (`said`, `full`)
    charts: pl.DataFrame  # of streams: what they judge by (`told_by`), and `margins`
    own: pl.DataFrame  # stream (its row), average, judged: where the charts of streams stand
    lives: pl.DataFrame  # `lives_of`
    widths: pl.DataFrame  # baseline, of (a list, week by week): widths_then.Law.widths
    laws: pl.DataFrame  # name, of: widths_then.Law.factors
    names: pl.DataFrame  # pool_names.Hangs.names
    models: pl.DataFrame  # Hangs.models, and whether without what other signals tell (told)
    rows: pl.DataFrame  # stream (its row), place, told: Hangs.rows
    first: pl.DataFrame  # CHART, week: pooled charts of all readings, and the week of the first point of each
    counts: pl.DataFrame  # chart (its row in `first`), week, n: their points
    pooled: pl.DataFrame  # pooled charts without what other signals tell: `pooled_by`, average, judged, n, open,
    # and `margins`
    points: pl.DataFrame  # their n points, chart after chart: stream (its row), place, value
    found: pl.DataFrame  # signals of charts in `own` and `pooled` (`with_places`)
    account: pl.DataFrame  # their openings

    @property
    def since(self) -> datetime:
        """The moment before which all is as it was kept."""
        found: datetime = self.head["since"][0]
        return found

    @property
    def law(self) -> Law:
        """What widths came from up to that moment."""
        widths, factors = ({key: np.array(each) for key, each in rows.iter_rows()} for rows in (self.widths, self.laws))
        return Law(widths, factors)


TABLES = tuple(Settled.__annotations__)


def moment_of(shop: Shop, last: datetime) -> datetime:
    """The moment before which charts are kept, in a shop whose last reading was taken then: a week's begin."""
    day = first_day((last - LAG).astimezone(shop.zone).date(), shop)
    return datetime.combine(day, datetime.min.time(), shop.zone).astimezone(UTC)


def kept(snapshot: Snapshot, held: Streams) -> Settled | None:
    """What was kept last, if it still serves; None where there is none."""
    place = _place(snapshot, held)
    tables = place.of(_key(snapshot)) if place is not None else None
    if tables is None or set(tables) != set(TABLES):
        return None
    found = Settled(**tables)
    return found if found.since > moment_of(snapshot.shop, snapshot.as_of) - HOLDS else None


def serves(snapshot: Snapshot, held: Streams) -> bool:
    """Would it pay to keep how charts stand?"""
    return _place(snapshot, held) is not None


def keep(snapshot: Snapshot, held: Streams, found: Settled, lately: Whole) -> None:
    """Keep it in place of what was kept. lately : on what signals have opened since then."""
    place = _place(snapshot, held)
    if place is not None:
        place.keep(_key(snapshot), {name: getattr(found, name) for name in TABLES})
        keep_opened(snapshot, held, lately)


def opened_since(snapshot: Snapshot, held: Streams) -> Whole:
    """On what signals had opened since, when somebody last went on from what is kept."""
    place = _place(snapshot, held)
    tables = place.of(_key(snapshot) + " opened") if place is not None else None
    if tables is None:
        return Whole()
    return Whole(frozenset(tables["streams"].iter_rows()), frozenset(tables["charts"].iter_rows()))


def keep_opened(snapshot: Snapshot, held: Streams, opened: Whole) -> None:
    """Keep that."""
    place = _place(snapshot, held)
    if place is not None:
        named = {"streams": (STREAM, opened.streams), "charts": (CHART, opened.charts)}
        tables = {name: listed(of, rows) for name, (of, rows) in named.items()}
        place.keep(_key(snapshot) + " opened", tables)


def listed(names: Sequence[str], rows: Iterable[tuple[str, ...]]) -> pl.DataFrame:
    """Names as a table."""
    return pl.DataFrame(sorted(rows), schema=dict.fromkeys(names, pl.String()), orient="row")


def _place(snapshot: Snapshot, held: Streams) -> KeptStates | None:
    budgeted = snapshot.shop.judging.budget is not None and held.with_air is None
    serving = budgeted and snapshot.kept_tables is not None and len(held.values) >= LEAST
    return snapshot.kept_states if serving else None


def _key(snapshot: Snapshot) -> str:
    filed = snapshot.table("limits_on_file").rows()
    over = snapshot.kept_tables.laid_over() if snapshot.kept_tables is not None else ""
    told = blake2b(repr((snapshot.shop, filed, over, snapshot.laid_over)).encode(), digest_size=16).hexdigest()
    return repr((code_of(Path(__file__).parents[2], built_on=("numpy", "scipy", "polars")), told))


def settle(
    snapshot: Snapshot, held: Streams, since: datetime, found: Pass, told: tuple[pl.DataFrame, pl.DataFrame]
) -> Settled | None:
    """How charts stood before a moment, by a pass over all readings of which it was told what later ones hang on; None
    where no chart pools.

    told : signals and openings, as `opened.signals_of` gives them.
    """
    charts, over, fired, lived, allowance = found.charts, found.over, found.fired, found.lived, found.allowance
    first, laws = found.first, found.laws
    if charts is None or over is None or fired is None or lived is None or allowance is None:
        return None
    if first is None or laws is None or over.hangs is None:
        return None
    early = before(held, since)
    of_charts = early[charts.reading]
    stands = Standing.of(charts, of_charts, lived)
    weeks = week_numbers(held, snapshot.shop)
    near = margins(charts, of_charts, (weeks - allowance.first_week)[charts.reading], fired, lived)
    average = np.where(stands.judged > 0, fired.stood, 0.0)
    stream = charts.rows["stream"].to_numpy()
    cut = np.isin(np.arange(len(stream)), [row for _, row, _ in found.closings])
    one_era = np.bincount(held.eras.stream, minlength=len(held.starts)) == 1
    goes_on = (
        judges_a_stream(charts)
        & one_era[np.maximum(stream, 0)]
        & (stands.readings > charts.begin)
        & ~stands.open
        & ~cut
    )
    pools = (charts.rows["chart"] == POOLED).to_numpy()
    rows = charts.rows.with_row_index("chart_row").with_columns(pl.col("chart_row").cast(pl.Int64))
    last = int(weeks[early].max(initial=allowance.first_week)) - allowance.first_week + 1
    by = law(charts, allowance, laws, last, snapshot.shop.judging.ewma_weight, reckoned=Reckoned(snapshot))
    signals, account = (
        each.filter(pl.Series((goes_on | pools)[each["chart_row"].to_numpy()]), pl.col("opened_at") < since)
        for each in told
    )
    points = np.flatnonzero(of_charts & np.repeat(pools, lengths(charts.starts, len(charts.reading))))
    of_point, place_of_point = placed(held, charts.reading[points])
    hangs = {False: first.hangs, True: over.hangs}
    placed_rows = []
    for which, one in hangs.items():
        of, place = placed(held, one.rows)
        placed_rows.append(pl.DataFrame({"stream": of, "place": place, "told": np.full(len(of), which)}))
    every = said(snapshot, held, early)
    return Settled(
        head=pl.DataFrame(
            {"since": [since], "arl": [found.arl], "first_week": [allowance.first_week], "weeks": [last]}
        ),
        streams=every.with_columns(full=pl.Series(full(held, snapshot.shop.judging.baseline_readings))),
        charts=pl.concat([told_by(charts, early), near[of_streams(charts, early)]], how="horizontal"),
        own=pl.DataFrame({"stream": stream[goes_on], "average": average[goes_on], "judged": stands.judged[goes_on]}),
        lives=lives_of(charts, of_charts, lived),
        widths=pl.DataFrame({"baseline": list(by.widths), "of": [each.tolist() for each in by.widths.values()]}),
        laws=pl.DataFrame({"name": list(by.factors), "of": [each.tolist() for each in by.factors.values()]}),
        names=first.hangs.names,
        models=pl.concat([one.models.with_columns(told=pl.lit(which)) for which, one in hangs.items()]),
        rows=pl.concat(placed_rows),
        first=first.charts.select(CHART).with_columns(week=pl.Series(first.week)),
        counts=first.counts,
        pooled=pl.concat([pooled_by(over), near[np.flatnonzero(pools)]], how="horizontal").with_columns(
            average=pl.Series(average[pools]),
            judged=pl.Series(stands.judged[pools]),
            n=pl.Series(stands.readings[pools]),
            open=pl.Series(stands.open[pools] | cut[pools]),
        ),
        points=pl.DataFrame(
            {
                "stream": of_point.astype(np.int32),
                "place": place_of_point.astype(np.int32),
                "value": charts.plotted[points],
            }
        ),
        found=with_places(held, signals),
        account=account.join(rows.select("chart_row", "stream"), on="chart_row", how="left"),
    )


def placed(held: Streams, rows: Ints | Rows) -> tuple[Ints, Ints]:
    """The stream of some readings, and the place of each in it."""
    stream = held.readings.stream[rows].astype(np.int64)
    return stream, rows.astype(np.int64) - held.starts[stream]


def with_places(held: Streams, signals: pl.DataFrame) -> pl.DataFrame:
    """Signals whose readings are told by stream and place."""
    more: dict[str, pl.Series] = {}
    for name in PLACED:
        owner, place = placed(held, signals[name].to_numpy())
        more |= {f"{name}_owner": pl.Series(owner), f"{name}_place": pl.Series(place)}
    return signals.with_columns(**more)


def with_rows(held: Streams, signals: pl.DataFrame, number: Ints) -> pl.DataFrame:
    """Signals of `with_places` as rows of these streams; number : of each stream of then its number now."""
    rows = {
        name: pl.Series(held.starts[number[signals[f"{name}_owner"].to_numpy()]] + signals[f"{name}_place"].to_numpy())
        for name in PLACED
    }
    stream = signals["stream"].to_numpy()
    rows["stream"] = pl.Series(np.where(stream >= 0, number[np.maximum(stream, 0)], -1))
    return signals.with_columns(**rows).drop(f"{name}_{of}" for name in PLACED for of in ("owner", "place"))
