"""One shop's figures of what it published; what goes wrong with it is its own matter, in one line."""

from pathlib import Path

import pytest

from dashboard.cluster import work
from dashboard.commands import cli
from ingest.store.target import Target
from tests.ingest.bench import log, row, shop


@pytest.fixture(scope="module")
def target(tmp_path_factory):
    """A target with one small shop."""
    top = tmp_path_factory.mktemp("all")
    folder = shop(top / "shop")
    path = log(folder, "a.csv", [row(f"A{k}") for k in range(12)])
    assert cli.run(["load", str(path), "--shop", str(folder)]) == 0
    assert cli.run(["publish", str(top / "all"), "--shop", str(folder)]) == 0
    return Target(str(top / "all"))


def told(target, **other):
    return work.worked_out(target.address, {}, target.shops().row(0, named=True) | other)


def test_figures_come_back_with_what_they_cost(target):
    one = told(target)
    assert (one.shop, one.version, one.why) == ("weir-lane-instruments", 1, "")
    assert set(one.tables) == set(work.FIGURES)
    assert one.seconds > 0
    assert one.bytes_read > 0


def test_a_shop_that_publishes_no_codes_or_figures_only_is_told_by_its_own(target):
    pieces = target.shops()["pieces"][0]
    assert told(target, people="none").why == work.NO_CODES
    assert told(target, pieces=pieces.replace('"house"', '"hut"')).why == "it publishes figures only"
    assert told(target, pieces=pieces.replace('"specs"', '"spex"')).why.startswith("specs was not published")


def given_up(snapshot):
    raise type("PanicException", (BaseException,), {})("bytes that make no sense")


def ended(snapshot):
    raise KeyboardInterrupt


def test_a_fault_in_a_study_and_rows_that_are_gone_are_one_line_and_no_error(target, monkeypatch):
    def broken(snapshot):
        raise ZeroDivisionError("by nothing\nat all")

    monkeypatch.setitem(work.FIGURES, "mix", broken)
    assert told(target).why == "its figures could not be worked out here (ZeroDivisionError: by nothing)"
    monkeypatch.setitem(work.FIGURES, "mix", given_up)
    assert told(target).why == "its figures could not be worked out here (PanicException: bytes that make no sense)"
    monkeypatch.setitem(work.FIGURES, "mix", ended)
    with pytest.raises(KeyboardInterrupt):
        told(target)
    monkeypatch.undo()
    next(Path(target.address).glob("visits/shop=*/*/*.parquet")).write_bytes(b"no table")
    why = told(target).why
    assert "\n" not in why
    assert why
