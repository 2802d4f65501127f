"""The air of the demo shop: relative humidity and temperature of two rooms, every hour, falling into the heating
season.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

LEAD_DAYS = 14  # the record begins so long before the first log, so that a lag has something to look back on


@dataclass(frozen=True)
class Climate:
    """Humidity and temperature of each room, hour by hour."""

    first: np.datetime64  # local wall time of the first row
    rh: np.ndarray  # (rooms, hours), %
    temperature: np.ndarray  # (rooms, hours), degC

    def rh_at(self, minutes: np.ndarray, first_day: np.datetime64, *, lag_hours: float = 0.0) -> np.ndarray:
        """Humidity at the bench so long before each time, given as wall-clock minutes since the midnight of
        `first_day`.
        """
        return np.asarray(self.rh[0][self._hour(minutes, first_day, lag_hours)])

    def temperature_at(self, minutes: np.ndarray, first_day: np.datetime64) -> np.ndarray:
        """Temperature at the bench at each time."""
        return np.asarray(self.temperature[0][self._hour(minutes, first_day, 0.0)])

    def _hour(self, minutes: np.ndarray, first_day: np.datetime64, lag_hours: float) -> np.ndarray:
        hours = minutes / 60 - lag_hours + (first_day - self.first.astype("datetime64[D]")).astype(int) * 24
        return np.asarray(np.clip(hours.astype(int), 0, self.rh.shape[1] - 1))


ROOMS = ("bench", "settling")


def season(rng: np.random.Generator, days: np.ndarray) -> Climate:
    """Hourly air from a fortnight before the first day to the end of the last; weather passes in about two days."""
    first = days[0] - LEAD_DAYS
    hours = int((days[-1] + 1 - first).astype(int)) * 24
    day_of_year = (first - np.datetime64("2026-01-01")).astype(int) + np.arange(hours) / 24
    heating = 1 / (1 + np.exp(-(day_of_year - 290) / 12))  # from the middle of October
    keep = np.exp(-1 / 48)
    weather = lfilter([np.sqrt(1 - keep**2)], [1, -keep], rng.normal(size=hours + 500))[500:]
    daily = np.cos(2 * np.pi * (np.arange(hours) % 24 - 5) / 24)
    bench = 51.5 - 9.0 * heating + 3.0 * weather + 0.8 * daily
    settling = 50.0 - 7.0 * heating + 2.2 * weather + 0.4 * daily
    warm = 21.0 - 0.8 * heating - 0.9 * daily
    rh = np.stack([bench, settling]) + rng.normal(scale=0.3, size=(2, hours))
    temperature = np.stack([warm, warm - 0.4 + 0.5 * daily]) + rng.normal(scale=0.1, size=(2, hours))
    return Climate(first.astype("datetime64[h]"), np.round(rh, 1), np.round(temperature, 1))
