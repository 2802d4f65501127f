"""What the gauges say: the state that a bench leaves, what time and air do to it, the hand that reads, and the step of
the gauge.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from demo_data import scenario as shop
from demo_data.climate import Climate
from demo_data.flow import FINAL, PLAY, RECEIVING, RETENSION, Chance, Instruments, Visits
from demo_data.scenario import MODELS, PLACE, PLANTED, SCALE, TECH

HEAD, STRAIGHTENING = PLACE["head_tension"], PLACE["neck_straightening"]
NUT, BRIDGE, INTONATION = PLACE["nut_slotting"], PLACE["bridge_fitting"], PLACE["intonation"]
EDGES = ("bass", "treble")
CENT = 1200 / np.log(2)
Keep = Callable[[str, np.ndarray, np.ndarray], None]  # name of the column, values, where they are read


@dataclass
class Measures:
    """Readings as the gauges gave them, one column a characteristic and position, NaN where nothing was read. mm,
    cents.
    """

    columns: dict[str, np.ndarray]  # each (visits,): 'action bass', 'relief found', 'intonation 3', ...
    gauge: np.ndarray  # (visits,) the action gauge, '' where action is not read
    played: np.ndarray  # (m,) rows of visits played on several frets
    frets: np.ndarray  # (m, 6, 8) cents


def on_day(minutes: np.ndarray, days: np.ndarray) -> np.ndarray:
    """The local date of wall-clock minutes since the first midnight."""
    return np.asarray(days[0] + minutes // 1440)


def _stepped(values: np.ndarray, step: float | np.ndarray) -> np.ndarray:
    return np.rint(values / step) * step


def _last_set(visits: Visits, stage: int) -> np.ndarray:
    """Row of the last visit at `stage` up to each visit; the instrument's first visit where there was none."""
    anchor = (visits.stage == stage) | (np.diff(visits.instrument, prepend=-1) != 0)
    return np.maximum.accumulate(np.where(anchor, np.arange(len(visits)), 0))


def measured(visits: Visits, instruments: Instruments, air: Climate, days: np.ndarray, chance: Chance) -> Measures:
    """Every reading of every visit, planted shifts included."""
    model = instruments.model[visits.instrument]
    stage = visits.stage
    columns: dict[str, np.ndarray] = {}

    def keep(name: str, values: np.ndarray, where: np.ndarray) -> None:
        blank = chance.of(visits, f"blank {name}", lambda rng, size: rng.random(size)) < 0.004
        columns[name] = np.where(where & ~blank, values, np.nan)

    _bow(visits, instruments, chance, keep)
    _head(visits, model, chance, keep)
    angle = shop.NECK_ANGLE[model] + shop.SET_SD["neck_angle"] * chance.normal(visits, "neck angle set")
    angle += shop.READ_SD["neck_angle"] * chance.normal(visits, "neck angle read")
    there = (shop.NECK_ANGLE[model] > 0) & (stage == PLACE["neck_angle"])
    keep("neck_angle", _stepped(angle, shop.STEP["angle block"]), there)
    _relief(visits, instruments, air, days, chance, keep)
    gauge = _action(visits, model, days, chance, keep)

    set_nut = _last_set(visits, NUT)
    nut = np.zeros((len(visits), 2))
    for place, edge in enumerate(EDGES):
        nut[:, place] = (shop.NUT_SD[model] * chance.normal(visits, f"nut set {edge}"))[set_nut]
        value = shop.NUT[model, place] + nut[:, place] + shop.READ_SD["nut"] * chance.normal(visits, f"nut read {edge}")
        keep(f"nut {edge}", _stepped(value, shop.STEP["leaves"]), np.isin(stage, (NUT, FINAL)))
    at_twelve = _intonation(visits, model, days, chance, keep)
    played, frets = _play(visits, model, at_twelve, nut, chance)
    return Measures(columns, gauge, played, frets)


def _head(visits: Visits, model: np.ndarray, chance: Chance, keep: Keep) -> None:
    """The head as it was set, and a day later under its strings: fallen as it is found, on its mark again as it is
    left.
    """
    set_head = _last_set(visits, HEAD)
    state = shop.HEAD[model] + shop.SET_SD["head"] * chance.normal(visits, "head set")[set_head]
    read = shop.READ_SD["head"] * chance.normal(visits, "head read")
    banjo, again = shop.HEAD[model] > 0, visits.stage == RETENSION
    found = state + read - np.where(again, shop.HEAD_FALLS, 0.0)
    keep("head", _stepped(found, shop.STEP["head dial"]), banjo & np.isin(visits.stage, (HEAD, RETENSION)))
    left = shop.HEAD[model] + shop.SET_SD["head"] * chance.normal(visits, "head set again")
    left += shop.READ_SD["head"] * chance.normal(visits, "head read again")
    keep("head left", _stepped(left, shop.STEP["head dial"]), banjo & again)


