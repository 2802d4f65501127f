"""Work charged to techs: exposure, charging and what is left out by hand; what the others would give, on mixes that are
known.
"""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.people.first_work import tech_rows
from analysis.studies.people.same_mix import MIX, expected
from analysis.studies.people.techs import FLAG, TECHS, at_work, exposure, funnel_limits, not_charged, people
from analysis.studies.story.story import story
from analysis.studies.story.unlisted import OF_LATE
from dashboard.sentences.bench import timed
from ingest.terms import tables
from tests.analysis.studies.benches import bench

ROD = {
    "model": [{"key": "LARK", "family": "tenor ukulele", "rod": False}, {"key": "WREN", "family": "banjo", "rod": True}]
}


def rows(snapshot, *names):
    return tech_rows(snapshot).select("stage", "tech", *names).rows()


BY_HAND = """
A 2 8  nut   pass tech=T1 minutes=7
A 2 9  play  send_back tech=T9 cause=nut
A 2 10 nut   pass tech=T2
A 2 11 play  pass tech=T9
A 3 9  final pass tech=T8
B 2 8  nut   pass tech=T1 minutes=9
B 2 9  play  pass tech=T9
B 3 9  final pass tech=T8
C 2 8  nut   pass tech=T2
C 2 9  play  send_back tech=T9 cause=supplier
C 2 10 play  pass tech=T9
C 3 9  final pass tech=T8
D 2 8  nut   pass tech=T1/T2
D 2 9  play  send_back tech=T9 cause=nut
D 2 10 nut   pass tech=T1
D 2 11 play  pass tech=T9
D 3 9  final pass tech=T8
E 2 8  nut   pass tech=T1
E 2 9  play  send_back tech=T9 sent_back_to=nut
F 2 9  play  send_back tech=T9
F 2 11 play  pass tech=T9
F 3 9  final pass tech=T8
G 2 9  play  send_back tech=T9 cause=nut
G 2 10 nut   pass tech=T1
G 2 11 play  pass tech=T9
G 3 9  final pass tech=T8
"""


def test_whoever_left_is_looked_at_no_more():
    rows = people(bench(BY_HAND))
    last = rows.filter(stage="nut", tech="T2")["last_day"].item()
    assert last == date(2026, 3, 2)
    assert at_work(rows, last + OF_LATE).height == rows.height
    late = at_work(rows, last + OF_LATE + timedelta(days=1))
    assert "T2" not in late["tech"].to_list()
    assert "T8" in late["tech"].to_list()  # came the day after


def test_minutes_that_nobody_wrote_are_nobodys():
    snapshot = bench(BY_HAND)
    rows = people(snapshot).filter(stage="nut", tech="T2")
    first = snapshot.once(story).visits.filter((pl.col("stage") == "nut") & pl.col("first_pass"))
    told = dict(tables.plain(first.group_by("tech").agg((pl.col("minutes_from") != "planned").sum())).rows())
    assert (rows["timed"].item(), rows["timed_median"].item(), rows["minutes_median"].item()) == (0, None, 8.0)
    assert told["T2"] == 0  # 8 minutes as planned
    assert timed(rows.row(0, named=True)) == "No minutes are typed or clocked here: planned ones are nobody's."
    some = {**rows.row(0, named=True), "timed": 40, "timed_median": 7.0}
    assert timed(some).replace("\u00a0", " ") == "Half of the first visits take 7 min or less (40 visits)."


def test_exposure_is_first_passes_of_judged_instruments_and_charges_go_to_the_last_visit_before():
    snapshot = bench(BY_HAND)
    told = {
        row[1]: row[2:] for row in rows(snapshot, "visits", "judged", "charged", "minutes_median") if row[0] == "nut"
    }
    # T1: first passes A, B, E, G; E is not judged. D's two names are neither's. The send-backs of E and G are not
    # theirs to answer for:
    # E is not judged yet and nobody had visited nut before G came back.
    assert told == {"T1": (5, 3, 1, 8.0), "T2": (2, 1, 0, 8.0)}
    assert dict(not_charged(snapshot).rows()) == {
        "supplier": 1,
        "two names": 1,
        "not judged yet": 1,
        "unknown": 1,
        "nobody named": 1,
    }
    assert tech_rows(snapshot).schema == TECHS


def test_every_send_back_is_charged_or_counted_as_left_out():
    snapshot = bench(BY_HAND)
    assert (
        tech_rows(snapshot)["charged"].sum() + not_charged(snapshot)["count"].sum() == snapshot.once(story).loops.height
    )


def test_relief_without_a_rod_is_charged_to_nobody():
    lines = """
    A 2 8  neck pass tech=T1 model=MODEL
    A 2 9  play send_back tech=T9 cause=neck
    A 2 10 neck pass tech=T1
    A 3 9  final pass tech=T8
    """
    without, with_rod = (bench(lines.replace("MODEL", model), **ROD) for model in ("LARK", "WREN"))
    assert [row[2] for row in rows(without, "charged") if row[0] == "neck"] == [0]
    assert [row[2] for row in rows(with_rod, "charged") if row[0] == "neck"] == [1]
    assert not_charged(without).rows() == [("no rod", 1)]


