"""Signing in and out, what stays in a browser, tries, tablets: the gate as whoever stands before it meets it."""

import re
from datetime import UTC, datetime

import pytest

from dashboard.gate import tries
from ingest.access import people, tablets, trail
from tests.dashboard.gate.served_shop import BASE, ORIGIN, WORDS, browser, made, sign_in

PAGE = {"Accept": "text/html"}


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    return made(tmp_path_factory.mktemp("gate") / "shop")


@pytest.fixture
def app(served):
    return served[0]


@pytest.fixture
def folder(served):
    return served[1]


def get(client, path, **headers):
    return client.get(path, base_url=BASE, headers={**PAGE, **headers})


def post(client, path, **form):
    return client.post(path, base_url=BASE, data=form, headers=ORIGIN)


def test_whoever_opens_a_page_signs_in_first_and_comes_to_it(app):
    client = browser(app)
    asked = get(client, "/drift?stage=play_test")
    assert (asked.status_code, asked.headers["Location"]) == (303, "/sign-in?to=%2Fdrift%3Fstage%3Dplay_test")
    form = get(client, asked.headers["Location"])
    assert 'value="/drift?stage=play_test"' in form.text
    assert sign_in(client, "Ana", to="/drift?stage=play_test").headers["Location"] == "/drift?stage=play_test"
    assert get(client, "/drift").status_code == 200


@pytest.mark.parametrize(
    "to", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere", "/\telsewhere", "x"]
)
def test_nobody_is_led_elsewhere_by_signing_in(app, to):
    assert sign_in(browser(app), "Ana", to=to).headers["Location"] == "/"


def test_a_session_ends_by_signing_out_and_its_cookie_opens_nothing_after(app):
    client = browser(app, "manager")
    token = client.get_cookie("truerun", domain="shop.example").value
    assert get(client, "/people").status_code == 200
    assert post(client, "/sign-out").headers["Location"] == "/sign-in"
    client.set_cookie("truerun", token, domain="shop.example")
    assert get(client, "/people").status_code == 303


def test_signing_in_again_ends_what_this_browser_had_open(app):
    client = browser(app, "guest")
    token = client.get_cookie("truerun", domain="shop.example").value
    sign_in(client, "Ana")
    client.set_cookie("truerun", token, domain="shop.example")
    assert get(client, "/").status_code == 303


def test_the_cookie_is_kept_from_scripts_and_from_other_pages(app, tmp_path):
    told = sign_in(browser(app), "Gus").headers["Set-Cookie"]
    assert all(word in told for word in ("HttpOnly", "SameSite=Strict", "Path=/"))
    secure, _ = made(tmp_path / "shop", secure=True)
    client = secure.server.test_client()
    base = "https://shop.example:8050"
    answer = client.post("/sign-in", base_url=base, data={"name": "Gus", "password": WORDS}, headers={"Origin": base})
    assert answer.headers["Set-Cookie"].startswith("__Host-truerun=")
    assert "; Secure" in answer.headers["Set-Cookie"]
    assert "max-age" in answer.headers["Strict-Transport-Security"]
    plain = client.post("/sign-in", base_url=base, data={}, headers={"Origin": BASE})
    assert plain.status_code == 400  # a page that came without TLS may not send here


def test_what_somebody_was_shown_stays_in_no_browser(app):
    client = browser(app, "manager")
    for path in ("/", "/me", "/people", "/card", "/save/readings", "/sign-in"):
        assert get(client, path).headers["Cache-Control"] == "no-store", path
    with get(client, "/assets/tokens.css") as answer:
        assert answer.headers["Cache-Control"] != "no-store"


def test_a_wrong_password_and_an_unknown_name_say_the_same(app):
    wrong, unknown = sign_in(browser(app), "Tom", "not this one"), sign_in(browser(app), "Nobody", "not this one")
    assert wrong.status_code == unknown.status_code == 403
    assert re.sub("Tom|Nobody", "", wrong.text) == re.sub("Tom|Nobody", "", unknown.text)


def test_five_wrong_tries_and_the_right_one_has_to_wait(app, monkeypatch):
    for _ in range(5):
        assert sign_in(browser(app), "Gus", "not this one", environ_base={"REMOTE_ADDR": "10.0.0.9"}).status_code == 403
    late = sign_in(browser(app), "Gus", environ_base={"REMOTE_ADDR": "10.0.0.9"})
    assert (late.status_code, "Too many tries" in late.text) == (429, True)
    assert sign_in(browser(app), "Gus", environ_base={"REMOTE_ADDR": "10.0.0.8"}).status_code == 303
    monkeypatch.setattr(tries, "WITHIN", 0.0)
    assert sign_in(browser(app), "Gus", environ_base={"REMOTE_ADDR": "10.0.0.9"}).status_code == 303


