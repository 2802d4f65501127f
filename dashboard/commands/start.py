"""Where `truerun` begins: it looks that the packages it is about to load are its own, then hands over to `cli`."""

import importlib.util
import sys
from pathlib import Path

OURS = ("ingest", "analysis", "dashboard")
ROOT = Path(__file__).resolve().parents[2]


def foreign(names: tuple[str, ...] = OURS, root: Path = ROOT) -> str:
    """One line about the first package of these names that somebody else's stands in front of; '' where none does."""
    for name in names:
        spec = importlib.util.find_spec(name)
        places = [Path(place).resolve() for place in (spec.submodule_search_locations or ())] if spec else []
        if root / name not in places[:1]:
            found = places[0] if places else "nothing"
            return (
                f"another package called '{name}' stands in front of Truerun's: found {found}, wanted {root / name}; "
                "install Truerun into a folder of its own (python3 -m venv), or take the other one away"
            )
    return ""


def main() -> None:
    """The command `truerun`; exit code 2 and one line where a package of another program would be loaded."""
    problem = foreign()
    if problem:
        sys.stderr.write(problem + "\n")
        sys.exit(2)
    from dashboard.commands.cli import main as begin  # not before the look above

    begin()
