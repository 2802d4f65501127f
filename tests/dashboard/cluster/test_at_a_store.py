"""Shops at an object store, worked out by two workers: as in a folder, with no secret told, whoever goes away."""

import os
import signal
import threading
import time
from contextlib import ExitStack
from urllib.request import urlopen

import distributed
import numpy as np
import pytest

from dashboard.cluster.work import worked_out
from dashboard.commands import cli, publishing
from ingest.store.target import Target, TargetProblem
from tests.ingest.bench import NOW, log, row, shop
from tests.ingest.store.object_store import KEY, object_store

PLACE, SECRET = "s3://bench/shops", "of the bench"
NAMES = ("alder", "fen", "weir")
pytestmark = pytest.mark.long


def as_typed(options):
    """Options as `publish` and `shops` take them."""
    return [word for name, value in options.items() for word in ("--option", f"{name}={value}")]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Three small unlike shops, loaded and published in a folder."""
    top = tmp_path_factory.mktemp("made")
    rng = np.random.default_rng(20261141)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(publishing, "now", lambda: NOW)
        for name in NAMES:
            folder = shop(top / name)
            read = zip(rng.normal(0.2, 0.03, 40), rng.normal(2.4, 0.08, 40), strict=True)
            rows = [row(f"A{k}", relief=f"{relief:.2f}", action=f"{high:.2f}") for k, (relief, high) in enumerate(read)]
            assert cli.run(["load", str(log(folder, "a.csv", rows)), "--shop", str(folder)]) == 0
            assert cli.run(["publish", str(top / "all"), "--shop", str(folder), "--as", name]) == 0
        yield top


@pytest.fixture(scope="module")
def store(made):
    """The options of a store at which the same shops are published."""
    with object_store() as (_, options):
        for name in NAMES:
            assert cli.run(["publish", PLACE, "--shop", str(made / name), "--as", name, *as_typed(options)]) == 0
        yield options


@pytest.fixture(scope="module")
def cluster():
    """A scheduler with a page, and two workers, whose logs say whatever they have to say."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address="127.0.0.1:0"
    ) as made:
        yield made


def said(capsys, *arguments):
    """Exit code, lines on stdout, lines on stderr but for how far it is."""
    code = cli.run([str(each) for each in arguments])
    out, err = capsys.readouterr()
    return code, out.splitlines(), [line for line in err.splitlines() if not line.startswith("Shops: ")]


def same(one, other):
    """Does every file of a folder say the same in another?"""
    names = sorted(path.name for path in one.iterdir())
    return names == sorted(path.name for path in other.iterdir()) and all(
        (one / name).read_bytes() == (other / name).read_bytes() for name in names
    )


def test_two_workers_tell_of_a_store_what_they_tell_of_a_folder(store, made, capsys, tmp_path):
    code, out, err = said(capsys, "shops", PLACE, "--workers", "2", "--out", tmp_path / "store", *as_typed(store))
    assert (code, err) == (0, [])
    assert out[0] == "3 shops: alder, fen, weir."
    assert "Not taken as it is:" not in out  # all three were worked out, and came out as they were published
    assert said(capsys, "shops", made / "all", "--as-published", "--out", tmp_path / "folder")[0] == 0
    assert same(tmp_path / "store", tmp_path / "folder")
    assert (tmp_path / "store" / "same_model.csv").read_text().count("\n") > 6
    for path in [*(tmp_path / "store").iterdir(), *made.rglob("*.json"), *made.rglob("*.log")]:
        assert SECRET not in path.read_text()
    assert not any(SECRET in line or KEY in line for line in out)


