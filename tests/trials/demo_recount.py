"""All sixteen weeks of the demo against the plain recount, to the last digit.

    python -m tests.trials.demo_recount FOLDER

FOLDER : a demo shop with its store. The result and the commit stand in demo_recount.txt.
"""

import sys
from pathlib import Path

from analysis.studies.story import story
from ingest.store import open_snapshot
from tests.analysis.studies.test_demo_recount import hold_against, tell

if __name__ == "__main__":
    snapshot = open_snapshot(Path(sys.argv[1]))
    hold_against(snapshot, tell(snapshot))
    told = snapshot.once(story)
    sys.stdout.write(f"{told.visits.height} visits, {told.loops.height} loops, {told.caused.height} causes: all match\n")
