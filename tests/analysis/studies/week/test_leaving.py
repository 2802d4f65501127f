"""What was shipped outside its limits, and whether it lay outside as set too."""

from dataclasses import replace
from datetime import date

import polars as pl

from analysis.studies.week.leaving import shipped_in_doubt
from ingest.shopfiles.specs import Specs
from ingest.terms import tables
from tests.analysis.studies.benches import bench


def test_of_each_instrument_shipped_outside_it_is_told_whether_it_lay_so_as_set():
    made = bench("""
        A 2 9 final pass relief=0.9
        A 2 10 packing pass
        B 2 9 final send_back sent_back_to=neck relief=0.2
        B 2 10 neck pass
        B 2 11 final pass relief=0.9
        B 2 12 packing pass
        C 2 9 final pass relief=0.2
        C 2 10 packing pass""")
    limits = tables.shaped(pl.DataFrame({"characteristic": ["relief"], "lower": [0.1], "upper": [0.3]}), tables.SPECS)
    made = replace(made, specs=Specs(limits))
    told = shipped_in_doubt(made, week=date(2026, 3, 2))
    assert told.select("serial", "value", "set_outside").rows() == [("A", 0.9, True), ("B", 0.9, False)]
