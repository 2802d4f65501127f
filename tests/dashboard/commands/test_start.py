"""Another program's package of the same name: one line, no traceback."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from dashboard.commands.start import foreign

ROOT = Path(__file__).parents[3]
BEGIN = "from dashboard.commands.start import main; main()"


@pytest.mark.parametrize("name", ["analysis", "ingest"])
def test_a_foreign_package_in_front_of_ours_is_one_line(tmp_path, name):
    (tmp_path / name).mkdir()
    (tmp_path / name / "__init__.py").write_text("")
    path = os.pathsep.join([str(tmp_path), str(ROOT)])
    asked = [sys.executable, "-P", "-c", BEGIN, "--version"]
    ran = subprocess.run(
        asked, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": path}, cwd=tmp_path, check=False
    )
    assert ran.returncode == 2
    assert ran.stdout == ""
    (line,) = ran.stderr.splitlines()
    assert f"another package called '{name}'" in line
    assert str(tmp_path / name) in line


def test_ours_alone_begin():
    assert foreign() == ""
    ran = subprocess.run(
        [sys.executable, "-c", BEGIN.replace("main()", "main()"), "--version"], capture_output=True, text=True, cwd=ROOT
    )
    assert (ran.returncode, ran.stdout.startswith("truerun ")) == (0, True)
