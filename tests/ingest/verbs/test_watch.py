"""Watching a folder: whole files only."""

from ingest.store.store import open_snapshot
from ingest.verbs.watch import watch
from tests.ingest.bench import HEADER, NOW, row, shop


def test_a_file_is_taken_once_its_size_stands_still(tmp_path):
    folder, inbox = shop(tmp_path / "shop"), tmp_path / "inbox"
    inbox.mkdir()
    path = inbox / "a.csv"
    rows = [HEADER, *(row(f"A{n}") for n in range(6))]
    steps = [rows[:3], rows[:5], rows, rows, rows]
    (inbox / "b.csv.part").write_text("half of it")
    (inbox / "empty.csv").write_text("")

    def copied_on(_seconds):
        if steps:
            lines = steps.pop(0)
            if path.read_text() != "\n".join(lines) + "\n":
                path.write_text("\n".join(lines) + "\n")

    path.write_text(HEADER + "\n")
    became = [file for files in watch(folder, inbox, clock=lambda: NOW, sleep=copied_on, looks=8) for file in files]
    assert [(file.name, file.accepted) for file in became] == [("a.csv", 6)]
    assert open_snapshot(folder).table("visits").height == 6


def test_a_file_that_changes_later_is_taken_again(tmp_path):
    folder, inbox = shop(tmp_path / "shop"), tmp_path / "inbox"
    inbox.mkdir()
    path = inbox / "a.csv"
    path.write_text("\n".join([HEADER, row("A1"), ""]))
    looks = iter(range(10))

    def grows(_seconds):
        if next(looks) == 3:
            path.write_text("\n".join([HEADER, row("A1"), row("A2"), ""]))

    became = [file for files in watch(folder, inbox, clock=lambda: NOW, sleep=grows, looks=8) for file in files]
    assert [(file.accepted, file.already_held) for file in became] == [(1, 0), (1, 1)]
