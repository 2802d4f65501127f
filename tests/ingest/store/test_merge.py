"""Which row of a visit counts: settled at once for all, beside the rule said in plain loops, visit by visit."""

from collections import defaultdict
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from ingest.store.merge import CANDIDATE, KEY, Merged, in_place_of, merge, met, with_key
from ingest.terms import tables

NINE = datetime(2026, 3, 2, 9, tzinfo=UTC)


def row(log_id="L1", line=2, **more):
    """One row of a visit as it comes in, changed so."""
    usual = {
        "who": "A1", "stage": "play_test", "time": NINE, "tech": "JR", "ordinal": 0, "text_hash": 5, "status": "new",
        "loaded": int(log_id[1:]), "last_visit": NINE + timedelta(days=int(log_id[1:]) % 3), "kind": "", "taken": 0,
        "dropped": False, "superseded": False,
    }  # fmt: skip
    return {"log_id": log_id, "line": line, **usual, **more}


def settled(*rows, replaced=None):
    return merge(pl.DataFrame(list(rows), schema=CANDIDATE, orient="row"), replaced)


def plainly(rows):
    """What becomes of each row, by index: (does it count, is it asked about, the row that counts, is that a change)."""
    visits = defaultdict(list)
    for at, one in enumerate(rows):
        visits[tuple(one[name] for name in KEY)].append(at)
    told = {}
    for places in visits.values():
        older = {}
        for at in places:
            mine = [rows[p] for p in places if rows[p]["kind"] and rows[p]["kind"] == rows[at]["kind"]]
            newest = [one for one in mine if one["loaded"] == max(each["loaded"] for each in mine)]
            gives_way = bool(mine) and rows[at]["text_hash"] not in {one["text_hash"] for one in newest}
            older[at] = rows[at]["superseded"] or gives_way
        others = any(not older[at] and not rows[at]["dropped"] for at in places)
        live = [at for at in places if not older[at] and not (rows[at]["dropped"] and others)]
        by = ("last_visit", "log_id", "text_hash")
        best = min(live, key=lambda at: (-rows[at]["taken"], *(rows[at][name] for name in by)), default=None)
        words = None if best is None else rows[best]["text_hash"]
        alike = [at for at in places if rows[at]["text_hash"] == words and (older[at] or at in live)]
        first = min(alike, key=lambda at: (-rows[at]["taken"], rows[at]["loaded"], rows[at]["line"]), default=None)
        losing = (
            [at for at in live if rows[at]["text_hash"] != words] if best is None or not rows[best]["taken"] else []
        )
        asked = {}
        for at in sorted(losing, key=lambda at: (rows[at]["loaded"], rows[at]["line"])):
            asked.setdefault(rows[at]["text_hash"], at)
        changed = any(older[at] and rows[at]["text_hash"] != words for at in places)
        for at in places:
            told[at] = (at == first, at in asked.values(), first, changed)
    return told


def names(frame: pl.DataFrame, *more: str) -> set[tuple]:
    return set(frame.select("log_id", "line", "other_log", "other_line", *more).iter_rows())


@pytest.mark.parametrize("seed", range(12))
def test_all_rows_are_settled_as_the_rule_says_visit_by_visit(seed):
    rng = np.random.default_rng([20290106, seed])
    rows = []
    for line in range(60):
        log = int(rng.integers(1, 7))
        one = row(
            f"L{log}",
            line,
            who=("A1", "A2", "A3", "A4", "A5")[rng.integers(5)],
            stage=("play_test", "packing")[rng.integers(2)],
            text_hash=int(rng.integers(1, 4)),
            status=("new", "held", "lost", "given")[rng.integers(4)],
            kind=("", "grows", "grows", "wide")[log % 4] if seed % 3 else "",
            taken=int(rng.integers(1, 90)) if rng.random() < 0.12 else 0,
            dropped=(True, False, None)[rng.choice(3, p=[0.25, 0.45, 0.3])],
            superseded=(True, False, None)[rng.choice(3, p=[0.15, 0.55, 0.3])],
        )
        rows.append(one)
    told = plainly(rows)
    found = settled(*rows)

    def those(status, fits, with_change=False, with_ask=False):
        out = set()
        for at, one in enumerate(rows):
            wins, asked, first, changed = told[at]
            if one["status"] == status and fits(wins, asked):
                other = ("", None) if first is None else (rows[first]["log_id"], rows[first]["line"])
                more = (*((changed,) if with_change else ()), *((asked,) if with_ask else ()))
                out.add((one["log_id"], one["line"], *other, *more))
        return out

    assert names(found.counts, "changed") == those("new", lambda wins, _: wins, with_change=True)
    assert names(found.held) == those("new", lambda wins, asked: not wins and not asked)
    assert names(found.lost) == those("new", lambda _, asked: asked)
    assert names(found.displaced, "asked") == those("held", lambda wins, _: not wins, with_ask=True)
    assert names(found.closed) == those("lost", lambda wins, asked: not wins and not asked)
    assert names(found.wanted) == those("lost", lambda wins, _: wins) | those(
        "given", lambda wins, asked: wins or asked
    )


