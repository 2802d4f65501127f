"""specs.csv: what is refused, and which row holds for a reading."""

from datetime import date

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.shopfiles import specs as specs_module
from ingest.shopfiles.shop import ShopProblem
from ingest.shopfiles.specs import KEYS, PREFERENCE, Specs, read_specs
from ingest.terms.tables import SPECS, shaped
from tests.ingest.small_shop import small_shop

HEADER = "characteristic,position,family,model,stage,supplier,target,lower,upper,unit,from_date,agreed_on,note"


def specs_of(tmp_path, *lines: str) -> Specs:
    path = tmp_path / "specs.csv"
    path.write_text("\n".join([HEADER, *lines]) + "\n")
    return read_specs(path, small_shop())


def faults_of(tmp_path, *lines: str) -> str:
    with pytest.raises(ShopProblem) as problem:
        specs_of(tmp_path, *lines)
    return str(problem.value)


FAULTS = [
    ("releif,,,,,,.1,0,.2,mm,,,", ["line 2: characteristic is 'releif'", "relief"]),
    ("relief,,,,final,,.1,0,.2,mm,,,", ["line 2: stage is 'final'", "final_inspection"]),
    ("relief,,,LARK-26,,,.1,0,.2,mm,,,", ["line 2: model is 'LARK-26'", "LARK-25", "tenor"]),
    ("relief,,harp,,,,.1,0,.2,mm,,,", ["line 2: family is 'harp'", "banjo"]),
    ("action,middle,,,,,2,1,3,mm,,,", ["line 2: position is 'middle'", "bass, treble"]),
    ("relief,bass,,,,,.1,0,.2,mm,,,", ["line 2: position is 'bass'", "declares no positions"]),
    ("relief,,,,,,.1,0,.2,,,,", ["line 2: unit is ''", "mm"]),
    ("relief,,,,,,.1,0,.2,cents,,,", ["line 2: unit is 'cents'", "mm"]),
    ("relief,,,,,,x,0,.2,mm,,,", ["line 2: target is 'x'"]),
    ("relief,,,,,,nan,0,.2,mm,,,", ["line 2: target is 'nan'"]),
    ("relief,,,,,,.3,0,.2,mm,,,", ["line 2: target is '.3'", "within"]),
    ("relief,,,,,,,.3,.2,mm,,,", ["line 2: lower is '.3' and upper '.2'"]),
    ("relief,,,,,,,,,mm,,,", ["line 2: target, lower and upper are all empty"]),
    ("relief,,,,,,.1,0,.2,mm,02/03/2026,,", ["line 2: from_date is '02/03/2026'", "year-month-day"]),
    ("relief,,,DRAY-5,,,.1,0,.2,mm,,2026-02-30,", ["line 2: agreed_on is '2026-02-30'"]),
    ("relief,,tenor ukulele,DRAY-5,,,.1,0,.2,mm,,,", ["line 2: model 'DRAY-5' is a banjo"]),
    (
        "action,bass,,,,,2.5,2.1,2.9,in,,,",
        ["line 2: target 2.5, lower 2.1, upper 2.9 in lie outside", "0.5 mm to 9 mm"],
    ),
    ("relief,,,,,,,,-2,mm,,,", ["line 2: upper -2 mm lie outside", "is the unit right?"]),
    ("relief,,,,,,.1,0,.2,mm,,,a,b", ["line 2: 14 cells under 13 headings"]),
]


@pytest.mark.parametrize(("line", "words"), FAULTS)
def test_a_fault_names_the_line_and_what_is_allowed(tmp_path, line, words):
    said = faults_of(tmp_path, line)
    assert said.startswith("specs.csv, ")
    for word in words:
        assert word in said


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("relief,,,,,,.1,0,.2,mm,,,", "relief,,,,,,.1,0,.3,mm,,,"),
        ("relief,,,LARK-25,,,.1,0,.2,mm,2026-01-01,,", "relief,,,tenor,,,.1,0,.3,mm,2026-01-01,,"),
    ],
)
def test_two_rows_that_would_both_hold_are_refused_with_both_lines(tmp_path, first, second):
    assert "lines 2 and 3: both hold" in faults_of(tmp_path, first, second)


def test_rows_that_differ_in_date_or_field_stand_side_by_side(tmp_path):
    lines = [
        "relief,,,,,,.1,0,.2,mm,,,",
        "relief,,,,,,.1,0,.3,mm,2026-01-01,,",
        "relief,,,tenor,,,.1,0,.3,mm,,,",
        "relief,,,DRAY-5,,,.1,0,.3,mm,,,",
    ]
    assert specs_of(tmp_path, *lines).rows.height == 4


def test_limits_are_kept_in_canonical_units_and_a_one_sided_limit_leaves_the_other_empty(tmp_path):
    row = specs_of(tmp_path, "relief,,,,,,,,.012,in,2026-03-02,,agreed").rows.row(0, named=True)
    assert row["upper"] == pytest.approx(0.3048)
    assert (row["lower"], row["target"], row["from_date"], row["note"], row["line"]) == (
        None,
        None,
        date(2026, 3, 2),
        "agreed",
        2,
    )


def test_no_file_is_no_rows(tmp_path):
    assert read_specs(tmp_path / "specs.csv", small_shop()).rows.is_empty()


def key(**given: object) -> dict[str, object]:
    usual = {
        "characteristic": "relief",
        "position": "",
        "family": "tenor ukulele",
        "model": "LARK-25",
        "stage": "final_inspection",
        "supplier": "S1",
    }
    return usual | {"date": date(2026, 3, 2)} | given


