"""README and DEVELOPERS.md say what is true."""

import re
import subprocess
import sys
from pathlib import Path

from tests import documents

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGE = documents.PAGE.read_text(encoding="utf-8")


def test_the_map_and_the_method_table_are_those_of_the_code():
    assert documents.written(PAGE) == PAGE, "run python -m tests.documents"


def test_no_method_waits_for_a_question():
    # one that no study takes, itself or through another method, is taken out; DEVELOPERS.md says which were and why
    assert [line for line in documents.method_calls().splitlines() if documents.UNCALLED in line] == []


def test_every_module_says_what_it_is_for():
    told = [path for room in documents.rooms() for path in [room / "__init__.py", *documents.modules(room)]]
    assert [str(path) for path in told if not documents.first_sentence(path)] == []


def test_every_command_of_the_readme_is_in_the_help_and_the_other_way_round():
    asked = [sys.executable, "-c", "from dashboard.commands.cli import main; main()", "--help"]
    help_text = subprocess.run(asked, capture_output=True, text=True, check=True, cwd=ROOT).stdout
    offered = set(re.findall(r"^  ([a-z]+)  ", help_text, flags=re.M))
    told = set(re.findall(r"^\| `truerun ([a-z]+)", README, flags=re.M))
    assert told == offered


def test_every_page_of_the_header_stands_in_the_readme():
    from dashboard.app import PAGES

    assert [name.lower() for name in re.findall(r"^\| \*\*(\w+)\*\*", README, flags=re.M)] == list(PAGES)


def test_every_picture_of_the_readme_is_there_and_small():
    for name in re.findall(r"!\[[^\]]*\]\(([^)]+)\)", README):
        assert (ROOT / name).stat().st_size < 200_000, name


def test_no_tracked_file_names_this_machine_or_a_registry():
    here = str(ROOT.resolve()).split("/")[1]
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=False).stdout.split()
    hosts = ("py" + "pi.", "python" + "hosted.", "npm" + "js.", "registry.")
    found = []
    for name in listed:
        path = ROOT / name
        if path.suffix in {".png", ".woff2", ".xlsx", ".pdf", ".svg"} or not path.is_file():
            continue
        text = path.read_text(encoding="utf-8", errors="ignore")
        if f"/{here}/main" in text or any(f"://{host}" in text for host in hosts):
            found.append(name)
    assert found == []


def test_every_column_of_the_open_tables_is_explained():
    from ingest.store.delta import KEPT

    told = PAGE.split("## The tables, for other programs")[1].split("\n## ")[0]
    assert [name for columns in KEPT.values() for name in columns if f"`{name}`" not in told] == []
