"""No page says a word of statistics or of our own code where bench people read: each page, its folds, its charts."""

import importlib
import re

import pytest

from dashboard.app import FURTHER, PAGES, make_app
from dashboard.pages.addresses import ADDRESSES
from tests.dashboard.pages.said import read_by_people, said

# the words that pages must not use, and what they say instead stands in dashboard/sentences
NOT_SAID = re.compile(
    r"\b(streams?|T2|T\u00b2|Hotelling|rr|R&R|phi|rolled yield|EWMA|CUSUM|autocorrelat\w*|p-value)\b", re.IGNORECASE
)
ONE_OF_MANY = re.compile(r"\b1 (readings|series are|instruments|send-backs|logs|visits|rows|matters|questions)\b")
FOLDS = {
    "/drift": ("limits", "buys", "all", "odd", "patterns", "played", "judges"),
    "/capability": ("figures", "gauges", "beside", "rest", "air", "plan"),
    "/rework": ("away", "travels", "other", "returns", "stages", "where"),
}


def module(path):
    names = [*PAGES.values(), *FURTHER]
    return next(m for m in (importlib.import_module(f"dashboard.pages.{name}") for name in names) if path == m.PATH)


PATHS = [path for path in ADDRESSES if not path.startswith(("/save/", "/papers/", "/go"))]


def walked(counter, path):
    make_app(counter)
    page = module(path)
    yield from read_by_people(page.layout())
    for fold in FOLDS.get(path, ()):
        yield from read_by_people(page.layout(open=fold))


@pytest.mark.parametrize("path", PATHS)
def test_no_word_of_statistics_stands_where_people_read(path, moving_desk, reworked_desk, people_desk):
    for counter in (moving_desk, reworked_desk, people_desk):
        for text in walked(counter, path):
            assert not NOT_SAID.search(text), text
            assert not ONE_OF_MANY.search(text), text


def test_every_fold_that_is_walked_is_there(moving_desk, reworked_desk):
    for path, counter in (("/drift", moving_desk), ("/capability", moving_desk), ("/rework", reworked_desk)):
        make_app(counter)
        for fold in FOLDS[path]:
            assert '"aria-expanded": "true"' in said(module(path).layout(open=fold)), fold


def test_the_walk_sees_a_word_in_text_label_and_chart():
    seen = read_by_people(
        {"props": {"children": [{"props": {"label": "a stream"}}, {"props": {"wide": "<text>T2 here</text>"}}]}}
    )
    assert [bool(NOT_SAID.search(text)) for text in seen] == [True, True]
    assert ONE_OF_MANY.search("of 1 readings")
    assert not ONE_OF_MANY.search("of 21 readings")