def held(specs: Specs, **given: object) -> int | None:
    """The line of the row that holds for a key."""
    index = specs.match(pl.DataFrame([key(**given)]))[0]
    return None if index is None else specs.rows["line"][index]


def test_the_preferred_row_wins_and_rows_are_not_merged(tmp_path):
    specs = specs_of(
        tmp_path,
        "relief,,,,,,.1,0,.2,mm,,,",  # 2
        "relief,,,,,S1,.1,0,.2,mm,,,",  # 3
        "relief,,,,final_inspection,,.1,0,.2,mm,,,",  # 4
        "relief,,tenor ukulele,,,,.1,0,.2,mm,,,",  # 5
        "relief,,,tenor,,,.1,0,.2,mm,,,",  # 6
        "relief,,,LARK-40,,,.1,0,.2,mm,2026-01-01,,",  # 7
    )
    assert held(specs) == 6
    assert held(specs, model="LARK-40") == 7
    assert held(specs, model="LARK-40", date=date(2025, 12, 31)) == 6
    assert held(specs, model="tenor") == 6
    assert held(specs, model="DRAY-5", family="banjo") == 4
    assert held(specs, model="DRAY-5", family="banjo", stage="play_test") == 3
    assert held(specs, model="DRAY-5", family="banjo", stage="play_test", supplier="S2") == 2
    assert held(specs, model="DRAY-5", stage="play_test") == 5
    assert held(specs, characteristic="action") is None


def test_the_latest_date_that_has_come_wins(tmp_path):
    specs = specs_of(
        tmp_path,
        "relief,,,,,,.1,0,.2,mm,,,",
        "relief,,,,,,.1,0,.3,mm,2026-03-01,,",
        "relief,,,,,,.1,0,.4,mm,2026-03-02,,",
    )
    assert held(specs) == 4
    assert held(specs, date=date(2026, 3, 1)) == 3
    assert held(specs, date=date(2026, 2, 1)) == 2
    assert held(specs, date=None) == 2


def test_a_position_must_match_exactly(tmp_path):
    specs = specs_of(tmp_path, "intonation,1,,,,,0,-5,5,cents,,,")
    assert held(specs, characteristic="intonation", position="1") == 2
    assert held(specs, characteristic="intonation", position="1 fret 7") is None


def by_hand(specs: Specs, one: dict[str, object]) -> int | None:
    """The rule, one key at a time, in words as the design has it."""
    setups = specs.setups
    fitting = []
    for index, row in enumerate(specs.rows.to_dicts()):
        names = {one["model"], setups.get(one["model"], one["model"])}
        fits = row["characteristic"] == one["characteristic"] and (row["model"] == "" or row["model"] in names)
        fits = fits and all(row[name] in ("", one[name]) for name in PREFERENCE if name != "model")
        if fits and (row["from_date"] is None or row["from_date"] <= one["date"]):
            fitting.append(([row[name] != "" for name in PREFERENCE], row["from_date"] or date.min, index))
    return max(fitting)[2] if fitting else None


ROW = st.fixed_dictionaries(
    {
        "characteristic": st.sampled_from(["relief", "action"]),
        "position": st.sampled_from(["", "bass"]),
        "family": st.sampled_from(["", "tenor ukulele"]),
        "model": st.sampled_from(["", "LARK-25", "tenor"]),
        "stage": st.sampled_from(["", "play_test"]),
        "supplier": st.sampled_from(["", "S1"]),
        "from_date": st.sampled_from([None, date(2026, 3, 1), date(2026, 3, 2)]),
    }
)
KEY = st.fixed_dictionaries(
    {
        "characteristic": st.sampled_from(["relief", "action"]),
        "position": st.sampled_from(["", "bass"]),
        "family": st.sampled_from(["tenor ukulele", "banjo"]),
        "model": st.sampled_from(["LARK-25", "LARK-40", "tenor", "DRAY-5"]),
        "stage": st.sampled_from(["play_test", "packing"]),
        "supplier": st.sampled_from(["", "S1"]),
        "date": st.dates(date(2026, 2, 27), date(2026, 3, 4)),
    }
)


@given(
    st.lists(
        ROW,
        max_size=12,
        unique_by=lambda row: tuple("tenor" if row[name] == "LARK-25" else row[name] for name in sorted(row)),
    ),
    st.lists(KEY, min_size=1, max_size=8),
)
def test_matching_many_at_once_is_matching_one_at_a_time(rows, keys):
    specs = Specs(
        shaped(
            pl.DataFrame(rows, schema={name: SPECS[name] for name in ROW.wrapped_strategy.mapping} if rows else SPECS),
            SPECS,
        ),
        small_shop().setups,
    )
    schema = {name: pl.Date if name == "date" else pl.String for name in KEYS}
    for most in (specs_module.MOST_CODES, 1):  # 1: numbered anew for each column
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(specs_module, "MOST_CODES", most)
            found = specs.match(pl.DataFrame(keys, schema=schema))
        assert found.to_list() == [by_hand(specs, one) for one in keys]


def test_a_limit_between_two_marks_of_its_gauge_is_pointed_out_with_the_marks(tmp_path):
    found = specs_of(tmp_path, "relief,,,,,,.1,-.1,.254,mm,,,").between
    assert [(one.line, one.column, one.gauge) for one in found] == [(2, "lower", "leaves")]
    assert (found[0].below, found[0].above) == pytest.approx((-4 * 0.0254, -3 * 0.0254))
    assert specs_of(tmp_path, "relief,,,,,,10,0,20,thou,,,").between == ()
