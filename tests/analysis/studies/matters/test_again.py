"""Air that comes, goes and comes again: since when its matter lasts now, and when it came before."""

from datetime import timedelta

import numpy as np
import pytest

from analysis.studies.matters.matters import matters, open_matters
from analysis.studies.matters.open_ones import open_groups
from analysis.studies.matters.records import HUMIDITY, Matter
from analysis.studies.matters.written import read, written
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import at, shop, snapshot

FEW = {"false_signals_per_week": 0.01}
N, MODELS = 900, ("LARK", "WREN", "FINCH")
FIRST = (416, 496)  # two weeks of March, eight instruments a day


def made(*spells: tuple[int, int], n: int = N, seed: int = 20310101) -> Snapshot:
    """Relief that stands 2 sigma higher on damp days: about 61 % RH in place of 45."""
    rng, place = np.random.default_rng(seed), np.arange(n)
    damp = np.any([(place >= first) & (place < end) for first, end in spells], axis=0)
    rh = 45 + rng.normal(0, 2, n) + 16 * damp
    values = rng.normal(size=n) + 2 * damp
    return snapshot(shop(MODELS, **FEW), {("relief", ""): values}, model=np.array(MODELS)[place % 3], rh=rh)


def only(found: list[Matter]) -> Matter:
    assert len(found) == 1
    return found[0]


def spell(first: int, end: int) -> tuple:
    return at(first).date(), at(end - 1).date()


@pytest.mark.parametrize("first", [FIRST, (304, 384)])  # the second one right behind the baseline
def test_a_second_spell_is_told_since_it_began_with_the_first_named(first):
    found = only(made(first, (824, 900)).once(open_matters))
    assert {one.factor for one in found.moves_with.named} == {HUMIDITY}
    assert abs(found.began_at.date() - at(824).date()) <= timedelta(days=1)
    assert found.earlier == (spell(*first),)
    assert found.size_low < 2 < found.size_high
    assert found.touched == pytest.approx(76, abs=6)
    assert found.moves_with.named[0].change == pytest.approx(16, abs=1)


def test_a_third_spell_names_both_before():
    found = only(made(FIRST, (760, 840), (1120, 1200), n=1200).once(open_matters))
    assert found.began_at.date() == at(1120).date()
    assert found.earlier == (spell(*FIRST), spell(760, 840))


def test_one_spell_names_none_before():
    found = only(made((824, 900)).once(open_matters))
    assert abs(found.began_at.date() - at(824).date()) <= timedelta(days=1)
    assert found.earlier == ()


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("first", [760, 824])
def test_nothing_moved_while_the_air_was_as_usual(first, seed):
    found = only(made((first, 900), seed=seed).once(open_matters))
    assert at(first).date() - found.began_low.date() <= timedelta(days=1)


def test_a_dry_week_within_a_damp_month_parts_no_spells():
    found = only(made((736, 800), (840, 900)).once(open_matters))
    assert abs(found.began_at.date() - at(736).date()) <= timedelta(days=1)
    assert found.earlier == ()


def test_what_ended_with_its_second_spell_tells_of_both():
    found = only(made(FIRST, (800, 850)).once(matters))
    assert found.closed_at is not None
    assert found.began_at.date() == at(800).date()
    assert found.earlier == (spell(*FIRST),)


def test_spells_are_kept_as_they_were_told():
    made_of = made(FIRST, (824, 900))
    parts = [part for group in made_of.once(open_groups) for part in group.parts]
    assert read(written(parts)) == parts
    assert parts[0].measured.earlier
