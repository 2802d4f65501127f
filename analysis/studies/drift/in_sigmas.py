"""Every reading as so many sigmas off its baseline: of its stream, of who set it there, and of the gauge that read it.

The scale on which streams of different models can be put side by side; what the charts that pool over models average.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from analysis.methods.segments import Flags, Floats
from analysis.studies.drift.offsets import GAUGE, SETTER
from analysis.studies.drift.pooled import pools
from analysis.studies.drift.signals import Signals
from analysis.studies.drift.streams import Streams


@dataclass(frozen=True)
class Sigmas:
    """Rows are those of Streams.readings; only streams of all techs with a full baseline have numbers, else NaN."""

    z: Floats  # (n,) off the stream's baseline mean, or off each setter's where setters differ; in the stream's sigma
    after: Flags  # (n,) after the baseline of its stream: what a change since then may have moved
    setter: Floats  # (n,) off the setter's own baseline mean in the stream; NaN where they have none
    gauge: Floats  # (n,) off the gauge's own baseline mean in the stream; NaN where it has none


@lru_cache(maxsize=1)
def _made(held: Streams, coarse: bytes, baseline_readings: int) -> Sigmas:
    made = pools(held, coarse=np.frombuffer(coarse, dtype=np.bool_), baseline_readings=baseline_readings)
    n = len(held.values)
    z, after = np.full(n, np.nan), np.zeros(n, dtype=np.bool_)
    z[made.judged.base_at] = made.judged.base_z
    z[made.judged.at], after[made.judged.at] = made.judged.z, True
    own = {SETTER: np.full(n, np.nan), GAUGE: np.full(n, np.nan)}
    for over, column in own.items():
        found = made.offsets(over)
        column[made.judged.at[found.known]] = made.judged.z[found.known] - found.mean[found.known]
    return Sigmas(z, after, own[SETTER], own[GAUGE])


def in_sigmas(judged: Signals, baseline_readings: int) -> Sigmas:
    """All readings of the shop in sigmas; baseline_readings : of the shop's judging."""
    return _made(judged.streams, judged.coarse.tobytes(), baseline_readings)