def test_a_worker_killed_in_the_middle_changes_no_figure_of_a_store(store, made, cluster, capsys, tmp_path):
    killed = []

    def kill():
        until = time.monotonic() + 60
        while time.monotonic() < until:
            for worker in cluster.workers.values():
                at = cluster.scheduler.workers.get(worker.worker_address)
                if at is not None and any(task.key.startswith("worked_out") for task in at.processing):
                    killed.append(worker.pid)
                    os.kill(worker.pid, signal.SIGKILL)
                    return
            time.sleep(0.01)

    thread = threading.Thread(target=kill)
    thread.start()
    place = cluster.scheduler_address
    code, out, err = said(capsys, "shops", PLACE, "--scheduler", place, "--out", tmp_path / "store", *as_typed(store))
    thread.join()
    assert len(killed) == 1
    assert (code, err) == (0, [])
    assert "Not taken as it is:" not in out
    assert said(capsys, "shops", made / "all", "--as-published", "--out", tmp_path / "folder")[0] == 0
    assert same(tmp_path / "store", tmp_path / "folder")


def test_a_store_that_goes_away_in_the_middle_is_one_line_and_nothing_is_written(
    made, cluster, capsys, monkeypatch, tmp_path
):
    plain, held = distributed.Client.submit, ExitStack()
    _, options = held.enter_context(object_store())
    assert cli.run(["publish", PLACE, "--shop", str(made / "fen"), "--as", "fen", *as_typed(options)]) == 0
    capsys.readouterr()

    def submit(*arguments, **more):
        held.close()  # what shops published is read, and no worker has read its rows
        return plain(*arguments, **more)

    monkeypatch.setattr(distributed.Client, "submit", submit)
    place = cluster.scheduler_address
    code, out, err = said(capsys, "shops", PLACE, "--scheduler", place, "--out", tmp_path / "out", *as_typed(options))
    assert (code, out, len(err)) == (2, [], 1)
    assert err[0].startswith(f"{PLACE} cannot be used (")
    assert SECRET not in err[0]
    assert not (tmp_path / "out").exists()


def test_what_opens_the_store_is_in_no_log_and_on_no_page_of_the_scheduler(store, cluster):
    options = Target(PLACE, store).options  # as they travel
    (row, *_) = Target(PLACE, options).shops().iter_rows(named=True)
    with distributed.Client(cluster, set_as_default=False) as client:
        good = client.submit(worked_out, PLACE, options, row, pure=False, key="good")
        assert good.result().why == ""
        odd = client.submit(worked_out, PLACE, options, {}, pure=False, key="odd")
        with pytest.raises(KeyError):
            odd.result()
        told = [str(one) for one in (client.get_worker_logs(), client.get_scheduler_logs(), client.get_events())]
        assert "Compute Failed" in told[0]  # a task that fails is logged with what it was given
        told.append(str(client.run_on_scheduler(lambda dask_scheduler: list(map(task_said, tasks_of(dask_scheduler))))))
        base = cluster.dashboard_link.rsplit("/", 1)[0]
        pages = ["info/main/workers.html", "info/task/good.html", "info/task/odd.html", "info/main/exceptions.html"]
        for address in client.scheduler_info()["workers"]:
            pages += [f"info/{kind}/{address.replace('://', '%3A%2F%2F')}.html" for kind in ("logs", "worker")]
        for page in pages:
            with urlopen(f"{base}/{page}") as answer:
                told.append(answer.read().decode())
    assert "worked_out" in told[-1] + told[0]
    for one in told:
        assert SECRET not in one
        assert KEY not in one


def tasks_of(scheduler):
    return scheduler.tasks.values()


def task_said(task):
    return f"{task!r} {task.run_spec!r} {task.exception_text} {task.traceback_text}"


def test_a_store_that_workers_cannot_open_is_said_in_one_line_without_what_would_open_it(store):
    options = store | {"aws_access_key_id": "another-key"}
    (row, *_) = Target(PLACE, store).shops().iter_rows(named=True)
    why = worked_out(PLACE, options, row).why
    assert why.startswith(f"{PLACE} cannot be used (")
    assert "\n" not in why
    assert SECRET not in why
    with pytest.raises(TargetProblem, match="--option KEY=VALUE"):
        Target(PLACE, options).shops()
