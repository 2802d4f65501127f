"""By which day the readings were sure to say that a cause had ended: an end that was told by then is not told again."""

from datetime import UTC, datetime

import numpy as np

from analysis.methods.explanation import ENDED
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.explained import Explained

THROUGH = 5  # working days without an instrument that the cause touches: a lot is through, a change taken back
LEAST = 5  # readings since, from which on its end can be asked for
DAYS = 0.3  # sigma by which the mean of one day may lie off for reasons of that day


def known_over(part: Explained) -> datetime | None:
    """The first reading of the day by which the end was sure; None where it is not sure yet, or there is none. A lot,
    or such air, has ended once its models were read for some days without it; of what else is named, or of what nothing
    explains, the readings since say so by themselves. (That a step back lies at one of so many days: odds of normal
    means against those of none, Gelman et al. 2013, section 2.5.)
    """
    found, best = part.evidence, part.best
    if best.end < 0 or best.effect == 0:
        return None
    factor = next((one for one in found.factors if one.name == best.factor), None)
    on = np.isin(found.stream, best.streams) & (found.day >= best.end)
    if int(on.sum()) < LEAST:
        return None
    if best.factor in found.airs or (factor is not None and factor.own_start):
        return _moment(found, max(best.end - 1 + THROUGH, int(np.sort(found.day[on])[LEAST - 1])))
    on &= True if factor is None else factor.code == best.level
    days, place, n = np.unique(found.day[on], return_inverse=True, return_counts=True)
    if not len(days):
        return None
    mean = np.bincount(place, found.values[on]) / n
    odds = np.cumsum(best.effect * (best.effect / 2 - mean) / (1 / n + DAYS**2))
    sure = np.flatnonzero(odds > np.log(ENDED / (1 - ENDED) * max(best.end - best.start, 1)))
    return _moment(found, int(days[sure[0]])) if len(sure) else None


def _moment(found: Evidence, day: int) -> datetime | None:
    after = np.flatnonzero(found.day >= day)
    if not len(after):
        return None
    when = found.rows["taken_at"][int(after[0])]
    assert isinstance(when, datetime)
    return when.astimezone(UTC)
