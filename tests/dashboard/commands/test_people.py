"""The command that says who may sign in, and that nothing is served on a network before somebody may."""

import io
import sys

import pytest

from dashboard.commands import cli, trailed
from ingest.access import file, people, trail
from tests.ingest.bench import log, shop

TECHS = '\n[[tech]]\nkey = "T07"\n'


@pytest.fixture
def folder(tmp_path):
    return shop(tmp_path / "shop", TECHS)


def run(capsys, monkeypatch, *words, typed="four words of mine\n"):
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    code = cli.run([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_people_are_added_listed_and_taken_off(capsys, monkeypatch, folder):
    add = ("people", "add", "Ana Roche", "--role", "manager", "--shop", folder)
    assert run(capsys, monkeypatch, *add)[:2] == (0, "Ana Roche may sign in as manager: everything.\n")
    assert run(capsys, monkeypatch, *add)[0] == 2
    code, out, _ = run(capsys, monkeypatch, "people", "list", "--shop", folder)
    assert (code, out) == (0, "Ana Roche: manager; never signed in\n")
    code, out, _ = run(capsys, monkeypatch, "people", "remove", "ana  roche", "--shop", folder)
    assert (code, "may not sign in any more" in out) == (0, True)
    assert people.everybody(folder) == []
    assert run(capsys, monkeypatch, "people", "remove", "Ana", "--shop", folder)[0] == 2


@pytest.mark.parametrize(
    ("more", "typed", "says"),
    [
        (("--role", "king"), "four words of mine\n", "is no role"),
        (("--role", "bench"), "four words of mine\n", "--tech"),
        (("--role", "bench", "--tech", "T99"), "four words of mine\n", "wanted one of T07"),
        (("--role", "guest"), "short\n", "at least 12"),
        (("--role", "guest"), "", "at least 12"),
    ],
)
def test_what_is_wrong_is_one_line_and_nobody_is_added(capsys, monkeypatch, folder, more, typed, says):
    code, out, err = run(capsys, monkeypatch, "people", "add", "Bo", *more, "--shop", folder, typed=typed)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert says in err
    assert people.everybody(folder) == []


def test_nothing_is_served_on_a_network_before_somebody_may_sign_in(capsys, monkeypatch, folder):
    served = []
    monkeypatch.setattr("dashboard.app.serve", lambda app, port, way: served.append(way))
    code, _, err = run(capsys, monkeypatch, "serve", "--network", "--no-open", "--port", "0", "--shop", folder)
    assert (code, served, "truerun people add" in err) == (2, [], True)
    run(capsys, monkeypatch, "people", "add", "Ana", "--role", "manager", "--shop", folder)
    code, out, _ = run(
        capsys, monkeypatch, "serve", "--network", "--no-open", "--port", "0", "--name", "Tools.lan", "--shop", folder
    )
    assert (code, served[0].answers_to("tools.lan"), served[0].secure) == (0, True, False)
    assert "Not encrypted" in out


def test_what_is_done_at_the_command_line_stands_in_the_trail(capsys, monkeypatch, tmp_path, folder):
    def lines():
        return [(one.who, one.what, one.about) for one in trail.newest(folder)]

    head = "serial,model,stage,tech,started_at,outcome"
    sheet = log(tmp_path, "monday.csv", ["A1,LARK-25,packing,T07,2026-03-02 10:00,pass"], head)
    assert run(capsys, monkeypatch, "load", sheet, "--shop", folder)[0] == 0
    assert run(capsys, monkeypatch, "figures", "--out", tmp_path / "early", "--shop", folder)[0] == 0
    assert not (folder / file.FILE).exists()  # nobody signs in: no trail
    run(capsys, monkeypatch, "people", "add", "Ana Roche", "--role", "manager", "--shop", folder)
    run(capsys, monkeypatch, "unload", "monday.csv", "--why", "wrong week", f"--shop={folder}")
    assert lines()[0] == ("at the command line", "unloaded", "monday.csv --why wrong week")
    assert run(capsys, monkeypatch, "unload", "monday.csv", "--shop", folder)[0] == 2
    assert len(lines()) == 2  # what was not done is no line
    run(capsys, monkeypatch, "load", sheet, "--shop", folder)
    assert lines()[0][1:] == ("loaded", "monday.csv")
    trailed.looked(folder, "T07", "the target card")
    assert lines()[0][1:] == (trail.READ, "T07: the target card")
    run(capsys, monkeypatch, "figures", "--out", tmp_path / "figures", "--shop", folder)
    run(capsys, monkeypatch, "forget", "T07", "--yes", "--shop", folder)
    assert [what for _, what, _ in lines()[:2]] == ["took a name out", trail.READ]
    assert not any("T07" in line[2] for line in lines())
    assert [one.about for one in trail.readings_of(folder, "T01")] == ["*: all figures"]