def test_one_tech_alone_has_nothing_to_be_held_against():
    told = rows(
        bench("A 2 8 nut pass tech=T1\nA 3 9 final pass tech=T8"), "expected", "ratio", "ratio_low", "outside_funnel"
    )
    assert [row[2:] for row in told] == [(None, None, None, None)] * 2


def many(techs, *, back=(), model="LARK", hour=8, start=0):
    """Lines of instruments that pass the nut by these techs in turn; those in `back` come back once."""
    lines = []
    for place, tech in enumerate(techs):
        s = f"S{start + place:03d}"
        lines.append(f"{s} 2 {hour} nut pass tech={tech} model={model}")
        if place in back:
            lines += [f"{s} 2 9 play send_back tech=T9 cause=nut", f"{s} 2 10 nut pass tech={tech}"]
        lines.append(f"{s} 3 9 final pass tech=T8")
    return lines


def test_where_nothing_came_back_nothing_is_expected():
    snapshot = bench("\n".join(many(["T1", "T2"] * 30)))
    told = [row[2:] for row in rows(snapshot, "charged", "expected", "ratio", "ratio_high") if row[0] == "nut"]
    assert told == [(0, 0.0, None, None), (0, 0.0, None, None)]


def test_nothing_is_expected_of_work_that_nobody_else_does():
    # T1 alone does the hard model; T2 and T3 did it ten times between them. Half of T1's visits is the line.
    easy = many(["T1", "T2", "T3"] * 40, back=range(0, 120, 20))
    hard = many(["T1"] * 50 + ["T2", "T3"] * 5, back=range(0, 60, 3), model="WREN", start=200)
    told = people(bench("\n".join(easy + hard))).filter(pl.col("stage") == "nut")
    row = dict(zip(told["tech"], told.iter_rows(named=True), strict=True))
    assert row["T1"]["known_share"] == pytest.approx(40 / 90)
    assert [row["T1"][name] for name in ("expected", "ratio", "ratio_low", "ratio_high", "outside_funnel", "more")] == [
        None
    ] * 6
    assert row["T1"]["charged"] == 19
    assert row["T2"]["known_share"] == 1.0
    assert row["T2"]["ratio_low"] < row["T2"]["ratio"] < row["T2"]["ratio_high"]
    more = many(["T1"] * 50 + ["T2", "T3"] * 15, back=range(0, 60, 3), model="WREN", start=200)
    told = people(bench("\n".join(easy + more))).filter((pl.col("stage") == "nut") & (pl.col("tech") == "T1"))
    assert told["known_share"].item() == 1.0
    assert told["ratio_low"].item() < told["ratio"].item() < told["ratio_high"].item()


def work(rng, *, techs, n, share, models=1):
    """Visits of `techs` {name: times as bad}, n each, of models that come back `share` x (1, 2, 3 ...), by level of
    model.
    """
    tech = np.repeat(list(techs), n)
    model = rng.integers(0, models, len(tech))
    chance = np.repeat(list(techs.values()), n) * share * (1 + model)
    return pl.DataFrame(
        {
            "tech": tech,
            "came_back": rng.random(len(tech)) < chance,
            "model": [f"M{m}" for m in model],
            "lot": "L",
            "week": 1,
            "inspector": "I",
        }
    )


def test_with_an_even_mix_what_is_expected_is_the_share_of_the_others():
    one = work(np.random.default_rng(1), techs={"A": 1.0, "B": 1.0, "C": 2.0}, n=400, share=0.06)
    found = expected(one, ["A", "C"])
    for place, tech in enumerate(["A", "C"]):
        others = one.filter(pl.col("tech") != tech)["came_back"]
        assert found.count[place] == pytest.approx(
            400 * others.mean(), rel=1e-6
        )  # the prior rows leave the intercept alone
        assert found.variance[place] == pytest.approx(400**2 * others.mean() * (1 - others.mean()) / 800, rel=0.2)


def test_hard_work_is_not_held_against_who_does_it():
    rng = np.random.default_rng(2)
    easy, hard = (
        pl.DataFrame(
            {
                "tech": tech,
                "came_back": rng.random(4000) < share,
                "model": model,
                "lot": "L",
                "week": 1,
                "inspector": "I",
            }
        )
        for tech, model, share in (("A", "M0", 0.02), ("A", "M1", 0.10))
    )
    mixed = pl.concat(
        [easy[:3600], hard[:400], easy[3600:].with_columns(tech=pl.lit("B")), hard[400:].with_columns(tech=pl.lit("B"))]
    )
    charged = mixed.group_by("tech", maintain_order=True).agg(pl.col("came_back").sum())["came_back"].to_numpy()
    ratio = charged / expected(mixed, ["A", "B"]).count
    raw = charged / (charged[::-1])
    assert raw[1] > 3
    assert ratio == pytest.approx([1.0, 1.0], abs=0.35)


