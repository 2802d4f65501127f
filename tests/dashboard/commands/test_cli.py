"""The command line: one clear line for what a person can put right, exit codes, and nothing imported that a command
does not need.
"""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from dashboard.commands import cli
from tests.ingest.bench import SHOP, log, row, shop

TRUERUN = [sys.executable, "-c", "from dashboard.commands.cli import main; main()"]
HEAVY = ("dash", "statsmodels", "pandas", "scipy", "plotly")


@pytest.fixture
def folder(tmp_path):
    return shop(tmp_path / "shop")


def run(capsys, *arguments):
    """Exit code, lines on stdout, lines on stderr."""
    code = cli.run([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out.splitlines(), err.splitlines()


@pytest.mark.parametrize(
    "arguments", [["--help"], ["load", "--help"], ["load", "a.csv", "--shop", "shop"]], ids=lambda a: " ".join(a)
)
def test_help_and_load_wait_for_no_dashboard(tmp_path, arguments):
    log(shop(tmp_path / "shop"), "a.csv", [row("A1")]).rename(tmp_path / "a.csv")
    code = (
        f"import sys; from dashboard.commands import cli; done = cli.run({arguments!r}); "
        f"print([m for m in {HEAVY!r} if m "
        "in sys.modules], done)"
    )
    ran = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines()[-1] == "[] 0"


def test_every_command_says_what_it_is_for(capsys):
    code, out, _ = run(capsys, "--help")
    assert code == 0
    listed = [
        line
        for line in out
        if line.startswith("  ")
        and line.split()[0] in {command.callback.__name__ for command in cli.app.registered_commands}
    ]
    assert len(listed) == len(cli.app.registered_commands)
    assert not any(line.rstrip().endswith("...") for line in listed)


def test_a_load_is_accounted_for_line_by_line(capsys, folder):
    path = log(
        folder,
        "a.csv",
        [row("A1"), row("A2", relief="25"), row("A3", stage="attic"), row("A4", stage="attic"), row("A1"), ""],
    )
    code, out, err = run(capsys, "load", path, "--shop", folder)
    assert (code, err) == (1, [])
    assert (
        out[0]
        == "a.csv: 5 rows read = 2 accepted + 1 already held + 2 set aside; 1 cell set aside; 1 blank, title, total "
        "or not meant lines passed over"
    )
    assert any(line.strip() == "stage 'attic' is not known (2)" for line in out)
    assert any("a.csv, line 3: relief (mm) is '25'" in line for line in out)


def test_a_row_twice_under_itself_counts_once_and_is_said(capsys, folder):
    day = {"start": "2026-03-02", "finish": ""}
    path = log(folder, "a.csv", [row("A1", **day), row("A1", **day), row("A1", **day, relief="0.21")])
    _, out, _ = run(capsys, "load", path, "--shop", folder)
    assert out[0] == "a.csv: 3 rows read = 2 accepted + 1 already held"


def test_a_family_that_no_model_has_is_said_at_load_and_before_the_week(capsys, folder):
    specs = folder / "specs.csv"
    family = tomllib.loads((folder / "shop.toml").read_text(encoding="utf-8"))["model"][0]["family"]
    line = f'relief,,{family}s,,,,0.2,0.1,0.3,mm,,,"starting value, not yours"'
    specs.write_text(f"{SPECS}\n{line}\n", encoding="utf-8")
    said = f"specs.csv, line 2: no model of shop.toml has the family '{family}s'; the closest is '{family}'."
    for command in (["load", log(folder, "a.csv", [row("A1"), row("A2")])], ["week", "--out", folder]):
        _, out, _ = run(capsys, *command, "--shop", folder)
        assert sum(line.startswith(said) for line in out) == 1


def test_ten_questions_of_a_reason_are_shown_and_the_rest_counted(capsys, folder):
    _, out, _ = run(
        capsys, "load", log(folder, "a.csv", [row(f"A{n}", relief="77") for n in range(15)]), "--shop", folder
    )
    assert sum("relief (mm) is '77'" in line for line in out) == 10
    assert "    and 5 more" in out


def test_the_same_file_again_says_so_and_is_done(capsys, folder):
    path = log(folder, "a.csv", [row("A1")])
    assert run(capsys, "load", path, "--shop", folder)[0] == 0
    code, out, _ = run(capsys, "load", path, "--shop", folder)
    assert (code, out) == (0, ["a.csv: this file is loaded already; nothing changed"])


SPECS = "characteristic,position,family,model,stage,supplier,target,lower,upper,unit,from_date,agreed_on,note"
BAD = {
    "a log without serial": (b"stage,started_at\nplay_test,2026-03-02\n", "serial"),
    "a log without date": (b"serial,stage\nA1,play_test\n", "date"),
    "an empty file": (b"", "empty"),
    "a binary file": (bytes(range(256)) * 40, ""),
}


@pytest.mark.parametrize("case", BAD)
def test_a_file_that_is_no_log_is_one_line_and_nothing_is_loaded(capsys, folder, case):
    data, wanted = BAD[case]
    path = folder / "bad.csv"
    path.write_bytes(data)
    code, out, err = run(capsys, "load", path, "--shop", folder)
    assert (code, out, len(err)) == (2, [], 1)
    assert "bad.csv" in err[0]
    assert wanted in err[0]
    assert not (folder / "originals").exists()
    assert not (folder / "store" / "program.log").exists()


def test_a_folder_is_no_log(capsys, folder):
    code, _, err = run(capsys, "load", folder, "--shop", folder)
    assert (code, err) == (2, ["shop: this is a folder; wanted a log file"])


def test_no_shop_here(capsys, tmp_path):
    wanted = "There is no folder 'none'. Begin with a sheet of your own, `truerun new FILE`, or with `truerun demo`."
    for arguments in (
        ["load", "a.csv"],
        ["figures", "--out", tmp_path / "out"],
        ["again"],
        ["serve"],
        ["unload", "a.csv"],
    ):
        code, out, err = run(capsys, *arguments, "--shop", tmp_path / "none")
        assert (code, out, err) == (2, [], [wanted])
    assert not (tmp_path / "none").exists()


def test_an_empty_folder_is_served_from_logs_where_a_sheet_makes_a_first_shop(capsys, tmp_path, monkeypatch):
    served = []
    monkeypatch.setattr("dashboard.app.serve", lambda app, port, network: served.append(port))
    code, out, _ = run(capsys, "serve", "--shop", tmp_path, "--port", "8937", "--no-open")
    assert (code, out, served) == (0, ["The pages are at http://127.0.0.1:8937/logs (Ctrl-C stops them)"], [8937])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "text", "wanted"),
    [
        ("shop.toml", "[shop\n", "shop.toml"),
        ("shop.toml", SHOP.replace("[shop]", "[shop]\ncolour = 7"), "colour"),
        ("specs.csv", f"{SPECS}\nrelief,,,,attic,,0.2,0.1,0.3,mm,,,\n", "attic"),
    ],
    ids=["bad TOML", "unknown key", "unknown stage in specs.csv"],
)
def test_a_shop_file_that_cannot_be_used_is_told_and_nothing_is_loaded(capsys, folder, name, text, wanted):
    (folder / name).write_text(text)
    code, out, err = run(capsys, "load", log(folder, "a.csv", [row("A1")]), "--shop", folder)
    assert (code, out, len(err)) == (2, [], 1)
    assert name in err[0]
    assert wanted in err[0]
    assert not (folder / "store").exists()


