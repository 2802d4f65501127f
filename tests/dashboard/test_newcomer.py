"""A newcomer's trial: three sheets of shops that never heard of this program, from `new` to a week with something to
say, ten answers at most.
"""

import json
import re
import tomllib
from pathlib import Path

import plotly.utils
import pytest
import typer

from dashboard.app import make_app
from dashboard.commands.cli import run
from dashboard.desk import desk
from dashboard.pages.week import page as week
from ingest.beginning.starting_values import MEASURES
from ingest.reading.fields import FIELDS, MEASUREMENT_FIELDS
from ingest.shopfiles.shop import read_shop
from tests.ingest.strangers.all_ten import stranger

FOREIGN = Path(__file__).parents[1] / "ingest" / "foreign"
ANSWERS = {  # by a piece of the question; all else is answered with Enter
    "What is the shop called?": "Quay Street Instruments",
    "Which time zone": "Europe/Dublin",
    "what kind of instrument": "electric guitar",
}
SHEETS = ["setup_book_2026.csv", "werkstatt.csv", "line_check_march.xlsx"]
OUTSIDE = {
    "setup_book_2026.csv": (30, 107),
    "werkstatt.csv": (1, 55),
    "line_check_march.xlsx": (0, 47),
}  # as set outside the limits that stand on the marks of the sheet, of N: counted by hand from the cells


@pytest.fixture
def asked(monkeypatch):
    """The questions put to somebody at a keyboard, who answers as ANSWERS says."""
    told: list[str] = []

    def prompt(text: str, default: str, err: bool) -> str:
        told.append(text)
        return next((answer for piece, answer in ANSWERS.items() if piece in text), default)

    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr(typer, "prompt", prompt)
    return told


@pytest.mark.parametrize("name", SHEETS)
def test_a_foreign_sheet_goes_from_new_to_a_week_with_findings(name, tmp_path, asked, capsys):
    shop = tmp_path / "shop"
    assert run(["new", str(FOREIGN / name), "--shop", str(shop)]) == 0
    assert 2 <= len(asked) <= 10
    told = tomllib.loads((shop / "shop.toml").read_text(encoding="utf-8"))["shop"]
    assert (told["name"], told["timezone"]) == ("Quay Street Instruments", "Europe/Dublin")
    assert "0 rows and 0 cells set aside" in capsys.readouterr().out
    assert run(["load", str(FOREIGN / name), "--shop", str(shop)]) == 0
    assert "set aside" not in capsys.readouterr().out
    assert run(["week", "--shop", str(shop), "--out", str(tmp_path)]) == 0
    (paper,) = tmp_path.glob("weekly-review-*.html")
    counter = desk.Desk(shop)
    make_app(counter)
    page = json.dumps(week.layout(), cls=plotly.utils.PlotlyJSONEncoder, ensure_ascii=False)
    for text in (page, re.sub("<[^>]+>", " ", paper.read_text(encoding="utf-8"))):
        found = re.search(
            r"(\d+) of (\d+) instruments? ha(?:ve|s) at least one reading outside", text.replace("\u00a0", " ")
        )
        assert found
        assert (int(found[1]), int(found[2])) == OUTSIDE[name]
        assert re.search(r"(The other|All) \d+ series (that can be judged )?ran true", text.replace("\u00a0", " "))


def test_a_wrong_answer_is_asked_again_and_nothing_is_lost(tmp_path, asked, monkeypatch, capsys):
    answers = iter(["Quay Street Instruments", "Dublin", "Europe/Dublin"])
    monkeypatch.setattr(typer, "prompt", lambda text, default, err: next(answers, default))
    assert run(["new", str(FOREIGN / "werkstatt.csv"), "--shop", str(tmp_path / "shop")]) == 0
    assert "'Dublin' is no time zone; wanted one such as Europe/Dublin." in capsys.readouterr().out


def test_a_second_sheet_proposes_additions_only_and_with_them_it_loads(tmp_path, asked, capsys):
    shop = tmp_path / "shop"
    first, second = FOREIGN / SHEETS[0], FOREIGN / SHEETS[1]
    assert run(["new", str(first), "--shop", str(shop)]) == 0
    before = (shop / "shop.toml").read_bytes()
    capsys.readouterr()
    assert run(["load", str(second), "--shop", str(shop)]) == 2
    assert "no [[log]] of shop.toml matches" in capsys.readouterr().err
    assert run(["new", str(second), "--shop", str(shop)]) == 0
    assert (shop / "shop.toml").read_bytes() == before
    additions = (shop / "shop.additions.toml").read_text(encoding="utf-8")
    added = tomllib.loads(additions)
    assert [log["name"] for log in added["log"]] == ["werkstatt.csv"]
    assert not {"nut_slotting", "final_inspection"} & {stage["key"] for stage in added["stage"]}
    (shop / "shop.toml").write_bytes(before + b"\n" + additions.encode())
    assert run(["load", str(first), str(second), "--shop", str(shop)]) == 0
    assert "900 rows read = 900 accepted" in capsys.readouterr().out


