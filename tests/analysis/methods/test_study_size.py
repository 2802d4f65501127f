"""Sizes of studies: printed cases, exact chances against simulation, and laws."""

import numpy as np
import pytest
from scipy import optimize, stats

from analysis.methods.gauge import crossed
from analysis.methods.problems import UnusableData
from analysis.methods.study_size import (
    chance_to_show_ppk,
    gauge_chance,
    lots_to_tell,
    ppk_bound,
    readings_to_show_ppk,
    to_see,
    to_show_ppk,
)


# Cohen 1992, A power primer, Psychological Bulletin 112, table 2: n a group for two means, two-sided .05 and power .80
# at d = .2, .5, .8: 393, 64, 26 (from memory; .2 is 394 by noncentral t, printed there as 393).
@pytest.mark.parametrize(("d", "n", "slack"), [(0.2, 393, 1), (0.5, 64, 0), (0.8, 26, 0)])
def test_two_means_need_what_the_power_primer_prints(d, n, slack):
    assert abs(to_see(d, 1.0, chance=0.80, groups=2) - n) <= slack


def test_the_size_is_the_least_that_sees_the_shift_in_nine_of_ten():
    n = to_see(0.05, 0.08)
    rng = np.random.default_rng(20261130)
    for size, enough in ((n, True), (round(0.7 * n), False)):
        seen = stats.ttest_1samp(rng.normal(0.05, 0.08, (4000, size)), 0.0, axis=1).pvalue < 0.05
        assert (seen.mean() >= 0.885) == enough


def test_a_size_does_not_hang_on_the_unit_nor_on_the_side_and_falls_with_the_shift():
    assert to_see(-0.05 * 25.4, 0.08 * 25.4) == to_see(0.05, 0.08)
    sizes = [to_see(shift, 0.1) for shift in (0.02, 0.05, 0.1, 0.2)]
    assert sizes == sorted(sizes, reverse=True)


def test_of_lots_that_differ_more_necks_of_one_do_not_help():
    few, many = lots_to_tell(0.05, 0.08, 0.04, 5), lots_to_tell(0.05, 0.08, 0.04, 500)
    assert many.lots >= 0.4 * few.lots
    assert many.necks > 20 * few.necks
    alone = lots_to_tell(0.05, 0.08, 0.0, 1)  # lots alike: plain readings of two groups
    assert alone.lots == to_see(0.05, 0.08, groups=2)


def test_a_ppk_is_shown_in_nine_of_ten_with_the_number_asked():
    n = to_show_ppk(1.67, 1.33)
    rng = np.random.default_rng(20261131)
    values = rng.standard_normal((6000, n))
    ppk = (3 * 1.67 - values.mean(axis=1)) / (3 * values.std(axis=1, ddof=1))
    shown = np.mean([ppk_bound(one, n) >= 1.33 for one in ppk])
    assert shown == pytest.approx(0.90, abs=0.02)
    assert shown == pytest.approx(chance_to_show_ppk(1.67, 1.33, n), abs=0.02)


def test_the_bound_is_that_of_the_printed_case():
    # trade practice: a Ppk of 1.33 seen in 30 readings is .97 to 1.69, in 100 1.13 to 1.53
    assert ppk_bound(1.33, 30) == pytest.approx(0.97, abs=0.005)
    assert ppk_bound(1.33, 100) == pytest.approx(1.13, abs=0.005)
    n = readings_to_show_ppk(1.5, 1.33)
    assert ppk_bound(1.5, n - 1) < 1.33 <= ppk_bound(1.5, n)
    assert readings_to_show_ppk(1.33, 1.33) is None


def test_the_nearer_the_true_ppk_the_more_are_needed():
    sizes = [to_show_ppk(true, 1.33) for true in (1.4, 1.5, 1.67, 2.0)]
    assert sizes == sorted(sizes, reverse=True)


def test_a_good_gauge_passes_and_a_poor_one_fails_the_more_surely_the_larger_the_study():
    sizes = [{"parts": parts, "people": 3, "trials": 3} for parts in (3, 10, 25)]
    good = [gauge_chance(0.15, 0.30, by_people=0.0, **size) for size in sizes]
    poor = [gauge_chance(0.45, 0.30, by_people=0.0, **size) for size in sizes]
    assert good == sorted(good)
    assert poor == sorted(poor, reverse=True)
    assert good[1] > 0.95
    assert poor[1] < 0.10


@pytest.mark.parametrize(
    "ask",
    [
        lambda: to_see(0.0, 1.0),
        lambda: to_see(1.0, 0.0),
        lambda: to_see(1e-6, 1.0),
        lambda: to_show_ppk(1.2, 1.33),
        lambda: lots_to_tell(0.1, 0.0, 0.0, 5),
        lambda: gauge_chance(0.2, 0.3, parts=1, people=3, trials=3),
    ],
)
def test_what_cannot_be_planned_is_refused(ask):
    with pytest.raises(UnusableData):
        ask()


