"""What a load says on a terminal: a word nobody listed is one question, however many rows it stands in."""

import pytest

from dashboard.sentences import logs as telling
from ingest.verbs.load import load
from ingest.verbs.loaded import Loaded
from tests.ingest.bench import NOW, log, row, shop


def test_an_unlisted_stage_is_one_line_and_not_a_line_a_row(tmp_path):
    folder = shop(tmp_path)
    files = [log(folder, f"{name}.csv", [row(f"{name}{n}", stage="playtest") for n in range(12)]) for name in "ab"]
    told = list(telling.questions(load(folder, files, now=NOW)))
    assert told[1] == "  stage 'playtest' is not known (24)"
    lines = "lines 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 and 2 more"
    assert told[2].startswith(f"    a.csv, {lines}; b.csv, {lines}; wanted one of receiving,")
    assert told[2].endswith('words = { stage = { "playtest" = "play_test" } }')
    assert len(told) == 3


def test_other_reasons_are_told_row_by_row_and_then_counted(tmp_path):
    folder = shop(tmp_path)
    rows = [row(f"A{n}", relief="x") for n in range(11)]
    told = list(telling.questions(load(folder, [log(folder, "a.csv", rows)], now=NOW)))
    assert told[1] == "  cannot be read (11)"
    assert told[2].startswith("    a.csv, line 2: relief (mm) is 'x'; wanted ")
    assert told[-1] == "    and 1 more"
    assert len(told) == 13


def test_what_several_files_say_with_a_number_each_is_one_line_with_the_sum():
    files = [
        Loaded("a.csv", notes=("3 x 'WC' says '85' in a.csv: passed over", "tech 'XY' is not listed", "1,2 is odd")),
        Loaded("b.csv", notes=("12 x 'WC' says '85' in b.csv: passed over", "2 cells say nothing", "1,2 is odd")),
        Loaded("c.csv", notes=("tech 'XY' is not listed",)),
    ]
    assert telling.together(files) == [
        "15 x 'WC' says '85' in 2 files: passed over",
        "tech 'XY' is not listed",
        "1,2 is odd",
        "2 cells say nothing",
    ]


@pytest.mark.parametrize(
    ("waiting", "answers", "said"),
    [
        (0, (0, 0), "54 logs loaded; no question waits."),
        (1, (1, 0), "54 logs loaded; 1 question waits."),
        (505, (247, 63), "54 logs loaded; 505 rows and cells wait for 247 answers, 63 of them guessed."),
        (505, (1, 0), "54 logs loaded; 505 rows and cells wait for 1 answer."),
    ],
)
def test_the_headline_counts_answers_beside_rows(waiting, answers, said):
    assert telling.headline(54, waiting, answers) == said


def test_files_refused_for_one_reason_are_one_line():
    files = [
        Loaded("a.csv", outcome="refused", problem="a.csv: 'Nut G' names no stage"),
        Loaded("b.csv", outcome="refused", problem="b.csv: 'Nut G' names no stage"),
        Loaded("c.csv", outcome="refused", problem="c.csv: empty"),
        Loaded("d.csv", outcome="refused", problem="d.csv: 'Nut G' names no stage"),
    ]
    assert [line for _, line in telling.accounts(files)] == [
        "a.csv: 'Nut G' names no stage (and 2 more files, for the same reason)",
        "c.csv: empty",
    ]
