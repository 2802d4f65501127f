"""Work behind the pages: done one at a time, looked at while it runs, and a refusal in one line."""

import threading

import pytest

from dashboard.desk import jobs
from ingest.store.store import open_snapshot
from ingest.verbs import load as verbs
from tests.ingest.bench import HEADER, NOW, row, shop


@pytest.fixture
def work(tmp_path):
    return jobs.Jobs(shop(tmp_path), clock=lambda: NOW)


def text(*rows: str) -> bytes:
    return "\n".join([HEADER, *rows, ""]).encode()


def test_uploaded_files_are_loaded_and_accounted_for(work):
    job = work.wait(work.load([("a.csv", text(row("A1"), row("A2", relief="x"))), ("b.csv", b"nothing,here\n1,2\n")]))
    assert (job.state, job.share) == ("done", 1.0)
    assert [(file.name, file.outcome, file.cells_set_aside) for file in job.files] == [
        ("a.csv", "loaded", 1),
        ("b.csv", "refused", 0),
    ]
    assert open_snapshot(work.folder).table("visits").height == 2


def test_progress_can_be_looked_at_while_a_job_runs(work, monkeypatch):
    reached, go_on = threading.Event(), threading.Event()

    def slow(folder, sources, *, progress, **options):
        progress(0.4, "a.csv: reading")
        reached.set()
        assert go_on.wait(10)
        return []

    monkeypatch.setattr(verbs, "load_data", slow)
    number = work.load([("a.csv", b"")])
    second = work.load([("b.csv", b"")])
    assert reached.wait(10)
    job = work.look(number)
    assert (job.state, job.share, job.doing) == ("running", 0.4, "a.csv: reading")
    assert work.look(second).state == "waiting"
    go_on.set()
    assert work.wait(second).state == "done"
    assert work.latest().number == second


def test_a_file_that_is_too_large_is_refused_with_the_command_to_use(work, monkeypatch):
    monkeypatch.setattr(jobs, "LARGEST", 100)
    job = work.wait(work.load([("a.csv", text(row("A1")))]))
    [file] = job.files
    assert (file.outcome, "truerun load a.csv" in file.problem) == ("refused", True)


def test_a_refusal_is_one_line_and_the_next_job_runs(work):
    job = work.wait(work.unload("none.csv"))
    assert (job.state, job.problem.count("\n")) == ("refused", 0)
    assert "none.csv" in job.problem
    assert work.wait(work.load([("a.csv", text(row("A1")))])).state == "done"


def test_a_fault_of_the_program_is_one_line_and_its_traceback_is_kept(work, monkeypatch):
    monkeypatch.setattr(verbs, "load_data", lambda *_args, **_options: 1 / 0)
    job = work.wait(work.load([("a.csv", b"")]))
    assert (job.state, job.problem.count("\n")) == ("failed", 0)
    assert "ZeroDivisionError" in (work.folder / "store" / "program.log").read_text()


def test_a_question_is_mended_from_the_page(work):
    work.wait(work.load([("a.csv", text(row("A1", relief="x"), row("A2", relief="9")))]))
    assert work.wait(work.correct("a.csv", 2, "relief", "0.3", "Mo", "asked")).files[0].cells_set_aside == 1
    assert work.wait(work.settle("a.csv", 3, "relief (mm)", "it is real", "Mo", "asked")).files[0].cells_set_aside == 0
    assert open_snapshot(work.folder).table("readings").filter(characteristic="relief")["value"].sort().to_list() == [
        0.3,
        9.0,
    ]
    assert work.wait(work.again()).files == ()


def test_a_folder_that_cannot_be_written_is_said_by_the_job_that_meets_it(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("dashboard.desk.jobs.at_bench.make", full)
    here = jobs.Jobs(shop(tmp_path))
    job = here.wait(here.bench_index(plain=True))
    assert (job.state, "Read-only file system" in job.problem) == ("refused", True)
