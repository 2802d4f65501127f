"""`publish` at the command line: what leaves of people, what is written, one line for what goes wrong."""

import shutil
from pathlib import Path

import polars as pl
import pytest

from analysis.studies.drift import states
from analysis.studies.room import capability
from dashboard.commands import cli
from dashboard.desk.people_published import Leaving
from dashboard.exports import published
from ingest.store.store import open_snapshot
from ingest.store.target import Target, pieces_of, tables_of
from ingest.verbs.load import load
from tests.dashboard.pages import people_shop
from tests.dashboard.pages.people_shop import NOW, TECHS
from tests.ingest.bench import log, row, shop

NAMES = [*TECHS, *TECHS.values(), *(part for name in TECHS.values() for part in name.split())]


def run(capsys, *arguments):
    """Exit code, lines on stdout, lines on stderr."""
    code = cli.run([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out.splitlines(), err.splitlines()


@pytest.fixture(scope="module")
def standing(tmp_path_factory):
    return people_shop.stands(tmp_path_factory.mktemp("weir") / "shop")


@pytest.fixture
def folder(standing, tmp_path):
    """A shop of its own to publish from."""
    return Path(shutil.copytree(standing, tmp_path / "shop"))


def say_publish(folder, word):
    """[people] publish of a shop."""
    toml = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(toml.replace("[people]\n", f'[people]\npublish = "{word}"\n', 1))


def at(target):
    """Every table at a target: name -> rows."""
    place = Target(str(target))
    found = place.shops().row(0, named=True)
    pieces = pieces_of(found)
    return {name: place.rows(found["shop"], name, pieces) for name in tables_of(pieces)}


def texts(told):
    """Every text that stands in tables."""
    return {
        text
        for rows in told.values()
        for name, kind in rows.schema.items()
        if kind == pl.String
        for text in rows[name].unique()
    }


def named(told):
    """Names of people that stand in any of the texts."""
    every = "\n".join(sorted(text for text in texts(told) if text))
    return [name for name in NAMES if name in every]


def test_nobody_is_named_and_a_person_has_one_code_from_week_to_week(capsys, folder, tmp_path):
    code, out, _ = run(capsys, "publish", tmp_path / "all", "--shop", folder)
    assert code == 0
    assert out[-1].endswith("People: by codes that only this folder can tell.")
    told = at(tmp_path / "all")
    assert named(told) == []
    by_code = told["visits"].filter(pl.col("tech") != "")["tech"].unique()
    assert by_code.str.starts_with("person-").all()
    assert len(by_code) == len(set(open_snapshot(folder).table("visits", "tech")["tech"]) - {""})
    assert set(told["streams"]["tech"]) <= {"", *by_code}
    assert run(capsys, "publish", tmp_path / "all", "--shop", folder)[1] == [
        f"{tmp_path / 'all'}: weir-lane-instruments stands there as it is here, "
        f"{sum(map(len, told.values())):,} rows; nothing was written."
    ]


def test_codes_of_two_folders_say_nothing_of_each_other(standing):
    bare = open_snapshot(standing)
    assert Leaving(bare, "00" * 16).code("T09") != Leaving(bare, "01" * 16).code("T09")
    assert Leaving(bare, "00" * 16).code("T09") == Leaving(bare, "00" * 16).code("T09") != ""
    assert Leaving(bare, "00" * 16, ["T09"]).code("T09") == ""  # whose time to be shown is over


def test_where_nobody_may_be_shown_no_row_is_one_persons(capsys, folder, tmp_path):
    say_publish(folder, "none")
    assert run(capsys, "publish", tmp_path / "all", "--shop", folder)[0] == 0
    told = at(tmp_path / "all")
    assert named(told) == []
    assert set(told["visits"]["tech"]) == {""} == set(told["capability"]["tech"])


def test_names_leave_only_where_the_shop_says_so_twice(capsys, folder, tmp_path):
    say_publish(folder, "names")
    code, out, err = run(capsys, "publish", tmp_path / "all", "--shop", folder)
    assert (code, out, len(err)) == (2, [], 1)
    assert 'publish = "names" needs show = "names" too' in err[0]
    toml = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(toml.replace('show = "codes"', 'show = "names"\npurpose = "coaching"'))
    assert run(capsys, "publish", tmp_path / "all", "--shop", folder)[0] == 0
    assert "T09" in texts(at(tmp_path / "all"))


def test_figures_leave_as_they_are_at_home_to_the_last_digit(capsys, folder, tmp_path):
    run(capsys, "publish", tmp_path / "all", "--shop", folder)
    told, bare = at(tmp_path / "all"), open_snapshot(folder)
    for name, work in (("streams", states.stream_rows), ("capability", capability.capability_rows)):
        home = bare.once(work)
        numbers = [column for column in home.columns if home[column].dtype.is_numeric()]
        mine, theirs = (rows.filter(pl.col("tech") == "").sort(rows.columns[:4]) for rows in (home, told[name]))
        assert mine.select(numbers).equals(theirs.select(numbers))
    assert len(told["readings"]) == len(bare.table("readings"))


def test_a_name_in_a_word_of_the_trade_and_what_was_written_by_hand_stay_at_home(tmp_path):
    folder = shop(tmp_path / "shop", '\n[[tech]]\nkey = "T07"\nname = "Mary Quill"\nwords = ["MQ"]\n')
    rows = [row("A1", tech="T07", fault="buzz; Mary Quill to look"), row("A2", tech="Pat Unlisted", note="ask Pat")]
    load(folder, [log(folder, "a.csv", rows)], now=NOW)
    bare = open_snapshot(folder)
    told = {name: pl.concat(pieces.values()) for name, pieces in published.published(bare, Leaving(bare, "00" * 16))}
    every = "\n".join(sorted(text for text in texts(told) if text))
    assert [word for word in ("Mary", "Quill", "Pat", "T07", "Unlisted") if word in every] == []
    assert "person-" in "".join(told["faults"]["fault"])
    assert {"note", "other", "job", "raw"} & {name for rows in told.values() for name in rows.columns} == set()
    assert set(told["visits"]["serial"]) == {"A1", "A2"}


@pytest.fixture
def small(tmp_path):
    """A shop of three instruments, one of them by somebody who will be forgotten."""
    folder = shop(tmp_path / "small", '\n[[tech]]\nkey = "T07"\nname = "Mary Quill"\nwords = ["MQ"]\n')
    path = log(folder, "a.csv", [row("A1", tech="MQ"), row("A2"), row("A3")])
    assert cli.run(["load", str(path), "--shop", str(folder)]) == 0
    return folder


def test_after_a_name_was_forgotten_the_next_publication_takes_its_code_out(capsys, small, tmp_path):
    capsys.readouterr()
    run(capsys, "publish", tmp_path / "all", "--shop", small)
    before = texts(at(tmp_path / "all"))
    code, out, err = run(capsys, "forget", "Mary Quill", "--yes", "--shop", small)
    assert (code, err) == (0, [])
    assert any(f"not covered: {tmp_path / 'all'}: published there before" in line for line in out)
    run(capsys, "publish", tmp_path / "all", "--shop", small)
    gone = {text for text in before - texts(at(tmp_path / "all")) if text.startswith("person-")}
    assert len(gone) == 1
    files = [path.read_bytes() for path in (tmp_path / "all").rglob("*") if path.is_file()]
    assert not any(code.encode() in data for data in files for code in gone)


def test_what_was_published_comes_out_again(capsys, small, tmp_path):
    capsys.readouterr()
    run(capsys, "publish", tmp_path / "all", "--shop", small, "--as", "weir")
    code, out, _ = run(capsys, "publish", tmp_path / "all", "--withdraw", "--shop", small)
    assert (code, len(out)) == (0, 1)
    assert "rows of weir are out of it, files too" in out[0]
    code, out, err = run(capsys, "publish", tmp_path / "all", "--withdraw", "--shop", small)
    assert (code, out) == (2, [])
    assert err == [f"{tmp_path / 'all'}: nothing of this shop was published there"]


def test_what_goes_wrong_is_one_line_and_nothing_is_done(capsys, tmp_path):
    empty = shop(tmp_path / "shop")
    for arguments, told in (
        (["publish", tmp_path / "all", "--shop", empty], "Nothing is loaded in this shop yet"),
        (["publish", tmp_path / "all", "--shop", empty, "--option", "region"], "--option wants KEY=VALUE"),
        (["publish", tmp_path / "all", "--shop", tmp_path / "nowhere"], "There is no folder 'nowhere'"),
    ):
        code, out, err = run(capsys, *arguments)
        assert (code, out, len(err)) == (2, [], 1)
        assert told in err[0]
    assert not (tmp_path / "all").exists()
