"""Between which weeks a rise or fall of what comes back may have begun: its signal is dated by the likeliest one."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from scipy import stats

from analysis.methods.segments import Flags
from analysis.studies.drift.shares import Shares, windows

LIKELY = float(stats.chi2.isf(0.05, 1))  # what its squared score may lie below that of the likeliest: 95 in 100


def likely_weeks(found: Shares, signal: Mapping[str, Any]) -> tuple[datetime, datetime]:
    """From the first moment of the first likely week to the end of the last. signal : a row of `share_signals`.

    Of the sums of weeks that belong to it, up to the week that says most, those that say nearly as much: a signed root
    of a likelihood ratio, squared, is that of a start against none (Barndorff-Nielsen & Cox 1994, Inference and
    Asymptotics, section 3.4; from memory).
    """
    every = windows(found)
    first, last = (signal[name] or signal["opened_at"] for name in ("began_at", "last_at"))
    here = (found.rows["stage"] == signal["stage"]).to_numpy()[every.last]
    at: Flags = here & (found.taken.is_between(signal["opened_at"], last).to_numpy()[every.last])
    told = np.where(at, every.score * signal["side"], 0.0)
    if not told.max(initial=0.0) > 0:
        return first, first + timedelta(weeks=1)
    most = int(every.last[np.argmax(told)])
    near = at & (every.last == most) & (told > 0) & (told**2 >= told.max() ** 2 - LIKELY)
    starts = found.taken.gather(np.unique(every.first[near]))
    low, high = starts[0], starts[-1]
    assert isinstance(low, datetime)
    assert isinstance(high, datetime)
    return min(low, first), max(high, first) + timedelta(weeks=1)
