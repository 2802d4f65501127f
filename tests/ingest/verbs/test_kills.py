"""Kills and a full disk over every verb, a few of each; the full trials stand in tests/trials."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]


@pytest.mark.promise
@pytest.mark.parametrize(("name", "cases"), [("kill_verbs", 10), ("full_disk", 5)])
def test_every_verb_leaves_the_shop_as_before_or_as_after(name, cases):
    code = f"from tests.trials import kill_verbs, {name}; kill_verbs._imports(); print({name}.trial({cases}))"
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True
    )  # it forks: no threads here
    assert ran.returncode == 0, ran.stderr[-2000:]
