"""How a trial writes its result: a Markdown file beside the script, with the commit it was run at."""

import subprocess
from pathlib import Path


def write(script: str, text: str) -> None:
    """Print `text` and write it to SCRIPT's sibling .md under a line that names the commit."""
    path = Path(script)
    head = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=path.parent, capture_output=True, text=True, check=True
    ).stdout.strip()
    path.with_suffix(".md").write_text(
        f"Run by hand with `python -m tests.trials.{path.stem}` at commit {head}.\n\n{text}\n"
    )
    print(text)  # noqa: T201 - a trial tells its result
