"""Folds: a line each; one that is open stands below them, or on a long page in the place of what is above."""

from dash import html

from dashboard.pages.folds import Fold, folded
from tests.dashboard.pages.said import said

FOLDS = [Fold("air", "Air", "dry", lambda: html.P("of the air")), Fold("rest", "Rest", "all", lambda: html.P("rest"))]


def test_an_open_fold_stands_below_the_others_and_its_line_closes_it():
    text = said(folded(FOLDS, "/x", {"open": "air", "page": "3"}))
    assert text.index("Rest") < text.index("of the air")
    assert '"/x"' in text
    assert "/x?open=rest" in text
    assert "page" not in text


def test_on_a_long_page_an_open_fold_stands_in_the_place_of_what_is_above():
    made = []

    def above():
        made.append(1)
        return [html.P("above it all")]

    assert said(folded(FOLDS, "/x", {}, above=above)).index("above it all") >= 0
    text = said(folded(FOLDS, "/x", {"open": "air"}, above=above))
    assert "above it all" not in text
    assert text.index("Back to the whole page") < text.index("of the air") < text.index("/x?open=rest")
    assert made == [1], "what is not shown is not worked out"


def test_without_a_fold_that_is_there_the_page_stands_whole():
    assert "above it all" in said(folded(FOLDS, "/x", {"open": "gone"}, above=lambda: [html.P("above it all")]))
