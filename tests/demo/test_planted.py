"""What planted.toml lists is in the shop's truth with its place, date and size; all else stands still."""

from functools import cache

import numpy as np
import pytest
from scipy import stats

from demo_data import scenario as shop
from demo_data.flow import FINAL, PLAY, RECEIVING
from demo_data.generator import Truth, truth
from demo_data.measures import BRIDGE, INTONATION, NUT, STRAIGHTENING, on_day
from demo_data.scenario import MODELS, PLACE, PLANTED, TECH


@cache
def told() -> Truth:
    return truth()


def rows(model: str, stage: int) -> np.ndarray:
    """First passes of a model at a stage, in time order."""
    t = told()
    found = np.flatnonzero(
        (t.instruments.model[t.visits.instrument] == MODELS.index(model))
        & (t.visits.stage == stage)
        & (t.visits.repeat == 0)
    )
    return found[np.argsort(t.visits.finish[found], kind="stable")]


def series(name: str, model: str, stage: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(rows, dates, values) of the readings there are."""
    at = rows(model, stage)
    values = told().measures.columns[name][at]
    at, values = at[~np.isnan(values)], values[~np.isnan(values)]
    return at, on_day(told().visits.finish[at], told().days), values


def setter(at: np.ndarray, stage: int) -> np.ndarray:
    """The tech of each instrument's first visit at the stage where it was set."""
    v = told().visits
    set_by = np.full(len(told().instruments.model), shop.NOBODY)
    first = (v.stage == stage) & (v.repeat == 0)
    set_by[v.instrument[first]] = v.tech[first]
    return set_by[v.instrument[at]]


@pytest.mark.parametrize("stage", [BRIDGE, PLAY])
def test_treble_action_of_one_model_steps_up(stage: int) -> None:
    plant = PLANTED["action_step"]
    _, date, value = series("action treble", plant["model"], stage)
    after = date > np.datetime64(plant["from_date"])
    step = value[after].mean() - value[~after].mean()
    assert step == pytest.approx(plant["size"], abs=0.04)
    assert plant["size"] / value[~after].std(ddof=1) > 1.5
    assert np.sum(~after) / len(np.unique(date[~after])) > 10, "ten a day, so that it can be found within a week"
    _, date, other = series("action bass", plant["model"], stage)
    assert abs(other[date > np.datetime64(plant["from_date"])].mean() - other.mean()) < 0.03


@pytest.mark.parametrize("model", ["HERON-D", "HERON-OM", "DRAY-5", "KITE-M2", "PLOVER-C"])
def test_relief_of_one_model_alone_follows_humidity(model: str) -> None:
    plant = PLANTED["relief_humidity"]
    at, _, value = series("relief", model, FINAL)
    rh = told().air.rh_at(told().visits.finish[at], told().days[0], lag_hours=plant["lag_hours"])
    fit = stats.linregress(rh, value)
    wanted = plant["size"] if model == plant["model"] else 0.0
    assert fit.slope == pytest.approx(wanted, abs=4 * fit.stderr)
    assert (fit.slope > 5 * fit.stderr) == (model == plant["model"])


@pytest.mark.parametrize("model", PLANTED["rodless_air"]["models"])
def test_relief_without_a_rod_moves_with_the_air(model: str) -> None:
    plant = PLANTED["rodless_air"]
    assert not next(one for one in shop.SHOP["model"] if one["key"] == model)["rod"]
    at, _, value = series("relief", model, FINAL)
    rh = told().air.rh_at(told().visits.finish[at], told().days[0], lag_hours=plant["lag_hours"])
    fit = stats.linregress(rh, value)
    assert fit.slope == pytest.approx(plant["size"], abs=4 * fit.stderr)


def test_one_lot_came_bowed() -> None:
    t, plant = told(), PLANTED["bowed_lot"]
    lot = next(row for row in t.instruments.lots if row.name == plant["lot"])
    assert (MODELS[lot.model], shop.SUPPLIERS[lot.supplier]) == (plant["model"], plant["supplier"])
    assert lot.opened >= np.datetime64(plant["from_date"])
    for edge in ("bass", "treble"):
        values, lots = t.measures.columns[f"neck_bow {edge}"], t.instruments.lot[t.visits.instrument]
        known = ~np.isnan(values) & (t.visits.stage == RECEIVING)
        means = {
            name: values[known & (lots == name)].mean()
            for name in np.unique(lots[known])
            if np.sum(known & (lots == name)) >= 20
        }
        others = np.mean([mean for name, mean in means.items() if name != plant["lot"]])
        assert max(means, key=means.__getitem__) == plant["lot"]
        assert means[plant["lot"]] - others == pytest.approx(plant["size"], abs=0.03)


def test_one_tech_sets_intonation_with_twice_the_spread() -> None:
    plant = PLANTED["wide_tech"]
    spreads: dict[str, list[float]] = {name: [] for name in shop.TEAMS["intonation"]}
    for model in ("HERON-OM", "HERON-D", "DRAY-5", "PLOVER-C"):
        at, _, value = series("intonation 1", model, FINAL)
        by = setter(at, INTONATION)
        for name in spreads:
            spreads[name].append(value[by == TECH[name]].std(ddof=1))
    mean = {name: float(np.mean(sd)) for name, sd in spreads.items()}
    others = np.mean([sd for name, sd in mean.items() if name != plant["tech"]])
    assert mean[plant["tech"]] / others == pytest.approx(plant["size"], rel=0.1)


def test_nut_slotting_causes_most_rework_and_more_from_one_tech() -> None:
    v, plant = told().visits, PLANTED["nut_rework"]
    back = v.outcome == "send back"
    caused = np.where(v.cause[back] != "", v.cause[back], v.sent_back_to[back])
    names, count = np.unique(caused.astype(str), return_counts=True)
    order = np.argsort(-count)
    assert names[order[0]] == plant["stage"]
    assert count[order[0]] > 1.3 * count[order[1]]
    share = {}
    sent = np.unique(v.instrument[np.flatnonzero(back)[caused == plant["stage"]]])
    nut = np.flatnonzero((v.stage == NUT) & (v.repeat == 0))
    for name in shop.TEAMS["nut_slotting"]:
        mine = v.instrument[nut[v.tech[nut] == TECH[name]]]
        share[name] = np.isin(mine, sent).mean()
    others = np.mean([value for name, value in share.items() if name != plant["tech"]])
    assert share[plant["tech"]] > 1.6 * others


@pytest.mark.parametrize("model", [model for model in MODELS if model != "HERON-OO"])
@pytest.mark.parametrize("edge", ["bass", "treble"])
def test_banjos_alone_lose_action_over_the_rest(model: str, edge: str) -> None:
    t, plant = told(), PLANTED["banjo_rest"]
    before = np.full(len(t.instruments.model), np.nan)
    after = before.copy()
    for stage, values in ((PLAY, before), (FINAL, after)):
        at = rows(model, stage)
        values[t.visits.instrument[at]] = t.measures.columns[f"action {edge}"][at]
    lost = (after - before)[~np.isnan(after - before)]
    wanted = plant["size"] if model in plant["models"] else 0.0
    assert lost.mean() == pytest.approx(wanted, abs=4 * lost.std(ddof=1) / np.sqrt(len(lost)))


def test_one_gauge_is_too_coarse_and_no_other() -> None:
    plant, v = PLANTED["coarse_gauge"], told().visits
    for name, values in told().measures.columns.items():
        for stage in np.unique(v.stage[~np.isnan(values)]):
            for model in MODELS:
                at, _, read = series(name, model, int(stage))
                if len(read) < 100:
                    continue
                steps = np.unique(np.round(read, 6))
                step = np.diff(steps).min()
                coarse = step > read.std(ddof=1)
                assert coarse == (name.startswith("action") and model in plant["models"]), (name, model, stage, len(at))


def test_the_target_of_one_model_was_lowered_and_the_benches_followed() -> None:
    plant = PLANTED["target_change"]
    for edge in ("bass", "treble"):
        _, date, value = series(f"action {edge}", plant["model"], BRIDGE)
        after = date >= np.datetime64(plant["from_date"])
        assert value[after].mean() - value[~after].mean() == pytest.approx(plant["size"], abs=0.02)


def test_bridges_of_one_model_stood_forward_for_two_weeks() -> None:
    plant = PLANTED["bridge_forward"]
    sharp = 1200 / np.log(2) * plant["size"] / plant["scale"]
    assert sharp == pytest.approx(3.93, abs=0.005)
    for string in range(1, 5):
        _, date, value = series(f"intonation {string}", plant["model"], INTONATION)
        then = (date >= np.datetime64(plant["from_date"])) & (date <= np.datetime64(plant["to_date"]))
        assert value[then].mean() - value[~then].mean() == pytest.approx(sharp, abs=0.7)


def test_the_play_test_shows_the_bridge_growing_up_the_neck() -> None:
    t, plant = told(), PLANTED["bridge_forward"]
    at = t.measures.played
    date = on_day(t.visits.finish[at], t.days)
    mine = t.instruments.model[t.visits.instrument[at]] == MODELS.index(plant["model"])
    then = (date > np.datetime64(plant["from_date"]) + 1) & (date <= np.datetime64(plant["to_date"]))
    rise = np.nanmean(t.measures.frets[mine & then][:, :4], axis=(0, 1)) - np.nanmean(
        t.measures.frets[mine & ~then][:, :4], axis=(0, 1)
    )
    far = 2.0 ** (np.array(shop.FRETS) / 12) - 1
    slope = np.polyfit(far, rise, 1)[0]
    assert slope == pytest.approx(1731.234 * plant["size"] / plant["scale"], abs=1.2)


def test_new_techs_are_slow_at_first_and_get_quicker() -> None:
    v, t = told().visits, told()
    stage = PLACE["stringing"]
    mine = np.flatnonzero((v.stage == stage) & (v.tech == TECH["T11"]))
    day = on_day(v.finish[mine], t.days)
    early, late = (
        v.minutes[mine][day < np.datetime64("2026-08-24")],
        v.minutes[mine][day >= np.datetime64("2026-11-01")],
    )
    old = v.minutes[(v.stage == stage) & (v.tech == TECH["T10"])].mean()
    assert early.mean() > 1.4 * old
    assert late.mean() < 1.15 * old


def test_what_is_not_planted_stands_still() -> None:
    """Means of the halves of the time agree, and neighbours are independent, on every stream that no row touches."""
    t = told()
    shifts, lags = [], []
    for name, values in t.measures.columns.items():
        characteristic, _, position = name.partition(" ")
        position = "" if position == "found" else position
        if position == "left":
            continue
        for stage in np.unique(t.visits.stage[~np.isnan(values)]):
            for model in MODELS:
                _, _, read = series(name, model, int(stage))
                if len(read) < 200 or touched(characteristic, position, model, shop.STAGES[int(stage)]):
                    continue
                half = len(read) // 2
                shifts.append(
                    (read[half:].mean() - read[:half].mean())
                    / (read.std(ddof=1) * np.sqrt(1 / half + 1 / (len(read) - half)))
                )
                lags.append(np.corrcoef(read[1:], read[:-1])[0, 1] * np.sqrt(len(read)))
    assert len(shifts) > 60
    for statistic in (np.array(shifts), np.array(lags)):
        assert 0.75 < statistic.std() < 1.25
        assert np.abs(statistic).max() < 4.2


def test_techs_differ_only_where_it_is_planted() -> None:
    ratios = []
    for name, set_at in (("action bass", BRIDGE), ("nut bass", NUT), ("relief", STRAIGHTENING)):
        for model in ("HERON-OM", "KITE-M2", "DRAY-5"):
            at, _, value = series(name, model, FINAL)
            by = setter(at, set_at)
            groups = [value[by == tech] for tech in np.unique(by) if np.sum(by == tech) > 20]
            ratios.append(stats.f_oneway(*groups).pvalue)
    assert min(ratios) > 0.05 / len(ratios) / 5


def touched(characteristic: str, position: str, model: str, stage: str) -> bool:
    """Does a row of planted.toml touch the stream over all techs?"""
    for plant in PLANTED.values():
        for touch in plant.get("touches", []):
            if touch["characteristic"] == characteristic and all(
                not touch[key] or value in touch[key]
                for key, value in (("positions", position), ("models", model), ("stages", stage), ("techs", ""))
            ):
                return True
    return False
