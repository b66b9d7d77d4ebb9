"""Long, nearly level lines of a picture: where they lie, how far they lean, how much of the width they fill.

Edge points are placed to a fraction of a pixel, a Hough transform over slope and height finds where many fall on one
line, and least squares settle it. Angles are in degrees, positive clockwise: the right end lower, y downwards.
Source: Duda and Hart, Communications of the ACM 15(1), 11-15, 1972, with slope and intercept, since no line is steep.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.edge_width import gradients

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.edge_width import Values
    from pipeline.light.smooth import Picture

STEEPEST_DEG = 12.0
STEP_DEG = 0.25
BIN_PX = 1.5
ALONG_PX = 9
FAINTEST_STEP = 0.004  # between neighbours, square root of luminance
ALIKE_DEG = 5.0  # a point's own direction may differ by so much from its line's
NARROWING_PX = (3.0, 2.0, 1.5, 1.2)
APART_PX = 4.0
MOST_LINES = 6
LEAST_FILLED = 0.2
END = 0.2  # of the width
FEWEST_POINTS = 30


@dataclass(frozen=True, slots=True)
class Line:
    """A line through a picture.

    `tilt_deg` is its angle and `y` its height at half the width (fraction). `filled` is the share of columns in which
    there is an edge on it, `filled_ends` the same for the outer fifth of the width on the poorer side: a table or a
    horizon runs on to both sides of the frame, a board on the table does not.
    """

    tilt_deg: float
    y: float
    filled: float
    filled_ends: float


@dataclass(frozen=True, slots=True, eq=False)
class _Points:
    """Edge points: columns, heights to a fraction of a pixel, directions of the edge (degrees), dark above or below."""

    column: NDArray[np.intp]
    y: Values
    deg: Values
    rising: NDArray[np.bool_]

    def only(self, chosen: NDArray[np.bool_]) -> _Points:
        """Return some of them."""
        return _Points(self.column[chosen], self.y[chosen], self.deg[chosen], self.rising[chosen])


def level_lines(lightness: Picture) -> tuple[Line, ...]:
    """Return the lines that fill at least a fifth of the width, the fullest first.

    `lightness` is the square root of linear luminance, 0..1, height x width.
    """
    height, width = lightness.shape
    points = _points(lightness)
    found = []
    for _ in range(MOST_LINES):
        guess = _fullest(points, width)
        if guess is None:
            break
        slope, middle, on = _settled(points, *guess, width)
        if on.any():
            line = _line(slope, middle, points.column[on], (height, width))
            found += [line] if line.filled >= LEAST_FILLED else []
        points = points.only(np.abs(points.y - _height(points, slope, middle, width)) >= APART_PX)
    return tuple(sorted(found, key=lambda line: -line.filled))


def _points(lightness: Picture) -> _Points:
    right, down = gradients(_along(lightness))
    steep = np.abs(down)
    ridge = np.zeros(steep.shape, dtype=np.bool_)
    ridge[1:-1] = (steep[1:-1] >= steep[:-2]) & (steep[1:-1] > steep[2:]) & (steep[1:-1] > FAINTEST_STEP)
    rows, columns = np.nonzero(ridge)
    before, here, after = steep[rows - 1, columns], steep[rows, columns], steep[rows + 1, columns]
    bend = 2 * here - before - after
    part = np.divide(after - before, 2 * bend, out=np.zeros(rows.size), where=bend > 0)
    deg = np.degrees(np.arctan(-right[rows, columns] / down[rows, columns]))
    points = _Points(columns, rows + np.clip(part, -0.5, 0.5), deg, down[rows, columns] > 0)
    return points.only(np.abs(deg) < STEEPEST_DEG)


def _along(lightness: Picture) -> Picture:
    """Return means over a few columns, and of a line and its neighbours: grain fades, a nearly level line does not."""
    if min(lightness.shape) <= ALONG_PX:
        return lightness
    sums = np.cumsum(np.pad(lightness, ((1, 1), (ALONG_PX // 2 + 1, ALONG_PX // 2)), mode="edge"), axis=1)
    means = (sums[:, ALONG_PX:] - sums[:, :-ALONG_PX]) / ALONG_PX
    return np.asarray((means[:-2] + means[2:]) / 4 + means[1:-1] / 2, dtype=np.float64)


def _height(points: _Points, slope: float, middle: float, width: int) -> Values:
    """Return the line's y at each point's column."""
    return np.asarray(middle + slope * (points.column - width / 2), dtype=np.float64)


def _fullest(points: _Points, width: int) -> tuple[float, float, np.bool_] | None:
    """Return slope, height in the middle and kind of the fullest line of the Hough transform, or None."""
    most, best = LEAST_FILLED * width, None
    for rising in (np.False_, np.True_):
        kind = points.only(points.rising == rising)
        across = kind.column - width / 2
        for deg in np.arange(-STEEPEST_DEG, STEEPEST_DEG + STEP_DEG, STEP_DEG):
            alike = np.abs(kind.deg - deg) < ALIKE_DEG
            if np.count_nonzero(alike) <= most:
                continue
            slope = float(np.tan(np.radians(deg)))
            place = np.rint((kind.y[alike] - slope * across[alike]) / BIN_PX).astype(np.intp)
            first = int(place.min())
            counts = np.bincount(place - first)
            pairs = counts[1:] + counts[:-1] if counts.size > 1 else counts
            if pairs.max() > most:
                most, best = pairs.max(), (slope, (int(pairs.argmax()) + first + 0.5) * BIN_PX, rising)
    return best


def _settled(
    points: _Points, slope: float, middle: float, rising: np.bool_, width: int
) -> tuple[float, float, NDArray[np.bool_]]:
    """Return slope and height by least squares over ever closer points, and which they are (none: too few)."""
    kind = points.rising == rising
    on = np.zeros(kind.shape, dtype=np.bool_)
    for distance in NARROWING_PX:
        alike = np.abs(points.deg - np.degrees(np.arctan(slope))) < ALIKE_DEG
        close = kind & alike & (np.abs(points.y - _height(points, slope, middle, width)) < distance)
        across = points.column[close] - width / 2
        if across.size < FEWEST_POINTS or np.ptp(across) == 0:
            break
        on = close
        off = across - across.mean()
        slope = float((off * points.y[close]).sum() / (off**2).sum())
        middle = float(points.y[close].mean() - slope * across.mean())
    return slope, middle, on


def _line(slope: float, middle: float, columns: NDArray[np.intp], size: tuple[int, int]) -> Line:
    height, width = size
    taken = np.zeros(width, dtype=np.bool_)
    taken[columns] = True
    end = max(round(END * width), 1)
    ends = min(float(taken[:end].mean()), float(taken[-end:].mean()))
    return Line(float(np.degrees(np.arctan(slope))), (middle + 0.5) / height, float(taken.mean()), ends)
