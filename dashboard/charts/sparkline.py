"""Small drawings beside the sentences of Week: inline SVG as data URIs, one a scheme, without words in them.

A page hands the pair to `parts.sparkline`. They are papers' drawings too, hence plain SVG and no Graph each.
"""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote

from dashboard.charts import style

WIDTH, HEIGHT = 236, 52
Pair = tuple[str, str]  # light, dark


def stream_spark(
    line: Sequence[float], *, gap: float | None = None, light_from: int | None = None, height: int = HEIGHT
) -> Pair:
    """The average of a stream as shares of the scale (1 = its end, 0 the edge), its gap in grey, light from a place in
    the line on.
    """
    middle, deep = height / 2, height / 2 - 5
    n = len(line)
    x = [3 + 226 * k / max(n - 1, 1) for k in range(n)]
    y = [middle - deep * min(max(v, -1), 1) for v in line]
    parts = []
    if gap is not None:
        parts.append(
            f'<rect x="3" y="{middle - deep * gap:.1f}" width="226" height="{2 * deep * gap:.1f}" fill="SUNK"/>'
        )
    if light_from is not None and n - light_from > 1:
        k = max(light_from, 0)
        area = " ".join(
            f"{a:.1f},{b:.1f}" for a, b in [(x[k], middle), *zip(x[k:], y[k:], strict=True), (x[-1], middle)]
        )
        parts.append(f'<polygon points="{area}" fill="LIGHT"/>')
    parts.append(f'<path d="M3 {middle}H229" stroke="RULE"/>')
    if n > 1:
        parts.append(_poly(x, y, "INK", 2))
        if light_from is not None:
            parts.append(_poly(x[light_from:], y[light_from:], "MOVED", 2.5))
    if n:
        parts.append(
            f'<circle cx="{x[-1]:.1f}" cy="{y[-1]:.1f}" r="3" fill="{"INK" if light_from is None else "MOVED"}"/>'
        )
    return pair(parts, height)


def thin_spark(height: int = 34) -> Pair:
    """Three dots on the edge: too few to say."""
    dots = "".join(f'<circle cx="{x}" cy="{height / 2}" r="2" fill="INK3"/>' for x in (208, 217, 226))
    return pair([f'<path d="M3 {height / 2}H229" stroke="RULE"/>', dots], height)


def interval_spark(value: float, low: float, high: float, limit: float | None, end: float, height: int = 44) -> Pair:
    """A share with its interval on an axis from 0 to `end`; what was agreed as the board up to its limit."""
    middle = height / 2

    def px(share: float) -> float:
        return 4 + 160 * min(max(share / end, 0), 1)

    parts = [f'<path d="M4 {middle}H164" stroke="LINE"/>']
    if limit is not None:
        parts.append(f'<rect x="4" y="{middle - 8}" width="{px(limit) - 4:.1f}" height="16" fill="BOARD"/>')
        parts.append(f'<path d="M{px(limit):.1f} {middle - 11}V{middle + 11}" stroke="BOARDEDGE" stroke-width="1.5"/>')
    parts.append(f'<path d="M{px(low):.1f} {middle}H{px(high):.1f}" stroke="INK" stroke-width="3"/>')
    parts.append(f'<circle cx="{px(value):.1f}" cy="{middle}" r="5" fill="INK"/>')
    return pair(parts, height, 172)


def weeks_spark(values: Sequence[float], *, came_back: bool = True, height: int = 44) -> Pair:
    """A figure of the last weeks from 0, this week's as a large dot."""
    colour = "BACKMARK" if came_back else "INK"
    most = max([*values, 0]) or 1
    x = [6 + 154 * k / max(len(values) - 1, 1) for k in range(len(values))]
    y = [height - 4 - (height - 12) * v / most for v in values]
    parts = [f'<path d="M6 {height - 3.5}H160" stroke="LINE"/>']
    if len(values) > 1:
        parts.append(_poly(x, y, colour, 2))
    if len(values):
        parts.append(f'<circle cx="{x[-1]:.1f}" cy="{y[-1]:.1f}" r="4.5" fill="{colour}"/>')
    return pair(parts, height, 172)


def _poly(x: Sequence[float], y: Sequence[float], colour: str, width: float) -> str:
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
    return f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="{width}" stroke-linejoin="round"/>'


def pair(parts: Sequence[str], height: int, width: int = WIDTH) -> Pair:
    """SVG elements, colours named by token in capitals, as one image a scheme."""
    return _uri("".join(parts), style.LIGHT, width, height), _uri("".join(parts), style.DARK, width, height)


def _uri(body: str, tokens: dict[str, str], width: int, height: int) -> str:
    for name, colour in tokens.items():
        body = body.replace(f'"{name.upper()}"', f'"{colour}"')
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} '
        f'{height}">{body}</svg>'
    )
    return "data:image/svg+xml," + quote(svg, safe=" =:/'<>,.-")
