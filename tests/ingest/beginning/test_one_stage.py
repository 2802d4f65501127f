"""Which column says a row's bench, and what a row an instrument says of its first and last day."""

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.new import propose
from ingest.beginning.raw_tables import RawTable
from ingest.beginning.survey import survey_of

BENCHES = ("Receiving", "Neck straightening", "Nut", "Final")
HANDS = {"Receiving": "Ann", "Neck straightening": "Bo", "Nut": "Cy", "Final": "Di"}


def looked(heading, rows):
    table = RawTable("", tuple(heading), tuple(zip(*rows, strict=True)))
    return survey_of("a.csv", table)


def targets(seen):
    return {column.heading: column.guess.target(column.guess.stage) for column in seen.columns if column.guess.taken}


def visits(way="Xyzzy", who="Qwert"):
    """Forty instruments through four benches, of which six went back to two of them."""
    rows = []
    for n in range(40):
        for at, bench in enumerate(BENCHES):
            back = ("Nut", "Neck straightening")[n % 2] if bench == "Final" and n < 6 else ""
            rows.append(
                (
                    f"A{n:03}",
                    f"2026-03-{2 + n // 4:02} 0{at + 6}:{n % 4}0",
                    bench,
                    HANDS[bench],
                    back,
                    "back" if back else "ok",
                )
            )
    return ("Serial", "Date", "Bench", who, way, "Result"), rows


def test_a_column_filled_where_work_went_back_is_no_second_bench():
    told = targets(looked(*visits()))
    assert (told["Bench"], told["Xyzzy"], told["Qwert"]) == ("stage", "sent_back_to", "tech")


def instruments(first="3/2/26", last="3/4/26"):
    heading = (
        "No.",
        "In",
        "Necks by",
        "Nut by",
        "Nut lo",
        "Nut hi",
        "Bridge by",
        "Out",
        "Looked over by",
        "Bow (thou)",
        "Act lo",
        "Good?",
    )
    rows = [
        (f"W{n}", first, "Sam", "Jo", "24", "18", "Sam", last, "Jo", "10", "7", "yes" if n % 5 else "no")
        for n in range(40)
    ]
    return heading, rows


def test_in_and_out_of_days_only_are_the_first_day_and_the_last_of_a_row_an_instrument():
    told = targets(looked(*instruments()))
    assert told["In"] == "date @ neck_straightening"
    assert told["Out"] == "date @ final_inspection"
    assert told["Necks by"] == "tech @ neck_straightening"
    assert told["Looked over by"] == "tech @ final_inspection"
    assert told["Nut lo"] == "nut bass @ nut_slotting"
    assert told["Bow (thou)"] == "relief (thou) @ final_inspection"
    assert told["Act lo"] == "action bass @ final_inspection"


def test_in_and_out_with_times_of_day_are_begin_and_end_as_before():
    seen = looked(*instruments("3/2/26 08:10", "3/2/26 09:40"))
    assert [column.guess.field for column in seen.columns if column.heading in ("In", "Out")] == [
        "started_at",
        "finished_at",
    ]


def test_such_a_book_is_read_without_an_answer():
    heading, rows = instruments()
    text = "\n".join(",".join(row) for row in (heading, *rows))
    proposal = propose([("book.csv", text.encode())], said=checked_answers({"shop": {"name": "B", "timezone": "UTC"}}))
    assert 'key = "final_inspection"' in proposal.shop_toml


@pytest.mark.parametrize(
    ("cells", "field"),
    [
        (["left", "right"], "hand"),
        (["L", "R", "lefty"], "hand"),
        (["Standard", "Left-handed"], "hand"),
        (["rechts"], "hand"),
        (["Rosa", "Pim", "Gil", "Tove", "Emre", "Ann", "Bo"], "tech"),
        (["Rosa", "Pim", "Gil"], "tech"),
        (["RL", "AB", "LH"], "tech"),
        (["Rosa"], "tech"),
    ],
)
def test_a_hand_is_left_or_right_where_its_cells_say_so_and_else_who_did_it(cells, field):
    heading, rows = visits(who="Hand")
    rows = [(*row[:3], cells[n % len(cells)], *row[4:]) for n, row in enumerate(rows)]
    assert targets(looked(heading, rows))["Hand"] == field


@pytest.mark.parametrize(("bench", "asked"), [("Receiving", "unsure"), ("Final", "sure")])
def test_a_bend_read_at_receiving_alone_is_asked_about(bench, asked):
    heading, rows = visits()
    rows = [(*row, "0.12" if row[2] == bench else "") for row in rows]
    [bend] = [one for one in looked((*heading, "Courbure (mm)"), rows).columns if one.heading == "Courbure (mm)"]
    assert (bend.guess.field, bend.guess.level) == ("reading", asked)
