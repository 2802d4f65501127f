"""Hundreds of questions as a few decisions: what is guessed, what the stories bear out, answers, and undo."""

import polars as pl
import pytest

from analysis.studies.story.waiting import waiting
from ingest.store.problems import StoreProblem
from ingest.store.store import open_snapshot
from ingest.terms.questions import UNKNOWABLE
from ingest.verbs.answers import Answer, answer, filled_in, sheet, take_back
from ingest.verbs.guessed_words import nearest_keys
from ingest.verbs.load import load
from ingest.verbs.worklist import worklist
from tests.ingest.bench import NOW, held, log, row, shop
from tests.ingest.verbs.test_load import same

STAGES = ("neck_straightening", "play_test", "final_inspection", "packing")
MISTYPED = {
    "play_test": ("paly_test", "plya test", "play tset"),
    "final_inspection": ("fianl", "final insp", "inspection f"),
}


def story(serial: str, number: int, **words: str) -> list[str]:
    """The four visits of an instrument, some stages as somebody mistyped them."""
    day = 2 + number // 12
    lines = []
    for place, stage in enumerate(STAGES):
        start = f"2026-03-{day:02} {8 + place * 2:02}:{number % 12 * 4:02}"
        relief = words.get("relief", "0.20") if stage == "play_test" else ""
        lines.append(row(serial, stage=words.get(stage, stage), start=start, finish="", relief=relief))
    return lines


@pytest.fixture
def folder(tmp_path):
    folder = shop(tmp_path)
    rows = []
    for number in range(60):
        words = {}
        if number % 4 == 0:
            words = {"play_test": MISTYPED["play_test"][number % 3]}
        elif number % 4 == 1:
            words = {"final_inspection": MISTYPED["final_inspection"][number % 3]}
        rows += story(f"S{number:03}", number, **words)
    rows += story("D1", 61, relief='"') + story("D2", 62, relief="25") + story("D3", 63, relief="O.21")
    load(folder, [log(folder, "bench.csv", rows)], now=NOW)
    return folder


def decisions(folder):
    snapshot = open_snapshot(folder)
    return {one.key: one for one in worklist(snapshot, folder=folder, asked=waiting(snapshot))}


def test_a_transposition_is_one_letter():
    known = {"play test": "play_test", "packing": "packing", "rest": "rest"}
    assert nearest_keys("paly test", known)[0] == (pytest.approx(1 / 9), "play_test")
    assert nearest_keys("rset", known)[0][1] == "rest"


def test_mistyped_stages_are_one_decision_and_the_stories_bear_the_guesses_out(folder):
    found = decisions(folder)["stage"]
    assert found.rows == 30
    guesses = {group.typed: group for group in found.groups}
    for key, words in MISTYPED.items():
        for word in words:
            assert (guesses[word].guess, guesses[word].sure) == (key, True), word
            assert guesses[word].fits == guesses[word].of == len(guesses[word].rows)


def test_a_guess_that_the_story_contradicts_is_not_ticked(tmp_path):
    folder = shop(tmp_path)
    rows = [line for number in range(12) for line in story(f"S{number}", number)]
    rows += [row(f"S{number}", stage="play tst", start=f"2026-03-20 09:{number:02}", finish="") for number in range(6)]
    load(folder, [log(folder, "bench.csv", rows)], now=NOW)
    [group] = decisions(folder)["stage"].groups
    assert (group.guess, group.fits, group.of, group.sure) == ("play_test", 0, 6, False)


def test_accepting_the_guesses_brings_their_rows_in_and_undo_takes_them_out_again(folder):
    before = held(folder)
    groups = [group for group in decisions(folder)["stage"].groups if group.sure]
    done = answer(folder, [Answer(group, group.guess) for group in groups], "Mo", "read off the cards", now=NOW)
    assert (done.settled, done.rows_in) == (30, 30)
    assert "stage" not in decisions(folder)
    stages = open_snapshot(folder).table("visits")["stage"].value_counts()
    assert dict(stages.iter_rows())["play_test"] == 63
    line = open_snapshot(folder).table("words").row(0, named=True)
    assert (line["who"], line["why"], line["field"]) == ("Mo", "read off the cards", "stage")
    take_back(folder, done.first, done.last, "Mo", logs=done.logs, now=NOW)
    same(held(folder), before)
    assert decisions(folder)["stage"].rows == 30


