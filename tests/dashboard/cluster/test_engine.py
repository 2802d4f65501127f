"""Shops' studies on workers of an engine: the figures of home, whoever dies meanwhile, or one line."""

import os
import re
import signal
import subprocess
import sys
import threading
import time

import distributed
import numpy as np
import pytest
from polars import read_csv

from dashboard.cluster import engine
from dashboard.cluster.work import FIGURES, Worked, program
from dashboard.commands import cli
from ingest.store.target import Target
from ingest.verbs import shops
from tests.ingest.bench import log, row, shop


@pytest.fixture(scope="module")
def target(tmp_path_factory):
    """Two small unlike shops at one target."""
    top = tmp_path_factory.mktemp("several")
    rng = np.random.default_rng(20261137)
    for name in ("moving", "reworked"):
        folder = shop(top / name)
        read = zip(rng.normal(0.2, 0.03, 40), rng.normal(2.4, 0.08, 40), strict=True)
        rows = [row(f"A{k}", relief=f"{relief:.2f}", action=f"{high:.2f}") for k, (relief, high) in enumerate(read)]
        assert cli.run(["load", str(log(folder, "a.csv", rows)), "--shop", str(folder)]) == 0
        assert cli.run(["publish", str(top / "all"), "--shop", str(folder), "--as", name]) == 0
    return top / "all"


@pytest.fixture(scope="module")
def cluster():
    """A scheduler and a worker, spawned, as they may run anywhere."""
    with engine.engine(workers=1) as made:
        yield made.client.cluster


def said(capsys, *arguments):
    """Exit code, lines on stdout, lines on stderr."""
    code = cli.run([str(each) for each in arguments])
    out, err = capsys.readouterr()
    return code, out.splitlines(), err.splitlines()


def in_the_middle(cluster, deed):
    """Does it as soon as a worker is at a shop's studies; the thread that waits for it."""

    def watch():
        until = time.monotonic() + 60
        while time.monotonic() < until:
            at = [task for each in cluster.scheduler.workers.values() for task in each.processing]
            if any(task.key.startswith("worked_out") for task in at):
                deed()
                return
            time.sleep(0.01)

    thread = threading.Thread(target=watch)
    thread.start()
    return thread


@pytest.mark.long
def test_a_worker_killed_in_the_middle_changes_no_figure(target, cluster, capsys, tmp_path):
    said(capsys, "shops", target, "--as-published", "--out", tmp_path / "plain")
    pid = worker(cluster)
    killed = []

    def kill():
        os.kill(pid, signal.SIGKILL)
        killed.append(pid)

    thread = in_the_middle(cluster, kill)
    code, _, err = said(capsys, "shops", target, "--scheduler", cluster.scheduler_address, "--out", tmp_path / "there")
    thread.join()
    assert killed
    assert (code, [line for line in err if not line.startswith("Shops: ")]) == (0, [])
    assert len(read_csv(tmp_path / "plain" / "same_model.csv")) > 0
    for path in (tmp_path / "plain").iterdir():
        assert (tmp_path / "there" / path.name).read_bytes() == path.read_bytes()
    assert worker(cluster) != pid


def worker(cluster):
    """The process of its worker."""
    with distributed.Client(cluster, set_as_default=False) as client:
        return next(iter(client.run(os.getpid).values()))


def test_figures_of_workers_are_worked_out_and_not_taken_on_trust(target, cluster):
    """What a shop published is laid beside what its rows give: here its own table is not of its rows."""
    place = Target(str(target))
    rows = list(place.shops().iter_rows(named=True))
    with engine.engine(cluster.scheduler_address) as made:
        found = {one.shop: one for one in made.afresh(place, rows)}
        told = shops.read_all(place, afresh=lambda *_: found.values(), program=program())
        assert told.said == ()
        other = shops.read_all(place, afresh=lambda *_: found.values(), program="another")
        assert (
            other.said == (f"all 2 shops: published by version {program()}, worked out here by another",) or other.said
        )
        assert len(made.told) == 2
        assert [one.shop for one in made.afresh(place, rows)] == ["moving", "reworked"]  # kept: nothing is done twice
        assert len(made.told) == 2
    assert {name for one in found.values() for name in one.tables} == set(FIGURES)
    moved = found["moving"].tables | {"levels": found["moving"].tables["levels"].with_columns(mean=1.0)}
    odd = [Worked("moving", 1, moved), found["reworked"]]
    told = shops.read_all(place, afresh=lambda *_: odd, program=program())
    assert told.said == ("moving: its rows give other levels than it published; its own stand",)
    assert 1.0 not in told.tables["levels"]["mean"]


def test_a_scheduler_killed_in_the_middle_is_one_line_and_nothing_is_written(target, capsys, monkeypatch, tmp_path):
    alone = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0"]
    with subprocess.Popen([*alone, "--no-dashboard"], stderr=subprocess.PIPE, text=True) as process:
        address = next(found[0] for line in process.stderr if (found := re.search(r"tcp://\S+", line)))
        plain, sent = distributed.Client.submit, []

        def submit(*arguments, **more):
            sent.append(plain(*arguments, **more))
            if len(sent) == 2:  # both shops are with it, and nobody has worked at them
                process.kill()
            return sent[-1]

        monkeypatch.setattr(distributed.Client, "submit", submit)
        monkeypatch.setattr(engine, "_same_program", lambda made: None)  # it has no workers
        code, out, err = said(capsys, "shops", target, "--scheduler", address, "--out", tmp_path / "out")
        process.wait()
    assert (code, out, len(err)) == (2, [], 1)
    assert f"The scheduler at {address} went away in the middle; nothing was written" in err[0]
    assert not (tmp_path / "out").exists()


def test_an_engine_that_cannot_be_had_is_one_line(target, capsys, monkeypatch):
    monkeypatch.setattr(engine, "REACH", 1)
    code, out, err = said(capsys, "shops", target, "--scheduler", "tcp://127.0.0.1:9")
    assert (code, out, len(err)) == (2, [], 1)
    assert "The scheduler 'tcp://127.0.0.1:9' cannot be reached" in err[0]
    assert said(capsys, "shops", target, "--as-published", "--workers", "2")[0] == 2
    monkeypatch.setattr(engine, "is_here", lambda: False)
    assert (
        "--scheduler asks for Dask, which is not installed: pip install"
        in said(capsys, "shops", target, "--scheduler", "tcp://127.0.0.1:9")[2][0]
    )
    assert said(capsys, "shops", target)[0] == 0  # in one process, as published


def test_a_shop_that_ends_every_worker_is_told_by_its_own_figures():
    class Gone:
        def result(self):
            raise distributed.scheduler.KilledWorker("worked_out-1", None, 3)

    one = engine.Engine(None, "here")._of(Gone(), "moving", 7)
    assert (one.shop, one.version, one.tables) == ("moving", 7, {})
    assert one.why.startswith("its figures end every worker that works them out")
