"""One rule of decimals a column on all of the demo: python -m tests.trials.even_columns SHOP

SHOP is a folder that `truerun demo --shop SHOP` made. Every page is laid out with all that opens on it and every table
is looked at, as tests/dashboard/test_columns.py does with a workshop abroad; what is wrong is written, a line each.
"""

import sys
from pathlib import Path

from dashboard.desk import desk
from tests.dashboard.test_columns import found_uneven


def main(folder: Path) -> None:
    """Writes what is wrong, then how many tables were looked at."""
    seen, wrong = found_uneven(desk.Desk(folder))
    for line in wrong:
        sys.stdout.write(f"{line}\n")
    sys.stdout.write(f"{seen} columns seen, {len(wrong)} wrong\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
