"""The rim of a plate or a bowl: the ellipse that most of the edges round a region lie on.

Rays go out from the middle of the region; on each the steepest edges are candidates. Ellipses through six of them are
tried, the one that most rays agree with is fitted by least squares. Angles are in degrees, clockwise, y downwards.
Sources: Fischler and Bolles, Communications of the ACM 24(6), 381-395, 1981 (trials and agreement); Halir and Flusser,
WSCG 1998 (the direct fit; from memory). The seed is fixed: the same picture gives the same ellipse.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.edge_width import gradients

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.box import Region
    from pipeline.light.edge_width import Values
    from pipeline.light.smooth import Picture

RAYS, STEPS, CANDIDATES = 120, 100, 3
NEAREST, FARTHEST = 0.55, 1.2  # of the region's half sides
FAINTEST_STEP = 0.006
TRIALS, OF_TRIAL, SEED = 100, 6, 1
TOLERANCE = 0.004  # of the longer side of the picture
FLATTEST, LARGEST = 0.2, 1.4
FEWEST_RAYS = 40


@dataclass(frozen=True, slots=True)
class Ellipse:
    """Middle and half axes in pixels (`long` >= `short`), and the angle of the long axis, -90..90."""

    x: float
    y: float
    long: float
    short: float
    tilt_deg: float


@dataclass(frozen=True, slots=True)
class Rim:
    """An ellipse and the share of rays (0..1) that have an edge on it."""

    ellipse: Ellipse
    agreed: float


def plate_rim(lightness: Picture, region: Region) -> Rim | None:
    """Return the rim of what fills a region; None where too few rays find an edge.

    `lightness` is the square root of linear luminance, 0..1, height x width.
    """
    x, y, found = _candidates(lightness, region)
    rays = np.flatnonzero(found.any(axis=1))
    if rays.size < FEWEST_RAYS:
        return None
    of_ray = np.nonzero(found)[0]
    points = x[found], y[found]
    tolerance = TOLERANCE * max(lightness.shape)
    largest = LARGEST * max(
        (region.right - region.left) * lightness.shape[1] / 2, (region.bottom - region.top) * lightness.shape[0] / 2
    )
    chance = np.random.default_rng(SEED)
    most, best = 0, None
    for _ in range(TRIALS):
        ray = chance.choice(rays, OF_TRIAL, replace=False)
        one = (found[ray] * chance.random((OF_TRIAL, CANDIDATES))).argmax(axis=1)
        tried = fitted(x[ray, one], y[ray, one])
        if tried is None or tried.short < FLATTEST * tried.long or tried.long > largest:
            continue
        agreed = np.unique(of_ray[away(tried, *points) < tolerance]).size
        if agreed > most:
            most, best = agreed, tried
    return _settled(best, points, of_ray, tolerance) if best else None


def fitted(x: Values, y: Values) -> Ellipse | None:
    """Return the ellipse with the least algebraic distance to points; None where there is none."""
    scale = max(float(np.ptp(x)), float(np.ptp(y)), 1e-9) / 2
    middle = float(x.mean()), float(y.mean())
    u, v = (x - middle[0]) / scale, (y - middle[1]) / scale
    square, straight = np.stack([u * u, u * v, v * v], 1), np.stack([u, v, np.ones_like(u)], 1)
    try:
        to_straight = -np.linalg.solve(straight.T @ straight, straight.T @ square)
        scatter = square.T @ square + square.T @ straight @ to_straight
        _, vectors = np.linalg.eig(np.stack([scatter[2] / 2, -scatter[1], scatter[0] / 2]))
    except np.linalg.LinAlgError:
        return None
    is_ellipse = 4 * vectors[0].real * vectors[2].real - vectors[1].real ** 2 > 1e-12
    if not is_ellipse.any():
        return None
    conic = vectors.real[:, int(is_ellipse.argmax())]
    return _from_conic(conic, to_straight @ conic, middle, scale)


def away(ellipse: Ellipse, x: Values, y: Values) -> Values:
    """Return how far points are from an ellipse, to first order: its value over its slope."""
    cosine, sine = math.cos(math.radians(ellipse.tilt_deg)), math.sin(math.radians(ellipse.tilt_deg))
    along = ((x - ellipse.x) * cosine + (y - ellipse.y) * sine) / ellipse.long
    across = ((y - ellipse.y) * cosine - (x - ellipse.x) * sine) / ellipse.short
    value = np.abs(along**2 + across**2 - 1)
    return np.asarray(value / np.maximum(2 * np.hypot(along / ellipse.long, across / ellipse.short), 1e-12))


def _from_conic(square: Values, straight: Values, middle: tuple[float, float], scale: float) -> Ellipse | None:
    (a, b, c), (d, e, f) = square, straight
    below = b * b - 4 * a * c
    x, y = (2 * c * d - b * e) / below, (2 * a * e - b * d) / below
    value = f + (d * x + e * y) / 2
    curves, axes = np.linalg.eigh(np.array([[a, b / 2], [b / 2, c]]))
    lengths = -value / curves
    if not (np.isfinite(lengths).all() and (lengths > 0).all()):
        return None
    long = int(lengths.argmax())
    tilt = math.degrees(math.atan2(axes[1, long], axes[0, long]))
    tilt = (tilt + 90.0) % 180.0 - 90.0
    half = np.sqrt(lengths) * scale
    return Ellipse(
        float(x * scale + middle[0]), float(y * scale + middle[1]), float(half.max()), float(half.min()), tilt
    )


def _settled(best: Ellipse, points: tuple[Values, Values], of_ray: NDArray[np.intp], tolerance: float) -> Rim:
    """Return the ellipse fitted to ever closer points, as long as enough of them are left."""
    x, y = points
    for part in (1.0, 0.7, 0.5, 0.5):
        close = away(best, x, y) < tolerance * part
        closer = fitted(x[close], y[close]) if np.unique(of_ray[close]).size >= FEWEST_RAYS else None
        if closer is None:
            break
        best = closer
    return Rim(best, np.unique(of_ray[away(best, x, y) < tolerance]).size / RAYS)


def _candidates(lightness: Picture, region: Region) -> tuple[Values, Values, NDArray[np.bool_]]:
    """Return places (rays x candidates) of the steepest edges that lie across each ray, and which are there."""
    height, width = lightness.shape
    middle_x, middle_y = (region.left + region.right) / 2 * width, (region.top + region.bottom) / 2 * height
    half_x, half_y = (region.right - region.left) / 2 * width, (region.bottom - region.top) / 2 * height
    turn = np.arange(RAYS) * (2 * math.pi / RAYS)
    out = np.linspace(NEAREST, FARTHEST, STEPS)
    x = middle_x + np.cos(turn)[:, None] * half_x * out
    y = middle_y + np.sin(turn)[:, None] * half_y * out
    normal = np.stack([np.cos(turn) * half_y, np.sin(turn) * half_x])
    normal = normal / np.maximum(np.linalg.norm(normal, axis=0), 1e-9)
    right, down = gradients(lightness)
    rows, columns = (np.clip(np.floor(place), 0, most - 1).astype(np.intp) for place, most in ((y, height), (x, width)))
    steep = np.abs(right[rows, columns] * normal[0][:, None] + down[rows, columns] * normal[1][:, None])
    steep *= (x >= 0) & (x < width) & (y >= 0) & (y < height)
    ridge = np.zeros_like(steep)
    top = (steep[:, 1:-1] >= steep[:, :-2]) & (steep[:, 1:-1] > steep[:, 2:]) & (steep[:, 1:-1] > FAINTEST_STEP)
    ridge[:, 1:-1] = np.where(top, steep[:, 1:-1], 0.0)
    best = np.argsort(-ridge, axis=1, kind="stable")[:, :CANDIDATES]
    ray = np.arange(RAYS)[:, None]
    return x[ray, best], y[ray, best], ridge[ray, best] > 0