def test_a_folder_that_cannot_be_written_is_one_line(capsys, folder):
    (folder / "store").write_text("in the way")
    code, out, err = run(capsys, "load", log(folder, "a.csv", [row("A1")]), "--shop", folder)
    assert (code, out, len(err)) == (2, [], 1)
    assert "could not be written" in err[0]


def test_a_full_disk_is_one_line_and_the_retry_loads_all(folder):
    path = log(folder, "a.csv", [row(f"A{n}", note="x" * 50) for n in range(2000)])
    limited = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
        "resource.setrlimit(resource.RLIMIT_FSIZE, (30_000, 30_000)); "
        f"from dashboard.commands import cli; sys.exit(cli.run(['load', {str(path)!r}, '--shop', {str(folder)!r}]))"
    )
    full = subprocess.run([sys.executable, "-c", limited], capture_output=True, text=True)
    assert full.returncode == 2
    assert len(full.stderr.splitlines()) == 1
    assert "could not be written" in full.stderr
    ran = subprocess.run([*TRUERUN, "load", str(path), "--shop", str(folder)], capture_output=True, text=True)
    assert ran.stdout.startswith("a.csv: 2000 rows read = 2000 accepted")


def test_an_unexpected_error_is_one_line_and_its_traceback_is_kept(capsys, folder, monkeypatch):
    def broken(*_args, **_options):
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setattr("ingest.verbs.load.load", broken)
    code, out, err = run(capsys, "load", "a.csv", "--shop", folder)
    assert (code, out, len(err)) == (2, [], 1)
    assert str(folder / "store" / "program.log") in err[0]
    assert "a fault of ours" in (folder / "store" / "program.log").read_text()