def test_the_walk_of_the_readme_happens_word_by_word(tmp_path, monkeypatch, capsys):
    text = (FOREIGN.parents[2] / "README.md").read_text(encoding="utf-8")
    walk = next(block for block in re.findall(r"```\n(.*?)```", text, flags=re.S) if block.startswith("$ truerun new"))
    (tmp_path / "tests" / "ingest").mkdir(parents=True)
    (tmp_path / "tests" / "ingest" / "foreign").symlink_to(FOREIGN)
    monkeypatch.chdir(tmp_path)
    steps = [step.splitlines() for step in walk.split("$ truerun ")[1:]]
    assert [step[0].split()[0] for step in steps] == ["new", "load", "week", "serve"]
    for command, *wanted in steps[:-1]:
        assert run(command.split()) == 0
        told = capsys.readouterr().out.splitlines()
        at, skipping = 0, False
        for line in wanted:
            if line != "...":
                at = told.index(line, at) + 1 if skipping else at + (told[at] == line)
                assert told[at - 1] == line
            skipping = line == "..."
    assert (tmp_path / "shop" / "specs.csv").read_text(encoding="utf-8").count("starting value, not yours") == 10
    assert "# guess" in (tmp_path / "shop" / "shop.toml").read_text(encoding="utf-8")


def test_readme_names_every_field_and_measurement_and_its_answers_read_an_export_in_codes(tmp_path):
    readme = (FOREIGN.parents[2] / "README.md").read_text(encoding="utf-8")
    part = readme[readme.index("### What a column may hold") : readme.index("### Answers in a file")]
    named = set(re.findall(r"`(\w+)`", part))
    assert {*FIELDS, *MEASUREMENT_FIELDS, *(item.key for item in MEASURES)} <= named
    after = readme[readme.index("### Answers in a file") :]
    answers = re.findall(r"```toml\n(.*?)```", after, flags=re.S)[0]
    (tmp_path / "answers.toml").write_text(answers, encoding="utf-8")
    (tmp_path / "export_ag.csv").write_bytes(stranger("coded_export", 12).files["export_ag.csv"])
    asked = ["--answers", str(tmp_path / "answers.toml"), "--yes", "--shop", str(tmp_path / "shop")]
    assert run(["new", str(tmp_path / "export_ag.csv"), *asked]) == 0
    assert run(["load", str(tmp_path / "export_ag.csv"), "--shop", str(tmp_path / "shop")]) == 0
    assert {"receiving", "final_inspection"} <= set(read_shop(tmp_path / "shop" / "shop.toml").by_stage)


def test_answers_that_cannot_stand_are_one_clear_line_each_and_write_nothing(tmp_path, capsys):
    wrong = tmp_path / "a.toml"
    for text, line in (
        ("[shp]\nname = 'x'\n", "a.toml: shp is not a table"),
        ("[[log]]\nheadngs = {}\n", "a.toml: log 1: headngs is not a key"),
        ("[[log]]\nheadings = { Serail = 'serial' }\n", "a.toml: log 1: no column is headed 'Serail' ('Serial'?)"),
        (
            "[[log]]\nheadings = { Relief = 'releif' }\n",
            "'Relief' is said to be 'releif', which names no column; 'relief'?",
        ),
        ("[[log]]\nfiles = 'z*'\n", "files = 'z*' fits none of the sheets"),
        ("[shop]\ntimezone = 'Dublin'\n", "not a known time zone"),
        ("[shop\n", "a.toml: not readable as TOML"),
    ):
        wrong.write_text(text)
        sheet = str(FOREIGN / "setup_book_2026.csv")
        assert run(["new", sheet, "--answers", str(wrong), "--yes", "--shop", str(tmp_path / "shop")]) == 2
        told = capsys.readouterr().err
        assert line in told, told
        assert "Traceback" not in told
        assert not (tmp_path / "shop").exists()