def test_words_explained_once_hold_for_every_sheet_that_comes_later(folder):
    groups = decisions(folder)["stage"].groups
    answer(folder, [Answer(group, group.guess) for group in groups], "Mo", "", now=NOW)
    [came] = load(folder, [log(folder, "next.csv", story("N1", 70, play_test="paly_test"))], now=NOW)
    assert (came.accepted, came.set_aside) == (4, 0)


def test_what_cannot_be_known_is_an_answer_and_stays_in_the_account(folder):
    [ditto] = [group for one in decisions(folder).values() for group in one.groups if group.typed == '"']
    before = open_snapshot(folder).table("logs")
    done = answer(folder, [Answer(ditto, UNKNOWABLE)], "Mo", "no card left", now=NOW)
    assert not [group for one in decisions(folder).values() for group in one.groups if group.typed == '"']
    assert open_snapshot(folder).table("logs").equals(before)
    take_back(folder, done.first, done.last, "Mo", now=NOW)
    assert [group for one in decisions(folder).values() for group in one.groups if group.typed == '"']


def test_values_are_guessed_where_only_one_reading_is_left_in_the_range_of_the_column(folder):
    groups = {group.typed: group for one in decisions(folder).values() for group in one.groups}
    assert groups["25"].real
    assert groups['"'].guess == ""
    if "O.21" in groups:
        answer(folder, [Answer(groups["O.21"], "0.21")], "Mo", "the letter O", now=NOW)
        readings = (
            open_snapshot(folder)
            .table("readings")
            .filter((pl.col("serial") == "D3") & (pl.col("characteristic") == "relief"))
        )
        assert readings["value"].to_list() == [0.21]
    answer(folder, [Answer(groups["25"], "it is real")], "Mo", "a broken rod", now=NOW)
    real = (
        open_snapshot(folder)
        .table("readings")
        .filter((pl.col("serial") == "D2") & (pl.col("characteristic") == "relief"))
    )
    assert real["value"].to_list() == [25.0]


def test_the_same_at_the_command_line_is_a_sheet_to_fill_in(folder):
    found = list(decisions(folder).values())
    text = sheet(found)
    assert text.splitlines()[0] == "decision,as typed,column,rows,where,wanted,guess,answer"
    answers = filled_in(text, found)
    assert {one.group.typed for one in answers} == {word for words in MISTYPED.values() for word in words} | {
        one.group.typed for one in answers if one.group.kind == "value"
    }
    filled = text.replace("neck relief", "neck relief")
    lines = [line + ("" if not line.startswith("Ditto") else "?") for line in filled.splitlines()]
    given = filled_in("\n".join(lines), found)
    assert [one.text for one in given if one.group.typed == '"'] == [UNKNOWABLE]
    with pytest.raises(StoreProblem, match="no sheet of questions"):
        filled_in("a,b\n1,2\n", found)


def test_nobody_and_nothing_are_no_answer(folder):
    [group, *_] = decisions(folder)["stage"].groups
    for given, who in (([Answer(group, "play_test")], " "), ([Answer(group, " ")], "Mo"), ([], "Mo")):
        with pytest.raises(StoreProblem) as problem:
            answer(folder, given, who, "", now=NOW)
        assert "\n" not in str(problem.value)


def test_a_day_that_cannot_be_read_is_answered_with_a_day(tmp_path):
    folder = shop(tmp_path)
    rows = [row("S1"), row("S2", start="2026-03-41 08:00")]
    load(folder, [log(folder, "bench.csv", rows)], now=NOW)
    [one] = decisions(folder).values()
    [group] = one.groups
    assert (group.column, group.cell) == ("", "started_at")
    lines = sheet([one]).splitlines()
    [given] = filled_in("\n".join([lines[0], lines[1] + "2026-03-02 08:00"]), [one])
    answer(folder, [given], "Mo", "read off the card", now=NOW)
    assert not decisions(folder)
    assert "S2" in open_snapshot(folder).table("visits")["serial"].to_list()
