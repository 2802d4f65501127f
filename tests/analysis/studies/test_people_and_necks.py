"""Smaller answers that the Bench and Necks pages ask for, on one invented shop: the funnel's curve, the path of
evidence, one supplier's necks.
"""

import numpy as np
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.necks import bow, necks
from analysis.studies.people import first_work, learning_curves, targets
from dashboard.desk import desk
from tests.dashboard.pages import people_shop


@pytest.fixture
def snapshot(people_desk):
    return people_desk.snapshot()


def test_the_funnels_curve_passes_through_the_limits_of_its_tech(snapshot):
    row = first_work.first_work(snapshot).filter(tech="T09", stage="nut_slotting").row(0, named=True)
    grid, low, high = first_work.funnel_curve(snapshot, stage="nut_slotting", tech="T09", points=4001)
    nearest = int(np.abs(grid - row["expected"]).argmin())
    assert (low[nearest], high[nearest]) == pytest.approx((row["funnel_low"], row["funnel_high"]), abs=5e-3)
    assert bool((np.diff(high) < 1e-9).mean() > 0.9)  # a funnel: narrower the more is expected


def test_where_nothing_is_expected_there_is_no_funnel(snapshot):
    with pytest.raises(UnusableData, match="there is no funnel"):
        first_work.funnel_curve(snapshot, stage="receiving", tech="T01")


def test_the_path_of_evidence_ends_at_its_verdict(snapshot):
    for stand in targets.stands(snapshot, "T09"):
        path, shown, practise = targets.evidence(stand)
        assert len(path) == stand.decided_at - stand.began_at
        assert all(practise < value < shown for value in path[:-1])
        if stand.verdict == targets.SHOWN:
            assert path[-1] > 0
        if stand.verdict == targets.NOT_SHOWN:
            assert path[-1] < 0


def test_each_instrument_outside_lowers_the_path_by_one_less_the_slope(snapshot):
    stand = targets.stands(snapshot, "T09")[0]
    path, _, _ = targets.evidence(stand)
    steps = np.diff([0.0, *path])
    inside = ~np.array(stand.out[stand.began_at : stand.decided_at])
    assert len(set(np.round(steps[~inside], 12))) == 1
    assert 0 < steps[~inside][0] + 1 < 1


def test_an_offset_of_one_position_is_no_spread(snapshot):
    # T09 sets the bass side 0.12 mm (three of the others' sd) high and spreads as they do: about 1, not about 2
    spread = learning_curves.learning_curve(snapshot, "nut_slotting", "T09").spreads["nut"]
    assert len(spread.value) == 4
    assert np.abs(spread.value - 1).max() < 0.35


def test_one_suppliers_necks_are_held_against_bow_alone(snapshot):
    mine, all_of_them = bow.goes_with(snapshot, supplier="Marrow & Pine"), bow.goes_with(snapshot)
    assert (mine.n, mine.lots) == (144, 6)
    assert (all_of_them.n, all_of_them.lots) == (288, 12)
    with pytest.raises(UnusableData, match="0 judged necks of 0 lots"):
        bow.goes_with(snapshot, supplier="nobody")


def test_implausible_readings_are_counted_for_their_supplier_alone(tmp_path):
    folder = people_shop.stands(tmp_path / "shop")
    log = folder / "as_typed" / "more.csv"
    head, *rows = people_shop.log().splitlines()
    first = [row for row in rows if ",receiving," in row][:1]
    kept = [row.replace("HO-5", "HO-7") for row in first]
    cells = kept[0].split(",")
    cells[head.split(",").index("neck_bow bass (mm)")] = "25.4"
    log.write_text("\n".join([head, ",".join(cells)]) + "\n")
    people_shop.load(folder, [log], now=people_shop.NOW)
    snapshot = desk.Desk(folder).snapshot()
    assert necks.implausible(snapshot, supplier="Marrow & Pine")["len"].to_list() == [1]
    assert necks.implausible(snapshot, supplier="Tollgate Necks").is_empty()
