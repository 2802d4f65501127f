"""Who may sign in, how a password is kept, and when a session ends."""

import sqlite3
from datetime import timedelta

import argon2
import pytest

from ingest.access import file, passwords, people, sessions, tablets, trail
from ingest.access.people import AccessProblem
from ingest.store.problems import StoreProblem
from ingest.verbs import backup, forget
from ingest.verbs.check import check
from ingest.verbs.load import load
from ingest.verbs.restore import restore
from tests.ingest.bench import NOW, log, row, shop

WORDS = "four words of mine"
TECHS = '\n[[tech]]\nkey = "T07"\nname = "Mary Quill"\n'


@pytest.fixture
def folder(tmp_path):
    made = shop(tmp_path / "shop", TECHS)
    people.add(made, "Ana", "manager", WORDS, now=NOW)
    people.add(made, "Mary Quill", "bench", WORDS, tech="T07", now=NOW)
    return made


def test_whoever_is_on_the_list_signs_in_with_their_own_password_and_nobody_else_does(folder):
    found = people.signing_in(folder, " aNA ", WORDS, now=NOW)
    assert (found.name, found.role) == ("Ana", "manager")
    assert people.signing_in(folder, "Ana", "four words of yours", now=NOW) is None
    assert people.signing_in(folder, "Bo", WORDS, now=NOW) is None
    assert [each.signed_in_at[:10] for each in people.everybody(folder)] == ["2026-06-01", ""]