@pytest.mark.parametrize("other", [{"who": "A2"}, {"stage": "packing"}, {"tech": "AO"}, {"ordinal": 1}, {"time": None}])
def test_rows_of_other_visits_are_no_rivals(other):
    found = settled(row("L1", text_hash=9, status="held"), row("L2", text_hash=1, **other))
    assert (found.counts.height, found.displaced.height) == (1, 0)
    alike = settled(row("L1", text_hash=9, status="held"), row("L3", text_hash=10))  # its last visit is the earlier
    assert (alike.counts.height, alike.displaced["asked"].to_list()) == (1, [True])


def test_of_two_logs_that_contradict_each_other_one_counts_in_all_rows():
    rng = np.random.default_rng(20261130)
    held = [row("L1", n, who=f"A{n}", text_hash=int(rng.integers(1, 90)), status="held") for n in range(40)]
    new = [row("L2", n, who=f"A{n}", text_hash=int(rng.integers(100, 190))) for n in range(40)]
    found = settled(*held, *[one | {"text_hash": one["text_hash"] - 95} for one in new])
    assert (found.counts.height, found.displaced.height) == (0, 0)
    assert found.lost.height + found.held.height == 40


def test_a_row_in_the_place_of_one_of_a_log_that_is_gone_is_a_change_where_it_says_otherwise():
    before = pl.DataFrame([row("L9", text_hash=5)], schema=CANDIDATE, orient="row")
    assert settled(row("L1", text_hash=6), replaced=before).counts["changed"].to_list() == [True]
    assert settled(row("L1", text_hash=5), replaced=before).counts["changed"].to_list() == [False]
    assert settled(row("L1", text_hash=6, who="A2"), replaced=before).counts["changed"].to_list() == [False]
    assert settled(row("L1", text_hash=6), replaced=before.clear()).counts["changed"].to_list() == [False]
    timeless = pl.DataFrame([row("L9", text_hash=5, time=None)], schema=CANDIDATE, orient="row")
    rows = pl.DataFrame([row("L1", text_hash=6, time=None)], schema=CANDIDATE, orient="row")
    assert in_place_of(rows, timeless).to_list() == [True]


def test_where_no_visit_is_shared_only_the_rows_in_anothers_place_are_told():
    rows = pl.DataFrame({"log_id": ["L1"], "line": [7], "stage": ["packing"]})
    found = Merged.of_none(rows)
    assert found.counts.rows() == [("L1", 7, "packing", "", 0, True)]
    for each in (found.held, found.lost, found.displaced, found.closed, found.wanted):
        assert each.height == 0
    assert found.displaced.columns[-1] == "asked"


def test_a_visit_is_of_a_serial_or_of_a_part_by_lot_and_neck_at_its_start_or_else_its_end():
    given = [("S1", "L", "N", NINE, None), ("", "L7", "N2", None, NINE), ("S2", "", "", NINE, NINE.replace(hour=11))]
    schema = {
        "serial": pl.String,
        "lot": pl.String,
        "neck": pl.String,
        "started_at": tables.TIME,
        "finished_at": tables.TIME,
    }
    told = with_key(pl.DataFrame(given, schema=schema, orient="row").lazy()).collect()
    assert told["who"].to_list() == ["S1", "/L7/N2", "S2"]
    assert told["time"].to_list() == [NINE, NINE, NINE]


def test_rows_that_meet_are_told_by_marks_of_their_own_log_and_of_others():
    keys = pl.Series([1, 2, 2, 3], dtype=pl.UInt64)
    others = pl.DataFrame(schema=CANDIDATE)
    assert met(keys, others).to_list() == [2]
