"""All sixteen weeks of the demo against the plain recount, to the last digit: python -m tests.trials.demo_recount
FOLDER (a demo shop, loaded)
"""

import sys
from pathlib import Path

from analysis.studies.story.story import story
from ingest.store.store import open_snapshot
from tests.analysis.studies.test_demo_recount import hold_against, tell
from tests.trials.written import write


def main() -> None:
    snapshot = open_snapshot(Path(sys.argv[1]))
    hold_against(snapshot, tell(snapshot))
    told = snapshot.once(story)
    write(
        __file__,
        f"{told.visits.height:,} visits, {told.loops.height} loops, {told.caused.height} causes, every stage and "
        "week: all match.",
    )


if __name__ == "__main__":
    main()