def test_one_name_takes_at_most_a_hundred_wrong_tries_an_hour_from_anywhere():
    from dashboard.gate.pages import PER_NAME

    assert PER_NAME * 3600 / tries.WITHIN <= 100


def test_a_password_is_changed_by_whoever_knows_the_old_one_and_ends_what_else_is_open(app, folder):
    people.add(folder, "Cleo", "guest", WORDS, now=datetime.now(UTC))
    here, there = app.server.test_client(), app.server.test_client()
    sign_in(here, "Cleo"), sign_in(there, "Cleo")
    new = "words that are new now"
    for form, says in (
        ({"password": "wrong", "new": new, "again": new}, "not right"),
        ({"password": WORDS, "new": new, "again": "x" + new}, "not the same"),
        ({"password": WORDS, "new": "short", "again": "short"}, "at least 12"),
    ):
        assert says in post(here, "/me/password", **form).text
    assert post(here, "/me/password", password=WORDS, new=new, again=new).headers["Location"] == "/me?done=password"
    assert (get(here, "/me").status_code, get(there, "/me").status_code) == (200, 303)
    assert (sign_in(there, "Cleo").status_code, sign_in(there, "Cleo", new).status_code) == (403, 303)
    people.remove(folder, "Cleo")
    assert get(here, "/me").status_code == 303


def test_a_tablet_comes_in_by_the_code_of_the_managers_screen_and_goes_when_it_is_taken_away(app, folder):
    manager, tablet = browser(app, "manager"), app.server.test_client()
    shown = post(manager, "/people/tablet", name="Window", stage="play_test").text
    code = re.search(r'aria-label="Code">(\w{4}) (\w{4})<', shown)
    assert post(tablet, "/enrol", code="AAAA AAAA").status_code == 403
    answer = post(tablet, "/enrol", code=f"{code[1]} {code[2]}")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/card")
    assert "Max-Age" in answer.headers["Set-Cookie"]
    assert get(tablet, "/card").status_code == 200
    assert get(tablet, "/").status_code == 403
    assert post(app.server.test_client(), "/enrol", code=f"{code[1]}{code[2]}").status_code == 403  # once
    assert "Window" in get(manager, "/people").text
    number = tablets.enrolled(folder)[0].id
    assert post(tablet, "/people/revoke", tablet=number).status_code == 403
    assert post(manager, "/people/revoke", tablet=number).status_code == 303
    assert get(tablet, "/card").status_code == 303
    for wrong in ("", "x", "9" * 40):
        assert post(manager, "/people/revoke", tablet=wrong).status_code == 400
    assert post(manager, "/people/tablet", name="Window", stage="attic").status_code == 400


def test_codes_cannot_be_tried_out(app):
    client = app.server.test_client()
    said = [
        client.post("/enrol", base_url=BASE, data={"code": f"AAAAAA{n}"}, headers=ORIGIN,
                    environ_base={"REMOTE_ADDR": "10.9.9.9"}).status_code
        for n in range(7)
    ]  # fmt: skip
    assert said == [403] * 5 + [429] * 2


def test_the_trail_says_who_took_what_and_whose_figures_were_read_and_the_person_is_told(app, folder):
    manager, bea = browser(app, "manager"), browser(app, "bench")
    assert get(manager, "/save/readings?tech=T01").status_code == 200
    get(manager, "/papers/bench?tech=T01")
    told = get(bea, "/me").text
    assert "Who looked at figures on T01" in told
    assert "Ana, manager" in told
    assert "readings, saved" in told
    assert "target card" in told
    assert "T02" not in told
    lines = [(line.who, line.what) for line in trail.newest(folder)]
    assert ("Ana", "took away") in lines
    assert ("Bea", trail.READ) not in lines


def test_a_form_that_is_too_large_or_says_it_twice_is_no_form(app):
    client = browser(app)
    assert post(client, "/sign-in", name="x" * 9000).status_code == 413
    assert post(client, "/sign-in").status_code == 403


def test_a_fault_in_the_list_of_people_lets_nobody_in(tmp_path, monkeypatch):
    from dashboard import faults
    from ingest.access import file

    monkeypatch.setattr(faults, "loud", False)
    app, folder = made(tmp_path / "shop")
    client = browser(app, "manager")
    (folder / file.FILE).write_bytes(b"no database" * 500)
    answer = get(client, "/people")
    assert answer.status_code == 503
    assert "Ana" not in answer.text
