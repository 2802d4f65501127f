"""The time axis of a chart: months by name, a tick a week, and where a moment stands in px at the nominal width."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from dashboard import numbers
from dashboard.charts import style


@dataclass(frozen=True)
class Timeline:
    """A span of time drawn over `plot` px that begin `left` px from the chart's left side; `week_starts` 0 is
    Monday.
    """

    start: datetime
    end: datetime
    left: float
    plot: float
    week_starts: int = 0
    named_from: datetime | None = None  # the day the axis names first; its start unless said

    def px(self, when: datetime) -> float:
        """Px from the chart's left side at the nominal width."""
        return self.left + self.plot * ((when - self.start) / (self.end - self.start))

    def shift(self, when: datetime, px: float) -> datetime:
        """The moment so many px to the right."""
        return when + (self.end - self.start) * (px / self.plot)

    def weeks(self) -> list[datetime]:
        """Midnight of each first working day in the span."""
        first = datetime.combine(self.start.date(), datetime.min.time())
        first += timedelta(days=(self.week_starts - first.weekday()) % 7)
        if first < self.start:
            first += timedelta(days=7)
        count = max(0, (self.end - first).days // 7 + 1) if first <= self.end else 0
        return [first + timedelta(days=7 * k) for k in range(count)]

    def months(self) -> list[datetime]:
        """The first of each month inside the span."""
        found: list[datetime] = []
        at = date(self.start.year, self.start.month, 1)
        while True:
            at = date(at.year + at.month // 12, at.month % 12 + 1, 1)
            first = datetime.combine(at, datetime.min.time())
            if first >= self.end:
                return found
            if first > self.start:
                found.append(first)

    def drawn(self, below: float, *, narrow: bool = False) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
        """Shapes and words of the axis, its line `below` px under the plot."""
        at: dict[str, Any] = {"xref": "x", "yref": "paper", "ysizemode": "pixel", "yanchor": 0}
        shapes = [style.line(0, -below, 1, -below, style.RULE, **{**at, "xref": "paper"})]
        weeks, months = self.weeks(), self.months()
        step = 1 + len(weeks) // (18 if narrow else 60)  # a year of weekly ticks is a smear
        shapes += [style.line(iso(week), -below, iso(week), -below - 5, style.RULE, **at) for week in weeks[::step]]
        texts, free = [], self.left
        names = numbers.SHORT_MONTHS if narrow or len(months) > 7 else numbers.MONTHS
        named = [
            (
                month,
                names[month.month - 1]
                + (f" {month.year}" if month.month == 1 and month.year != self.start.year else ""),
            )
            for month in months
        ]
        begin = self.named_from or self.start
        wish = f"{begin.day} {names[begin.month - 1]}"
        if not named or self.px(named[0][0]) - self.px(begin) > style.width_of(wish) + 8:
            named.insert(0, (begin, wish))
        for when, text in named:
            x = self.px(when)
            if x < free or x + style.width_of(text) > self.left + self.plot + 20:
                continue
            free = x + style.width_of(text) + 14
            if when is not begin:
                shapes.append(style.line(iso(when), -below, iso(when), -below - 14, style.RULE, **at))
            texts.append(
                style.words(
                    iso(when), 0, text, xref="x", yref="paper", xshift=0 if when is begin else 5, yshift=-below - 17
                )
            )
        return shapes, texts


def iso(when: datetime) -> str:
    """A moment as Plotly takes it, without a zone: the shop's clock."""
    return when.replace(tzinfo=None).isoformat(timespec="seconds")
