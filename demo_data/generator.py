"""The demo shop, made: shop files and weekly logs from one seed. The same seed gives the same bytes."""

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numpy as np
import polars as pl

from demo_data import scenario as shop
from demo_data.climate import ROOMS, Climate, season
from demo_data.dirt import Speck, soiled
from demo_data.flow import FINAL, PACKING, RECEIVING, Chance, Instruments, Visits, base_visits, clocked, intake
from demo_data.measures import SET_STAGE, Measures, measured
from demo_data.sheets import Sheet, Writer
from demo_data.studies import gauge_checks, gauge_studies
from demo_data.troubles import Trouble, early_ends, left_behind, walked

TEMPLATES = ("shop.toml", "specs.csv", "changes.csv")
SEPARATOR = {"receiving": ",", "bench": ";", "playtest": ",", "final": ";", "study": ","}


@dataclass(frozen=True)
class Truth:
    """What really happened in the demo shop, before anyone wrote it down."""

    days: np.ndarray  # working days, datetime64[D]
    instruments: Instruments
    visits: Visits
    measures: Measures
    air: Climate
    chance: Chance


def truth(*, weeks: int = shop.WEEKS, seed: int = shop.SEED) -> Truth:
    """Simulate the last `weeks` weeks up to the last day in planted.toml, a Friday.

    Raises ValueError where weeks is below 1.
    """
    if weeks < 1:
        raise ValueError(f"wanted at least one week; got {weeks}")
    days = shop.working_days(weeks)
    rng = np.random.default_rng([seed, weeks])
    air = season(rng, days)
    instruments = intake(rng, days)
    chance = Chance(seed, len(instruments.model))
    plain = base_visits(rng, instruments)
    clocked(plain, instruments, days, chance)
    troubles = left_behind(rng, plain, instruments, days)
    ends = early_ends(rng, plain, instruments)
    for number, trouble in out_of_limits(
        rng, plain, measured(plain, instruments, air, days, chance), instruments, days
    ).items():
        troubles.setdefault(number, trouble)
    visits = walked(rng, plain, troubles, ends, len(instruments.model))
    clocked(visits, instruments, days, chance)
    measures = measured(visits, instruments, air, days, chance)
    end_of_log = int((days[-1] - days[0]).astype(int)) * 1440 + 17 * 60
    lost = (chance.rng("lost cards").random(len(visits)) < shop.SHARE_CARD_LOST) & (visits.outcome == "pass")
    seen = np.flatnonzero((visits.finish < end_of_log) & ~(lost & ~np.isin(visits.stage, (RECEIVING, FINAL, PACKING))))
    return Truth(days, instruments, visits.only(seen), _only(measures, seen), air, chance)


def _only(measures: Measures, rows: np.ndarray) -> Measures:
    place = np.full(len(measures.gauge), -1)
    place[rows] = np.arange(len(rows))
    played = place[measures.played]
    columns = {name: values[rows] for name, values in measures.columns.items()}
    return Measures(columns, measures.gauge[rows], played[played >= 0], measures.frets[played >= 0])


