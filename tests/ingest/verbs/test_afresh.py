"""Figures worked out anew beside those that shops published: whose count, and what is said of it."""

from dataclasses import dataclass, field

import polars as pl

from ingest.store.target import Piece, pieces_text
from ingest.verbs.afresh import laid_over


@dataclass
class One:
    shop: str
    tables: dict = field(default_factory=dict)
    why: str = ""


def row(shop, program="1", tables=("levels",)):
    return {"shop": shop, "program": program, "pieces": pieces_text([Piece(name, "", 1, 1, "") for name in tables])}


def levels(**means):
    return pl.DataFrame([{"shop": shop, "mean": mean, "n": 9} for shop, mean in means.items()])


def own(mean):
    return {"levels": pl.DataFrame({"mean": [mean], "n": [9]})}


def test_the_same_figures_are_silent_and_others_are_said_and_stay_behind():
    held = {"levels": levels(north=2.0, west=3.0)}
    said = laid_over(
        held, [row("north"), row("west")], [One("west", own(3.0 + 1e-15 * 3)), One("north", own(2.0))], "1"
    )
    assert said == ["west: its rows give other levels than it published; its own stand"]
    assert held["levels"].equals(levels(north=2.0, west=3.0))


def test_figures_of_another_version_are_taken_as_they_are_found_here():
    held = {"levels": levels(north=2.0, west=3.0)}
    said = laid_over(held, [row("north"), row("west", "0")], [One("north", own(2.0)), One("west", own(9.0))], "1")
    assert said == ["west: published by version 0, worked out here by 1"]
    assert held["levels"].sort("shop")["mean"].to_list() == [2.0, 9.0]
    gone = {"levels": pl.DataFrame(schema={"mean": pl.Float64, "n": pl.Int64})}
    laid_over(held, [row("west", "0")], [One("west", gone)], "1")
    assert held["levels"]["shop"].to_list() == ["north"]


def test_a_table_that_was_not_published_yet_is_put_in_and_why_not_is_said_once_of_many():
    held = {"levels": levels(north=2.0)}
    mix = {"mix": pl.DataFrame({"stage": ["final"], "came_back": [3]})}
    found = [One("north", own(2.0) | mix), One("west", why="no codes"), One("east", why="no codes")]
    said = laid_over(held, [row("north"), row("west"), row("east")], found, "1")
    assert said == ["east, west: no codes"]
    assert held["mix"].rows() == [("north", "final", 3)]