@pytest.mark.parametrize(
    ("name", "role", "tech", "says"),
    [
        ("Ana", "guest", "", "may sign in already"),
        ("Bo", "king", "", "no role"),
        ("Bo", "bench", "", "--tech"),
        ("", "guest", "", "one line"),
        ("B\no" * 40, "guest", "", "one line"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(folder, name, role, tech, says):
    with pytest.raises(AccessProblem, match=says) as problem:
        people.add(folder, name, role, WORDS, tech=tech, now=NOW)
    assert "\n" not in str(problem.value)


@pytest.mark.parametrize(
    "password",
    [
        "short",
        "a" * 300,
        "aaaaaaaaaaaaaa",
        "abcdefghijklmnop",
        "0987654321098",
        "password1234",
        "Ana Ana Ana Ana 12",
        "qwertyuiopas",
        "liverpool1234",
        "monkey monkey 12",
        "",
    ],
)
def test_what_everybody_tries_first_is_no_password(password):
    assert passwords.wrong(password, "Ana")


@pytest.mark.parametrize("password", [WORDS, "x7.Kq-2pL!zR", "schnecke boden kapo", "пароль для мастерской"])
def test_long_ones_of_any_signs_are_taken(password):
    assert passwords.wrong(password, "Ana") == ""


def test_a_password_is_kept_as_argon2id_of_64_mebibytes_and_nowhere_as_it_was_typed(folder, monkeypatch):
    monkeypatch.setattr(
        passwords, "_HASHER", argon2.PasswordHasher.from_parameters(argon2.profiles.RFC_9106_LOW_MEMORY)
    )
    people.new_password(folder, "Ana", "another four words")
    with sqlite3.connect(folder / file.FILE) as connection:
        (secret,) = connection.execute("SELECT secret FROM people WHERE key = 'ana'").fetchone()
    connection.close()
    assert secret.startswith(b"$argon2id$v=19$m=65536,t=3,p=4$")
    assert b"another four" not in (folder / file.FILE).read_bytes()
    assert passwords.fits(None, "another four words") is False  # of nobody it is worked out all the same
    assert passwords.fits(secret, "another four words")


def test_only_the_owner_may_read_the_file_and_check_says_so(folder):
    path = folder / file.FILE
    assert path.stat().st_mode & 0o777 == 0o600
    assert "may sign in" in {part.part: part for part in check(folder, now=NOW)}[file.FILE].what
    path.chmod(0o644)
    found = {part.part: part for part in check(folder, now=NOW)}[file.FILE]
    assert (found.whole, "others on this machine" in found.what) == (False, True)
    people.everybody(folder)
    trail.note(folder, "Ana", "manager", "x", now=NOW)
    assert path.stat().st_mode & 0o777 == 0o600


def test_a_damaged_file_lets_nobody_in_and_says_so(folder):
    token = sessions.begin(folder, "Ana", now=NOW)
    (folder / file.FILE).write_bytes(b"no database" * 100)
    with pytest.raises(StoreProblem):
        sessions.look(folder, token, now=NOW)
    assert not {part.part: part for part in check(folder, now=NOW)}[file.FILE].whole


def test_a_session_ends_by_rest_by_age_by_signing_out_and_with_its_person(folder):
    later = sessions.look
    token = sessions.begin(folder, "Ana", now=NOW)
    assert later(folder, token, now=NOW + timedelta(minutes=119)).name == "Ana"
    assert later(folder, token, now=NOW + timedelta(minutes=119 + 121)) is None  # two hours without a request
    for hour in range(2, 13):
        seen = later(folder, token, now=NOW + timedelta(minutes=59 * hour))
    assert seen is not None
    assert later(folder, token, now=NOW + timedelta(hours=12, minutes=1)) is None  # whatever it did
    other = sessions.begin(folder, "Ana", now=NOW)
    sessions.end(folder, other)
    assert later(folder, other, now=NOW) is None
    mine, gone = sessions.begin(folder, "Mary Quill", now=NOW), sessions.begin(folder, "Mary Quill", now=NOW)
    assert sessions.end_all(folder, "Mary Quill", but=mine) == 1
    assert (later(folder, mine, now=NOW).tech, later(folder, gone, now=NOW)) == ("T07", None)
    people.remove(folder, "mary quill")
    assert later(folder, mine, now=NOW) is None


def test_a_token_stands_nowhere_in_the_file(folder):
    token = sessions.begin(folder, "Ana", now=NOW)
    assert token.encode() not in (folder / file.FILE).read_bytes()
    assert sessions.look(folder, token[:-1] + ("A" if token[-1] != "A" else "B"), now=NOW) is None
    assert sessions.look(folder, "", now=NOW) is sessions.look(folder, "x" * 5000, now=NOW) is None


def test_a_tablets_code_holds_once_for_a_quarter_of_an_hour_for_one_bench(folder):
    code = tablets.new_code(folder, "Window", "play_test", "Ana", now=NOW)
    assert tablets.enrol(folder, "WRONG234", now=NOW) is None
    found = tablets.enrol(folder, f" {code[:4].lower()} {code[4:]}", now=NOW)
    assert (found.name, found.stage, found.made_by) == ("Window", "play_test", "Ana")
    assert tablets.enrol(folder, code, now=NOW) is None
    late = tablets.new_code(folder, "Door", "packing", "Ana", now=NOW)
    assert tablets.enrol(folder, late, now=NOW + timedelta(minutes=16)) is None
    token = sessions.begin(folder, "", tablet=found.id, now=NOW)
    signed = sessions.look(folder, token, now=NOW + timedelta(days=29))
    assert (signed.role, signed.stage, signed.tech) == ("bench", "play_test", "")
    tablets.revoke(folder, found.id, now=NOW)
    assert sessions.look(folder, token, now=NOW) is None
    assert tablets.enrolled(folder) == []


def test_the_trail_says_who_looked_at_whose_figures_once_in_a_while(folder):
    for minutes in (0, 3, 15):
        trail.note_reading(folder, "Ana", "manager", "T07", "Bench", now=NOW + timedelta(minutes=minutes))
    trail.note_reading(folder, "Ana", "manager", "T0_", "Bench", now=NOW)
    trail.note_reading(folder, "Tom", "trainer", trail.EVERYBODY, "Capability", now=NOW)
    told = [(line.who, line.about) for line in trail.readings_of(folder, "T07")]
    assert told == [("Tom", "*: Capability"), ("Ana", "T07: Bench"), ("Ana", "T07: Bench")]
    assert len(trail.readings_of(folder, "T0_")) == 2


def test_forget_takes_a_person_off_the_list_and_out_of_the_trail(folder):
    load(folder, [log(folder, "a.csv", [row("A1", tech="T07")])], now=NOW)
    token = sessions.begin(folder, "Mary Quill", now=NOW)
    trail.note(folder, "Mary Quill", "bench", "signed in", now=NOW)
    trail.note_reading(folder, "Ana", "manager", "T07", "Bench", now=NOW)
    ana = people.signing_in(folder, "Ana", WORDS, now=NOW)
    code = forget.forget(folder, "Mary Quill", now=NOW)
    assert [each.name for each in people.everybody(folder)] == [ana.name]
    assert sessions.look(folder, token, now=NOW) is None
    assert {line.who for line in trail.newest(folder)} == {"Ana", code}
    assert [line.about for line in trail.readings_of(folder, code)] == [f"{code}: Bench"]
    assert people.signing_in(folder, "Ana", WORDS, now=NOW) is not None  # no hash was touched
    assert (folder / file.FILE).stat().st_mode & 0o777 == 0o600


def test_a_restore_brings_nobody_back_who_was_taken_off_the_list(folder, tmp_path):
    load(folder, [log(folder, "a.csv", [row("A1")])], now=NOW)
    token = sessions.begin(folder, "Ana", now=NOW)
    made = backup.backup(folder, tmp_path / "kept.truerun", now=NOW)
    assert made.path.stat().st_mode & 0o777 == 0o600
    people.remove(folder, "Mary Quill")
    restore(folder, made.path, now=NOW)
    assert [each.name for each in people.everybody(folder)] == ["Ana"]
    assert sessions.look(folder, token, now=NOW) is not None
    restore(tmp_path / "elsewhere", made.path, now=NOW)
    assert [each.name for each in people.everybody(tmp_path / "elsewhere")] == ["Ana", "Mary Quill"]
    assert sessions.look(tmp_path / "elsewhere", token, now=NOW) is None
    assert (tmp_path / "elsewhere" / file.FILE).stat().st_mode & 0o777 == 0o600


def test_nobody_has_no_password_not_even_one_that_would_fit(monkeypatch):
    secret = passwords.hashed(WORDS)
    monkeypatch.setattr(passwords, "_NOBODYS", secret)
    assert passwords.fits(secret, WORDS)
    assert not passwords.fits(None, WORDS)
