"""A bench to which instruments come only when they are sent back is one of repairs."""

import tomllib

import polars as pl
import pytest

from analysis.studies.rework.rework import send_backs
from ingest.beginning.answers import checked_answers
from ingest.beginning.new import propose, write
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.ingest.bench import NOW

HEAD = "Serial,Model,Bench,Who,When,Nut bass (in),Relief (in),Result,Back to"


def sheet(*, back="back", to="levelling", straight=0, measured=False):
    """Sixty instruments, one in five sent back by final to levelling; the last `straight` pass it at once."""
    rows = []
    for k in range(60):
        at = f"2026-02-{2 + k // 10:02}"
        stages = ["nut", "final", "levelling", "final"] if k % 5 == 0 else ["nut", "final"]
        if k >= 60 - straight:
            stages = ["nut", "levelling", "final"]
        for place, stage in enumerate(stages):
            sent = stage == "final" and stages[place + 1 :] != []
            nut = f".02{k % 5}" if stage == "nut" else ""
            relief = f".00{5 + k % 4}" if stage == "final" or (measured and stage == "levelling") else ""
            result, where = (back, to) if sent else ("pass", "")
            rows.append(f"N{k:03},Wren,{stage},Abe,{at} {8 + place:02}:{k % 10:02},{nut},{relief},{result},{where}")
    return ("bench.csv", ("\n".join([HEAD, *rows]) + "\n").encode())


def roles(made) -> dict[str, str]:
    return {stage["key"]: stage["role"] for stage in tomllib.loads(made.shop_toml)["stage"]}


@pytest.mark.parametrize(("back", "to"), [("back", "levelling"), ("sent back", ""), ("", "levelling")])
def test_a_bench_that_only_send_backs_reach_is_one_of_repairs(back, to):
    made = propose([sheet(back=back, to=to)])
    assert roles(made) == {"levelling": "repair", "nut_slotting": "bench", "final_inspection": "final"}
    assert "12 of 12 instruments came to it only when they were sent back" in made.shop_toml


@pytest.mark.parametrize("changed", [{"straight": 4}, {"measured": True}])
def test_a_bench_that_others_pass_too_or_where_something_is_measured_stays_a_bench(changed):
    assert roles(propose([sheet(**changed)]))["levelling"] == "bench"


def test_what_somebody_said_of_its_role_stands():
    said = checked_answers({"stage": [{"key": "levelling", "role": "bench"}]})
    assert roles(propose([sheet()], said=said))["levelling"] == "bench"


def test_the_work_there_counts_as_what_the_send_back_cost(tmp_path):
    name, data = sheet()
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / name).write_bytes(data)
    write(tmp_path / "shop", propose([(name, data)]))
    [came] = load(tmp_path / "shop", [tmp_path / "logs" / name], now=NOW)
    assert came.accepted
    [row] = send_backs(open_snapshot(tmp_path / "shop")).filter(pl.col("count") > 0).iter_rows(named=True)
    planned = {stage.key: stage.minutes for stage in open_snapshot(tmp_path / "shop").shop.stages}
    assert row["caused_at"] == "levelling"
    assert row["loop_minutes"] == 12 * (planned["levelling"] + planned["final_inspection"])