def _bow(visits: Visits, instruments: Instruments, chance: Chance, keep: Keep) -> None:
    bowed = PLANTED["bowed_lot"]
    shift = np.where(instruments.lot[visits.instrument] == bowed["lot"], bowed["size"], 0.0)
    neck = shop.BOW_NECK_SD * chance.normal(visits, "bow neck")
    for edge in EDGES:
        value = shop.BOW + shift + neck + shop.BOW_EDGE_SD * chance.normal(visits, f"bow {edge}")
        value += shop.READ_SD["bow"] * chance.normal(visits, f"bow read {edge}")
        keep(
            f"neck_bow {edge}",
            _stepped(value, shop.STEP["leaves"]),
            (visits.stage == RECEIVING) & (visits.outcome != "return"),
        )


def _relief(
    visits: Visits, instruments: Instruments, air: Climate, days: np.ndarray, chance: Chance, keep: Keep
) -> None:
    model, stage = instruments.model[visits.instrument], visits.stage
    damp, bowed = PLANTED["relief_humidity"], PLANTED["bowed_lot"]
    set_at = _last_set(visits, STRAIGHTENING)
    state = shop.RELIEF[model] + (shop.SET_SD["relief"] * chance.normal(visits, "relief set"))[set_at]
    rh = air.rh_at(visits.finish, days[0], lag_hours=damp["lag_hours"])
    rodless = PLANTED["rodless_air"]
    follows = np.where(model == MODELS.index(damp["model"]), damp["size"], 0.0)
    follows += np.where(np.isin(model, [MODELS.index(name) for name in rodless["models"]]), rodless["size"], 0.0)
    state_now = state + follows * (rh - 47.5)
    read = shop.READ_SD["relief"] * chance.normal(visits, "relief read")
    keep("relief", _stepped(state_now + read, shop.STEP["leaves"]), np.isin(stage, (PLAY, FINAL)))
    came = shop.RELIEF_FOUND + shop.RELIEF_FOUND_SD * chance.normal(visits, "relief found")
    came += np.where(instruments.lot[visits.instrument] == bowed["lot"], bowed["relief_size"], 0.0)
    keep("relief found", _stepped(came, shop.STEP["leaves"]), stage == STRAIGHTENING)
    keep("relief left", _stepped(state - shop.STRING_PULL + read, shop.STEP["leaves"]), stage == STRAIGHTENING)


def _action(visits: Visits, model: np.ndarray, days: np.ndarray, chance: Chance, keep: Keep) -> np.ndarray:
    stage = visits.stage
    step, target, rest, coarse = (
        PLANTED[key] for key in ("action_step", "target_change", "banjo_rest", "coarse_gauge")
    )
    set_at = _last_set(visits, BRIDGE)
    set_on = on_day(visits.start, days)[set_at]
    by_rule = np.isin(model, [MODELS.index(name) for name in coarse["models"]])
    gauge = np.where(by_rule, coarse["gauge"], np.where(stage == FINAL, "taper mm", "taper in"))
    size = np.where(
        by_rule, shop.STEP["rule 64"], np.where(stage == FINAL, shop.STEP["taper mm"], shop.STEP["taper in"])
    )
    reads = np.isin(stage, (BRIDGE, PLAY, FINAL))
    lowered = np.where(
        (model == MODELS.index(target["model"])) & (set_on >= np.datetime64(target["from_date"])), target["size"], 0.0
    )
    settles = np.isin(model, [MODELS.index(name) for name in rest["models"]])
    for place, edge in enumerate(EDGES):
        value = (
            shop.ACTION[model, place]
            + lowered
            + (shop.SET_SD["action"] * chance.normal(visits, f"action set {edge}"))[set_at]
        )
        if edge == step["position"]:
            value += np.where(
                (model == MODELS.index(step["model"])) & (set_on >= np.datetime64(step["from_date"])), step["size"], 0.0
            )
        settled = np.where(settles, rest["size"], 0.0) + shop.SETTLING_SD * chance.normal(visits, f"settling {edge}")
        value += np.where(stage == FINAL, settled, 0.0) + shop.READ_SD["action"] * chance.normal(
            visits, f"action read {edge}"
        )
        keep(f"action {edge}", _stepped(value, size), reads)
    return np.where(reads, gauge, "").astype(object)