def power(away, free, risk=0.05):
    line = stats.t.ppf(1 - risk / 2, free)
    return 1 - (stats.nct.cdf(line, free, away) - stats.nct.cdf(-line, free, away))


@pytest.mark.parametrize(("chance", "risk"), [(0.9, 0.05), (0.8, 0.01)])
def test_sizes_are_the_least_of_all_by_trying_each(chance, risk):
    for shift in (0.3, 0.7, 2.0):
        one = next(n for n in range(2, 999) if power(shift * n**0.5, n - 1, risk) >= chance)
        two = next(n for n in range(2, 999) if power(shift * (n / 2) ** 0.5, 2 * (n - 1), risk) >= chance)
        assert to_see(shift, 1.0, chance=chance, risk=risk) == one
        assert to_see(shift, 1.0, chance=chance, risk=risk, groups=2) == two
        spread = np.sqrt(0.5**2 + 0.8**2 / 3)
        lots = next(n for n in range(2, 999) if power(shift / spread * (n / 2) ** 0.5, 2 * (n - 1), risk) >= chance)
        told = lots_to_tell(shift, 0.8, 0.5, 3, chance=chance, risk=risk)
        assert (told.lots, told.each, told.necks) == (lots, 3, 3 * lots)


def test_the_chance_to_show_a_ppk_is_that_of_the_noncentral_t_at_the_ppk_whose_bound_is_asked():
    for n, true, asked in ((5, 2.0, 1.0), (60, 1.67, 1.33)):
        needed = optimize.brentq(lambda ppk, n=n, asked=asked: ppk_bound(ppk, n) - asked, asked, 40)
        k = 3 * np.sqrt(n)
        assert chance_to_show_ppk(true, asked, n) == pytest.approx(stats.nct.sf(k * needed, n - 1, k * true))
    least = to_show_ppk(1.67, 1.33)
    assert chance_to_show_ppk(1.67, 1.33, least - 1) < 0.9 <= chance_to_show_ppk(1.67, 1.33, least)
    assert to_show_ppk(9.0, 1.0) == 5 == readings_to_show_ppk(9.0, 1.0)


def test_the_chance_of_a_gauge_study_is_that_of_studies_drawn_reading_by_reading():
    rng = np.random.default_rng(20281202)
    parts, people, trials, share, found = 5, 2, 3, 0.3, []
    for _ in range(1500):
        x = np.sqrt(1 - share**2) * rng.normal(size=(parts, 1, 1))
        x = x + share * np.sqrt(0.3) * rng.normal(size=(1, people, 1))
        x = x + share * np.sqrt(0.7) * rng.normal(size=(parts, people, trials))
        table = crossed(x).table
        e, po, o, p = (table[name].ms for name in ("repeatability", "interaction", "operator", "part"))
        rr = e + max((po - e) / trials, 0) + max((o - po) / (parts * trials), 0)
        found.append(np.sqrt(rr / (rr + max((p - po) / (people * trials), 0))) <= 0.35)
    told = gauge_chance(share, 0.35, parts=parts, people=people, trials=trials, by_people=0.3)
    assert told == pytest.approx(np.mean(found), abs=0.04)  # three standard errors of 1500 studies


@pytest.mark.parametrize(
    "ask",
    [
        lambda: to_see(np.inf, 1.0),
        lambda: to_see(1.0, 1.0, groups=3),
        lambda: to_see(1.0, 1.0, chance=1.0),
        lambda: to_see(1.0, 1.0, risk=0.0),
        lambda: lots_to_tell(0.0, 1.0, 1.0, 5),
        lambda: lots_to_tell(0.1, -1.0, 2.0, 5),
        lambda: lots_to_tell(0.1, 2.0, -1.0, 5),
        lambda: lots_to_tell(0.1, 1.0, 1.0, 0),
        lambda: to_show_ppk(1.33, 1.33),
        lambda: to_show_ppk(1.33, 0.0),
        lambda: gauge_chance(1.0, 0.3, parts=5, people=3, trials=3),
        lambda: gauge_chance(0.2, 1.0, parts=5, people=3, trials=3),
        lambda: gauge_chance(0.2, 0.3, parts=5, people=3, trials=1),
        lambda: gauge_chance(0.2, 0.3, parts=5, people=3, trials=3, by_people=1.1),
    ],
)
def test_what_no_study_can_have_is_refused(ask):
    with pytest.raises(UnusableData):
        ask()


def test_the_smallest_studies_are_not_refused():
    assert lots_to_tell(3.0, 1.0, 0.0, 1).lots == to_see(3.0, 1.0, groups=2)
    assert lots_to_tell(3.0, 0.0, 1.0, 1).lots == to_see(3.0, 1.0, groups=2)
    for by_people in (0.0, 1.0):
        assert 0 <= gauge_chance(0.2, 0.3, parts=2, people=2, trials=2, by_people=by_people) <= 1
