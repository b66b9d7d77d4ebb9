"""Small line plots as SVG, written by hand: a frame, marks, axes from nought with a few whole steps."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape

WIDTH, HEIGHT = 360, 240
LEFT, RIGHT, TOP, BOTTOM = 52, 12, 30, 42
STEPS = 5
GROUND, INK, FAINT, LINE = "#ffffff", "#222222", "#dddddd", "#b03a2e"


@dataclass(frozen=True, slots=True)
class Plot:
    """What was measured over what: the points, and a straight line `begin + slope * x` where one was laid through."""

    title: str
    across: str
    up: str
    points: tuple[tuple[float, float], ...]
    line: tuple[float, float] | None = None


def step_of(most: float) -> float:
    """Return the width of the steps of an axis from nought to `most`: 1, 2 or 5 of a power of ten, at most `STEPS`."""
    rough = most / STEPS
    power = 10.0 ** math.floor(math.log10(rough))
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough * (1 - 1e-9))


def svg(plot: Plot) -> str:
    """Return a plot as a whole SVG file; both axes begin at nought."""
    most_across, most_up = (max(point[axis] for point in plot.points) for axis in (0, 1))
    step_across, step_up = step_of(most_across), step_of(most_up)
    end_across = step_across * math.ceil(most_across / step_across - 1e-9)
    end_up = step_up * math.ceil(most_up / step_up - 1e-9)

    def place(across: float, up: float) -> tuple[float, float]:
        x = LEFT + across / end_across * (WIDTH - LEFT - RIGHT)
        return round(x, 1), round(HEIGHT - BOTTOM - up / end_up * (HEIGHT - TOP - BOTTOM), 1)

    parts = [_text(WIDTH / 2, 18, plot.title, "middle", 13)]
    for at in range(round(end_up / step_up) + 1):
        (x, y), (end, _) = place(0, at * step_up), place(end_across, 0)
        parts.append(f'<line x1="{x}" y1="{y}" x2="{end}" y2="{y}" stroke="{FAINT}"/>')
        parts.append(_text(x - 6, y + 4, f"{at * step_up:g}", "end"))
    for at in range(round(end_across / step_across) + 1):
        x, y = place(at * step_across, 0)
        parts.append(_text(x, y + 15, f"{at * step_across:g}", "middle"))
    parts.append(_text(WIDTH / 2, HEIGHT - 8, plot.across, "middle"))
    parts.append(_text(LEFT - 40, TOP - 8, plot.up, "start"))
    if plot.line:
        begin, slope = plot.line
        (x1, y1), (x2, y2) = place(0, begin), place(most_across, begin + slope * most_across)
        parts.append(f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="{LINE}" stroke-dasharray="4 3"/>')
    parts += [f'<circle cx="{x}" cy="{y}" r="3.5" fill="{INK}"/>' for x, y in (place(*point) for point in plot.points)]
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}">'
    ground = f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{GROUND}"/>'
    return "\n".join([head, f"<title>{escape(plot.title)}</title>", ground, *parts, "</svg>", ""])


def _text(x: float, y: float, words: str, anchor: str, size: int = 11) -> str:
    place = f'x="{x:g}" y="{y:g}" text-anchor="{anchor}"'
    return f'<text {place} font-family="sans-serif" font-size="{size}" fill="{INK}">{escape(words)}</text>'