def wide_factor() -> float:
    """How many times wider than the others' the planted tech's hand is, so that his readings have the planted
    spread.
    """
    noise, hand = shop.PLUCK_SD**2 / shop.PLUCKS, shop.BRIDGE_SD**2 + shop.STRING_SD**2
    return float(np.sqrt((PLANTED["wide_tech"]["size"] ** 2 * (hand + noise) - noise) / hand))


def _intonation(visits: Visits, model: np.ndarray, days: np.ndarray, chance: Chance, keep: Keep) -> np.ndarray:
    """Cents at fret 12 that the bridge's place gives each string, (visits, 6); the readings are kept on the way."""
    wide, forward = PLANTED["wide_tech"], PLANTED["bridge_forward"]
    set_at = _last_set(visits, INTONATION)
    set_on = on_day(visits.start, days)
    factor = np.where(visits.tech == TECH[wide["tech"]], wide_factor(), 1.0)
    shifted = (set_on >= np.datetime64(forward["from_date"])) & (set_on <= np.datetime64(forward["to_date"]))
    shift = np.where(shifted & (model == MODELS.index(forward["model"])), CENT * forward["size"] / SCALE[model], 0.0)
    shared = shop.BRIDGE_SD * chance.normal(visits, "bridge place")
    reads = np.isin(visits.stage, (INTONATION, FINAL))
    at_twelve = np.zeros((len(visits), 6))
    for string in range(6):
        own = shop.STRING_SD * chance.normal(visits, f"string {string + 1}")
        at_twelve[:, string] = ((shared + own) * factor + shift)[set_at]
        noise = shop.PLUCK_SD / np.sqrt(shop.PLUCKS) * chance.normal(visits, f"plucks {string + 1}")
        value = shop.STRING_OFFSET[string] + at_twelve[:, string] + noise
        keep(f"intonation {string + 1}", _stepped(value, shop.STEP["tuner"]), reads & (shop.STRINGS[model] > string))
    return at_twelve


def _play(
    visits: Visits, model: np.ndarray, at_twelve: np.ndarray, nut: np.ndarray, chance: Chance
) -> tuple[np.ndarray, np.ndarray]:
    """Single plucks on several frets for a sample: tuning, nut and bridge as the physics of a stopped string has it."""
    sample = chance.of(visits, "played", lambda rng, size: rng.random(size)) < shop.SHARE_PLAYED
    rows = np.flatnonzero((visits.stage == PLAY) & (visits.repeat == 0) & sample)
    rng = chance.rng("frets")
    fret = np.array(shop.FRETS)
    stopped = fret > 0
    far = 2.0 ** (fret / 12) - 1
    hook = np.divide(far[1], far, out=np.zeros(len(fret)), where=stopped)
    tuning = rng.normal(scale=0.8, size=(len(rows), 6, 1))
    stretch = rng.normal(scale=0.4, size=(len(rows), 6, 1)) * stopped
    edge = np.linspace(1, 0, 6)[None, :]  # string 1 is the treble one
    high = (
        nut[rows, 1][:, None] * edge + nut[rows, 0][:, None] * (1 - edge)
    ) * 7.0  # cents at fret 1 per mm of nut height
    usual = 4.0 * hook + shop.STRING_OFFSET[:, None] * far
    cents = usual + tuning + stretch + at_twelve[rows][:, :, None] * far + high[:, :, None] * hook
    cents = _stepped(cents + rng.normal(scale=shop.PLUCK_SD, size=cents.shape), shop.STEP["tuner"])
    cents[shop.STRINGS[model[rows]][:, None] <= np.arange(6)[None, :]] = np.nan
    short = shop.SHORT_STRING[model[rows]][:, None] == np.arange(1, 7)[None, :]  # it has no fret where it does not lie
    without = (fret[None, :] > 0) & (fret[None, :] <= shop.STARTS_AT[model[rows]][:, None])
    cents[short[:, :, None] & without[:, None, :]] = np.nan
    return rows, cents


SET_STAGE = {"relief": STRAIGHTENING, "action": BRIDGE, "nut": NUT, "intonation": INTONATION}