def out_of_limits(
    rng: np.random.Generator, visits: Visits, measures: Measures, instruments: Instruments, days: np.ndarray
) -> dict[int, Trouble]:
    """Instruments that final inspection sends back or mends because a gauge says so: about half of those outside."""
    model = instruments.model[visits.instrument]
    family = np.array(shop.FAMILY)[model]
    at = np.flatnonzero(visits.stage == FINAL)
    found: dict[int, Trouble] = {}
    heeded = {"action": 0.8, "nut": 0.6, "intonation": 0.35}
    specs = pl.read_csv(files("demo_data").joinpath("specs.csv").read_bytes(), infer_schema=False)
    specs = specs.filter(pl.col("characteristic").is_in(list(heeded)))
    for row in specs.sort("model", "from_date", nulls_last=False).iter_rows(named=True):
        name = row["characteristic"]
        mine = at[(np.array(shop.MODELS)[model[at]] == row["model"]) if row["model"] else (family[at] == row["family"])]
        if row["from_date"]:
            mine = mine[days[0] + visits.finish[mine] // 1440 >= np.datetime64(row["from_date"])]
        values = measures.columns[f"{name} {row['position']}"][mine]
        low, high = values < float(row["lower"]) - 1e-9, values > float(row["upper"]) + 1e-9
        for number in instruments_of(visits, mine[~(low | high)], found, name, row["position"]):
            del found[number]  # a later row of specs.csv, that of the model, finds it in order
        heed = rng.random(len(mine)) < heeded[name]
        for place in np.flatnonzero((low | high) & heed):
            words = {
                "action": "action out after settling",
                "nut": "sharp at first frets" if high[place] else "open-string buzz",
                "intonation": "sharp at 12" if high[place] else "flat at 12",
            }
            found[int(visits.instrument[mine[place]])] = Trouble(SET_STAGE[name], FINAL, words[name], row["position"])
    return found


def instruments_of(visits: Visits, rows: np.ndarray, found: dict[int, Trouble], name: str, position: str) -> list[int]:
    """Those of `found` among `rows` whose trouble is of that characteristic and position."""
    mine = set(visits.instrument[rows].tolist())
    return [
        number
        for number, trouble in found.items()
        if number in mine and trouble.cause == SET_STAGE[name] and trouble.where == position
    ]


def _frame(sheet: Sheet) -> pl.DataFrame:
    frame = pl.DataFrame({name: pl.Series(name, values.tolist(), dtype=pl.String) for name, values in sheet.items()})
    return frame.with_columns(pl.when(pl.all() != "").then(pl.all()))  # an empty cell is empty, not a pair of quotes


def sheets(told: Truth) -> list[tuple[str, str, Sheet, list[Speck]]]:
    """(file name, separator, sheet, spoilt rows) of every log, in the order the shop files them."""
    made: list[tuple[str, str, Sheet, list[Speck]]] = []
    writer = Writer(told.instruments, told.visits, told.measures, told.air, told.days, told.chance)
    rng = told.chance.rng("dirt")
    for kind, period, sheet in writer.files():
        name = f"{kind}_{period}.csv"
        made.append((name, SEPARATOR[kind], *soiled(rng, sheet, kind, name)))
    first, last = str(told.days[0])[:7], str(told.days[-1])[:7]
    for name, sheet in gauge_studies(told.chance.rng("studies")).items():
        if first <= name.split("_")[1] <= last:
            made.append((name, SEPARATOR["study"], sheet, []))
    return made


def _write(folder: Path, name: str, frame: pl.DataFrame, separator: str = ",") -> Path:
    """Cells stand without quotes, as people type them (4/64"), but in a file that holds a lone ditto mark."""
    path = folder / name
    dittos = any(
        frame.select((column == '"').any()).item()
        for column in (pl.col(n) for n, t in frame.schema.items() if t == pl.String)
    )
    frame.write_csv(path, separator=separator, line_terminator="\n", quote_style="necessary" if dittos else "never")
    return path


def lots_table(told: Truth) -> pl.DataFrame:
    """lots.csv: every lot that came to the bench."""
    rod = ["slack" if model["rod"] else "no rod" for model in shop.SHOP["model"]]
    rows = [
        (
            shop.SUPPLIERS[lot.supplier],
            lot.name,
            shop.MODELS[lot.model],
            str(lot.received_on),
            lot.quantity,
            rod[lot.model],
            lot.hours_acclimatised,
            "0.25",
        )
        for lot in told.instruments.lots
    ]
    names = ["supplier", "lot", "model", "received_on", "quantity", "rod_state", "hours_acclimatised", "agreed_limit"]
    return pl.DataFrame(rows, schema=names, orient="row")


def climate_table(told: Truth) -> pl.DataFrame:
    """climate.csv: both rooms, every hour of the shop's clock, up to the last evening."""
    air = told.air
    hours = air.rh.shape[1] - 24 + 18
    at = pl.Series(
        "at", air.first.astype("datetime64[ms]") + np.arange(hours) * np.timedelta64(3_600_000, "ms")
    ).dt.strftime("%Y-%m-%d %H:%M")
    parts = [
        pl.DataFrame(
            {
                "at": at,
                "room": [room] * hours,
                "rh": air.rh[place, :hours],
                "temperature": air.temperature[place, :hours],
            }
        )
        for place, room in enumerate(ROOMS)
    ]
    return pl.concat(parts)


def write_shop(folder: Path, *, weeks: int = shop.WEEKS, seed: int = shop.SEED) -> list[Path]:
    """Write the shop files into `folder` and the logs into `folder / "logs"`; no store.

    weeks : so many weeks up to the last day in planted.toml; seed : any other gives another shop with the same plants.
    Returns the logs in the order the shop files them. Raises ValueError where weeks is below 1.
    """
    told = truth(weeks=weeks, seed=seed)
    logs = folder / "logs"
    logs.mkdir(parents=True, exist_ok=True)
    for name in TEMPLATES:
        (folder / name).write_bytes(files("demo_data").joinpath(name).read_bytes())
    _write(folder, "lots.csv", lots_table(told))
    _write(folder, "climate.csv", climate_table(told))
    (folder / "cards").mkdir(exist_ok=True)
    checked = gauge_checks(told.chance.rng("gauge checks"), told.days)
    _write(folder / "cards", "gauge_checks.csv", pl.DataFrame(checked, ["at", "gauge", "value", "who"], orient="row"))
    return [_write(logs, name, _frame(sheet), separator) for name, separator, sheet, _ in sheets(told)]
