"""A name in every spelling a hand or a program gives it, and nothing that is somebody else."""

import unicodedata

import pytest

from ingest.verbs.names import Names, spellings

MARY = Names(("Mary Quill", "MQ"), "X01")
ZOE = Names(("Zoë O'Neill",), "X01")


@pytest.mark.parametrize(
    "text",
    [
        "Mary Quill", "mary quill", "MARY  QUILL", "Mary\u00a0Quill", "Mary_Quill", "Mary-Quill", "Mary\u2010Quill",
        "Mary\tQuill", "Quill, Mary", "QUILL,MARY", "Quill , Mary", "Quill Mary", "Mary&nbsp;Quill", "MQ",
    ],
)  # fmt: skip
def test_every_spelling_of_a_name_is_taken_out(text):
    assert MARY.out(text) == "X01"
    assert MARY.out(f"asked {text}; and left") == "asked X01; and left"


@pytest.mark.parametrize(
    "text",
    [
        "Zoë O'Neill", unicodedata.normalize("NFD", "Zoë O'Neill"), "ZOË O’NEILL", r"Zo\u00eb O'Neill",
        r"Zo\u00EB O'Neill", "Zo&#235; O&#39;Neill", "O'Neill, Zoë",
    ],
)  # fmt: skip
def test_accents_and_apostrophes_in_any_form(text):
    assert ZOE.out(text) == "X01"


@pytest.mark.parametrize(
    "text", ["Mary Quillan", "Rosemary Quill", "Mary Quill-Smith", "mq", "MQ-9", "MQX", "Mary", "Quill"]
)
def test_somebody_else_stays(text):
    assert MARY.out(text) == text


def test_a_surname_and_a_given_name_in_two_cells_stay_two_cells():
    text = 'surname,given,note\nQuill,Mary,"Quill, Mary was here"\n'
    assert MARY.out_of_lines(text) == 'surname,given,note\nX01,X01,"X01 was here"\n'
    assert MARY.out_of_lines("tech;note\nQuill, Mary;x\n") == "tech;note\nX01;x\n"


@pytest.mark.parametrize(
    "name", ["mary_quill.csv", "Mary Quill.csv", "maryquill.csv", "quill-mary.csv", "Quill, Mary.csv", "MARY.QUILL.csv"]
)
def test_names_of_files(name):
    assert MARY.out_of_name(name) == "X01.csv"
    assert MARY.out_of_name("week 3.csv") == "week 3.csv"


def test_words_of_logs_that_the_loader_takes_for_the_name_are_added():
    more = spellings(MARY, ["ＭＡＲＹ Quill", "mary quill:", "Jo"])
    assert "ＭＡＲＹ Quill" in more.terms
    assert "Jo" not in more.terms


def test_what_only_looks_alike_is_listed_and_what_is_meant_or_far_off_is_not():
    words = ["Mary Quil", "M. Quill", "Marie Quill", "mary quill", "Quill", "Jo Fenn", "MQ", "X01", "Tony"]
    assert MARY.alike(words) == ["Mary Quil", "M. Quill", "Marie Quill", "Quill"]


def test_long_names_are_found_in_bytes_and_short_ones_not_looked_for():
    assert MARY.raw is not None
    for codec in ("utf-8", "utf-16-le", "utf-16-be"):
        assert MARY.raw.search("xx MARY quill".encode(codec))
    assert Names(("MQ",), "X01").raw is None


def test_somebody_with_a_longer_name_is_not_taken_for_a_trace_of_this_one():
    assert MARY.raw is not None
    assert MARY.raw.search(b"A4,Mary Quill-Smith,pass") is None
    assert MARY.alike(["Mary Quill-Smith"]) == ["Mary Quill-Smith"]
