"""What the trade starts a shop with: every stage, measurement and family, as a first shop file would have them, and the
unit that bare numbers of a size are taken for. Snapshots, looked over by hand when they were written:
`python -m tests.ingest.beginning.test_starting_from` writes them anew; read the difference before keeping it.
"""

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.families import FAMILIES, family_of
from ingest.beginning.new import Proposal, propose
from ingest.beginning.starting_values import FAULTS, MEASURES, STAGES
from ingest.beginning.units_of_columns import bare_unit
from tests.ingest.beginning.test_proposed import DAYS, HERE, SHOP, told_of
from tests.ingest.small_shop import csv

UNITS = {"length": " (mm)", "pitch": " (cents)", "angle": " (deg)"}


def all_of_the_trade() -> Proposal:
    """A sheet of every stage, measurement, family and fault that the trade has."""
    faults = [fault for group in FAULTS.values() for fault in group]
    families = list(FAMILIES)
    names = [f"{item.name.replace(',', '')}{UNITS.get(item.quantity, '')}" for item in MEASURES]
    rows = [
        ",".join(
            [
                f"A{n}",
                DAYS[n % 26],
                STAGES[n % len(STAGES)].name,
                families[n % len(families)],
                faults[n % len(faults)].replace(",", ""),
                *(f"{0.1 + (n + k) % 9 / 10:.1f}" for k in range(len(MEASURES))),
            ]
        )
        for n in range(max(len(faults), len(STAGES), len(families)) * 2)
    ]
    head = ",".join(["Serial", "Date", "Stage", "Model", "Fault", *names])
    answers = {f"family of {name}": name for name in families}
    return propose([("all.csv", csv(head, *rows))], said=checked_answers(SHOP), answers=answers)


def in_inches() -> Proposal:
    """Limits in inches, on the marks of the rulers that wrote the readings, by string and by side."""
    rows = [
        f"A{n},{DAYS[n % 26]},final,{('Tenor banjo', 'Dreadnought', 'Mandolin')[n % 3]},{n % 9 / 1000:.3f},"
        f"{4 + n % 5}/64,"
        f"{3 + n % 5}/64,0.0{15 + n % 7},0.0{14 + n % 7},0.0{12 + n % 5},0.0{11 + n % 6},{n % 9 - 4},{85 + n % 9}"
        for n in range(60)
    ]
    head = "Serial,Date,Stage,Model,Relief (in),Action bass,Action treble,Nut 1 (in),Nut 2 (in),Nut 3 (in),Nut 4 (in)"
    return propose([("inches.csv", csv(f"{head},Intonation 1 (cents),Head 1", *rows))], said=checked_answers(SHOP))


SHEETS = {of.__name__: of for of in (all_of_the_trade, in_inches)}
ROUND = (
    "0.0004 0.001 0.004 0.01 0.02 0.03 0.035 0.1 0.2 0.3 0.6 0.7 0.8 1 1.3 2 3 3.1 4.3 5.2 6.1 9.7 12.1 20 26 39 51 61"
)
SIZES = sorted(
    {float(size) for size in ROUND.split()}
    | {
        edge * move
        for item in MEASURES
        for _, *edges in item.units
        for edge in edges
        for move in (0.999, 1.0, 1.001)
        if edge > 0
    }
)


def units() -> str:
    """Of each measurement the sizes at which the unit of bare numbers turns, by what the headings speak of."""
    lines = []
    for item in MEASURES:
        for system in ("", "mm", "in"):
            turns, before = [], None
            for size in SIZES:
                unit = bare_unit(item, [f"{size * step:.6f}" for step in (0.999, 1, 1.0005)], system)
                if unit != before:
                    turns.append(f"{size:g} {unit or '-'}")
                before = unit
            lines.append(f"{item.key} | {system or 'neither'} | {', '.join(turns)}")
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("name", SHEETS)
def test_a_shop_starts_as_it_was_looked_over(name):
    assert told_of(SHEETS[name]()) == (HERE / f"{name}.txt").read_text(encoding="utf-8")


def test_bare_numbers_are_taken_for_the_unit_in_which_they_are_usual():
    assert units() == (HERE / "units.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("model", "family"),
    [
        ("", ""),
        ("HERON-2", ""),
        ("Banjo", ""),  # too general
        ("Tenor banjo 5", "tenor banjo"),
        ("Concert Ukulele", "concert ukulele"),
        ("Bass guitar", "bass guitar"),
        ("Mandolin A", "mandolin"),
    ],
)
def test_a_models_name_tells_its_family(model, family):
    assert family_of(model) == family


def doubted(action: str, rows: int, family: str = "Tenor banjo") -> bool:
    """Is a model whose name says a family asked about, with this usual action?"""
    lines = [f"A{n},{DAYS[n % 26]},final,{family},{action}" for n in range(rows)]
    other = [f"B{n},{DAYS[n % 26]},final,Mandolin,1.{5 + n % 3}" for n in range(20)]
    proposal = propose(
        [("d.csv", csv("Serial,Date,Stage,Model,Action bass (mm)", *lines, *other))], said=checked_answers(SHOP)
    )
    return any(ask.key == f"family of {family}" for ask in proposal.asks)


def test_a_name_is_doubted_where_five_readings_stand_a_quarter_outside_its_familys_limits():
    sides = FAMILIES["tenor banjo"].action
    low, high = min(side[1] for side in sides), max(side[2] for side in sides)
    assert not doubted(f"{high * 1.249:.4f}", 5)
    assert doubted(f"{high * 1.251:.4f}", 5)
    assert not doubted(f"{high * 1.251:.4f}", 4)
    assert not doubted(f"{low * 0.751:.4f}", 5)
    assert doubted(f"{low * 0.749:.4f}", 5)


if __name__ == "__main__":
    for each, of in SHEETS.items():
        (HERE / f"{each}.txt").write_text(told_of(of()), encoding="utf-8")
    (HERE / "units.txt").write_text(units(), encoding="utf-8")
