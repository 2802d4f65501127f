"""How much water wood comes to hold in the air of the room.

Source: Simpson 1998, Equilibrium moisture content of wood in outdoor locations, USDA FPL-RN-0268 (formula after
Hailwood & Horrobin 1946; mean error under .13 % moisture, at most .9 % over the table, per its abstract). Thick wood
lags the air by days to weeks, so this is where wood is heading, not where it is.
"""

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats


def equilibrium(rh: npt.ArrayLike, celsius: npt.ArrayLike) -> Floats:
    """Moisture content in per cent that wood comes to at `rh` per cent relative humidity and `celsius` degrees.

    Arrays broadcast. Raises UnusableData for humidity outside 0 to 100 or temperature outside -10 to 70 (the range is
    ours: the formula was fitted to a table of -1 to 132 degrees, but a bench that reads so is a broken sensor).
    """
    humid, t = np.broadcast_arrays(np.asarray(rh, dtype=np.float64), np.asarray(celsius, dtype=np.float64))
    if not bool(((humid >= 0) & (humid <= 100) & (t >= -10) & (t <= 70)).all()):
        raise UnusableData(
            "humidity must lie between 0 and 100 % and temperature between -10 and 70 degrees Celsius; look at the "
            "sensor"
        )
    h = humid / 100
    w = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh = k * h
    bound = (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2)
    return np.asarray(1800 / w * (kh / (1 - kh) + bound), dtype=np.float64)
