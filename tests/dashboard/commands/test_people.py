"""The command that says who may sign in, and that nothing is served on a network before somebody may."""

import io
import sys

import pytest

from dashboard.commands import cli
from ingest.access import people
from tests.ingest.bench import shop

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