@pytest.mark.parametrize("arguments", [["load"], ["load", "--nope"], ["dance"], ["load", "a.csv", "--watch", "."]])
def test_a_command_line_that_is_none_is_one_line(capsys, arguments):
    code, out, err = run(capsys, *arguments)
    assert (code, out, len(err)) == (2, [], 1)


def test_version(capsys):
    declared = tomllib.loads((Path(__file__).parents[3] / "pyproject.toml").read_text())["project"]["version"]
    assert run(capsys, "--version")[:2] == (0, [f"truerun {declared}"])


def test_correct_and_take_it_back(capsys, folder):
    run(capsys, "load", log(folder, "a.csv", [row("A1")]), "--shop", folder)
    code, out, _ = run(
        capsys, "correct", "a.csv", 2, "relief", "0.4", "--who", "Mo", "--why", "misread", "--shop", folder
    )
    assert (code, out[0]) == (0, "a.csv, line 2: corrected.")
    code, out, _ = run(
        capsys, "correct", "a.csv", 2, "relief", "--undo", "--who", "Mo", "--why", "it was right", "--shop", folder
    )
    assert (code, out[0]) == (0, "a.csv, line 2: the value as it came counts again.")
    code, _, err = run(capsys, "correct", "a.csv", 2, "relief", "0.4", "--shop", folder)
    assert (code, len(err)) == (2, 1)


def test_again_all_keeps_nothing_without_a_yes(capsys, folder, monkeypatch):
    monkeypatch.setattr(sys.stdin, "isatty", lambda: False, raising=False)
    run(capsys, "load", log(folder, "a.csv", [row("A1", relief="2")]), "--shop", folder)
    text = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(text.replace('"3 mm"', '"1 mm"'))
    code, out, err = run(capsys, "again", "--all", "--shop", folder)
    assert (code, err) == (2, ["Nothing was changed; with --yes the changes are kept"])
    assert out[-1].startswith("  a.csv: cells set aside 0 to 1")
    assert run(capsys, "again", "--all", "--yes", "--shop", folder)[0] == 0
    assert run(capsys, "again", "--all", "--shop", folder)[1] == ["Every original was read again; nothing changes."]


def test_demo_never_touches_a_folder_it_did_not_make(capsys, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    code, out, err = run(capsys, "demo", "--shop", tmp_path / "mine", "--no-open")
    assert (code, out, len(err)) == (2, [], 1)
    assert [path.name for path in Path(tmp_path / "mine").iterdir()] == ["letter.txt"]


def test_forget_takes_a_name_out(capsys, folder):
    run(capsys, "load", log(folder, "a.csv", [row("A1", tech="Old Bert")]), "--shop", folder)
    code, out, _ = run(capsys, "forget", "Old Bert", "--yes", "--shop", folder)
    assert (code, out) == (0, [f"Done: X01 stands where the name stood. Not touched: files outside {folder}."])
    code, _, err = run(capsys, "forget", "Old Bert", "--yes", "--shop", folder)
    assert (code, len(err)) == (2, 1)
