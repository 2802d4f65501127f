"""Files that come from a browser in pieces: whole or not at all, within the bounds of the command line."""

import os
import shutil
import time

import pytest

from dashboard import arriving, faults
from dashboard.app import make_app
from dashboard.desk import desk
from tests.ingest.bench import log, row, shop

KEY = "0123456789abcdef" * 2


@pytest.fixture
def door(tmp_path, monkeypatch):
    monkeypatch.setattr(faults, "loud", False)
    folder = shop(tmp_path / "shop")
    return folder, make_app(desk.Desk(folder)).server.test_client()


def piece(client, data, at, size, key=KEY, **more):
    return client.post(f"/bring/{key}", query_string={"at": at, "size": size, **more}, data=data)


def test_a_file_in_pieces_is_the_file(door):
    folder, client = door
    data = log(folder, "bench_2.csv", [row(f"A{n}") for n in range(200)]).read_bytes()
    step = len(data) // 5 + 1
    for at in range(0, len(data), step):
        assert piece(client, data[at : at + step], at, len(data)).json["have"] == min(at + step, len(data))
        assert piece(client, data[at : at + step], at, len(data)).status_code == 200  # comes twice: changes nothing
        assert piece(client, b"", 0, len(data)).json["have"] == min(at + step, len(data))
    assert piece(client, b"", len(data), len(data), load=1, name="C:\\shop\\bench_2.csv").status_code == 200
    jobs = desk.here().jobs
    job = jobs.wait(jobs.latest().number)
    assert [(file.name, file.accepted) for file in job.files] == [("bench_2.csv", 200)]
    assert not list((folder / arriving.ARRIVING).iterdir())


def test_a_long_file_is_loaded_by_a_process_of_its_own(door, monkeypatch):
    folder, client = door
    monkeypatch.setattr("dashboard.desk.jobs.LONG", 100)  # bytes
    told = []
    monkeypatch.setattr(desk.here().jobs, "_note", told_by(desk.here().jobs, told))
    data = log(folder, "bench_2.csv", [row(f"A{n}") for n in range(200)]).read_bytes()
    for name, text in (("bench_2.csv", data), ("bench_3.csv", b"this,that\n1,2\n")):
        piece(client, text, 0, len(text))
        assert piece(client, b"", len(text), len(text), load=1, name=name).status_code == 200
        jobs = desk.here().jobs
        [file] = jobs.wait(jobs.latest().number).files
        assert not list((folder / arriving.ARRIVING).iterdir())
        if name == "bench_2.csv":
            assert (file.name, file.accepted) == ("bench_2.csv", 200)
            assert any(news.get("doing", "").startswith("bench_2.csv: ") for news in told)  # said by that process
        else:
            assert file.problem.startswith("bench_3.csv: no line that names a serial and a date column")
    monkeypatch.setattr(
        "dashboard.desk.beside.sys.executable", shutil.which("false")
    )  # ends at once, as one that is killed
    piece(client, data, 0, len(data))
    piece(client, b"", len(data), len(data), load=1, name="bench_2.csv")
    job = jobs.wait(jobs.latest().number)
    assert (job.state, "ended before its work was done" in job.problem) == ("refused", True)


def told_by(jobs, told):
    """What notes how far a job is, and keeps it in `told`."""
    noting = jobs._note

    def note(number, **news):
        told.append(news)
        noting(number, **news)

    return note


def test_what_does_not_fit_is_refused_in_a_line(door, monkeypatch):
    folder, client = door
    assert piece(client, b"abc", 3, 10).status_code == 400  # a gap before it
    assert piece(client, b"abc", 0, 2).status_code == 400  # longer than its file
    assert piece(client, b"abc", 0, arriving.MOST + 1).status_code == 413
    assert piece(client, b"a" * (arriving.PIECE + 1), 0, 10**8).status_code == 413
    assert piece(client, b"abc", "x", 10).status_code == 400
    assert piece(client, b"abc", 0, 10, key="../../shop.toml").status_code in (404, 405)
    assert piece(client, b"abc", 0, 10, key="g" * 32).status_code == 404
    assert client.post(f"/bring/{KEY}?at=0&size=3", data=b"abc", headers={"Origin": "http://else"}).status_code == 400
    assert piece(client, b"abc", 0, 10).status_code == 200
    assert piece(client, b"", 0, 10, load=1, name="a.csv").status_code == 400  # not whole
    coming = arriving.Arriving(folder)
    coming.take("a" * 32, 0, 3, b"abc")
    whole = coming.whole("a" * 32, 3)
    assert coming.take("a" * 32, 0, 4, b"abcd") == 4  # another file: what is being loaded is left alone
    assert whole.read_bytes() == b"abc"
    coming.drop("a" * 32)
    assert client.delete(f"/bring/{KEY}").json == {"have": 0}
    assert not list((folder / arriving.ARRIVING).iterdir())
    for number in range(arriving.AT_ONCE):
        assert piece(client, b"abc", 0, 10, key=f"{number:032x}").status_code == 200
    assert piece(client, b"abc", 0, 10, key="f" * 32).status_code == 429
    old = folder / arriving.ARRIVING / f"{0:032x}"
    os.utime(old, (time.time() - 2 * 86_400,) * 2)
    assert piece(client, b"abc", 0, 10, key="f" * 32).status_code == 200
    shutil.rmtree(folder / arriving.ARRIVING)
    monkeypatch.setattr(arriving.Path, "open", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    answer = piece(client, b"abc", 0, 10)
    assert (answer.status_code, "No space left on device" in answer.text) == (503, True)