def test_a_level_without_send_backs_runs_nowhere():
    rng = np.random.default_rng(3)
    base = work(rng, techs={"A": 1.0, "B": 1.0}, n=200, share=0.1)
    lots = [f"L{place % 40}" for place in range(base.height)]
    sparse = base.with_columns(lot=pl.Series(lots), week=pl.Series([place % 7 for place in range(base.height)]))
    found = expected(sparse, ["A", "B"])
    charged = sparse.group_by("tech", maintain_order=True).agg(pl.col("came_back").sum())["came_back"].to_numpy()[::-1]
    assert found.count == pytest.approx(charged, rel=0.25)
    assert (found.variance > 0).all()


def test_renaming_and_reordering_change_nothing():
    one = work(np.random.default_rng(4), techs={"A": 1.0, "B": 2.0, "C": 1.0}, n=150, share=0.08, models=3)
    turned = one.sample(fraction=1.0, shuffle=True, seed=5).with_columns(model="z" + pl.col("model"))
    assert expected(turned, ["A", "B"]).count == pytest.approx(expected(one, ["A", "B"]).count, rel=1e-6)


def test_more_than_chance_is_said_of_one_twice_as_bad_and_not_of_those_who_are_alike():
    one = work(np.random.default_rng(7), techs={"A": 1.0, "B": 1.0, "C": 2.5, "D": 1.0}, n=400, share=0.04, models=3)
    chance = expected(one, ["A", "B", "C", "D"]).p_more
    assert chance[2] < 1e-4
    assert (chance[[0, 1, 3]] > FLAG).all()


def test_a_tech_without_a_send_back_is_never_told_of_more():
    one = work(np.random.default_rng(8), techs={"A": 0.0, "B": 1.0}, n=100, share=0.05)
    assert expected(one, ["A"]).p_more[0] == 1.0
    assert expected(one, ["B"]).p_more[0] < 0.1  # all that came back is theirs


def test_the_funnel_widens_with_doubt_and_with_unrest_but_not_for_one_who_differs():
    e = np.full(12, 20.0)
    calm = np.array([20, 21, 19, 22, 18, 20, 23, 17, 20, 21, 19, 20], dtype=float)
    high = funnel_limits(calm, e, np.zeros(12))[1]
    assert (funnel_limits(calm, e, np.full(12, 20.0))[1] > high).all()
    odd = calm.copy()
    odd[0] = 90
    assert funnel_limits(odd, e, np.zeros(12))[1] == pytest.approx(high)
    assert (funnel_limits(calm * np.tile([0.4, 1.6], 6) // 1, e, np.zeros(12))[1] > 1.5 * high).all()


def test_what_comes_back_twice_is_charged_twice_and_expected_once():
    # Every fourth instrument comes back, and comes back twice: charged counts send-backs, expected counts instruments,
    # as the words say.
    lines = []
    for place in range(80):
        tech, s = ("T1", "T2")[place % 2], f"S{place:02d}"
        lines.append(f"{s} 2 8 nut pass tech={tech}")
        if place % 10 < 2:
            lines += [
                f"{s} 2 9 play send_back tech=T9 cause=nut",
                f"{s} 2 10 nut pass tech={tech}",
                f"{s} 2 11 play send_back tech=T9 cause=nut",
                f"{s} 2 12 nut pass tech={tech}",
            ]
        lines.append(f"{s} 3 9 final pass tech=T8")
    told = people(bench("\n".join(lines))).filter(pl.col("stage") == "nut")
    assert told["charged"].to_list() == [16, 16]
    assert told["came_back"].to_list() == [8, 8]
    assert told["expected"].to_list() == pytest.approx([8.0, 8.0], rel=1e-6)
    assert told["ratio"].to_list() == pytest.approx([2.0, 2.0], rel=1e-6)
    assert told["more"].to_list() == [False, False]  # as many instruments of each came back


def test_shrunken_ratios_lie_between_one_and_the_ratio_and_the_mix_is_complete():
    lines = []
    for place in range(60):
        s, tech = f"S{place:02d}", ("T1", "T2", "T3")[place % 3]
        lines.append(f"{s} 2 8 nut pass tech={tech} lot=L{place % 4}")
        if (place % 3 == 0 and place % 2 == 0) or place % 11 == 1:
            lines += [f"{s} 2 9 play send_back tech=T9 cause=nut", f"{s} 2 10 nut pass tech={tech}"]
        lines.append(f"{s} 3 9 final pass tech=T8")
    snapshot = bench("\n".join(lines))
    assert snapshot.once(exposure).select(MIX).null_count().row(0) == (0, 0, 0, 0)
    for row in people(snapshot).filter(pl.col("stage") == "nut").iter_rows(named=True):
        assert min(1, row["ratio"]) <= row["shrunk"] <= max(1, row["ratio"])
        assert row["shrunk_low"] < row["shrunk"] < row["shrunk_high"]
        assert row["ratio_low"] < row["ratio"] < row["ratio_high"]
