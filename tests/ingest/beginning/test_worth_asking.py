"""Columns that are asked about since nothing else tells the model or the hands, and what no column tells."""

from ingest.beginning.answers import checked_answers
from ingest.beginning.new import propose

SAID = {"shop": {"name": "B", "timezone": "UTC"}}
BIRDS, NAMES = ("Wader", "Teal", "Knot"), ("Nils Berg", "Ola Lie", "Åse Moe", "Per Dal")
BENCHES = ("Receiving", "Nut", "Final")


def proposed(*, birds=True, names=True, serials=24, fail="fail"):
    heading = [
        "Serial",
        "Date",
        "Bench",
        *(["Zz"] if birds else []),
        *(["Yy"] if names else []),
        "Result",
        "Relief (mm)",
    ]
    rows = []
    for n in range(serials):
        for at, bench in enumerate(BENCHES):
            cells = [BIRDS[n % 3]] * birds + [NAMES[(n + at * n) % 4]] * names
            rows.append([f"A{n:03}", f"2026-03-{2 + n:02}", bench, *cells, fail if n == 3 and at == 2 else "ok", "0.2"])
    text = "\n".join(",".join(row) for row in [heading, *rows])
    return propose([("book.csv", text.encode())], said=checked_answers(SAID))


def asked(proposal):
    return {column.heading: column.guess.field for column in proposal.surveys[0].unsure()}


def test_the_one_column_of_few_words_an_instrument_is_asked_about_as_its_model():
    assert asked(proposed(names=False)) == {"Zz": "model"}
    assert any("'Zz'" in ask.text and "perhaps model" in ask.text for ask in proposed(names=False).asks)


def test_the_one_column_of_words_that_change_from_bench_to_bench_is_asked_about_as_the_hands():
    assert asked(proposed()) == {"Zz": "model", "Yy": "tech"}


def test_what_no_column_tells_is_said():
    told = proposed(birds=False, names=False).unread
    assert "People are not read: no column is taken for who did the work" in told
    assert "Where instruments went back to is not read: no column is taken for it" in told


def test_a_place_behind_a_result_is_where_it_went_back_to():
    assert not any("went back" in line for line in proposed(fail="FAIL -> Nut").unread)


def test_a_bench_in_capitals_and_without_is_asked_about_once():
    rows = [f"A{n},2026-03-{2 + n:02},{'zub' if n % 2 else 'Zub'},0.2" for n in range(24)]
    told = propose([("book.csv", "\n".join(["Serial,Date,Bench,Relief (mm)", *rows]).encode())])
    keys = [ask.key for ask in told.asks if ask.key.startswith("stage ") and "zub" in ask.key.casefold()]
    assert len(keys) == 1
    said = propose(
        [("book.csv", "\n".join(["Serial,Date,Bench,Relief (mm)", *rows]).encode())], answers={keys[0]: "levelling"}
    )
    assert {*said.logs[0].words["stage"].values()} == {"levelling"}
