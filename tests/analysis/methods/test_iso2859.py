import pytest

from analysis.methods.acceptance import accepted
from analysis.methods.iso2859 import ACCEPT, LETTERS, LEVELS, READ, SIZES, code_letter, single_normal
from analysis.methods.problems import UnusableData
from tests.published.cases import case


def test_only_plans_read_in_print_are_offered():
    # Birolini 2007, figure 7.4, shows F, J and N at AQL 0.65 %.
    printed = case("iso2859-single-normal").published
    for cell, (n, c, _) in printed.items():
        letter, aql = cell.split("@")
        if (letter, float(aql)) in READ:
            plan = single_normal(letter, float(aql))
            assert (plan.n, plan.c) == (n, c)
        else:
            with pytest.raises(UnusableData, match="not confirmed"):
                single_normal(letter, float(aql))
    assert {("F", 0.65), ("J", 0.65), ("N", 0.65)} == READ


def test_remembered_cells_agree_and_accept_good_lots():
    # ISO 2859-1:1999, table 2-A from memory: whatever it says, a lot at its AQL must mostly pass.
    printed = case("iso2859-single-normal").published
    assert sum(len(cells) for cells in ACCEPT.values()) == len(printed)
    for cell, (n, c, reject) in printed.items():
        letter, aql = cell.split("@")
        plan = single_normal(letter, float(aql), from_memory=True)
        assert (plan.n, plan.c, plan.c + 1) == (n, c, reject)
        assert 0.87 < accepted(plan, float(aql) / 100) < 0.995


def test_code_letters_are_the_remembered_table():
    # ISO 2859-1:1999, table 1, from memory; level III is level II moved by one letter.
    printed = case("iso2859-code-letters")
    ends = [end or 600_000 for end in printed.data["lot_size_upper"]]
    for level in LEVELS:
        assert [code_letter(lot, level) for lot in ends] == printed.published[level]
        assert [code_letter(lot + 1, level) for lot in ends[:-1]] == printed.published[level][1:]
    assert [SIZES[letter] for letter in printed.published["II"]] == printed.published["sample_size"]
    assert [LETTERS.index(b) - LETTERS.index(a) for a, b in zip(LEVELS["II"], LEVELS["III"], strict=True)] == [1] * 15
    with pytest.raises(UnusableData):
        code_letter(1)
    with pytest.raises(UnusableData):
        code_letter(100, "S-1")
